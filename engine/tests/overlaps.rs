//! Overlaps: against enumeration, against the decoders, planted ones, many families.

use std::collections::BTreeSet;

use etchlore_engine::Rules;
use etchlore_engine::analyse::overlaps::{Looking, Overlaps, overlaps};
use etchlore_engine::decode::{Notation, Reading, Scratch};
use etchlore_engine::glyph::{Boundary, Confusions};
use etchlore_engine::model::{Family, FamilyId, RuleSet};
use etchlore_engine::write::all;
use jiff::civil::date;

use crate::support::lore::Dice;

fn all_pairs(set: &RuleSet) -> Overlaps {
    overlaps(set, &Confusions::default(), Looking::default(), &|_| true)
}

/// The rule set of some families alone.
fn checked(text: &str) -> RuleSet {
    let mut sources = etchlore_engine::source::Sources::default();
    let root = sources.add("lab.lore", text.to_owned(), false);
    let checked = etchlore_engine::check::check(&mut sources, &[root], &crate::support::Files);
    let errors: Vec<String> = checked
        .diagnostics
        .iter()
        .filter(|d| d.severity == etchlore_engine::diagnostic::Severity::Error)
        .map(|d| d.plain(&sources))
        .collect();
    assert!(errors.is_empty(), "{}\n{text}", errors.join("\n"));
    checked.rules
}

/// A small family whose strings are few letters, so that two of them often share some.
fn small(dice: &mut Dice, number: usize) -> String {
    let mut text = format!("family f{number}   Family {number}\n  source \"notes\"\n");
    let head = dice.pick(&["Q", "QA", "QB", "X", "XA"]).to_owned();
    let mut row = vec!["head"];
    let names = ["one", "two", "three"];
    let count = 1 + dice.below(3);
    let mut lists = String::new();
    let mut earlier: Option<(&str, String)> = None;
    let mut specimen = vec![head];
    for name in &names[..count] {
        row.push(name);
        match dice.below(5) {
            0 => {
                lists.push_str(&format!("  {name} one of \"AB1\"\n"));
                specimen.push("A".to_owned());
            }
            1 => {
                lists.push_str(&format!("  {name} pattern \"[AB]{{1,2}}\"\n"));
                specimen.push("A".to_owned());
            }
            _ => {
                let mut codes: BTreeSet<&str> = BTreeSet::new();
                while codes.len() < 3 {
                    codes.insert(dice.pick(&["A", "B", "AB", "BA", "1", "A1", "1A", "11", "B1"]));
                }
                lists.push_str(&format!("  {name}\n"));
                if dice.chance(3) {
                    lists.push_str("    none\n");
                }
                for code in &codes {
                    let mut line = format!("    {code}");
                    if dice.chance(3) {
                        line.push_str(&format!(
                            "  prints {} in top",
                            dice.pick(&["A", "1", "nothing"])
                        ));
                        if let (true, Some((slot, code))) = (dice.chance(2), &earlier) {
                            line.push_str(&format!(" when {slot} {code}"));
                        }
                    } else if let (true, Some((slot, code))) = (dice.chance(3), &earlier) {
                        let not = if dice.chance(2) { "not " } else { "" };
                        line.push_str(&format!("  when {not}{slot} {code}"));
                    }
                    lists.push_str(&line);
                    lists.push('\n');
                }
                let first = codes.iter().next().unwrap();
                if let (true, Some((slot, code))) = (dice.chance(3), &earlier) {
                    lists.push_str(&format!("  never {slot} {code} and {name} {first}\n"));
                }
                specimen.push((*first).to_owned());
                earlier = Some((name, (*first).to_owned()));
            }
        }
    }
    text.push_str(&format!(
        "  code {}\n    {}\n",
        specimen.join(" "),
        row.join(" ")
    ));
    if dice.chance(2) {
        let (last, most) = (row.len() - 1, row[..row.len() - 1].join(" "));
        text.push_str(&format!("  top {most} [ {} ]\n", row[last]));
    }
    text.push_str(&lists);
    text
}

/// All strings of a family by enumeration, glyphs alone and folded.
fn strings(family: &Family) -> BTreeSet<String> {
    (0..family.forms.len())
        .flat_map(|form| all(family, form, 100_000).unwrap())
        .map(|written| {
            let glyphs = written.lines.concat();
            glyphs
                .chars()
                .filter(|c| Boundary::of(*c).is_none())
                .map(|c| c.to_ascii_uppercase())
                .collect()
        })
        .collect()
}

#[test]
fn small_families_are_compared_as_by_enumeration() {
    let mut dice = Dice::new(2026);
    let (mut pairs, mut shared) = (0, 0);
    let near = Looking {
        near: true,
        ..Looking::default()
    };
    for _ in 0..150 {
        let mut text = "lore 1\n".to_owned();
        for number in 0..6 {
            text.push_str(&small(&mut dice, number));
        }
        let set = checked(&text);
        let found = overlaps(&set, &Confusions::default(), near, &|_| true);
        let languages: Vec<BTreeSet<String>> = set.families.iter().map(strings).collect();
        for a in 0..languages.len() {
            for b in a + 1..languages.len() {
                pairs += 1;
                let both: BTreeSet<&String> = languages[a].intersection(&languages[b]).collect();
                let overlap = found.overlaps.iter().find(|overlap| {
                    (overlap.one.0, overlap.other.0) == (FamilyId::at(a), FamilyId::at(b))
                });
                let Some(overlap) = overlap else {
                    assert!(both.is_empty(), "f{a} and f{b} share {both:?}\n{text}");
                    continue;
                };
                shared += 1;
                assert_eq!(
                    overlap.shared,
                    both.len().into(),
                    "f{a} and f{b} share {both:?}\n{text}"
                );
                assert_eq!(
                    overlap.sizes.0,
                    languages[a].len().into(),
                    "{:?}\n{text}",
                    languages[a]
                );
                assert_eq!(
                    overlap.sizes.1,
                    languages[b].len().into(),
                    "{:?}\n{text}",
                    languages[b]
                );
                assert!(
                    both.contains(&overlap.witness),
                    "{} of {both:?}",
                    overlap.witness
                );
                let shortest = both.iter().map(|string| string.len()).min();
                assert_eq!(Some(overlap.witness.len()), shortest);
            }
        }
        // One look-alike apart, by trying every one.
        let confusions = Confusions::default();
        for near in &found.near {
            let (one, other) = (
                &languages[near.one.0.index()],
                &languages[near.other.0.index()],
            );
            assert!(
                one.contains(&near.one.1) && other.contains(&near.other.1),
                "{near:?}\n{text}"
            );
            let differ: Vec<(char, char)> = near
                .one
                .1
                .chars()
                .zip(near.other.1.chars())
                .filter(|(a, b)| a != b)
                .collect();
            let [(a, b)] = differ.as_slice() else {
                panic!("{near:?}")
            };
            assert!(
                confusions.alike(*a, *b) || confusions.alike(*b, *a),
                "{near:?}"
            );
        }
    }
    assert!(shared > 200 && pairs - shared > 200, "{shared} of {pairs}");
}

/// Whether a family explains a text as it stands, by both decoders.
fn claims(
    rules: &Rules,
    reference: &crate::support::reference::Reference<'_>,
    text: &str,
    family: FamilyId,
) -> bool {
    let reading = Reading::parse(text, Notation::default()).unwrap();
    let day = date(2026, 11, 25);
    let glyphs = reading.lines.iter().map(|line| line.marks.len()).sum();
    let explained = rules
        .decoder()
        .explain(&reading, day, &mut Scratch::default());
    let fast = explained
        .iter()
        .any(|e| e.family() == family && e.is_exact(glyphs));
    fast && reference
        .explain(&reading, day)
        .contains_key(&family.index())
}

#[test]
fn overlaps_of_packs_are_accepted_and_every_witness_is_claimed_by_both() {
    let packs = crate::support::rules(false, &[]);
    let is_pack = |name: &str| {
        packs
            .set()
            .families
            .iter()
            .any(|family| family.name == name)
    };
    let rules = crate::support::rules(true, &[]);
    let reference = crate::support::reference::Reference::new(rules.set());
    let found = all_pairs(rules.set());
    assert_eq!(found.too_large, []);
    assert!(found.overlaps.len() > 20);
    for overlap in &found.overlaps {
        let name = |(family, _): (FamilyId, usize)| &rules.set().families[family.index()].name;
        let (one, other) = (name(overlap.one), name(overlap.other));
        // What is common to two packs stands in one of them with its reason.
        let reason = overlap
            .accepted
            .as_ref()
            .and_then(|(_, note)| note.as_ref());
        assert!(
            reason.is_some() || !is_pack(one) || !is_pack(other),
            "{one} and {other} share {}",
            overlap.witness
        );
        for (family, _) in [overlap.one, overlap.other] {
            assert!(
                claims(&rules, &reference, &overlap.witness, family),
                "{} is not claimed by {}",
                overlap.witness,
                rules.set().families[family.index()].name
            );
        }
    }
}

/// A thousand families told apart by their first letters, some of which share a string on purpose.
fn thousand() -> (String, BTreeSet<(String, String)>) {
    let letters = |mut n: usize| -> String {
        (0..3)
            .map(|_| {
                let c = char::from(b'A' + (n % 26) as u8);
                n /= 26;
                c
            })
            .collect()
    };
    let mut text =
        "lore 1\ntable sizes  gives density Mbit\n  16 16\n  32 32\n  64 64\n  128 128\n"
            .to_owned();
    let mut planted = BTreeSet::new();
    for number in 0..1_000 {
        // Every fiftieth takes the letters of the one before, and one of its codes.
        let twin = number % 50 == 49;
        let head = letters(if twin { number - 1 } else { number } * 7);
        let kind = if twin {
            "    K\n    N\n"
        } else {
            "    K\n    M\n"
        };
        text.push_str(&format!(
            "family fam{number}   Family {number}\n  source \"notes\"\n  code {head} K 64 - none SS\n       head kind size - revision package\n  top head kind size revision package [ | lot ]\n  kind\n{kind}  size sizes\n  revision letter or none\n  package\n    SS prints S in top\n    SN\n  lot 4..6 alnum each\n  never kind K and size 16 note \"not made\"\n"
        ));
        if twin {
            planted.insert((format!("fam{}", number - 1), format!("fam{number}")));
        }
    }
    (text, planted)
}

#[test]
fn planted_overlaps_among_a_thousand_families_are_found_and_no_others() {
    let (text, planted) = thousand();
    let set = checked(&text);
    let found = all_pairs(&set);
    let name = |id: FamilyId| set.families[id.index()].name.clone();
    let pairs: BTreeSet<(String, String)> = found
        .overlaps
        .iter()
        .map(|overlap| (name(overlap.one.0), name(overlap.other.0)))
        .collect();
    assert_eq!(pairs, planted);
    assert_eq!(found.families, 1_000);
    let rules = Rules::compile(
        set.clone(),
        &Confusions::default(),
        &etchlore_engine::compile::Limits::default(),
    )
    .unwrap();
    let reference = crate::support::reference::Reference::new(rules.set());
    for overlap in found.overlaps.iter().take(3) {
        assert!(
            claims(&rules, &reference, &overlap.witness, overlap.one.0),
            "{}",
            overlap.witness
        );
        assert!(
            claims(&rules, &reference, &overlap.witness, overlap.other.0),
            "{}",
            overlap.witness
        );
    }
}

#[test]
fn accepted_overlaps_are_told_from_open_and_idle_ones() {
    let set = checked(
        "lore 1\nfamily a   A\n  source \"n\"\n  code Q 1\n   head tail\n  tail digit\n  accept overlap b  note \"one part, two names\"\n  accept overlap c  note \"gone by\"\nfamily b   B\n  source \"n\"\n  code Q 1\n   head tail\n  tail one of \"12\"\nfamily c   C\n  source \"n\"\n  code X 1\n   head tail\n  tail digit\nfamily d   D\n  source \"n\"\n  code X 1\n   head tail\n  tail one of \"89\"\n",
    );
    let found = all_pairs(&set);
    let [first, second] = found.overlaps.as_slice() else {
        panic!("{found:?}")
    };
    assert_eq!(
        first.accepted.as_ref().unwrap().1.as_deref(),
        Some("one part, two names")
    );
    assert_eq!(first.swallowed(), Some(FamilyId::at(1)));
    assert_eq!((first.shares().0, first.shares().1), (0.2, 1.0));
    assert_eq!(second.accepted, None);
    assert_eq!(second.witness, "X8");
    let [(family, idle)] = found.idle.as_slice() else {
        panic!("{:?}", found.idle)
    };
    assert_eq!(
        (family.index(), idle.about.as_slice()),
        (0, ["c".to_owned()].as_slice())
    );
}

#[test]
fn a_check_digit_and_dates_narrow_what_is_shared() {
    let set = checked(
        "lore 1\nfamily serial   S\n  source \"n\"\n  code 40170237\n    number\n  number 2 digits\n  check number mod 10\nfamily week   W\n  source \"n\"\n  code K 14 08\n    head week year\n  week 2 digits\n  year 2 digits\n  date week year\nfamily both   B\n  source \"n\"\n  code K 1408\n    head number\n  number 4 digits\nfamily pair   P\n  source \"n\"\n  code 14\n    number\n  number 2 digits\n",
    );
    let found = all_pairs(&set);
    let shared: Vec<String> = found
        .overlaps
        .iter()
        .map(|overlap| overlap.shared.to_string())
        .collect();
    // Two digits whose sum is a multiple of ten: 00, 19, 28 ... 91.
    assert_eq!(found.overlaps[0].sizes.0, 10_u32.into());
    assert!(
        shared.contains(&"10".to_owned()) && shared.contains(&"5300".to_owned()),
        "{shared:?}"
    );
}
