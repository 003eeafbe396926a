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

#[test]
fn coverage_of_a_parts_list() {
    let rules = [
        "--rules",
        "rules-demo",
        "--corpus",
        "rules-demo/lists/sounder.csv",
    ];
    let text = run(&[&["rules", "coverage", "--unused"][..], &rules[..]].concat());
    assert_eq!(text.status, 0, "{}", text.err);
    assert!(
        text.out.contains("hm_sdram") && text.out.contains("never met: "),
        "{}",
        text.out
    );
    let json = crate::harness::json(
        &[&["rules", "coverage", "--output", "json"][..], &rules[..]].concat(),
    );
    let sum =
        ["decoded", "ambiguous", "none", "unreadable"].map(|word| json[word].as_u64().unwrap());
    assert_eq!(json["marks"].as_u64().unwrap(), sum.iter().sum::<u64>());
    let missing = run(&[
        "rules",
        "coverage",
        "--corpus",
        "rules-demo/lists/sounder.csv",
        "--column",
        "mrk",
    ]);
    assert!(
        missing.status == 2 && missing.err.contains("Part marking"),
        "{}",
        missing.err
    );
}

const VERSIONS: &str = "lore 1\nfamily qx   Part QX\n  source \"bench notes\"\n  code  QXR  7\n        head tail\n  tail  gives pins\n    7  8\n    9  14\n  example QXR7\n";

#[test]
fn changes_between_folders_and_revisions() {
    let folder = folder(&[
        ("rules/qx.lore", VERSIONS),
        ("marks.txt", "QXR7\nQXR9\nQXR9\nW25Q128JVSIQ\n"),
    ]);
    let git = |arguments: &[&str]| {
        let run = std::process::Command::new("git")
            .args([
                "-c",
                "user.name=Keeper",
                "-c",
                "user.email=keeper@example.org",
            ])
            .args(arguments)
            .current_dir(folder.path())
            .output()
            .unwrap();
        assert!(
            run.status.success(),
            "{}",
            String::from_utf8_lossy(&run.stderr)
        );
    };
    git(&["init", "-q"]);
    git(&["add", "."]);
    git(&["commit", "-qm", "first"]);
    let changes = |old: &str, new: &str| {
        let mut command = etchlore(&["rules", "changes", old, new, "--corpus", "marks.txt"]);
        command.current_dir(folder.path());
        run_with(command, b"")
    };
    let same = changes("HEAD:rules", "rules");
    assert_eq!(
        (same.status, same.out.as_str()),
        (
            0,
            "0 of 4 marks decode differently; 0 edits, 0 without effect here\n"
        ),
        "{}",
        same.err
    );

    std::fs::write(
        path(&folder, "rules/qx.lore"),
        VERSIONS.replace("9  14", "9  16"),
    )
    .unwrap();
    let edited = changes("HEAD:rules", "rules");
    assert_eq!(edited.status, 1, "{}", edited.err);
    assert_eq!(
        edited.out,
        "qx: `tail` 9: pins 14, now 16  rules/qx.lore:8\n  QXR9 (x2)  pins 14 -> 16\n\n2 of 4 marks decode differently; 1 edit, 0 without effect here\n"
    );
    // The other way round, the edit stands in the revision.
    let back = changes("rules", "HEAD:rules");
    assert!(back.out.contains("HEAD:rules/qx.lore:8"), "{}", back.out);

    let unknown = changes("nothing:rules", "rules");
    assert_eq!(unknown.status, 3);
    assert!(
        unknown.err.contains("git: ") && unknown.err.contains("HEAD~1:rules"),
        "{}",
        unknown.err
    );
}
