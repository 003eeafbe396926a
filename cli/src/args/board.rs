//! Arguments of `board`.

use std::path::PathBuf;

use clap::{Args, Subcommand};

use crate::present::board::report::Edition;

/// Accounts for a whole board: parts, makers, what does not fit, what changed.
///
/// A board file is YAML: the product, what its seller claims, and for each part where it stands, what was read on it by form, specimen and
/// reader, what else was seen, and what the analyst decided. `board new` writes a start file. Readings are never altered; what follows from
/// them stands beside them.
#[derive(Debug, Clone, Args)]
pub(crate) struct BoardArgs {
    #[command(subcommand)]
    pub(crate) command: BoardCommand,
}

/// What to do with boards.
#[derive(Debug, Clone, Subcommand)]
pub(crate) enum BoardCommand {
    /// A start file, with comments or from a table of readings
    New(BoardNewArgs),
    /// A JSON Schema of board files
    Schema(BoardSchemaArgs),
    /// The inventory with findings, makers and open questions
    Show(BoardShowArgs),
    /// What changed between two boards
    Compare(BoardCompareArgs),
    /// A report to read: HTML, Markdown, or CSV for a cost estimate
    Report(BoardReportArgs),
}

/// Writes a report: one HTML file that needs nothing else, Markdown, or CSV with the inputs of a cost estimate.
///
/// The same readings, rules and day give the same bytes. The client edition has no house numbers, serials, lots, notes, people, lab
/// evidence or lab rules; characters that are not explained are dotted out, and the board is drawn instead of shown.
#[derive(Debug, Clone, Args)]
pub(crate) struct BoardReportArgs {
    /// The board file
    #[arg(value_name = "BOARD.yaml")]
    pub(crate) board: PathBuf,
    /// An older board to compare with
    #[arg(long, value_name = "OLD.yaml")]
    pub(crate) against: Option<PathBuf>,
    /// For whom it is
    #[arg(long, value_enum, default_value_t)]
    pub(crate) edition: Edition,
    /// Photos in the client edition too, without what they say of camera and place; what can be read in them is not covered
    #[arg(long)]
    pub(crate) with_photos: bool,
    /// The report; its ending says the form: .html, .md or .csv
    #[arg(short = 'o', long = "report", value_name = "REPORT")]
    pub(crate) to: PathBuf,
    #[command(flatten)]
    pub(crate) how: BoardHow,
}

/// Shows what is on a board and what does not fit.
#[derive(Debug, Clone, Args)]
pub(crate) struct BoardShowArgs {
    /// The board file
    #[arg(value_name = "BOARD.yaml")]
    pub(crate) board: PathBuf,
    #[command(flatten)]
    pub(crate) how: BoardHow,
    /// Ends with status 1 where something does not fit
    #[arg(long)]
    pub(crate) strict: bool,
}

/// Compares two generations: what was carried over, revised, replaced, what is new and gone.
///
/// Parts are matched by family and ordering code first, then by family, by function and position.
#[derive(Debug, Clone, Args)]
pub(crate) struct BoardCompareArgs {
    /// The older board
    #[arg(value_name = "OLD.yaml")]
    pub(crate) old: PathBuf,
    /// The newer board
    #[arg(value_name = "NEW.yaml")]
    pub(crate) new: PathBuf,
    #[command(flatten)]
    pub(crate) how: BoardHow,
    /// Ends with status 1 where anything but dates and plants differs
    #[arg(long)]
    pub(crate) strict: bool,
}

/// How boards are read.
#[derive(Debug, Clone, Args)]
pub(crate) struct BoardHow {
    /// Day of reading where a board file gives none; today unless given
    #[arg(long, value_name = "DATE")]
    pub(crate) seen: Option<String>,
    /// Threads that decode; as many as the machine has, unless given
    #[arg(long, value_name = "N")]
    pub(crate) jobs: Option<usize>,
}

/// Writes a start file: every key with a comment, or what a table of readings holds.
///
/// The columns of FROM are found by their header: position, form, mark, specimen, reader, photo, package, pins, quantity, maker, logo,
/// function, notes. A column of another name, and a value that its key does not take, goes to the notes of the part with its name: nothing is
/// lost. Rows of one position are readings of one part.
#[derive(Debug, Clone, Args)]
pub(crate) struct BoardNewArgs {
    /// A table of readings: CSV, tab-separated, JSON lines or a spreadsheet
    #[arg(value_name = "FROM.csv")]
    pub(crate) from: Option<PathBuf>,
    /// Where to write; standard output unless given
    #[arg(short = 'o', long = "out", value_name = "FILE")]
    pub(crate) out: Option<PathBuf>,
    /// Replaces a file that is there
    #[arg(long)]
    pub(crate) force: bool,
    /// The column of the mark, by name or number, where its header does not tell
    #[arg(long, value_name = "COLUMN")]
    pub(crate) mark: Option<String>,
}

/// Prints a JSON Schema (draft 2020-12) of board files, for editors.
///
/// Editors that know schemas then complete keys, say what they are, and underline what cannot be.
#[derive(Debug, Clone, Args)]
pub(crate) struct BoardSchemaArgs {}
