//! The answer: ranked candidates with fields, and all that a reader needs to judge them.

use jiff::civil::Date;

use crate::model::{FamilyId, FieldId, FormKind, MakerId, SlotId, Standing};
use crate::value::{Interval, Value};

/// The ranked answer to one reading. The probabilities of `candidates`, `none` and `rest` sum to 1.
#[derive(Debug, Clone, Default)]
pub struct Ranking {
    /// Identities, likeliest first.
    pub candidates: Vec<Candidate>,
    /// Probability that no rule loaded knows this.
    pub none: f64,
    /// Probability of the candidates too unlikely to be listed.
    pub rest: f64,
    /// Those candidates with their probabilities, likeliest first.
    pub others: Vec<(FamilyId, f64)>,
    /// What lines or ends of lines say beside any identity: dates, lots, finishes.
    pub remarks: Vec<Remark>,
    /// Text that the first candidate and the remarks leave over.
    pub unexplained: Vec<Piece>,
    /// What to look at next, cheapest first.
    pub next_look: Vec<NextLook>,
    /// How much is open, in bits: entropy over answers, each a family with its codes, or none.
    pub doubt: f64,
    /// log2 of the probability of the text if no rule knows it: with `none` it tells how likely the reading was at all.
    pub text_bits: f64,
    /// Whether some search stopped at a limit, with which; then probabilities are of what was found.
    pub stopped: Option<String>,
}

/// How deep a part is known.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Depth {
    /// Only who made it.
    Maker,
    /// The series.
    Series,
    /// The part without package, grade and packing.
    BasePart,
    /// The whole ordering code.
    OrderingCode,
}

impl Depth {
    /// The words of the interface.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Depth::Maker => "maker",
            Depth::Series => "series",
            Depth::BasePart => "base part",
            Depth::OrderingCode => "ordering code",
        }
    }
}

/// One identity.
#[derive(Debug, Clone)]
pub struct Candidate {
    /// The family.
    pub family: FamilyId,
    /// Its probability, summed over all explanations.
    pub probability: f64,
    /// log2 of its odds against `none`. `prior_bits`, `context_bits`, the evidence and nothing else add up to it.
    pub bits: f64,
    /// log2 of the prior odds.
    pub prior_bits: f64,
    /// What several explanations of the same identity and mixtures add to the likeliest one, in bits.
    pub context_bits: f64,
    /// How deep it is known.
    pub known_to: Depth,
    /// The forms it was read in.
    pub forms: Vec<FormKind>,
    /// The ordering code as far as known; `_` marks a character that the reading leaves open, `..` an open rest.
    pub written: Option<String>,
    /// What the family's slots say, in print order of the ordering code; those open or not printed included if entailed.
    pub fields: Vec<FieldAnswer>,
    /// Slots of the ordering code that the reading leaves open, by name.
    pub open: Vec<String>,
    /// The slots as printed, in print order: for the drawing under the mark.
    pub slots: Vec<SlotSpan>,
    /// Characters taken for others.
    pub corrections: Vec<Correction>,
    /// What speaks against it although it is explained.
    pub disagreements: Vec<Disagreement>,
    /// Evidence by slot.
    pub evidence: Vec<Evidence>,
    /// What it has to do with other parts.
    pub relations: Relations,
}

/// What a part has to do with others: whose number it carries, what is inside, what it follows.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Relations {
    /// The part that a code of the mark stands for: a house number, a short code, a die mask.
    pub stands_for: Option<StandsFor>,
    /// Dies and parts inside, as far as the codes read say so.
    pub contains: Vec<Content>,
    /// Codes that are revisions of earlier ones.
    pub succeeds: Vec<Succession>,
    /// The family that it is a second source of.
    pub second_source: Option<FamilyId>,
}

/// A part that a code stands for.
#[derive(Debug, Clone, PartialEq)]
pub struct StandsFor {
    /// Slot of the code.
    pub slot: String,
    /// The code as read.
    pub code: String,
    /// The family it stands for.
    pub family: FamilyId,
    /// The reading of that family's strings that the rule gives; absent for any part of the family.
    pub reading: Option<String>,
    /// Its ordering code as far as known.
    pub written: Option<String>,
    /// How well that is known.
    pub standing: Standing,
    /// Where the rule has it from.
    pub source: Option<String>,
    /// What the rule remarks.
    pub note: Option<String>,
}

/// Something inside a part.
#[derive(Debug, Clone, PartialEq)]
pub struct Content {
    /// How many of them.
    pub count: u32,
    /// Of which family.
    pub family: FamilyId,
    /// Which of that family, where the rule says so.
    pub reading: Option<String>,
    /// Share of the explanations of the candidate for which the rule says so, where it is not nearly all.
    pub probability: Option<f64>,
}

/// A revision with those before it.
#[derive(Debug, Clone, PartialEq)]
pub struct Succession {
    /// Slot of the revision.
    pub slot: String,
    /// The code read.
    pub code: String,
    /// The codes before it, the latest first.
    pub before: Vec<String>,
}

/// A stretch of a line.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Piece {
    /// Line of the reading, from 0.
    pub line: usize,
    /// Span in the line as typed, in Unicode scalar values, end excluded.
    pub span: (u32, u32),
    /// The text.
    pub text: String,
}

/// A slot where it stands in the reading.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SlotSpan {
    /// The slot.
    pub slot: SlotId,
    /// Its name.
    pub name: String,
    /// Line of the reading, from 0.
    pub line: usize,
    /// Span in the line as typed, in Unicode scalar values; empty where nothing is printed for the code.
    pub span: (u32, u32),
    /// The code, as the rule writes it.
    pub code: String,
}

/// The answer for one field.
#[derive(Debug, Clone)]
pub struct FieldAnswer {
    /// The field.
    pub field: FieldId,
    /// Its name.
    pub name: String,
    /// Slot that gives it; absent for a derived field.
    pub slot: Option<String>,
    /// The code of that slot.
    pub code: Option<String>,
    /// The value; absent where the table does not know the code.
    pub value: Option<Value>,
    /// For people: `1 Gbit`, `0 to 70 degC`, `2008-W14`.
    pub text: String,
    /// Line and span where the slot is printed.
    pub at: Option<(usize, (u32, u32))>,
    /// Worked out from other fields.
    pub derived: bool,
    /// The place is known, the code is not listed.
    pub unknown: bool,
    /// Probability of this value among the explanations of the candidate, where they differ or the rule may be wrong.
    pub probability: Option<f64>,
    /// Other values, where the explanations differ.
    pub alternatives: Vec<Alternative>,
    /// How the rule's statement is founded, where that is less than documented; then `probability` has it too.
    pub standing: Option<Standing>,
}

impl FieldAnswer {
    /// Nothing said of a field yet.
    #[inline]
    pub(super) fn unnamed(field: FieldId) -> FieldAnswer {
        FieldAnswer {
            field,
            name: String::new(),
            slot: None,
            code: None,
            value: None,
            text: String::new(),
            at: None,
            derived: false,
            unknown: false,
            probability: None,
            alternatives: Vec::new(),
            standing: None,
        }
    }
}

/// Another value of a field.
#[derive(Debug, Clone)]
pub struct Alternative {
    /// Code that gives it.
    pub code: Option<String>,
    /// The value; absent where the field is absent or not known then.
    pub value: Option<Value>,
    /// For people; empty where the field is absent.
    pub text: String,
    /// Whether the explanation has no such field.
    pub absent: bool,
    /// Probability among the explanations of the candidate.
    pub probability: f64,
}

/// A character taken for another.
#[derive(Debug, Clone, PartialEq)]
pub struct Correction {
    /// Line of the reading, from 0.
    pub line: usize,
    /// Where it stands in the line as typed.
    pub at: u32,
    /// As read.
    pub read: String,
    /// As taken.
    pub taken: String,
    /// In which slot.
    pub slot: String,
    /// What that costs, negative.
    pub bits: f64,
}

/// The kinds of [`Disagreement`].
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Clash {
    /// A character that is certain stands where the rule wants another.
    Certain,
    /// The rule says that this is not made.
    NotMade,
    /// A date after the day of reading.
    AfterReading,
    /// A date outside the years in which the family was made.
    OutsideYears,
    /// A slot that stands twice, with two codes.
    Twice,
    /// A check digit that fails.
    CheckDigit,
    /// One of several specimens that is not explained.
    Specimen,
}

/// Something that speaks against an explanation.
#[derive(Debug, Clone, PartialEq)]
pub struct Disagreement {
    /// Of which kind.
    pub kind: Clash,
    /// What.
    pub text: String,
    /// Where the rule has it from.
    pub source: Option<String>,
    /// What it costs, negative.
    pub bits: f64,
    /// The smallest misreading that would remove it.
    pub mended_by: Option<String>,
    /// The slots it is about.
    pub slots: Vec<String>,
}

/// What one slot says for the identity.
#[derive(Debug, Clone, PartialEq)]
pub struct Evidence {
    /// The slot.
    pub slot: String,
    /// log2 of how much likelier its characters are under the identity than under none.
    pub bits: f64,
}

/// What a line or its end says beside any identity.
#[derive(Debug, Clone)]
pub struct Remark {
    /// The family, of function `marking`.
    pub family: FamilyId,
    /// Its fields.
    pub fields: Vec<FieldAnswer>,
    /// Where.
    pub piece: Piece,
    /// Probability among the ways to take this stretch.
    pub probability: f64,
}

/// What an observation costs.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Cost {
    /// A look through the microscope.
    Look,
    /// Work on the board: X-ray, turning the part, measuring.
    Work,
    /// The part is lost.
    Destructive,
}

impl Cost {
    /// The word of the interface.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Cost::Look => "look",
            Cost::Work => "work",
            Cost::Destructive => "destructive",
        }
    }
}

/// An observation that would settle a doubt.
#[derive(Debug, Clone)]
pub struct NextLook {
    /// What to observe, in a few words.
    pub observe: String,
    /// The families that it tells apart.
    pub separates: Vec<FamilyId>,
    /// Expected gain in bits.
    pub bits: f64,
    /// What it costs.
    pub cost: Cost,
    /// A sentence for people.
    pub text: String,
    /// The character to look at again: line from 0, and place in the line as typed.
    pub at: Option<(usize, u32)>,
}

/// What is known beside the reading.
#[derive(Debug, Clone)]
pub struct Context {
    /// Day of reading: a part cannot be younger.
    pub seen: Date,
    /// Whether it is an entry of a list of parts, which names one: a date or a trace code is none.
    pub entry: bool,
    /// When it was made, if that is known.
    pub made: Option<Interval>,
    /// Maker or brand, known by name.
    pub maker: Option<String>,
    /// Logo or letters of one seen on the package, in words.
    pub logo: Option<String>,
    /// Function expected.
    pub function: Option<String>,
    /// Package seen.
    pub package: Option<String>,
    /// Terminals counted.
    pub pins: Option<u32>,
    /// Makers of other parts nearby, each with what that adds to the odds of a family of theirs, in bits.
    pub around: Vec<(MakerId, f64)>,
}

impl Context {
    /// Nothing is known but the day of reading.
    #[must_use]
    pub fn on(seen: Date) -> Context {
        Context {
            seen,
            entry: false,
            made: None,
            maker: None,
            logo: None,
            function: None,
            package: None,
            pins: None,
            around: Vec::new(),
        }
    }

    /// The same for entries of a list of parts.
    #[must_use]
    pub fn of_entries(seen: Date) -> Context {
        Context {
            entry: true,
            ..Context::on(seen)
        }
    }
}
