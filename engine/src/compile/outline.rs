//! What is asked of a family before it is compiled: with what its lines can begin and end, and which of them name the part.
//!
//! It never leaves out what a line can be and takes in more than that, as it knows the places of glyphs one by one. So a stored
//! rule set brings the outlines of its families and compiles only those that a reading comes near to.

use borsh::{BorshDeserialize, BorshSerialize};

use super::{FamilyProgram, LineProgram, Table};

/// Glyphs at the beginning, and at the end, of which the outline knows; so many and one are the bits of [`Glyphs::ends`].
pub(super) const KNOWN: usize = 7;

/// A family in outline.
#[derive(Debug, Clone, PartialEq, Eq, BorshSerialize, BorshDeserialize)]
pub(crate) struct Outline {
    pub(super) rows: Vec<RowOutline>,
}

#[derive(Debug, Clone, PartialEq, Eq, BorshSerialize, BorshDeserialize)]
pub(super) struct RowOutline {
    /// Whether the row can be taken the light way.
    pub(super) light: bool,
    pub(super) lines: Vec<LineOutline>,
}

#[derive(Debug, Clone, PartialEq, Eq, BorshSerialize, BorshDeserialize)]
pub(super) struct LineOutline {
    /// Whether the line names the part.
    pub(super) names: bool,
    pub(super) first: Glyphs,
    pub(super) last: Glyphs,
}

/// What the first glyphs of a line can be, or the last from the end on.
#[derive(Debug, Clone, Default, PartialEq, Eq, BorshSerialize, BorshDeserialize)]
pub(super) struct Glyphs {
    /// By place, sets of ids.
    pub(super) sets: [u128; KNOWN],
    /// Bit n: behind n glyphs the line can be over, or be cut off between two places.
    pub(super) ends: u8,
}

impl Outline {
    pub(super) fn of(family: &FamilyProgram) -> Outline {
        let of_table = |table: &Table| {
            [
                Glyphs::of_table(table, false),
                Glyphs::of_table(table, true),
            ]
        };
        let tables: Vec<[Glyphs; 2]> = family.tables.iter().map(of_table).collect();
        let of_line = |line: &LineProgram| {
            let tables = || line.places.iter().map(|place| &tables[place.table]);
            LineOutline {
                names: line.names,
                first: Glyphs::joined(tables().map(|[first, _]| first)),
                last: Glyphs::joined(tables().rev().map(|[_, last]| last)),
            }
        };
        let rows = family.rows.iter().map(|row| RowOutline {
            light: row.light,
            lines: row.lines.iter().map(of_line).collect(),
        });
        Outline {
            rows: rows.collect(),
        }
    }
}

impl RowOutline {
    /// Whether one line of the row names the part, and no other.
    pub(super) fn names_once(&self) -> bool {
        self.lines.iter().filter(|line| line.names).count() == 1
    }
}

impl Glyphs {
    /// Of one table: `ends` says which lengths it has, [`KNOWN`] and more as one.
    fn of_table(table: &Table, backward: bool) -> Glyphs {
        let mut glyphs = Glyphs::default();
        let mut add = |length: usize, set: &dyn Fn(usize) -> u128| {
            for (at, known) in glyphs.sets.iter_mut().enumerate().take(length) {
                *known |= set(if backward { length - 1 - at } else { at });
            }
            glyphs.ends |= 1 << length.min(KNOWN);
        };
        for spelled in &table.spelled {
            add(spelled.ids.len(), &|at| 1 << spelled.ids[at]);
        }
        for strip in &table.open {
            add(strip.sets.len(), &|at| strip.sets[at]);
        }
        glyphs
    }

    /// Of tables one behind the other.
    fn joined<'g>(tables: impl Iterator<Item = &'g Glyphs>) -> Glyphs {
        let mut glyphs = Glyphs::default();
        // Bit n: the next table can begin behind n glyphs.
        let mut starts: u8 = 1;
        for table in tables {
            let mut next = 0;
            for start in (0..=KNOWN).filter(|start| starts >> start & 1 == 1) {
                for (known, set) in glyphs.sets.iter_mut().skip(start).zip(&table.sets) {
                    *known |= set;
                }
                for length in (0..=KNOWN).filter(|length| table.ends >> length & 1 == 1) {
                    next |= 1 << (start + length).min(KNOWN);
                }
            }
            starts = next;
            glyphs.ends |= starts;
        }
        glyphs
    }
}
