//! Reads a corpus: a text file with one marking a line, one column of a table, or what `bulk --undecoded` wrote.

use std::fs::File;
use std::io::Read;
use std::path::Path;

use etchlore_engine::analyse::Corpus;

use crate::bulk::undecoded;
use crate::failure::Failure;
use crate::table::text::TextInput;

/// Columns that hold markings, by common names.
const COLUMNS: &[&str] = &["marking", "mark", "reading", "part", "mpn", "part_number"];

/// Bytes read at a time.
const CHUNK: usize = 1 << 20;

/// Reads the marks of a file, or of standard input for `-`.
pub(crate) fn read(path: &Path, column: Option<&str>) -> Result<Corpus, Failure> {
    Ok(read_counted(path, column)?.0)
}

/// Reads the marks, and how many rows the file itself leaves out. A `.csv` or `.tsv` file has a head; `column` names the column, also by number.
pub(crate) fn read_counted(path: &Path, column: Option<&str>) -> Result<(Corpus, u64), Failure> {
    let text = read_text(path)?;
    let text = text.strip_prefix('\u{feff}').unwrap_or(&text);
    if undecoded::is_table(text) && column.is_none() {
        let listed = undecoded::read(text).map_err(|why| {
            Failure::Unreadable(
                format!("{}: {why}", path.display()),
                "it begins as `etchlore bulk --undecoded` writes it; let that write it anew"
                    .to_owned(),
            )
        })?;
        return Ok((Corpus::counted(listed.marks), listed.missing));
    }
    let ending = path.extension().and_then(|ending| ending.to_str());
    let corpus = match ending.map(str::to_lowercase).as_deref() {
        Some("tsv") => table(path, text, b'\t', column)?,
        Some("csv") => {
            let head = text.lines().next().unwrap_or("");
            let semicolons = head.matches(';').count() > head.matches(',').count();
            table(path, text, if semicolons { b';' } else { b',' }, column)?
        }
        _ => match column {
            None => Corpus::of(text.lines()),
            Some(column) => {
                return Err(Failure::Usage(
                    format!(
                        "{} is no table, so it has no column `{column}`",
                        path.display()
                    ),
                    "the name of a table ends in .csv or .tsv; a list has one marking a line"
                        .to_owned(),
                ));
            }
        },
    };
    Ok((corpus, 0))
}

/// The text of a list, as tables are read: UTF-8, UTF-16, and Windows-1252 where it is neither.
fn read_text(path: &Path) -> Result<String, Failure> {
    let unreadable = |error: std::io::Error| {
        Failure::Unreadable(
            format!("{} cannot be read: {error}", path.display()),
            "name a list with one marking a line, a .csv or .tsv table, or what `bulk --undecoded` wrote"
                .to_owned(),
        )
    };
    let input: Box<dyn Read + Send> = if path == Path::new("-") {
        Box::new(std::io::stdin())
    } else {
        Box::new(File::open(path).map_err(unreadable)?)
    };
    let (mut input, _) = TextInput::new(input).map_err(unreadable)?;
    let mut text = Vec::new();
    while !input.ended() {
        input.fill(&mut text, CHUNK).map_err(unreadable)?;
    }
    String::from_utf8(text)
        .map_err(|_| unreadable(std::io::Error::from(std::io::ErrorKind::InvalidData)))
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
    let numbered = |wanted: &str| {
        let number = wanted.parse::<usize>().ok()?.checked_sub(1)?;
        (number < head.len()).then_some(number)
    };
    let at = match column {
        Some(column) => named(column).or_else(|| numbered(column)).ok_or_else(|| {
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
