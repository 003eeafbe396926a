//! Where damage can be at all: behind a place of a line that can be reached from its beginning as read, and before one from which its
//! end can be reached as read. Only such damage is worth a walk, and for most rows there is none.
//!
//! Positions are bits of one word. What a table takes at a position is worked out once for all rows of a family.

use rustc_hash::FxHashMap;
use smallvec::{SmallVec, smallvec};

use super::deep::Edit;
use super::stream::{Doubt, Stream, Tick};
use super::walk::Walker;
use crate::compile::{ANY, Alphabet, FamilyProgram, LineProgram, Table, Torn, bits, key};

/// Glyphs that must have been read before the damage for a line that is cut off after it.
const BEFORE_CUT: usize = 3;

/// Something by place of a line.
type ByPlace<T> = SmallVec<[T; 12]>;

/// Not asked yet.
const UNKNOWN: u128 = !0;
const NOT_ASKED: u8 = !0;

/// Which positions of a line can be reached as read.
pub(super) struct Rest {
    /// From its beginning, by place.
    forward: ByPlace<u128>,
    /// Up to where, at most, a place that can be begun goes.
    far: usize,
    /// Least glyphs that the places from each on need.
    needs: ByPlace<usize>,
    /// Whether the line may be there as read, whole or cut off between two places.
    pub(super) there: bool,
    /// From where its end is reached, by place: where that was asked, and where it is so.
    whole: ByPlace<(u128, u128)>,
    /// The same for its end or where it is cut off.
    alive: ByPlace<(u128, u128)>,
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
    /// By table and position: ends, or [`UNKNOWN`].
    ends: Vec<u128>,
    /// The same of how many glyphs a code can begin with, or [`NOT_ASKED`].
    begun: Vec<u8>,
    starts: u128,
    stops: u128,
    /// Whether the stream has unread runs.
    runs: bool,
    /// By damage, table and position: ends in the stream as it was before the damage.
    mended: FxHashMap<(u32, u32, u32), u128>,
}

impl<'a> Reach<'a> {
    pub(super) fn new(
        family: &'a FamilyProgram,
        stream: &'a Stream,
        alphabet: &'a Alphabet,
        (mut ends, mut begun): (Vec<u128>, Vec<u8>),
    ) -> Reach<'a> {
        let asked = family.tables.len() * (stream.len() + 1);
        ends.clear();
        ends.resize(asked, UNKNOWN);
        begun.clear();
        begun.resize(asked, NOT_ASKED);
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
            ends,
            begun,
            starts,
            stops,
            runs: stream.ticks.iter().any(|tick| tick.doubt == Doubt::Run),
            mended: FxHashMap::default(),
        }
    }

    /// The buffers.
    pub(super) fn leave(self) -> (Vec<u128>, Vec<u8>) {
        (self.ends, self.begun)
    }

    /// How many glyphs from a position on a code of a table can begin with and go on behind them, as read.
    fn begun(&mut self, table: usize, at: usize) -> usize {
        let slot = table * (self.stream.len() + 1) + at;
        if self.begun[slot] == NOT_ASKED {
            let begun = begun_in(&self.family.tables[table], at, self.stream, self.alphabet);
            self.begun[slot] =
                u8::try_from(begun).map_or(NOT_ASKED - 1, |begun| begun.min(NOT_ASKED - 1));
        }
        usize::from(self.begun[slot])
    }

    fn ends(&mut self, line: &LineProgram, table: usize, at: usize) -> u128 {
        let slot = table * (self.stream.len() + 1) + at;
        if self.ends[slot] == UNKNOWN {
            self.ends[slot] = ends_in(self.family, line, table, at, self.stream, self.alphabet);
        }
        self.ends[slot]
    }

    /// What can be reached of a line as read.
    pub(super) fn rest(&mut self, line: &LineProgram) -> Rest {
        let n = line.places.len();
        let mut forward: ByPlace<u128> = smallvec![0; n + 1];
        forward[0] = self.starts;
        let mut far = 0;
        // What is reached with something printed on the way, and where that was so before the place.
        let (mut printed, mut cuts): (u128, ByPlace<u128>) = (0, SmallVec::new());
        for (at, place) in line.places.iter().enumerate() {
            cuts.push(printed);
            let mut further = 0;
            for from in bits(forward[at]) {
                if from + self.family.tables[place.table].max > far {
                    far = far.max(from + self.begun(place.table, from));
                }
                let ends = self.ends(line, place.table, from);
                forward[at + 1] |= ends;
                let before = printed >> from & 1 == 1;
                further |= if before { ends } else { ends & !(1 << from) };
            }
            printed = further;
        }
        let mut needs: ByPlace<usize> = smallvec![0; n + 1];
        for (at, place) in line.places.iter().enumerate().rev() {
            needs[at] = needs[at + 1] + self.family.tables[place.table].min;
        }
        let cut = |(needs, printed): (&usize, &u128)| *needs > 0 && printed & self.stops != 0;
        let there = printed & self.stops != 0 || self.runs || needs.iter().zip(&cuts).any(cut);
        let mut rest = Rest {
            forward,
            far,
            needs,
            there,
            whole: smallvec![(0, 0); n + 1],
            alive: smallvec![(0, 0); n + 1],
        };
        // Through an unread run a place is reached from the one before it, so that all have to be known.
        if self.runs {
            self.all(line, &mut rest, true, 0);
            self.all(line, &mut rest, false, 0);
        }
        rest
    }

    /// From where the end of a line, or where it is cut off, is reached, by place; positions before `least` are not asked.
    pub(super) fn alive(&mut self, line: &LineProgram, rest: &mut Rest, least: usize) -> Vec<u128> {
        self.all(line, rest, true, least);
        rest.alive.iter().map(|(_, so)| *so).collect()
    }

    /// Works out all positions from one on.
    fn all(&mut self, line: &LineProgram, rest: &mut Rest, cut: bool, least: usize) {
        for at in (0..=line.places.len()).rev() {
            for from in least..=self.stream.len() {
                self.leads(line, rest, at, from, cut);
            }
            let through = |(known, so): (u128, u128)| (known, self.through_runs(so));
            if cut {
                rest.alive[at] = through(rest.alive[at]);
            } else {
                rest.whole[at] = through(rest.whole[at]);
            }
        }
    }

    /// Whether the end of a line, or with `cut` where it is cut off, is reached from a place and position.
    fn leads(
        &mut self,
        line: &LineProgram,
        rest: &mut Rest,
        at: usize,
        from: usize,
        cut: bool,
    ) -> bool {
        let (known, so) = if cut { rest.alive[at] } else { rest.whole[at] };
        if known >> from & 1 == 1 {
            return so >> from & 1 == 1;
        }
        let ends_here = at == line.places.len() || cut && rest.needs[at] > 0;
        let found = ends_here && self.stops >> from & 1 == 1
            || line.places.get(at).is_some_and(|place| {
                bits(self.ends(line, place.table, from))
                    .any(|end| self.leads(line, rest, at + 1, end, cut))
            });
        let memo = if cut {
            &mut rest.alive[at]
        } else {
            &mut rest.whole[at]
        };
        memo.0 |= 1 << from;
        memo.1 |= u128::from(found) << from;
        found
    }

    /// Whether the end of a line is reached from a place and position, with something read on the way.
    fn goes_on(&mut self, line: &LineProgram, rest: &mut Rest, at: usize, from: usize) -> bool {
        for (next, place) in (at + 1..).zip(&line.places[at..]) {
            let ends = self.ends(line, place.table, from);
            let further = ends & !low(from + 1);
            if bits(further).any(|end| self.leads(line, rest, next, end, false)) {
                return true;
            }
            if ends == further {
                return false;
            }
        }
        false
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

    /// Where a table can end in the stream as it was before a damage.
    fn mended(&mut self, line: &LineProgram, table: usize, from: usize, damaged: &Damaged) -> u128 {
        let key = (damaged.index as u32, table as u32, from as u32);
        if let Some(known) = self.mended.get(&key) {
            return *known;
        }
        let (family, stream) = (self.family, &damaged.stream);
        let ends = ends_in(family, line, table, from, stream, self.alphabet);
        self.mended.insert(key, ends);
        ends
    }

    /// Whether a line can have a damage.
    pub(super) fn can_have(
        &mut self,
        line: &LineProgram,
        rest: &mut Rest,
        damaged: &Damaged,
    ) -> bool {
        let edit = damaged.edit;
        let place = edit.place();
        if place > rest.far {
            return false;
        }
        let before = low(place + 1);
        // Positions in the midst of the damage, by place of the line.
        let mut amid: ByPlace<u128> = smallvec![0; line.places.len() + 1];
        // Whether a place that begins before the damage may end at it, or the reading has unread runs besides.
        let mut joined = self.runs;
        for (at, here) in line.places.iter().enumerate() {
            let table = &self.family.tables[here.table];
            let begin = (rest.forward[at] & before) | amid[at];
            for from in bits(begin) {
                if amid[at] >> from & 1 == 0 {
                    if from + table.max <= place {
                        continue;
                    }
                    // No code goes on from there to the damage.
                    if from + self.begun(here.table, from) < place {
                        joined |= self.ends(line, here.table, from) >> place & 1 == 1;
                        continue;
                    }
                }
                let first = start_of(self.starts, from);
                let cut = from >= first + BEFORE_CUT;
                let run = damaged
                    .stream
                    .ticks
                    .get(from)
                    .is_some_and(|tick| tick.doubt == Doubt::Run);
                let ends = self.mended(line, here.table, from, damaged);
                joined |= from < place && ends >> place & 1 == 1;
                for end in bits(ends) {
                    let Some(read) = edit.behind(end) else {
                        if end > place || run {
                            amid[at + 1] |= 1 << end;
                        }
                        continue;
                    };
                    // What is left of a beginning that was cut off must be there; a line cut off between two codes has no damage.
                    let back = if read <= place && matches!(edit, Edit::StartCut(_)) {
                        joined && self.goes_on(line, rest, at + 1, read)
                    } else {
                        self.leads(line, rest, at + 1, read, cut)
                    };
                    if back {
                        return true;
                    }
                }
            }
        }
        false
    }
}

/// How many glyphs from a position on a code of a table can begin with and go on behind them; where one was not read for sure, as many as there
/// can be.
fn begun_in(table: &Table, at: usize, stream: &Stream, alphabet: &Alphabet) -> usize {
    let ticks = &stream.ticks[at..];
    let window = &ticks[..ticks.len().min(table.max)];
    let torn = table.torn(alphabet);
    let (mut run, mut begun) = (0, 0);
    for (length, tick) in (1..).zip(window) {
        if !matches!(tick.doubt, Doubt::Read | Doubt::Certain) {
            return table.max;
        }
        run = key(run, tick.class);
        if !torn.begins(run) {
            break;
        }
        begun = length;
    }
    for strip in &table.open {
        let fits = strip.sets.iter().zip(window);
        let fits = fits
            .take_while(|(set, tick)| can_be_of(**set, tick, alphabet))
            .count();
        begun = begun.max(fits.min(strip.sets.len().saturating_sub(1)));
    }
    begun
}

/// Where a table can end that is read from a position on, as bits; also where it cannot quite, as a code that only another guard allows.
fn ends_in(
    family: &FamilyProgram,
    line: &LineProgram,
    table: usize,
    at: usize,
    stream: &Stream,
    alphabet: &Alphabet,
) -> u128 {
    let table = &family.tables[table];
    let ticks = &stream.ticks[at..];
    let window = &ticks[..ticks.len().min(table.max)];
    let sure = |tick: &Tick| matches!(tick.doubt, Doubt::Read | Doubt::Certain);
    let doubtful = window.iter().position(|tick| !sure(tick));
    match doubtful.map(|first| (first, window[first].doubt)) {
        Some((first, Doubt::Run))
            if ticks[first + 1..]
                .iter()
                .all(|tick| tick.doubt != Doubt::Run) =>
        {
            return ends_about_run(table, first, at, stream, alphabet);
        }
        Some(_) if window.iter().any(|tick| tick.doubt == Doubt::Run) => {
            let mut ends = Walker::new(family, line, stream, alphabet).ends(table, at);
            // An unread run takes any number of places.
            if ticks[0].doubt == Doubt::Run {
                ends |= 1 << at | 1 << (at + 1);
            }
            return ends;
        }
        _ => {}
    }
    let mut ends: u128 = if table.empty.is_empty() { 0 } else { 1 << at };
    let plain = doubtful.unwrap_or(window.len());
    let mut run = 0;
    for (length, tick) in (1..).zip(&window[..plain]) {
        run = key(run, tick.class);
        if table.lengths >> length.min(63) & 1 == 1 && table.has_key(run, length) {
            ends |= 1 << (at + length);
        }
    }
    if let Some(first) = doubtful {
        let any = matches!(window[first].doubt, Doubt::Unread | Doubt::Other);
        if any && window[first + 1..].iter().all(sure) {
            let torn = table.torn(alphabet);
            run = key(run, ANY);
            for (length, next) in
                (first + 1..).zip(window[first + 1..].iter().map(Some).chain([None]))
            {
                if table.lengths >> length.min(63) & 1 == 1 && torn.one_any(run, length) {
                    ends |= 1 << (at + length);
                }
                if let Some(tick) = next {
                    run = key(run, tick.class);
                }
            }
        } else {
            let mut classes = [0_u8; 128];
            for (class, tick) in classes.iter_mut().zip(&window[..plain]) {
                *class = tick.class;
            }
            for index in table.beginning(&classes[..plain], alphabet) {
                let ids = &table.spelled[*index as usize].ids;
                if ids.len() > plain
                    && ids.len() <= window.len()
                    && ends >> (at + ids.len()) & 1 == 0
                    && ids[plain..]
                        .iter()
                        .zip(&window[plain..])
                        .all(|(id, tick)| can_be(*id, tick, alphabet))
                {
                    ends |= 1 << (at + ids.len());
                }
            }
        }
    }
    for strip in &table.open {
        let length = strip.sets.len();
        if length > 0
            && length <= window.len()
            && ends >> (at + length) & 1 == 0
            && strip
                .sets
                .iter()
                .zip(window)
                .all(|(set, tick)| can_be_of(*set, tick, alphabet))
        {
            ends |= 1 << (at + length);
        }
    }
    ends
}

/// The same where the first glyph that was not read for sure, `before` glyphs on, is an unread run, and the only one.
fn ends_about_run(
    table: &Table,
    before: usize,
    at: usize,
    stream: &Stream,
    alphabet: &Alphabet,
) -> u128 {
    let ticks = &stream.ticks[at..];
    let behind = &ticks[before + 1..];
    let mut ends: u128 = if table.empty.is_empty() { 0 } else { 1 << at };
    let mut run = 0;
    for (length, tick) in (1..).zip(&ticks[..before]) {
        run = key(run, tick.class);
        if table.lengths >> length.min(63) & 1 == 1 && table.has_key(run, length) {
            ends |= 1 << (at + length);
        }
    }
    // The run takes any number of places, and the rest of a spelling.
    let torn = table.torn(alphabet);
    let begun = before == 0 || torn.begins(run);
    if before == 0 {
        ends |= 1 << at | 1 << (at + 1);
    } else if begun {
        ends |= 1 << (at + before);
    }
    // What is read behind it may be the end of a spelling.
    if begun {
        let mut run = Torn::left();
        let most = table.max.saturating_sub(before.max(1));
        for (length, tick) in (1..=most).zip(behind) {
            if !matches!(tick.doubt, Doubt::Read | Doubt::Certain) {
                // Unread there: as if it fitted.
                ends |= (length..=most.min(behind.len()))
                    .fold(0, |ends, length| ends | 1 << (at + before + 1 + length));
                break;
            }
            run = key(run, tick.class);
            if torn.ends(run, length) {
                ends |= 1 << (at + before + 1 + length);
            }
        }
    }
    for strip in &table.open {
        let length = strip.sets.len();
        let fits = |sets: &[u128], ticks: &[Tick]| {
            sets.iter()
                .zip(ticks)
                .all(|(set, tick)| can_be_of(*set, tick, alphabet))
        };
        if length <= before {
            if length > 0 && fits(&strip.sets, ticks) {
                ends |= 1 << (at + length);
            }
            continue;
        }
        if !fits(&strip.sets[..before], ticks) {
            continue;
        }
        if before > 0 {
            ends |= 1 << (at + before);
        }
        let most = length - before.max(1);
        for read in 1..=most.min(behind.len()) {
            if fits(&strip.sets[length - read..], behind) {
                ends |= 1 << (at + before + 1 + read);
            }
        }
    }
    ends
}

/// Whether a glyph may have been printed there.
fn can_be(id: u8, tick: &Tick, alphabet: &Alphabet) -> bool {
    match tick.doubt {
        Doubt::Read | Doubt::Certain => alphabet.class(id) == tick.class,
        Doubt::OneOf => tick.set() >> id & 1 == 1,
        Doubt::Unread | Doubt::Run => true,
        Doubt::Other => id != tick.id,
    }
}

/// Whether some glyph of a set may have been printed there.
fn can_be_of(set: u128, tick: &Tick, alphabet: &Alphabet) -> bool {
    match tick.doubt {
        Doubt::Read | Doubt::Certain => {
            set >> tick.id & 1 == 1 || set & alphabet.alike(tick.id) != 0
        }
        Doubt::OneOf => set & tick.set() != 0,
        Doubt::Unread | Doubt::Run => true,
        Doubt::Other => set >> tick.id & 1 == 0,
    }
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

/// How often the first line of a family was asked where its tables can end in a reading with each damage undone, how often a walk ends
/// somewhere, and how often only the quick answer does. Panics where a walk ends where the quick answer does not.
#[cfg(test)]
pub(crate) fn compare(
    decoder: &super::Decoder<'_>,
    reading: &super::Reading,
    family: usize,
) -> [usize; 3] {
    let alphabet = &decoder.program.alphabet;
    let mut scratch = super::Scratch::default();
    decoder.fill(reading, &mut scratch);
    let program = decoder.compiled(family);
    let mut counts = [0; 3];
    let Some(line) = program.rows.first().and_then(|row| row.lines.first()) else {
        return counts;
    };
    for edit in super::deep::edits(&scratch.stream, alphabet) {
        let stream = super::deep::before(&scratch.stream, edit, alphabet);
        for table in 0..program.tables.len() {
            for from in 0..stream.len() {
                let quick = ends_in(program, line, table, from, &stream, alphabet);
                let walked = Walker::new(program, line, &stream, alphabet)
                    .ends(&program.tables[table], from);
                assert_eq!(walked & !quick, 0, "{edit:?}, table {table} at {from}");
                counts[0] += 1;
                counts[1] += usize::from(walked != 0);
                counts[2] += usize::from(walked == 0 && quick != 0);
            }
        }
    }
    counts
}
