//! Which lines a reading can be, by its first glyphs: a tree over their look-alike classes. Another one over their last glyphs, from the end
//! on, says which lines can end as a reading does; only the search for damage asks it.
//!
//! A node holds the lines that can begin with the classes on the way to it. It grows only where readings come by and only while it holds more than a
//! few, so that a run of one reading pays for little of it and many families that begin alike are told apart further on.

use std::cell::RefCell;
use std::sync::OnceLock;
use std::sync::atomic::{AtomicUsize, Ordering};

use rustc_hash::FxHashMap;

use super::alphabet::Alphabet;
use super::table::{Table, key};
use super::{FamilyProgram, Outline, Program};
use crate::model::RuleSet;

/// A line of a row of a family.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct LineRef {
    pub(crate) family: u32,
    pub(crate) row: u32,
    pub(crate) line: u32,
}

/// Lines that a node may hold without growing.
const FEW: usize = 4;
/// The same by the last glyphs: who asks for them tries each line that is left at little cost.
const FEW_BACKWARD: usize = 24;
/// Glyphs beyond which no node grows.
const DEEP: usize = 12;
/// Lines that all grown nodes together may hold, for each line of the program.
const ROOM: usize = 400;

/// What a place of the reading can be.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Step {
    /// A glyph of this class.
    Class(u8),
    /// One glyph, not read for sure.
    One,
    /// Any number of glyphs.
    Run,
}

/// The lines of a program by how they begin.
#[derive(Debug, Default)]
pub(crate) struct Index {
    /// Whether lines are told by their last glyphs.
    backward: bool,
    root: Node,
    /// Lines held by nodes that have grown.
    held: AtomicUsize,
}

impl Clone for Index {
    fn clone(&self) -> Index {
        // What has grown grows again where it is asked for.
        Index {
            backward: self.backward,
            root: Node {
                lines: self.root.lines.clone(),
                grown: OnceLock::new(),
            },
            held: AtomicUsize::new(0),
        }
    }
}

// Small, and all of one node side by side: an answer goes through some dozen nodes, of which hardly one is at hand.
#[derive(Debug, Default)]
struct Node {
    lines: Box<[LineRef]>,
    grown: OnceLock<Box<Grown>>,
}

#[derive(Debug, Default)]
struct Grown {
    /// Classes of the next glyph.
    classes: u128,
    /// By class, lowest first.
    next: Box<[Node]>,
    /// Lines that can end here, or be cut off here between two places.
    ends: Box<[LineRef]>,
}

impl Grown {
    fn of(&self, class: u8) -> Option<&Node> {
        let bit = 1_u128 << (class & 127);
        let at = (self.classes & (bit - 1)).count_ones() as usize;
        (self.classes & bit != 0).then(|| &self.next[at])
    }
}

impl Index {
    /// The index by the first glyphs, or by the last.
    pub(super) fn of(outlines: &[Outline], backward: bool) -> Index {
        let mut lines = Vec::new();
        for (f, family) in (0_u32..).zip(outlines) {
            for (r, row) in (0_u32..).zip(&family.rows) {
                for (l, line) in (0_u32..).zip(&row.lines) {
                    // A line that names nothing (a date, a lot) is tried only beside one that does.
                    if line.names {
                        lines.push(LineRef {
                            family: f,
                            row: r,
                            line: l,
                        });
                    }
                }
            }
        }
        Index {
            backward,
            root: Node {
                lines: lines.into(),
                grown: OnceLock::new(),
            },
            held: AtomicUsize::new(0),
        }
    }

    /// Adds the lines that can begin (or end) as a reading does: `step` gives what each of its places can be, `None` behind its end; `stop` whether a
    /// line can end before a place; no more than `deep` places are looked at.
    pub(crate) fn lines(
        &self,
        deep: usize,
        (rules, program): (&RuleSet, &Program),
        step: &dyn Fn(usize) -> Option<Step>,
        stop: &dyn Fn(usize) -> bool,
        found: &mut Vec<LineRef>,
    ) {
        let mut walk = Walk {
            index: self,
            rules,
            program,
            step,
            stop,
            path: Vec::new(),
            deep: deep.min(DEEP),
            classes: RefCell::default(),
            found,
        };
        walk.node(&self.root);
    }
}

struct Walk<'a> {
    index: &'a Index,
    rules: &'a RuleSet,
    program: &'a Program,
    step: &'a dyn Fn(usize) -> Option<Step>,
    stop: &'a dyn Fn(usize) -> bool,
    /// Classes on the way to the node.
    path: Vec<u8>,
    deep: usize,
    /// Classes of sets of ids: many places take the same few sets.
    classes: RefCell<FxHashMap<u128, u128>>,
    found: &'a mut Vec<LineRef>,
}

impl Walk<'_> {
    fn all(&mut self, lines: &[LineRef]) {
        self.found.extend_from_slice(lines);
    }

    fn node(&mut self, node: &Node) {
        let depth = self.path.len();
        let most = if self.index.backward {
            FEW_BACKWARD
        } else {
            FEW
        };
        let few = node.lines.len() <= most || depth >= self.deep;
        if few || depth > 0 && self.full() && node.grown.get().is_none() {
            return self.all(&node.lines);
        }
        let step = (self.step)(depth);
        if step == Some(Step::Run) {
            return self.all(&node.lines);
        }
        let grown = node.grown.get_or_init(|| Box::new(self.grow(node)));
        if depth > 0 && (self.stop)(depth) {
            self.all(&grown.ends);
        }
        match step {
            None | Some(Step::Run) => {}
            Some(Step::Class(class)) => {
                if let Some(next) = grown.of(class) {
                    self.path.push(class);
                    self.node(next);
                    self.path.pop();
                }
            }
            Some(Step::One) => {
                for (class, next) in bits(grown.classes).zip(&grown.next) {
                    self.path.push(class as u8);
                    self.node(next);
                    self.path.pop();
                }
            }
        }
    }

    fn full(&self) -> bool {
        self.index.held.load(Ordering::Relaxed) > ROOM * self.index.root.lines.len()
    }

    fn classes(&self, set: u128) -> u128 {
        *self
            .classes
            .borrow_mut()
            .entry(set)
            .or_insert_with(|| self.program.alphabet.classes(set))
    }

    /// What can follow on the path in a line, as its outline has it; its family need not be compiled.
    fn outlined(&self, reference: &LineRef) -> Option<u128> {
        let outline = &self.program.outlines[reference.family as usize];
        let line = &outline.rows[reference.row as usize].lines[reference.line as usize];
        let (follow, over) = line.after(&self.path, self.index.backward)?;
        Some(follow | u128::from(over) << END)
    }

    /// What can follow on the path in a line, or, where the path cannot lead through it, nothing.
    fn follow(&self, reference: &LineRef, family: &FamilyProgram) -> u128 {
        let row = &family.rows[reference.row as usize];
        let places = &row.lines[reference.line as usize].places;
        let mut tables: Vec<&Table> = places
            .iter()
            .map(|place| &family.tables[place.table])
            .collect();
        if self.index.backward {
            tables.reverse();
        }
        let after = After {
            tables: &tables,
            alphabet: &self.program.alphabet,
            backward: self.index.backward,
            classes: &|set| self.classes(set),
        };
        after.follow(0, &self.path, !self.path.is_empty())
    }

    fn grow(&self, node: &Node) -> Grown {
        let mut next: Vec<(u8, Vec<LineRef>)> = Vec::new();
        let mut ends = Vec::new();
        for reference in &node.lines {
            let family = reference.family as usize;
            let follow = match self.program.compiled(family) {
                Some(family) => self.follow(reference, family),
                None => self.outlined(reference).unwrap_or_else(|| {
                    self.follow(reference, self.program.family(self.rules, family))
                }),
            };
            // From the end on nobody asks where a line is over.
            if follow >> END & 1 == 1 && !self.index.backward {
                ends.push(*reference);
            }
            for class in bits(follow & !(1 << END)) {
                let class = class as u8;
                match next.iter_mut().find(|(known, _)| *known == class) {
                    Some((_, lines)) => lines.push(*reference),
                    None => next.push((class, vec![*reference])),
                }
            }
        }
        next.sort_unstable_by_key(|(class, _)| *class);
        let held: usize = next.iter().map(|(_, lines)| lines.len()).sum();
        self.index
            .held
            .fetch_add(held + ends.len(), Ordering::Relaxed);
        let classes = next
            .iter()
            .fold(0, |classes, (class, _)| classes | 1 << class);
        let node = |(_, lines): (u8, Vec<LineRef>)| Node {
            lines: lines.into(),
            grown: OnceLock::new(),
        };
        Grown {
            classes,
            next: next.into_iter().map(node).collect(),
            ends: ends.into(),
        }
    }
}

/// Bit of a line that can end: no class of a glyph.
const END: usize = 126;

/// The places of the bits that are set, lowest first.
pub(crate) fn bits(mut word: u128) -> impl Iterator<Item = usize> {
    std::iter::from_fn(move || {
        (word != 0).then(|| {
            let bit = word.trailing_zeros() as usize;
            word &= word - 1;
            bit
        })
    })
}

/// What can follow on a beginning of a line, or stand before an end of it.
struct After<'a> {
    /// In the order of the path.
    tables: &'a [&'a Table],
    alphabet: &'a Alphabet,
    /// Whether the path leads from the last glyph to the first.
    backward: bool,
    /// Classes of a set of ids.
    classes: &'a dyn Fn(u128) -> u128,
}

impl After<'_> {
    /// Whether a table has a spelling of the first so many classes of a path, by number.
    fn whole(&self, table: &Table, path: &[u8]) -> Vec<bool> {
        let mut whole = vec![!table.empty.is_empty()];
        let mut run = 0;
        for (length, class) in (1..).zip(path) {
            run = if self.backward {
                path[..length].iter().rev().fold(0, |run, c| key(run, *c))
            } else {
                key(run, *class)
            };
            whole.push(table.has_key(run, length));
        }
        whole
    }

    /// Classes that can follow when the places from `place` on begin with the classes of `path`; bit [`END`] where they can end there,
    /// or, if anything was printed, be cut off between two places.
    fn follow(&self, place: usize, path: &[u8], printed: bool) -> u128 {
        let mut found = 0;
        if path.is_empty() && printed {
            found |= 1 << END;
        }
        let Some(table) = self.tables.get(place) else {
            return if path.is_empty() { 1 << END } else { 0 };
        };
        let mut whole = self.whole(table, path);
        let spellings = if self.backward {
            table.ending(path, self.alphabet)
        } else {
            table.beginning(path, self.alphabet)
        };
        let nth = |length: usize, at: usize| {
            if self.backward { length - 1 - at } else { at }
        };
        for index in spellings {
            let ids = &table.spelled[*index as usize].ids;
            if path.len() < ids.len() {
                found |= 1 << self.alphabet.class(ids[nth(ids.len(), path.len())]);
            }
        }
        for strip in &table.open {
            let length = strip.sets.len();
            let classes = |at: usize| (self.classes)(strip.sets[nth(length, at)]);
            let mut so_far = path.iter().take(length).enumerate();
            if !so_far.all(|(at, class)| classes(at) >> class & 1 == 1) {
                continue;
            }
            if path.len() < length {
                found |= classes(path.len());
            } else {
                whole[length] = true;
            }
        }
        for (length, whole) in whole.into_iter().enumerate() {
            if whole {
                found |= self.follow(place + 1, &path[length..], printed);
            }
        }
        found
    }
}
