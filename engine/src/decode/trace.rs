//! Why a family does not read a line: how far its rows get, and what they wanted where they stopped.

use super::stream::{Doubt, Gap, Stream};
use super::walk::Walker;
use crate::compile::{Alphabet, FamilyProgram, LineProgram, Table, bits};
use crate::model::FormKind;

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

/// The furthest place that some row of a family reaches from some start, without a look-alike; the first row of equals. Where the form of
/// the reading is known, rows of that form are asked. A line that is read to its end did not stop the reading: then it is another one.
pub(crate) fn furthest(
    family: &FamilyProgram,
    stream: &Stream,
    alphabet: &Alphabet,
    form: Option<FormKind>,
) -> Option<Stopped> {
    let mut stream = stream.clone();
    stream.ticks.truncate(MAX_GLYPHS);
    stream.mark_gaps();
    let fits = |row: &usize| {
        let kind = family.rows[*row].kind;
        form.is_none_or(|form| form == kind || kind == FormKind::Mark)
    };
    let mut rows: Vec<usize> = (0..family.rows.len()).filter(fits).collect();
    if rows.is_empty() {
        rows = (0..family.rows.len()).collect();
    }
    let mut best: Option<Stopped> = None;
    for row in &rows {
        let program = &family.rows[*row];
        for line in &program.lines {
            if !line.places.iter().any(|place| program.naming[place.slot]) {
                continue;
            }
            for start in &stream.starts {
                let stopped = from(family, *row, line, *start, &stream, alphabet);
                let read = stopped.at - start;
                match &mut best {
                    Some(known) if known.start == *start && known.at == stopped.at => {
                        known.joins(stopped);
                    }
                    Some(known) if known.at - known.start >= read => {}
                    _ => best = Some(stopped),
                }
            }
        }
    }
    let best = best?;
    if !best.is_whole(&stream) {
        return Some(best);
    }
    let elsewhere = in_other_lines(family, &rows, &best, &stream, alphabet);
    Some(elsewhere.unwrap_or(best))
}

/// The first other line of the reading that no line of these rows reads to its end, and where it stops.
fn in_other_lines(
    family: &FamilyProgram,
    rows: &[usize],
    read: &Stopped,
    stream: &Stream,
    alphabet: &Alphabet,
) -> Option<Stopped> {
    let line_of = |at: usize| stream.ticks[at].line;
    let others: Vec<usize> = stream
        .starts
        .iter()
        .copied()
        .filter(|at| stream.ticks[*at].gap == Gap::Line)
        .filter(|at| !(line_of(read.start)..=line_of(read.at - 1)).contains(&line_of(*at)))
        .collect();
    let lines: Vec<(usize, usize)> = rows
        .iter()
        .flat_map(|row| (0..family.rows[*row].lines.len()).map(|line| (*row, line)))
        .collect();
    let stops = |(row, line): (usize, usize), start: usize| {
        from(
            family,
            row,
            &family.rows[row].lines[line],
            start,
            stream,
            alphabet,
        )
    };
    let whole = |line: (usize, usize), start: usize| stops(line, start).is_whole(stream);
    let taken = |line: &(usize, usize)| {
        let mut starts = others.iter().chain(std::iter::once(&read.start));
        starts.any(|start| whole(*line, *start))
    };
    // Lines of the form that stand in the reading already wait for no other.
    let waiting: Vec<(usize, usize)> = lines.iter().copied().filter(|line| !taken(line)).collect();
    for start in &others {
        if lines.iter().any(|line| whole(*line, *start)) {
            continue;
        }
        let mut best: Option<Stopped> = None;
        for line in if waiting.is_empty() { &lines } else { &waiting } {
            let stopped = stops(*line, *start);
            match &mut best {
                Some(known) if known.at == stopped.at => known.joins(stopped),
                Some(known) if known.at > stopped.at => {}
                _ => best = Some(stopped),
            }
        }
        if best.is_some() {
            return best;
        }
    }
    None
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
    /// Adds what another row wanted in the same place.
    fn joins(&mut self, other: Stopped) {
        self.wanted |= other.wanted;
        self.ended |= other.ended;
        for slot in other.slots {
            if !self.slots.contains(&slot) {
                self.slots.push(slot);
            }
        }
    }

    /// Whether it read its line of the reading to the end.
    fn is_whole(&self, stream: &Stream) -> bool {
        let behind = stream.ticks.get(self.at);
        self.ended && self.at > self.start && behind.is_none_or(|tick| tick.gap == Gap::Line)
    }

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
                    Doubt::OneOf => **set & tick.set() != 0,
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
