//! The checked rule set as data.
//!
//! An unresolved name cannot exist here: slots, families, makers and fields are ids, and every condition has been resolved to
//! the codes for which it holds. Each item keeps its place in the text for messages, and its provenance; nothing else of syntax
//! is left.
//!
//! Three ideas carry the model. A *slot* is a place in the mark and holds a code; a *field* is what a code means, and one code may
//! give several. A *form* is a spelling: it lists slots in print order. A *guard* restricts a code, a print or a form to
//! some codes of other slots.

mod families;
mod form;
mod id;
mod slot;

use std::io::{Error, ErrorKind, Read, Write};

use borsh::{BorshDeserialize, BorshSerialize};
use jiff::civil::Date;

pub use families::Families;
pub use form::{Form, FormKind, Row, RowItem, slots};
pub use id::{CodeId, FamilyId, FieldId, MakerId, SlotId};
pub use slot::{
    Case, Code, CodeKind, OpenRule, Print, Slot, Spelling, Stands, Strip, StripPlace, string_shares,
};

use crate::source::Place;
use crate::value::{Base, Calendar, Comparison, Interval, Value, read_some_day, write_some_day};

/// All rules loaded, checked.
#[derive(Debug, Clone, Default)]
pub struct RuleSet {
    /// Makers by [`MakerId`].
    pub makers: Vec<Maker>,
    /// Families by [`FamilyId`].
    pub families: Families,
    /// Fields by [`FieldId`], one name for one thing over all families.
    pub fields: Vec<Field>,
}

/// A field by name.
#[derive(Debug, Clone, PartialEq, Eq, BorshSerialize, BorshDeserialize)]
pub struct Field {
    /// Name, `density`.
    pub name: String,
    /// Base unit of its quantities; absent for text and dates.
    pub base: Option<Base>,
}

/// A maker, as declared.
#[derive(Debug, Clone, BorshSerialize, BorshDeserialize)]
pub struct Maker {
    /// Name in rules, `halvorsen`.
    pub name: String,
    /// Name for people, `Halvorsen Memory AS`.
    pub title: String,
    /// Country code.
    pub country: Option<String>,
    /// Brands, logos, former and later names, sites, in the order given.
    pub marks: Vec<MakerMark>,
    /// Where it is declared.
    pub place: Place,
    /// Where it comes from.
    pub provenance: Provenance,
}

/// Something by which a maker is known.
#[derive(Debug, Clone, BorshSerialize, BorshDeserialize)]
pub struct MakerMark {
    /// Of which kind.
    pub kind: MakerMarkKind,
    /// Its text.
    pub text: String,
    /// When it held.
    pub window: Window,
}

/// The kinds of [`MakerMark`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, BorshSerialize, BorshDeserialize)]
pub enum MakerMarkKind {
    /// A brand on packages.
    Brand,
    /// A drawn logo, described.
    Logo,
    /// An earlier name.
    Was,
    /// A later name.
    Became,
    /// A plant.
    Site,
}

/// How well a statement is known.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, Default, PartialOrd, Ord, BorshSerialize, BorshDeserialize,
)]
pub enum Standing {
    /// Written down by the maker or a standard.
    #[default]
    Documented,
    /// Seen on parts.
    Observed,
    /// Inferred.
    Supposed,
}

/// Where a statement comes from.
#[derive(Debug, Clone, PartialEq, Eq, Default, BorshSerialize, BorshDeserialize)]
pub struct Provenance {
    /// Document, section or observation.
    pub source: Option<String>,
    /// How well it is known; absent where the item says nothing and its parent speaks.
    pub standing: Option<Standing>,
    /// When somebody last held it against its source.
    #[borsh(serialize_with = "write_some_day", deserialize_with = "read_some_day")]
    pub reviewed: Option<Date>,
    /// Free remark.
    pub note: Option<String>,
}

/// When something was made or held.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, BorshSerialize, BorshDeserialize)]
pub struct Window {
    /// First day, if stated.
    #[borsh(serialize_with = "write_some_day", deserialize_with = "read_some_day")]
    pub since: Option<Date>,
    /// Last day, if stated.
    #[borsh(serialize_with = "write_some_day", deserialize_with = "read_some_day")]
    pub until: Option<Date>,
}

/// A family: parts that are marked by one scheme.
#[derive(Debug, Clone, BorshSerialize, BorshDeserialize)]
pub struct Family {
    /// Name in rules, `winbond_w25q`.
    pub name: String,
    /// Name for people.
    pub title: String,
    /// Place of the name in the text.
    pub place: Place,
    /// Maker, where one maker marks so.
    pub maker: Option<MakerId>,
    /// Function of the vocabulary, `memory/dram`; `marking` makes the family a remark.
    pub function: Option<String>,
    /// Where it comes from.
    pub provenance: Provenance,
    /// When such parts were made.
    pub window: Window,
    /// Factor on the prior: `common` is 10, `rare` 1/10.
    pub weight: f64,
    /// Whether the family comes from the embedded packs.
    pub builtin: bool,
    /// Slots by [`SlotId`]; literal texts of rows are slots of their own.
    pub slots: Vec<Slot>,
    /// The spellings.
    pub forms: Vec<Form>,
    /// The slots that together are the field `base`, with the boundaries between them; never read.
    pub base: Option<Row>,
    /// Fields worked out from others.
    pub derived: Vec<Derived>,
    /// Fields looked up by several slots.
    pub matrices: Vec<Matrix>,
    /// Dates put together from slots.
    pub dates: Vec<DateRule>,
    /// What is not, or seldom, made.
    pub nevers: Vec<Never>,
    /// Check digits.
    pub checks: Vec<Checksum>,
    /// Dies or parts inside.
    pub contains: Vec<Contents>,
    /// The family or part that this is a second source of.
    pub second_source: Option<(FamilyId, Place)>,
    /// Strings that must decode.
    pub examples: Vec<Example>,
    /// Strings that must not.
    pub refusals: Vec<Refusal>,
    /// Silenced lints and accepted overlaps.
    pub accepts: Vec<Accept>,
}

impl Family {
    /// Whether the family says something about any part (a date, a finish) instead of naming one.
    #[must_use]
    pub fn is_marking(&self) -> bool {
        self.function.as_deref() == Some("marking")
    }
}

/// A condition, resolved: all terms must hold. The empty condition always holds.
#[derive(Debug, Clone, PartialEq, Default, BorshSerialize, BorshDeserialize)]
pub struct Cond {
    /// The terms, joined by `and`.
    pub terms: Vec<Term>,
    /// The condition as written, for messages and diagrams.
    pub text: String,
}

/// One term: some slot among `any` has one of the codes listed for it (or, negated, none has).
#[derive(Debug, Clone, PartialEq, BorshSerialize, BorshDeserialize)]
pub struct Term {
    /// Whether the term is negated.
    pub negated: bool,
    /// Slots with the codes of theirs for which the test holds, sorted. A condition on a field's value lists every slot that gives
    /// the field. A slot not printed and not entailed leaves the term open.
    pub any: Vec<(SlotId, Vec<CodeId>)>,
}

/// A field worked out from other fields.
#[derive(Debug, Clone, BorshSerialize, BorshDeserialize)]
pub struct Derived {
    /// The field it gives.
    pub field: FieldId,
    /// How.
    pub expr: Expr,
    /// When it holds.
    pub guard: Option<Cond>,
    /// Where it is written.
    pub place: Place,
}

/// An expression over fields; dimensions have been checked.
#[derive(Debug, Clone, PartialEq, BorshSerialize, BorshDeserialize)]
pub enum Expr {
    /// A constant.
    Const(Value),
    /// The value of a field.
    Field(FieldId),
    /// `a + b`
    Add(Box<Expr>, Box<Expr>),
    /// `a - b`
    Sub(Box<Expr>, Box<Expr>),
    /// `a * b`
    Mul(Box<Expr>, Box<Expr>),
    /// `a / b`
    Div(Box<Expr>, Box<Expr>),
    /// `a ^ n`
    Power(Box<Expr>, i32),
}

/// A field looked up by several slots.
#[derive(Debug, Clone, BorshSerialize, BorshDeserialize)]
pub struct Matrix {
    /// The field it gives.
    pub field: FieldId,
    /// The slots it is looked up by.
    pub slots: Vec<SlotId>,
    /// One cell a combination of codes, sorted by key; a combination that is not here has no value.
    pub cells: Vec<(Vec<CodeId>, Value)>,
    /// Where it is written.
    pub place: Place,
}

/// A date put together from the parts that slots give.
#[derive(Debug, Clone, BorshSerialize, BorshDeserialize)]
pub struct DateRule {
    /// The field it gives: `date` for the package, `<of>_date` for others beside it.
    pub field: FieldId,
    /// The slots that give its parts.
    pub slots: Vec<SlotId>,
    /// Of what: `assembly`, `seal`, `test`, `wafer`, `mask`.
    pub of: Option<String>,
    /// Which weeks are counted.
    pub calendar: Calendar,
    /// Days the true date may lie before and after the interval coded.
    pub slack: Slack,
    /// Where it is written.
    pub place: Place,
}

/// By how much the true date may differ from the coded one: added to the interval's ends.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, BorshSerialize, BorshDeserialize)]
pub struct Slack {
    /// Added to the first day, in `unit` (mostly zero or negative).
    pub before: i32,
    /// Added to the last day, in `unit`.
    pub after: i32,
    /// Unit of both.
    pub unit: SlackUnit,
}

/// Units of [`Slack`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, BorshSerialize, BorshDeserialize)]
pub enum SlackUnit {
    /// Days.
    #[default]
    Day,
    /// Weeks.
    Week,
    /// Months.
    Month,
}

/// A combination that is not made, or seldom.
#[derive(Debug, Clone, BorshSerialize, BorshDeserialize)]
pub struct Never {
    /// The combination.
    pub cond: Cond,
    /// Factor on its probability: absent for `never`, the weight for `seldom`.
    pub seldom: Option<f64>,
    /// Why, and from where.
    pub provenance: Provenance,
    /// Where it is written.
    pub place: Place,
}

/// A check digit: the weighted sum of character values leaves `is` modulo `modulus`.
#[derive(Debug, Clone, BorshSerialize, BorshDeserialize)]
pub struct Checksum {
    /// The slots whose characters are summed, in order.
    pub slots: Vec<SlotId>,
    /// Modulus, at least 2.
    pub modulus: u32,
    /// Remainder expected.
    pub is: u32,
    /// Weights from the right, repeated.
    pub weights: Vec<u32>,
    /// Value of each character; 0-9 A-Z are 0 to 35 where the list is empty.
    #[borsh(serialize_with = "write_values", deserialize_with = "read_values")]
    pub values: Vec<(char, u32)>,
    /// Where it is written.
    pub place: Place,
}

fn write_values<W: Write>(values: &[(char, u32)], writer: &mut W) -> std::io::Result<()> {
    let numbers = values.iter().map(|(c, value)| (u32::from(*c), *value));
    numbers.collect::<Vec<_>>().serialize(writer)
}

fn read_values<R: Read>(reader: &mut R) -> std::io::Result<Vec<(char, u32)>> {
    let numbers = Vec::<(u32, u32)>::deserialize_reader(reader)?.into_iter();
    numbers
        .map(|(c, value)| Some((char::from_u32(c)?, value)))
        .collect::<Option<_>>()
        .ok_or_else(|| Error::new(ErrorKind::InvalidData, "no such character"))
}

/// A die or part inside.
#[derive(Debug, Clone, BorshSerialize, BorshDeserialize)]
pub struct Contents {
    /// How many.
    pub count: u32,
    /// Of which family.
    pub family: FamilyId,
    /// Which codes of it, as a reading.
    pub reading: Option<String>,
    /// When it holds.
    pub guard: Option<Cond>,
    /// Where it is written.
    pub place: Place,
}

/// A string that must decode to the family, with fields it must give.
#[derive(Debug, Clone, BorshSerialize, BorshDeserialize)]
pub struct Example {
    /// The form it is read as; absent for any.
    pub form: Option<FormKind>,
    /// The reading, in the notation of readings.
    pub reading: String,
    /// Fields expected.
    pub fields: Vec<(FieldId, Value)>,
    /// Day of reading, where a date depends on it.
    pub seen: Option<Interval>,
    /// Where it is written.
    pub place: Place,
}

/// A string that the family must not claim.
#[derive(Debug, Clone, BorshSerialize, BorshDeserialize)]
pub struct Refusal {
    /// The form it is read as; absent for any.
    pub form: Option<FormKind>,
    /// The reading.
    pub reading: String,
    /// Where it is written.
    pub place: Place,
}

/// A lint silenced, or an overlap accepted, with the reason.
#[derive(Debug, Clone, PartialEq, Eq, BorshSerialize, BorshDeserialize)]
pub struct Accept {
    /// The lint.
    pub lint: String,
    /// What it is about: another family, a slot.
    pub about: Vec<String>,
    /// Why.
    pub note: Option<String>,
    /// Where it is written.
    pub place: Place,
}

/// An operator with its value, kept for messages.
pub type Compared = (Comparison, Value);

/// Whether a check digit holds for the glyphs of its slots, in order. Glyphs without a value fail it.
#[must_use]
pub fn check_holds(check: &Checksum, glyphs: &[crate::glyph::Glyph]) -> bool {
    let value = |glyph: &crate::glyph::Glyph| -> Option<u32> {
        let crate::glyph::Glyph::Char(c) = glyph else {
            return None;
        };
        let c = c.to_ascii_uppercase();
        match check.values.iter().find(|(of, _)| *of == c) {
            Some((_, value)) => Some(*value),
            None if check.values.is_empty() => c.to_digit(36),
            None => None,
        }
    };
    let mut sum = 0_u64;
    for (at, glyph) in glyphs.iter().rev().enumerate() {
        let Some(value) = value(glyph) else {
            return false;
        };
        let weight = check
            .weights
            .get(at % check.weights.len().max(1))
            .copied()
            .unwrap_or(1);
        sum += u64::from(value) * u64::from(weight);
    }
    sum % u64::from(check.modulus.max(1)) == u64::from(check.is)
}
