//! `rules show FAMILY`

use etchlore_engine::diagnostic::near;
use serde_json::json;

use crate::args::{GlobalArgs, Output, ShowArgs};
use crate::console::Console;
use crate::failure::{Failure, Status};
use crate::present::{diagram, wire};
use crate::rules::load;

pub(crate) fn run(
    args: &ShowArgs,
    global: &GlobalArgs,
    console: &mut Console,
) -> Result<Status, Failure> {
    let loaded = load(global, console)?;
    let families = &loaded.rules.set().families;
    let Some(family) = families.iter().find(|family| family.name == args.family) else {
        let near = near(
            &args.family,
            families.iter().map(|family| family.name.as_str()),
        );
        let help = if near.is_empty() {
            "`etchlore rules list` lists all families".to_owned()
        } else {
            format!("did you mean {}?", near.join(" or "))
        };
        return Err(Failure::Usage(
            format!("no family is called `{}`", args.family),
            help,
        ));
    };
    let drawing = diagram::draw(&loaded, family, console.width());
    if global.output == Output::Text {
        for line in drawing.lines() {
            console.line(line)?;
        }
    } else {
        console.line(&wire::with_head(
            Some(&loaded.digest),
            [("family", json!(family.name)), ("diagram", json!(drawing))].into(),
        )?)?;
    }
    Ok(Status::Done)
}
