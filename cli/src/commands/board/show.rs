//! `board show`

use etchlore_engine::board::Weight;

use crate::args::{BoardShowArgs, GlobalArgs, Output};
use crate::commands::board::{accounted, open};
use crate::console::Console;
use crate::failure::{Failure, Status};
use crate::present::board::{json, text};
use crate::rules::load;

pub(crate) fn run(
    args: &BoardShowArgs,
    global: &GlobalArgs,
    console: &mut Console,
) -> Result<Status, Failure> {
    let file = open(&args.board, &args.how)?;
    let loaded = load(global, console)?;
    let account = accounted(&loaded, &file, &args.how);
    match global.output {
        Output::Text | Output::Sarif => text::account(&loaded, &file.board, &account, console)?,
        Output::Json | Output::Jsonl => {
            console.line(&json::account(&loaded, &file.board, &account)?)?
        }
    }
    let misfit = account
        .findings
        .iter()
        .any(|finding| finding.kind.weight() == Weight::Conflict);
    Ok(if args.strict && misfit {
        Status::Findings
    } else {
        Status::Done
    })
}
