//! Reads a corpus: a text file with one marking a line, or one column of a table.

use std::io::Read;
use std::path::Path;

use etchlore_engine::analyse::Corpus;

use crate::failure::Failure;
use crate::rules::read_text;

/// Columns that hold markings, by common names.
const COLUMNS: &[&str] = &["marking", "mark", "reading", "part", "mpn", "part_number"];

/// Reads the marks of a file, or of standard input for `-`. A `.csv` or `.tsv` file has a head; `column` names the column.
pub(crate) fn read(path: &Path, column: Option<&str>) -> Result<Corpus, Failure> {
    let text = if path == Path::new("-") {
        let mut text = String::new();
        std::io::stdin().read_to_string(&mut text)?;
        text
    } else {
        read_text(path)?
    };
    let ending = path.extension().and_then(|ending| ending.to_str());
    match ending.map(str::to_lowercase).as_deref() {
        Some("csv") => {
            let head = text.lines().next().unwrap_or("");
            let semicolons = head.matches(';').count() > head.matches(',').count();
            table(path, &text, if semicolons { b';' } else { b',' }, column)
        }
        Some("tsv") => table(path, &text, b'\t', column),
        _ => Ok(Corpus::of(text.lines())),
    }
}

fn table(path: &Path, text: &str, by: u8, column: Option<&str>) -> Result<Corpus, Failure> {
    let broken = |error: csv::Error| {
        Failure::Unreadable(
            format!("{}: {error}", path.display()),
            "a table has a head and as many cells in every row".to_owned(),
        )
    };
    let mut reader = csv::ReaderBuilder::new()
        .delimiter(by)
        .flexible(true)
        .from_reader(text.as_bytes());
    let head = reader.headers().map_err(broken)?.clone();
    let named = |wanted: &str| {
        head.iter()
            .position(|name| name.trim().eq_ignore_ascii_case(wanted))
    };
    let at = match column {
        Some(column) => named(column).ok_or_else(|| {
            let all: Vec<&str> = head.iter().collect();
            Failure::Usage(
                format!("{} has no column `{column}`", path.display()),
                format!("its columns: {}", all.join(", ")),
            )
        })?,
        None => {
            let about = || {
                head.iter()
                    .position(|name| name.to_lowercase().contains("mark"))
            };
            let common = COLUMNS.iter().find_map(|name| named(name));
            common.or_else(about).unwrap_or(0)
        }
    };
    let mut marks = Vec::new();
    for row in reader.records() {
        let row = row.map_err(broken)?;
        marks.push(row.get(at).unwrap_or("").to_owned());
    }
    Ok(Corpus::of(marks))
}
