//! The way of most readings in a list: one line, every glyph read, families whose slots no condition ties.
//!
//! It finds what `explain` finds for them, and weighs it as it walks: an explanation is built only of what is told. `light` of a row says
//! which rows it can take; a reading that may be anything else goes the long way.

use jiff::civil::Date;
use rustc_hash::FxHashMap;
use smallvec::SmallVec;

use super::assign::{Branch, Known};
use super::dates::{DateRead, SeenPart, Years, read};
use super::explain::{Decoder, Explanation, Scratch};
use super::stream::{Doubt, Gap, Stream, Tick};
use super::walk::{Choice, How, MAX_FIXES, cost, gap_between, likeliest, unlisted_only};
use crate::compile::{
    FamilyProgram, LightEntry, LightFamily, LightPlace, LightRow, LightStrip, LightTable, OTHER,
    Spelled, Table,
};
use crate::glyph::Boundary;
use crate::model::{Family, FamilyId};

/// Most steps for one reading; one that takes more goes the long way.
const MAX_STEPS: u32 = 4_000;
/// Most dates that are kept.
const MAX_DATES: usize = 50_000;
/// Codes of a slot from which on a date rule is not compared with those of other families.
const MANY_CODES: usize = 64;

/// A place taken for a code; which place of the line, its number among the picks says.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Pick {
    pub(crate) code: u32,
    pub(crate) how: How,
    pub(crate) start: u32,
    pub(crate) end: u32,
    fixes: u32,
    pub(crate) channel: f64,
    share: f64,
    /// log2 P(code); of a date the first slot has it all.
    pub(crate) bits: f64,
    pub(crate) free: bool,
}

/// One way to take a stretch of the reading.
#[derive(Debug, Clone)]
pub(crate) struct Leaf {
    pub(crate) row: u32,
    picks: (u32, u32),
    pub(crate) start: usize,
    pub(crate) end: usize,
    layout: f64,
    form: f64,
    cut: bool,
    /// Rule and date, as kept.
    dates: SmallVec<[(u32, u32); 1]>,
    /// log2 of its odds against none.
    pub(crate) bits: f64,
}

/// What a family explains: its leaves, in the order found.
#[derive(Debug, Clone)]
pub(crate) struct Light {
    pub(crate) family: FamilyId,
    pub(crate) leaves: (usize, usize),
}

/// Buffers, kept between readings.
#[derive(Debug, Default)]
pub(crate) struct Room {
    path: Vec<Pick>,
    picks: Vec<Pick>,
    pub(crate) leaves: Vec<Leaf>,
    pub(crate) families: Vec<Light>,
    dates: Dates,
}

/// What the odds of a leaf are made of beside the rule.
pub(crate) struct Odds<'a> {
    /// log2 of the prior odds of a family.
    pub(crate) prior: &'a dyn Fn(FamilyId) -> f64,
    /// log2 of the probability of a stretch if no rule knows it.
    pub(crate) text: &'a dyn Fn(usize, usize) -> f64,
    /// The same of a stretch where any text may stand.
    pub(crate) free: &'a dyn Fn(usize, usize) -> f64,
    /// What text beside it costs a family.
    pub(crate) beside: &'a dyn Fn(&Family) -> f64,
    /// How far below the best of its family a leaf is not kept.
    pub(crate) within: f64,
}

/// Dates already read, by the rule's make.
#[derive(Debug, Default)]
struct Dates {
    seen: Option<Date>,
    /// By family and rule the number of the make.
    makes: FxHashMap<(u32, u32), u32>,
    numbers: FxHashMap<String, u32>,
    known: FxHashMap<(u32, SmallVec<[u8; 24]>), Option<u32>>,
    read: Vec<DateRead>,
}

impl Decoder<'_> {
    /// Whether a filled stream may go this way at all.
    pub(crate) fn may_be_light(&self, scratch: &Scratch) -> bool {
        let stream = &scratch.stream;
        self.indexed()
            && stream.capitals.len() == 1
            && stream.ticks.iter().all(|tick| tick.doubt == Doubt::Read)
    }

    /// Finds and weighs all leaves of a filled stream into the room, by family; false where the reading has to go the long way. The rows
    /// must have been found.
    pub(crate) fn lightly(&self, seen: Date, scratch: &mut Scratch, odds: &Odds<'_>) -> bool {
        let light = |(family, row): &(u32, u32)| {
            self.program.families[*family as usize].rows[*row as usize].light
        };
        let Scratch {
            stream,
            rows,
            begins,
            light: room,
            ..
        } = scratch;
        if !rows.iter().all(light) {
            return false;
        }
        room.leaves.clear();
        room.picks.clear();
        room.families.clear();
        room.dates.on(seen);
        let mut walk = Walk {
            decoder: self,
            stream,
            odds,
            room,
            best: f64::NEG_INFINITY,
            steps: 0,
            texts: SmallVec::new(),
        };
        for of_family in begins.chunk_by(|a, b| a.line.family == b.line.family) {
            let id = of_family[0].line.family as usize;
            let (program, model) = (&self.program.families[id], &self.rules.families[id]);
            let light = program.light(model, self.rules);
            let before = walk.room.leaves.len();
            walk.best = f64::NEG_INFINITY;
            let prior = (odds.prior)(program.id);
            for begin in of_family {
                let row = &light.rows[begin.line.row as usize];
                let number = begin.start as usize;
                let (start, nearest) = (stream.starts[number], stream.nearest[number]);
                if nearest - start > row.most as usize {
                    continue;
                }
                let at = At {
                    program,
                    model,
                    light,
                    row,
                    row_at: begin.line.row,
                    places: light.places(row),
                    start,
                    base: prior + row.form,
                };
                walk.room.path.clear();
                let layout = match stream.ticks[start].gap {
                    Gap::Within(_) => cost::AFTER_TEXT,
                    Gap::Line => 0.0,
                };
                walk.step(
                    &at,
                    0,
                    start,
                    None,
                    So {
                        layout,
                        bits: 0.0,
                        free: 0.0,
                        fixes: 0,
                        unlisted: 0,
                    },
                );
            }
            let after = walk.room.leaves.len();
            if after > before {
                walk.room.families.push(Light {
                    family: program.id,
                    leaves: (before, after),
                });
            }
        }
        walk.steps <= MAX_STEPS
    }

    /// A leaf as an explanation.
    pub(crate) fn explanation(&self, family: FamilyId, leaf: &Leaf, room: &Room) -> Explanation {
        let (program, _) = self.family(family);
        let row = &program.rows[leaf.row as usize];
        let places = &row.lines[0].places;
        let mut branch = Branch {
            known: SmallVec::from_elem(Known::Open, program.slots.len()),
            bits: SmallVec::from_elem(0.0, program.slots.len()),
            form: leaf.form,
            broken: Vec::new(),
            dates: Vec::new(),
            breach: 0.0,
        };
        let picks = room.picks(leaf);
        let mut choices = Vec::with_capacity(picks.len());
        for (pick, place) in picks.iter().zip(places) {
            branch.known[place.slot] = Known::Seen(pick.code);
            branch.bits[place.slot] = pick.bits;
            choices.push(Choice {
                slot: place.slot,
                table: place.table,
                code: Some(pick.code),
                how: pick.how,
                start: pick.start as usize,
                end: pick.end as usize,
                channel: pick.channel,
                fixes: pick.fixes,
                free: pick.free,
                share: pick.share,
                partial: false,
                doubt: 0.0,
            });
        }
        let dates = room.dates(leaf);
        branch.dates = dates.map(|(rule, date)| (rule, date.clone())).collect();
        Explanation {
            family,
            row: leaf.row as usize,
            segments: SmallVec::from_slice(&[(leaf.start, leaf.end)]),
            choices,
            branch,
            layout: leaf.layout,
            conflicts: Vec::new(),
            failed: Vec::new(),
            checks: 0.0,
            cut: leaf.cut,
            edit: None,
        }
    }
}

impl Room {
    /// Forgets what is kept between readings.
    pub(super) fn forget(&mut self) {
        self.dates = Dates::default();
    }

    /// What a leaf takes each place for.
    pub(crate) fn picks(&self, leaf: &Leaf) -> &[Pick] {
        &self.picks[leaf.picks.0 as usize..leaf.picks.1 as usize]
    }

    /// The dates of a leaf, by rule.
    pub(crate) fn dates(&self, leaf: &Leaf) -> impl Iterator<Item = (usize, &DateRead)> {
        let kept = leaf.dates.iter();
        kept.map(|(rule, date)| (*rule as usize, &self.dates.read[*date as usize]))
    }

    /// Whether a leaf takes the whole reading, of `glyphs` glyphs, as it stands.
    pub(crate) fn is_exact(&self, leaf: &Leaf, glyphs: usize) -> bool {
        !leaf.cut
            && (leaf.start, leaf.end) == (0, glyphs)
            && self.picks(leaf).iter().all(|pick| pick.fixes == 0)
            && !self.dates(leaf).any(|(_, date)| date.future)
    }
}

/// The row that is walked.
struct At<'p> {
    program: &'p FamilyProgram,
    model: &'p Family,
    light: &'p LightFamily,
    row: &'p LightRow,
    row_at: u32,
    places: &'p [LightPlace],
    start: usize,
    /// log2 of prior and form.
    base: f64,
}

/// What the path has come to.
#[derive(Clone, Copy)]
struct So {
    layout: f64,
    /// log2 of codes and glyphs, without dates.
    bits: f64,
    /// log2 of the probability of text that may be any, if no rule knows it.
    free: f64,
    fixes: u32,
    unlisted: u32,
}

struct Walk<'a, 'd> {
    decoder: &'a Decoder<'d>,
    stream: &'a Stream,
    odds: &'a Odds<'a>,
    room: &'a mut Room,
    /// The best leaf of the family so far.
    best: f64,
    steps: u32,
    /// Stretches already asked for.
    texts: SmallVec<[(usize, usize, f64); 8]>,
}

impl Walk<'_, '_> {
    fn step(
        &mut self,
        here: &At<'_>,
        place: usize,
        at: usize,
        pending: Option<(Boundary, bool)>,
        so: So,
    ) {
        self.steps += 1;
        if self.steps > MAX_STEPS {
            return;
        }
        let Some(next) = here.places.get(place) else {
            return self.leaf(here, at, so, false);
        };
        let table = &here.light.tables[next.table as usize];
        let expected = next.before.or(pending);
        for empty in here.light.empty(table) {
            let pick = Pick {
                code: empty.entry.code(),
                how: How::Spelled(empty.entry.index),
                start: at as u32,
                end: at as u32,
                fixes: 0,
                channel: 0.0,
                share: 0.0,
                bits: empty.alone,
                free: false,
            };
            self.take(here, place, table.dated, empty.unlisted, pick, expected, so);
        }
        if let Some(gap) = self.gap_cost(here, at, expected) {
            let so = So {
                layout: so.layout + gap,
                ..so
            };
            self.listed(here, place, table, at, so);
            for strip in here.light.strips(table) {
                self.open(here, place, table, strip, at, so);
            }
        }
        let printed = |pick: &Pick| pick.end > pick.start;
        if next.needs
            && at > here.start
            && self.stream.stops[at]
            && self.room.path.last().is_some_and(printed)
        {
            let so = So {
                layout: so.layout + cost::cut(at - here.start),
                ..so
            };
            self.leaf(here, at, so, true);
        }
    }

    /// Takes a place for a code and goes on behind it.
    #[allow(clippy::too_many_arguments)]
    fn take(
        &mut self,
        here: &At<'_>,
        place: usize,
        dated: bool,
        unlisted: bool,
        mut pick: Pick,
        pending: Option<(Boundary, bool)>,
        so: So,
    ) {
        let fixes = so.fixes + pick.fixes;
        let unlisted = so.unlisted + u32::from(unlisted);
        // A part whose codes are new in two places at once is rather another part.
        if fixes > MAX_FIXES || unlisted > 1 {
            return;
        }
        // The calendar says how likely the codes of a date are.
        if dated {
            pick.bits = 0.0;
        }
        let so = So {
            bits: so.bits + pick.bits + pick.channel,
            fixes,
            unlisted,
            ..so
        };
        self.room.path.push(pick);
        self.step(here, place + 1, pick.end as usize, pending, so);
        self.room.path.pop();
    }

    /// Tries the spellings that stand at a position.
    fn listed(&mut self, here: &At<'_>, place: usize, table: &LightTable, at: usize, so: So) {
        let ticks = &self.stream.ticks[at..];
        let Some(first) = ticks.first() else { return };
        if table.firsts >> (first.class & 127) & 1 == 0 {
            return;
        }
        let longest = (64 - table.lengths.leading_zeros() as usize).saturating_sub(1);
        let mut run = 0;
        for (length, tick) in (1..=longest).zip(ticks) {
            run = crate::compile::key(run, tick.class);
            if table.lengths >> length.min(63) & 1 == 0 {
                continue;
            }
            for found in here.light.of_key(table, run, length) {
                let Some((channel, fixes)) = self.fit(here, place, found, &ticks[..length]) else {
                    continue;
                };
                let pick = Pick {
                    code: found.entry.code(),
                    how: How::Spelled(found.entry.index),
                    start: at as u32,
                    end: (at + length) as u32,
                    fixes,
                    channel,
                    share: 0.0,
                    bits: found.alone,
                    free: false,
                };
                self.take(here, place, table.dated, found.unlisted, pick, None, so);
            }
        }
    }

    /// log2 P(glyphs read | a spelling), and how many are taken for look-alikes.
    fn fit(
        &self,
        here: &At<'_>,
        place: usize,
        found: &LightEntry,
        ticks: &[Tick],
    ) -> Option<(f64, u32)> {
        if let Some((_, ids)) = found.entry.plain() {
            return self.plain(&ids[..ticks.len()], ticks);
        }
        let table = &here.program.tables[here.places[place].table as usize];
        let spelled = &table.spelled[found.entry.index as usize];
        if spelled.ids.len() == ticks.len() {
            self.spelled(table, spelled, ticks)
        } else {
            None
        }
    }

    /// log2 P(glyphs read | a spelling of which nothing but its glyphs is asked), and how many are taken for look-alikes.
    fn plain(&self, ids: &[u8], ticks: &[Tick]) -> Option<(f64, u32)> {
        let alphabet = &self.decoder.program.alphabet;
        let (mut channel, mut fixes) = (0.0, 0);
        for (j, (id, tick)) in ids.iter().zip(ticks).enumerate() {
            if j > 0 && tick.gap != Gap::Within(Boundary::None) {
                channel += gap_between(tick.gap, None).unwrap_or(0.0);
            }
            channel += alphabet.channel(*id, tick.id);
            fixes += u32::from(*id != tick.id);
        }
        (channel > f64::NEG_INFINITY).then_some((channel, fixes))
    }

    /// The same for any spelling.
    fn spelled(&self, table: &Table, spelled: &Spelled, ticks: &[Tick]) -> Option<(f64, u32)> {
        let alphabet = &self.decoder.program.alphabet;
        let (mut channel, mut fixes) = (0.0, 0);
        for (j, (id, tick)) in spelled.ids.iter().zip(ticks).enumerate() {
            if j > 0 {
                let boundary = spelled.before(j);
                let expected = (boundary != Boundary::None).then_some((boundary, false));
                channel += gap_between(tick.gap, expected).unwrap_or(0.0);
            }
            channel += alphabet.channel(*id, tick.id);
            fixes += u32::from(*id != tick.id);
            if table.cased && (10..36).contains(id) {
                channel += self.stream.case_cost(spelled.is_lower(j), tick);
            }
        }
        (channel > f64::NEG_INFINITY).then_some((channel, fixes))
    }

    /// Tries an open strip at a position.
    fn open(
        &mut self,
        here: &At<'_>,
        place: usize,
        table: &LightTable,
        strip: &LightStrip,
        at: usize,
        so: So,
    ) {
        let sets = here.light.sets(strip);
        let length = sets.len();
        let Some(ticks) = self.stream.ticks.get(at..at + length) else {
            return;
        };
        if ticks.is_empty() {
            return;
        }
        let alphabet = &self.decoder.program.alphabet;
        let (mut channel, mut fixes) = (0.0, 0);
        for (j, (set, tick)) in sets.iter().zip(ticks).enumerate() {
            if set >> tick.id & 1 == 1 {
                if tick.id != OTHER {
                    channel += alphabet.channel(tick.id, tick.id);
                }
            } else {
                let Some(best) = likeliest(*set, tick.id, alphabet) else {
                    return;
                };
                channel += alphabet.channel(best, tick.id);
                fixes += 1;
            }
            if j > 0 && tick.gap != Gap::Within(Boundary::None) {
                let expected = match tick.gap {
                    // In a slot that takes any text a dash is text as well.
                    Gap::Within(read) if strip.free => Some((read, false)),
                    _ => None,
                };
                channel += gap_between(tick.gap, expected).unwrap_or(0.0);
            }
        }
        if table.cased || table.lists {
            let table = &here.program.tables[here.places[place].table as usize];
            let strip = &table.open[strip.index as usize];
            let lower = strip.lower.iter().zip(sets);
            for ((lower, set), tick) in lower.zip(ticks) {
                if table.cased && set & 0x3ff == 0 {
                    channel += self.stream.case_cost(*lower, tick);
                }
            }
            if !unlisted_only(table, strip, ticks, alphabet) {
                return;
            }
        }
        let so = if strip.free {
            let text = (self.odds.free)(at, at + length);
            So {
                free: so.free + text,
                ..so
            }
        } else {
            so
        };
        let pick = Pick {
            code: strip.code,
            how: How::Open(strip.index),
            start: at as u32,
            end: (at + length) as u32,
            fixes,
            channel,
            share: strip.share,
            bits: strip.alone + strip.share,
            free: strip.free,
        };
        self.take(here, place, table.dated, strip.unlisted, pick, None, so);
    }

    /// log2 cost of the boundary before the glyph at `at`; `None` where a hard one is missing, or nothing follows.
    fn gap_cost(
        &self,
        here: &At<'_>,
        at: usize,
        expected: Option<(Boundary, bool)>,
    ) -> Option<f64> {
        if at == here.start {
            return Some(0.0);
        }
        gap_between(self.stream.ticks.get(at)?.gap, expected)
    }

    /// Weighs the path as a way to take the stretch up to `at`.
    fn leaf(&mut self, here: &At<'_>, at: usize, so: So, cut: bool) {
        let stream = self.stream;
        if at == here.start || !stream.stops[at] {
            return;
        }
        let mut picks = self.room.path.iter().zip(here.places);
        if !picks.any(|(pick, place)| place.names && pick.end > pick.start) {
            return;
        }
        let layout = so.layout + stream.after(here.start, at);
        let whole = here.start == 0 && at == stream.len();
        let text = self.text(here.start, at) - so.free;
        let mut bits = here.base + so.bits + layout - text;
        if !whole {
            bits += (self.odds.beside)(here.model);
        }
        if bits < self.best - self.odds.within {
            return;
        }
        let from = self.room.picks.len();
        self.room.picks.extend_from_slice(&self.room.path);
        let mut found = SmallVec::new();
        for (rule, of) in &here.row.dated {
            let picks = &mut self.room.picks[from..];
            let of = of.as_slice();
            let Some((_, first)) = of.iter().find(|(_, place)| *place < picks.len()) else {
                continue;
            };
            let dates = &mut self.room.dates;
            let Some(date) = dates.read(self.decoder, here, *rule, of, picks, stream) else {
                self.room.picks.truncate(from);
                return;
            };
            let read = dates.read[date as usize].bits;
            picks[*first].bits = read;
            bits += read;
            found.push((*rule, date));
        }
        self.best = self.best.max(bits);
        self.room.leaves.push(Leaf {
            row: here.row_at,
            picks: (from as u32, self.room.picks.len() as u32),
            start: here.start,
            end: at,
            layout,
            form: here.row.form,
            cut,
            dates: found,
            bits,
        });
    }

    /// log2 of the probability of a stretch if no rule knows it, worked out once.
    fn text(&mut self, start: usize, end: usize) -> f64 {
        let known = self.texts.iter().find(|(s, e, _)| (*s, *e) == (start, end));
        if let Some((_, _, text)) = known {
            return *text;
        }
        let text = (self.odds.text)(start, end);
        self.texts.push((start, end, text));
        text
    }
}

impl Dates {
    /// Forgets what another day of reading made of the dates.
    fn on(&mut self, seen: Date) {
        if self.seen != Some(seen) || self.read.len() > MAX_DATES {
            *self = Dates {
                seen: Some(seen),
                ..Dates::default()
            };
        }
    }

    /// The date that the picks of some places make by a rule, as kept; `None` where they make none.
    fn read(
        &mut self,
        decoder: &Decoder<'_>,
        here: &At<'_>,
        rule: u32,
        places: &[(u8, usize)],
        picks: &[Pick],
        stream: &Stream,
    ) -> Option<u32> {
        let make = self.make(here, rule);
        let mut codes: SmallVec<[u8; 24]> = SmallVec::new();
        let alphabet = &decoder.program.alphabet;
        let seen = || places.iter().filter(|(_, place)| *place < picks.len());
        for (number, at) in seen() {
            let (pick, place) = (&picks[*at], &here.places[*at]);
            let [a, b, c, _] = pick.code.to_le_bytes();
            codes.extend_from_slice(&[*number, a, b, c]);
            if let How::Open(strip) = pick.how {
                let table = &here.light.tables[place.table as usize];
                let sets = here.light.sets(&here.light.strips(table)[strip as usize]);
                let ticks = &stream.ticks[pick.start as usize..pick.end as usize];
                codes.push(ticks.len() as u8);
                for (set, tick) in sets.iter().zip(ticks) {
                    codes.push(if set >> tick.id & 1 == 1 {
                        tick.id
                    } else {
                        likeliest(*set, tick.id, alphabet)?
                    });
                }
            }
        }
        let key = (make, codes);
        if let Some(known) = self.known.get(&key) {
            return *known;
        }
        let family = here.program.id.index();
        let parts: Vec<SeenPart<'_>> = seen()
            .map(|(_, at)| {
                let (pick, place) = (&picks[*at], &here.places[*at]);
                let choice = Choice {
                    slot: usize::from(place.slot),
                    table: place.table as usize,
                    code: Some(pick.code),
                    how: pick.how,
                    start: pick.start as usize,
                    end: pick.end as usize,
                    channel: 0.0,
                    fixes: 0,
                    free: false,
                    share: 0.0,
                    partial: false,
                    doubt: 0.0,
                };
                SeenPart {
                    code: &here.model.slots[choice.slot].codes[pick.code as usize],
                    glyphs: decoder.glyphs(family, &choice, stream),
                }
            })
            .collect();
        let years = Years::of(here.model, self.seen.unwrap_or_default());
        let part_of = |field| decoder.part_of(field);
        let date = read(&here.model.dates[rule as usize], &parts, &part_of, &years);
        let kept = date.map(|date| {
            self.read.push(date);
            (self.read.len() - 1) as u32
        });
        self.known.insert(key, kept);
        kept
    }

    /// The number of a rule's make: rules of families that say the same of the same slots have one.
    fn make(&mut self, here: &At<'_>, rule: u32) -> u32 {
        let family = here.program.id.0;
        if let Some(make) = self.makes.get(&(family, rule)) {
            return *make;
        }
        let of = &here.model.dates[rule as usize];
        let codes = || {
            of.slots
                .iter()
                .map(|slot| &here.model.slots[slot.index()].codes)
        };
        let text = if codes().any(|codes| codes.len() > MANY_CODES) {
            format!("{family} {rule}")
        } else {
            let codes: Vec<_> = codes()
                .flatten()
                .map(|code| (&code.kind, &code.fields, &code.open_fields))
                .collect();
            let window = Years::window(here.model);
            format!("{:?} {:?} {window:?} {codes:?}", of.calendar, of.slack)
        };
        let next = self.numbers.len() as u32;
        let make = *self.numbers.entry(text).or_insert(next);
        self.makes.insert((family, rule), make);
        make
    }
}
