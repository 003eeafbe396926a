//! `board new`

use std::path::Path;

use etchlore_engine::rank::Context;

use crate::args::{BoardNewArgs, GlobalArgs, Header};
use crate::board_file::from_table::{Table, from_table};
use crate::board_file::{read_text, start};
use crate::bulk::{Input, choose};
use crate::commands::day_of_reading;
use crate::console::Console;
use crate::failure::{Failure, Status};
use crate::rules::load;
use crate::whole::replace;

pub(crate) fn run(
    args: &BoardNewArgs,
    global: &GlobalArgs,
    console: &mut Console,
) -> Result<Status, Failure> {
    if let Some(out) = args.out.as_ref().filter(|out| out.exists() && !args.force) {
        return Err(Failure::Usage(
            format!("{} is there already", out.display()),
            "name another file, or replace it with --force".to_owned(),
        ));
    }
    let (text, summary) = match &args.from {
        None => (start::start(), None),
        Some(from) => {
            let (text, summary) = of_table(args, global, from, console)?;
            (text, Some(summary))
        }
    };
    match &args.out {
        Some(out) => replace(out, &text)?,
        None => console.line(text.trim_end())?,
    }
    if let Some(summary) = summary {
        console.complain(&summary);
    }
    Ok(Status::Done)
}

fn of_table(
    args: &BoardNewArgs,
    global: &GlobalArgs,
    from: &Path,
    console: &mut Console,
) -> Result<(String, String), Failure> {
    let today = day_of_reading(None)?;
    let input = Input::open(from, None, true)?;
    let mut table = Table::by_names(&input.sample);
    if args.mark.is_some() || !table.has_mark() {
        // The names do not tell which column is the mark: what its cells are may.
        let loaded = load(global, console)?;
        let context = Context::of_entries(today);
        let chosen = choose(
            args.mark.as_deref(),
            Header::Auto,
            &loaded,
            &context,
            &input.sample,
        )?;
        table.take(chosen.header, &chosen.names, &chosen.marks);
    }
    let place = args.out.as_deref().unwrap_or(Path::new("board.yaml"));
    let (text, summary) = from_table(from, place, table, input)?;
    // Nothing is written that would be refused.
    read_text(place, &text, today)?;
    Ok((text, summary))
}
