//! What a part has to do with others: what a code stands for, what is inside, which revision follows which.

use super::answer::{Candidate, Content, Context, Depth, Relations, StandsFor, Succession};
use super::describe::span_of;
use super::detail::Detail;
use super::fields::{Read, certain};
use super::posterior::{Weighed, rank_at};
use crate::decode::{Decoder, Effort, Explanation, Known, Notation, Reading, Scratch, Stream};
use crate::model::{Code, CodeKind, Family};

/// Below this share of a candidate's explanations something inside is not named.
const SHOWN: f64 = 0.05;
/// From this share on it is named without one.
const CERTAIN: f64 = 0.999;
/// From this share on a revision is taken as read.
const SURE: f64 = 0.9;

/// What the rules of the family say beside `stands`, over all explanations of it.
pub(super) fn relations(decoder: &Decoder<'_>, list: &[Weighed<'_>]) -> Relations {
    let (_, family) = decoder.family(list[0].explanation.family);
    let all: f64 = list.iter().map(|one| one.share).sum();
    let share = |holds: &dyn Fn(&Explanation) -> bool| {
        let held = list.iter().filter(|one| holds(one.explanation));
        held.map(|one| one.share).sum::<f64>() / all
    };
    let mut inside = Vec::new();
    for content in &family.contains {
        let held = content.guard.as_ref().map_or(1.0, |guard| {
            share(&|explanation| certain(decoder, explanation, guard))
        });
        if held >= SHOWN {
            inside.push(Content {
                count: content.count,
                family: content.family,
                reading: content.reading.clone(),
                probability: (held < CERTAIN).then_some(held),
            });
        }
    }
    Relations {
        stands_for: None,
        contains: inside,
        succeeds: successions(family, list[0].explanation, &|slot, code| {
            share(&|other| matches!(&other.branch.known[slot], Known::Seen(seen) if *seen == code))
                >= SURE
        }),
        second_source: family.second_source.map(|(family, _)| family),
    }
}

fn successions(
    family: &Family,
    best: &Explanation,
    sure: &dyn Fn(usize, u32) -> bool,
) -> Vec<Succession> {
    let mut found = Vec::new();
    for (number, (slot, known)) in family.slots.iter().zip(&best.branch.known).enumerate() {
        let Known::Seen(code) = known else { continue };
        let mut before = Vec::new();
        let mut at = slot.codes[*code as usize].succeeds;
        // Codes may follow each other in a circle, if a rule says so.
        while let Some(earlier) = at
            && before.len() < slot.codes.len()
        {
            let code = &slot.codes[earlier.index()];
            before.push(listed(code));
            at = code.succeeds;
        }
        if !before.is_empty() && sure(number, *code) {
            found.push(Succession {
                slot: slot.name.clone(),
                code: listed(&slot.codes[*code as usize]),
                before,
            });
        }
    }
    found
}

fn listed(code: &Code) -> String {
    match &code.kind {
        CodeKind::Listed(spelling) => spelling.text(),
        CodeKind::Absent | CodeKind::Open(_) => String::new(),
    }
}

/// Looks up what a short code or house number stands for, and takes its fields over.
#[allow(clippy::too_many_arguments)]
pub(super) fn stands(
    decoder: &Decoder<'_>,
    best: &Explanation,
    read: &Read<'_>,
    stream: &Stream,
    context: &Context,
    detail: &Detail<'_>,
    candidate: &mut Candidate,
) {
    let (_, family) = decoder.family(best.family);
    let seen = best
        .branch
        .known
        .iter()
        .enumerate()
        .find_map(|(slot, known)| match known {
            Known::Seen(code) => {
                let entry = &family.slots[slot].codes[*code as usize];
                entry
                    .stands
                    .as_ref()
                    .map(|stands| (slot, *code, entry, stands))
            }
            _ => None,
        });
    let Some((slot, code, entry, stands)) = seen else {
        return;
    };
    let code = read.code_text(family, slot, code as usize);
    let at = read.choices[slot]
        .filter(|choice| choice.end > choice.start)
        .map(|choice| {
            let first = &stream.ticks[choice.start];
            (
                usize::from(first.line),
                span_of(&stream.ticks[choice.start..choice.end]),
            )
        });
    if detail.full() {
        let own = &entry.provenance;
        candidate.relations.stands_for = Some(StandsFor {
            slot: family.slots[slot].name.clone(),
            code: code.clone(),
            family: stands.family,
            reading: stands.reading.clone(),
            written: None,
            standing: own
                .standing
                .or(family.provenance.standing)
                .unwrap_or_default(),
            source: own
                .source
                .clone()
                .or_else(|| family.provenance.source.clone()),
            note: own.note.clone(),
        });
    }
    let Some(text) = &stands.reading else {
        candidate.known_to = Depth::Series;
        return;
    };
    let Ok(reading) = Reading::parse(text, Notation::default()) else {
        return;
    };
    // What a rule says is not damaged.
    let ranking = rank_at(
        &decoder.with(Effort::Quick),
        &reading,
        context,
        &mut Scratch::default(),
        &detail.deeper(),
    );
    let Some(target) = ranking
        .candidates
        .into_iter()
        .find(|candidate| candidate.family == stands.family)
    else {
        return;
    };
    candidate.written = target.written;
    candidate.known_to = target.known_to;
    candidate.open = target.open;
    let inner = target.relations;
    if let Some(known) = &mut candidate.relations.stands_for {
        known.written = candidate.written.clone();
    }
    // What is inside the part meant is inside this one.
    candidate.relations.contains.extend(inner.contains);
    candidate.relations.second_source = candidate.relations.second_source.or(inner.second_source);
    for mut field in target.fields {
        if candidate
            .fields
            .iter()
            .any(|known| known.field == field.field)
        {
            continue;
        }
        field.slot = Some(family.slots[slot].name.clone());
        field.code = Some(code.clone());
        field.at = at;
        candidate.fields.push(field);
    }
}
