//! Checked rules as bytes, and back.

use std::borrow::Cow;

use etchlore_engine::source::Sources;
use etchlore_engine::{packs, store};

use crate::support;

/// The texts of a set by name, as a program has them that embeds them.
fn text(sources: &Sources) -> impl Fn(&str) -> Option<Cow<'static, str>> {
    |name| {
        let id = sources.find(name)?;
        Some(sources.text(id).to_owned().into())
    }
}

#[test]
fn comes_back_as_it_was() {
    for demo in [false, true] {
        let (sources, checked) = support::checked(demo, &[]);
        let bytes = store::write(&checked.rules, &sources).expect("it is written");
        let (rules, texts) = store::read(&bytes, text(&sources)).expect("it is read");
        assert_eq!(format!("{rules:?}"), format!("{:?}", checked.rules));
        let names = |sources: &Sources| -> Vec<(String, String)> {
            let each = sources.iter();
            each.map(|(_, source)| (source.name.clone(), source.text.to_string()))
                .collect()
        };
        assert_eq!(names(&texts), names(&sources));
        // The places lead to the same lines.
        for (was, is) in checked.rules.families.iter().zip(&rules.families) {
            assert_eq!(sources.file_line(was.place), texts.file_line(is.place));
        }
    }
}

#[test]
fn embedded_texts_are_found_by_name() {
    for pack in packs::PACKS {
        assert_eq!(packs::text(pack.name), Some(pack.text), "{}", pack.name);
    }
    assert_eq!(packs::text("builtin/none"), None);
}

#[test]
fn damaged_bytes_are_told() {
    let text_of_demo = "lore 1\n\nfamily made   Made parts\n  function other\n  source \"made\"\n  \
        code  \"AB\" size grade ~ year week\n  size\n    12  density 1 Mbit, note x\n    34  density 2 Mbit\n  \
        grade  letter\n  year  2 digits\n  week  2 digits\n  date  year week\n  example AB12X";
    let mut sources = Sources::default();
    let root = sources.add("made.lore", text_of_demo, false);
    let rules = etchlore_engine::check::check(&mut sources, &[root], &packs::Embedded).rules;
    let bytes = store::write(&rules, &sources).expect("it is written");
    assert!(store::read(&bytes, text(&sources)).is_ok());
    for upto in 0..bytes.len() {
        assert!(
            store::read(&bytes[..upto], text(&sources)).is_err(),
            "cut at {upto}"
        );
    }
    assert!(store::read(&[bytes.as_slice(), b"x"].concat(), text(&sources)).is_err());
    assert!(store::read(&bytes, |_| None).is_err(), "a text is missing");
    // One byte altered may be another rule set, but never a panic.
    let mut told = 0;
    for at in 0..bytes.len() {
        for flip in [0x01, 0x80, 0xff] {
            let mut altered = bytes.clone();
            altered[at] ^= flip;
            told += usize::from(store::read(&altered, text(&sources)).is_err());
        }
    }
    assert!(told > bytes.len() / 4, "{told} of {} told", bytes.len() * 3);
}
