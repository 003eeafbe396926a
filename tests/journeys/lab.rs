//! What a lab knows beside its rules: priors, misreadings, confirmed cases.

use std::path::Path;

use crate::harness::{json, root, run};

/// The demo rule set in a fresh folder, with this `etchlore.yaml`.
fn lab(settings: &str) -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    let rules = folder.path().join("rules");
    std::fs::create_dir(&rules).unwrap();
    copy(&root().join("rules-demo/rules"), &rules);
    std::fs::write(folder.path().join("etchlore.yaml"), settings).unwrap();
    folder
}

fn copy(from: &Path, to: &Path) {
    for entry in std::fs::read_dir(from).unwrap() {
        let entry = entry.unwrap();
        let target = to.join(entry.file_name());
        if entry.path().is_dir() {
            std::fs::create_dir_all(&target).unwrap();
            copy(&entry.path(), &target);
        } else {
            std::fs::copy(entry.path(), target).unwrap();
        }
    }
}

fn odds(folder: &Path, mark: &str, family: &str) -> f64 {
    let document = json(&[
        "decode",
        "--output",
        "json",
        "--limit",
        "50",
        "--rules",
        folder.to_str().unwrap(),
        mark,
    ]);
    let reading = &document["readings"][0];
    let candidate = reading["candidates"]
        .as_array()
        .unwrap()
        .iter()
        .find(|candidate| candidate["family"] == family)
        .unwrap()
        .clone();
    candidate["bits"].as_f64().unwrap().exp2()
}

#[test]
fn priors_multiply_odds() {
    let plain = odds(lab("name: a\n").path(), "104", "capacitor_3digit");
    let often = odds(
        lab("priors: { capacitor_3digit: 8 }\n").path(),
        "104",
        "capacitor_3digit",
    );
    // `none` has a share of the family's kin, which grows with it, so a little less than eight.
    assert!((6.0..8.1).contains(&(often / plain)), "{plain} {often}");
}

#[test]
fn confirmed_cases_count_up_to_a_limit() {
    let folder = lab("name: a\n");
    let path = folder.path().to_str().unwrap();
    let confirm = || {
        run(&[
            "confirm",
            "104",
            "--family",
            "capacitor_3digit",
            "--evidence",
            "measured: 100 nF",
            "--rules",
            path,
        ])
    };
    let plain = odds(folder.path(), "104", "capacitor_3digit");
    assert_eq!(confirm().status, 0);
    let once = odds(folder.path(), "104", "capacitor_3digit");
    assert!((1.8..2.05).contains(&(once / plain)), "{plain} {once}");
    for _ in 0..9 {
        confirm();
    }
    let ten = odds(folder.path(), "104", "capacitor_3digit");
    assert_eq!(confirm().status, 0);
    let eleven = odds(folder.path(), "104", "capacitor_3digit");
    assert!((ten - eleven).abs() < 1e-9, "{ten} {eleven}");
    let book = std::fs::read_to_string(folder.path().join("casebook.tsv")).unwrap();
    assert_eq!(book.lines().count(), 12, "{book}");
    assert!(book.ends_with("measured: 100 nF\n"));
}

#[test]
fn a_case_that_no_rule_reads_is_kept_and_said() {
    let folder = lab("name: a\n");
    let run = run(&[
        "confirm",
        "QQ",
        "--family",
        "hm_sdram",
        "--evidence",
        "decap",
        "--rules",
        folder.path().to_str().unwrap(),
    ]);
    assert_eq!(run.status, 0);
    assert!(run.err.contains("do not read `QQ`"), "{}", run.err);
    assert!(folder.path().join("casebook.tsv").exists());
}

#[test]
fn a_broken_casebook_names_its_line() {
    let folder = lab("name: a\n");
    std::fs::write(
        folder.path().join("casebook.tsv"),
        "# ours\nonly one field\n",
    )
    .unwrap();
    let run = run(&["decode", "104", "--rules", folder.path().to_str().unwrap()]);
    assert_eq!(run.status, 3);
    assert!(run.err.contains("casebook.tsv:2:"), "{}", run.err);
}

#[test]
fn a_table_of_misreadings_is_estimated_and_used() {
    // A lab whose reader takes every second 1 for a Z, which no other does.
    let folder = lab("confusions: misreads.tsv\n");
    let mut pairs = "read\ttrue\n".to_owned();
    for i in 0..400 {
        pairs += if i % 2 == 0 {
            "25QZ28JVSQ\t25Q128JVSQ\n"
        } else {
            "25Q128JVSQ\t25Q128JVSQ\n"
        };
    }
    let file = folder.path().join("pairs.tsv");
    std::fs::write(&file, pairs).unwrap();
    let table = run(&["confusions", file.to_str().unwrap()]);
    assert_eq!(table.status, 0);
    std::fs::write(folder.path().join("misreads.tsv"), &table.out).unwrap();
    let bits = |folder: &Path| {
        let document = json(&[
            "decode",
            "--output",
            "json",
            "--rules",
            folder.to_str().unwrap(),
            "25QZ28JVSQ",
        ]);
        let candidate = document["readings"][0]["candidates"][0].clone();
        assert_eq!(candidate["family"], "winbond_w25q");
        candidate["corrections"][0]["bits"].as_f64().unwrap()
    };
    assert!(bits(folder.path()) > -3.0);
    assert!(bits(lab("name: a\n").path()) < -5.0);
    std::fs::write(
        folder.path().join("misreads.tsv"),
        "true\tread\tcount\n1\tZ\tmany\n",
    )
    .unwrap();
    let run = run(&["decode", "104", "--rules", folder.path().to_str().unwrap()]);
    assert_eq!(run.status, 3);
    assert!(run.err.contains("misreads.tsv:2:"), "{}", run.err);
}
