//! Checked rules as bytes, and back.

use std::borrow::Cow;

use etchlore_engine::decode::{Notation, Reading, Scratch};
use etchlore_engine::model::RuleSet;
use etchlore_engine::rank::Context;
use etchlore_engine::source::Sources;
use etchlore_engine::store::StoreError;
use etchlore_engine::write::sample;
use etchlore_engine::{Rules, packs, store};

use crate::support;

/// The texts of a set by name, as a program has them that embeds them.
fn text(sources: &Sources) -> impl Fn(&str) -> Option<Cow<'static, str>> {
    |name| {
        let id = sources.find(name)?;
        Some(sources.text(id).to_owned().into())
    }
}

fn read(bytes: Vec<u8>, sources: &Sources) -> Result<(Rules, Sources), StoreError> {
    store::read(bytes, text(sources))
}

#[test]
fn comes_back_as_it_was() {
    for demo in [false, true] {
        let (sources, checked) = support::checked(demo, &[]);
        let bytes = store::write(&checked.rules, &sources).expect("it is written");
        let (rules, texts) = read(bytes, &sources).expect("it is read");
        let rules = rules.set();
        assert_eq!(
            rules.families.in_memory(),
            0,
            "families are read when they are asked for"
        );
        for (was, is) in checked.rules.families.iter().zip(&rules.families) {
            assert_eq!(format!("{is:?}"), format!("{was:?}"));
        }
        assert_eq!(rules.families.len(), checked.rules.families.len());
        let others = |rules: &RuleSet| format!("{:?} {:?}", rules.makers, rules.fields);
        assert_eq!(others(rules), others(&checked.rules));
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
    assert!(read(bytes.clone(), &sources).is_ok());
    for upto in 0..bytes.len() {
        assert!(
            read(bytes[..upto].to_vec(), &sources).is_err(),
            "cut at {upto}"
        );
    }
    assert!(read([bytes.as_slice(), b"x"].concat(), &sources).is_err());
    let none = store::read(bytes.clone(), |_| None);
    assert!(none.is_err(), "a text is missing");
    for at in 0..bytes.len() {
        for flip in [0x01, 0x80, 0xff] {
            let mut altered = bytes.clone();
            altered[at] ^= flip;
            assert!(read(altered, &sources).is_err(), "{flip:x} at {at}");
        }
    }
}

/// A stored set compiles only the families that a reading comes near to, and says what all of them say.
#[test]
fn few_families_are_read_for_one_reading() {
    let (sources, checked) = support::checked(false, &[]);
    let bytes = store::write(&checked.rules, &sources).expect("it is written");
    let all = support::rules(false, &[]);
    let context = Context::on(jiff::civil::date(2026, 6, 1));
    let families = checked.rules.families.len();
    // With the part of the families that may be read: damage of a short mark, or of one that is no part, is looked for in more of them.
    let marks = [
        ("W25Q64JVSSIQ", 20),
        ("NE555", 3),
        ("STM32F1O3C8T6", 2),
        ("BAT54", 1),
        ("4_2", 1),
        ("K4B2G16 46D-HCK0", 1),
        ("QUARTZ", 3),
    ];
    for (mark, part) in marks {
        let (rules, _) = read(bytes.clone(), &sources).expect("it is read");
        let reading = Reading::parse(mark, Notation::default()).expect("it is a reading");
        let told = rules.rank(&reading, &context, &mut Scratch::default());
        let touched = rules.set().families.in_memory();
        assert!(touched * part < families, "{mark}: {touched} of {families}");
        let wanted = all.rank(&reading, &context, &mut Scratch::default());
        assert_eq!(format!("{told:?}"), format!("{wanted:?}"), "{mark}");
    }
}

/// The outlines by which the index goes before a family is compiled leave out nothing: one member of each family, as it is
/// written or damaged, is ranked by a set that has compiled nothing as by one that has compiled all.
#[test]
fn outlines_leave_out_nothing() {
    let (sources, checked) = support::checked(false, &[]);
    let bytes = store::write(&checked.rules, &sources).expect("it is written");
    let all = support::rules(false, &[]);
    let context = Context::on(jiff::civil::date(2026, 6, 1));
    let mut dice = fastrand::Rng::with_seed(17);
    let mut scratch = Scratch::default();
    let mut compared = 0;
    for (at, family) in checked.rules.families.iter().enumerate() {
        let form = dice.usize(..family.forms.len().max(1));
        let mut random = |bound: u64| dice.u64(..bound.max(1));
        let Some(member) = sample(&checked.rules, family, form, &mut random) else {
            continue;
        };
        let mut text: Vec<char> = member.reading().chars().collect();
        let place = dice.usize(..text.len().max(1));
        if text.get(place).is_some_and(char::is_ascii_alphanumeric) {
            match at % 4 {
                0 => text[place] = '_',
                1 => text[place] = char::from(dice.u8(b'A'..=b'Z')),
                2 => drop(text.remove(place)),
                _ => {}
            }
        }
        let text: String = text.into_iter().collect();
        let Ok(reading) = Reading::parse(&text, Notation::default()) else {
            continue;
        };
        let (rules, _) = read(bytes.clone(), &sources).expect("it is read");
        let told = rules.rank(&reading, &context, &mut scratch);
        let wanted = all.rank(&reading, &context, &mut scratch);
        assert_eq!(format!("{told:?}"), format!("{wanted:?}"), "{text}");
        compared += 1;
    }
    assert!(compared > 300, "{compared}");
}
