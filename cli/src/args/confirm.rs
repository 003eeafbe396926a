//! Arguments of `confirm` and `confusions`.

use std::path::PathBuf;

use clap::Args;

/// Appends a confirmed case to the lab's casebook.
///
/// Say with what evidence a marking was identified. Each confirmed case raises the odds of its family somewhat, up to a limit; no
/// family ever becomes certain by it. The casebook is `casebook.tsv` beside the lab's rules, or what `casebook:` in etchlore.yaml names.
#[derive(Debug, Clone, Args)]
pub(crate) struct ConfirmArgs {
    /// The marking as read; ` | ` parts lines
    #[arg(
        value_name = "MARKING",
        required_unless_present = "board",
        conflicts_with = "board"
    )]
    pub(crate) marking: Option<String>,
    /// The family that it is
    #[arg(
        long,
        value_name = "NAME",
        required_unless_present = "board",
        conflicts_with = "board"
    )]
    pub(crate) family: Option<String>,
    /// What confirms it: decap, document, purchase, measurement
    #[arg(
        long,
        value_name = "TEXT",
        required_unless_present = "board",
        conflicts_with = "board"
    )]
    pub(crate) evidence: Option<String>,
    /// Appends the parts that a board file decides as confirmed instead
    #[arg(long, value_name = "BOARD.yaml")]
    pub(crate) board: Option<PathBuf>,
    /// Only this part of the board, by its position
    #[arg(long, value_name = "POSITION", requires = "board")]
    pub(crate) part: Option<String>,
    /// Its ordering code, as far as known
    #[arg(long, value_name = "CODE", default_value = "")]
    pub(crate) ordering_code: String,
    /// Day of the confirmation; today unless given
    #[arg(long, value_name = "DATE")]
    pub(crate) seen: Option<String>,
    /// Board or product it came from
    #[arg(long, value_name = "TEXT", default_value = "")]
    pub(crate) place: String,
    /// Who confirms it
    #[arg(long, value_name = "NAME", default_value = "")]
    pub(crate) who: String,
}

/// Estimates a table of misreadings from pairs of what was read and what was printed.
///
/// PAIRS is a tab-separated file with the columns `read` and `true`. The table goes to standard output; save it beside the lab's rules and
/// name it as `confusions:` in etchlore.yaml. Few pairs move the embedded table a little, many replace it.
#[derive(Debug, Clone, Args)]
pub(crate) struct ConfusionsArgs {
    /// File of pairs
    #[arg(value_name = "PAIRS")]
    pub(crate) pairs: PathBuf,
}
