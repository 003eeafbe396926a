//! Rule texts with what each stage says of them: case files, lossless trees, random damage, the language reference.

use std::path::{Path, PathBuf};

use etchlore_engine::Rules;
use etchlore_engine::check::check;
use etchlore_engine::compile::Limits;
use etchlore_engine::source::Sources;
use etchlore_engine::syntax::parse;

use crate::support::said;

#[test]
fn cases_say_what_they_should() {
    insta::glob!("cases/**/*.lore", |path| {
        let stem = path.file_stem().unwrap().to_string_lossy().into_owned();
        let of_format = path
            .parent()
            .is_some_and(|folder| folder.ends_with("format"));
        if stem == "other" || of_format {
            return;
        }
        let text = std::fs::read_to_string(path).unwrap();
        let (sources, all) = said(path, &text);
        let code = stem.split('_').next().unwrap();
        if code == "five-mistakes" {
            assert!(all.len() >= 5, "{} messages", all.len());
        } else {
            assert!(
                all.iter().any(|d| d.code == code),
                "{stem}: {:?}",
                all.iter().map(|d| d.code).collect::<Vec<_>>()
            );
        }
        for diagnostic in &all {
            assert!(
                !diagnostic.help.is_empty() || diagnostic.code == "too-large",
                "{stem}: {} says not what to do",
                diagnostic.code
            );
        }
        let folder = path.parent().unwrap().display().to_string();
        let text: String = all
            .iter()
            .map(|d| shortened(&d.plain(&sources)) + "\n")
            .collect();
        insta::assert_snapshot!(text.replace(&format!("{folder}/"), ""));
    });
}

/// Long lines are cut, so that a snapshot of a huge line stays small.
fn shortened(text: &str) -> String {
    text.lines()
        .map(|line| {
            if line.len() > 200 {
                format!("{} ...", line.chars().take(200).collect::<String>())
            } else {
                line.to_owned()
            }
        })
        .collect::<Vec<_>>()
        .join("\n")
}

fn lore_files(folder: &Path, found: &mut Vec<PathBuf>) {
    for entry in std::fs::read_dir(folder).into_iter().flatten().flatten() {
        let path = entry.path();
        if path.is_dir() && !path.ends_with("target") {
            lore_files(&path, found);
        } else if path.extension().is_some_and(|ending| ending == "lore") {
            found.push(path);
        }
    }
}

/// The lines of a tree, one after the other, are the text, whatever it is.
fn lossless(text: &str) {
    let mut sources = Sources::default();
    let id = sources.add("text", text.to_owned(), false);
    let tree = parse(id, text).tree;
    let again: String = tree
        .nodes
        .iter()
        .map(|node| &text[node.line.range()])
        .collect();
    assert_eq!(again, text);
}

#[test]
fn trees_are_lossless_and_damage_never_panics() {
    let mut files = Vec::new();
    lore_files(&crate::support::root(), &mut files);
    assert!(files.len() > 40);
    let mut random = fastrand::Rng::with_seed(17);
    for file in files {
        let text = std::fs::read_to_string(&file).unwrap();
        lossless(&text);
        let lines: Vec<&str> = text.lines().collect();
        for _ in 0..20 {
            let mut damaged: Vec<String> = lines.iter().map(|line| (*line).to_owned()).collect();
            for _ in 0..3 {
                let at = random.usize(..damaged.len().max(1));
                let Some(line) = damaged.get_mut(at) else {
                    continue;
                };
                let mut chars: Vec<char> = line.chars().collect();
                let place = random.usize(..=chars.len());
                match random.u8(..5) {
                    0 => chars.insert(
                        place,
                        *random
                            .choice(&[
                                '"', '\\', ':', '|', '[', '\t', '\0', 'ß', '#', ',', '=', '(',
                            ])
                            .unwrap(),
                    ),
                    1 => chars.truncate(place),
                    2 => {
                        let by = place.min(chars.len().saturating_sub(1));
                        chars.rotate_left(by);
                    }
                    3 => chars.extend(" or none when x".chars()),
                    _ => {
                        if place < chars.len() {
                            chars.remove(place);
                        }
                    }
                }
                *line = chars.into_iter().collect();
            }
            let text = damaged.join("\n");
            lossless(&text);
            let mut sources = Sources::default();
            let root = sources.add(file.display().to_string(), text, false);
            let checked = check(&mut sources, &[root], &crate::support::Files);
            for diagnostic in &checked.diagnostics {
                let _ = diagnostic.plain(&sources);
            }
            if !checked.has_errors() {
                let _ = Rules::compile(
                    checked.rules,
                    &etchlore_engine::glyph::Confusions::default(),
                    &Limits::default(),
                );
            }
        }
    }
}

#[test]
fn a_large_file_is_read_in_one_go() {
    // 1 MB of entries; quadratic time would take minutes here.
    let mut text = String::from("lore 1\ntable many  gives density Mbit\n");
    for n in 0..40_000 {
        text.push_str(&format!("  C{n:05}      {}\n", n % 64 + 1));
    }
    lossless(&text);
}

#[test]
fn the_embedded_rules_have_no_faults() {
    let (sources, checked) = crate::support::checked(false, &[]);
    let faults: Vec<String> = checked
        .diagnostics
        .iter()
        .map(|d| d.plain(&sources))
        .collect();
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}
