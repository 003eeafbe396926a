//! Rows in and out: tables as text or sheets, whatever their encoding, delimiter and packing.
//!
//! ```text
//! bytes --unpack--> bytes --text--> UTF-8 --records--> batches of records --(bulk)--> bytes --whole--> file
//! ```
//!
//! Does not know: marks, rules, answers.

pub(crate) mod csv;
pub(crate) mod dialect;
pub(crate) mod open;
pub(crate) mod pack;
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

/// Rows that travel together.
#[derive(Debug)]
pub(crate) enum Batch {
    /// Records of a text table.
    Records(csv::Records),
    /// A piece of a record too long to be held: copied as it comes.
    Piece(Vec<u8>),
    /// The end of such a record.
    Tail(csv::Tail),
}
