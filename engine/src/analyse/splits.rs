//! Strings that one form of a family can cut into its slots in two ways: found on random members, so what is not reported is not
//! proved absent.

use jiff::civil::Date;

use crate::Rules;
use crate::decode::{Notation, Reading, Scratch};
use crate::diagnostic::Diagnostic;
use crate::model::FamilyId;
use crate::write::sample;

/// Members tried of each form.
const MEMBERS: usize = 60;
/// Two cuts whose bits differ by less are equally likely.
const EQUAL: f64 = 1e-6;

/// One warning for each form in which some member is read as likely in another way as in its own.
#[must_use]
pub fn splits(rules: &Rules) -> Vec<Diagnostic> {
    let set = rules.set();
    let mut scratch = Scratch::default();
    let mut found = Vec::new();
    let day = Date::constant(2025, 6, 30);
    for (index, family) in set.families.iter().enumerate() {
        if family
            .accepts
            .iter()
            .any(|accept| accept.lint == "ambiguous-split")
        {
            continue;
        }
        let decoder = rules.decoder().only(FamilyId::at(index));
        for (form, model) in family.forms.iter().enumerate() {
            let mut state = 0x9e37_79b9_7f4a_7c15_u64 ^ (index as u64) << 8 ^ form as u64;
            let mut random = move |bound: u64| {
                state = state
                    .wrapping_mul(6_364_136_223_846_793_005)
                    .wrapping_add(1_442_695_040_888_963_407);
                (state >> 33) % bound.max(1)
            };
            let twice = (0..MEMBERS).find_map(|_| {
                let written = sample(set, family, form, &mut random)?;
                let text = written.reading();
                let reading = Reading::parse(&text, Notation::default())
                    .ok()?
                    .in_form(Some(model.kind));
                let explanations = decoder.explain(&reading, day, &mut scratch);
                let glyphs = reading.lines.iter().map(|line| line.marks.len()).sum();
                let own: Vec<_> = explanations.iter().filter(|e| e.is_exact(glyphs)).collect();
                let best = own
                    .iter()
                    .map(|e| e.bits())
                    .fold(f64::NEG_INFINITY, f64::max);
                let mut cuts: Vec<Vec<(usize, usize, usize)>> = own
                    .iter()
                    .filter(|e| e.bits() > best - EQUAL)
                    .map(|e| e.cut_at())
                    .collect();
                cuts.sort();
                cuts.dedup();
                (cuts.len() > 1).then_some(text)
            });
            if let Some(text) = twice {
                found.push(
                    Diagnostic::new("ambiguous-split", model.place, format!("`{text}` can be cut into the slots of this form in two ways that are as likely"))
                        .help("give one of the slots a fixed length or a list, put a hard boundary between them, or `accept ambiguous-split  note \"why\"`"),
                );
            }
        }
    }
    found
}
