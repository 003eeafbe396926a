//! `board compare OLD NEW`

use etchlore_engine::board::{Match, compare};

use crate::args::{BoardCompareArgs, GlobalArgs, Output};
use crate::commands::board::{accounted, open};
use crate::console::Console;
use crate::failure::{Failure, Status};
use crate::present::board::{changes, json, view};
use crate::rules::load;

pub(crate) fn run(
    args: &BoardCompareArgs,
    global: &GlobalArgs,
    console: &mut Console,
) -> Result<Status, Failure> {
    let old = open(&args.old, &args.how)?;
    let new = open(&args.new, &args.how)?;
    let loaded = load(global, console)?;
    let set = loaded.rules.set();
    let was = accounted(&loaded, &old, &args.how);
    let is = accounted(&loaded, &new, &args.how);
    let found = compare(set, (&old.board, &was), (&new.board, &is));
    let old_views = view::parts(set, &old.board, &was);
    let new_views = view::parts(set, &new.board, &is);
    let (old_side, new_side) = ((&old.board, &old_views[..]), (&new.board, &new_views[..]));
    match global.output {
        Output::Text | Output::Sarif => {
            changes::text(&loaded, old_side, new_side, &found, console)?;
        }
        Output::Json | Output::Jsonl => {
            console.line(&json::comparison(&loaded, old_side, new_side, &found)?)?;
        }
    }
    let changed = found
        .changes
        .iter()
        .any(|change| !matches!(change.kind, Match::CarriedOver | Match::OtherBatch));
    Ok(if args.strict && changed {
        Status::Findings
    } else {
        Status::Done
    })
}
