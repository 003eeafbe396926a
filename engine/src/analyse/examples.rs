//! The rules' own tests: every example must decode to its family with its fields, no refusal may.

use jiff::civil::Date;

use crate::Rules;
use crate::decode::{Effort, Notation, Reading, Scratch};
use crate::diagnostic::{Diagnostic, Severity};
use crate::model::{Example, Family, FamilyId, FieldId};
use crate::rank::{Context, FieldAnswer, Ranking, rank};
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
    let seen = example.seen.map_or(today, |seen| seen.to);
    // An example must be there as it stands: no damage is looked for.
    let decoder = rules.decoder().with(Effort::Quick);
    let ranking = rank(&decoder, &reading, &Context::on(seen), scratch);
    let Some(fields) = answer(&ranking, id) else {
        let likelier: Vec<&str> = ranking
            .candidates
            .iter()
            .map(|c| rules.set().families[c.family.index()].name.as_str())
            .take(3)
            .collect();
        let help = if likelier.is_empty() {
            "no family explains it: look for the first place whose list lacks its code".to_owned()
        } else {
            format!("it decodes to {}", likelier.join(", "))
        };
        return Some(
            Diagnostic::new(
                "example-unread",
                example.place,
                format!("`{}` does not decode to `{}`", example.reading, family.name),
            )
            .help(help),
        );
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
