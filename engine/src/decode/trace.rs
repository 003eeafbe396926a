//! Why a family does not read a line: how far its rows get, and what they wanted where they stopped.

use super::stream::{Doubt, Stream};
use super::walk::Walker;
use crate::compile::{Alphabet, FamilyProgram, LineProgram, Table, bits};

/// Glyphs of a reading that are looked at; positions are bits of one word.
const MAX_GLYPHS: usize = 120;

/// Where a family stopped.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Stopped {
    /// Where the line of the form began.
    pub(crate) start: usize,
    /// The glyph that stopped it.
    pub(crate) at: usize,
    /// The row, by index in the family.
    pub(crate) row: usize,
    /// The slots that wanted something there.
    pub(crate) slots: Vec<usize>,
    /// The glyphs that they wanted, as ids in bits.
    pub(crate) wanted: u128,
    /// The line of the form could have ended there.
    pub(crate) ended: bool,
}

/// The furthest place that some row of a family reaches from some start, without a look-alike; the first row of equals.
pub(crate) fn furthest(
    family: &FamilyProgram,
    stream: &Stream,
    alphabet: &Alphabet,
) -> Option<Stopped> {
    let mut stream = stream.clone();
    stream.ticks.truncate(MAX_GLYPHS);
    stream.mark_gaps();
    let mut best: Option<Stopped> = None;
    for (row, program) in family.rows.iter().enumerate() {
        for line in &program.lines {
            if !line.places.iter().any(|place| program.naming[place.slot]) {
                continue;
            }
            for start in &stream.starts {
                let stopped = from(family, row, line, *start, &stream, alphabet);
                let read = stopped.at - start;
                match &mut best {
                    Some(known) if known.start == *start && known.at == stopped.at => {
                        known.wanted |= stopped.wanted;
                        known.ended |= stopped.ended;
                        for slot in stopped.slots {
                            if !known.slots.contains(&slot) {
                                known.slots.push(slot);
                            }
                        }
                    }
                    Some(known) if known.at - known.start >= read => {}
                    _ => best = Some(stopped),
                }
            }
        }
    }
    best
}

fn from(
    family: &FamilyProgram,
    row: usize,
    line: &LineProgram,
    start: usize,
    stream: &Stream,
    alphabet: &Alphabet,
) -> Stopped {
    let mut stopped = Stopped {
        start,
        at: start,
        row,
        slots: Vec::new(),
        wanted: 0,
        ended: false,
    };
    let mut walker = Walker::new(family, line, stream, alphabet);
    let mut reached = vec![0_u128; line.places.len() + 1];
    reached[0] = 1 << start;
    for (at, place) in line.places.iter().enumerate() {
        let table = &family.tables[place.table];
        for begin in bits(reached[at]) {
            reached[at + 1] |= walker.ends(table, begin);
            stopped.wants(table, place.slot, begin, stream);
        }
    }
    let ends = reached[line.places.len()];
    if ends != 0 {
        let end = 127 - ends.leading_zeros() as usize;
        if end > stopped.at {
            stopped = Stopped {
                at: end,
                wanted: 0,
                slots: Vec::new(),
                ..stopped
            };
        }
        stopped.ended = end == stopped.at;
    }
    stopped
}

impl Stopped {
    /// Takes note of how far a table gets from a position, and of what it wants there.
    fn wants(&mut self, table: &Table, slot: usize, begin: usize, stream: &Stream) {
        let spelled = table
            .spelled
            .iter()
            .map(|spelled| spelled.ids.iter().map(|id| 1 << id).collect::<Vec<u128>>());
        let open = table.open.iter().map(|strip| strip.sets.clone());
        for sets in spelled.chain(open) {
            let fits = sets
                .iter()
                .zip(&stream.ticks[begin.min(stream.len())..])
                .take_while(|(set, tick)| match tick.doubt {
                    Doubt::Unread => true,
                    Doubt::OneOf => **set & tick.set != 0,
                    _ => **set >> tick.id & 1 == 1,
                })
                .count();
            let Some(next) = sets.get(fits) else { continue };
            let at = begin + fits;
            if at > self.at {
                self.at = at;
                self.wanted = 0;
                self.slots.clear();
            }
            if at == self.at {
                self.wanted |= next;
                if !self.slots.contains(&slot) {
                    self.slots.push(slot);
                }
            }
        }
    }
}
