//! Arguments of `rules`.

use std::path::PathBuf;

use clap::{Args, Subcommand};

/// Arguments of `rules`.
#[derive(Debug, Args)]
pub(crate) struct RulesArgs {
    #[command(subcommand)]
    pub(crate) command: RulesCommand,
}

/// The commands of `rules`.
#[derive(Debug, Subcommand)]
pub(crate) enum RulesCommand {
    /// Checks rule files: names, types, units, and all their examples and refusals
    Check(CheckArgs),
    /// Sets rule files in their canonical layout
    Format(FormatArgs),
    /// Lists the families loaded
    List(ListArgs),
    /// Draws one family as an ordering diagram
    Show(ShowArgs),
    /// Writes the marking of a family for given codes
    Write(WriteArgs),
    /// Says what a diagnostic means
    About(AboutArgs),
}

/// Arguments of `rules check`.
#[derive(Debug, Args)]
pub(crate) struct CheckArgs {
    /// Rule files or folders; without one, the rules loaded, the embedded ones included
    #[arg(value_name = "PATH")]
    pub(crate) paths: Vec<PathBuf>,
}

/// Sets rule files in their canonical layout.
///
/// No word moves to another line, and the meaning stays: columns are aligned, runs of blank lines become one, comments stay where they are.
/// A line that does not parse is left as it is. With `-`, standard input goes to standard output.
#[derive(Debug, Args)]
pub(crate) struct FormatArgs {
    /// Rule files or folders
    #[arg(value_name = "PATH", required = true)]
    pub(crate) paths: Vec<PathBuf>,
    /// Writes nothing; ends with status 1 where a file would change
    #[arg(long)]
    pub(crate) check: bool,
    /// Writes nothing; shows what would change, with status 1 where something would
    #[arg(long)]
    pub(crate) diff: bool,
}

/// Arguments of `rules list`.
#[derive(Debug, Args)]
pub(crate) struct ListArgs {
    /// Only families of makers whose name contains this
    #[arg(long, value_name = "M")]
    pub(crate) maker: Option<String>,
    /// Only families of this function or what stands beneath it, as memory
    #[arg(long, value_name = "F")]
    pub(crate) function: Option<String>,
}

/// Arguments of `rules show`.
#[derive(Debug, Args)]
pub(crate) struct ShowArgs {
    /// The family
    #[arg(value_name = "FAMILY")]
    pub(crate) family: String,
}

/// Writes the marking of a family for given codes, random members, or all of them.
///
/// What is not given must follow: a slot of one code has it, and one that may be absent is. The answer is in the notation of readings, so it can
/// be given to `decode`.
#[derive(Debug, Args)]
pub(crate) struct WriteArgs {
    /// The family
    #[arg(value_name = "FAMILY")]
    pub(crate) family: String,
    /// Codes by slot, as size=64; `none` for absence
    #[arg(value_name = "SLOT=CODE")]
    pub(crate) codes: Vec<String>,
    /// The form to write: code, top, bottom ...; the family's first unless given
    #[arg(long, value_name = "FORM")]
    pub(crate) form: Option<String>,
    /// Writes this many random members instead
    #[arg(long, value_name = "N", conflicts_with = "codes")]
    pub(crate) sample: Option<usize>,
    /// Where the random numbers begin; the same seed gives the same members
    #[arg(long, value_name = "S", default_value_t = 1, requires = "sample")]
    pub(crate) seed: u64,
    /// Writes all members of a small family instead
    #[arg(long, conflicts_with_all = ["codes", "sample"])]
    pub(crate) all: bool,
    /// The most that --all writes
    #[arg(long, value_name = "N", default_value_t = 10_000, requires = "all")]
    pub(crate) limit: usize,
}

/// Arguments of `rules about`.
#[derive(Debug, Args)]
pub(crate) struct AboutArgs {
    /// The code of the diagnostic, as unknown-name; without one, all codes
    #[arg(value_name = "CODE")]
    pub(crate) code: Option<String>,
}
