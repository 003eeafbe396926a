//! The marks that no rule knows, by shape: gathered during a run, written as a table, and read back exactly.
//!
//! The table is tab-separated, quoted as usual, so that every mark stands in it whole. A `'` is put before what a spreadsheet would run as a formula and before
//! a printed `'`, so that one `'` at the beginning is never part of a mark. A line without a mark says how many rows are not told one by one.

use std::collections::HashMap;
use std::io::Write;
use std::path::Path;

use etchlore_engine::analyse::shape;

use super::answer::{is_formula, put_text};
use super::output::unwritable;
use crate::failure::Failure;
use crate::table::dialect::Dialect;
use crate::table::whole::Whole;

/// The most shapes that are told apart; the marks of further ones are counted together.
const MAX_SHAPES: usize = 20_000;
/// Marks that each shape may have, whatever the others have; where no file is asked for, all that are kept.
const FEW: usize = 10;
/// Marks kept of each shape.
const MANY: usize = 2_000;
/// Bytes of marks beyond which each shape keeps only few.
const ROOM: usize = 24 << 20;
/// What a mark costs beside its text.
const OVERHEAD: usize = 64;
/// The longest mark that is kept, in bytes. What is longer is no mark of a part.
const LONGEST: usize = 500;

const HEAD: &[&str] = &["count", "shape", "row", "mark", "times", "note"];
const TABS: Dialect = Dialect {
    delimiter: b'\t',
    quote: Some(b'"'),
};

/// A mark that is kept.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Kept {
    /// Its first row.
    row: u64,
    /// Rows.
    times: u64,
}

/// Marks of one shape.
#[derive(Debug, Default)]
pub(crate) struct Group {
    /// Rows.
    pub(crate) count: u64,
    marks: HashMap<String, Kept>,
    /// The first row whose mark is not kept.
    missed: Option<u64>,
}

impl Group {
    /// Marks with their first rows, in the order of the rows.
    pub(crate) fn examples(&self) -> Vec<(u64, &str)> {
        let mut all: Vec<(u64, &str)> = self
            .marks
            .iter()
            .map(|(mark, kept)| (kept.row, mark.as_str()))
            .collect();
        all.sort_unstable();
        all
    }
}

/// What was not decoded, as far as it is kept.
#[derive(Debug, Default)]
pub(crate) struct Undecoded {
    groups: HashMap<String, Group>,
    /// Rows of shapes beyond those kept.
    beyond: u64,
    bytes: usize,
    /// Whether a file is asked for.
    many: bool,
}

impl Undecoded {
    pub(crate) fn new(many: bool) -> Undecoded {
        Undecoded {
            many,
            ..Undecoded::default()
        }
    }

    /// Notes a mark.
    pub(crate) fn note(&mut self, row: u64, mark: &str) {
        let kept = Kept { row, times: 1 };
        let group = self.groups.entry(shape(mark)).or_default();
        group.count += 1;
        keep(group, &mut self.bytes, self.many, mark, kept);
    }

    /// Adds what a later batch noted.
    pub(crate) fn add(&mut self, later: Undecoded) {
        self.beyond += later.beyond;
        self.many |= later.many;
        // By name, so that a run in one thread and in many keeps the same.
        let mut groups: Vec<(String, Group)> = later.groups.into_iter().collect();
        groups.sort_by(|a, b| a.0.cmp(&b.0));
        for (shape, later) in groups {
            if self.groups.len() >= MAX_SHAPES && !self.groups.contains_key(&shape) {
                self.beyond += later.count;
                continue;
            }
            let group = self.groups.entry(shape).or_default();
            group.count += later.count;
            for (row, mark) in later.examples() {
                let kept = later.marks.get(mark).copied();
                let kept = kept.unwrap_or(Kept { row, times: 0 });
                keep(group, &mut self.bytes, self.many, mark, kept);
            }
            group.missed = group.missed.or(later.missed);
        }
    }

    /// The shapes, most frequent first, then by name.
    pub(crate) fn shapes(&self) -> Vec<(&str, &Group)> {
        let mut shapes: Vec<(&str, &Group)> = self
            .groups
            .iter()
            .map(|(shape, group)| (shape.as_str(), group))
            .collect();
        shapes.sort_by(|a, b| b.1.count.cmp(&a.1.count).then(a.0.cmp(b.0)));
        shapes
    }

    /// Writes the table: one line a mark, the most frequent shape first.
    pub(crate) fn write(&self, path: &Path) -> Result<(), Failure> {
        let failed = |error: std::io::Error| unwritable(path, &error);
        let mut table = Whole::create(path).map_err(failed)?;
        table.write_all(&self.table()).map_err(failed)?;
        table.finish().map_err(failed)
    }

    fn table(&self) -> Vec<u8> {
        let mut bytes = Vec::new();
        let mut line = |cells: [&str; 6]| {
            for (at, cell) in cells.iter().enumerate() {
                if at > 0 {
                    bytes.push(TABS.delimiter);
                }
                put_text(&mut bytes, cell, TABS);
            }
            bytes.push(b'\n');
        };
        line([HEAD[0], HEAD[1], HEAD[2], HEAD[3], HEAD[4], HEAD[5]]);
        for (shape, group) in self.shapes() {
            let count = group.count.to_string();
            let shape = guarded(shape);
            let mut told = 0;
            for (row, mark) in group.examples() {
                let times = group.marks.get(mark).map_or(1, |kept| kept.times);
                told += times;
                let (row, times) = (row.to_string(), times.to_string());
                line([&count, &shape, &row, &guarded(mark), &times, ""]);
            }
            if let Some(row) = group.missed {
                let missing = group.count.saturating_sub(told);
                let (row, times) = (row.to_string(), missing.to_string());
                let note = format!(
                    "{missing} more rows of this shape, the first of them row {row}: at most {MANY} marks of a shape, {LONGEST} bytes of a mark and {} MB in all are listed",
                    ROOM >> 20
                );
                line([&count, &shape, &row, "", &times, &note]);
            }
        }
        if self.beyond > 0 {
            let beyond = self.beyond.to_string();
            let note =
                format!("{beyond} rows of further shapes: at most {MAX_SHAPES} shapes are listed");
            line([&beyond, "", "", "", &beyond, &note]);
        }
        bytes
    }
}

fn keep(group: &mut Group, bytes: &mut usize, many: bool, mark: &str, kept: Kept) {
    if let Some(known) = group.marks.get_mut(mark) {
        known.times += kept.times;
        return;
    }
    let most = if many && *bytes < ROOM { MANY } else { FEW };
    if group.marks.len() >= most || mark.len() > LONGEST {
        group.missed.get_or_insert(kept.row);
        return;
    }
    *bytes += mark.len() + OVERHEAD;
    group.marks.insert(mark.to_owned(), kept);
}

/// A text that no spreadsheet runs, and that [`unguarded`] gives back.
fn guarded(text: &str) -> String {
    if is_formula(text) || text.starts_with('\'') {
        format!("'{text}")
    } else {
        text.to_owned()
    }
}

fn unguarded(cell: &str) -> &str {
    cell.strip_prefix('\'').unwrap_or(cell)
}

/// What a table of undecoded marks says.
#[derive(Debug, Default, PartialEq, Eq)]
pub(crate) struct Listed {
    /// Marks with how often each stands in the list that was decoded.
    pub(crate) marks: Vec<(String, usize)>,
    /// Rows whose marks are not listed.
    pub(crate) missing: u64,
}

/// Whether a text is a table of undecoded marks.
pub(crate) fn is_table(text: &str) -> bool {
    text.lines()
        .next()
        .is_some_and(|head| head.split('\t').eq(HEAD.iter().copied()))
}

/// Reads such a table. An error names the line.
pub(crate) fn read(text: &str) -> Result<Listed, String> {
    let mut reader = csv::ReaderBuilder::new()
        .delimiter(TABS.delimiter)
        .flexible(true)
        .from_reader(text.as_bytes());
    let mut listed = Listed::default();
    for row in reader.records() {
        let row = row.map_err(|error| error.to_string())?;
        let cell = |at: usize| row.get(at).unwrap_or("");
        let line = row.position().map_or(0, csv::Position::line);
        let times: usize = match cell(4).trim() {
            "" => 1,
            times => times
                .parse()
                .map_err(|_| format!("line {line}: `times` is no number, but `{times}`"))?,
        };
        if cell(3).is_empty() {
            listed.missing += times as u64;
        } else {
            listed.marks.push((unguarded(cell(3)).to_owned(), times));
        }
    }
    Ok(listed)
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::{FEW, LONGEST, MANY, Undecoded, is_table, read};

    fn again(noted: &Undecoded) -> super::Listed {
        let text = String::from_utf8(noted.table()).unwrap();
        assert!(is_table(&text));
        read(&text).unwrap()
    }

    #[test]
    fn what_was_written_is_read_exactly() {
        let marks = [
            "QQ-77",
            "=1+2",
            "'=1+2",
            "''x",
            "'",
            "\tQX",
            "a\tb",
            "a\nb\r\nc",
            "say \"QX\"",
            "\"",
            " QX ",
            "-7",
            "+QX",
            "@QX",
            "µ4Ω",
            "\0",
            "count",
        ];
        let mut noted = Undecoded::new(true);
        for (row, mark) in marks.iter().chain(&marks[..3]).enumerate() {
            noted.note(row as u64 + 1, mark);
        }
        let mut listed = again(&noted).marks;
        let mut expected: Vec<(String, usize)> = marks
            .iter()
            .enumerate()
            .map(|(at, mark)| ((*mark).to_owned(), 1 + usize::from(at < 3)))
            .collect();
        listed.sort();
        expected.sort();
        assert_eq!(listed, expected);
    }

    #[test]
    fn what_is_not_listed_is_counted() {
        let mut noted = Undecoded::new(true);
        for row in 0..MANY as u64 + 5 {
            noted.note(row + 1, &format!("QX{row}"));
        }
        noted.note(9_000, &format!("QX{}", "7".repeat(LONGEST)));
        let listed = again(&noted);
        assert_eq!((listed.marks.len(), listed.missing), (MANY, 6));
        let text = String::from_utf8(noted.table()).unwrap();
        let first = MANY + 1;
        assert!(text.contains(&format!(
            "6 more rows of this shape, the first of them row {first}"
        )));
    }

    #[test]
    fn batches_add_up_to_the_whole() {
        let marks: Vec<String> = (0..300).map(|n| format!("Q{}-{}", n % 7, n % 40)).collect();
        let mut whole = Undecoded::new(true);
        let mut parts = Undecoded::new(true);
        for (at, batch) in marks.chunks(17).enumerate() {
            let mut of_batch = Undecoded::new(true);
            for (n, mark) in batch.iter().enumerate() {
                let row = (at * 17 + n + 1) as u64;
                whole.note(row, mark);
                of_batch.note(row, mark);
            }
            parts.add(of_batch);
        }
        assert_eq!(whole.table(), parts.table());
        let mut few = Undecoded::new(false);
        for row in 0..50 {
            few.note(row, &format!("QX{row}"));
        }
        assert_eq!(again(&few).marks.len(), FEW);
    }
}
