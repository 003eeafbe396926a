//! One candidate for people: fields, corrections, disagreements, how deep it is known.

use super::answer::{
    Alternative, Candidate, Clash, Context, Correction, Depth, Disagreement, FieldAnswer, Piece,
    Relations, SlotSpan,
};
use super::detail::Detail;
use super::fields::{Read, Said, SaidCode, code_of, fields};
use super::posterior::{MAX_STANDS, Weighed};
use super::relations::{relations, stands};
use crate::decode::{
    CONTRADICTED, Choice, Decoder, Doubt, Edit, Explanation, FUTURE, How, Known, NEVER, Reading,
    Stream,
};
use crate::glyph::Glyph;
use crate::model::{CodeKind, Family, FieldId, FormKind, RowItem, Spelling, Standing};
use crate::value::Value;

/// Below this share of a candidate an alternative is not shown.
pub(super) const SHOWN: f64 = 1e-3;
/// Below this share of a candidate an explanation's fields are not merged.
pub(super) const MERGED: f64 = 1e-4;
/// Most explanations whose fields are merged.
const MAX_MERGED: usize = 300;
/// From this share on, what was not printed is taken as entailed.
pub(super) const ENTAILED: f64 = 0.9;

/// A stretch of the stream as a piece of a line.
pub(super) fn piece(reading: &Reading, stream: &Stream, start: usize, end: usize) -> Piece {
    let first = &stream.ticks[start];
    let line = usize::from(first.line);
    let last = stream.ticks[start..end]
        .iter()
        .rfind(|tick| tick.line == first.line)
        .unwrap_or(first);
    let span = (first.span.0, last.span.1);
    let text = reading.lines[line]
        .text
        .chars()
        .skip(span.0 as usize)
        .take((span.1 - span.0) as usize)
        .collect();
    Piece { line, span, text }
}

pub(super) fn remark_fields(
    decoder: &Decoder<'_>,
    explanation: &Explanation,
    stream: &Stream,
    detail: &Detail<'_>,
) -> Vec<FieldAnswer> {
    let weighed = [Weighed {
        explanation,
        bits: 0.0,
        share: 1.0,
    }];
    answers(decoder, &weighed, stream, detail)
}

/// Describes a family by its likeliest explanation, with what the others say beside it.
pub(super) fn candidate(
    decoder: &Decoder<'_>,
    list: &[Weighed<'_>],
    reading: &Reading,
    stream: &Stream,
    context: &Context,
    detail: &Detail<'_>,
) -> Candidate {
    let best = list[0].explanation;
    let (program, family) = decoder.family(best.family);
    let read = Read::of(decoder, best, stream);
    let fields = answers_read(decoder, list, &read, stream, detail);
    let kind = program.rows[best.row].kind;
    let over = &*read.stream;
    let mut candidate = Candidate {
        family: best.family,
        probability: 0.0,
        bits: 0.0,
        prior_bits: 0.0,
        context_bits: 0.0,
        known_to: Depth::Series,
        forms: vec![kind],
        written: None,
        fields,
        open: Vec::new(),
        slots: Vec::new(),
        corrections: Vec::new(),
        disagreements: Vec::new(),
        evidence: Vec::new(),
        relations: Relations::default(),
    };
    if detail.full() {
        candidate.slots = slot_spans(family, best, &read, over);
        glyph_faults(decoder, best, over, stream, reading, &mut candidate);
        disagreements(decoder, best, over, context, &mut candidate);
    }
    written(decoder, list, &read, &mut candidate);
    if detail.full() {
        candidate.relations = relations(decoder, list);
    }
    if detail.depth < MAX_STANDS {
        stands(decoder, best, &read, over, context, detail, &mut candidate);
    }
    candidate
}

fn slot_spans(
    family: &Family,
    best: &Explanation,
    read: &Read<'_>,
    stream: &Stream,
) -> Vec<SlotSpan> {
    let mut spans = Vec::new();
    for choice in best
        .choices
        .iter()
        .filter(|choice| choice.end > choice.start)
    {
        let Some(code) = choice.code else { continue };
        let slot = &family.slots[choice.slot];
        let mut start = choice.start;
        // A slot that runs over a line break is drawn in both lines.
        while start < choice.end {
            let line = stream.ticks[start].line;
            let end = (start..choice.end)
                .find(|at| stream.ticks[*at].line != line)
                .unwrap_or(choice.end);
            spans.push(SlotSpan {
                slot: crate::model::SlotId::at(choice.slot),
                name: slot.name.clone(),
                line: usize::from(line),
                span: span_of(&stream.ticks[start..end]),
                code: read.code_text(family, choice.slot, code as usize),
            });
            start = end;
        }
    }
    spans.sort_by_key(|span| (span.line, span.span));
    spans
}

/// From the first to the last character of some glyphs, also of swapped ones.
pub(super) fn span_of(ticks: &[crate::decode::Tick]) -> (u32, u32) {
    let from = ticks.iter().map(|tick| tick.span.0).min();
    let to = ticks.iter().map(|tick| tick.span.1).max();
    (from.unwrap_or(0), to.unwrap_or(0))
}

/// Fields of a candidate: those of the likeliest explanation, with the others' as alternatives.
pub(super) fn answers(
    decoder: &Decoder<'_>,
    list: &[Weighed<'_>],
    stream: &Stream,
    detail: &Detail<'_>,
) -> Vec<FieldAnswer> {
    let read = Read::of(decoder, list[0].explanation, stream);
    answers_read(decoder, list, &read, stream, detail)
}

/// The same where the likeliest explanation is at hand as text.
fn answers_read(
    decoder: &Decoder<'_>,
    list: &[Weighed<'_>],
    read: &Read<'_>,
    stream: &Stream,
    detail: &Detail<'_>,
) -> Vec<FieldAnswer> {
    let best = list[0].explanation;
    let (_, family) = decoder.family(best.family);
    let wants = |field: FieldId| detail.wants(field);
    if !detail.full() && list.get(1).is_none_or(|weighed| weighed.share < MERGED) {
        let firsts = fields(decoder, best, read, &wants, true);
        if firsts.iter().all(|one| one.values.len() == 1) {
            return settled(decoder, family, firsts, detail);
        }
    }
    let mut marginals: Vec<(FieldId, Vec<(Option<Value>, Option<SaidCode>, f64)>)> = Vec::new();
    let firsts = fields(decoder, best, read, &wants, false);
    let merge =
        |weighed: &Weighed<'_>,
         said: &[Said],
         marginals: &mut Vec<(FieldId, Vec<(Option<Value>, Option<SaidCode>, f64)>)>| {
            let mut seen: Vec<FieldId> = Vec::new();
            for one in said {
                // The first slot that gives a field speaks for it.
                if seen.contains(&one.field) {
                    continue;
                }
                seen.push(one.field);
                let at = marginals
                    .iter()
                    .position(|(field, _)| *field == one.field)
                    .unwrap_or_else(|| {
                        marginals.push((one.field, Vec::new()));
                        marginals.len() - 1
                    });
                for (value, share) in &one.values {
                    let p = share * weighed.share;
                    let same =
                        |known: &(Option<Value>, Option<SaidCode>, f64)| match (&known.0, value) {
                            (Some(a), Some(b)) => a.agrees(b),
                            (None, None) => {
                                let text =
                                    |code: &Option<SaidCode>| code.as_ref().map(|c| c.text(family));
                                text(&known.1) == text(&one.code)
                            }
                            _ => false,
                        };
                    match marginals[at].1.iter_mut().find(|known| same(known)) {
                        Some(known) => known.2 += p,
                        None => marginals[at].1.push((value.clone(), one.code.clone(), p)),
                    }
                }
            }
        };
    merge(&list[0], &firsts, &mut marginals);
    let mut merged = list[0].share;
    for weighed in list.iter().skip(1).take(MAX_MERGED - 1) {
        if weighed.share < MERGED {
            break;
        }
        let read = Read::of(decoder, weighed.explanation, stream);
        let said = fields(decoder, weighed.explanation, &read, &wants, false);
        merge(weighed, &said, &mut marginals);
        merged += weighed.share;
    }
    // Those left out are taken to say what those merged do.
    for (_, values) in &mut marginals {
        for (_, _, p) in values {
            *p /= merged;
        }
    }
    let mut answers: Vec<FieldAnswer> = Vec::new();
    for one in &firsts {
        if answers.iter().any(|answer| answer.field == one.field) {
            continue;
        }
        if !detail.wants(one.field) {
            continue;
        }
        let Some((_, values)) = marginals.iter_mut().find(|(field, _)| *field == one.field) else {
            continue;
        };
        values.sort_by(|a, b| b.2.total_cmp(&a.2));
        let sum: f64 = values.iter().map(|(_, _, p)| p).sum();
        let top = one.values.first().and_then(|(value, _)| value.clone());
        let own = values.iter().position(|(value, _, _)| match (value, &top) {
            (Some(a), Some(b)) => a.agrees(b),
            (None, None) => true,
            _ => false,
        });
        let probability = own.map_or(0.0, |at| values[at].2);
        // A code that is its own text cannot be told wrongly.
        let code_text = || one.code.as_ref().map(|code| code.text(family));
        let told = || top.is_some() && top.as_ref().map(Value::show) != code_text();
        let trust = match trust(one.standing) {
            less if less < 1.0 && told() => less,
            _ => 1.0,
        };
        if !one.read && (probability < ENTAILED || top.is_none()) {
            continue;
        }
        let field = &decoder.rules.fields[one.field.index()];
        let mut alternatives: Vec<Alternative> = values
            .iter()
            .enumerate()
            .filter(|(at, (_, _, p))| Some(*at) != own && *p >= SHOWN)
            .map(|(_, (value, code, p))| Alternative {
                code: code.as_ref().map(|code| code.text(family)),
                text: value.as_ref().map(Value::show).unwrap_or_default(),
                absent: value.is_none() && code.is_none(),
                value: value.clone(),
                probability: *p * trust,
            })
            .collect();
        if 1.0 - sum > SHOWN {
            alternatives.push(Alternative {
                code: None,
                value: None,
                text: String::new(),
                absent: true,
                probability: 1.0 - sum,
            });
        }
        let full = detail.full();
        let spelled = |text: &dyn Fn() -> String| if full { text() } else { String::new() };
        answers.push(FieldAnswer {
            field: one.field,
            name: spelled(&|| field.name.clone()),
            slot: one
                .slot
                .filter(|_| full && !one.derived)
                .map(|slot| family.slots[slot].name.clone()),
            code: full.then(code_text).flatten(),
            text: spelled(&|| {
                top.as_ref()
                    .map_or_else(|| code_text().unwrap_or_default(), Value::show)
            }),
            at: one
                .slot
                .filter(|_| full)
                .and_then(|slot| field_span(family, read, &read.stream, slot, one)),
            value: top,
            derived: one.derived,
            unknown: one.unknown,
            probability: (!alternatives.is_empty() || trust < 1.0).then_some(probability * trust),
            alternatives,
            standing: (trust < 1.0).then_some(one.standing),
        });
        date_of(decoder, family, one.field, &mut answers);
    }
    answers.sort_by_key(|answer| (answer.at.is_none(), answer.at));
    answers
}

/// The same in short where one explanation is all but everything, so that there is nothing to merge.
fn settled(
    decoder: &Decoder<'_>,
    family: &Family,
    said: Vec<Said>,
    detail: &Detail<'_>,
) -> Vec<FieldAnswer> {
    let mut answers: Vec<FieldAnswer> = Vec::with_capacity(said.len());
    for one in said {
        let known = |answer: &FieldAnswer| answer.field == one.field;
        let value = one.values.into_iter().next().and_then(|(value, _)| value);
        if !detail.wants(one.field) || answers.iter().any(known) || !one.read && value.is_none() {
            continue;
        }
        let trust = match &value {
            Some(value) if one.standing != Standing::Documented => {
                let code = one.code.as_ref().map(|code| code.text(family));
                if Some(value.show()) == code {
                    1.0
                } else {
                    trust(one.standing)
                }
            }
            _ => 1.0,
        };
        answers.push(FieldAnswer {
            value,
            derived: one.derived,
            unknown: one.unknown,
            probability: (trust < 1.0).then_some(trust),
            standing: (trust < 1.0).then_some(one.standing),
            ..FieldAnswer::unnamed(one.field)
        });
        date_of(decoder, family, one.field, &mut answers);
    }
    answers
}

/// Adds what a date is of, where its rule says it.
fn date_of(decoder: &Decoder<'_>, family: &Family, field: FieldId, answers: &mut Vec<FieldAnswer>) {
    let of = family.dates.iter().find(|date| date.field == field);
    let Some(of) = of.and_then(|rule| rule.of.as_ref()) else {
        return;
    };
    let fields = &decoder.rules.fields;
    let Some(at) = fields.iter().position(|field| field.name == "date_of") else {
        return;
    };
    let field = FieldId::at(at);
    if !answers.iter().any(|answer| answer.field == field) {
        answers.push(FieldAnswer {
            name: "date_of".to_owned(),
            value: Some(Value::Text(of.clone())),
            text: of.clone(),
            derived: true,
            ..FieldAnswer::unnamed(field)
        });
    }
}

/// How often what a rule says of a code is true, by how well it is founded. Stated beliefs, not measurements.
fn trust(standing: Standing) -> f64 {
    match standing {
        Standing::Documented => 1.0,
        Standing::Observed => 0.98,
        Standing::Supposed => 0.9,
    }
}

/// Where the slot of a field is printed; for a date, all its slots if they stand together.
fn field_span(
    family: &Family,
    read: &Read<'_>,
    stream: &Stream,
    slot: usize,
    one: &Said,
) -> Option<(usize, (u32, u32))> {
    let mut choices: Vec<&Choice> = vec![read.choices[slot]?];
    if let Some(rule) = family.dates.iter().find(|rule| rule.field == one.field) {
        choices = super::fields::date_slots(rule, read)
            .iter()
            .filter_map(|slot| read.choices[*slot])
            .collect();
    }
    let printed: Vec<&&Choice> = choices
        .iter()
        .filter(|choice| choice.end > choice.start)
        .collect();
    let start = printed.iter().map(|choice| choice.start).min()?;
    let end = printed.iter().map(|choice| choice.end).max()?;
    let line = stream.ticks[start].line;
    let last = (start..end).rfind(|at| stream.ticks[*at].line == line)?;
    Some((usize::from(line), span_of(&stream.ticks[start..=last])))
}

fn show(glyph: Option<&Glyph>) -> String {
    glyph.map_or_else(
        || "?".to_owned(),
        |glyph| Spelling::of_glyphs(vec![glyph.clone()]).text(),
    )
}

/// Characters taken for others, and certain ones that contradict. `stream` is what the explanation explains, `as_read` what was read.
fn glyph_faults(
    decoder: &Decoder<'_>,
    best: &Explanation,
    stream: &Stream,
    as_read: &Stream,
    reading: &Reading,
    candidate: &mut Candidate,
) {
    let (program, family) = decoder.family(best.family);
    let alphabet = &decoder.program.alphabet;
    let text_at = |line: usize, span: (u32, u32)| -> String {
        reading.lines[line]
            .text
            .chars()
            .skip(span.0 as usize)
            .take((span.1 - span.0) as usize)
            .collect()
    };
    for choice in &best.choices {
        let table = &program.tables[choice.table];
        let ticks = &stream.ticks[choice.start..choice.end];
        let strip = match choice.how {
            How::Open(index) => Some(&table.open[index as usize]),
            _ => None,
        };
        let taken: Vec<u8> = match choice.how {
            How::Spelled(index) => table.spelled[index as usize].ids.clone(),
            How::Open(index) => crate::decode::taken(&table.open[index as usize], ticks, alphabet)
                .unwrap_or_default(),
            How::Hidden => Vec::new(),
        };
        let slot = &family.slots[choice.slot].name;
        if let Some(edit) = best.edit
            && let Some((line, at, read, taken)) =
                damage(decoder, edit, choice, &taken, stream, as_read, &text_at)
        {
            candidate.corrections.push(Correction {
                line,
                at,
                read,
                taken,
                slot: slot.clone(),
                bits: edit.bits(alphabet),
            });
        }
        let odd = ticks
            .iter()
            .position(|tick| tick.doubt == Doubt::Other)
            .zip(strip);
        if let Some((place, strip)) = odd {
            let tick = &ticks[place];
            let line = usize::from(tick.line);
            if let Some((id, bits)) = crate::decode::strangest(strip.sets[place], tick.id, alphabet)
            {
                candidate.corrections.push(Correction {
                    line,
                    at: tick.span.0,
                    read: text_at(line, tick.span),
                    taken: show(alphabet.glyph(id)),
                    slot: slot.clone(),
                    bits,
                });
            }
        }
        if taken.len() != ticks.len() {
            continue;
        }
        for (id, tick) in taken.iter().zip(ticks) {
            if *id == tick.id || !matches!(tick.doubt, Doubt::Read | Doubt::Certain | Doubt::Other)
            {
                continue;
            }
            let line = usize::from(tick.line);
            let read = text_at(line, tick.span);
            let taken = show(alphabet.glyph(*id));
            if tick.doubt == Doubt::Certain {
                let read = show(alphabet.glyph(tick.id));
                candidate.disagreements.push(Disagreement {
kind: Clash::Certain,
                    text: format!("character {} of line {} is certainly {read}, but `{slot}` has {taken} there", tick.span.0 + 1, line + 1),
                    source: None,
                    bits: CONTRADICTED,
                    mended_by: Some(format!("{read} is {taken}")),
                    slots: vec![slot.clone()],
                });
            } else {
                let bits = match tick.doubt {
                    Doubt::Other => alphabet.strange(*id, tick.id),
                    _ => alphabet.channel(*id, tick.id),
                };
                candidate.corrections.push(Correction {
                    line,
                    at: tick.span.0,
                    read,
                    taken,
                    slot: slot.clone(),
                    bits,
                });
            }
        }
    }
}

/// A damage as a correction, if this place bears it: line, where, what was read, what it was taken for.
#[allow(clippy::type_complexity)]
fn damage(
    decoder: &Decoder<'_>,
    edit: Edit,
    choice: &Choice,
    taken: &[u8],
    stream: &Stream,
    as_read: &Stream,
    text_at: &dyn Fn(usize, (u32, u32)) -> String,
) -> Option<(usize, u32, String, String)> {
    let alphabet = &decoder.program.alphabet;
    let glyph = |at: usize| match taken.get(at - choice.start) {
        Some(id) => show(alphabet.glyph(*id)),
        None => "_".to_owned(),
    };
    let inside = |at: usize| choice.start <= at && at < choice.end;
    match edit {
        Edit::Dropped(at) | Edit::First(at) if inside(at) => {
            let tick = &stream.ticks[at];
            Some((
                usize::from(tick.line),
                tick.span.0,
                String::new(),
                glyph(at),
            ))
        }
        Edit::Doubled(at) if choice.start < at && at <= choice.end => {
            let (one, two) = (&as_read.ticks[at - 1], &as_read.ticks[at]);
            let line = usize::from(one.line);
            let read = text_at(line, (one.span.0, two.span.1));
            Some((line, one.span.0, read, text_at(line, one.span)))
        }
        Edit::Swapped(at) if inside(at) => {
            let (one, two) = (&as_read.ticks[at], &as_read.ticks[at + 1]);
            let line = usize::from(one.line);
            let read = text_at(line, (one.span.0, two.span.1));
            let taken = text_at(line, two.span) + &text_at(line, one.span);
            Some((line, one.span.0, read, taken))
        }
        Edit::Turned(_) if inside(0) => {
            let line = usize::from(as_read.ticks[0].line);
            let all = span_of(&as_read.ticks);
            let turned = stream
                .ticks
                .iter()
                .map(|tick| show(alphabet.glyph(tick.id)))
                .collect();
            Some((line, all.0, text_at(line, all), turned))
        }
        _ => None,
    }
}

fn disagreements(
    decoder: &Decoder<'_>,
    best: &Explanation,
    over: &Stream,
    context: &Context,
    candidate: &mut Candidate,
) {
    let (_, family) = decoder.family(best.family);
    let family_index = best.family.index();
    let own_source = || family.provenance.source.clone();
    for never in &best.branch.broken {
        let never = &family.nevers[*never];
        let why = never
            .provenance
            .note
            .clone()
            .map(|note| format!(": {note}"))
            .unwrap_or_default();
        let slots = never
            .cond
            .terms
            .iter()
            .flat_map(|term| &term.any)
            .map(|(slot, _)| family.slots[slot.index()].name.clone());
        candidate.disagreements.push(Disagreement {
            kind: Clash::NotMade,
            text: format!(
                "the rule says that this is not made ({}){why}",
                never.cond.text
            ),
            source: never.provenance.source.clone().or_else(own_source),
            bits: NEVER,
            mended_by: None,
            slots: slots.collect(),
        });
    }
    for (rule, date) in &best.branch.dates {
        let slots: Vec<String> = family.dates[*rule]
            .slots
            .iter()
            .map(|slot| family.slots[slot.index()].name.clone())
            .collect();
        let shown = date
            .intervals
            .first()
            .map(|(interval, _)| interval.show())
            .unwrap_or_default();
        if date.future {
            let mended_by =
                decoder
                    .mend_date(best, *rule, over, context.seen)
                    .map(|(place, glyph)| {
                        let tick = &over.ticks[place];
                        let read = show(decoder.program.alphabet.glyph(tick.id));
                        let (line, at) = (tick.line + 1, tick.span.0 + 1);
                        format!(
                            "the {read} at character {at} of line {line} is {}",
                            show(Some(&glyph))
                        )
                    });
            candidate.disagreements.push(Disagreement {
                kind: Clash::AfterReading,
                text: format!("the date {shown} lies after the day of reading"),
                source: None,
                bits: FUTURE,
                mended_by,
                slots,
            });
        } else if date.outside {
            candidate.disagreements.push(Disagreement {
                kind: Clash::OutsideYears,
                text: format!(
                    "the date {shown} lies outside the years in which the family was made"
                ),
                source: own_source(),
                bits: -7.0,
                mended_by: None,
                slots,
            });
        }
    }
    for slot in &best.conflicts {
        let name = family.slots[*slot].name.clone();
        let mut twice: Vec<String> = Vec::new();
        for choice in best.choices.iter().filter(|choice| choice.slot == *slot) {
            let text = decoder.told(family_index, choice, over);
            if !text.is_empty() && !twice.contains(&text) {
                twice.push(text);
            }
        }
        candidate.disagreements.push(Disagreement {
            kind: Clash::Twice,
            text: format!("`{name}` stands twice and differs: {}", twice.join(", ")),
            source: None,
            bits: crate::decode::CONFLICT,
            mended_by: None,
            slots: vec![name],
        });
    }
    for check in &best.failed {
        let check = &family.checks[*check];
        let slots: Vec<String> = check
            .slots
            .iter()
            .map(|slot| family.slots[slot.index()].name.clone())
            .collect();
        candidate.disagreements.push(Disagreement {
            kind: Clash::CheckDigit,
            text: format!("the check digit over {} fails", slots.join(", ")),
            source: own_source(),
            bits: NEVER,
            mended_by: None,
            slots,
        });
    }
}

/// The ordering code as far as known, and how deep that is.
fn written(
    decoder: &Decoder<'_>,
    list: &[Weighed<'_>],
    read: &Read<'_>,
    candidate: &mut Candidate,
) {
    let best = list[0].explanation;
    let (program, family) = decoder.family(best.family);
    let known = &best.branch.known;
    let classes =
        |slot: usize, class: u32| program.slots[slot].classes[class as usize].codes.as_slice();
    // What was not printed, or printed so that it can be read as several codes, counts as known only if hardly anything else remains.
    let entailed = |slot: usize| {
        let same = |weighed: &&Weighed<'_>| weighed.explanation.branch.known[slot] == known[slot];
        list.iter()
            .filter(same)
            .map(|weighed| weighed.share)
            .sum::<f64>()
            >= ENTAILED
    };
    let code = |slot: usize| {
        let settled = matches!(known[slot], Known::Open) || entailed(slot);
        settled
            .then(|| code_of(family, known, slot, &classes))
            .flatten()
    };
    let base: Vec<usize> = family
        .base
        .as_ref()
        .map(|row| slots_of(&row.items))
        .unwrap_or_default();
    let base_known = !base.is_empty() && base.iter().all(|slot| code(*slot).is_some());
    let Some(form) = family.forms.iter().find(|form| form.kind == FormKind::Code) else {
        candidate.known_to = if base_known || family.base.is_none() {
            Depth::BasePart
        } else {
            Depth::Series
        };
        return;
    };
    let mut text = String::new();
    let mut whole = true;
    let mut pending = "";
    let mut open_before = false;
    let mut items = Vec::new();
    flat(&form.row.items, &mut items);
    for item in items {
        match item {
            RowItem::Boundary { boundary, .. } => pending = boundary.text(),
            RowItem::Break => pending = " ",
            RowItem::Optional(_) => {}
            RowItem::Slot(slot) => {
                let slot = slot.index();
                let model = &family.slots[slot];
                let piece =
                    match (code(slot), &known[slot]) {
                        (Some(code), _) => read.code_text(family, slot, code),
                        // Of several codes none is claimed: what was read stands there.
                        (None, Known::Seen(_)) => {
                            whole = false;
                            candidate.open.push(model.name.clone());
                            read.as_read(slot).unwrap_or_default()
                        }
                        // What may be absent is left out where nothing is known of it.
                        _ if model.codes.iter().any(|code| code.kind == CodeKind::Absent) => {
                            // Only packing and finish may stay open beside a known ordering code.
                            whole &= model.codes.iter().flat_map(|code| &code.fields).all(
                                |(field, _)| {
                                    matches!(
                                        decoder.rules.fields[field.index()].name.as_str(),
                                        "packing" | "lead_finish" | "compliance"
                                    )
                                },
                            );
                            candidate.open.push(model.name.clone());
                            continue;
                        }
                        _ => {
                            whole = false;
                            candidate.open.push(model.name.clone());
                            if !open_before {
                                text.push_str(pending);
                                text.push_str("..");
                            }
                            pending = "";
                            open_before = true;
                            continue;
                        }
                    };
                if piece.contains('_') {
                    whole = false;
                }
                if !piece.is_empty() {
                    text.push_str(pending);
                    pending = "";
                    open_before = false;
                    text.push_str(&piece);
                }
            }
        }
    }
    // Where nothing beyond the base is there, the base is all that is known, even if the rule allows such a name.
    let beyond: Vec<usize> = slots_of(&form.row.items)
        .into_iter()
        .filter(|slot| !base.contains(slot))
        .collect();
    let absent = |slot: &usize| {
        code(*slot).is_some_and(|code| family.slots[*slot].codes[code].kind == CodeKind::Absent)
            || code(*slot).is_none() && !matches!(known[*slot], Known::Seen(_))
    };
    let bare = base_known && !beyond.is_empty() && beyond.iter().all(absent);
    candidate.known_to = if whole && !bare {
        Depth::OrderingCode
    } else if base_known {
        Depth::BasePart
    } else {
        Depth::Series
    };
    // A spelling that is all open says nothing.
    candidate.written = (text != "..").then_some(text);
}

fn flat<'r>(items: &'r [RowItem], all: &mut Vec<&'r RowItem>) {
    for item in items {
        match item {
            RowItem::Optional(inner) => flat(inner, all),
            item => all.push(item),
        }
    }
}

fn slots_of(items: &[RowItem]) -> Vec<usize> {
    let mut all = Vec::new();
    flat(items, &mut all);
    all.iter()
        .filter_map(|item| {
            if let RowItem::Slot(slot) = item {
                Some(slot.index())
            } else {
                None
            }
        })
        .collect()
}
