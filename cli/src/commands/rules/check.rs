//! `rules check PATH...`

use etchlore_engine::analyse;
use etchlore_engine::diagnostic::{Diagnostic, Severity};
use etchlore_engine::model::Family;
use serde_json::{Value as Json, json};

use crate::args::{CheckArgs, GlobalArgs, Output};
use crate::commands::day_of_reading;
use crate::console::Console;
use crate::failure::{Failure, Status};
use crate::present::{diagnostics, sarif, wire};
use crate::rules::{Texts, compile, texts};

pub(crate) fn run(
    args: &CheckArgs,
    global: &GlobalArgs,
    console: &mut Console,
) -> Result<Status, Failure> {
    let today = day_of_reading(None)?;
    let only = (!args.paths.is_empty()).then_some(args.paths.as_slice());
    let Texts {
        sources,
        mut checked,
        roots,
        settings,
    } = texts(global, only)?;
    let mut found: Vec<Diagnostic> = std::mem::take(&mut checked.diagnostics);
    let errors = found
        .iter()
        .any(|diagnostic| diagnostic.severity == Severity::Error);
    let families = checked.rules.families.len();
    let mut tally = analyse::ExampleTally::default();
    let mut sources_of_all = sources;
    let mut digest = None;
    // Examples are tried where the rules could be understood.
    if !errors {
        let loaded = compile(sources_of_all, checked, &settings, console)?;
        let asked = |family: &Family| roots.contains(&family.place.source);
        let (of_examples, faults) = analyse::examples(&loaded.rules, today, &asked);
        tally = of_examples;
        found.extend(faults);
        found.extend(analyse::splits(&loaded.rules));
        if let Some(years) = settings.review_years {
            found.extend(analyse::old_reviews(loaded.rules.set(), today, years));
        }
        digest = Some(loaded.digest().to_owned());
        sources_of_all = loaded.sources;
    }
    found.retain(|diagnostic| {
        diagnostic.place().is_none_or(|place| {
            roots.contains(&place.source) || diagnostic.severity == Severity::Error
        })
    });
    settings.weigh_lints(&mut found);
    let count = |severity| {
        found
            .iter()
            .filter(|diagnostic| diagnostic.severity == severity)
            .count()
    };
    let (errors, warnings) = (count(Severity::Error), count(Severity::Warning));
    match global.output {
        Output::Sarif => {
            let document = sarif::document(&found, &sources_of_all, digest.as_deref(), today);
            console.line(&document.to_string())?;
        }
        Output::Text => {
            for diagnostic in &found {
                let text = diagnostics::text(
                    diagnostic,
                    &sources_of_all,
                    console.width(),
                    console.colored(),
                );
                console.line(&text)?;
                console.line("")?;
            }
            let untried = if digest.is_none() {
                "; examples were not tried"
            } else {
                ""
            };
            let counted = |n: usize, one: &str, many: &str| {
                format!("{n} {}", if n == 1 { one } else { many })
            };
            console.line(&format!(
                "{}, {}, {}; {}, {}{untried}",
                counted(families, "family", "families"),
                counted(tally.examples, "example", "examples"),
                counted(tally.refusals, "refusal", "refusals"),
                counted(errors, "error", "errors"),
                counted(warnings, "warning", "warnings"),
            ))?;
        }
        Output::Jsonl => {
            for diagnostic in &found {
                console.line(&diagnostics::json(diagnostic, &sources_of_all).to_string())?;
            }
        }
        Output::Json => {
            let all: Json = found
                .iter()
                .map(|diagnostic| diagnostics::json(diagnostic, &sources_of_all))
                .collect();
            let body = [
                ("families", json!(families)),
                ("examples", json!(tally.examples)),
                ("refusals", json!(tally.refusals)),
                ("errors", json!(errors)),
                ("warnings", json!(warnings)),
                ("diagnostics", all),
            ];
            console.line(&wire::with_head(digest.as_deref(), body.into())?)?;
        }
    }
    Ok(if errors > 0 {
        Status::Findings
    } else {
        Status::Done
    })
}
