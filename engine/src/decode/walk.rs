//! One line of a row against the stream: every way to cut a stretch of it into the line's places.
//!
//! The naive loop: at each place, for each spelling that fits here, go on with the next place. What makes it cheap is that
//! spellings are found by the key of their look-alike classes, and that a place and position from which no way leads to the
//! end is remembered.

use smallvec::SmallVec;

use super::deep::Edit;
use super::stream::{Doubt, Gap, Stream, Tick};
use crate::compile::{Alphabet, FamilyProgram, LineProgram, OpenStrip, Place, Spelled, Table, key};
use crate::glyph::Boundary;

/// log2 costs of what separates a reading from the form, beside the look-alikes. They are stated beliefs, not measurements.
pub(crate) mod cost {
    /// A boundary of the form was not read.
    pub(crate) const LOST: f64 = -1.0;
    /// A space was read where the form has none.
    pub(crate) const SPACED: f64 = -2.0;
    /// A dash, slash or colon was read where the form has none.
    pub(crate) const ADDED: f64 = -6.0;
    /// Another boundary was read.
    pub(crate) const OTHER_KIND: f64 = -1.0;
    /// A line of the form goes on in the next line.
    pub(crate) const BROKEN: f64 = -4.0;
    /// The same within one code: lines are broken where codes part.
    pub(crate) const TORN: f64 = -8.0;
    /// The end of the line is missing.
    const CUT: f64 = -6.0;
    /// The same where next to nothing of it was read: who sees two characters sees that there are no more.
    const CUT_SHORT: f64 = -10.0;
    /// Glyphs from which on what was read of a line can be the beginning of a longer one.
    const CUT_FROM: usize = 3;

    /// Of a line of which so many glyphs were read and the end is missing.
    pub(crate) const fn cut(glyphs: usize) -> f64 {
        if glyphs < CUT_FROM { CUT_SHORT } else { CUT }
    }
    /// Something stands before the line of the form, in the same line.
    pub(crate) const AFTER_TEXT: f64 = -2.0;
    /// Something follows after a space.
    pub(crate) const BEFORE_TEXT: f64 = -1.0;
    /// Something follows after a dash, slash or colon.
    pub(crate) const TAIL: f64 = -6.0;
    /// What follows so is longer than the line of the form.
    pub(crate) const LONG_TAIL: f64 = -6.0;
    /// The case of a letter differs in a slot where case counts.
    pub(crate) const CASE: f64 = -6.0;
    /// The same in a line that was read in capitals.
    pub(crate) const CASE_LOST: f64 = -1.0;
    /// A character that is certain contradicts the code.
    pub(crate) const CONTRADICTED: f64 = -12.0;
}

/// Most look-alikes in one line.
pub(super) const MAX_FIXES: u32 = 4;
/// Most ways kept for one line.
const MAX_WAYS: usize = 400;
/// Most steps for one line at one start.
const MAX_STEPS: u32 = 60_000;

/// What one place was taken for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Choice {
    pub(crate) slot: usize,
    pub(crate) table: usize,
    /// The code; `None` for a place that lies in an unread run.
    pub(crate) code: Option<u32>,
    /// Which spelling or strip of the table.
    pub(crate) how: How,
    pub(crate) start: usize,
    pub(crate) end: usize,
    /// log2 of P(glyphs read | code), with boundaries inside the code.
    pub(crate) channel: f64,
    /// Glyphs taken for look-alikes of what was read.
    pub(crate) fixes: u32,
    /// The place takes any text, so that its glyphs say nothing.
    pub(crate) free: bool,
    /// log2 of the share that the string has in its code; 0 for a listed one.
    pub(crate) share: f64,
    /// Part of it lies in an unread run.
    pub(crate) partial: bool,
    /// log2 of how many strings of an open shape its unread places leave; `channel` has it.
    pub(crate) doubt: f64,
}

/// By which entry of the table a place was matched.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum How {
    Spelled(u32),
    Open(u32),
    Hidden,
}

/// One way to take a stretch for a line.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Way {
    pub(crate) start: usize,
    pub(crate) end: usize,
    pub(crate) choices: Vec<Choice>,
    /// log2 cost of boundaries, cuts and neighbours.
    pub(crate) layout: f64,
    pub(crate) cut: bool,
}

/// A table entry that fits at a position.
#[derive(Debug, Clone, Copy)]
struct Fit {
    how: How,
    code: u32,
    end: usize,
    channel: f64,
    fixes: u32,
    free: bool,
    share: f64,
    partial: bool,
    doubt: f64,
}

/// Buffers of a walk, kept between walks.
#[derive(Debug, Default)]
pub(crate) struct Room {
    path: Vec<Choice>,
    /// log2 of the most with which a place and position was met from which no way leads to the end: `-inf` where none was tried, `inf` where
    /// none can.
    dead: Vec<f64>,
    /// By position: how many bits the way may lose up to there at most; empty where there is no bound.
    most: Vec<f64>,
    /// What fits at each position of the path that is being walked.
    fits: Vec<Fit>,
    /// Where one entry that runs through unread runs can end.
    ends: Vec<(usize, f64, u32)>,
}

/// Finds the ways for one line at one start.
pub(crate) struct Walker<'a> {
    pub(crate) family: &'a FamilyProgram,
    pub(crate) line: &'a LineProgram,
    pub(crate) stream: &'a Stream,
    pub(crate) alphabet: &'a Alphabet,
    start: usize,
    room: Room,
    steps: u32,
    /// How often the bound on look-alikes turned a way off: then a dead end is not dead for others.
    turned_off: u32,
    /// The same for the bound on bits: then a dead end is one for ways that are no better.
    outbid: u32,
    /// log2 of what the codes of the path come to at most, where there is a bound.
    bits: f64,
    pub(crate) ways: Vec<Way>,
    /// Whether a bound was met.
    pub(crate) stopped: bool,
    /// Steps over all starts.
    pub(crate) walked: u64,
    /// In a search for damage: from where the rest of the line can be read.
    alive: Option<Alive<'a>>,
}

/// From where the rest of a line can be read behind a damage.
#[derive(Clone, Copy)]
pub(crate) struct Alive<'a> {
    /// By place of the line: positions in the stream as it was read, as bits.
    pub(crate) at: &'a [u128],
    pub(crate) edit: Edit,
    /// Whether the damage is an end or a beginning cut off, and nothing else an unread run: then a code must be torn there.
    pub(crate) torn: bool,
    /// How many bits a way over a stretch may lose before it is not worth weighing, where no other line can make up for it.
    pub(crate) most: Option<&'a dyn Fn((usize, usize)) -> f64>,
}

impl<'a> Walker<'a> {
    pub(crate) fn new(
        family: &'a FamilyProgram,
        line: &'a LineProgram,
        stream: &'a Stream,
        alphabet: &'a Alphabet,
    ) -> Walker<'a> {
        Walker {
            family,
            line,
            stream,
            alphabet,
            start: 0,
            room: Room::default(),
            steps: 0,
            turned_off: 0,
            outbid: 0,
            bits: 0.0,
            ways: Vec::new(),
            stopped: false,
            walked: 0,
            alive: None,
        }
    }

    /// The same with the buffers of an earlier walk, for its ways too; [`Walker::leave`] gives them back.
    pub(crate) fn within(self, room: Room, ways: Vec<Way>) -> Walker<'a> {
        Walker { room, ways, ..self }
    }

    /// The buffers, and the ways found.
    pub(crate) fn leave(self) -> (Room, Vec<Way>) {
        (self.room, self.ways)
    }

    /// The same, giving up behind a damage where the rest of the line cannot be read.
    pub(crate) fn behind(self, alive: Alive<'a>) -> Walker<'a> {
        Walker {
            alive: Some(alive),
            ..self
        }
    }

    /// Adds the ways that begin at `start`.
    pub(crate) fn from(&mut self, start: usize) {
        if self.ways.len() < MAX_WAYS && self.begins_otherwise(start) {
            self.walked += 1;
            return;
        }
        self.start = start;
        self.steps = 0;
        self.room.path.clear();
        self.room.fits.clear();
        self.room.dead.clear();
        self.room.dead.resize(
            (self.line.places.len() + 1) * (self.stream.len() + 2),
            f64::NEG_INFINITY,
        );
        self.bound();
        let layout = match self.stream.ticks.get(start).map(|tick| tick.gap) {
            Some(Gap::Within(_)) => cost::AFTER_TEXT,
            _ => 0.0,
        };
        if !self.is_outbid(start, layout) {
            self.step(0, start, None, layout, 0);
        }
        self.walked += u64::from(self.steps);
    }

    /// Notes how many bits a way may lose.
    fn bound(&mut self) {
        let mut most = std::mem::take(&mut self.room.most);
        most.clear();
        if let Some(of) = self.alive.and_then(|alive| alive.most) {
            most.resize(self.stream.len() + 1, f64::NEG_INFINITY);
            let unread = self.unread_gain();
            let (mut best, mut gain) = (f64::NEG_INFINITY, 0.0);
            for at in (self.start..=self.stream.len()).rev() {
                let tick = self.stream.ticks.get(at);
                if tick.is_some_and(|tick| matches!(tick.doubt, Doubt::Unread | Doubt::OneOf)) {
                    gain += unread;
                }
                if at > self.start && self.stream.stops[at] {
                    best = best.max(of((self.start, at)) + self.stream.after(self.start, at));
                }
                // Sums are rounded otherwise than where they are weighed.
                most[at] = best + gain + 1e-6;
            }
        }
        self.room.most = most;
    }

    /// log2 of the most that one unread glyph can add to a way: where the share of an open code is not counted, as dates sum over theirs and a
    /// slot that stands twice is drawn once.
    fn unread_gain(&self) -> f64 {
        if !self.stream.doubtful {
            return 0.0;
        }
        let places = self.line.places.iter().enumerate();
        let uncounted = places.filter(|(at, place)| {
            let again = |other: &Place| other.slot == place.slot;
            self.family.slots[place.slot].dated || self.line.places[..*at].iter().any(again)
        });
        uncounted
            .flat_map(|(_, place)| &self.family.tables[place.table].open)
            .flat_map(|strip| &strip.sizes)
            .fold(0.0, |most: f64, size| most.max(size.log2()))
    }

    /// Whether no way over this position is worth weighing.
    fn is_outbid(&self, at: usize, bits: f64) -> bool {
        self.room.most.get(at).is_some_and(|most| bits + most < 0.0)
    }

    /// log2 of the most that a code at a place adds to a way, if it counts.
    fn most_of(&self, place: usize, code: u32, channel: f64, share: f64) -> f64 {
        if self.room.most.is_empty() {
            return 0.0;
        }
        let slot = self.line.places[place].slot;
        let weights = &self.family.slots[slot];
        // A slot that stands twice is drawn once.
        let again = self.line.places[..place].iter().any(|p| p.slot == slot);
        if again {
            channel
        } else {
            let share = if weights.dated { 0.0 } else { share };
            channel + weights.codes[code as usize].ceiling + share
        }
    }

    /// Whether the glyph there was read as one with which the first place cannot begin: a walk would end at its first step.
    fn begins_otherwise(&self, start: usize) -> bool {
        let (Some(place), Some(tick)) = (self.line.places.first(), self.stream.ticks.get(start))
        else {
            return false;
        };
        let table = &self.family.tables[place.table];
        table.empty.is_empty()
            && table.open.is_empty()
            && matches!(tick.doubt, Doubt::Read | Doubt::Certain)
            && table.firsts >> (tick.class & 127) & 1 == 0
    }

    fn step(
        &mut self,
        place: usize,
        at: usize,
        pending: Option<(Boundary, bool)>,
        layout: f64,
        fixes: u32,
    ) -> bool {
        self.steps += 1;
        if self.steps > MAX_STEPS || self.ways.len() >= MAX_WAYS {
            self.stopped = true;
            return true;
        }
        // Where a code must be torn, it matters whether one is.
        let memo = if self.tears(at) && self.torn_before(at) {
            (self.line.places.len() + 1) * (self.stream.len() + 1) + place
        } else {
            place * (self.stream.len() + 1) + at
        };
        // What a boundary costs hangs on the one that is pending.
        let dead = self.room.dead[memo];
        let known = dead == f64::INFINITY || pending.is_none() && self.bits + layout <= dead;
        if !self.line.hard && known {
            self.outbid += u32::from(dead.is_finite());
            return false;
        }
        let (turned_off, outbid, bits) = (self.turned_off, self.outbid, self.bits);
        let mut found = false;
        if let Some(tick) = self.stream.ticks.get(at)
            && tick.doubt == Doubt::Run
        {
            found |= self.hidden(place, at, pending, layout, fixes);
        }
        let Some(here) = self.line.places.get(place) else {
            found |= self.finish(at, layout, false);
            if !found {
                self.room.dead[memo] = f64::INFINITY;
            }
            return found;
        };
        let (family, slot, table_at) = (self.family, here.slot, here.table);
        let table = &family.tables[table_at];
        let expected = here.before.or(pending);
        for empty in &table.empty {
            let spelled = &table.spelled[*empty as usize];
            self.room.path.push(Choice {
                slot,
                table: table_at,
                code: Some(spelled.code),
                how: How::Spelled(*empty),
                start: at,
                end: at,
                channel: 0.0,
                fixes: 0,
                free: false,
                share: 0.0,
                partial: false,
                doubt: 0.0,
            });
            self.bits = bits + self.most_of(place, spelled.code, 0.0, 0.0);
            if self.is_outbid(at, self.bits + layout) {
                self.outbid += 1;
            } else {
                found |= self.step(place + 1, at, expected, layout, fixes);
            }
            self.bits = bits;
            self.room.path.pop();
        }
        if let Some(gap) = self.gap_cost(at, expected) {
            let from = self.room.fits.len();
            self.fits(table, place + 1, at);
            for index in from..self.room.fits.len() {
                let fit = self.room.fits[index];
                if self.is_dead(place + 1, fit.end) {
                    continue;
                }
                if fixes + fit.fixes > MAX_FIXES {
                    self.turned_off += 1;
                    continue;
                }
                let most = bits + self.most_of(place, fit.code, fit.channel, fit.share);
                if self.is_outbid(fit.end, most + layout + gap) {
                    self.outbid += 1;
                    continue;
                }
                self.bits = most;
                self.room.path.push(Choice {
                    slot,
                    table: table_at,
                    code: Some(fit.code),
                    how: fit.how,
                    start: at,
                    end: fit.end,
                    channel: fit.channel,
                    fixes: fit.fixes,
                    free: fit.free,
                    share: fit.share,
                    partial: fit.partial,
                    doubt: fit.doubt,
                });
                found |= self.step(place + 1, fit.end, None, layout + gap, fixes + fit.fixes);
                self.room.path.pop();
            }
            self.bits = bits;
            self.room.fits.truncate(from);
        }
        // The line may have been cut off here, after at least one printed place.
        let printed = self
            .room
            .path
            .last()
            .is_some_and(|choice| choice.end > choice.start);
        if printed && at > self.start && self.line.rest[place] > 0 && self.stream.stops[at] {
            found |= self.finish(at, layout + cost::cut(at - self.start), true);
        }
        // Where the line can be cut off, that hangs on whether the place before was printed.
        let can_be_cut = self.line.rest[place] > 0 && self.stream.stops[at];
        if !found && !can_be_cut && self.turned_off == turned_off {
            if self.outbid == outbid {
                self.room.dead[memo] = f64::INFINITY;
            } else if pending.is_none() {
                self.room.dead[memo] = self.room.dead[memo].max(bits + layout);
            }
        }
        found
    }

    /// Whether the rest cannot be read from here, behind a damage.
    fn is_dead(&self, place: usize, at: usize) -> bool {
        self.alive.is_some_and(|alive| {
            alive
                .edit
                .behind(at)
                .is_some_and(|read| alive.at[place] >> read & 1 == 0)
        })
    }

    /// Whether a code must be torn there.
    fn tears(&self, at: usize) -> bool {
        self.alive
            .is_some_and(|alive| alive.torn && alive.edit.place() == at)
    }

    /// Whether the path has a code of which the end lies in the unread run there.
    fn torn_before(&self, at: usize) -> bool {
        let mut path = self.room.path.iter().rev();
        path.any(|choice| choice.partial && choice.code.is_some() && choice.end == at)
    }

    /// At an unread run: leave it, or let this place lie in it as a whole.
    fn hidden(
        &mut self,
        place: usize,
        at: usize,
        pending: Option<(Boundary, bool)>,
        layout: f64,
        fixes: u32,
    ) -> bool {
        let leaves = !self.tears(at) || self.torn_before(at);
        let mut found =
            leaves && !self.is_dead(place, at + 1) && self.step(place, at + 1, None, layout, fixes);
        if let Some(here) = self.line.places.get(place) {
            self.room.path.push(Choice {
                slot: here.slot,
                table: here.table,
                code: None,
                how: How::Hidden,
                start: at,
                end: at,
                channel: 0.0,
                fixes: 0,
                free: false,
                share: 0.0,
                partial: false,
                doubt: 0.0,
            });
            found |= self.step(place + 1, at, pending, layout, fixes);
            self.room.path.pop();
        }
        found
    }

    fn finish(&mut self, at: usize, layout: f64, cut: bool) -> bool {
        if at == self.start || !self.stream.stops[at] {
            return false;
        }
        // What ends before the damage is known.
        if self.alive.is_some_and(|alive| {
            !matches!(alive.edit, Edit::Turned(_)) && alive.edit.behind(at).is_none()
        }) {
            return false;
        }
        let layout = layout + self.stream.after(self.start, at);
        self.ways.push(Way {
            start: self.start,
            end: at,
            choices: self.room.path.clone(),
            layout,
            cut,
        });
        true
    }

    /// log2 cost of the boundary before the glyph at `at`; `None` where a hard one is missing.
    fn gap_cost(&self, at: usize, expected: Option<(Boundary, bool)>) -> Option<f64> {
        if at == self.start {
            return Some(0.0);
        }
        // Beside an unread run nothing is known of boundaries.
        if at > 0 && self.stream.ticks[at - 1].doubt == Doubt::Run {
            return Some(0.0);
        }
        let gap = self.stream.ticks.get(at)?.gap;
        gap_between(gap, expected)
    }

    /// Adds what of a table fits at a position, with place `next` behind it, to the room's fits.
    fn fits(&mut self, table: &Table, next: usize, at: usize) {
        let ticks = &self.stream.ticks[at..];
        let mut longest = (64 - table.lengths.leading_zeros() as usize).saturating_sub(1);
        if ticks
            .first()
            .is_some_and(|tick| table.firsts >> (tick.class & 127) & 1 == 0)
        {
            longest = 0;
        }
        let (mut run, mut length) = (0, 0);
        while length < longest
            && let Some(tick) = ticks.get(length)
            && matches!(tick.doubt, Doubt::Read | Doubt::Certain)
        {
            run = key(run, tick.class);
            length += 1;
            if table.lengths >> length.min(63) & 1 == 0 {
                continue;
            }
            for entry in table.of_key(run, length) {
                match entry.plain() {
                    Some((code, ids)) => self.fit_plain(entry.index, code, &ids[..length], at),
                    None => {
                        let spelled = &table.spelled[entry.index as usize];
                        if spelled.ids.len() == length {
                            self.fit_spelled(table, entry.index, spelled, at);
                        }
                    }
                }
            }
        }
        if self.stream.doubtful {
            let plain = ticks
                .iter()
                .take_while(|tick| matches!(tick.doubt, Doubt::Read | Doubt::Certain))
                .count();
            if plain < ticks.len() {
                if ticks[plain].doubt == Doubt::Run && plain == 0 {
                    self.fits_behind_run(table, next, at);
                } else {
                    self.fits_doubtful(table, next, at, plain);
                }
            }
        }
        for (index, strip) in (0_u32..).zip(&table.open) {
            self.fit_open(table, index, strip, at);
        }
    }

    /// The same for spellings of more than `plain` glyphs, so many of which were read for sure, and the next was not.
    fn fits_doubtful(&mut self, table: &Table, next: usize, at: usize, plain: usize) {
        let ticks = &self.stream.ticks[at..];
        if plain >= table.max {
            return;
        }
        let classes: SmallVec<[u8; 32]> = ticks[..plain].iter().map(|tick| tick.class).collect();
        // A spelling that runs into no unread run ends behind as many glyphs as it has.
        let window = &ticks[..ticks.len().min(table.max)];
        let exact = window.iter().all(|tick| tick.doubt != Doubt::Run);
        for index in table.beginning(&classes, self.alphabet) {
            let spelled = &table.spelled[*index as usize];
            let length = spelled.ids.len();
            if length > plain
                && !(exact && (length > window.len() || self.is_dead(next, at + length)))
            {
                self.fit_spelled(table, *index, spelled, at);
            }
        }
    }

    /// The same for spellings of which the beginning lies in the unread run there.
    fn fits_behind_run(&mut self, table: &Table, next: usize, at: usize) {
        let behind = &self.stream.ticks[at + 1..];
        let most = table.max.saturating_sub(1).min(behind.len());
        let mut fitting: Vec<u32> = Vec::new();
        let mut classes: SmallVec<[u8; 32]> = SmallVec::new();
        for length in (1..=most).filter(|length| !self.is_dead(next, at + 1 + length)) {
            let end = &behind[..length];
            // What was read before the first glyph that was not, from there on anything.
            let known = end
                .iter()
                .rev()
                .take_while(|tick| matches!(tick.doubt, Doubt::Read | Doubt::Certain));
            classes.clear();
            classes.extend(known.map(|tick| tick.class));
            let ending = table.ending(&classes, self.alphabet).iter().copied();
            fitting.extend(ending.filter(|index| {
                let ids = &table.spelled[*index as usize].ids;
                ids.len() > length
            }));
        }
        table.in_order(&mut fitting, self.alphabet);
        for index in fitting {
            self.fit_spelled(table, index, &table.spelled[index as usize], at);
        }
    }

    /// The same as [`Walker::fit_spelled`] for glyphs that were all read and of which nothing but themselves is asked.
    fn fit_plain(&mut self, index: u32, code: u32, ids: &[u8], at: usize) {
        let (mut channel, mut fixes) = (0.0, 0);
        for (j, (id, tick)) in ids.iter().zip(&self.stream.ticks[at..]).enumerate() {
            if j > 0 && tick.gap != Gap::Within(Boundary::None) {
                channel += gap_within(tick.gap, None);
            }
            let Some((bits, fixed)) = self.take(*id, tick) else {
                return;
            };
            channel += bits;
            fixes += fixed;
        }
        self.room.fits.push(Fit {
            how: How::Spelled(index),
            code,
            end: at + ids.len(),
            channel,
            fixes,
            free: false,
            share: 0.0,
            partial: false,
            doubt: 0.0,
        });
    }

    fn fit_spelled(&mut self, table: &Table, index: u32, spelled: &Spelled, at: usize) {
        let mut ends = std::mem::take(&mut self.room.ends);
        ends.clear();
        let glyph = |j: usize, tick: &Tick| -> Option<(f64, u32)> {
            let (mut bits, fixed) = self.take(spelled.ids[j], tick)?;
            if table.cased && spelled.ids[j] < 36 && spelled.ids[j] >= 10 {
                bits += self.stream.case_cost(spelled.is_lower(j), tick);
            }
            Some((bits, fixed))
        };
        self.run(
            spelled.ids.len(),
            at,
            glyph,
            |j, _| spelled.before(j),
            &mut ends,
        );
        for (end, channel, fixes) in &ends {
            self.room.fits.push(Fit {
                how: How::Spelled(index),
                code: spelled.code,
                end: *end,
                channel: *channel,
                fixes: *fixes,
                free: false,
                share: 0.0,
                partial: end - at != spelled.ids.len() || self.runs(at, *end),
                doubt: 0.0,
            });
        }
        self.room.ends = ends;
    }

    /// Where a table can end that is read from a position on, as bits.
    pub(super) fn ends(&mut self, table: &Table, at: usize) -> u128 {
        let empty = if table.empty.is_empty() { 0 } else { 1 << at };
        self.room.fits.clear();
        self.fits(table, 0, at);
        self.room
            .fits
            .iter()
            .fold(empty, |ends, fit| ends | 1_u128 << fit.end)
    }

    /// log2 of how many strings the unread places of a strip leave.
    fn doubt(&self, strip: &OpenStrip, start: usize, end: usize) -> f64 {
        let places = strip.sets.iter().zip(&strip.sizes);
        self.stream.ticks[start..end]
            .iter()
            .take_while(|tick| tick.doubt != Doubt::Run)
            .zip(places)
            .map(|(tick, (set, size))| match tick.doubt {
                Doubt::Unread => size.log2(),
                Doubt::OneOf => f64::from((set & tick.set()).count_ones()).log2(),
                Doubt::Other => f64::from((set & !tick.set()).count_ones()).log2(),
                _ => 0.0,
            })
            .sum()
    }

    fn runs(&self, start: usize, end: usize) -> bool {
        self.stream.doubtful
            && self.stream.ticks[start..end]
                .iter()
                .any(|tick| tick.doubt == Doubt::Run)
    }

    fn fit_open(&mut self, table: &Table, index: u32, strip: &OpenStrip, at: usize) {
        if strip.sets.is_empty() {
            return;
        }
        let mut ends = std::mem::take(&mut self.room.ends);
        ends.clear();
        let glyph = |j: usize, tick: &Tick| -> Option<(f64, u32)> {
            let (mut bits, fixed) = self.take_of(strip.sets[j], strip.sizes[j], tick)?;
            let letters_only = strip.sets[j] & 0x3ff == 0;
            if table.cased && letters_only {
                bits += self.stream.case_cost(strip.lower[j], tick);
            }
            Some((bits, fixed))
        };
        // In a slot that takes any text a dash is text as well.
        let expected = |_, tick: &Tick| match tick.gap {
            Gap::Within(read) if strip.free => read,
            _ => Boundary::None,
        };
        self.run(strip.sets.len(), at, glyph, expected, &mut ends);
        for (end, channel, fixes) in &ends {
            if !unlisted_only(table, strip, &self.stream.ticks[at..*end], self.alphabet) {
                continue;
            }
            self.room.fits.push(Fit {
                how: How::Open(index),
                code: strip.code,
                end: *end,
                channel: *channel,
                fixes: *fixes,
                free: strip.free,
                share: strip.share,
                partial: end - at != strip.sets.len() || self.runs(at, *end),
                doubt: if self.stream.doubtful {
                    self.doubt(strip, at, *end)
                } else {
                    0.0
                },
            });
        }
        self.room.ends = ends;
    }

    /// Matches `length` glyphs from `at`, through runs if there are any; `ends` gets (end, log2 channel, fixes).
    fn run(
        &self,
        length: usize,
        at: usize,
        glyph: impl Fn(usize, &Tick) -> Option<(f64, u32)>,
        expected: impl Fn(usize, &Tick) -> Boundary,
        ends: &mut Vec<(usize, f64, u32)>,
    ) {
        let ticks = &self.stream.ticks;
        let (mut channel, mut fixes, mut position) = (0.0, 0, at);
        for j in 0..length {
            let Some(tick) = ticks.get(position) else {
                return;
            };
            if tick.doubt == Doubt::Run {
                // The rest lies in the run, or some of it and then what follows the run is its end.
                if j > 0 {
                    ends.push((position, channel, fixes));
                }
                for hidden in usize::from(j == 0)..length - j {
                    let (mut after, mut bits, mut fixed) = (position + 1, channel, fixes);
                    let fits = (j + hidden..length).all(|k| {
                        let taken = ticks
                            .get(after)
                            .filter(|tick| tick.doubt != Doubt::Run)
                            .and_then(|tick| glyph(k, tick));
                        after += 1;
                        taken.is_some_and(|(b, f)| {
                            bits += b;
                            fixed += f;
                            true
                        })
                    });
                    if fits {
                        ends.push((after, bits, fixed));
                    }
                }
                return;
            }
            if j > 0 {
                let boundary = Some((expected(j, tick), false))
                    .filter(|(boundary, _)| *boundary != Boundary::None);
                channel += gap_within(tick.gap, boundary);
            }
            let Some((bits, fixed)) = glyph(j, tick) else {
                return;
            };
            channel += bits;
            fixes += fixed;
            position += 1;
        }
        ends.push((position, channel, fixes));
    }

    /// log2 P(tick | true glyph `t`) and whether that is a look-alike.
    fn take(&self, t: u8, tick: &Tick) -> Option<(f64, u32)> {
        let bits = match tick.doubt {
            Doubt::Read => self.alphabet.channel(t, tick.id),
            Doubt::Certain if t == tick.id && t != crate::compile::OTHER => 0.0,
            Doubt::Certain if self.alphabet.alike(t) >> tick.id & 1 == 1 => cost::CONTRADICTED,
            Doubt::Certain => return None,
            Doubt::OneOf if tick.set() >> t & 1 == 1 => 0.0,
            Doubt::OneOf => return None,
            Doubt::Unread | Doubt::Run => 0.0,
            Doubt::Other => self.alphabet.strange(t, tick.id),
        };
        let fixed = u32::from(
            matches!(tick.doubt, Doubt::Read | Doubt::Certain | Doubt::Other) && t != tick.id,
        );
        bits.is_finite().then_some((bits, fixed))
    }

    /// The same for a glyph of a set: the glyph itself if it belongs, else its likeliest look-alike of the set.
    fn take_of(&self, set: u128, size: f64, tick: &Tick) -> Option<(f64, u32)> {
        match tick.doubt {
            Doubt::Read | Doubt::Certain if set >> tick.id & 1 == 1 => {
                let sure = tick.doubt == Doubt::Certain || tick.id == crate::compile::OTHER;
                Some((
                    if sure {
                        0.0
                    } else {
                        self.alphabet.channel(tick.id, tick.id)
                    },
                    0,
                ))
            }
            Doubt::Read | Doubt::Certain => {
                let best = likeliest(set, tick.id, self.alphabet)?;
                if tick.doubt == Doubt::Certain {
                    return Some((cost::CONTRADICTED, 1));
                }
                Some((self.alphabet.channel(best, tick.id), 1))
            }
            Doubt::OneOf => {
                let shared = (set & tick.set()).count_ones();
                (shared > 0).then(|| (f64::from(shared).log2(), 0))
            }
            Doubt::Unread | Doubt::Run => Some((size.log2(), 0)),
            // What belongs to the set as read needs no other glyph.
            Doubt::Other if set >> tick.id & 1 == 1 => None,
            Doubt::Other => {
                let (_, sum) = strangest(set, tick.id, self.alphabet)?;
                Some((sum, 1))
            }
        }
    }
}

impl Stream {
    /// log2 cost of what follows in the same line on a line of the form that ends before the glyph at `at`.
    pub(super) fn after(&self, start: usize, at: usize) -> f64 {
        match self.ticks.get(at).map(|tick| tick.gap) {
            None | Some(Gap::Line) => 0.0,
            Some(Gap::Within(Boundary::Space)) => cost::BEFORE_TEXT,
            Some(Gap::Within(_)) => {
                let goes_on = |gap| matches!(gap, Gap::Within(b) if b != Boundary::Space);
                let tail = (at..self.len())
                    .take_while(|i| *i == at || goes_on(self.ticks[*i].gap))
                    .count();
                if tail > at - start {
                    cost::TAIL + cost::LONG_TAIL
                } else {
                    cost::TAIL
                }
            }
        }
    }

    /// log2 cost of the case of a letter where case counts.
    pub(super) fn case_cost(&self, lower: bool, tick: &Tick) -> f64 {
        if tick.lower == lower || matches!(tick.doubt, Doubt::Unread | Doubt::Run | Doubt::Other) {
            0.0
        } else if self.capitals[usize::from(tick.line)] {
            cost::CASE_LOST
        } else {
            cost::CASE
        }
    }
}

/// The look-alike of `read` in `set` that is likeliest to be read so.
pub(crate) fn likeliest(set: u128, read: u8, alphabet: &Alphabet) -> Option<u8> {
    let mut alike = alphabet.alike(read) & set;
    let mut best: Option<(u8, f64)> = None;
    while alike != 0 {
        let id = alike.trailing_zeros() as u8;
        alike &= alike - 1;
        let bits = alphabet.channel(id, read);
        if best.is_none_or(|(_, b)| bits > b) {
            best = Some((id, bits));
        }
    }
    best.map(|(id, _)| id)
}

/// The glyph of `set` that is likeliest to be read as `read` although it looks nothing like it, and log2 of the sum over all of them.
pub(crate) fn strangest(set: u128, read: u8, alphabet: &Alphabet) -> Option<(u8, f64)> {
    let mut left = set & ((1 << 36) - 1);
    let (mut best, mut sum): (Option<(u8, f64)>, f64) = (None, 0.0);
    while left != 0 {
        let id = left.trailing_zeros() as u8;
        left &= left - 1;
        let bits = alphabet.strange(id, read);
        if !bits.is_finite() {
            continue;
        }
        sum += bits.exp2();
        if best.is_none_or(|(_, known)| bits > known) {
            best = Some((id, bits));
        }
    }
    best.map(|(id, _)| (id, sum.log2()))
}

/// The one string that a strip is taken for, if every glyph of the stretch was read.
pub(crate) fn taken(strip: &OpenStrip, ticks: &[Tick], alphabet: &Alphabet) -> Option<Vec<u8>> {
    if ticks.len() != strip.sets.len() {
        return None;
    }
    ticks
        .iter()
        .zip(&strip.sets)
        .map(|(tick, set)| match tick.doubt {
            Doubt::Read | Doubt::Certain if set >> tick.id & 1 == 1 => Some(tick.id),
            Doubt::Read | Doubt::Certain => likeliest(*set, tick.id, alphabet),
            _ => None,
        })
        .collect()
}

/// Whether a stretch taken for a strip is left to it: what the table lists is no open code, unless a guard may keep it from being that one.
pub(super) fn unlisted_only(
    table: &Table,
    strip: &OpenStrip,
    ticks: &[Tick],
    alphabet: &Alphabet,
) -> bool {
    table.listed.is_empty()
        || taken(strip, ticks, alphabet).is_none_or(|taken| {
            !listed_as(table, &taken, alphabet).any(|guard| guard.is_none() || strip.unlisted)
        })
}

/// The guards under which a table lists a string; `None` for one without a guard.
fn listed_as<'t>(
    table: &'t Table,
    taken: &'t [u8],
    alphabet: &Alphabet,
) -> impl Iterator<Item = Option<u32>> + 't {
    let key = taken
        .iter()
        .fold(0, |run, id| key(run, alphabet.class(*id)));
    table
        .listed_of_key(key)
        .filter(move |(ids, _)| ids == taken)
        .map(|(_, guard)| *guard)
}

/// Adds the conditions of a choice, with the truth that they must have.
pub(crate) fn conditions(
    choice: &Choice,
    family: &FamilyProgram,
    stream: &Stream,
    alphabet: &Alphabet,
    conds: &mut SmallVec<[(u32, bool); 16]>,
) {
    let table = &family.tables[choice.table];
    match choice.how {
        How::Hidden => {}
        How::Spelled(index) => conds.extend_from_slice(&table.spelled[index as usize].conds),
        How::Open(index) => {
            let strip = &table.open[index as usize];
            conds.extend(strip.guard.map(|guard| (guard, true)));
            if table.listed.iter().any(|(_, guard)| guard.is_some())
                && let Some(taken) = taken(strip, &stream.ticks[choice.start..choice.end], alphabet)
            {
                let guards = listed_as(table, &taken, alphabet).flatten();
                conds.extend(guards.map(|guard| (guard, false)));
            }
        }
    }
}

/// log2 cost of a gap between two glyphs of one code.
fn gap_within(gap: Gap, expected: Option<(Boundary, bool)>) -> f64 {
    match gap {
        Gap::Line => cost::TORN,
        Gap::Within(_) => gap_between(gap, expected).unwrap_or(0.0),
    }
}

/// log2 cost of a gap against what the form expects there; `None` where a hard boundary is missing.
#[inline]
pub(super) fn gap_between(gap: Gap, expected: Option<(Boundary, bool)>) -> Option<f64> {
    let bits = match (gap, expected) {
        (Gap::Line, _) => cost::BROKEN,
        (Gap::Within(Boundary::None), None) => 0.0,
        (Gap::Within(read), Some((boundary, _))) if read == boundary => 0.0,
        (Gap::Within(_), Some((_, true))) => return None,
        (Gap::Within(Boundary::None), Some(_)) => cost::LOST,
        (Gap::Within(Boundary::Space), None) => cost::SPACED,
        (Gap::Within(_), None) => cost::ADDED,
        (Gap::Within(_), Some(_)) => cost::OTHER_KIND,
    };
    Some(bits)
}
