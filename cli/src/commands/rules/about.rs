//! `rules about CODE`

use etchlore_engine::diagnostic::{CODES, CodeInfo, info, near};
use serde_json::json;

use crate::args::{AboutArgs, GlobalArgs, Output};
use crate::console::{Console, Label};
use crate::failure::{Failure, Status};
use crate::present::wire;

fn as_json(info: &CodeInfo) -> serde_json::Value {
    json!({
        "code": info.code, "severity": info.severity.word(), "title": info.title,
        "what": info.what, "why": info.why, "example": info.example, "instead": info.instead,
    })
}

pub(crate) fn run(
    args: &AboutArgs,
    global: &GlobalArgs,
    console: &mut Console,
) -> Result<Status, Failure> {
    let Some(code) = &args.code else {
        if global.output == Output::Text {
            for info in CODES {
                console.line(&format!(
                    "{:20} {:8} {}",
                    info.code,
                    info.severity.word(),
                    info.title
                ))?;
            }
        } else {
            let all = CODES.iter().map(as_json).collect();
            console.line(&wire::with_head(None, [("codes", all)].into())?)?;
        }
        return Ok(Status::Done);
    };
    let Some(info) = info(code) else {
        let near = near(code, CODES.iter().map(|info| info.code));
        let help = if near.is_empty() {
            "`etchlore rules about` lists all codes".to_owned()
        } else {
            format!("did you mean {}?", near.join(" or "))
        };
        return Err(Failure::Usage(
            format!("no diagnostic is called `{code}`"),
            help,
        ));
    };
    if global.output != Output::Text {
        console.line(&wire::with_head(None, [("about", as_json(info))].into())?)?;
        return Ok(Status::Done);
    }
    let head = console.paint(Label::Head, info.code);
    console.line(&format!(
        "{head} ({}): {}",
        info.severity.word(),
        info.title
    ))?;
    console.line("")?;
    for (head, text) in [
        ("what", info.what),
        ("why", info.why),
        ("example", info.example),
        ("instead", info.instead),
    ] {
        for (at, line) in text.lines().enumerate() {
            console.line(&format!("{:9}{line}", if at == 0 { head } else { "" }))?;
        }
    }
    Ok(Status::Done)
}
