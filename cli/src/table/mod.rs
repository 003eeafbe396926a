//! Rows in and out: tables as text, JSON lines or sheets, whatever their encoding, delimiter and packing.
//!
//! ```text
//! bytes --open, pack--> bytes --text--> UTF-8 --csv, jsonl--> batches of records --(bulk)--> bytes --whole--> file
//!                       bytes --sheet---------------------> batches of cells   --(bulk)--> sheet ---^
//! ```
//!
//! Does not know: marks, rules, answers.

pub(crate) mod csv;
pub(crate) mod dialect;
pub(crate) mod jsonl;
pub(crate) mod open;
pub(crate) mod pack;
pub(crate) mod sheet;
pub(crate) mod text;
pub(crate) mod whole;

/// The longest record that is held in memory at once, in bytes; a longer one streams through.
pub(crate) const MAX_RECORD: usize = 1 << 20;

/// The longest cell of a longer record that is kept for reading, in bytes.
pub(crate) const MAX_CELL: usize = 64 << 10;

/// About how many bytes of a table travel together.
pub(crate) const BATCH: usize = 256 << 10;

/// How much of a table is looked at before its first row is answered, in bytes.
pub(crate) const SAMPLE: usize = 1 << 20;

/// Rows of that which are looked at.
pub(crate) const SAMPLE_ROWS: usize = 1_000;

/// Rows that travel together.
#[derive(Debug)]
pub(crate) enum Batch {
    /// Records of delimited text.
    Records(csv::Records),
    /// A piece of a record too long to be held: copied as it comes.
    Piece(Vec<u8>),
    /// The end of such a record.
    Tail(csv::Tail),
    /// Lines of JSON.
    Lines(csv::Records),
    /// Rows of a sheet.
    Cells(Vec<Vec<Cell>>),
}

impl Batch {
    /// How much it is: its text in bytes, or its rows where it comes from a sheet.
    pub(crate) fn size(&self) -> usize {
        match self {
            Batch::Records(records) | Batch::Lines(records) => records.bytes.len(),
            Batch::Piece(piece) => piece.len(),
            Batch::Tail(_) => 0,
            Batch::Cells(rows) => rows.len(),
        }
    }

    /// How many rows begin in it, or end in it where they came in pieces.
    pub(crate) fn rows(&self) -> u64 {
        match self {
            Batch::Records(records) | Batch::Lines(records) => {
                records.spans.iter().filter(|span| !span.is_blank()).count() as u64
            }
            Batch::Piece(_) => 0,
            Batch::Tail(_) => 1,
            Batch::Cells(rows) => rows.len() as u64,
        }
    }
}

/// A cell apart from how its table is written.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Cell {
    Empty,
    Text(String),
    Number(f64),
    Bool(bool),
    /// Days since the epoch of spreadsheets, and whether the time of day belongs to it.
    Date(f64, bool, String),
}

impl Cell {
    /// As text.
    pub(crate) fn text(&self) -> std::borrow::Cow<'_, str> {
        match self {
            Cell::Empty => "".into(),
            Cell::Text(text) | Cell::Date(_, _, text) => text.as_str().into(),
            Cell::Number(number) => number.to_string().into(),
            Cell::Bool(bool) => (if *bool { "TRUE" } else { "FALSE" }).into(),
        }
    }
}
