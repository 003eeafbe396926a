//! `rules format PATH...`

use std::io::Read;
use std::path::Path;

use etchlore_engine::format::{Formatted, format};
use serde_json::{Value as Json, json};

use crate::args::{FormatArgs, GlobalArgs, Output};
use crate::console::{Console, Label};
use crate::failure::{Failure, Status};
use crate::present::diagnostics::difference;
use crate::present::wire;
use crate::rules::{files_of, read_text};
use crate::whole;

pub(crate) fn run(
    args: &FormatArgs,
    global: &GlobalArgs,
    console: &mut Console,
) -> Result<Status, Failure> {
    if args.paths == [Path::new("-")] {
        return standard_input(args, console);
    }
    let mut rows: Vec<Json> = Vec::new();
    let files = files_of(&args.paths)?;
    let only_look = args.check || args.diff;
    let mut changed = 0;
    for file in &files {
        let text = read_text(file)?;
        let formatted = format(&text);
        let differs = formatted.text != text;
        changed += usize::from(differs);
        let diff = args.diff.then(|| difference(file, &text, &formatted.text));
        if differs && !only_look {
            whole::replace(file, &formatted.text)?;
        }
        if global.output == Output::Text {
            say(args, console, file, differs, diff.as_deref())?;
            said_left(console, file, &formatted);
        } else {
            let mut row = json!({
                "file": file.display().to_string(), "changed": differs, "left": formatted.left,
            });
            if let Some(diff) = diff {
                row["diff"] = json!(diff);
            }
            rows.push(row);
        }
    }
    match global.output {
        Output::Text | Output::Sarif => {
            let how = if only_look { "would change" } else { "changed" };
            let one = if files.len() == 1 { "file" } else { "files" };
            let tally = format!("{} {one}, {changed} {how}", files.len());
            if args.diff {
                console.complain(&tally);
            } else {
                console.line(&tally)?;
            }
        }
        Output::Jsonl => {
            for row in &rows {
                console.line(&row.to_string())?;
            }
        }
        Output::Json => {
            console.line(&wire::with_head(
                None,
                [("files", Json::Array(rows))].into(),
            )?)?;
        }
    }
    Ok(if only_look && changed > 0 {
        Status::Findings
    } else {
        Status::Done
    })
}

fn say(
    args: &FormatArgs,
    console: &mut Console,
    file: &Path,
    differs: bool,
    diff: Option<&str>,
) -> Result<(), Failure> {
    if let Some(diff) = diff {
        for line in diff.lines() {
            let label = match line.as_bytes().first() {
                Some(b'+') => Label::Good,
                Some(b'-') => Label::Bad,
                Some(b'@') => Label::Faint,
                _ => Label::Strong,
            };
            let plain = line.starts_with(' ');
            let shown = if plain {
                line.to_owned()
            } else {
                console.paint(label, line)
            };
            console.raw(shown.as_bytes())?;
            console.raw(b"\n")?;
        }
    } else if differs {
        let how = if args.check {
            "would change"
        } else {
            "changed"
        };
        console.line(&format!("{how}  {}", file.display()))?;
    }
    Ok(())
}

/// Lines that do not parse stand as they were; that is said, as the file looks half done.
fn said_left(console: &mut Console, file: &Path, formatted: &Formatted) {
    if let Some(first) = formatted.left.first() {
        let (count, first) = (formatted.left.len(), first);
        let lines = if count == 1 { "line does" } else { "lines do" };
        console.complain(&format!(
            "warning: {}:{first}: {count} {lines} not parse and stayed as typed; `etchlore rules check` says why",
            file.display()
        ));
    }
}

fn standard_input(args: &FormatArgs, console: &mut Console) -> Result<Status, Failure> {
    let mut text = String::new();
    std::io::stdin().read_to_string(&mut text)?;
    let formatted = format(&text);
    let differs = formatted.text != text;
    let name = Path::new("standard input");
    if args.diff {
        let diff = difference(name, &text, &formatted.text);
        console.raw(diff.as_bytes())?;
    } else if !args.check {
        console.raw(formatted.text.as_bytes())?;
    }
    said_left(console, name, &formatted);
    Ok(if differs && (args.check || args.diff) {
        Status::Findings
    } else {
        Status::Done
    })
}
