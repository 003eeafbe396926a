//! `rules changes OLD NEW --corpus FILE`

use etchlore_engine::analyse::{self, Answer, Change, Changes, Comparing, Edit, changes};
use etchlore_engine::decode::Effort;
use serde_json::{Value as Json, json};

use crate::args::{ChangesArgs, GlobalArgs, Output};
use crate::commands::{day_of_reading, jobs};
use crate::console::{Console, Label};
use crate::corpus;
use crate::failure::{Failure, Status};
use crate::present::wire;
use crate::rules::{Loaded, load};
use crate::version::Version;

/// The two versions, loaded.
struct Pair {
    old: Loaded,
    new: Loaded,
    versions: (Version, Version),
}

impl Pair {
    /// Where an edit is written: in the new version, else in the old.
    fn place(&self, edit: &Edit) -> String {
        let (new, old) = (&self.new.sources, &self.old.sources);
        match (edit.new, edit.old) {
            (Some(place), _) => self.versions.1.shown(&new.file_line(place)),
            (None, Some(place)) => self.versions.0.shown(&old.file_line(place)),
            (None, None) => String::new(),
        }
    }
}

pub(crate) fn run(
    args: &ChangesArgs,
    global: &GlobalArgs,
    console: &mut Console,
) -> Result<Status, Failure> {
    let today = day_of_reading(args.corpus.seen.as_deref())?;
    let corpus = corpus::read(&args.corpus.corpus, args.corpus.column.as_deref())?;
    let versions = (Version::find(&args.old)?, Version::find(&args.new)?);
    let mut one = |version: &Version| {
        let mut of_version = global.clone();
        of_version.rules.push(version.path.clone());
        load(&of_version, console)
    };
    let (old, new) = (one(&versions.0)?, one(&versions.1)?);
    let how = Comparing {
        today,
        threshold: args.threshold,
        jobs: jobs(args.corpus.jobs),
        effort: if args.deep {
            Effort::Enough
        } else {
            Effort::Quick
        },
        settings_differ: old.confusions != new.confusions,
    };
    let found = changes(&old.rules, &new.rules, &corpus, &how);
    let pair = Pair { old, new, versions };
    match global.output {
        Output::Text | Output::Sarif => text(args, &pair, &found, console)?,
        Output::Jsonl => {
            for at in 0..found.changed.len() {
                console.line(&of_change(&found, at).to_string())?;
            }
        }
        Output::Json => {
            let edits = found.edits.iter().map(|edit| {
                json!({ "family": edit.family, "text": edit.text, "rule": pair.place(edit) })
            });
            let body = [
                ("old_rules", json!(pair.old.digest())),
                ("seen", json!(today.to_string())),
                ("threshold", json!(args.threshold)),
                ("marks", json!(found.marks)),
                ("edits", edits.collect::<Json>()),
                (
                    "causes",
                    found
                        .causes
                        .iter()
                        .map(|cause| json!({ "edits": cause.edits, "changed": cause.changed }))
                        .collect(),
                ),
                (
                    "changed",
                    (0..found.changed.len())
                        .map(|at| of_change(&found, at))
                        .collect(),
                ),
            ];
            console.line(&wire::with_head(Some(pair.new.digest()), body.into())?)?;
        }
    }
    Ok(if found.changed.is_empty() {
        Status::Done
    } else {
        Status::Findings
    })
}

fn word(status: analyse::Status) -> &'static str {
    match status {
        analyse::Status::Decoded => "decoded",
        analyse::Status::Ambiguous => "ambiguous",
        analyse::Status::None => "none",
        analyse::Status::Unreadable => "unreadable",
    }
}

fn of_change(found: &Changes, at: usize) -> Json {
    let change = &found.changed[at];
    let answer = |answer: &Answer| {
        json!({
            "status": word(answer.status),
            "family": answer.family,
            "probability": answer.probability,
        })
    };
    let cause = found
        .causes
        .iter()
        .position(|cause| cause.changed.contains(&at));
    let fields: Json = change
        .fields
        .iter()
        .map(|(field, old, new)| json!({ "field": field, "old": old, "new": new }))
        .collect();
    json!({
        "mark": change.mark, "count": change.count,
        "old": answer(&change.old), "new": answer(&change.new),
        "fields": fields, "cause": cause,
    })
}

fn shown(change: &Change) -> String {
    let percent = |answer: &Answer| format!("{:.1} %", 100.0 * answer.probability);
    let mut parts = Vec::new();
    if change.old.family == change.new.family {
        let moved = (change.old.probability - change.new.probability).abs() >= 0.001;
        if moved {
            let (old, new) = (percent(&change.old), percent(&change.new));
            parts.push(format!("{old} -> {new}"));
        }
    } else {
        let name = |answer: &Answer| {
            let family = answer.family.as_deref().unwrap_or("none");
            format!("{family} {}", percent(answer))
        };
        parts.push(format!("{} -> {}", name(&change.old), name(&change.new)));
    }
    // With another family all fields differ, which says nothing more.
    if change.old.family == change.new.family {
        for (field, old, new) in &change.fields {
            let text = |side: &Option<String>| side.clone().unwrap_or_else(|| "nothing".to_owned());
            parts.push(format!("{field} {} -> {}", text(old), text(new)));
        }
    }
    parts.join("; ")
}

fn text(
    args: &ChangesArgs,
    pair: &Pair,
    found: &Changes,
    console: &mut Console,
) -> Result<(), Failure> {
    for cause in &found.causes {
        if cause.edits.is_empty() {
            let head = console.paint(
                Label::Head,
                "something beside the rules: priors, misreadings",
            );
            console.line(&head)?;
        }
        for edit in &cause.edits {
            let edit = &found.edits[*edit];
            let head = format!("{}: {}", edit.family, edit.text);
            let head = console.paint(Label::Head, &head);
            let place = console.paint(Label::Faint, &pair.place(edit));
            console.line(&format!("{head}  {place}"))?;
        }
        for at in cause.changed.iter().take(args.limit) {
            let change = &found.changed[*at];
            let times = if change.count > 1 {
                format!(" (x{})", change.count)
            } else {
                String::new()
            };
            console.line(&format!("  {}{times}  {}", change.mark, shown(change)))?;
        }
        if cause.changed.len() > args.limit {
            let more = cause.changed.len() - args.limit;
            console.line(&format!("  and {more} more; --limit N shows more"))?;
        }
        console.line("")?;
    }
    let concerned: std::collections::BTreeSet<usize> = found
        .causes
        .iter()
        .flat_map(|cause| cause.edits.iter().copied())
        .collect();
    let changed: usize = found.changed.iter().map(|change| change.count).sum();
    let counted =
        |n: usize, one: &str, many: &str| format!("{n} {}", if n == 1 { one } else { many });
    console.line(&format!(
        "{changed} of {} decode differently; {}, {} without effect here",
        counted(found.marks, "mark", "marks"),
        counted(found.edits.len(), "edit", "edits"),
        found.edits.len() - concerned.len(),
    ))
}
