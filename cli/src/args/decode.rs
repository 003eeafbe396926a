//! Arguments of `decode`.

use clap::Args;

/// Says what a marking can be.
///
/// Each LINE is one printed line of a package; ` | ` parts lines within one argument. Without a LINE, readings come from standard input, one
/// package a line.
///
/// In a reading, `_` or `?` is one unread character, `..` an unread run, `{B8}` one of these characters, `{3}` this character for
/// certain, `{:e3}` a symbol, and `\` takes the next character as printed.
#[derive(Debug, Clone, Args)]
pub(crate) struct DecodeArgs {
    /// Printed lines of one package
    #[arg(value_name = "LINE")]
    pub(crate) lines: Vec<String>,
    /// Where it was read: code, top, bottom, side, die, lid, label, matrix, short, any
    #[arg(long, value_name = "FORM", default_value = "any")]
    pub(crate) form: String,
    /// Day of reading, as 2026-11-25; today unless given. A part cannot be younger
    #[arg(long, value_name = "DATE")]
    pub(crate) seen: Option<String>,
    /// When it was made, as 2018..2020
    #[arg(long, value_name = "FROM..TO")]
    pub(crate) made: Option<String>,
    /// Maker or brand seen
    #[arg(long, value_name = "NAME")]
    pub(crate) maker: Option<String>,
    /// Logo seen, in words
    #[arg(long, value_name = "TEXT")]
    pub(crate) logo: Option<String>,
    /// Function expected, as memory/dram
    #[arg(long, value_name = "F")]
    pub(crate) function: Option<String>,
    /// Package seen, as SOIC-8
    #[arg(long, value_name = "P")]
    pub(crate) package: Option<String>,
    /// Terminals counted
    #[arg(long, value_name = "N")]
    pub(crate) pins: Option<u32>,
    /// Shows at most this many candidates; the others are summed as the rest
    #[arg(long, value_name = "N", default_value_t = 5)]
    pub(crate) limit: usize,
    /// Reads each LINE as another specimen of one part: dates, lots and serials may differ, all else is shared. From standard input,
    /// an empty line ends a part
    #[arg(long, conflicts_with = "why")]
    pub(crate) specimens: bool,
    /// One line a reading
    #[arg(long)]
    pub(crate) brief: bool,
    /// Searches deeper for misreadings
    #[arg(long)]
    pub(crate) deep: bool,
    /// Ends with status 1 where something was not decoded
    #[arg(long)]
    pub(crate) strict: bool,
    /// Says how far a family got and what stopped it
    #[arg(long, value_name = "FAMILY")]
    pub(crate) why: Option<String>,
    /// Takes every character as printed: no notation of doubt
    #[arg(long)]
    pub(crate) plain: bool,
    /// Takes every character for certain
    #[arg(long)]
    pub(crate) certain: bool,
}
