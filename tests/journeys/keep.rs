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
