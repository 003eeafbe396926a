//! What is asked of a family before it is compiled: with what its lines can begin and end, and which of them name the part.
//!
//! It never leaves out what a line can be and takes in more than that, as it knows glyphs one by one and in pairs. So a stored rule set
//! brings the outlines of its families and compiles only those that a reading comes near to.

use borsh::{BorshDeserialize, BorshSerialize};

use super::index::bits;
use super::{Alphabet, FamilyProgram, LineProgram, Table};

/// Glyphs at the beginning, and at the end, of which the outline knows; `Glyphs::ends` has a bit more.
const KNOWN: usize = 7;

/// A family in outline.
#[derive(Debug, Clone, PartialEq, Eq, BorshSerialize, BorshDeserialize)]
pub(crate) struct Outline {
    pub(super) rows: Vec<RowOutline>,
}

#[derive(Debug, Clone, PartialEq, Eq, BorshSerialize, BorshDeserialize)]
pub(super) struct RowOutline {
    /// Whether the row can be taken the light way.
    pub(super) light: bool,
    /// Most glyphs of a line that names the part.
    pub(super) most: u32,
    pub(super) lines: Vec<LineOutline>,
}

#[derive(Debug, Clone, PartialEq, Eq, BorshSerialize, BorshDeserialize)]
pub(super) struct LineOutline {
    /// Whether the line names the part.
    pub(super) names: bool,
    /// Of a family that is to be compiled later: what the line can begin with, and what it can end with.
    glyphs: Option<Box<[Glyphs; 2]>>,
}

/// What the first glyphs of a line can be, or the last from the end on.
#[derive(Debug, Clone, Default, PartialEq, Eq, BorshSerialize, BorshDeserialize)]
struct Glyphs {
    /// By place, sets of look-alike classes.
    sets: [u128; KNOWN],
    /// By place, the classes of a glyph and of the one before it, each two under one bit of many; the first has none before it.
    pairs: [[u64; 4]; KNOWN],
    /// Bit n: behind n glyphs the line can be over, or be cut off between two places.
    ends: u8,
}

impl Outline {
    /// Of a family that is compiled: of its glyphs nobody asks.
    pub(super) fn of(family: &FamilyProgram) -> Outline {
        let of_line = |line: &LineProgram| LineOutline {
            names: line.names,
            glyphs: None,
        };
        let rows = family.rows.iter().map(|row| RowOutline {
            light: row.light,
            most: row
                .lines
                .iter()
                .filter(|line| line.names)
                .map(|line| u32::try_from(line.most).unwrap_or(u32::MAX))
                .max()
                .unwrap_or(0),
            lines: row.lines.iter().map(of_line).collect(),
        });
        Outline {
            rows: rows.collect(),
        }
    }

    /// The same with glyphs, for a family that is to be compiled later.
    pub(super) fn with_glyphs(family: &FamilyProgram, alphabet: &Alphabet) -> Outline {
        let mut outline = Outline::of(family);
        for (outline, row) in outline.rows.iter_mut().zip(&family.rows) {
            for (outline, line) in outline.lines.iter_mut().zip(&row.lines) {
                let tables = || line.places.iter().map(|place| &family.tables[place.table]);
                outline.glyphs = Some(Box::new([
                    Glyphs::of(tables(), false, alphabet),
                    Glyphs::of(tables().rev(), true, alphabet),
                ]));
            }
        }
        outline
    }
}

impl RowOutline {
    /// Whether one line of the row names the part, and no other.
    pub(super) fn names_once(&self) -> bool {
        self.lines.iter().filter(|line| line.names).count() == 1
    }
}

impl LineOutline {
    /// The classes that can follow on a path from one end of the line, and whether it can be over there; `None` where only the compiled family
    /// says so.
    pub(super) fn after(&self, path: &[u8], backward: bool) -> Option<(u128, bool)> {
        let glyphs = &self.glyphs.as_ref()?[usize::from(backward)];
        if path.len() >= KNOWN {
            return None;
        }
        let over = !path.is_empty() && glyphs.ends_behind(path.len());
        Some((glyphs.after(path), over))
    }
}

/// Classes from which on all are one in pairs: those of symbols and other glyphs.
const OTHERS: usize = 36;

/// Word and bit of a pair.
fn bit_of(before: usize, class: usize) -> (usize, u64) {
    let pair = before.min(OTHERS) * (OTHERS + 1) + class.min(OTHERS);
    (pair / 64 % 4, 1 << (pair % 64))
}

/// A set of classes with those of [`OTHERS`] as one.
fn folded(set: u128) -> u128 {
    let plain = (1 << OTHERS) - 1;
    (set & plain) | u128::from(set & !plain != 0) << OTHERS
}

impl Glyphs {
    /// Of tables in the order in which their glyphs are met.
    fn of<'t>(
        tables: impl Iterator<Item = &'t Table>,
        backward: bool,
        alphabet: &Alphabet,
    ) -> Glyphs {
        let mut glyphs = Glyphs::default();
        // By glyphs before the next table, what the last of them can be; the first has none before it.
        let mut starts: [Option<u128>; KNOWN + 1] = [None; KNOWN + 1];
        starts[0] = Some(0);
        for table in tables {
            let mut next = [None; KNOWN + 1];
            for (start, before) in (0..).zip(starts) {
                let Some(before) = before else { continue };
                let mut add = |length: usize, set: &dyn Fn(usize) -> u128| {
                    let nth = |at: usize| if backward { length - 1 - at } else { at };
                    let mut last = before;
                    for at in 0..length.min(KNOWN - start) {
                        let set = set(nth(at));
                        glyphs.add(start + at, last, set);
                        last = set;
                    }
                    let end = (start + length).min(KNOWN);
                    next[end] = Some(next[end].unwrap_or(0) | last);
                };
                for spelled in &table.spelled {
                    let ids = &spelled.ids;
                    add(ids.len(), &|at| 1 << alphabet.class(ids[at]));
                }
                for strip in &table.open {
                    add(strip.sets.len(), &|at| alphabet.classes(strip.sets[at]));
                }
            }
            starts = next;
            for (end, _) in starts
                .iter()
                .enumerate()
                .filter(|(_, start)| start.is_some())
            {
                glyphs.ends |= 1 << end;
            }
        }
        glyphs
    }

    fn add(&mut self, at: usize, before: u128, set: u128) {
        self.sets[at] |= set;
        for before in bits(folded(before)) {
            for class in bits(folded(set)) {
                let (word, bit) = bit_of(before, class);
                self.pairs[at][word] |= bit;
            }
        }
    }

    /// What can follow on a path of fewer than [`KNOWN`] classes.
    fn after(&self, path: &[u8]) -> u128 {
        let at = path.len();
        let set = self.sets[at];
        let Some(before) = path.last() else {
            return set;
        };
        bits(set)
            .filter(|class| {
                let (word, bit) = bit_of(usize::from(*before), *class);
                self.pairs[at][word] & bit != 0
            })
            .fold(0, |set, class| set | 1 << class)
    }

    /// Whether the line can be over, or be cut off, behind so many glyphs, fewer than [`KNOWN`].
    fn ends_behind(&self, glyphs: usize) -> bool {
        self.ends >> glyphs & 1 == 1
    }
}
