//! `confusions`

use etchlore_engine::glyph::Confusions;

use serde_json::json;

use crate::args::{ConfusionsArgs, GlobalArgs, Output};
use crate::console::Console;
use crate::failure::{Failure, Status};
use crate::rules::read_text;

pub(crate) fn run(
    args: &ConfusionsArgs,
    global: &GlobalArgs,
    console: &mut Console,
) -> Result<Status, Failure> {
    let text = read_text(&args.pairs)?;
    let mut lines = (1..)
        .zip(text.lines())
        .filter(|(_, line)| !line.trim().is_empty() && !line.starts_with('#'));
    let columns = |line: &str| line.split('\t').map(str::to_owned).collect::<Vec<String>>();
    let help = "write a first line `read<tab>true`, then one pair a line".to_owned();
    let head = lines
        .next()
        .map(|(_, line)| columns(line))
        .unwrap_or_default();
    let column = |name: &str| {
        head.iter()
            .position(|column| column == name)
            .ok_or_else(|| {
                Failure::Unreadable(
                    format!("{} has no column `{name}`", args.pairs.display()),
                    help.clone(),
                )
            })
    };
    let (read, truth) = (column("read")?, column("true")?);
    let mut pairs: Vec<(String, String)> = Vec::new();
    for (number, line) in lines {
        let cells = columns(line);
        match (cells.get(read), cells.get(truth)) {
            (Some(read), Some(truth)) => pairs.push((read.clone(), truth.clone())),
            _ => {
                return Err(Failure::Unreadable(
                    format!("{}:{number}: a column is missing", args.pairs.display()),
                    help,
                ));
            }
        }
    }
    if pairs.is_empty() {
        return Err(Failure::Unreadable(
            format!("{} holds no pair", args.pairs.display()),
            help,
        ));
    }
    let note = format!(
        "estimated by etchlore from {} pairs of {}",
        pairs.len(),
        args.pairs.display()
    );
    let (table, compared) = Confusions::estimate(&pairs, &note);
    if global.output != Output::Text {
        let rows: Vec<_> = table
            .lines()
            .filter(|line| !line.starts_with('#'))
            .skip(1)
            .filter_map(|line| {
                let mut cells = line.split('\t');
                let (truth, read) = (cells.next()?, cells.next()?);
                let count: f64 = cells.next()?.parse().ok()?;
                Some(json!({ "true": truth, "read": read, "count": count }))
            })
            .collect();
        let document = json!({
            "etchlore": env!("CARGO_PKG_VERSION"),
            "pairs": pairs.len(),
            "characters": compared,
            "misreads": rows,
        });
        console.line(&document.to_string())?;
        return Ok(Status::Done);
    }
    console.line(table.trim_end())?;
    console.complain(&format!(
        "{} pairs, {compared} characters compared",
        pairs.len()
    ));
    Ok(Status::Done)
}
