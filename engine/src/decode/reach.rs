//! Where damage can be at all: behind a place of a line that can be reached from its beginning as read, and before one from which its
//! end can be reached as read. Only such damage is worth a walk, and for most rows there is none.
//!
//! Positions are bits of one word. What a table takes at a position is worked out once for all rows of a family.

use rustc_hash::FxHashMap;

use super::deep::Edit;
use super::stream::{Doubt, Stream};
use super::walk::Walker;
use crate::compile::{Alphabet, FamilyProgram, LineProgram, bits};

/// Glyphs that must have been read before the damage for a line that is cut off after it.
const BEFORE_CUT: usize = 3;

/// Which positions of a line can be reached as read.
pub(super) struct Rest {
    /// From its beginning, by place.
    forward: Vec<u128>,
    /// To its end.
    whole: Vec<u128>,
    /// To its end, or to where it is cut off.
    pub(super) alive: Vec<u128>,
}

/// One damage, with the stream as it was before.
pub(super) struct Damaged {
    pub(super) index: usize,
    pub(super) edit: Edit,
    pub(super) stream: Stream,
}

/// What the tables of one family take of a stream.
pub(super) struct Reach<'a> {
    family: &'a FamilyProgram,
    stream: &'a Stream,
    alphabet: &'a Alphabet,
    /// By table and position: ends, once asked.
    ends: Vec<Option<u128>>,
    /// The same in the stream before a damage, by damage, table and position.
    damaged: FxHashMap<(usize, usize, usize), u128>,
    starts: u128,
    stops: u128,
}

impl<'a> Reach<'a> {
    pub(super) fn new(
        family: &'a FamilyProgram,
        stream: &'a Stream,
        alphabet: &'a Alphabet,
    ) -> Reach<'a> {
        let starts = stream.starts.iter().fold(0, |all, at| all | 1_u128 << at);
        let stops = stream
            .stops
            .iter()
            .enumerate()
            .filter(|(_, stop)| **stop)
            .fold(0, |all, (at, _)| all | 1_u128 << at);
        Reach {
            family,
            stream,
            alphabet,
            ends: vec![None; family.tables.len() * (stream.len() + 1)],
            damaged: FxHashMap::default(),
            starts,
            stops,
        }
    }

    fn ends(&mut self, line: &LineProgram, table: usize, at: usize) -> u128 {
        let slot = table * (self.stream.len() + 1) + at;
        if let Some(known) = self.ends[slot] {
            return known;
        }
        let ends = ends_in(self.family, line, table, at, self.stream, self.alphabet);
        self.ends[slot] = Some(ends);
        ends
    }

    /// What can be reached of a line as read.
    pub(super) fn rest(&mut self, line: &LineProgram) -> Rest {
        let n = line.places.len();
        let length = self.stream.len();
        let mut forward = vec![0_u128; n + 1];
        forward[0] = self.starts;
        for (at, place) in line.places.iter().enumerate() {
            for from in bits(forward[at]) {
                forward[at + 1] |= self.ends(line, place.table, from);
            }
        }
        let (mut whole, mut alive) = (vec![0_u128; n + 1], vec![0_u128; n + 1]);
        whole[n] = self.through_runs(self.stops);
        alive[n] = whole[n];
        let mut rest = 0;
        for (at, place) in line.places.iter().enumerate().rev() {
            rest += self.family.tables[place.table].min;
            if rest > 0 {
                alive[at] = self.stops;
            }
            for from in 0..=length {
                let ends = self.ends(line, place.table, from);
                whole[at] |= u128::from(ends & whole[at + 1] != 0) << from;
                alive[at] |= u128::from(ends & alive[at + 1] != 0) << from;
            }
            whole[at] = self.through_runs(whole[at]);
            alive[at] = self.through_runs(alive[at]);
        }
        Rest {
            forward,
            whole,
            alive,
        }
    }

    /// Where one of these positions lies behind unread runs, the place before them counts too.
    fn through_runs(&self, mut positions: u128) -> u128 {
        for (at, tick) in self.stream.ticks.iter().enumerate().rev() {
            if tick.doubt == Doubt::Run {
                positions |= (positions >> 1) & (1 << at);
            }
        }
        positions
    }

    /// Whether a line is there as read.
    pub(super) fn is_there(&self, rest: &Rest) -> bool {
        rest.forward
            .last()
            .is_some_and(|ends| ends & self.stops & !self.starts != 0)
    }

    /// Whether a line can have a damage.
    pub(super) fn can_have(&mut self, line: &LineProgram, rest: &Rest, damaged: &Damaged) -> bool {
        let edit = damaged.edit;
        let place = edit.place();
        let before = low(place + 1);
        // Positions in the midst of the damage, by place of the line.
        let mut amid = vec![0_u128; line.places.len() + 1];
        for (at, here) in line.places.iter().enumerate() {
            let table = &self.family.tables[here.table];
            let begin = (rest.forward[at] & before) | amid[at];
            for from in bits(begin) {
                if from + table.max <= place && amid[at] >> from & 1 == 0 {
                    continue;
                }
                let first = start_of(self.starts, from);
                let cut = if from >= first + BEFORE_CUT {
                    rest.alive[at + 1]
                } else {
                    rest.whole[at + 1]
                };
                let run = damaged
                    .stream
                    .ticks
                    .get(from)
                    .is_some_and(|tick| tick.doubt == Doubt::Run);
                // Nothing to come back to, whatever this place takes.
                let behind = |end: usize| edit.behind(end);
                let reachable =
                    run || (from + table.min..=from + table.max + 1).any(|end| {
                        end <= damaged.stream.len()
                            && match behind(end) {
                                Some(read) => cut >> read & 1 == 1,
                                None => end > place,
                            }
                    }) || damaged.stream.ticks[from.min(damaged.stream.len() - 1)..]
                        .iter()
                        .any(|tick| tick.doubt == Doubt::Run);
                if !reachable {
                    continue;
                }
                let key = (damaged.index, here.table, from);
                let ends = match self.damaged.get(&key) {
                    Some(known) => *known,
                    None => {
                        let ends = ends_in(
                            self.family,
                            line,
                            here.table,
                            from,
                            &damaged.stream,
                            self.alphabet,
                        );
                        self.damaged.insert(key, ends);
                        ends
                    }
                };
                for end in bits(ends) {
                    match behind(end) {
                        Some(read) if cut >> read & 1 == 1 => return true,
                        Some(_) => {}
                        None if end > place || run => amid[at + 1] |= 1 << end,
                        None => {}
                    }
                }
            }
        }
        false
    }
}

/// Where a table can end that is read from a position on, as bits.
fn ends_in(
    family: &FamilyProgram,
    line: &LineProgram,
    table: usize,
    at: usize,
    stream: &Stream,
    alphabet: &Alphabet,
) -> u128 {
    let mut ends = Walker::new(family, line, stream, alphabet).ends(&family.tables[table], at);
    // An unread run takes any number of places.
    if stream
        .ticks
        .get(at)
        .is_some_and(|tick| tick.doubt == Doubt::Run)
    {
        ends |= 1 << at | 1 << (at + 1);
    }
    ends
}

/// The last start at or before a position.
fn start_of(starts: u128, at: usize) -> usize {
    let before = starts & low(at + 1);
    if before == 0 {
        0
    } else {
        127 - before.leading_zeros() as usize
    }
}

/// The lowest `n` bits.
fn low(n: usize) -> u128 {
    if n >= 128 { !0 } else { (1 << n) - 1 }
}
