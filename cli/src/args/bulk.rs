//! Arguments of `bulk`.

use std::path::PathBuf;

use clap::{Args, ValueEnum};

/// Decodes a parts list and gives it back whole.
///
/// Every column and row of INPUT comes back in its order, followed by `etch_status`, `etch_family`, `etch_maker`, `etch_probability`, `etch_written`
/// and one column for each of --fields. INPUT is comma- or tab-separated text, JSON lines or a spreadsheet (.xlsx), also packed (.gz, .zst);
/// `-` is standard input. Without -o the table goes to standard output. Encoding, delimiter, header and the column of
/// the mark are found, and what was found is said.
///
/// etch_status is `decoded` where the first candidate is at least as sure as --min-probability, `none` where most likely no rule knows
/// the mark, `empty` where nothing is printed, `ambiguous` otherwise. Rows are counted from 1, the header not counted.
#[derive(Debug, Clone, Args)]
pub(crate) struct BulkArgs {
    /// The parts list; `-` is standard input
    #[arg(value_name = "INPUT")]
    pub(crate) input: PathBuf,
    /// Where to write it; the ending says as what (csv, tsv, jsonl, xlsx, and .gz or .zst behind). It appears whole or not at all
    #[arg(short = 'o', value_name = "OUTPUT")]
    pub(crate) out: Option<PathBuf>,
    /// The column of the mark, by name or number from 1; several are the lines of one package
    #[arg(long, value_name = "COLUMN[,COLUMN...]")]
    pub(crate) mark: Option<String>,
    /// Fields to add as columns: `density,pins`. Numbers are in base units (bit, byte, ohm, F, V, degC, ...); `density:Mbit` wants another,
    /// `temperature:min` one end of a range or of a date (min, max), `density:text` words. Also function, title, known_to, note
    #[arg(long, value_name = "F,...", value_delimiter = ',')]
    pub(crate) fields: Vec<String>,
    /// Threads that decode; as many as the machine has, unless given
    #[arg(long, value_name = "N")]
    pub(crate) jobs: Option<usize>,
    /// How sure the first candidate must be for `decoded`
    #[arg(long, value_name = "P", default_value_t = 0.8)]
    pub(crate) min_probability: f64,
    /// Writes all candidates as a second table, by row number
    #[arg(long, value_name = "FILE")]
    pub(crate) candidates: Option<PathBuf>,
    /// Writes the marks that were not decoded, grouped by shape, as a tab-separated table: what `rules draft` makes new families from
    #[arg(long, value_name = "FILE")]
    pub(crate) undecoded: Option<PathBuf>,
    /// Writes every contradiction between the number and the columns beside it
    #[arg(long, value_name = "FILE")]
    pub(crate) claims: Option<PathBuf>,
    /// Takes the notation of doubt in marks: `_`, `..`, `{B8}` as in `decode`
    #[arg(long)]
    pub(crate) doubt: bool,
    /// Looks for damaged characters too: dropped, doubled, swapped, misread as anything, ends cut off. Lists are typed, not read through a microscope:
    /// without this only look-alikes and unread characters are allowed for, which is many times faster
    #[arg(long)]
    pub(crate) deep: bool,
    /// Ends with status 1 where something was not decoded
    #[arg(long)]
    pub(crate) strict: bool,
    /// What parts the cells: a character, or `tab`; found unless given
    #[arg(long, value_name = "CHARACTER")]
    pub(crate) delimiter: Option<String>,
    /// Whether the first row holds the names of the columns
    #[arg(long, value_name = "WHETHER", default_value = "auto")]
    pub(crate) header: Header,
    /// Day of reading, as 2026-11-25; today unless given. A part cannot be younger
    #[arg(long, value_name = "DATE")]
    pub(crate) seen: Option<String>,
}

/// Whether there is a header.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum Header {
    /// Looks
    Auto,
    /// There is
    Yes,
    /// There is none: then no names are written
    No,
}
