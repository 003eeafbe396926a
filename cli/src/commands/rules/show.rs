//! `rules show FAMILY`

use serde_json::json;

use crate::args::{GlobalArgs, Output, ShowArgs};
use crate::console::Console;
use crate::failure::{Failure, Status};
use crate::present::{diagram, wire};
use crate::rules::{family, load};

pub(crate) fn run(
    args: &ShowArgs,
    global: &GlobalArgs,
    console: &mut Console,
) -> Result<Status, Failure> {
    let loaded = load(global, console)?;
    let (_, family) = family(&loaded, &args.family)?;
    let drawing = diagram::draw(&loaded, family, console.width());
    if global.output == Output::Text {
        for line in drawing.lines() {
            console.line(line)?;
        }
    } else {
        console.line(&wire::with_head(
            Some(loaded.digest()),
            [("family", json!(family.name)), ("diagram", json!(drawing))].into(),
        )?)?;
    }
    Ok(Status::Done)
}
