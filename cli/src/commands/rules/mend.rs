//! `rules mend PATH...`

use std::collections::BTreeMap;
use std::path::PathBuf;

use etchlore_engine::diagnostic::mend;
use serde_json::{Value as Json, json};

use crate::args::{GlobalArgs, MendArgs, Output};
use crate::console::Console;
use crate::failure::{Failure, Status};
use crate::present::{diagnostics, wire};
use crate::rules::{files_of, read_text, texts_with};
use crate::whole;

/// A mend may make room for another; this many rounds are enough for any nesting of mistakes on a line.
const ROUNDS: usize = 16;

pub(crate) fn run(
    args: &MendArgs,
    global: &GlobalArgs,
    console: &mut Console,
) -> Result<Status, Failure> {
    let files = files_of(&args.paths)?;
    // Texts in the making; the files are written when all is done.
    let mut mended: BTreeMap<PathBuf, String> = BTreeMap::new();
    let mut rows: Vec<(String, usize, &'static str, String)> = Vec::new();
    for _ in 0..ROUNDS {
        let texts = texts_with(global, &args.paths, &mended)?;
        let mut again = false;
        for file in &files {
            let name = file.display().to_string();
            let Some(id) = texts.sources.find(&name) else {
                continue;
            };
            let text = texts.sources.text(id);
            let result = mend(id, text, &texts.checked.diagnostics);
            for (at, code, title) in &result.done {
                let line = texts.sources.get(id).map_or(0, |s| s.line_col(*at).line);
                rows.push((name.clone(), line, code, title.clone()));
            }
            if !result.done.is_empty() {
                again = true;
                mended.insert(file.clone(), result.text);
            }
        }
        if !again {
            break;
        }
    }
    for (file, text) in &mended {
        if args.diff {
            let before = read_text(file)?;
            let diff = diagnostics::difference(file, &before, text);
            console.raw(diff.as_bytes())?;
        } else {
            whole::replace(file, text)?;
        }
    }
    match global.output {
        Output::Text | Output::Sarif if args.diff => {}
        Output::Text | Output::Sarif => {
            for (file, line, code, title) in &rows {
                console.line(&format!("{file}:{line}: {title} [{code}]"))?;
            }
            let one = |n: usize, word: &str| format!("{n} {word}{}", if n == 1 { "" } else { "s" });
            console.line(&format!(
                "{}, {} in {}",
                one(files.len(), "file"),
                one(rows.len(), "mend"),
                mended.len()
            ))?;
        }
        Output::Json | Output::Jsonl => {
            let all: Json = rows
                .iter()
                .map(|(file, line, code, title)| {
                    json!({ "file": file, "line": line, "code": code, "title": title })
                })
                .collect();
            console.line(&wire::with_head(None, [("mends", all)].into())?)?;
        }
    }
    Ok(if args.diff && !mended.is_empty() {
        Status::Findings
    } else {
        Status::Done
    })
}
