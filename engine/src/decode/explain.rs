//! Lines to forms: which stretch of the reading is which line of a form, and what that leaves over.

use std::sync::Arc;

use jiff::civil::Date;
use rustc_hash::FxHashMap;
use smallvec::SmallVec;

use super::Reading;
use super::assign::{CONFLICT, Divisors, Draw, Known, NEVER};
use super::damage::{Damage, Found, Least};
use super::dates::{DateRead, SeenPart, Years, read};
use super::deep::Edit;
use super::explanation::Explanation;
use super::light;
use super::stream::{Doubt, Stream, Tick};
use super::walk::{Choice, How, Room, Walker, Way, conditions, cost};
use crate::compile::{FamilyProgram, LineProgram, LineRef, Program, RowProgram};
use crate::glyph::Glyph;
use crate::model::{Family, FamilyId, RuleSet};
use crate::value::DatePart;

/// log2 cost of a line of the form that was not read, if there is more on it than symbols.
const MISSING: f64 = -1.0;
/// log2 cost of lines read in another order than printed.
const ORDER: f64 = -3.0;
/// log2 cost of a line of another kind where a line of the form is missing.
const FOREIGN: f64 = -3.0;
/// Most explanations of one family, about: a reading with more is all but unread.
const MAX_EXPLANATIONS: usize = 5_000;
/// Most ways to lay the lines of one row over the reading.
const MAX_LAYOUTS: usize = 400;

/// A row, and the stream that it is laid over.
#[derive(Clone, Copy)]
pub(super) struct Row<'a> {
    pub(super) family: usize,
    pub(super) row: usize,
    pub(super) reading: &'a Reading,
    pub(super) stream: &'a Stream,
    pub(super) seen: Date,
    pub(super) damage: Option<Damage<'a>>,
    pub(super) least: Option<&'a Least<'a>>,
}

/// What being the first start makes a line more promising.
const FIRST: u32 = 1 << 16;

/// A line that names the part, where it may begin.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Begin {
    pub(super) line: LineRef,
    /// Which of the starts of the stream.
    pub(super) start: u32,
    /// How promising it is: the line the index followed furthest most, from the first start on.
    pub(super) depth: u32,
}

impl Begin {
    fn row(&self) -> (u32, u32) {
        (self.line.family, self.line.row)
    }
}

/// Buffers of one thread, kept between readings.
#[derive(Debug, Default)]
pub struct Scratch {
    /// The program that what is kept belongs to.
    program: u64,
    pub(crate) stream: Stream,
    pub(super) found: Vec<LineRef>,
    pub(super) rows: Vec<(u32, u32)>,
    /// Where lines that name the part may begin, sorted: what the index found.
    pub(super) begins: Vec<Begin>,
    pub(crate) light: light::Room,
    ways: Vec<Vec<Way>>,
    pub(super) room: Room,
    /// Where the tables of a family end, in a search for damage.
    pub(super) reach: (Vec<u128>, Vec<u8>),
    /// Room for the explanations of a reading.
    pub(crate) explanations: Vec<Explanation>,
    years: FxHashMap<((Option<i16>, Option<i16>), Date), Arc<Years>>,
    divisors: Divisors,
    pub(crate) stopped: bool,
    /// Steps that the walks of the current search may still take.
    pub(super) steps: u64,
}

impl Scratch {
    /// The rows of the lines that may begin somewhere.
    fn rows_of_begins(&mut self) {
        self.rows.clear();
        self.rows.extend(self.begins.iter().map(Begin::row));
        self.rows.dedup();
    }

    /// Whether the last search stopped at a limit, so that some ways to read were not tried.
    #[must_use]
    pub fn stopped(&self) -> bool {
        self.stopped
    }
}

/// Decodes readings against a program.
#[derive(Debug, Clone, Copy)]
pub struct Decoder<'p> {
    pub(crate) program: &'p Program,
    pub(crate) rules: &'p RuleSet,
    use_index: bool,
    only: Option<FamilyId>,
    pub(crate) effort: Effort,
}

/// When damage beyond look-alikes is searched for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Effort {
    /// Never.
    Quick,
    /// Where what was found leaves room for it.
    #[default]
    Enough,
    /// Always.
    Deep,
}

impl<'p> Decoder<'p> {
    /// A decoder of a program compiled from `rules`.
    #[must_use]
    pub fn new(rules: &'p RuleSet, program: &'p Program) -> Decoder<'p> {
        Decoder {
            program,
            rules,
            use_index: true,
            only: None,
            effort: Effort::default(),
        }
    }

    /// The same with another effort.
    #[must_use]
    pub fn with(self, effort: Effort) -> Decoder<'p> {
        Decoder { effort, ..self }
    }

    /// The same, trying every family instead of asking the index; for tests that hold the index to account.
    #[must_use]
    pub fn without_index(self) -> Decoder<'p> {
        Decoder {
            use_index: false,
            ..self
        }
    }

    /// Whether an explanation leaves it possible that a slot has a code: it was seen as that code, or was not seen and may be it.
    #[must_use]
    pub fn allows(
        &self,
        explanation: &Explanation,
        slot: crate::model::SlotId,
        code: crate::model::CodeId,
    ) -> bool {
        let (program, _) = self.family(explanation.family);
        match explanation.branch.known.get(slot.index()) {
            Some(Known::Seen(seen)) => *seen == code.0,
            Some(Known::Class(class)) => program.slots[slot.index()].classes[*class as usize]
                .codes
                .contains(&code.0),
            Some(Known::Open) => true,
            None => false,
        }
    }

    /// The same, trying one family only.
    #[must_use]
    pub fn only(self, family: FamilyId) -> Decoder<'p> {
        Decoder {
            only: Some(family),
            ..self
        }
    }

    pub(crate) fn family(&self, id: FamilyId) -> (&'p FamilyProgram, &'p Family) {
        (self.compiled(id.index()), &self.rules.families[id.index()])
    }

    /// A family, compiled.
    pub(crate) fn compiled(&self, family: usize) -> &'p FamilyProgram {
        self.program.family(self.rules, family)
    }

    pub(crate) fn part_of(&self, field: crate::model::FieldId) -> Option<DatePart> {
        self.program.date_parts[field.index()]
    }

    /// All explanations of all stretches of a reading, on a day of reading, with look-alikes and what was not read, but without
    /// other damage.
    pub fn explain(
        &self,
        reading: &Reading,
        seen: Date,
        scratch: &mut Scratch,
    ) -> Vec<Explanation> {
        self.fill(reading, scratch);
        self.find_filled(scratch);
        let mut found = Vec::new();
        self.explain_filled(reading, seen, scratch, None, &mut found);
        found
    }

    /// Makes what a scratch keeps this program's.
    fn own(&self, scratch: &mut Scratch) {
        if scratch.program != self.program.number {
            // Families and slots are numbered by their program.
            scratch.program = self.program.number;
            scratch.divisors.clear();
            scratch.light.forget();
        }
    }

    /// Makes the stream of a text that is plain (see [`Stream::fill_text`]), for the searches that follow; false where it is not.
    pub(crate) fn fill_text(&self, text: &str, scratch: &mut Scratch) -> bool {
        self.own(scratch);
        scratch.stream.fill_text(text, &self.program.alphabet)
    }

    /// Makes the stream of a reading, for the searches that follow.
    pub(crate) fn fill(&self, reading: &Reading, scratch: &mut Scratch) {
        self.own(scratch);
        scratch.stream.fill(reading, &self.program.alphabet);
    }

    /// Finds the rows that a filled stream can be, for the searches that follow.
    pub(crate) fn find_filled(&self, scratch: &mut Scratch) {
        let stream = std::mem::take(&mut scratch.stream);
        if self.indexed() {
            self.find_begins(&stream, usize::MAX, scratch);
            // What is over before the text can part is not there: a family is left alone that takes shorter texts only.
            let has_room = |begin: &Begin| {
                let start = begin.start as usize;
                let least = stream.nearest[start] - stream.starts[start];
                stream.doubtful || least <= self.program.most(begin.line.family, begin.line.row)
            };
            scratch.begins.retain(has_room);
            scratch.rows_of_begins();
        } else {
            self.find_rows(&stream, usize::MAX, scratch);
        }
        scratch.stream = stream;
    }

    /// The same for a stream that has been filled and whose rows have been found, without those that cannot come `within` so many bits of one of the same family that takes the
    /// whole reading as one line; `worth` gives log2 of the most that one can come to.
    pub(crate) fn explain_near(
        &self,
        reading: &Reading,
        seen: Date,
        scratch: &mut Scratch,
        within: f64,
        worth: &dyn Fn(&Found<'_>) -> f64,
        found: &mut Vec<Explanation>,
    ) {
        let least = Least {
            worth,
            within,
            best: std::cell::Cell::new(f64::NEG_INFINITY),
        };
        self.explain_filled(reading, seen, scratch, Some(&least), found);
    }

    fn explain_filled(
        &self,
        reading: &Reading,
        seen: Date,
        scratch: &mut Scratch,
        least: Option<&Least<'_>>,
        found: &mut Vec<Explanation>,
    ) {
        let stream = std::mem::take(&mut scratch.stream);
        scratch.stopped = false;
        scratch.steps = u64::MAX;
        self.search(reading, &stream, seen, scratch, least, found);
        scratch.stream = stream;
    }

    fn search(
        &self,
        reading: &Reading,
        stream: &Stream,
        seen: Date,
        scratch: &mut Scratch,
        least: Option<&Least<'_>>,
        found: &mut Vec<Explanation>,
    ) {
        let rows = std::mem::take(&mut scratch.rows);
        let all_begins = std::mem::take(&mut scratch.begins);
        let mut left = all_begins.as_slice();
        let mut ways = std::mem::take(&mut scratch.ways);
        let (mut current, mut before) = (u32::MAX, 0);
        for (family, row) in &rows {
            let of_row = left
                .iter()
                .take_while(|begin| begin.row() == (*family, *row))
                .count();
            let begins = self.indexed().then(|| &left[..of_row]);
            left = &left[of_row..];
            if *family != current {
                (current, before) = (*family, found.len());
                if let Some(least) = least {
                    least.best.set(f64::NEG_INFINITY);
                }
            }
            // A bound for each family, so that no rule takes from another.
            if found.len() - before > MAX_EXPLANATIONS || scratch.steps == 0 {
                scratch.stopped = true;
                continue;
            }
            let row = Row {
                family: *family as usize,
                row: *row as usize,
                reading,
                stream,
                seen,
                damage: None,
                least,
            };
            self.ways_into(row.family, row.row, begins, stream, scratch, &mut ways);
            if ways.iter().any(|ways| !ways.is_empty()) {
                let lines = self.compiled(row.family).rows[row.row].lines.len();
                self.lay_out(&row, &ways[..lines], scratch, found);
            }
        }
        scratch.ways = ways;
        scratch.rows = rows;
        scratch.begins = all_begins;
    }

    /// Whether the rows to try come from the index.
    pub(super) fn indexed(&self) -> bool {
        self.use_index && self.only.is_none()
    }

    /// The rows that the reading can be, from its first glyphs, at most `deep` of them.
    pub(super) fn find_rows(&self, stream: &Stream, deep: usize, scratch: &mut Scratch) {
        if self.indexed() {
            self.find_begins(stream, deep, scratch);
            return scratch.rows_of_begins();
        }
        scratch.rows.clear();
        scratch.begins.clear();
        match self.only {
            Some(family) => {
                let rows = self.compiled(family.index()).rows.len() as u32;
                let of_family = (0..rows).map(|row| (family.0, row));
                scratch.rows.extend(of_family);
            }
            None => scratch.rows.extend(self.program.all_rows()),
        }
    }

    /// The lines that name the part and may begin at a place, by the index.
    pub(super) fn lines_at(
        &self,
        stream: &Stream,
        start: usize,
        deep: usize,
        found: &mut Vec<LineRef>,
    ) {
        let step = |depth: usize| Some(stream.ticks.get(start + depth)?.step());
        let stop = |depth: usize| {
            let at = start + depth;
            stream.stops.get(at).copied().unwrap_or(true)
        };
        found.clear();
        let set = (self.rules, self.program);
        self.program.index.lines(deep, set, &step, &stop, found);
    }

    /// Where lines that name the part may begin, by the index.
    fn find_begins(&self, stream: &Stream, deep: usize, scratch: &mut Scratch) {
        scratch.begins.clear();
        for (number, start) in (0_u32..).zip(&stream.starts) {
            self.lines_at(stream, *start, deep, &mut scratch.found);
            let first = if number == 0 { FIRST } else { 0 };
            let begin = |(depth, line): (u32, &LineRef)| Begin {
                line: *line,
                start: number,
                depth,
            };
            let found = (first..).zip(&scratch.found);
            scratch.begins.extend(found.map(begin));
        }
        if !scratch.begins.is_sorted() {
            scratch.begins.sort_unstable();
        }
        // A line that can end here and go on is found twice.
        scratch.begins.dedup_by(|next, kept| {
            let same = (next.line, next.start) == (kept.line, kept.start);
            if same {
                kept.depth = next.depth;
            }
            same
        });
    }

    /// All ways for the lines of a row.
    pub(super) fn ways(
        &self,
        family: usize,
        row: usize,
        stream: &Stream,
        scratch: &mut Scratch,
    ) -> Vec<Vec<Way>> {
        let mut ways = Vec::new();
        self.ways_into(family, row, None, stream, scratch, &mut ways);
        ways
    }

    /// The same into a buffer; nothing where no line that names the part is there. Such a line is looked for where the index says that it may begin.
    fn ways_into(
        &self,
        family: usize,
        row: usize,
        begins: Option<&[Begin]>,
        stream: &Stream,
        scratch: &mut Scratch,
        ways: &mut Vec<Vec<Way>>,
    ) {
        let lines = &self.compiled(family).rows[row].lines;
        if ways.len() < lines.len() {
            ways.resize_with(lines.len(), Vec::new);
        }
        ways.iter_mut().for_each(Vec::clear);
        let everywhere = || 0..stream.starts.len();
        match begins {
            Some(begins) => {
                for of_line in begins.chunk_by(|a, b| a.line == b.line) {
                    let line = of_line[0].line.line as usize;
                    let starts = of_line.iter().map(|begin| begin.start as usize);
                    self.walk(
                        family,
                        &lines[line],
                        starts,
                        stream,
                        scratch,
                        &mut ways[line],
                    );
                }
            }
            None => {
                for (line, ways) in lines.iter().zip(&mut *ways).filter(|(l, _)| l.names) {
                    self.walk(family, line, everywhere(), stream, scratch, ways);
                }
            }
        }
        if ways.iter().all(Vec::is_empty) {
            return;
        }
        for (line, ways) in lines.iter().zip(ways).filter(|(line, _)| !line.names) {
            self.walk(family, line, everywhere(), stream, scratch, ways);
        }
    }

    /// Adds the ways for a line that begin at some of the starts of the stream.
    fn walk(
        &self,
        family: usize,
        line: &LineProgram,
        starts: impl Iterator<Item = usize>,
        stream: &Stream,
        scratch: &mut Scratch,
        ways: &mut Vec<Way>,
    ) {
        let program = self.compiled(family);
        let room = std::mem::take(&mut scratch.room);
        let mut walker = Walker::new(program, line, stream, &self.program.alphabet)
            .within(room, std::mem::take(ways));
        for number in starts {
            let (start, nearest) = (stream.starts[number], stream.nearest[number]);
            // A line that is over before the text can part is not there; unread runs take up no room in it.
            if stream.doubtful || nearest - start <= line.most {
                walker.from(start);
            }
        }
        scratch.stopped |= walker.stopped;
        scratch.steps = scratch.steps.saturating_sub(walker.walked);
        (scratch.room, *ways) = walker.leave();
    }

    /// Every way to lay the lines of a row over the reading, weighed.
    pub(super) fn lay_out(
        &self,
        at: &Row<'_>,
        ways: &[Vec<Way>],
        scratch: &mut Scratch,
        found: &mut Vec<Explanation>,
    ) {
        let row = &self.compiled(at.family).rows[at.row];
        if let [ways] = ways {
            scratch.stopped |= ways.len() >= MAX_LAYOUTS;
            for way in ways.iter().take(MAX_LAYOUTS) {
                if at
                    .damage
                    .is_none_or(|damage| damage.edit.within((way.start, way.end)))
                {
                    self.layout(at, scratch, way.layout, &[Some(way)], found);
                }
            }
            return;
        }
        // Where not all can be laid, those that fit best come first.
        let all = ways.iter().fold(1_usize, |all, ways| {
            all.saturating_mul(ways.len().saturating_add(1))
        });
        let mut sorted = Vec::new();
        let ways = if all > MAX_LAYOUTS {
            let bits = |way: &Way| {
                way.layout + way.choices.iter().map(|choice| choice.channel).sum::<f64>()
            };
            sorted.extend_from_slice(ways);
            for ways in &mut sorted {
                ways.sort_by(|a, b| bits(b).total_cmp(&bits(a)));
            }
            sorted.as_slice()
        } else {
            ways
        };
        let mut layouts: Vec<(f64, Vec<Option<&Way>>)> = Vec::new();
        lay(row, ways, 0, 0.0, &mut Vec::new(), &mut layouts);
        scratch.stopped |= layouts.len() >= MAX_LAYOUTS;
        scratch.steps = scratch.steps.saturating_sub(layouts.len() as u64);
        let before = found.len();
        for (layout, chosen) in layouts {
            if found.len() - before > MAX_EXPLANATIONS {
                scratch.stopped = true;
                break;
            }
            // Only what takes the damage is new. A line that names the part is not missing besides.
            let takes = |damage: Damage<'_>| {
                let mut lines = chosen.iter().zip(&row.lines);
                !lines.any(|(way, line)| way.is_none() && line.names)
                    && chosen
                        .iter()
                        .flatten()
                        .any(|way| damage.edit.within((way.start, way.end)))
            };
            if at.damage.is_none_or(takes) {
                self.layout(at, scratch, layout, &chosen, found);
            }
        }
    }

    fn layout(
        &self,
        at: &Row<'_>,
        scratch: &mut Scratch,
        layout: f64,
        chosen: &[Option<&Way>],
        found: &mut Vec<Explanation>,
    ) {
        let Row {
            family,
            row: row_at,
            reading,
            stream,
            seen,
            damage,
            least,
        } = *at;
        let program = self.compiled(family);
        let model = &self.rules.families[family];
        let choices: SmallVec<[&Choice; 16]> = chosen
            .iter()
            .flatten()
            .flat_map(|way| &way.choices)
            .collect();
        let named = choices
            .iter()
            .any(|c| c.code.is_some() && c.end > c.start && program.rows[row_at].naming[c.slot]);
        if !named {
            return;
        }
        let mut first: SmallVec<[Option<&Choice>; 24]> =
            SmallVec::from_elem(None, program.slots.len());
        let mut conds: SmallVec<[(u32, bool); 16]> = SmallVec::new();
        let mut conflicts = Vec::new();
        for choice in &choices {
            if choice.code.is_none() {
                continue;
            }
            if !program.plain {
                conditions(choice, program, stream, &self.program.alphabet, &mut conds);
            }
            match first[choice.slot] {
                None => first[choice.slot] = Some(choice),
                Some(before) => {
                    let same = before.code == choice.code
                        && self.string(family, before, stream)
                            == self.string(family, choice, stream);
                    if !same {
                        conflicts.push(choice.slot);
                    }
                }
            }
        }
        // What the codes seen already contradict is not drawn.
        let code = |slot: usize| first[slot].and_then(|choice| Some(choice.code? as usize));
        let contradicted = conds.iter().any(|(cond, truth)| {
            let cond = &program.conds[*cond as usize];
            cond.slots().all(|slot| code(slot).is_some()) && cond.holds(&code) != *truth
        });
        if contradicted {
            return;
        }
        let row: &RowProgram = &program.rows[row_at];
        let segments: SmallVec<[(usize, usize); 2]> = chosen
            .iter()
            .flatten()
            .map(|way| (way.start, way.end))
            .collect();
        let layout = layout + foreign(row, chosen, &segments, stream);
        // What cannot matter is not weighed.
        let as_found = |edit: Option<Edit>| Found {
            family: program.id,
            segments: &segments,
            choices: &choices,
            edit,
            bits: layout
                + choices.iter().map(|choice| choice.channel).sum::<f64>()
                + first
                    .iter()
                    .zip(&program.slots)
                    .filter_map(|(choice, slot)| {
                        let choice = (*choice)?;
                        let share = if slot.dated { 0.0 } else { choice.share };
                        Some(slot.codes[choice.code? as usize].ceiling + share)
                    })
                    .sum::<f64>()
                // Check digits that hold.
                + model
                    .checks
                    .iter()
                    .map(|check| f64::from(check.modulus).log2())
                    .sum::<f64>(),
        };
        if let Some(damage) = damage {
            let mut found = as_found(Some(damage.edit));
            found.bits += damage.bits;
            if (damage.worth)(&found) < 0.0 {
                return;
            }
        }
        let whole = segments.as_slice() == [(0, stream.len())];
        let least = least.filter(|_| !model.is_marking());
        if let Some(least) = least
            && !whole
            && least.best.get() > f64::NEG_INFINITY
            && (least.worth)(&as_found(None)) < least.best.get() - least.within
        {
            return;
        }
        let years = std::cell::OnceCell::new();
        let Scratch {
            divisors,
            years: known_years,
            ..
        } = scratch;
        let known_years = std::cell::RefCell::new(known_years);
        let date = |rule: usize| -> Option<DateRead> {
            let rule = &model.dates[rule];
            let parts: Vec<SeenPart<'_>> = rule
                .slots
                .iter()
                .filter_map(|slot| {
                    let choice = first[slot.index()]?;
                    let code = &model.slots[slot.index()].codes[choice.code? as usize];
                    Some(SeenPart {
                        code,
                        glyphs: self.glyphs(family, choice, stream),
                    })
                })
                .collect();
            let mut date = read(
                rule,
                &parts,
                &|field| self.part_of(field),
                years.get_or_init(|| {
                    let key = (Years::window(model), seen);
                    let of_family = || Arc::new(Years::of(model, seen));
                    Arc::clone(
                        known_years
                            .borrow_mut()
                            .entry(key)
                            .or_insert_with(of_family),
                    )
                }),
            )?;
            // The date has summed over what unread places can be; the places have counted it too.
            date.bits -= rule
                .slots
                .iter()
                .filter_map(|slot| first[slot.index()])
                .filter(|choice| {
                    choice.code.is_some_and(|code| {
                        model.slots[choice.slot].codes[code as usize]
                            .open_fields
                            .iter()
                            .any(|(field, _)| self.part_of(*field).is_some())
                    })
                })
                .map(|choice| choice.doubt)
                .sum::<f64>();
            Some(date)
        };
        let branches = Draw {
            family: program,
            model,
            row,
            form: reading.form,
            seen: &first,
            conds: &conds,
            divisors,
            date: &date,
        }
        .branches();
        if branches.is_empty() {
            return;
        }
        let (checks, failed) = self.checks(family, &first, stream);
        for mut branch in branches {
            branch.breach += CONFLICT * conflicts.len() as f64;
            if let Some(least) = least.filter(|_| whole) {
                let bits = layout
                    + checks
                    + branch.total()
                    + choices.iter().map(|choice| choice.channel).sum::<f64>();
                let bits = (least.worth)(&Found {
                    family: program.id,
                    segments: &segments,
                    choices: &choices,
                    edit: None,
                    bits,
                });
                least.best.set(least.best.get().max(bits));
            }
            found.push(Explanation {
                family: program.id,
                row: row_at,
                segments: segments.clone(),
                choices: choices.iter().map(|c| **c).collect(),
                branch,
                layout,
                conflicts: conflicts.clone(),
                failed: failed.clone(),
                checks,
                cut: chosen.iter().flatten().any(|way| way.cut),
                edit: None,
            });
        }
    }

    /// log2 of what check digits say, and those that fail.
    fn checks(
        &self,
        family: usize,
        first: &[Option<&Choice>],
        stream: &Stream,
    ) -> (f64, Vec<usize>) {
        let model = &self.rules.families[family];
        let (mut bits, mut failed) = (0.0, Vec::new());
        for (index, check) in model.checks.iter().enumerate() {
            let mut glyphs: Vec<Glyph> = Vec::new();
            let mut whole = true;
            for slot in &check.slots {
                let string =
                    first[slot.index()].and_then(|choice| self.string(family, choice, stream));
                match string {
                    Some(string) => glyphs.extend(string),
                    None => whole = false,
                }
            }
            if !whole {
                continue;
            }
            if crate::model::check_holds(check, &glyphs) {
                bits += f64::from(check.modulus).log2();
            } else {
                bits += NEVER;
                failed.push(index);
            }
        }
        (bits, failed)
    }

    /// The likeliest misreading of one character without which a date that lies in the future would not: place in the stream that the
    /// explanation explains, and what stands there then.
    pub(crate) fn mend_date(
        &self,
        explanation: &Explanation,
        rule: usize,
        stream: &Stream,
        seen: Date,
    ) -> Option<(usize, Glyph)> {
        let family = explanation.family.index();
        let (program, model) = self.family(explanation.family);
        let rule = &model.dates[rule];
        let alphabet = &self.program.alphabet;
        let years = Years::of(model, seen);
        let choices: Vec<&Choice> = rule
            .slots
            .iter()
            .filter_map(|slot| {
                explanation
                    .choices
                    .iter()
                    .find(|choice| choice.slot == slot.index() && choice.code.is_some())
            })
            .collect();
        let mut best: Option<(f64, usize, Glyph)> = None;
        for (at, choice) in choices.iter().enumerate() {
            let table = &program.tables[choice.table];
            let ticks = stream.ticks.get(choice.start..choice.end)?;
            // What else the slot can be with one character changed: code, place, glyph.
            let mut others: Vec<(u32, usize, u8)> = Vec::new();
            for spelled in table.spelled.iter().filter(|s| s.ids.len() == ticks.len()) {
                let odd = |(_, (id, tick)): &(usize, (&u8, &Tick))| **id != tick.id;
                let mut odds = spelled.ids.iter().zip(ticks).enumerate().filter(odd);
                if let (Some((place, (id, _))), None) = (odds.next(), odds.next()) {
                    others.push((spelled.code, place, *id));
                }
            }
            if let How::Open(strip) = choice.how {
                let strip = &table.open[strip as usize];
                for (place, set) in strip.sets.iter().enumerate() {
                    others.extend(
                        (0..36)
                            .filter(|id| set >> id & 1 == 1)
                            .map(|id| (strip.code, place, id)),
                    );
                }
            }
            for (code, place, id) in others {
                let Some(tick) = ticks.get(place).filter(|tick| tick.doubt == Doubt::Read) else {
                    continue;
                };
                let cost = if alphabet.alike(id) >> tick.id & 1 == 1 {
                    alphabet.channel(id, tick.id)
                } else {
                    alphabet.strange(id, tick.id)
                };
                let Some(glyph) = alphabet.glyph(id).filter(|_| id != tick.id) else {
                    continue;
                };
                let parts: Vec<SeenPart<'_>> = choices
                    .iter()
                    .enumerate()
                    .map(|(other, choice)| {
                        let mut glyphs = self.glyphs(family, choice, stream);
                        let mut code_here = choice.code.unwrap_or_default();
                        if other == at {
                            code_here = code;
                            if let Some(there) = glyphs.get_mut(place) {
                                *there = vec![glyph.clone()];
                            }
                        }
                        let code = &model.slots[choice.slot].codes[code_here as usize];
                        SeenPart { code, glyphs }
                    })
                    .collect();
                let date = read(rule, &parts, &|field| self.part_of(field), &years);
                let bits = cost + date.as_ref().map_or(f64::NEG_INFINITY, |date| date.bits);
                if date.is_some_and(|date| !date.future && !date.outside)
                    && best.as_ref().is_none_or(|(known, ..)| bits > *known)
                {
                    best = Some((bits, choice.start + place, glyph.clone()));
                }
            }
        }
        best.map(|(_, place, glyph)| (place, glyph))
    }
}

/// log2 cost of lines that belong to no line of the form while the form has lines that were not read.
fn foreign(
    row: &RowProgram,
    chosen: &[Option<&Way>],
    segments: &[(usize, usize)],
    stream: &Stream,
) -> f64 {
    let missing = chosen
        .iter()
        .zip(&row.lines)
        .filter(|(way, line)| way.is_none() && !line.symbols)
        .count();
    let lines = stream.capitals.len();
    let touched = |line: usize| {
        segments.iter().any(|(from, to)| {
            stream.ticks[*from..*to]
                .iter()
                .any(|tick| usize::from(tick.line) == line)
        })
    };
    let left = (0..lines).filter(|line| !touched(*line)).count();
    FOREIGN * missing.min(left) as f64
}

/// All ways to lay the lines of a row over the reading: each a stretch of its own, or missing.
fn lay<'w>(
    row: &RowProgram,
    ways: &'w [Vec<Way>],
    line: usize,
    bits: f64,
    chosen: &mut Vec<Option<&'w Way>>,
    layouts: &mut Vec<(f64, Vec<Option<&'w Way>>)>,
) {
    if layouts.len() >= MAX_LAYOUTS {
        return;
    }
    let Some(here) = ways.get(line) else {
        if chosen.iter().any(Option::is_some) {
            layouts.push((bits, chosen.clone()));
        }
        return;
    };
    for way in here {
        if chosen
            .iter()
            .flatten()
            .any(|other| way.start < other.end && other.start < way.end)
        {
            continue;
        }
        let ordered = chosen.iter().flatten().all(|other| other.start < way.start);
        chosen.push(Some(way));
        lay(
            row,
            ways,
            line + 1,
            bits + way.layout + if ordered { 0.0 } else { ORDER },
            chosen,
            layouts,
        );
        chosen.pop();
    }
    let missing = if row.lines[line].symbols {
        0.0
    } else {
        MISSING
    };
    chosen.push(None);
    lay(row, ways, line + 1, bits + missing, chosen, layouts);
    chosen.pop();
}

/// The costs that the walk knows, for those who explain an answer.
pub(crate) const CONTRADICTED: f64 = cost::CONTRADICTED;
