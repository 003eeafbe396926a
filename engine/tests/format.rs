//! Formatting: a second run changes nothing, and the formatted text checks to the same model.

use etchlore_engine::check::{Checked, check};
use etchlore_engine::format::format;
use etchlore_engine::packs;
use etchlore_engine::source::Sources;

use crate::support::lore::{Dice, family, jitter};
use crate::support::{Files, lore_files, root};

fn checked(name: &str, text: &str) -> Checked {
    let mut sources = Sources::default();
    let root = sources.add(name, text.to_owned(), name.starts_with("builtin/"));
    check(&mut sources, &[root], &Files)
}

/// What a text means: its model and what is said of it, without places, spaces and the quotes of conditions.
fn meaning(name: &str, text: &str) -> (String, Vec<&'static str>) {
    let checked = checked(name, text);
    let shown = format!("{:?}", checked.rules);
    let mut parts = shown.split("Span { start: ");
    let mut model = parts.next().unwrap_or("").to_owned();
    for part in parts {
        model.push_str(part.split_once('}').map_or(part, |(_, rest)| rest));
    }
    model.retain(|c| c != ' ' && c != '"' && c != '\\');
    let mut codes: Vec<&str> = checked.diagnostics.iter().map(|d| d.code).collect();
    codes.sort_unstable();
    (model, codes)
}

/// The text as it is formatted, after what must hold of that.
fn formatted(name: &str, text: &str) -> String {
    let once = format(text);
    let twice = format(&once.text);
    assert_eq!(
        once.text, twice.text,
        "{name}: a second run changes it:\n{text}"
    );
    assert_eq!(once.left.len(), twice.left.len(), "{name}");
    let (before, after) = (meaning(name, text), meaning(name, &once.text));
    assert_eq!(
        before.1, after.1,
        "{name}: other messages\n{text}\n{}",
        once.text
    );
    assert!(
        before.0 == after.0,
        "{name}: another model\n{text}\n{}",
        once.text
    );
    once.text
}

#[test]
fn all_rules_keep_their_meaning() {
    let mut files = Vec::new();
    lore_files(&root().join("rules-demo"), &mut files);
    let demo = files.iter().map(|file| {
        let text = std::fs::read_to_string(file).unwrap();
        (file.display().to_string(), text)
    });
    let packs = packs::PACKS
        .iter()
        .filter(|pack| pack.path.ends_with(".lore"))
        .map(|pack| (pack.name.to_owned(), pack.text.to_owned()));
    let mut dice = Dice::new(41);
    let mut count = 0;
    for (name, text) in demo.chain(packs) {
        let plain = formatted(&name, &text);
        // Whatever the spaces were, the layout is the same where nothing was added.
        for _ in 0..5 {
            let loose = jitter(&mut dice, &text);
            formatted(&name, &loose);
        }
        assert!(!plain.contains("  \n") && plain.ends_with('\n'), "{name}");
        count += 1;
    }
    assert!(count > 40, "{count} files");
}

#[test]
fn the_packs_and_the_demo_are_formatted() {
    let mut files = Vec::new();
    lore_files(&root().join("rules-demo"), &mut files);
    lore_files(&root().join("engine/packs"), &mut files);
    for file in files {
        let text = std::fs::read_to_string(&file).unwrap();
        assert_eq!(
            text,
            format(&text).text,
            "run `etchlore rules format rules-demo engine/packs`: {}",
            file.display()
        );
    }
}

#[test]
fn ten_thousand_generated_files_keep_their_meaning() {
    let mut dice = Dice::new(4242);
    let mut clean = 0;
    for number in 0..10_000 {
        let text = format!("lore 1\n{}", family(&mut dice, number));
        let text = jitter(&mut dice, &text);
        formatted("generated.lore", &text);
        clean += usize::from(!checked("generated.lore", &text).has_errors());
    }
    assert!(clean > 5_000, "only {clean} files were without an error");
}

#[test]
fn damaged_files_are_stable() {
    let mut dice = Dice::new(77);
    let texts: Vec<&str> = packs::PACKS
        .iter()
        .filter(|pack| pack.path.ends_with(".lore"))
        .map(|pack| pack.text)
        .collect();
    for _ in 0..2_000 {
        let text = dice.pick(&texts);
        let start = dice.below(text.len());
        let mut part: Vec<char> = text.chars().skip(start).take(900).collect();
        for _ in 0..dice.below(6) {
            let at = dice.below(part.len());
            match dice.below(4) {
                0 => part.truncate(at + 1),
                1 => {
                    part[at] = dice
                        .pick(&["\"", " ", "#", "\n", "\t", "-", "é", ","])
                        .chars()
                        .next()
                        .unwrap()
                }
                2 => part.insert(at, ' '),
                _ => {
                    part.remove(at);
                    part.push('x');
                }
            }
        }
        let text: String = part.into_iter().collect();
        let once = format(&text);
        let again = format(&once.text);
        assert_eq!(once.text, again.text, "{text}");
    }
}

#[test]
fn cases_are_laid_out() {
    insta::glob!("cases/format/*.lore", |path| {
        let text = std::fs::read_to_string(path).unwrap();
        insta::assert_snapshot!(formatted("case.lore", &text));
    });
}
