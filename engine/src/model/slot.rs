//! Slots and their codes.

use super::form::FormKind;
use super::id::{FamilyId, FieldId};
use super::{Cond, Provenance, Window};
use crate::glyph::{Boundary, Glyph, GlyphSet};
use crate::source::Place;
use crate::value::{Base, Unit, Value};

/// A place in the mark, and the codes it can hold.
#[derive(Debug, Clone)]
pub struct Slot {
    /// Name, `density`; `group.slot` for a slot of a group; the text itself for a literal.
    pub name: String,
    /// Where it is declared.
    pub place: Place,
    /// The codes, by [`super::CodeId`]. Two codes that one string can be are told apart by disjoint guards; an open shape never means a
    /// string that a listed code (whose guard holds) means.
    pub codes: Vec<Code>,
    /// Whether each specimen has its own (lot, serial).
    pub each: bool,
    /// Whether the case of letters counts.
    pub cased: bool,
    /// Whether it is a text of a row without a name: always printed, gives no field.
    pub literal: bool,
}

/// One alternative of a slot: a code as listed, an open shape, or absence.
#[derive(Debug, Clone)]
pub struct Code {
    /// What is printed.
    pub kind: CodeKind,
    /// Fields that the code gives, already in the base unit of the field. Date parts (year, week ...) are counts.
    pub fields: Vec<(FieldId, Value)>,
    /// Fields that an open shape gives by its characters.
    pub open_fields: Vec<(FieldId, OpenRule)>,
    /// Relative weight in its slot, positive. The strings of an open shape share its weight equally.
    pub weight: f64,
    /// Whether the code stands for those that the table does not list: 2 % of the slot in all.
    pub unlisted: bool,
    /// When it was made.
    pub window: Window,
    /// When it is possible.
    pub guard: Option<Cond>,
    /// Other spellings in some forms; the first whose guard holds counts.
    pub prints: Vec<Print>,
    /// Where it comes from, where it differs from the family.
    pub provenance: Provenance,
    /// What the code stands for as a whole.
    pub stands: Option<Stands>,
    /// The code of the same slot that this one follows as a revision.
    pub succeeds: Option<super::CodeId>,
    /// Where it is written.
    pub place: Place,
}

/// What is printed for a code.
#[derive(Debug, Clone, PartialEq)]
pub enum CodeKind {
    /// Nothing is there.
    Absent,
    /// This string.
    Listed(Spelling),
    /// Any string of these strips. No string belongs to two strips of one code.
    Open(Vec<Strip>),
}

/// A string as printed: glyphs, with the boundary before each (the first is not used).
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Spelling {
    /// The glyphs, case kept.
    pub glyphs: Vec<Glyph>,
    /// The boundary before each glyph.
    pub before: Vec<Boundary>,
}

/// All strings of one length with a given set of glyphs in each place.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Strip {
    /// The places.
    pub places: Vec<StripPlace>,
}

/// One place of a [`Strip`].
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct StripPlace {
    /// Which glyphs can stand here, folded.
    pub set: GlyphSet,
    /// The case of a letter here, where it counts (`cased`).
    pub case: Case,
}

/// The case that a letter must have.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Case {
    /// Capitals, or it does not matter.
    #[default]
    Upper,
    /// Small letters.
    Lower,
}

/// How the characters of an open shape give a field.
#[derive(Debug, Clone, PartialEq)]
pub enum OpenRule {
    /// The code is the text.
    Text,
    /// The digits are a number, in this unit (absent: a plain count).
    Number(Option<Unit>),
    /// A letter stands for the decimal point and the unit: `4R7`; at the end for `512M`.
    Magnitude(Vec<(Glyph, Unit)>),
    /// The last digit is a power of ten: `104`.
    Exponent(Option<Unit>),
    /// Position in a text of glyphs, from `start`, over again after its length.
    OneOf {
        /// The glyphs in order.
        order: Vec<Glyph>,
        /// Number of the first; absent: 1, and the field is a plain position.
        start: Option<i64>,
        /// Whether the field is a text (then the glyph itself is the value).
        text: bool,
    },
    /// The table gives the field but does not know this code.
    Unknown(Option<Base>),
}

/// Another spelling of a code in some forms.
#[derive(Debug, Clone, PartialEq)]
pub struct Print {
    /// The forms.
    pub forms: Vec<FormKind>,
    /// What is printed; absent for nothing.
    pub spelling: Option<Spelling>,
    /// When.
    pub guard: Option<Cond>,
}

/// What a code stands for: a family, or a whole code of it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Stands {
    /// The family.
    pub family: FamilyId,
    /// A reading of that family's strings, where the code stands for a certain one.
    pub reading: Option<String>,
}
