//! A rule keeper's day: formatting, overlaps, coverage, changes, writing, mending.

use std::path::Path;

use crate::harness::{etchlore, run, run_with};

/// A fresh folder with files in it.
fn folder(files: &[(&str, &str)]) -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    for (name, text) in files {
        let path = folder.path().join(name);
        std::fs::create_dir_all(path.parent().unwrap()).unwrap();
        std::fs::write(path, text).unwrap();
    }
    folder
}

fn path(folder: &tempfile::TempDir, name: &str) -> String {
    folder.path().join(name).display().to_string()
}

fn text(of: impl AsRef<Path>) -> String {
    std::fs::read_to_string(of).unwrap()
}

const LOOSE: &str = "lore 1\nfamily qx   Part QX\n source \"bench notes\"\n code QX 7\n   head tail\n tail digit # one\n\n\n example QX7\n";

#[test]
fn format_writes_checks_and_shows() {
    let folder = folder(&[("a.lore", LOOSE), ("sub/b.lore", LOOSE), ("c.txt", LOOSE)]);
    let all = folder.path().to_str().unwrap();

    let check = run(&["rules", "format", all, "--check"]);
    assert_eq!(check.status, 1);
    assert!(
        check.out.contains("2 files, 2 would change"),
        "{}",
        check.out
    );
    assert_eq!(
        text(path(&folder, "a.lore")),
        LOOSE,
        "--check writes nothing"
    );

    let diff = run(&["rules", "format", all, "--diff"]);
    assert_eq!(diff.status, 1);
    for line in ["- tail digit # one", "+  tail        digit  # one"] {
        assert!(diff.out.lines().any(|l| l == line), "{}", diff.out);
    }
    assert_eq!(
        text(path(&folder, "a.lore")),
        LOOSE,
        "--diff writes nothing"
    );

    let write = run(&["rules", "format", all]);
    assert_eq!(write.status, 0);
    let formatted = "lore 1\nfamily qx   Part QX\n  source      \"bench notes\"\n  code        QX    7\n              head  tail\n  tail        digit  # one\n\n  example     QX7\n";
    assert_eq!(text(path(&folder, "a.lore")), formatted);
    assert_eq!(text(path(&folder, "sub/b.lore")), formatted);
    assert_eq!(text(path(&folder, "c.txt")), LOOSE, "no rule file");
    assert_eq!(run(&["rules", "format", all, "--check"]).status, 0);

    let piped = run_with(etchlore(&["rules", "format", "-"]), LOOSE.as_bytes());
    assert_eq!(piped.out, formatted);
}

#[test]
fn format_says_what_it_left_alone() {
    let folder = folder(&[(
        "a.lore",
        "lore 1\nfamily qx   Part QX\n nonsense ??  here\n code QX\n",
    )]);
    let run = run(&["rules", "format", &path(&folder, "a.lore")]);
    assert_eq!(run.status, 0);
    assert!(
        run.err.contains("a.lore:3: 1 line does not parse"),
        "{}",
        run.err
    );
    assert!(text(path(&folder, "a.lore")).contains("  nonsense ??  here\n"));
}

fn write(arguments: &[&str]) -> crate::harness::Run {
    let mut all = vec!["rules", "write", "--no-builtin", "--rules", "rules-demo"];
    all.extend(arguments);
    run(&all)
}

#[test]
fn write_gives_the_marking_of_codes() {
    let one = write(&[
        "hm_flash",
        "size=64",
        "revision=B",
        "supply=L",
        "package=SW",
        "temperature=I",
    ]);
    assert_eq!(
        (one.out.as_str(), one.status),
        ("HMQ64BL-SWI\n", 0),
        "{}",
        one.err
    );
    let top = write(&[
        "hm_flash",
        "size=16",
        "revision=B",
        "supply=L",
        "package=SN",
        "temperature=I",
        "year=14",
        "week=02",
        "lot=AAB7",
        "site=P",
        "--form",
        "top",
    ]);
    assert_eq!(top.out, "HMQ16BLNI | 1402AAB7P\n", "{}", top.err);

    let never = write(&[
        "hm_sdram",
        "kind=S",
        "size=64",
        "width=32",
        "package=F",
        "temperature=C",
        "cycle=6",
    ]);
    assert_eq!(never.status, 2);
    assert!(
        never.err.contains("not made: kind S and width = 32 bit") && never.err.contains("width=16"),
        "{}",
        never.err
    );
    let unknown = write(&["hm_flash", "size=63"]);
    assert!(
        unknown.err.contains("`size` has no code `63`") && unknown.err.contains("64"),
        "{}",
        unknown.err
    );
    let check = write(&[
        "hm_sdram",
        "--form",
        "label",
        "kind=S",
        "size=64",
        "width=16",
        "package=F",
        "temperature=C",
        "cycle=6",
        "quantity=10",
        "serial=40170236",
    ]);
    assert!(check.err.contains("serial=40170237"), "{}", check.err);
}

#[test]
fn write_draws_and_lists_members() {
    let drawn = write(&["hm_flash", "--sample", "5", "--seed", "9"]);
    assert_eq!(drawn.out.lines().count(), 5);
    assert_eq!(
        drawn.out,
        write(&["hm_flash", "--sample", "5", "--seed", "9"]).out
    );
    assert_ne!(
        drawn.out,
        write(&["hm_flash", "--sample", "5", "--seed", "8"]).out
    );
    let all = write(&["hm_flash", "--all", "--output", "json"]);
    let all: serde_json::Value = serde_json::from_str(&all.out).unwrap();
    // Sizes, revisions, supplies, packages, temperatures, options: 4 x 3 x 2 x 2 x 2 x 2.
    assert_eq!(all["written"].as_array().unwrap().len(), 192);
    assert_eq!(all["written"][0]["codes"]["size"], "8");
    let many = write(&["hm_sdram", "--all", "--limit", "50"]);
    assert_eq!(many.status, 2);
    assert!(many.err.contains("more than 50 members"), "{}", many.err);
}
