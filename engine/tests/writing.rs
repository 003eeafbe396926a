//! Writing by name: what was written decodes to its codes, and what was decoded is written with its glyphs.

use etchlore_engine::decode::{Notation, Reading, Scratch};
use etchlore_engine::glyph::Boundary;
use etchlore_engine::model::{Family, FamilyId, Row, RowItem, SlotId};
use etchlore_engine::write::{ComposeError, Written, all, code_text, compose, sample};
use jiff::civil::date;

use crate::support::lore::Dice;

/// Members of each form that are written by their codes.
const MEMBERS: usize = 60;
/// Bits by which another way to read a member may be likelier.
const RARER: f64 = 12.0;

/// The glyphs of a written mark, each as a rule types it.
fn glyphs(reading: &str) -> Vec<String> {
    let mut found = Vec::new();
    let mut chars = reading.chars();
    while let Some(c) = chars.next() {
        match c {
            '\\' => found.extend(chars.next().map(String::from)),
            '{' => {
                let name: String = chars.by_ref().take_while(|c| *c != '}').collect();
                found.push(format!("{name}:"));
            }
            '|' => {}
            c if Boundary::of(c).is_some() => {}
            c => found.push(c.to_string()),
        }
    }
    found
}

fn slots_of(items: &[RowItem]) -> Vec<SlotId> {
    items
        .iter()
        .flat_map(|item| match item {
            RowItem::Slot(slot) => vec![*slot],
            RowItem::Optional(inner) => slots_of(inner),
            _ => Vec::new(),
        })
        .collect()
}

/// The slots with a name, printed or not in its row at all, and the codes of a member as they are typed.
fn given(family: &Family, written: &Written) -> Vec<(SlotId, String)> {
    let mut all: Vec<(SlotId, String)> = Vec::new();
    let row = slots_of(&family.forms[written.form].row.items);
    // A print may hang on a code that the form does not show.
    let unprinted = (0..family.slots.len())
        .map(SlotId::at)
        .filter(|slot| !row.contains(slot));
    for slot in written.printed.iter().copied().chain(unprinted) {
        let model = &family.slots[slot.index()];
        let chosen = &written.codes[slot.index()];
        let Some(code) = model.codes.get(chosen.code.index()) else {
            continue;
        };
        if !model.literal && all.iter().all(|(of, _)| *of != slot) {
            let text = code_text(code).unwrap_or_else(|| chosen.text());
            all.push((slot, text));
        }
    }
    all
}

fn borrowed(given: &[(SlotId, String)]) -> Vec<(SlotId, &str)> {
    given
        .iter()
        .map(|(slot, text)| (*slot, text.as_str()))
        .collect()
}

/// Whether a row has text that is sometimes printed and says nothing.
fn has_decoration(row: &Row, family: &Family) -> bool {
    fn named(items: &[RowItem], family: &Family) -> bool {
        items.iter().any(|item| match item {
            RowItem::Slot(slot) => !family.slots[slot.index()].literal,
            RowItem::Optional(inner) => named(inner, family),
            _ => false,
        })
    }
    row.items
        .iter()
        .any(|item| matches!(item, RowItem::Optional(inner) if !named(inner, family)))
}

#[test]
fn codes_by_name_write_what_they_were() {
    let rules = crate::support::rules(true, &[]);
    let set = rules.set();
    let decoder = rules.decoder();
    let mut scratch = Scratch::default();
    let (mut written_again, mut decoded_again) = (0, 0);
    let mut failures = Vec::new();
    for (index, family) in set.families.iter().enumerate() {
        for (form, model) in family.forms.iter().enumerate() {
            let mut dice = Dice::new(index as u64 * 131 + form as u64);
            let mut random = |bound: u64| dice.below(bound as usize) as u64;
            let decoration = has_decoration(&model.row, family);
            for _ in 0..MEMBERS {
                let Some(member) = sample(set, family, form, &mut random) else {
                    continue;
                };
                let codes = given(family, &member);
                let again = match compose(family, form, &borrowed(&codes)) {
                    Ok(again) => again,
                    Err(error) => {
                        failures.push(format!("{}: {codes:?}: {error}", family.name));
                        continue;
                    }
                };
                if !decoration && again.reading() != member.reading() {
                    failures.push(format!(
                        "{}: {} is written {}",
                        family.name,
                        member.reading(),
                        again.reading()
                    ));
                }
                written_again += 1;
                // What was decoded, written: the glyphs that were read.
                let certain = Notation {
                    certain: true,
                    ..Notation::default()
                };
                let text = again.reading();
                let reading = Reading::parse(&text, certain)
                    .unwrap()
                    .in_form(Some(model.kind));
                let read = glyphs(&text);
                let explanations = decoder.explain(&reading, date(2026, 11, 25), &mut scratch);
                let own: Vec<_> = explanations
                    .iter()
                    .filter(|e| e.family() == FamilyId::at(index) && e.is_exact(read.len()))
                    .collect();
                // A row of dates and serials names no part, and is read only beside one that does.
                let Some(best) = own.iter().max_by(|a, b| a.bits().total_cmp(&b.bits())) else {
                    continue;
                };
                let allows = |e: &etchlore_engine::decode::Explanation| {
                    let mut printed = again.printed.iter();
                    printed.all(|slot| decoder.allows(e, *slot, again.codes[slot.index()].code))
                };
                let mut likely = own.iter().filter(|e| e.bits() > best.bits() - RARER);
                if !likely.any(|e| allows(e)) {
                    failures.push(format!("{}: {text} does not give its codes", family.name));
                }
                // Of those that leave its codes possible, the one that sees most of them.
                let most = own
                    .iter()
                    .filter(|e| allows(e))
                    .max_by_key(|e| e.codes().len());
                let Some(best) = most else { continue };
                let cuts = best.cut_at();
                let mut seen: Vec<(SlotId, String)> = Vec::new();
                for (slot, code) in best.codes() {
                    let slot_model = &family.slots[slot];
                    if slot_model.literal || seen.iter().any(|(of, _)| of.index() == slot) {
                        continue;
                    }
                    let listed = code_text(&slot_model.codes[code as usize]);
                    let cut = cuts.iter().find(|(of, ..)| *of == slot);
                    let text = listed
                        .or_else(|| cut.map(|(_, from, to)| read[*from..*to].concat()))
                        .unwrap_or_default();
                    seen.push((SlotId::at(slot), text));
                }
                // What is not printed stays open in the answer, and a print may hang on it.
                let row = slots_of(&model.row.items);
                let besides = codes
                    .iter()
                    .filter(|(slot, _)| {
                        !row.contains(slot) && !seen.iter().any(|(known, _)| known == slot)
                    })
                    .cloned();
                let besides: Vec<(SlotId, String)> = besides.collect();
                seen.extend(besides);
                let rows =
                    (0..family.forms.len()).filter(|at| family.forms[*at].kind == model.kind);
                let mut tried = rows.filter_map(|row| compose(family, row, &borrowed(&seen)).ok());
                if tried.any(|third| glyphs(&third.reading()) == read) {
                    decoded_again += 1;
                } else if !decoration {
                    failures.push(format!(
                        "{}: {text} decodes to {seen:?}, which is not written so",
                        family.name
                    ));
                }
            }
        }
    }
    let few: Vec<&String> = failures.iter().take(20).collect();
    assert!(
        failures.is_empty(),
        "{} of {written_again}: {few:#?}",
        failures.len()
    );
    assert!(
        decoded_again * 10 > written_again * 9,
        "{decoded_again} of {written_again}"
    );
}

const SMALL: &str = "lore 1
family small   A small family
  source \"bench notes\"
  code QX  A    1     -  none
       hd  kind size  -  grade
  kind
    A
    B
  size
    1
    2  when kind A
    3
  grade
    none
    C
  never kind B and size 3 and grade C note \"not made\"
  example QXA1
";

fn small() -> Family {
    let rules = crate::support::rules(false, &[("small.lore", SMALL)]);
    rules
        .set()
        .families
        .iter()
        .find(|family| family.name == "small")
        .unwrap()
        .clone()
}

#[test]
fn all_members_of_a_small_family() {
    let family = small();
    let members: Vec<String> = all(&family, 0, 100)
        .unwrap()
        .iter()
        .map(Written::reading)
        .collect();
    let expected = [
        "QXA1", "QXA1-C", "QXA2", "QXA2-C", "QXA3", "QXA3-C", "QXB1", "QXB1-C", "QXB3",
    ];
    assert_eq!(members, expected);
    assert_eq!(all(&family, 0, 8).unwrap_err(), 8);
}

#[test]
fn codes_that_cannot_be_are_refused_with_near_ones() {
    let family = small();
    let slot = |name: &str| {
        SlotId::at(
            family
                .slots
                .iter()
                .position(|slot| slot.name == name)
                .unwrap(),
        )
    };
    let write = |codes: &[(&str, &'static str)]| {
        let given: Vec<(SlotId, &str)> = codes
            .iter()
            .map(|(name, code)| (slot(name), *code))
            .collect();
        compose(&family, 0, &given).map(|written| written.reading())
    };
    assert_eq!(
        write(&[("kind", "A"), ("size", "2")]),
        Ok("QXA2".to_owned())
    );
    let unknown = write(&[("kind", "A"), ("size", "7")]).unwrap_err();
    assert!(matches!(&unknown, ComposeError::Unknown { near, .. } if near == &["1", "2", "3"]));
    let missing = write(&[("kind", "A")]).unwrap_err();
    assert!(
        matches!(&missing, ComposeError::Missing { slot, codes } if slot == "size" && codes == &["1", "2", "3"])
    );
    let guard = write(&[("kind", "B"), ("size", "2")]).unwrap_err();
    assert!(
        matches!(&guard, ComposeError::Broken { instead, .. } if instead == &["size=1", "size=3", "kind=A"]),
        "{guard:?}"
    );
    let never = write(&[("kind", "B"), ("size", "3"), ("grade", "C")]).unwrap_err();
    assert!(never.help().contains("grade=none"), "{}", never.help());
}
