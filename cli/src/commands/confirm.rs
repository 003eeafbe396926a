//! `confirm`

use etchlore_engine::decode::{Notation, Reading, Scratch};

use crate::args::{ConfirmArgs, GlobalArgs, Output};
use crate::casebook::{self, Case};
use crate::commands::day_of_reading;
use crate::console::Console;
use crate::failure::{Failure, Status};
use crate::rules::{casebook, family, load};

pub(crate) fn run(
    args: &ConfirmArgs,
    global: &GlobalArgs,
    console: &mut Console,
) -> Result<Status, Failure> {
    let seen = day_of_reading(args.seen.as_deref())?;
    let path = casebook(global)?;
    let loaded = load(global, console)?;
    let (id, _) = family(&loaded, &args.family)?;
    let reading = Reading::parse(&args.marking, Notation::default()).map_err(|error| {
        Failure::Usage(
            format!("this is no reading: {error}"),
            "see `etchlore decode --help` for the notation".to_owned(),
        )
    })?;
    let decoder = loaded.rules.decoder().only(id);
    let explained = !decoder
        .explain(&reading, seen, &mut Scratch::default())
        .is_empty();
    if !explained {
        console.complain(&format!(
            "warning: the rules of {} do not read `{}`; the case is kept\n  help: `etchlore decode --why {} ...` says what stops them",
            args.family, args.marking, args.family
        ));
    }
    casebook::append(
        &path,
        &Case {
            marking: args.marking.clone(),
            family: args.family.clone(),
            ordering_code: args.ordering_code.clone(),
            seen: seen.to_string(),
            place: args.place.clone(),
            who: args.who.clone(),
            evidence: args.evidence.clone(),
        },
    )?;
    let count = casebook::counts(&path)?
        .get(&args.family)
        .copied()
        .unwrap_or(0);
    if global.output != Output::Text {
        let document = serde_json::json!({
            "etchlore": env!("CARGO_PKG_VERSION"),
            "rules": loaded.digest,
            "seen": seen.to_string(),
            "casebook": path.display().to_string(),
            "family": args.family,
            "read_by_the_rules": explained,
            "cases": count,
        });
        console.line(&document.to_string())?;
        return Ok(Status::Done);
    }
    console.line(&format!(
        "{}: {} of {}",
        path.display(),
        match count {
            1 => "the first case".to_owned(),
            many => format!("{many} cases"),
        },
        args.family
    ))?;
    Ok(Status::Done)
}
