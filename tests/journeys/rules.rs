//! `rules` on real rule files.

use crate::harness::{etchlore, json, run, run_with};

#[test]
fn the_embedded_rules_are_clean() {
    let run = run(&["rules", "check"]);
    assert_eq!(run.status, 0, "{}{}", run.out, run.err);
    assert!(run.out.contains("0 errors, 0 warnings"), "{}", run.out);
}

#[test]
fn the_demo_rules_are_clean() {
    let run = run(&["rules", "check", "rules-demo"]);
    assert_eq!(run.status, 0, "{}{}", run.out, run.err);
    assert!(run.out.contains("0 errors, 0 warnings"), "{}", run.out);
}

#[test]
fn five_mistakes_give_five_messages() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("five.lore");
    std::fs::write(
        &file,
        "lore 1\nfamily five   Five mistakes\n  function memory/flash\n  source \"bench notes\"\n  code  QX  1  64\n        head  kind  size\n  kind\n    1  interface \"DDR\" width 4 bit\n  size  gives density Mbit\n    64  64 MHz\n  top  head kidn size\n  never kind 2\n  example QX164\n",
    )
    .unwrap();
    let run = run(&["rules", "check", file.to_str().unwrap(), "--output", "json"]);
    assert_eq!(run.status, 1);
    let document: serde_json::Value = serde_json::from_str(&run.out).unwrap();
    let codes: Vec<&str> = document["diagnostics"]
        .as_array()
        .unwrap()
        .iter()
        .map(|d| d["code"].as_str().unwrap())
        .collect();
    assert_eq!(
        codes,
        [
            "unknown-function",
            "comma-expected",
            "unit-mismatch",
            "unknown-name",
            "unknown-name"
        ],
        "{}",
        run.out
    );
    for diagnostic in document["diagnostics"].as_array().unwrap() {
        assert!(diagnostic["labels"][0]["at"]["line"].as_u64().unwrap() > 1);
        assert!(!diagnostic["help"].as_array().unwrap().is_empty());
        assert!(diagnostic["rendered"].as_str().unwrap().contains('^'));
    }
}

#[test]
fn a_failed_example_is_a_finding() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("wrong.lore");
    std::fs::write(&file, "lore 1\nfamily wrong   A wrong example\n  source \"bench notes\"\n  code  QX  7\n        head  tail\n  tail  digit\n  example QX77\n  refuse QX7\n").unwrap();
    let run = run(&["rules", "check", file.to_str().unwrap()]);
    assert_eq!(run.status, 1);
    assert!(
        run.out.contains("example-unread") && run.out.contains("refusal-claimed"),
        "{}",
        run.out
    );
}

#[test]
fn a_family_of_the_lab_replaces_the_embedded_one_of_its_name() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("own.lore");
    let family = "family date_wwyy   Our week codes\n  source \"bench notes\"\n  code  QX  7\n        head  tail\n  tail  digit\n  example QX7\n";
    std::fs::write(&file, format!("lore 1\nuse builtin/dates\n{family}")).unwrap();
    let rules = file.to_str().unwrap();
    let checked = run(&["rules", "check", rules]);
    assert_eq!(checked.status, 0, "{}{}", checked.out, checked.err);
    let decoded = run(&["decode", "QX7", "--rules", rules]);
    assert!(decoded.out.contains("Our week codes"), "{}", decoded.out);
    // The other embedded families are still there.
    assert!(
        run(&["decode", "1834", "--rules", rules])
            .out
            .contains("2018-W34")
    );

    // Two of one name in the lab's own files are a mistake.
    std::fs::write(&file, format!("lore 1\n{family}\n{family}")).unwrap();
    let twice = run(&["rules", "check", rules]);
    assert_eq!(twice.status, 1);
    assert!(twice.out.contains("twice-declared"), "{}", twice.out);
}

#[test]
fn list_and_show() {
    let list = run(&["rules", "list", "--function", "memory"]);
    assert!(
        list.out.contains("winbond_w25q") && !list.out.contains("date_yyww"),
        "{}",
        list.out
    );
    let listed = json(&["rules", "list", "--output", "json", "--maker", "winbond"]);
    assert_eq!(listed["families"].as_array().unwrap().len(), 7);
    let show = run(&[
        "rules",
        "show",
        "--no-builtin",
        "--rules",
        "rules-demo",
        "hm_flash",
    ]);
    insta::assert_snapshot!(show.out);
}

#[test]
fn about_and_completions() {
    let about = run(&["rules", "about", "code-twice"]);
    assert!(about.out.contains("instead"), "{}", about.out);
    let all = run(&["rules", "about"]);
    assert!(all.out.lines().count() > 30);
    for shell in ["bash", "zsh", "fish"] {
        assert!(
            run(&["completions", shell]).out.contains("etchlore"),
            "{shell}"
        );
    }
}

#[test]
fn rule_paths_come_from_the_environment_too() {
    let mut command = etchlore(&["rules", "list"]);
    command.env("ETCHLORE_RULES", "rules-demo");
    let run = run_with(command, b"");
    assert!(run.out.contains("hm_sdram"), "{}{}", run.out, run.err);
}
