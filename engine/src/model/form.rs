//! Forms: how a family is spelled in one place of the package.

use super::id::{CodeId, SlotId};
use super::{Cond, Provenance};
use crate::glyph::Boundary;
use crate::source::Place;
use borsh::{BorshDeserialize, BorshSerialize};

/// Where a form is printed.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, BorshSerialize, BorshDeserialize,
)]
pub enum FormKind {
    /// The ordering code, as in documents and lists.
    Code,
    /// Any place of the package.
    Mark,
    /// Top of the package.
    Top,
    /// Bottom.
    Bottom,
    /// Side.
    Side,
    /// The die.
    Die,
    /// The lid or can.
    Lid,
    /// A label in plain text.
    Label,
    /// A two-dimensional symbol.
    Matrix,
    /// A short code.
    Short,
}

impl FormKind {
    /// All kinds with their words.
    pub const ALL: [(FormKind, &'static str); 10] = [
        (FormKind::Code, "code"),
        (FormKind::Mark, "mark"),
        (FormKind::Top, "top"),
        (FormKind::Bottom, "bottom"),
        (FormKind::Side, "side"),
        (FormKind::Die, "die"),
        (FormKind::Lid, "lid"),
        (FormKind::Label, "label"),
        (FormKind::Matrix, "matrix"),
        (FormKind::Short, "short"),
    ];

    /// The word of the kind.
    #[must_use]
    pub fn word(self) -> &'static str {
        FormKind::ALL
            .iter()
            .find(|(kind, _)| *kind == self)
            .map_or("mark", |(_, word)| word)
    }

    /// The kind of a word.
    #[must_use]
    pub fn of_word(word: &str) -> Option<FormKind> {
        FormKind::ALL
            .iter()
            .find(|(_, w)| *w == word)
            .map(|(kind, _)| *kind)
    }
}

/// One spelling of a family.
#[derive(Debug, Clone, BorshSerialize, BorshDeserialize)]
pub struct Form {
    /// Where it is printed.
    pub kind: FormKind,
    /// Slots and boundaries in print order; groups and other forms are already written out.
    pub row: Row,
    /// When it is used.
    pub guard: Option<Cond>,
    /// Relative weight among the forms of its family, positive.
    pub weight: f64,
    /// The specimen: the code above each slot of the row, where the rule shows one.
    pub specimen: Vec<(SlotId, CodeId, String)>,
    /// Where it comes from, where it differs from the family.
    pub provenance: Provenance,
    /// Where it is written.
    pub place: Place,
}

/// What is printed, in order.
#[derive(Debug, Clone, PartialEq, Default, BorshSerialize, BorshDeserialize)]
pub struct Row {
    /// The items.
    pub items: Vec<RowItem>,
}

/// The slots that items print, optional ones among them, in their order.
pub fn slots(items: &[RowItem]) -> Vec<SlotId> {
    let each = items.iter().flat_map(|item| match item {
        RowItem::Slot(slot) => vec![*slot],
        RowItem::Optional(inner) => slots(inner),
        _ => Vec::new(),
    });
    each.collect()
}

/// One item of a row.
#[derive(Debug, Clone, PartialEq, BorshSerialize, BorshDeserialize)]
pub enum RowItem {
    /// A slot is printed here.
    Slot(SlotId),
    /// A boundary is expected here; `hard` if it must be there.
    Boundary {
        /// Which.
        boundary: Boundary,
        /// Whether it must be there.
        hard: bool,
    },
    /// A new line begins.
    Break,
    /// Sometimes printed, says nothing.
    Optional(Vec<RowItem>),
}
