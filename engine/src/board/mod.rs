//! All parts of one board together: what each is, whether they fit each other and what the seller claims, and what changed since
//! an earlier board.
//!
//! ```text
//! Board (readings, observations, claims) -> account() -> Account (inventory, findings, questions) -> compare() -> Comparison
//! ```
//!
//! Readings are taken as they stand and never altered: what follows from them stands beside them. The others' dates and makers
//! sharpen the ranking of a part in one round; its own never do.

mod account;
mod around;
mod claim;
mod compare;
mod dies;
mod findings;
mod inventory;

use jiff::civil::Date;

use crate::decode::Reading;
use crate::value::{Interval, Value};

pub use account::{Account, Also, DieAccount, PartAccount, State, account};
pub use around::Around;
pub use claim::{Amount, Claim, ClaimKind};
pub use compare::{Change, Comparison, FieldChange, Match, compare};
pub use dies::DieFit;
pub use findings::{Finding, FindingKind, Weight};
pub use inventory::{Block, Question, Sockets, blocks, function_of, questions, sockets};

/// A board, as the lab wrote it down.
#[derive(Debug, Clone)]
pub struct Board {
    /// The product it is from.
    pub product: String,
    /// Which generation of it.
    pub generation: Option<String>,
    /// The firm that sells it: it may have its numbers on parts of others.
    pub seller: Option<String>,
    /// Day of reading.
    pub seen: Date,
    /// When it was built, as far as known.
    pub built: Option<Interval>,
    /// What the seller says of it.
    pub claims: Vec<Claim>,
    /// The parts.
    pub parts: Vec<Part>,
}

/// One part, in one or more places of the board.
#[derive(Debug, Clone, Default)]
pub struct Part {
    /// Reference designators or positions; the first names it.
    pub at: Vec<String>,
    /// How many there are: at least as many as positions.
    pub quantity: u32,
    /// The module or can that it is inside of, by designator.
    pub inside: Option<String>,
    /// Package seen.
    pub package: Option<String>,
    /// Terminals counted.
    pub pins: Option<u32>,
    /// Body measured, in metres: width, length, height as far as measured.
    pub body: Vec<f64>,
    /// Logo seen, in words.
    pub logo: Option<String>,
    /// Maker's name seen.
    pub maker: Option<String>,
    /// Function seen or followed on the board.
    pub function: Option<String>,
    /// What was read on it.
    pub readings: Vec<Sighting>,
    /// What was seen otherwise.
    pub observed: Observed,
    /// What the analyst decided.
    pub decision: Option<Decision>,
}

/// One reading of one specimen by one reader.
#[derive(Debug, Clone)]
pub struct Sighting {
    /// What was read, with the form it was read in.
    pub reading: Reading,
    /// Which specimen, from 1.
    pub specimen: u32,
    /// Which die in the package, from 1; 0 for the package itself.
    pub die: u32,
    /// Who read it.
    pub reader: Option<String>,
}

/// What was seen of a part otherwise than by reading.
#[derive(Debug, Clone, Default)]
pub struct Observed {
    /// Dies counted by X-ray or under the microscope.
    pub dies: Option<u32>,
    /// A value measured, with its unit.
    pub measured: Option<Value>,
    /// There is no mark.
    pub unmarked: bool,
    /// Nobody has looked yet.
    pub not_examined: bool,
    /// Anything else: what a bus said, how it is connected.
    pub other: Vec<String>,
}

/// What the analyst decided.
#[derive(Debug, Clone)]
pub struct Decision {
    /// Ordering code, as far as decided.
    pub is: Option<String>,
    /// Family of the rules.
    pub family: Option<String>,
    /// Maker, by name.
    pub maker: Option<String>,
    /// How sure.
    pub grade: Grade,
    /// On what: print, decap, purchase, measurement.
    pub basis: Option<String>,
    /// Why.
    pub why: Option<String>,
    /// Who.
    pub who: Option<String>,
}

/// How sure a decision is: common lab usage, no source.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Grade {
    /// By evidence beside the print.
    Confirmed,
    /// By print that leaves little doubt.
    Probable,
    /// By print that leaves some.
    Tentative,
    /// Who made it, no more.
    MakerOnly,
    /// Nothing is known.
    Unknown,
}

impl Grade {
    /// All grades with their words.
    pub const ALL: [(Grade, &'static str); 5] = [
        (Grade::Confirmed, "confirmed"),
        (Grade::Probable, "probable"),
        (Grade::Tentative, "tentative"),
        (Grade::MakerOnly, "maker only"),
        (Grade::Unknown, "unknown"),
    ];

    /// The word of the grade.
    #[must_use]
    pub fn word(self) -> &'static str {
        Grade::ALL
            .iter()
            .find(|(grade, _)| *grade == self)
            .map_or("unknown", |(_, word)| word)
    }

    /// The grade of a word.
    #[must_use]
    pub fn of_word(word: &str) -> Option<Grade> {
        Grade::ALL
            .iter()
            .find(|(_, known)| *known == word)
            .map(|(grade, _)| *grade)
    }
}

impl Part {
    /// The name by which it is spoken of.
    #[must_use]
    pub fn name(&self) -> &str {
        self.at.first().map_or("?", String::as_str)
    }

    /// All its positions, for people.
    #[must_use]
    pub fn places(&self) -> String {
        self.at.join(", ")
    }
}
