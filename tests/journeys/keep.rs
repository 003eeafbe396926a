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

const MISTAKES: &str = "lore 1\nfamily qx   Part QX\n  source \"bench notes\"\n  code QX 7 K\n       head tail kind\n  kind\n\t\tK  interface serial bus, width 8 bit\n    M  interface \"SPI\" width 4 bit since 2010\n  tail gives density Mbti\n    7 64\n  example QX7K\n";

#[test]
fn mend_applies_what_is_plain_and_leaves_guesses() {
    let folder = folder(&[("a.lore", MISTAKES)]);
    let file = path(&folder, "a.lore");
    let diff = run(&["rules", "mend", &file, "--diff"]);
    assert_eq!(diff.status, 1, "{}", diff.err);
    assert!(
        diff.out.lines().any(
            |line| line == "+    M  interface \"SPI\" , width 4 bit since 2010"
                || line == "+    M  interface \"SPI\", width 4 bit since 2010"
        ),
        "{}",
        diff.out
    );
    assert_eq!(text(&file), MISTAKES, "--diff writes nothing");

    let mended = run(&["rules", "mend", &file]);
    assert_eq!(mended.status, 0);
    for code in ["tab-indent", "text-unquoted", "comma-expected"] {
        assert!(mended.out.contains(code), "{}", mended.out);
    }
    assert!(text(&file).contains("\"serial bus\"") && !text(&file).contains('\t'));
    // The unit is a guess, and stays.
    assert!(text(&file).contains("Mbti"));
    let again = run(&["rules", "mend", &file]);
    assert!(again.out.contains("0 mends in 0"), "{}", again.out);
    let check = crate::harness::json(&["rules", "check", &file, "--output", "json"]);
    let left: Vec<&str> = check["diagnostics"]
        .as_array()
        .unwrap()
        .iter()
        .map(|d| d["code"].as_str().unwrap())
        .collect();
    assert!(
        left.iter()
            .all(|code| !["tab-indent", "text-unquoted", "comma-expected"].contains(code)),
        "{left:?}"
    );
}

#[test]
fn sarif_fits_its_published_schema() {
    let schema = include_str!("../schema/sarif-2.1.0.json");
    // One pattern of the published schema has a bracket too many, and is no regular expression.
    let schema = schema.replace("[a-zA-Z]{2}]?$", "[a-zA-Z]{2}?$");
    let schema: serde_json::Value = serde_json::from_str(&schema).unwrap();
    let validator = jsonschema::validator_for(&schema).unwrap();
    let folder = folder(&[("with space/a.lore", MISTAKES)]);
    let all = folder.path().to_str().unwrap();
    let check = run(&["rules", "check", all, "--output", "sarif"]);
    assert_eq!(check.status, 1);
    let overlaps = run(&["rules", "overlaps", "--output", "sarif"]);
    for run in [&check, &overlaps] {
        let document: serde_json::Value = serde_json::from_str(&run.out).unwrap();
        let faults: Vec<String> = validator
            .iter_errors(&document)
            .map(|e| format!("{e} at {}", e.instance_path()))
            .collect();
        assert!(faults.is_empty(), "{faults:#?}");
    }
    let document: serde_json::Value = serde_json::from_str(&check.out).unwrap();
    let results = document["runs"][0]["results"].as_array().unwrap();
    let comma = results
        .iter()
        .find(|r| r["ruleId"] == "comma-expected")
        .unwrap();
    assert_eq!(
        comma["locations"][0]["physicalLocation"]["region"]["startLine"],
        8
    );
    assert!(
        comma["fixes"][0]["artifactChanges"][0]["replacements"][0]["insertedContent"]["text"]
            .as_str()
            .unwrap()
            .contains(',')
    );
    let uri = comma["locations"][0]["physicalLocation"]["artifactLocation"]["uri"]
        .as_str()
        .unwrap();
    assert!(
        uri.starts_with("file:///") && uri.ends_with("with%20space/a.lore"),
        "{uri}"
    );
    // The page of a code is in the document too.
    let at = comma["ruleIndex"].as_u64().unwrap() as usize;
    assert_eq!(
        document["runs"][0]["tool"]["driver"]["rules"][at]["id"],
        "comma-expected"
    );
    assert_eq!(run(&["decode", "X", "--output", "sarif"]).status, 2);
}

#[test]
fn levels_of_lints_are_the_labs_own() {
    let rules = "lore 1\nfamily qx   Part QX\n  source \"bench notes\" reviewed 2015-01-01\n  code QX 7\n       head tail\n  tail digit\n";
    let folder = folder(&[
        ("qx.lore", rules),
        (
            "etchlore.yaml",
            "name: bench\nreview_years: 5\nlints: { missing-example: off, old-review: error }\n",
        ),
    ]);
    let all = folder.path().to_str().unwrap();
    let check = run(&["rules", "check", all]);
    assert_eq!(check.status, 1);
    assert!(
        check.out.contains("old-review") && !check.out.contains("missing-example"),
        "{}",
        check.out
    );
    std::fs::write(
        path(&folder, "etchlore.yaml"),
        "lints: { missing-exampel: off }\n",
    )
    .unwrap();
    let wrong = run(&["rules", "check", all]);
    assert_eq!(wrong.status, 3);
    assert!(
        wrong.err.contains("did you mean `missing-example`?"),
        "{}",
        wrong.err
    );
}

#[test]
fn overlaps_of_a_folder_with_all_rules() {
    let own = "lore 1\nfamily own_flash   Our flash\n  function memory/nor\n  source \"bench notes\"\n  code 25Q 128 J V S Q\n       series size generation supply package option\n  size\n    128\n  option letter\n  generation letter\n  example 25Q128JVSQ\n";
    let folder = folder(&[("own.lore", own)]);
    let all = folder.path().to_str().unwrap();
    let found = run(&["rules", "overlaps", all]);
    assert_eq!(found.status, 1, "{}", found.err);
    assert!(
        found.out.contains("winbond_w25q, own_flash: 25Q128"),
        "{}",
        found.out
    );
    let accepted = own.replace(
        "  example",
        "  accept overlap winbond_w25q  note \"the same part\"\n  example",
    );
    std::fs::write(path(&folder, "own.lore"), &accepted).unwrap();
    let found = run(&["rules", "overlaps", all, "--accepted"]);
    assert_eq!(found.status, 0, "{}", found.out);
    assert!(
        found.out.contains("accepted: the same part"),
        "{}",
        found.out
    );
    std::fs::write(
        path(&folder, "own.lore"),
        accepted.replace("overlap winbond_w25q", "overlap date_yyww"),
    )
    .unwrap();
    let idle = crate::harness::json(&["rules", "overlaps", all, "--output", "json"]);
    assert_eq!(idle["idle"][0]["about"][0], "date_yyww");
}
