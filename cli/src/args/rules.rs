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
    /// Applies the safe mends that diagnostics carry
    Mend(MendArgs),
    /// Lists the families loaded
    List(ListArgs),
    /// Draws one family as an ordering diagram
    Show(ShowArgs),
    /// Finds strings that two families both claim
    Overlaps(OverlapsArgs),
    /// Says what the rules make of many markings
    Coverage(CoverageArgs),
    /// Drafts families for markings that no rule explains
    Draft(DraftArgs),
    /// Says what decodes differently between two versions of a rule set
    Changes(ChangesArgs),
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

/// Applies the safe mends that diagnostics carry.
///
/// A mend is safe where the meaning is plain: quotes around a text, a comma between two fields, spaces for a tab. Guesses are left to you.
#[derive(Debug, Args)]
pub(crate) struct MendArgs {
    /// Rule files or folders
    #[arg(value_name = "PATH", required = true)]
    pub(crate) paths: Vec<PathBuf>,
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

/// Finds strings that two families both claim.
///
/// Every pair of families is compared exactly, with a shortest string of both, and how many of their strings they share. Boundaries
/// and line breaks count for nothing, as in decoding. An overlap that is meant is accepted by a line of the rule, `accept overlap OTHER
/// note "why"`. Ends with status 1 where one is not accepted, or where an accepted one is none.
#[derive(Debug, Args)]
pub(crate) struct OverlapsArgs {
    /// Rule files or folders, compared among themselves and with the rules loaded; without one, the rules loaded
    #[arg(value_name = "PATH")]
    pub(crate) paths: Vec<PathBuf>,
    /// Also counts codes that no list has, as far as a partial table lets them be
    #[arg(long)]
    pub(crate) unlisted: bool,
    /// Also compares the forms of one family
    #[arg(long)]
    pub(crate) forms: bool,
    /// Also shows pairs of which a string of one is a string of the other when one character is taken for a look-alike
    #[arg(long)]
    pub(crate) near: bool,
    /// Also shows accepted overlaps
    #[arg(long)]
    pub(crate) accepted: bool,
}

/// A corpus of markings.
#[derive(Debug, Args)]
pub(crate) struct CorpusArgs {
    /// A text file with one marking a line, or a .csv or .tsv table; `-` is standard input
    #[arg(long, value_name = "FILE")]
    pub(crate) corpus: PathBuf,
    /// The column of a table that holds the marking; one called marking, mark, reading, part or mpn, else the first, unless given
    #[arg(long, value_name = "NAME")]
    pub(crate) column: Option<String>,
    /// Day of reading; today unless given
    #[arg(long, value_name = "DATE")]
    pub(crate) seen: Option<String>,
    /// Threads; as many as the machine has cores unless given
    #[arg(long, value_name = "N")]
    pub(crate) jobs: Option<usize>,
}

/// Says what the rules make of many markings.
///
/// By family: the marks of which it is the likely answer (at least 80 %), the first of several, or a rival; then what no rule explains,
/// grouped by shape.
#[derive(Debug, Args)]
pub(crate) struct CoverageArgs {
    #[command(flatten)]
    pub(crate) corpus: CorpusArgs,
    /// Also shows codes and optional parts that no marking uses
    #[arg(long)]
    pub(crate) unused: bool,
    /// Shapes of undecoded markings that are shown
    #[arg(long, value_name = "N", default_value_t = 20)]
    pub(crate) groups: usize,
}

/// Drafts families for markings that no rule explains.
///
/// FILE is what `bulk --undecoded` writes, a text file with one marking a line, or a .csv or .tsv table. What is decoded already is left out. The
/// rest is grouped by how it begins; where few codes come again in a place, they are listed with how many markings have each, else the place
/// is so many letters or digits. The rules go to standard output, what they explain and what remains to standard error. What the codes mean
/// is yours to fill in: `rules check` says where. Ends with status 1 where nothing can be drafted.
#[derive(Debug, Args)]
pub(crate) struct DraftArgs {
    /// Lists of markings; `-` is standard input
    #[arg(value_name = "FILE", required = true)]
    pub(crate) files: Vec<PathBuf>,
    /// Writes the rules to this file instead of standard output, whole or not at all
    #[arg(short = 'o', value_name = "RULES.lore")]
    pub(crate) out: Option<PathBuf>,
    /// The column of a table that holds the marking; one called marking, mark, reading, part or mpn, else the first, unless given
    #[arg(long, value_name = "NAME")]
    pub(crate) column: Option<String>,
    /// Different markings that a family has at the least
    #[arg(long, value_name = "N", default_value_t = 5, value_parser = clap::value_parser!(u32).range(2..))]
    pub(crate) least: u32,
    /// Shapes of what remains that are shown
    #[arg(long, value_name = "N", default_value_t = 10)]
    pub(crate) groups: usize,
    /// Day of reading; today unless given
    #[arg(long, value_name = "DATE")]
    pub(crate) seen: Option<String>,
    /// Threads; as many as the machine has cores unless given
    #[arg(long, value_name = "N")]
    pub(crate) jobs: Option<usize>,
}

/// Says what decodes differently between two versions of a rule set.
///
/// OLD and NEW are rule files or folders, or REV:PATH of the git repository around the current folder, as HEAD~1:rules. Each marking of the
/// corpus is decoded by both, as `bulk` decodes a list; those whose family, fields or probability differ are grouped by the edits that are
/// the cause. Ends with status 1 where something differs.
#[derive(Debug, Args)]
pub(crate) struct ChangesArgs {
    /// The old version
    #[arg(value_name = "OLD")]
    pub(crate) old: String,
    /// The new version
    #[arg(value_name = "NEW")]
    pub(crate) new: String,
    #[command(flatten)]
    pub(crate) corpus: CorpusArgs,
    /// Also looks for damage beyond look-alikes, as `decode` does: many times slower
    #[arg(long)]
    pub(crate) deep: bool,
    /// A probability that moves by more is a difference
    #[arg(long, value_name = "P", default_value_t = 0.05)]
    pub(crate) threshold: f64,
    /// Markings shown of each cause
    #[arg(long, value_name = "N", default_value_t = 10)]
    pub(crate) limit: usize,
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
