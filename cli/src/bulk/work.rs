//! What a thread does to a batch of rows.

use std::borrow::Cow;
use std::sync::Arc;

use serde_json::{Map, Value};

use super::answer::{Answer, Own, Status, Writing, json_number, put_cell, put_json, put_text};
use super::ask::{Asker, CANDIDATES};
use super::claims::Beside;
use super::memo::{Habit, Memo};
use super::output::sheet_row;
use super::tally::Tally;
use super::undecoded::Undecoded;
use crate::table::csv::{Cells, Records, Tail};
use crate::table::dialect::Dialect;
use crate::table::{Batch, Cell, jsonl};

/// Between the cells of several mark columns.
const BETWEEN: char = '\u{1f}';

/// What became of a batch.
#[derive(Default)]
pub(crate) struct Done {
    /// The rows as they are written.
    pub(crate) bytes: Vec<u8>,
    /// The same for a sheet.
    pub(crate) rows: Vec<Vec<Cell>>,
    /// Rows of the table of candidates.
    pub(crate) candidates: Vec<u8>,
    /// Rows of the table of contradictions.
    pub(crate) claims: Vec<u8>,
    pub(crate) tally: Tally,
}

/// How rows go from the input to the output.
pub(crate) struct Layout {
    /// The columns of the input.
    pub(crate) names: Vec<String>,
    pub(crate) marks: Vec<usize>,
    /// Cells that a row should have.
    pub(crate) width: usize,
    /// How the input is parted.
    pub(crate) dialect: Dialect,
    /// Whether rows are copied as they are, ours behind them.
    pub(crate) append: bool,
    /// Whether a file of what is not decoded is asked for.
    pub(crate) undecoded: bool,
    pub(crate) beside: Beside,
}

/// A thread's memory.
pub(crate) struct Worker {
    cells: Cells,
    desk: Desk,
}

struct Desk {
    asker: Asker<'static>,
    memo: Arc<Memo>,
    habit: Habit,
    layout: Arc<Layout>,
    key: String,
}

/// A row as it came.
#[derive(Clone, Copy)]
enum Source<'r> {
    Record {
        record: &'r [u8],
        cells: &'r Cells,
        /// What closes it, where the table ends inside its quotes.
        close: Option<u8>,
        terminator: &'r [u8],
    },
    Object {
        line: &'r [u8],
        object: &'r Map<String, Value>,
        terminator: &'r [u8],
    },
    Cells(&'r [Cell]),
}

impl Source<'_> {
    fn width(self) -> Option<usize> {
        match self {
            Source::Record { cells, .. } => Some(cells.len()),
            // Objects need not have all keys, and a sheet ends a row where nothing follows.
            Source::Object { .. } | Source::Cells(_) => None,
        }
    }

    fn text(&self, column: usize, names: &[String]) -> Cow<'_, str> {
        match self {
            Source::Record { record, cells, .. } => cells.text(record, column).into(),
            Source::Object { object, .. } => names
                .get(column)
                .and_then(|name| object.get(name))
                .map(jsonl::text)
                .unwrap_or_default()
                .into(),
            Source::Cells(cells) => cells.get(column).map_or("".into(), Cell::text),
        }
    }

    fn cells(self, names: &[String]) -> Vec<Cell> {
        match self {
            Source::Record { record, cells, .. } => (0..cells.len())
                .map(|cell| Cell::Text(cells.text(record, cell).to_owned()))
                .collect(),
            Source::Object { object, .. } => names
                .iter()
                .map(|name| match object.get(name) {
                    None | Some(Value::Null) => Cell::Empty,
                    Some(Value::Bool(bool)) => Cell::Bool(*bool),
                    Some(Value::Number(number)) => {
                        number.as_f64().map_or(Cell::Empty, Cell::Number)
                    }
                    Some(other) => Cell::Text(jsonl::text(other)),
                })
                .collect(),
            Source::Cells(cells) => cells.to_vec(),
        }
    }
}

impl Worker {
    pub(crate) fn new(asker: Asker<'static>, memo: Arc<Memo>, layout: Arc<Layout>) -> Worker {
        Worker {
            cells: Cells::new(layout.dialect),
            desk: Desk {
                asker,
                memo,
                habit: Habit::default(),
                layout,
                key: String::new(),
            },
        }
    }

    /// Answers the rows of a batch, the first of which is row `first`.
    pub(crate) fn work(&mut self, first: u64, batch: Batch) -> Done {
        let mut done = Done::default();
        done.tally.undecoded = Undecoded::new(self.desk.layout.undecoded);
        match batch {
            Batch::Records(records) => self.records(first, &records, &mut done),
            Batch::Piece(bytes) => done.bytes = bytes,
            Batch::Tail(tail) => self.desk.tail(first, &tail, &mut done),
            Batch::Lines(records) => self.desk.lines(first, &records, &mut done),
            Batch::Cells(rows) => {
                for (at, row) in rows.iter().enumerate() {
                    self.desk
                        .row(first + at as u64, Source::Cells(row), &mut done);
                }
            }
        }
        done
    }

    fn records(&mut self, first: u64, records: &Records, done: &mut Done) {
        done.bytes
            .reserve(records.bytes.len() + records.spans.len() * 64);
        let mut row = first;
        for span in &records.spans {
            let (start, end, next) = (span.start as usize, span.end as usize, span.next as usize);
            if span.is_blank() {
                done.tally.blank += 1;
                if self.desk.layout.append {
                    done.bytes.extend_from_slice(&records.bytes[start..next]);
                }
                continue;
            }
            let record = &records.bytes[start..end];
            self.cells.split(record, span.kind);
            let source = Source::Record {
                record,
                cells: &self.cells,
                close: span
                    .is_open()
                    .then_some(self.desk.layout.dialect.quote)
                    .flatten(),
                terminator: &records.bytes[end..next],
            };
            self.desk.row(row, source, done);
            row += 1;
        }
    }
}

impl Desk {
    fn lines(&mut self, first: u64, records: &Records, done: &mut Done) {
        let mut row = first;
        for span in &records.spans {
            let (start, end, next) = (span.start as usize, span.end as usize, span.next as usize);
            let terminator = &records.bytes[end..next];
            if span.is_blank() {
                done.tally.blank += 1;
                if self.layout.append {
                    done.bytes.extend_from_slice(&records.bytes[start..next]);
                }
                continue;
            }
            let line = &records.bytes[start..end];
            match jsonl::object(line) {
                Some(object) => {
                    let source = Source::Object {
                        line,
                        object: &object,
                        terminator,
                    };
                    self.row(row, source, done);
                }
                None => self.broken_line(row, line, terminator, done),
            }
            row += 1;
        }
    }

    /// A line that is no object is kept as a text in one.
    fn broken_line(&mut self, row: u64, line: &[u8], terminator: &[u8], done: &mut Done) {
        let text = String::from_utf8_lossy(line).into_owned();
        let mut object = Map::new();
        object.insert("etch_input".to_owned(), Value::from(text));
        let mut line = Vec::new();
        put_json(&mut line, &Value::Object(object.clone()));
        let answer = self
            .asker
            .bare(Status::None, Some("the line is no JSON object".to_owned()));
        let source = Source::Object {
            line: &line,
            object: &object,
            terminator,
        };
        done.tally.broken.0 += 1;
        done.tally.broken.1.get_or_insert(row);
        self.answered(row, source, &answer, done);
    }

    fn row(&mut self, row: u64, source: Source<'_>, done: &mut Done) {
        self.key.clear();
        for (at, mark) in self.layout.marks.iter().enumerate() {
            if at > 0 {
                self.key.push(BETWEEN);
            }
            self.key.push_str(&source.text(*mark, &self.layout.names));
        }
        let answer = self.answer();
        self.answered(row, source, &answer, done);
    }

    /// The answer to the marks of a row, which stand in `key`.
    fn answer(&mut self) -> Arc<Answer> {
        let (key, asker) = (&self.key, &mut self.asker);
        self.memo.get(&mut self.habit, key, || {
            let cells: Vec<&str> = key.split(BETWEEN).collect();
            asker.answer(&cells)
        })
    }

    /// Writes a row with its answer.
    fn answered(&mut self, row: u64, source: Source<'_>, answer: &Answer, done: &mut Done) {
        self.compare(row, source, answer, done);
        let layout = Arc::clone(&self.layout);
        let width = source.width().unwrap_or(layout.width);
        let with_note = self.note(row, width, answer, None, done);
        let own = with_note.as_deref();
        if layout.append {
            self.append(source, width, answer, own, done);
        } else {
            let mut cells = source.cells(&layout.names);
            if cells.len() < layout.width {
                cells.resize(layout.width, Cell::Empty);
            }
            self.convert(cells, own.unwrap_or(&answer.cells), done);
        }
        self.count(row, answer, done);
    }

    /// Copies a row as it came, ours behind it.
    fn append(
        &self,
        source: Source<'_>,
        width: usize,
        answer: &Answer,
        own: Option<&[Own]>,
        done: &mut Done,
    ) {
        let written = own.map(|own| self.asker.question.writing.row(own));
        let text: &[u8] = written.as_deref().unwrap_or(&answer.text);
        match source {
            Source::Record {
                record,
                close,
                terminator,
                ..
            } => {
                done.bytes.extend_from_slice(record);
                // Else our columns would be read as the rest of that cell.
                done.bytes.extend(close);
                for _ in width..self.layout.width {
                    done.bytes.push(self.layout.dialect.delimiter);
                }
                done.bytes.extend_from_slice(text);
                done.bytes.extend_from_slice(terminator);
            }
            Source::Object {
                line,
                object,
                terminator,
            } => {
                let brace = line.iter().rposition(|byte| *byte == b'}').unwrap_or(0);
                done.bytes.extend_from_slice(&line[..brace]);
                done.bytes
                    .extend_from_slice(&text[usize::from(object.is_empty())..]);
                done.bytes.extend_from_slice(&line[brace..]);
                done.bytes.extend_from_slice(terminator);
            }
            Source::Cells(_) => {}
        }
    }

    /// Writes a row anew, in another form than it came.
    fn convert(&self, cells: Vec<Cell>, own: &[Own], done: &mut Done) {
        match &self.asker.question.writing {
            Writing::Sheet => done.rows.push(sheet_row(cells, own)),
            Writing::Text(dialect) => {
                for (at, cell) in cells.iter().enumerate() {
                    if at > 0 {
                        done.bytes.push(dialect.delimiter);
                    }
                    put_text(&mut done.bytes, &cell.text(), *dialect);
                }
                for cell in own {
                    done.bytes.push(dialect.delimiter);
                    put_cell(&mut done.bytes, cell, *dialect);
                }
                done.bytes.push(b'\n');
            }
            writing @ Writing::Json(_) => {
                let mut object = Map::new();
                for (at, cell) in cells.into_iter().enumerate() {
                    let key = match self.layout.names.get(at) {
                        Some(name) => name.clone(),
                        None => format!("column_{}", at + 1),
                    };
                    let value = match cell {
                        Cell::Empty => Value::Null,
                        Cell::Text(text) | Cell::Date(_, _, text) => Value::from(text),
                        Cell::Number(number) => json_number(number),
                        Cell::Bool(bool) => Value::from(bool),
                    };
                    object.insert(key, value);
                }
                let empty = object.is_empty();
                put_json(&mut done.bytes, &Value::Object(object));
                done.bytes.pop();
                let own = writing.row(own);
                done.bytes.extend_from_slice(&own[usize::from(empty)..]);
                done.bytes.extend_from_slice(b"}\n");
            }
        }
    }

    /// Counts a row that is ragged; gives our cells anew where a note was asked for.
    fn note(
        &self,
        row: u64,
        width: usize,
        answer: &Answer,
        note: Option<&str>,
        done: &mut Done,
    ) -> Option<Vec<Own>> {
        let usual = self.layout.width;
        let ragged = if width < usual {
            Some(&mut done.tally.narrow)
        } else if width > usual {
            Some(&mut done.tally.wide)
        } else {
            None
        };
        let is_ragged = ragged.is_some();
        if let Some(count) = ragged {
            count.0 += 1;
            count.1.get_or_insert(row);
        }
        let wants = &self.asker.question.wants;
        let place = wants.iter().position(super::want::Want::is_note)?;
        let ragged = is_ragged.then(|| format!("{width} cells instead of {usual}"));
        let notes = [note, ragged.as_deref(), answer.note.as_deref()];
        let note = notes.into_iter().flatten().collect::<Vec<_>>().join("; ");
        let mut cells = answer.cells.to_vec();
        cells[5 + place] = Own::text(&note);
        Some(cells)
    }

    fn count(&mut self, row: u64, answer: &Answer, done: &mut Done) {
        for candidate in &answer.candidates {
            done.candidates
                .extend_from_slice(row.to_string().as_bytes());
            done.candidates.extend_from_slice(candidate);
            done.candidates.push(b'\n');
        }
        done.tally.count(answer.status, answer.family);
        if matches!(answer.status, Status::None | Status::Ambiguous) {
            let mark = self.key.split(BETWEEN).find(|mark| !mark.trim().is_empty());
            if let Some(mark) = mark {
                done.tally.undecoded.note(row, mark);
            }
        }
    }

    fn compare(&self, row: u64, source: Source<'_>, answer: &Answer, done: &mut Done) {
        let (Some(facts), beside) = (&answer.facts, &self.layout.beside) else {
            return;
        };
        if beside.is_empty() {
            return;
        }
        let rules = self.asker.question.loaded.rules.set();
        let names = &self.layout.names;
        let seen = self.asker.question.context.seen;
        let found = beside.compare(rules, facts, seen, |column| source.text(column, names));
        if found.is_empty() {
            return;
        }
        let mark = self.key.replace(BETWEEN, " | ");
        for finding in &found {
            let cells = [
                Own::text(&finding.column),
                Own::text(mark.trim()),
                Own::text(&finding.says),
                Own::text(&finding.number_says),
            ];
            done.claims.extend_from_slice(row.to_string().as_bytes());
            for cell in &cells {
                done.claims.push(CANDIDATES.delimiter);
                put_cell(&mut done.claims, cell, CANDIDATES);
            }
            done.claims.push(b'\n');
        }
        done.tally.contradicted(row, found);
    }

    /// The end of a record that came in pieces.
    fn tail(&mut self, row: u64, tail: &Tail, done: &mut Done) {
        let megabytes = tail.bytes as f64 / 1e6;
        let note = format!("the row is {megabytes:.1} MB long: a quote that is never closed?");
        done.tally.long.0 += 1;
        done.tally.long.1.get_or_insert(row);
        self.key.clear();
        let mut unread = false;
        for (column, cell) in &tail.cells {
            if !self.layout.marks.contains(column) {
                continue;
            }
            unread |= cell.is_none();
            if !self.key.is_empty() {
                self.key.push(BETWEEN);
            }
            self.key.push_str(cell.as_deref().unwrap_or(""));
        }
        let answer = if unread {
            Arc::new(self.asker.bare(Status::None, None))
        } else {
            self.answer()
        };
        if tail.open {
            done.bytes.extend(self.layout.dialect.quote);
        }
        for _ in tail.width..self.layout.width {
            done.bytes.push(self.layout.dialect.delimiter);
        }
        let with_note = self.note(row, tail.width, &answer, Some(&note), done);
        let own = with_note.map(|own| self.asker.question.writing.row(&own));
        done.bytes
            .extend_from_slice(own.as_deref().unwrap_or(&answer.text));
        done.bytes.extend_from_slice(&tail.terminator);
        self.count(row, &answer, done);
    }
}
