//! A table of readings -> a board file. Nothing of the table is lost: what no key takes goes to the notes of its part.

use std::path::Path;

use etchlore_engine::decode::{Notation, Reading};

use super::shape::{BOARD, Kind, Words};
use super::{MAX_TEXT, forms};
use crate::bulk::{Input, Sample, unreadable, words};
use crate::failure::Failure;
use crate::table::csv::Cells;
use crate::table::{Batch, jsonl};

/// What columns of readings are usually called, by key: common practice, no source. Forms are called by their own words.
const NAMES: &[(&str, &[&str])] = &[
    (
        "at",
        &[
            "at",
            "pos",
            "position",
            "positions",
            "designator",
            "refdes",
            "ref",
            "reference",
        ],
    ),
    ("form", &["form", "face"]),
    (
        "lines",
        &[
            "lines",
            "mark",
            "marking",
            "part marking",
            "reading",
            "mpn",
            "part number",
        ],
    ),
    ("specimen", &["specimen", "sample"]),
    ("reader", &["reader", "read by"]),
    ("photo", &["photo", "picture", "image"]),
    ("package", &["package", "footprint", "case"]),
    ("pins", &["pins", "terminals"]),
    ("quantity", &["qty", "quantity", "count"]),
    ("maker", &["maker", "mfr", "manufacturer", "mfg"]),
    ("logo", &["logo"]),
    ("function", &["function"]),
    ("notes", &["note", "notes", "comment", "remark"]),
];

/// A table with what its columns are.
pub(crate) struct Table {
    header: bool,
    keyed: Option<Vec<String>>,
    names: Vec<String>,
    /// By column: a key of [`NAMES`] or a form; absent where nothing is known.
    keys: Vec<Option<&'static str>>,
}

impl Table {
    /// The columns by the names in the first row.
    pub(crate) fn by_names(sample: &Sample) -> Table {
        let names = sample
            .keys
            .clone()
            .or_else(|| sample.rows.first().cloned())
            .unwrap_or_default();
        let mut keys: Vec<Option<&'static str>> = Vec::new();
        for name in &names {
            let name = words(name);
            let all = |known: &str| {
                let known: Vec<&str> = known.split(' ').collect();
                name.windows(known.len())
                    .any(|window| window.iter().zip(&known).all(|(a, b)| a == b))
            };
            let of_names = NAMES
                .iter()
                .flat_map(|(key, names)| names.iter().map(move |known| (*key, *known)));
            // A column called mark holds what was read, in whatever form.
            let of_forms = forms()
                .map(|(form, _)| (form, form))
                .filter(|(form, _)| *form != "mark");
            // The most words decide; a column of a key that is taken is one more note.
            let best = of_names
                .chain(of_forms)
                .filter(|(_, known)| all(known))
                .max_by_key(|(_, known)| known.split(' ').count());
            let key = best.map(|(key, _)| key);
            keys.push(key.filter(|key| !keys.contains(&Some(*key))));
        }
        Table {
            header: sample.keys.is_none(),
            keyed: sample.keys.clone(),
            names,
            keys,
        }
    }

    /// Whether a column of lines is known.
    pub(crate) fn has_mark(&self) -> bool {
        self.keys.iter().flatten().any(|key| is_lines(key))
    }

    /// Takes the columns of the mark as found otherwise.
    pub(crate) fn take(&mut self, header: bool, names: &[String], marks: &[usize]) {
        if self.keyed.is_none() {
            self.header = header;
        }
        if !header && self.keyed.is_none() {
            self.names = names.to_vec();
            self.keys.clear();
        }
        for key in &mut self.keys {
            *key = key.filter(|key| !is_lines(key));
        }
        for mark in marks {
            if self.keys.len() <= *mark {
                self.keys.resize(mark + 1, None);
            }
            self.keys[*mark] = Some("lines");
        }
    }
}

fn is_lines(key: &str) -> bool {
    key == "lines" || forms().any(|(form, _)| form == key)
}

/// A part that is being gathered.
#[derive(Default)]
struct Draft {
    at: Vec<String>,
    /// Keys of the part, in their order.
    values: Vec<(&'static str, String)>,
    readings: Vec<Vec<(&'static str, String)>>,
    notes: Vec<String>,
}

/// The text of a board file with all rows of a table, and what was made of it.
pub(crate) fn from_table(
    from: &Path,
    place: &Path,
    table: Table,
    mut input: Input,
) -> Result<(String, String), Failure> {
    let failed = |error: std::io::Error| unreadable(from, &error.to_string());
    let mut drafts: Vec<Draft> = Vec::new();
    let mut skip = table.header;
    let mut count = 0;
    while let Some(batch) = input.rows.next().map_err(failed)? {
        for row in rows(from, batch, &table, input.dialect)? {
            if std::mem::take(&mut skip) {
                continue;
            }
            count += 1;
            add(&mut drafts, &table, count, &row, place);
        }
    }
    let stem = from.file_stem().unwrap_or_default().to_string_lossy();
    let mut text = format!(
        "# From {}. The name of the product is the file's: write the right one.\nproduct: {}\n\nparts:\n",
        quote(&from.display().to_string()),
        quote(match &*stem {
            "-" | "" => "board",
            stem => stem,
        })
    );
    for draft in &drafts {
        text.push_str(&format!("  - at: {}\n", quote(&draft.at.join(", "))));
        for (key, value) in &draft.values {
            text.push_str(&format!("    {key}: {}\n", scalar(key, value)));
        }
        if !draft.readings.is_empty() {
            text.push_str("    readings:\n");
        }
        for reading in &draft.readings {
            for (at, (key, value)) in reading.iter().enumerate() {
                let dash = if at == 0 { '-' } else { ' ' };
                text.push_str(&format!("      {dash} {key}: {}\n", scalar(key, value)));
            }
        }
        if !draft.notes.is_empty() {
            text.push_str(&format!("    notes: {}\n", quote(&draft.notes.join("; "))));
        }
    }
    let known: Vec<String> = table
        .keys
        .iter()
        .enumerate()
        .map(|(at, key)| {
            let name = table.names.get(at).map_or("", |name| name.trim());
            format!("column {} `{name}`: {}", at + 1, key.unwrap_or("notes"))
        })
        .collect();
    let summary = format!(
        "{count} rows, {} parts, {} readings\n{}",
        drafts.len(),
        drafts
            .iter()
            .map(|draft| draft.readings.len())
            .sum::<usize>(),
        known.join("\n")
    );
    Ok((text, summary))
}

/// The rows of a batch as texts.
fn rows(
    from: &Path,
    batch: Batch,
    table: &Table,
    dialect: crate::table::dialect::Dialect,
) -> Result<Vec<Vec<String>>, Failure> {
    match batch {
        Batch::Records(records) => {
            let mut cells = Cells::new(dialect);
            let full = records.spans.iter().filter(|span| !span.is_blank());
            Ok(full
                .map(|span| {
                    let record = &records.bytes[span.start as usize..span.end as usize];
                    let record = record.strip_prefix(b"\xef\xbb\xbf").unwrap_or(record);
                    cells.split(record, span.kind);
                    (0..cells.len())
                        .map(|cell| cells.text(record, cell).to_owned())
                        .collect()
                })
                .collect())
        }
        Batch::Lines(records) => {
            let full = records.spans.iter().filter(|span| !span.is_blank());
            let keys = table.keyed.as_deref().unwrap_or_default();
            full.map(|span| {
                let line = &records.bytes[span.start as usize..span.end as usize];
                let object = jsonl::object(line)
                    .ok_or_else(|| unreadable(from, "a line is no JSON object"))?;
                let value = |key: &String| object.get(key).map(jsonl::text).unwrap_or_default();
                Ok(keys.iter().map(value).collect())
            })
            .collect()
        }
        Batch::Cells(rows) => Ok(rows
            .iter()
            .map(|row| row.iter().map(|cell| cell.text().into_owned()).collect())
            .collect()),
        Batch::Piece(_) | Batch::Tail(_) => Err(unreadable(from, "a row is longer than 1 MB")),
    }
}

/// Adds a row to its part.
fn add(drafts: &mut Vec<Draft>, table: &Table, number: usize, row: &[String], place: &Path) {
    let cell = |key: &str| {
        let at = table.keys.iter().position(|known| *known == Some(key))?;
        row.get(at).filter(|cell| !cell.trim().is_empty())
    };
    let mut at: Vec<String> = cell("at")
        .map(|cell| {
            let parted = cell.split(',').map(|one| one.trim().to_owned());
            parted.filter(|one| !one.is_empty()).collect()
        })
        .unwrap_or_default();
    if at.is_empty() {
        at.push(format!("row {number}"));
    }
    let known = drafts
        .iter()
        .position(|draft| at.iter().any(|one| draft.at.contains(one)));
    let taken = |one: &String, drafts: &[Draft]| drafts.iter().any(|draft| draft.at.contains(one));
    let mut fresh: Vec<String> = Vec::new();
    for one in &at {
        if !taken(one, drafts) && !fresh.contains(one) {
            fresh.push(one.clone());
        }
    }
    let index = known.unwrap_or_else(|| {
        drafts.push(Draft::default());
        drafts.len() - 1
    });
    let draft = &mut drafts[index];
    draft.at.extend(fresh);
    if !at.iter().all(|one| draft.at.contains(one)) {
        draft
            .notes
            .push(format!("row {number} stands at {}", at.join(", ")));
    }
    let mut marks: Vec<(&'static str, String)> = Vec::new();
    let mut beside: Vec<(&'static str, String)> = Vec::new();
    for (column, cell) in row.iter().enumerate() {
        let key = table.keys.get(column).copied().flatten();
        if cell.trim().is_empty() || matches!(key, Some("at" | "form")) {
            continue;
        }
        let name = table.names.get(column).map_or("", |name| name.trim());
        let label = match name {
            "" => format!("column {}", column + 1),
            name => name.to_owned(),
        };
        let note = |draft: &mut Draft| draft.notes.push(format!("{label}: {cell}"));
        match key {
            Some(key) if is_lines(key) => {
                let lines = cell.replace("\r\n", " | ").replace(['\n', '\r'], " | ");
                match Reading::parse(&lines, Notation::default()) {
                    Ok(_) if lines.len() <= MAX_TEXT => marks.push((key, lines)),
                    _ => note(draft),
                }
            }
            Some(key @ ("specimen" | "reader")) if takes(key, cell, place) => {
                beside.push((key, cell.clone()));
            }
            Some("photo") if takes("photo", cell, place) => beside.push(("photo", cell.clone())),
            Some("quantity")
                if cell
                    .trim()
                    .parse::<usize>()
                    .is_ok_and(|n| n < draft.at.len()) =>
            {
                note(draft);
            }
            Some(key) if key != "notes" && takes(key, cell, place) => {
                match draft.values.iter().find(|(known, _)| *known == key) {
                    None => draft.values.push((key, cell.clone())),
                    Some((_, value)) if value == cell => {}
                    Some(_) => note(draft),
                }
            }
            _ => note(draft),
        }
    }
    // Several positions that came row by row are not more parts than were counted.
    let form = cell("form").and_then(|typed| {
        let found = forms().find(|(form, _)| form.eq_ignore_ascii_case(typed.trim()));
        if found.is_none() || marks.is_empty() {
            drafts[index].notes.push(format!("form: {typed}"));
        }
        found.map(|(form, _)| form)
    });
    let draft = &mut drafts[index];
    if marks.is_empty() {
        draft
            .notes
            .extend(beside.iter().map(|(key, value)| format!("{key}: {value}")));
    }
    for (key, lines) in marks {
        let key = match (key, form) {
            ("lines", Some(form)) => form,
            ("lines", None) => "any",
            (key, _) => key,
        };
        let mut reading = vec![(key, lines)];
        reading.extend(beside.iter().cloned());
        draft.readings.push(reading);
    }
}

/// Whether a key of a part or a reading takes a value.
fn takes(key: &str, value: &str, place: &Path) -> bool {
    let value = value.trim();
    if value.len() > MAX_TEXT {
        return false;
    }
    match key {
        "photo" => super::read::is_beside(place.parent().unwrap_or(Path::new("")), value),
        "function" => Words::Function.all().contains(&value),
        _ => match kind(&BOARD, key) {
            Some(Kind::Count(from, to)) => value
                .parse::<u32>()
                .is_ok_and(|count| (*from..=*to).contains(&count)),
            _ => true,
        },
    }
}

/// What the value of a key is, wherever it stands in the table.
fn kind(within: &'static Kind, key: &str) -> Option<&'static Kind> {
    match within {
        Kind::Map(keys) => keys
            .iter()
            .find(|known| known.name == key)
            .map(|known| &known.kind)
            .or_else(|| keys.iter().find_map(|known| kind(&known.kind, key))),
        Kind::List(item, _) | Kind::Each(item, _) => kind(item, key),
        _ => None,
    }
}

/// A value of a key: numbers as they are, texts in quotes.
fn scalar(key: &str, value: &str) -> String {
    match kind(&BOARD, key) {
        Some(Kind::Count(..)) => value.trim().to_owned(),
        _ => quote(value),
    }
}

/// A text in quotes, read back as typed: single ones, and double ones where a character needs an escape.
fn quote(text: &str) -> String {
    let strange = |c: char| {
        c.is_control()
            || matches!(
                c,
                '\u{2028}' | '\u{2029}' | '\u{feff}' | '\u{fffe}' | '\u{ffff}'
            )
    };
    if !text.contains(strange) {
        return format!("'{}'", text.replace('\'', "''"));
    }
    let mut quoted = String::from("\"");
    for c in text.chars() {
        match c {
            '"' | '\\' => quoted.extend(['\\', c]),
            c if strange(c) => quoted.push_str(&format!("\\u{:04X}", u32::from(c))),
            c => quoted.push(c),
        }
    }
    quoted.push('"');
    quoted
}
