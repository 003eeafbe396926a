//! Counts of a run, batch by batch, added up in the order of the rows.

use std::collections::HashMap;

use etchlore_engine::analyse::shape;
use etchlore_engine::model::FamilyId;

use super::answer::Status;
use super::claims::Finding;

/// The most shapes that are told apart; the marks of further ones are counted together.
const MAX_SHAPES: usize = 20_000;
/// Examples kept of each shape.
const EXAMPLES: usize = 10;
/// The longest example, in characters.
const MAX_EXAMPLE: usize = 120;

/// Contradictions that are told one by one.
pub(crate) const SHOWN: usize = 20;

/// Marks of one shape that were not decoded.
#[derive(Debug, Default)]
pub(crate) struct Group {
    pub(crate) count: u64,
    /// Row and mark.
    pub(crate) examples: Vec<(u64, String)>,
}

/// Counts.
#[derive(Debug, Default)]
pub(crate) struct Tally {
    pub(crate) rows: u64,
    /// Empty lines, copied and no rows.
    pub(crate) blank: u64,
    /// By [`Status`].
    pub(crate) by_status: [u64; 4],
    /// Rows that are narrower or wider than the header, and the first of them.
    pub(crate) narrow: (u64, Option<u64>),
    pub(crate) wide: (u64, Option<u64>),
    /// Rows too long to be held, lines that are no object, and the first of each.
    pub(crate) long: (u64, Option<u64>),
    pub(crate) broken: (u64, Option<u64>),
    /// Rows with contradictions, and the first of them.
    pub(crate) contradicted: u64,
    pub(crate) contradictions: Vec<(u64, Finding)>,
    pub(crate) families: HashMap<FamilyId, u64>,
    pub(crate) undecoded: HashMap<String, Group>,
    /// Marks of shapes beyond those kept.
    pub(crate) beyond: u64,
}

impl Tally {
    pub(crate) fn count(&mut self, status: Status, family: Option<FamilyId>) {
        self.rows += 1;
        self.by_status[status as usize] += 1;
        if let Some(family) = family {
            *self.families.entry(family).or_default() += 1;
        }
    }

    pub(crate) fn of(&self, status: Status) -> u64 {
        self.by_status[status as usize]
    }

    /// Notes a mark that was not decoded.
    pub(crate) fn note_undecoded(&mut self, row: u64, mark: &str) {
        let group = self.undecoded.entry(shape(mark)).or_default();
        group.count += 1;
        if group.examples.len() < EXAMPLES && group.examples.iter().all(|(_, known)| known != mark)
        {
            let short = mark.chars().take(MAX_EXAMPLE).collect();
            group.examples.push((row, short));
        }
    }

    /// Notes what a row contradicts itself in.
    pub(crate) fn contradicted(&mut self, row: u64, found: Vec<Finding>) {
        self.contradicted += 1;
        let room = SHOWN.saturating_sub(self.contradictions.len());
        self.contradictions
            .extend(found.into_iter().take(room).map(|finding| (row, finding)));
    }

    /// Adds what a later batch counted.
    pub(crate) fn add(&mut self, later: Tally) {
        self.rows += later.rows;
        self.blank += later.blank;
        for (sum, more) in self.by_status.iter_mut().zip(later.by_status) {
            *sum += more;
        }
        for (sum, more) in [
            (&mut self.narrow, later.narrow),
            (&mut self.wide, later.wide),
            (&mut self.long, later.long),
            (&mut self.broken, later.broken),
        ] {
            *sum = (sum.0 + more.0, sum.1.or(more.1));
        }
        self.contradicted += later.contradicted;
        let room = SHOWN.saturating_sub(self.contradictions.len());
        self.contradictions
            .extend(later.contradictions.into_iter().take(room));
        for (family, count) in later.families {
            *self.families.entry(family).or_default() += count;
        }
        self.beyond += later.beyond;
        // By name, so that a run in one thread and in many keeps the same shapes.
        let mut groups: Vec<(String, Group)> = later.undecoded.into_iter().collect();
        groups.sort_by(|a, b| a.0.cmp(&b.0));
        for (shape, group) in groups {
            if self.undecoded.len() >= MAX_SHAPES && !self.undecoded.contains_key(&shape) {
                self.beyond += group.count;
                continue;
            }
            let known = self.undecoded.entry(shape).or_default();
            known.count += group.count;
            for example in group.examples {
                if known.examples.len() < EXAMPLES
                    && known.examples.iter().all(|(_, mark)| *mark != example.1)
                {
                    known.examples.push(example);
                }
            }
        }
    }

    /// The shapes that were not decoded, most frequent first, then by name.
    pub(crate) fn shapes(&self) -> Vec<(&str, &Group)> {
        let mut shapes: Vec<(&str, &Group)> = self
            .undecoded
            .iter()
            .map(|(shape, group)| (shape.as_str(), group))
            .collect();
        shapes.sort_by(|a, b| b.1.count.cmp(&a.1.count).then(a.0.cmp(b.0)));
        shapes
    }
}
