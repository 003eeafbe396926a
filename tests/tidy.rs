//! The house rules, checked.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use crate::harness::{etchlore, root, run_with};

fn files(folder: &Path, ending: &str, found: &mut Vec<PathBuf>) {
    let mut entries: Vec<PathBuf> = std::fs::read_dir(folder)
        .into_iter()
        .flatten()
        .flatten()
        .map(|entry| entry.path())
        .collect();
    entries.sort();
    for entry in entries {
        if entry.is_dir() {
            if !entry.ends_with("target")
                && !entry
                    .file_name()
                    .is_some_and(|name| name.to_string_lossy().starts_with('.'))
            {
                files(&entry, ending, found);
            }
        } else if entry.extension().is_some_and(|e| e == ending) {
            found.push(entry);
        }
    }
}

fn all(folder: &str, ending: &str) -> Vec<PathBuf> {
    let mut found = Vec::new();
    files(&root().join(folder), ending, &mut found);
    found
}

/// Which stages of the engine a stage may use. Data flows one way; nothing in the chain knows the leaves.
const LAYERS: &[(&str, &[&str])] = &[
    ("source", &[]),
    ("value", &[]),
    ("glyph", &[]),
    ("diagnostic", &["source"]),
    ("syntax", &["source", "diagnostic", "value"]),
    ("format", &["source", "diagnostic", "value", "syntax"]),
    ("model", &["source", "value", "glyph"]),
    (
        "check",
        &["source", "diagnostic", "value", "glyph", "syntax", "model"],
    ),
    ("compile", &["source", "model", "value", "glyph"]),
    ("decode", &["compile", "model", "value", "glyph"]),
    ("rank", &["decode", "compile", "model", "value", "glyph"]),
    ("write", &["diagnostic", "model", "value", "glyph"]),
    (
        "analyse",
        &[
            "model",
            "compile",
            "decode",
            "rank",
            "write",
            "value",
            "glyph",
            "source",
            "diagnostic",
            // A draft is written, and tried as any rule text.
            "syntax",
            "format",
            "check",
            "Rules",
        ],
    ),
    ("board", &["check", "decode", "rank", "model", "value"]),
];

#[test]
fn stages_use_only_what_stands_before_them() {
    let mut faults = Vec::new();
    for (stage, may) in LAYERS {
        for file in all(&format!("engine/src/{stage}"), "rs") {
            let text = std::fs::read_to_string(&file).unwrap();
            for (number, line) in text.lines().enumerate() {
                for part in line.split("crate::").skip(1) {
                    let used: String = part
                        .chars()
                        .take_while(|c| c.is_ascii_alphanumeric() || *c == '_')
                        .collect();
                    if !used.is_empty() && used != *stage && !may.contains(&used.as_str()) {
                        faults.push(format!(
                            "{}:{}: {stage} uses {used}",
                            file.display(),
                            number + 1
                        ));
                    }
                }
            }
        }
    }
    assert!(faults.is_empty(), "{}", faults.join("\n"));
    let known: BTreeSet<String> = LAYERS
        .iter()
        .map(|(stage, _)| (*stage).to_owned())
        .collect();
    for entry in std::fs::read_dir(root().join("engine/src"))
        .unwrap()
        .flatten()
        .filter(|entry| entry.path().is_dir())
    {
        let name = entry.file_name().to_string_lossy().into_owned();
        assert!(
            known.contains(&name),
            "the stage {name} stands in no line of the layer table"
        );
    }
}

#[test]
fn the_engine_touches_no_file_clock_or_terminal() {
    for file in all("engine/src", "rs") {
        let text = std::fs::read_to_string(&file).unwrap();
        for banned in [
            "std::fs",
            "std::env",
            "SystemTime",
            "Instant::now",
            "println!",
            "eprintln!",
            "Zoned",
            "Timestamp::now",
            // What is promised to the outside is written in the cli; the stored rules are promised to nobody.
            "serde",
        ] {
            assert!(!text.contains(banned), "{}: {banned}", file.display());
        }
    }
}

#[test]
fn files_stay_readable() {
    const MOST: usize = 900;
    for file in [
        all("engine/src", "rs"),
        all("cli/src", "rs"),
        all("tests", "rs"),
    ]
    .concat()
    {
        let text = std::fs::read_to_string(&file).unwrap();
        let code = text.split("#[cfg(test)]").next().unwrap_or("");
        let lines = code
            .lines()
            .filter(|line| !line.trim().is_empty() && !line.trim_start().starts_with("//"))
            .count();
        assert!(
            lines <= MOST,
            "{} has {lines} lines of code",
            file.display()
        );
    }
}

#[test]
fn the_top_level_holds_what_was_agreed() {
    let allowed = [
        "Cargo.toml",
        "Cargo.lock",
        "README.md",
        "DEVELOPERS.md",
        "engine",
        "rules-demo",
        "cli",
        "tests",
        "target",
        "LICENSE-MIT",
        "LICENSE-APACHE",
        "rust-toolchain.toml",
        "rustfmt.toml",
    ];
    for entry in std::fs::read_dir(root()).unwrap().flatten() {
        let name = entry.file_name().to_string_lossy().into_owned();
        assert!(
            name.starts_with('.') || allowed.contains(&name.as_str()),
            "{name} at the top level"
        );
    }
}

#[test]
fn every_pack_is_embedded() {
    let embedded: BTreeSet<&str> = etchlore_engine::packs::PACKS
        .iter()
        .map(|pack| pack.path)
        .collect();
    let folder = root().join("engine/packs");
    for file in [all("engine/packs", "lore"), all("engine/packs", "csv")].concat() {
        let path = file
            .strip_prefix(&folder)
            .unwrap()
            .to_string_lossy()
            .into_owned();
        assert!(
            embedded.contains(path.as_str()),
            "{path} is not listed in engine/src/packs.rs"
        );
    }
    let names: Vec<&str> = etchlore_engine::packs::PACKS
        .iter()
        .map(|pack| pack.name)
        .collect();
    assert!(
        names.windows(2).all(|pair| pair[0] < pair[1]),
        "the list is sorted and without doubles"
    );
}

#[test]
fn every_code_has_its_page_and_its_case() {
    let cases: Vec<String> = all("engine/tests/cases", "lore")
        .iter()
        .map(|file| file.file_stem().unwrap().to_string_lossy().into_owned())
        .collect();
    let mut seen = BTreeSet::new();
    for info in etchlore_engine::diagnostic::CODES {
        assert!(seen.insert(info.code), "{} twice", info.code);
        assert!(
            info.code
                .chars()
                .all(|c| c.is_ascii_lowercase() || c == '-'),
            "{}",
            info.code
        );
        for text in [info.title, info.what, info.why, info.example, info.instead] {
            assert!(text.len() > 2, "{}", info.code);
        }
        assert!(
            cases
                .iter()
                .any(|case| case == info.code || case.starts_with(&format!("{}_", info.code))),
            "no case file shows {}",
            info.code
        );
    }
}

#[test]
fn every_code_that_is_said_is_registered() {
    for file in all("engine/src", "rs") {
        let text = std::fs::read_to_string(&file).unwrap();
        for part in text.split("Diagnostic::new(").skip(1) {
            let Some(code) = part
                .trim_start()
                .strip_prefix('"')
                .and_then(|rest| rest.split('"').next())
            else {
                continue;
            };
            assert!(
                etchlore_engine::diagnostic::info(code).is_some(),
                "{}: {code} is not registered",
                file.display()
            );
        }
    }
}

/// Code blocks of a page by their language.
fn blocks(page: &str, language: &str) -> Vec<String> {
    let text = std::fs::read_to_string(root().join(page)).unwrap();
    text.split("\n```")
        .skip(1)
        .step_by(2)
        .filter_map(|block| block.split_once('\n'))
        .filter(|(head, _)| head.trim() == language)
        .map(|(_, body)| body.to_owned())
        .collect()
}

#[test]
fn the_rules_on_the_pages_check() {
    let mut count = 0;
    for page in ["README.md", "engine/docs/language.md"] {
        for (number, block) in blocks(page, "lore").into_iter().enumerate() {
            let folder = tempfile::tempdir().unwrap();
            std::fs::write(folder.path().join("page.lore"), &block).unwrap();
            std::fs::write(
                folder.path().join("codes.csv"),
                "code,flash Kbyte\nA1,64\nB2,128\n",
            )
            .unwrap();
            let run = run_with(
                etchlore(&["rules", "check", folder.path().to_str().unwrap()]),
                b"",
            );
            assert_eq!(
                run.status,
                0,
                "{page}, block {}:\n{block}\n{}{}",
                number + 1,
                run.out,
                run.err
            );
            assert!(
                run.out.contains("0 errors, 0 warnings"),
                "{page}, block {}:\n{block}\n{}",
                number + 1,
                run.out
            );
            count += 1;
        }
    }
    assert!(count >= 10, "only {count} blocks");
}

/// The commands that the pages show do run (`cargo` itself apart).
#[test]
fn the_commands_on_the_pages_run() {
    let mut count = 0;
    for page in ["README.md", "rules-demo/README.md"] {
        for block in blocks(page, "sh") {
            for line in block.lines().filter(|line| line.starts_with("etchlore ")) {
                let words = words(line);
                let arguments: Vec<&str> = words.iter().skip(1).map(String::as_str).collect();
                let run = run_with(etchlore(&arguments), b"25Q128JVSQ\n");
                assert!(run.status <= 1, "{page}: {line}: {}", run.err);
                count += 1;
            }
        }
    }
    assert!(count >= 8, "only {count} commands");
}

/// The words of a shell line with single and double quotes.
fn words(line: &str) -> Vec<String> {
    let mut words = vec![String::new()];
    let mut quote = None;
    for c in line.chars() {
        match (quote, c) {
            (None, '\'' | '"') => quote = Some(c),
            (Some(q), c) if q == c => quote = None,
            (None, ' ') => words.push(String::new()),
            (_, c) => words.last_mut().unwrap().push(c),
        }
    }
    words.retain(|word| !word.is_empty());
    words
}
