//! Opens a table and looks at its beginning.

use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::AtomicU64;

use super::columns::Sample;
use crate::failure::Failure;
use crate::table::csv::{CsvRows, each_record};
use crate::table::dialect::{Dialect, sniff};
use crate::table::jsonl::{self, JsonRows};
use crate::table::open::{Form, open};
use crate::table::text::TextInput;
use crate::table::{Batch, Cell, SAMPLE, SAMPLE_ROWS, sheet};

/// Rows of a sheet that travel together.
const SHEET_BATCH: usize = 500;

/// Where rows come from.
pub(crate) enum Rows {
    Text(Box<CsvRows>),
    Lines(JsonRows),
    Sheet(std::vec::IntoIter<Vec<Cell>>),
}

/// A table that has been opened.
pub(crate) struct Input {
    pub(crate) rows: Rows,
    pub(crate) form: Form,
    /// How text is written.
    pub(crate) dialect: Dialect,
    pub(crate) sample: Sample,
    /// What was found out about it, for people.
    pub(crate) found: String,
    pub(crate) warnings: Vec<String>,
    /// Its size on the disk and how much of that is read.
    pub(crate) size: Option<u64>,
    pub(crate) read: Arc<AtomicU64>,
}

impl Input {
    /// Opens a table; `every_key` asks for the keys of all lines, where lines become columns.
    pub(crate) fn open(
        path: &Path,
        delimiter: Option<u8>,
        every_key: bool,
    ) -> Result<Input, Failure> {
        let failed = |error: std::io::Error| unreadable(path, &error.to_string());
        let opened = open(path).map_err(failed)?;
        let mut input = Input {
            rows: Rows::Sheet(Vec::new().into_iter()),
            form: opened.form,
            dialect: Dialect {
                delimiter: b',',
                quote: Some(b'"'),
            },
            sample: Sample {
                keys: None,
                rows: Vec::new(),
            },
            found: String::new(),
            warnings: Vec::new(),
            size: opened.size,
            read: opened.read,
        };
        if opened.form == Form::Sheet {
            let (name, rows, others) =
                sheet::read(opened.input).map_err(|error| unreadable(path, &error))?;
            input.found = format!("sheet `{name}`");
            if others > 0 {
                input.warnings.push(format!(
                    "only sheet `{name}` is read and written; {others} more of {} are not",
                    path.display()
                ));
            }
            let texts = |row: &Vec<Cell>| row.iter().map(|cell| cell.text().into_owned()).collect();
            input.sample.rows = rows.iter().take(SAMPLE_ROWS).map(texts).collect();
            input.rows = Rows::Sheet(rows.into_iter());
            return Ok(input);
        }
        let (mut text, encoding) = TextInput::new(opened.input).map_err(failed)?;
        let mut sample = Vec::new();
        text.fill(&mut sample, SAMPLE).map_err(failed)?;
        let whole = text.ended();
        if let Form::Text(usual) = opened.form {
            input.dialect = sniff(&sample, whole, usual, delimiter);
            input.found = format!("{}, parted by {}", encoding.name(), input.dialect.name());
            match input.dialect.quote {
                Some(b'"') => {}
                Some(_) => input.found += ", quoted by '",
                None => input.found += ", nothing quoted",
            }
            input.sample.rows = records(&sample, whole, input.dialect);
            input.rows = Rows::Text(Box::new(CsvRows::new(text, sample, input.dialect)));
        } else {
            input.found = format!("{}, JSON lines", encoding.name());
            let mut keys = Vec::new();
            jsonl::keys(&sample, whole, usize::MAX, &mut keys);
            input.sample.rows = objects(&sample, whole, &keys);
            if every_key && !whole {
                all_keys(path, &mut keys)?;
            }
            input.sample.keys = Some(keys);
            input.rows = Rows::Lines(JsonRows::new(text, sample));
        }
        Ok(input)
    }
}

impl Rows {
    /// How much has been read and not yet given: text in bytes, or rows of a sheet.
    pub(crate) fn held(&self) -> usize {
        match self {
            Rows::Text(rows) => rows.held(),
            Rows::Lines(rows) => rows.held(),
            Rows::Sheet(rows) => rows.len(),
        }
    }

    /// The next rows.
    pub(crate) fn next(&mut self) -> std::io::Result<Option<Batch>> {
        match self {
            Rows::Text(rows) => rows.next(Vec::new()),
            Rows::Lines(rows) => rows.next(),
            Rows::Sheet(rows) => {
                let batch: Vec<Vec<Cell>> = rows.by_ref().take(SHEET_BATCH).collect();
                Ok((!batch.is_empty()).then_some(Batch::Cells(batch)))
            }
        }
    }

    /// Whether some bytes were read in another encoding than the table's.
    pub(crate) fn repaired(&self) -> bool {
        match self {
            Rows::Text(rows) => rows.repaired(),
            Rows::Lines(rows) => rows.repaired(),
            Rows::Sheet(_) => false,
        }
    }
}

/// The records of a sample.
fn records(sample: &[u8], whole: bool, dialect: Dialect) -> Vec<Vec<String>> {
    let mut rows = Vec::new();
    each_record(sample, whole, dialect, |record, cells, _| {
        let texts = (0..cells.len()).map(|cell| cells.text(record, cell).to_owned());
        rows.push(texts.collect());
        rows.len() < SAMPLE_ROWS
    });
    rows
}

/// The objects of a sample, by key.
fn objects(sample: &[u8], whole: bool, keys: &[String]) -> Vec<Vec<String>> {
    let (spans, _) = jsonl::lines(sample, whole, usize::MAX);
    spans
        .iter()
        .filter_map(|span| jsonl::object(&sample[span.start as usize..span.end as usize]))
        .take(SAMPLE_ROWS)
        .map(|object| {
            keys.iter()
                .map(|key| object.get(key).map(jsonl::text).unwrap_or_default())
                .collect()
        })
        .collect()
}

/// Reads a table of lines once for its keys: a header must name them all before the first row.
fn all_keys(path: &Path, keys: &mut Vec<String>) -> Result<(), Failure> {
    if path == Path::new("-") {
        return Err(Failure::Usage(
            "JSON lines from a stream cannot become columns: a header must know all keys beforehand"
                .to_owned(),
            "give the file's name instead of `-`, or write JSON lines".to_owned(),
        ));
    }
    let failed = |error: std::io::Error| unreadable(path, &error.to_string());
    let (text, _) = TextInput::new(open(path).map_err(failed)?.input).map_err(failed)?;
    let mut rows = JsonRows::new(text, Vec::new());
    while let Some(batch) = rows.next().map_err(failed)? {
        if let Batch::Lines(records) = batch {
            jsonl::keys(&records.bytes, true, usize::MAX, keys);
        }
    }
    Ok(())
}

pub(crate) fn unreadable(path: &Path, error: &str) -> Failure {
    let name = if path == Path::new("-") {
        "standard input".to_owned()
    } else {
        path.display().to_string()
    };
    Failure::Unreadable(
        format!("{name} cannot be read: {error}"),
        "check that it is there, whole, and a table: csv, tsv, jsonl or xlsx, also packed as .gz or .zst"
            .to_owned(),
    )
}
