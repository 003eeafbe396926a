//! The way of most readings in a list: one line, every glyph read or not, families whose slots no condition ties.
//!
//! It finds what `explain` finds for them, and weighs it as it walks: an explanation is built only of what is told. `light` of a row says
//! which rows it can take; a reading that may be anything else goes the long way.

use jiff::civil::Date;
use rustc_hash::FxHashMap;
use smallvec::SmallVec;

use super::assign::{Branch, Known};
use super::dates::{DateRead, SeenPart, Years, read};
use super::explain::{Begin, Decoder, Scratch};
use super::explanation::Explanation;
use super::plain::{MOST, Plain, held};
use super::stream::{Doubt, Gap, Stream};
use super::walk::{Choice, How, MAX_FIXES, cost, gap_between, likeliest, unlisted_only};
use crate::compile::{
    FamilyProgram, HELD, LightDated, LightEntry, LightFamily, LightPlace, LightRow, LightStrip,
    OTHER, Spelled, Table, beyond,
};
use crate::glyph::Boundary;
use crate::model::{Family, FamilyId};

/// Most steps for one reading; one that takes more goes the long way.
const MAX_STEPS: u32 = 4_000;
/// Most dates that are kept.
const MAX_DATES: usize = 50_000;
/// How many bits below the best, of whatever family, or below none, a leaf is not kept.
const FAR: f64 = 48.0;
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
    /// log2 of its prior odds.
    pub(crate) prior: f64,
    pub(crate) leaves: (usize, usize),
}

/// Buffers, kept between readings.
#[derive(Debug, Default)]
pub(crate) struct Room {
    path: Vec<Pick>,
    picks: Vec<Pick>,
    pub(crate) leaves: Vec<Leaf>,
    pub(crate) families: Vec<Light>,
    plain: Plain,
    /// Groups of begins, one a family: least promising last.
    order: Vec<(u32, u32)>,
    /// By family, once asked for.
    beliefs: Vec<Option<Belief>>,
    dates: Dates,
}

/// What is believed of a family before anything is read.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Belief {
    /// log2 of its prior odds.
    pub(crate) prior: f64,
    /// What text beside it costs.
    pub(crate) beside: f64,
}

/// What the odds of a leaf are made of beside the rule.
pub(crate) struct Odds<'a> {
    pub(crate) belief: &'a dyn Fn(&Family) -> Belief,
    /// log2 of the probability of a stretch if no rule knows it.
    pub(crate) text: &'a dyn Fn(usize, usize) -> f64,
    /// The same of a stretch where any text may stand.
    pub(crate) free: &'a dyn Fn(usize, usize) -> f64,
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
            && stream.len() <= MOST
            && stream
                .ticks
                .iter()
                .all(|tick| matches!(tick.doubt, Doubt::Read | Doubt::Unread))
    }

    /// Finds and weighs all leaves of a filled stream into the room, by family; false where the reading has to go the long way. The rows
    /// must have been found.
    pub(crate) fn lightly(&self, seen: Date, scratch: &mut Scratch, odds: &Odds<'_>) -> bool {
        let light = |(family, row): &(u32, u32)| self.program.is_light(*family, *row);
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
        room.plain.fill(stream, &self.program.alphabet);
        room.sort(begins);
        let mut walk = Walk {
            decoder: self,
            stream,
            odds,
            room,
            best: f64::NEG_INFINITY,
            least: -FAR,
            beside: 0.0,
            steps: 0,
            texts: SmallVec::new(),
        };
        for group in 0..walk.room.order.len() {
            let first = walk.room.order[group].1 as usize;
            let id = begins[first].line.family;
            let of_family = begins[first..]
                .iter()
                .take_while(|begin| begin.line.family == id);
            let (program, model) = self.family(FamilyId(id));
            let light = self.light(program.id);
            let before = walk.room.leaves.len();
            let belief = walk.room.belief(program.id, model, odds);
            walk.best = f64::NEG_INFINITY;
            walk.beside = belief.beside;
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
                        bits: belief.prior + row.form,
                        free: 0.0,
                        fixes: 0,
                        unlisted: 0,
                        named: false,
                    },
                );
            }
            let after = walk.room.leaves.len();
            if after > before {
                walk.room.families.push(Light {
                    family: program.id,
                    prior: belief.prior,
                    leaves: (before, after),
                });
            }
        }
        walk.steps <= MAX_STEPS
    }

    /// A family as this way sees it.
    pub(crate) fn light(&self, id: FamilyId) -> &LightFamily {
        let (program, model) = self.family(id);
        program.light(model, self.rules, &self.program.alphabet)
    }

    /// A leaf as an explanation.
    pub(crate) fn explanation(
        &self,
        family: FamilyId,
        leaf: &Leaf,
        room: &Room,
        stream: &Stream,
    ) -> Explanation {
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
            let ticks = &stream.ticks[pick.start as usize..pick.end as usize];
            let doubt = match pick.how {
                How::Open(strip) => {
                    let sizes = &program.tables[place.table].open[strip as usize].sizes;
                    let sizes = ticks.iter().zip(sizes);
                    let unread = sizes.filter(|(tick, _)| tick.doubt == Doubt::Unread);
                    unread.map(|(_, size)| size.log2()).sum()
                }
                _ => 0.0,
            };
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
                doubt,
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
        self.beliefs.clear();
    }

    /// Puts the begins in order, family by family: first the line that the index followed furthest, which is last of those it found.
    fn sort(&mut self, begins: &[Begin]) {
        self.order.clear();
        let mut first = 0;
        for of_family in begins.chunk_by(|a, b| a.line.family == b.line.family) {
            let depth = of_family.iter().map(|begin| begin.depth).max();
            self.order.push((depth.unwrap_or(0), first));
            first += of_family.len() as u32;
        }
        if self.order.len() > 1 {
            self.order.sort_by_key(|group| std::cmp::Reverse(group.0));
        }
    }

    /// What is believed of a family, as kept.
    pub(crate) fn belief(&mut self, id: FamilyId, family: &Family, odds: &Odds<'_>) -> Belief {
        if self.beliefs.len() <= id.index() {
            self.beliefs.resize(id.index() + 1, None);
        }
        *self.beliefs[id.index()].get_or_insert_with(|| (odds.belief)(family))
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
}

/// What the path has come to.
#[derive(Clone, Copy)]
struct So {
    layout: f64,
    /// log2 of prior, form, codes and glyphs, without dates.
    bits: f64,
    /// log2 of the probability of text that may be any, if no rule knows it.
    free: f64,
    fixes: u32,
    unlisted: u32,
    /// Whether something was printed that names the part.
    named: bool,
}

struct Walk<'a, 'd> {
    decoder: &'a Decoder<'d>,
    stream: &'a Stream,
    odds: &'a Odds<'a>,
    room: &'a mut Room,
    /// The best leaf of the family so far.
    best: f64,
    /// What a leaf of any family has to come to.
    least: f64,
    /// What text beside the family costs.
    beside: f64,
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
        let expected = next.before.or(pending);
        for empty in here.light.empty(next) {
            let pick = Pick {
                code: empty.code(),
                how: How::Spelled(empty.index),
                start: at as u32,
                end: at as u32,
                fixes: 0,
                channel: 0.0,
                share: 0.0,
                bits: empty.alone,
                free: false,
            };
            self.take(
                here,
                place,
                next.dated,
                empty.unlisted(),
                pick,
                expected,
                so,
            );
        }
        if let Some(gap) = self.gap_cost(here, at, expected) {
            let so = So {
                layout: so.layout + gap,
                ..so
            };
            self.listed(here, place, next, at, so);
            for strip in here.light.strips(next) {
                self.open(here, place, next, strip, at, so);
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
            named: so.named || here.places[place].names && pick.end > pick.start,
            ..so
        };
        self.room.path.push(pick);
        self.step(here, place + 1, pick.end as usize, pending, so);
        self.room.path.pop();
    }

    /// Tries the spellings that stand at a position.
    fn listed(&mut self, here: &At<'_>, place: usize, of: &LightPlace, at: usize, so: So) {
        let glyphs = self.stream.len();
        if at >= glyphs {
            return;
        }
        let plain = &self.room.plain;
        let (classes, known) = (held(&plain.classes, at), held(&plain.known, at));
        if let Some(only) = of.only(classes, known) {
            if let Some(length) = only
                && at + length <= glyphs
            {
                let found = here.light.only(of);
                self.try_one(here, place, of, found, at, length, so);
            }
            return;
        }
        if known & 1 == 1 && !of.begins(classes as u8) {
            return;
        }
        let mut lengths = of.lengths;
        while lengths != 0 {
            let length = lengths.trailing_zeros() as usize;
            lengths &= lengths - 1;
            if at + length > glyphs {
                return;
            }
            if self.room.plain.is_unread(at, length) {
                self.doubtful(here, place, of, at, length, so);
                return;
            }
            if length > HELD {
                for found in here.light.of_classes(of, classes) {
                    self.try_long(here, place, of, found, at, so);
                }
                return;
            }
            for found in here.light.of_classes(of, classes | beyond(length)) {
                if !found.is_long() {
                    self.try_one(here, place, of, found, at, length, so);
                }
            }
        }
    }

    /// Tries the spellings of at least so many glyphs, some of which were not read, in the order of their classes.
    fn doubtful(
        &mut self,
        here: &At<'_>,
        place: usize,
        of: &LightPlace,
        at: usize,
        least: usize,
        so: So,
    ) {
        let plain = &self.room.plain;
        let (classes, known) = (held(&plain.classes, at), held(&plain.known, at));
        let all = here.light.all(of).filter(|entry| {
            (entry.is_long() || entry.held() >= least) && entry.looks(classes, known)
        });
        let mut fitting: SmallVec<[&LightEntry; 16]> = all.collect();
        fitting.sort_unstable_by_key(|entry| (entry.order(), entry.index));
        for found in fitting {
            if found.is_long() {
                self.try_long(here, place, of, found, at, so);
            } else if at + found.held() <= self.stream.len() {
                self.try_one(here, place, of, found, at, found.held(), so);
            }
        }
    }

    /// Tries a spelling whose classes stand at a position.
    #[allow(clippy::too_many_arguments)]
    fn try_one(
        &mut self,
        here: &At<'_>,
        place: usize,
        of: &LightPlace,
        found: &LightEntry,
        at: usize,
        length: usize,
        so: So,
    ) {
        let fit = match found.plain() {
            Some(ids) => self.plain(ids, at, length),
            None => self.spelled(here, place, found, at, length),
        };
        if let Some((channel, fixes)) = fit {
            self.spell(here, place, of, found, at, length, channel, fixes, so);
        }
    }

    /// The same for a spelling of more glyphs than are held.
    fn try_long(
        &mut self,
        here: &At<'_>,
        place: usize,
        of: &LightPlace,
        found: &LightEntry,
        at: usize,
        so: So,
    ) {
        let spellings = &here.program.tables[usize::from(of.table)].spelled;
        let length = spellings[found.index as usize].ids.len();
        if found.is_long()
            && at + length <= self.stream.len()
            && let Some((channel, fixes)) = self.spelled(here, place, found, at, length)
        {
            self.spell(here, place, of, found, at, length, channel, fixes, so);
        }
    }

    /// Takes a place for a spelling.
    #[allow(clippy::too_many_arguments)]
    fn spell(
        &mut self,
        here: &At<'_>,
        place: usize,
        of: &LightPlace,
        found: &LightEntry,
        at: usize,
        length: usize,
        channel: f64,
        fixes: u32,
        so: So,
    ) {
        let pick = Pick {
            code: found.code(),
            how: How::Spelled(found.index),
            start: at as u32,
            end: (at + length) as u32,
            fixes,
            channel,
            share: 0.0,
            bits: found.alone,
            free: false,
        };
        self.take(here, place, of.dated, found.unlisted(), pick, None, so);
    }

    /// log2 P(glyphs read | a spelling of which nothing but its glyphs is asked), and how many are taken for look-alikes.
    fn plain(&self, ids: u64, at: usize, length: usize) -> Option<(f64, u32)> {
        let plain = &self.room.plain;
        let known = held(&plain.known, at) & !beyond(length);
        let other = (held(&plain.ids, at) ^ ids) & known;
        if other == 0 {
            return Some((plain.as_read(at, length), 0));
        }
        let alphabet = &self.decoder.program.alphabet;
        let (mut channel, mut fixes) = (plain.gaps(at, length), 0);
        let ids = ids.to_le_bytes();
        for (j, id) in ids.iter().enumerate().take(length) {
            if !plain.is_unread(at + j, 1) {
                let read = plain.ids[at + j];
                channel += alphabet.channel(*id, read);
                fixes += u32::from(*id != read);
            }
        }
        (channel > f64::NEG_INFINITY).then_some((channel, fixes))
    }

    /// The same for any spelling.
    fn spelled(
        &self,
        here: &At<'_>,
        place: usize,
        found: &LightEntry,
        at: usize,
        length: usize,
    ) -> Option<(f64, u32)> {
        let table: &Table = &here.program.tables[usize::from(here.places[place].table)];
        let spelled: &Spelled = &table.spelled[found.index as usize];
        let ticks = &self.stream.ticks[at..at + length];
        let alphabet = &self.decoder.program.alphabet;
        let (mut channel, mut fixes) = (0.0, 0);
        for (j, (id, tick)) in spelled.ids.iter().zip(ticks).enumerate() {
            if j > 0 {
                let boundary = spelled.before(j);
                let expected = (boundary != Boundary::None).then_some((boundary, false));
                channel += gap_between(tick.gap, expected).unwrap_or(0.0);
            }
            if tick.doubt != Doubt::Unread {
                channel += alphabet.channel(*id, tick.id);
                fixes += u32::from(*id != tick.id);
            }
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
        of: &LightPlace,
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
        let plain = &self.room.plain;
        if strip.digits && usize::from(plain.digits[at]) >= length && !of.lists {
            let channel = plain.as_read(at, length);
            let pick = Pick {
                code: strip.code,
                how: How::Open(strip.index),
                start: at as u32,
                end: (at + length) as u32,
                fixes: 0,
                channel,
                share: strip.share,
                bits: strip.alone + strip.share,
                free: false,
            };
            return self.take(here, place, of.dated, strip.unlisted, pick, None, so);
        }
        let alphabet = &self.decoder.program.alphabet;
        let (mut channel, mut fixes) = (0.0, 0);
        for (j, (set, tick)) in sets.iter().zip(ticks).enumerate() {
            if tick.doubt == Doubt::Unread {
                if !strip.summed {
                    let table = &here.program.tables[usize::from(of.table)];
                    channel += table.open[strip.index as usize].sizes[j].log2();
                }
            } else if set >> tick.id & 1 == 1 {
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
        if of.cased || of.lists {
            let table = &here.program.tables[usize::from(of.table)];
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
        self.take(here, place, of.dated, strip.unlisted, pick, None, so);
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
        if !so.named || at == here.start || !stream.stops[at] {
            return;
        }
        let layout = so.layout + stream.after(here.start, at);
        let whole = here.start == 0 && at == stream.len();
        let text = self.text(here.start, at) - so.free;
        let mut bits = so.bits + layout - text;
        if !whole {
            bits += self.beside;
        }
        if bits < self.least.max(self.best - self.odds.within) {
            return;
        }
        let from = self.room.picks.len();
        self.room.picks.extend_from_slice(&self.room.path);
        let mut found = SmallVec::new();
        let dated = here.light.dated(here.row);
        for of in dated.chunk_by(|a, b| a.rule == b.rule) {
            let picks = &mut self.room.picks[from..];
            let printed = |of: &&LightDated| usize::from(of.place) < picks.len();
            let Some(first) = of.iter().find(printed) else {
                continue;
            };
            let (rule, dates) = (first.rule, &mut self.room.dates);
            let Some(date) = dates.read(self.decoder, here, rule, of, picks, stream) else {
                self.room.picks.truncate(from);
                return;
            };
            let read = dates.read[date as usize].bits;
            picks[usize::from(first.place)].bits = read;
            bits += read;
            found.push((rule, date));
        }
        self.best = self.best.max(bits);
        self.least = self.least.max(bits - FAR);
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
        places: &[LightDated],
        picks: &[Pick],
        stream: &Stream,
    ) -> Option<u32> {
        let make = self.make(here, rule);
        let mut codes: SmallVec<[u8; 24]> = SmallVec::new();
        let alphabet = &decoder.program.alphabet;
        let seen = || {
            let places = places.iter().map(|of| (of.number, usize::from(of.place)));
            places.filter(|(_, place)| *place < picks.len())
        };
        for (number, at) in seen() {
            let (pick, place) = (&picks[at], &here.places[at]);
            let [a, b, c, _] = pick.code.to_le_bytes();
            codes.extend_from_slice(&[number, a, b, c]);
            if let How::Open(strip) = pick.how {
                let sets = here.light.sets(&here.light.strips(place)[strip as usize]);
                let ticks = &stream.ticks[pick.start as usize..pick.end as usize];
                codes.push(ticks.len() as u8);
                for (set, tick) in sets.iter().zip(ticks) {
                    codes.push(if tick.doubt == Doubt::Unread {
                        u8::MAX
                    } else if set >> tick.id & 1 == 1 {
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
                let (pick, place) = (&picks[at], &here.places[at]);
                let choice = Choice {
                    slot: usize::from(place.slot),
                    table: usize::from(place.table),
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
