//! Counts of a run, batch by batch, added up in the order of the rows.

use std::collections::HashMap;

use etchlore_engine::model::FamilyId;

use super::answer::Status;
use super::claims::Finding;
use super::undecoded::Undecoded;

/// Contradictions that are told one by one.
pub(crate) const SHOWN: usize = 20;

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
    pub(crate) undecoded: Undecoded,
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
        self.undecoded.add(later.undecoded);
    }
}
