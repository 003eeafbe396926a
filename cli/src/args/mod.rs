//! What was typed. The comments here are the manual.

mod board;
mod bulk;
mod confirm;
mod decode;
mod rules;

use std::path::PathBuf;

use clap::{Args, Parser, Subcommand, ValueEnum};

pub(crate) use board::{
    BoardArgs, BoardCommand, BoardCompareArgs, BoardHow, BoardNewArgs, BoardReportArgs,
    BoardShowArgs,
};
pub(crate) use bulk::{BulkArgs, Header};
pub(crate) use confirm::{ConfirmArgs, ConfusionsArgs};
pub(crate) use decode::DecodeArgs;
pub(crate) use rules::{
    AboutArgs, ChangesArgs, CheckArgs, CoverageArgs, DraftArgs, FormatArgs, ListArgs, MendArgs,
    OverlapsArgs, RulesArgs, RulesCommand, ShowArgs, WriteArgs,
};

use crate::console::ColorChoice;

/// Decodes what is printed on electronic components.
///
/// A reading is taken apart by rules, and answered with ranked candidates: what the part is, how sure that is, which characters say
/// what, and what to look at next. A decoding is a hypothesis from print, not proof of identity.
#[derive(Debug, Parser)]
#[command(
    name = "etchlore",
    version,
    propagate_version = true,
    disable_help_subcommand = true
)]
pub(crate) struct Cli {
    #[command(flatten)]
    pub(crate) global: GlobalArgs,
    #[command(subcommand)]
    pub(crate) command: Command,
}

/// Options of all commands.
#[derive(Debug, Clone, Args)]
pub(crate) struct GlobalArgs {
    /// Adds rules of the laboratory: a file or a folder; can be given again
    #[arg(long = "rules", value_name = "PATH", global = true)]
    pub(crate) rules: Vec<PathBuf>,
    /// Leaves the embedded families inactive; their tables stay usable
    #[arg(long, global = true)]
    pub(crate) no_builtin: bool,
    /// How to write results
    #[arg(long, value_name = "FORM", default_value = "text", global = true)]
    pub(crate) output: Output,
    /// When to colour text
    #[arg(long, value_name = "WHEN", default_value = "auto", global = true)]
    pub(crate) color: ColorChoice,
}

/// Forms of output.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum Output {
    /// For people
    Text,
    /// One JSON document
    Json,
    /// One JSON document a line
    Jsonl,
    /// SARIF 2.1.0, where findings about rules are the result: rules check, rules overlaps
    Sarif,
}

/// The commands.
#[derive(Debug, Subcommand)]
pub(crate) enum Command {
    /// Says what a marking can be
    Decode(DecodeArgs),
    /// Decodes a parts list and gives it back whole
    Bulk(BulkArgs),
    /// Accounts for a whole board, and compares two
    Board(BoardArgs),
    /// Keeps rule sets: check, format, list, show
    Rules(RulesArgs),
    /// Appends a confirmed case to the lab's casebook
    Confirm(ConfirmArgs),
    /// Estimates a table of misreadings
    Confusions(ConfusionsArgs),
    /// Writes completions for a shell
    Completions(CompletionsArgs),
}

/// Arguments of `completions`.
#[derive(Debug, Args)]
pub(crate) struct CompletionsArgs {
    /// The shell
    pub(crate) shell: clap_complete::Shell,
}
