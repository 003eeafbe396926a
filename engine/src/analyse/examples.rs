//! The rules' own tests: every example must decode to its family with its fields, no refusal may.

use jiff::civil::Date;

use crate::Rules;
use crate::decode::{Effort, Notation, Reading, Scratch};
use crate::diagnostic::{Diagnostic, Severity};
use crate::model::{Example, Family, FamilyId, FieldId};
use crate::rank::{Context, FieldAnswer, Ranking, rank, why};
use crate::source::{Place, Span};
use crate::value::Value;

/// How many examples and refusals were tried.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct ExampleTally {
    /// Examples.
    pub examples: usize,
    /// Refusals.
    pub refusals: usize,
    /// Those of either that failed.
    pub failed: usize,
}

/// Tries all examples and refusals of the families for which `wanted` holds, on a day of reading that examples with `seen` replace.
pub fn examples(
    rules: &Rules,
    today: Date,
    wanted: &dyn Fn(&Family) -> bool,
) -> (ExampleTally, Vec<Diagnostic>) {
    let mut tally = ExampleTally::default();
    let mut found = Vec::new();
    let mut scratch = Scratch::default();
    for (index, family) in rules
        .set()
        .families
        .iter()
        .enumerate()
        .filter(|(_, family)| wanted(family))
    {
        let id = FamilyId::at(index);
        for example in &family.examples {
            tally.examples += 1;
            // An example that fails counts; one that comes second is only said.
            if let Some(fault) = try_example(rules, id, family, example, today, &mut scratch) {
                tally.failed += usize::from(fault.severity == Severity::Error);
                found.push(fault);
            }
        }
        for refusal in &family.refusals {
            tally.refusals += 1;
            let reading = match Reading::parse(&refusal.reading, Notation::default()) {
                Ok(reading) => reading.in_form(refusal.form),
                Err(error) => {
                    tally.failed += 1;
                    found.push(
                        Diagnostic::new(
                            "example-unread",
                            refusal.place,
                            format!("this is no reading: {error}"),
                        )
                        .help("see the notation of readings"),
                    );
                    continue;
                }
            };
            let glyphs = reading.lines.iter().map(|line| line.marks.len()).sum();
            let explanations = rules.decoder().explain(&reading, today, &mut scratch);
            if explanations
                .iter()
                .any(|e| e.family() == id && e.is_exact(glyphs))
            {
                tally.failed += 1;
                found.push(
                    Diagnostic::new(
                        "refusal-claimed",
                        refusal.place,
                        format!(
                            "`{}` decodes to `{}`, which refuses it",
                            refusal.reading, family.name
                        ),
                    )
                    .help("narrow the slot that takes it, or remove the refusal"),
                );
            }
        }
    }
    (tally, found)
}

fn try_example(
    rules: &Rules,
    id: FamilyId,
    family: &Family,
    example: &Example,
    today: Date,
    scratch: &mut Scratch,
) -> Option<Diagnostic> {
    let reading = match Reading::parse(&example.reading, Notation::default()) {
        Ok(reading) => reading.in_form(example.form),
        Err(error) => {
            return Some(
                Diagnostic::new(
                    "example-unread",
                    example.place,
                    format!("this is no reading: {error}"),
                )
                .help("see the notation of readings"),
            );
        }
    };
    let context = Context::on(example.seen.map_or(today, |seen| seen.to));
    // An example must be there as it stands: no damage is looked for.
    let decoder = rules.decoder().with(Effort::Quick);
    let ranking = rank(&decoder, &reading, &context, scratch);
    let fields = answer(&ranking, id);
    let own = rules.decoder().only(id).with(Effort::Quick);
    let explanations = own.explain(&reading, context.seen, scratch);
    let glyphs = reading.lines.iter().map(|line| line.marks.len()).sum();
    let exact = explanations.iter().any(|e| e.is_exact(glyphs));
    let Some(fields) = fields.filter(|_| exact) else {
        let odd = odd(&ranking, id);
        if !odd.is_empty() {
            return Some(
                Diagnostic::new(
                    "example-unread",
                    example.place,
                    format!(
                        "`{}` is read as `{}`, but cannot be: {}",
                        example.reading,
                        family.name,
                        odd.join("; ")
                    ),
                )
                .help("mend the example, or what it breaks: a `never`, a check digit, a window, a slot that stands twice"),
            );
        }
        return Some(unread(
            rules, id, example, &reading, &ranking, &context, scratch,
        ));
    };
    let differs = example
        .fields
        .iter()
        .find_map(|(field, expected)| difference(rules, fields, *field, expected));
    if let Some(text) = differs {
        let fault = Diagnostic::new("example-differs", example.place, text);
        return Some(fault.help("mend the example or the rule"));
    }
    second(rules, id, family, example, &ranking)
}

/// An example that its family does not read as it stands: where the reading stops, and what is near.
fn unread(
    rules: &Rules,
    id: FamilyId,
    example: &Example,
    reading: &Reading,
    ranking: &Ranking,
    context: &Context,
    scratch: &mut Scratch,
) -> Diagnostic {
    let name = |id: FamilyId| rules.set().families[id.index()].name.as_str();
    let family = &rules.set().families[id.index()];
    let own = &family.name;
    let why = why(&rules.decoder(), id, reading, context, scratch);
    let (mut place, mut here) = (example.place, String::new());
    let first = why.corrections.first();
    if let (Some(taken), true) = (
        first,
        why.stop.as_ref().is_some_and(|stop| stop.found.is_none()),
    ) {
        // A reader's slip would be read over; an example must be right.
        here = format!(
            "`{}` would be taken for `{}` of `{}`",
            taken.read, taken.taken, taken.slot
        );
        place = place_in(example, reading, taken.line, (taken.at, taken.at + 1));
    } else if let Some(stop) = &why.stop {
        let found = match &stop.found {
            Some(found) => format!("`{found}`"),
            None if reading.lines.len() > 1 => format!("the end of line {}", stop.line + 1),
            None => "the end".to_owned(),
        };
        let slots: Vec<String> = stop.slots.iter().map(|slot| format!("`{slot}`")).collect();
        here = match (slots.is_empty(), stop.wanted.is_empty()) {
            (false, false) => format!(
                "the reading stops at {found}: {} takes {} here",
                slots.join(" or "),
                stop.wanted_text()
            ),
            // Every character fits its place, and yet no member is so.
            _ if stop.ended && stop.found.is_none() => {
                "every character fits its place, but its codes exclude each other: look at `never` and `when`".to_owned()
            }
            _ if stop.ended => format!("the form `{}` has ended before {found}", stop.form.word()),
            _ => format!("the reading stops at {found}"),
        };
        place = place_in(example, reading, stop.line, stop.span);
    }
    let mut fault = Diagnostic::new(
        "example-unread",
        place,
        format!(
            "`{}` does not decode to `{own}` as it stands",
            example.reading
        ),
    )
    .here(here);
    let known = |nearest: &String| !why.corrections.is_empty() && !nearest.contains('_');
    if family.forms.is_empty() {
        fault = fault.help("write a form: without one nothing is ever read");
    } else if let Some(nearest) = why.nearest.as_ref().filter(|nearest| known(nearest)) {
        let read: Vec<String> = why
            .corrections
            .iter()
            .map(|c| format!("`{}` taken for `{}`", c.read, c.taken))
            .collect();
        fault = fault.help(format!(
            "mend the example or the list; the nearest member is `{nearest}`: {}",
            read.join(", ")
        ));
    } else {
        fault = fault.help("mend the example, or give the place a code that fits");
    }
    let others: Vec<&str> = ranking
        .candidates
        .iter()
        .filter(|candidate| candidate.family != id)
        .map(|candidate| name(candidate.family))
        .take(3)
        .collect();
    if !others.is_empty() {
        fault = fault.help(format!("it decodes to {}", others.join(", ")));
    }
    fault
}

/// Where a stretch of a reading stands in the rule text; the whole example where escapes move it.
fn place_in(example: &Example, reading: &Reading, line: usize, span: (u32, u32)) -> Place {
    let text = &example.reading;
    let whole = example.place;
    let length = whole.span.range().len();
    let quote = match length.checked_sub(text.len()) {
        Some(0) => 0,
        Some(2) => 1,
        _ => return whole,
    };
    let mut begin = 0;
    for (at, read) in reading.lines.iter().enumerate() {
        let Some(found) = text[begin..].find(read.text.as_str()) else {
            return whole;
        };
        begin += found;
        if at == line {
            let byte = |chars: u32| {
                let mut chars = read.text.char_indices().skip(chars as usize);
                chars.next().map_or(read.text.len(), |(byte, _)| byte)
            };
            let start = whole.span.range().start + quote + begin;
            let (from, to) = (start + byte(span.0), start + byte(span.1));
            return Place {
                span: Span::new(from, to),
                ..whole
            };
        }
        begin += read.text.len();
    }
    whole
}

/// What disagrees with the rule although its family reads every character.
fn odd(ranking: &Ranking, id: FamilyId) -> Vec<&str> {
    let own = ranking.candidates.iter().find(|c| c.family == id);
    let own = own.filter(|own| own.corrections.is_empty());
    own.iter()
        .flat_map(|own| &own.disagreements)
        .map(|disagreement| disagreement.text.as_str())
        .collect()
}

/// An example of which another family is likelier. Embedded families are compared by their overlaps.
fn second(
    rules: &Rules,
    id: FamilyId,
    family: &Family,
    example: &Example,
    ranking: &Ranking,
) -> Option<Diagnostic> {
    let mut accepted = family.accepts.iter().map(|accept| accept.lint.as_str());
    if family.builtin || accepted.any(|lint| lint == "example-second") {
        return None;
    }
    let first = ranking
        .candidates
        .first()
        .filter(|first| first.family != id)?;
    let own = ranking.candidates.iter().find(|c| c.family == id)?;
    let other = &rules.set().families[first.family.index()].name;
    let title = format!(
        "`{}` is likelier `{other}` ({:.0} %) than `{}` ({:.0} %)",
        example.reading,
        100.0 * first.probability,
        family.name,
        100.0 * own.probability,
    );
    Some(
        Diagnostic::new("example-second", example.place, title)
            .help("if both can be meant, weigh the families or `accept example-second  note \"why\"`; else look at `rules overlaps`"),
    )
}

/// The fields under which a family is in an answer, as a candidate or a remark.
fn answer(ranking: &Ranking, id: FamilyId) -> Option<&[FieldAnswer]> {
    let candidate = ranking
        .candidates
        .iter()
        .find(|candidate| candidate.family == id)
        .map(|c| c.fields.as_slice());
    candidate.or_else(|| {
        ranking
            .remarks
            .iter()
            .find(|remark| remark.family == id)
            .map(|r| r.fields.as_slice())
    })
}

fn difference(
    rules: &Rules,
    fields: &[FieldAnswer],
    field: FieldId,
    expected: &Value,
) -> Option<String> {
    let name = &rules.set().fields[field.index()].name;
    let expected_text = expected.show();
    match fields.iter().find(|answer| answer.field == field) {
        None => Some(format!(
            "`{name}` should be {expected_text}, but the answer has no such field"
        )),
        Some(answer) => match &answer.value {
            Some(value) if value.agrees(expected) => None,
            Some(value) => Some(format!(
                "`{name}` should be {expected_text}, but decodes as {}",
                value.show()
            )),
            None => Some(format!(
                "`{name}` should be {expected_text}, but the code `{}` is not listed",
                answer.code.clone().unwrap_or_default()
            )),
        },
    }
}
