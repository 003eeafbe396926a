//! What a thread does to a batch of rows.

use std::sync::Arc;

use super::answer::{Answer, Own, Status, put_cell};
use super::ask::Asker;
use super::memo::Memo;
use super::tally::Tally;
use crate::table::Batch;
use crate::table::csv::{Cells, Records, Tail};
use crate::table::dialect::Dialect;

/// What became of a batch.
#[derive(Default)]
pub(crate) struct Done {
    /// The rows as they are written.
    pub(crate) bytes: Vec<u8>,
    /// Rows of the table of candidates.
    pub(crate) candidates: Vec<u8>,
    pub(crate) tally: Tally,
}

/// A thread's memory.
pub(crate) struct Worker {
    asker: Asker<'static>,
    memo: Arc<Memo>,
    dialect: Dialect,
    cells: Cells,
    marks: Vec<usize>,
    /// Cells that a row should have.
    width: usize,
    /// Whether what is not decoded is kept.
    undecoded: bool,
    key: String,
}

impl Worker {
    pub(crate) fn new(
        asker: Asker<'static>,
        memo: Arc<Memo>,
        dialect: Dialect,
        marks: Vec<usize>,
        width: usize,
        undecoded: bool,
    ) -> Worker {
        Worker {
            asker,
            memo,
            dialect,
            cells: Cells::new(dialect),
            marks,
            width,
            undecoded,
            key: String::new(),
        }
    }

    /// Answers the rows of a batch, the first of which is row `first`.
    pub(crate) fn work(&mut self, first: u64, batch: Batch) -> Done {
        let mut done = Done::default();
        match batch {
            Batch::Records(records) => self.records(first, &records, &mut done),
            Batch::Piece(bytes) => done.bytes = bytes,
            Batch::Tail(tail) => self.tail(first, &tail, &mut done),
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
                done.bytes.extend_from_slice(&records.bytes[start..next]);
                done.tally.blank += 1;
                continue;
            }
            let record = &records.bytes[start..end];
            self.cells.split(record, span.kind);
            let width = self.cells.len();
            self.key.clear();
            for mark in &self.marks {
                let cell = self.cells.text(record, *mark);
                if !self.key.is_empty() {
                    self.key.push('\u{1f}');
                }
                self.key.push_str(cell);
            }
            done.bytes.extend_from_slice(record);
            if span.is_open() {
                // Else our columns would be read as the rest of that cell.
                done.bytes.extend(self.dialect.quote);
            }
            let answer = self.answer();
            self.row(row, width, &answer, None, done);
            done.bytes.extend_from_slice(&records.bytes[end..next]);
            row += 1;
        }
    }

    /// The answer to the marks of a row, which stand in `key`.
    fn answer(&mut self) -> Arc<Answer> {
        let (key, asker) = (&self.key, &mut self.asker);
        self.memo.get(key, || {
            let cells: Vec<&str> = key.split('\u{1f}').collect();
            asker.answer(&cells)
        })
    }

    fn tail(&mut self, row: u64, tail: &Tail, done: &mut Done) {
        let megabytes = tail.bytes as f64 / 1e6;
        let note = format!("the row is {megabytes:.1} MB long: a quote that is never closed?");
        self.key.clear();
        let mut unread = false;
        for (column, cell) in &tail.cells {
            if !self.marks.contains(column) {
                continue;
            }
            unread |= cell.is_none();
            if !self.key.is_empty() {
                self.key.push('\u{1f}');
            }
            self.key.push_str(cell.as_deref().unwrap_or(""));
        }
        let answer = if unread {
            Arc::new(self.asker.bare(Status::None, None))
        } else {
            self.answer()
        };
        if tail.open {
            done.bytes.extend(self.dialect.quote);
        }
        self.row(row, tail.width, &answer, Some(&note), done);
        done.bytes.extend_from_slice(&tail.terminator);
    }

    /// Writes our cells behind a row, and counts it.
    fn row(
        &mut self,
        row: u64,
        width: usize,
        answer: &Answer,
        note: Option<&str>,
        done: &mut Done,
    ) {
        for _ in width..self.width {
            done.bytes.push(self.dialect.delimiter);
        }
        let mut ragged = None;
        if width < self.width {
            done.tally.narrow.0 += 1;
            done.tally.narrow.1.get_or_insert(row);
            ragged = Some(format!("{width} cells instead of {}", self.width));
        } else if width > self.width {
            done.tally.wide.0 += 1;
            done.tally.wide.1.get_or_insert(row);
            ragged = Some(format!("{width} cells instead of {}", self.width));
        }
        let wants = &self.asker.question.wants;
        if wants.iter().any(super::want::Want::is_note) {
            let notes = [note, ragged.as_deref(), answer.note.as_deref()];
            let note = notes.into_iter().flatten().collect::<Vec<_>>().join("; ");
            for (at, cell) in answer.cells.iter().enumerate() {
                done.bytes.push(self.dialect.delimiter);
                let is_note = at.checked_sub(5).is_some_and(|at| wants[at].is_note());
                if is_note {
                    put_cell(&mut done.bytes, &Own::text(&note), self.dialect);
                } else {
                    put_cell(&mut done.bytes, cell, self.dialect);
                }
            }
        } else {
            done.bytes.extend_from_slice(&answer.text);
        }
        for candidate in &answer.candidates {
            done.candidates
                .extend_from_slice(row.to_string().as_bytes());
            done.candidates.extend_from_slice(candidate);
            done.candidates.push(b'\n');
        }
        done.tally.count(answer.status, answer.family);
        if self.undecoded && matches!(answer.status, Status::None | Status::Ambiguous) {
            done.tally
                .note_undecoded(row, self.key.split('\u{1f}').next().unwrap_or(""));
        }
    }
}
