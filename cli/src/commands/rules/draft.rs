//! `rules draft FILE...`

use etchlore_engine::analyse::{Corpus, Draft, Drafting, draft};
use serde_json::{Value as Json, json};

use crate::args::{DraftArgs, GlobalArgs, Output};
use crate::commands::{day_of_reading, jobs};
use crate::console::Console;
use crate::corpus;
use crate::failure::{Failure, Status};
use crate::present::wire;
use crate::rules::load;
use crate::whole;

pub(crate) fn run(
    args: &DraftArgs,
    global: &GlobalArgs,
    console: &mut Console,
) -> Result<Status, Failure> {
    let today = day_of_reading(args.seen.as_deref())?;
    let mut marks = Vec::new();
    let mut missing = 0;
    for file in &args.files {
        let (corpus, left_out) = corpus::read_counted(file, args.column.as_deref())?;
        marks.extend(corpus.marks);
        missing += left_out;
    }
    let corpus = Corpus::counted(marks);
    let loaded = load(global, console)?;
    let how = Drafting {
        today,
        jobs: jobs(args.jobs),
        least: args.least as usize,
    };
    let found = draft(&loaded.rules, &corpus, &how);
    if let Some(out) = args.out.as_ref().filter(|_| !found.text.is_empty()) {
        whole::replace(out, &found.text)?;
    }
    match global.output {
        Output::Text | Output::Sarif => {
            if args.out.is_none() && !found.text.is_empty() {
                console.line(&found.text)?;
            }
            say(args, &found, missing, console);
        }
        Output::Jsonl => {
            for family in of_families(&found) {
                console.line(&family.to_string())?;
            }
        }
        Output::Json => {
            let groups: Json = found
                .remaining
                .iter()
                .map(|group| json!({ "shape": group.shape, "marks": group.marks, "shown": group.shown }))
                .collect();
            let body = [
                ("seen", json!(today.to_string())),
                ("marks", json!(found.marks)),
                ("missing", json!(missing)),
                ("decoded", json!(found.decoded)),
                ("ambiguous", json!(found.ambiguous)),
                ("unreadable", json!(found.unreadable)),
                ("families", of_families(&found).into()),
                ("remaining", groups),
                ("text", json!(found.text)),
            ];
            console.line(&wire::with_head(Some(loaded.digest()), body.into())?)?;
        }
    }
    Ok(if found.families.is_empty() {
        Status::Findings
    } else {
        Status::Done
    })
}

fn of_families(found: &Draft) -> Vec<Json> {
    let families = found.families.iter();
    families
        .map(|family| {
            json!({
                "family": family.name, "stem": family.stem, "marks": family.marks,
                "different": family.different, "doubtful": family.doubtful,
            })
        })
        .collect()
}

/// What the draft explains and what remains, to standard error, so that standard output is rules alone.
fn say(args: &DraftArgs, found: &Draft, missing: u64, console: &mut Console) {
    let mut lines = vec![format!("{:>8}  marks", found.marks)];
    for (count, what) in [
        (found.decoded, "are decoded already"),
        (
            found.ambiguous,
            "have several answers already; `rules coverage` shows them",
        ),
        (found.unreadable, "are no reading"),
        (
            usize::try_from(missing).unwrap_or(usize::MAX),
            "more rows are counted in the list, but not told",
        ),
    ] {
        if count > 0 {
            lines.push(format!("{count:>8}  {what}"));
        }
    }
    let widest = found.families.iter().map(|f| f.name.len()).max();
    for family in &found.families {
        let doubtful = match family.doubtful {
            0 => String::new(),
            n => format!("; {n} not surely, as it says too little yet"),
        };
        lines.push(format!(
            "{:>8}  {:widest$}  begin with {}, {} different{doubtful}",
            family.marks,
            family.name,
            family.stem,
            family.different,
            widest = widest.unwrap_or(0),
        ));
    }
    let remaining: usize = found.remaining.iter().map(|group| group.marks).sum();
    lines.push(match found.families.len() {
        0 if remaining == 0 => "nothing to draft: no marks are left".to_owned(),
        0 => format!(
            "nothing drafted: fewer than {} different marks begin alike and say enough of a family; --least N asks for fewer",
            args.least
        ),
        _ if remaining == 0 => "nothing remains".to_owned(),
        _ => format!("{remaining:>8}  remain"),
    });
    for group in found.remaining.iter().take(args.groups) {
        lines.push(format!(
            "{:>8}    {:24}  {}",
            group.marks,
            group.shape,
            group.shown.join(", ").replace(['\n', '\r'], " ")
        ));
    }
    if found.remaining.len() > args.groups {
        let rest = found.remaining.len() - args.groups;
        lines.push(format!("{rest:>8}    more shapes; --groups N shows more"));
    }
    if let Some(out) = args.out.as_ref().filter(|_| !found.text.is_empty()) {
        lines.push(format!(
            "{} is written; `etchlore rules check {0}` says what is to be filled in",
            out.display()
        ));
    }
    console.complain(&lines.join("\n"));
}
