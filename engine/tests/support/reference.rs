//! The reference decoder: slow and plain. No index, no tables, no classes of codes: every family, every form, every code, one
//! character at a time, straight off the checked model. The costs are stated again here, as the developers' page states them.
//!
//! It knows no unread runs; all other doubt it reads as the fast decoder must.

use std::collections::HashMap;

use etchlore_engine::decode::{Reading, Seen};
use etchlore_engine::glyph::{Boundary, Confusions, Glyph, GlyphSet};
use etchlore_engine::model::{
    Case, CodeKind, Cond, Family, FormKind, OpenRule, RowItem, RuleSet, Slot, Strip, check_holds,
};
use etchlore_engine::value::{DatePart, Parts, Value};
use jiff::civil::Date;

const LOST: f64 = -1.0;
const SPACED: f64 = -2.0;
const ADDED: f64 = -6.0;
const OTHER_KIND: f64 = -1.0;
const BROKEN: f64 = -4.0;
const TORN: f64 = -8.0;
const CUT: f64 = -6.0;
const CUT_SHORT: f64 = -10.0;
const AFTER_TEXT: f64 = -2.0;
const BEFORE_TEXT: f64 = -1.0;
const TAIL: f64 = -6.0;
const LONG_TAIL: f64 = -6.0;
const CASE: f64 = -6.0;
const CASE_LOST: f64 = -1.0;
const CONTRADICTED: f64 = -12.0;
const MISSING: f64 = -1.0;
const ORDER: f64 = -3.0;
const FOREIGN: f64 = -3.0;
const NEVER: f64 = -10.0;
const OTHER_FORM: f64 = -6.0;
const CONFLICT: f64 = -10.0;
const FUTURE: f64 = -12.0;
const UNLISTED: f64 = 0.02;
const MAX_FIXES: u32 = 4;

struct Tick {
    seen: Seen,
    gap: Option<Boundary>,
    line: usize,
}

#[derive(Clone)]
struct Place {
    slot: usize,
    before: Option<(Boundary, bool)>,
}

#[derive(Clone)]
struct Row {
    kind: FormKind,
    guard: Option<Cond>,
    weight: f64,
    lines: Vec<Vec<Place>>,
}

#[derive(Clone)]
struct Taken {
    slot: usize,
    code: usize,
    start: usize,
    end: usize,
    channel: f64,
    share: f64,
    conds: Vec<(Cond, bool)>,
    /// For each glyph what it can be.
    glyphs: Vec<Vec<Glyph>>,
}

#[derive(Clone)]
struct Way {
    start: usize,
    end: usize,
    taken: Vec<Taken>,
    layout: f64,
}

/// A family prepared once: its rows spread.
pub(crate) struct Reference<'r> {
    rules: &'r RuleSet,
    confusions: Confusions,
    rows: Vec<Vec<Row>>,
    parts: Vec<Option<DatePart>>,
}

fn log2_sum(all: &[f64]) -> f64 {
    let top = all.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    if top == f64::NEG_INFINITY {
        top
    } else {
        top + all.iter().map(|b| (b - top).exp2()).sum::<f64>().log2()
    }
}

fn spread(items: &[RowItem]) -> Vec<(Vec<RowItem>, f64)> {
    let mut all: Vec<(Vec<RowItem>, f64)> = vec![(Vec::new(), 1.0)];
    for item in items {
        all = match item {
            RowItem::Optional(inner) => {
                let inner = spread(inner);
                all.iter()
                    .flat_map(|(before, share)| {
                        let with = inner.iter().map(move |(more, s)| {
                            ([before.as_slice(), more].concat(), share * s / 2.0)
                        });
                        with.chain(std::iter::once((before.clone(), share / 2.0)))
                    })
                    .collect()
            }
            item => all
                .into_iter()
                .map(|(before, share)| {
                    (
                        [before.as_slice(), std::slice::from_ref(item)].concat(),
                        share,
                    )
                })
                .collect(),
        };
    }
    all
}

fn lines(items: &[RowItem]) -> Vec<Vec<Place>> {
    let mut lines: Vec<Vec<Place>> = vec![Vec::new()];
    let mut before = None;
    for item in items {
        match item {
            RowItem::Slot(slot) => lines.last_mut().unwrap().push(Place {
                slot: slot.index(),
                before: before.take(),
            }),
            RowItem::Boundary { boundary, hard } => before = Some((*boundary, *hard)),
            RowItem::Break => {
                lines.push(Vec::new());
                before = None;
            }
            RowItem::Optional(_) => unreachable!(),
        }
    }
    lines.retain(|line| !line.is_empty());
    lines
}

impl<'r> Reference<'r> {
    pub(crate) fn new(rules: &'r RuleSet) -> Reference<'r> {
        let rows = rules
            .families
            .iter()
            .map(|family| {
                family
                    .forms
                    .iter()
                    .flat_map(|form| {
                        spread(&form.row.items)
                            .into_iter()
                            .map(|(items, share)| Row {
                                kind: form.kind,
                                guard: form.guard.clone(),
                                weight: form.weight * share,
                                lines: lines(&items),
                            })
                    })
                    .collect()
            })
            .collect();
        let parts = rules
            .fields
            .iter()
            .map(|field| DatePart::of_field(&field.name))
            .collect();
        Reference {
            rules,
            confusions: Confusions::default(),
            rows,
            parts,
        }
    }

    /// For each family the log2 of the sum of P over all its explanations, and how many of them there are up to the codes seen.
    pub(crate) fn explain(&self, reading: &Reading, seen: Date) -> HashMap<usize, f64> {
        let mut ticks = Vec::new();
        let mut capitals = Vec::new();
        for (number, line) in reading.lines.iter().enumerate() {
            let lower = |mark: &&etchlore_engine::decode::Mark| match &mark.seen {
                Seen::Glyph(Glyph::Char(c)) | Seen::Certain(Glyph::Char(c)) => {
                    c.is_ascii_lowercase()
                }
                _ => false,
            };
            capitals.push(!line.marks.iter().any(|mark| lower(&mark)));
            for (at, mark) in line.marks.iter().enumerate() {
                assert_ne!(mark.seen, Seen::Run, "the reference knows no runs");
                ticks.push(Tick {
                    seen: mark.seen.clone(),
                    gap: (at > 0).then_some(mark.before),
                    line: number,
                });
            }
        }
        let mut found = HashMap::new();
        for (index, family) in self.rules.families.iter().enumerate() {
            let one = One {
                reference: self,
                family,
                rows: &self.rows[index],
                ticks: &ticks,
                capitals: &capitals,
                form: reading.form,
                seen,
            };
            let bits: Vec<f64> = one.rows.iter().flat_map(|row| one.row(row)).collect();
            if !bits.is_empty() {
                found.insert(index, log2_sum(&bits));
            }
        }
        found
    }

    fn alike(&self, t: char, r: char) -> Option<f64> {
        let p = self.confusions.probability(t, r);
        (self.confusions.alike(t, r) && p > 0.0).then_some(p.log2())
    }

    fn right(&self, t: char) -> f64 {
        if t.is_ascii_alphanumeric() {
            self.confusions.right(t).log2()
        } else {
            0.0
        }
    }
}

struct One<'a> {
    reference: &'a Reference<'a>,
    family: &'a Family,
    rows: &'a [Row],
    ticks: &'a [Tick],
    capitals: &'a [bool],
    form: Option<FormKind>,
    seen: Date,
}

fn in_set(set: &GlyphSet, glyph: &Glyph) -> bool {
    match glyph {
        Glyph::Char(c) => match GlyphSet::bit(*c) {
            Some(bit) => set.alnum & bit != 0,
            None => set.rest || set.others.contains(&glyph.folded()),
        },
        Glyph::Symbol(_) => set.others.contains(glyph),
    }
}

fn members(set: &GlyphSet) -> Vec<char> {
    ('0'..='9')
        .chain('A'..='Z')
        .filter(|c| GlyphSet::bit(*c).is_some_and(|bit| set.alnum & bit != 0))
        .collect()
}

fn size(set: &GlyphSet) -> f64 {
    f64::from(set.alnum.count_ones()) + set.others.len() as f64 + if set.rest { 32.0 } else { 0.0 }
}

fn is_free(strip: &Strip) -> bool {
    strip.places.iter().all(|place| place.set.rest)
}

fn share(strips: &[Strip], strip: &Strip) -> f64 {
    let mut lengths: Vec<usize> = strips.iter().map(|s| s.places.len()).collect();
    lengths.sort_unstable();
    lengths.dedup();
    let count = |s: &Strip| {
        if is_free(s) {
            1.0
        } else {
            s.places.iter().map(|p| size(&p.set)).product::<f64>()
        }
    };
    let same: f64 = strips
        .iter()
        .filter(|s| s.places.len() == strip.places.len())
        .map(count)
        .sum();
    -(lengths.len() as f64).log2() - same.max(1.0).log2()
}

fn gap_cost(gap: Option<Boundary>, expected: Option<(Boundary, bool)>) -> Option<f64> {
    match (gap, expected) {
        (None, _) => Some(BROKEN),
        (Some(Boundary::None), None) => Some(0.0),
        (Some(read), Some((boundary, _))) if read == boundary => Some(0.0),
        (_, Some((_, true))) => None,
        (Some(Boundary::None), Some(_)) => Some(LOST),
        (Some(Boundary::Space), None) => Some(SPACED),
        (Some(_), None) => Some(ADDED),
        (Some(_), Some(_)) => Some(OTHER_KIND),
    }
}

/// The same between two glyphs of one code.
fn gap_within(gap: Option<Boundary>, expected: Option<(Boundary, bool)>) -> Option<f64> {
    match gap {
        None => Some(TORN),
        gap => gap_cost(gap, expected),
    }
}

/// A glyph as one place was taken: log2 cost, whether it is a look-alike, what it can be.
type Cost = (f64, u32, Vec<Glyph>);

impl One<'_> {
    fn case_cost(&self, lower: bool, tick: &Tick) -> f64 {
        let small = match &tick.seen {
            Seen::Glyph(Glyph::Char(c)) | Seen::Certain(Glyph::Char(c)) => c.is_ascii_lowercase(),
            Seen::OneOf(all) => all
                .iter()
                .all(|g| matches!(g, Glyph::Char(c) if c.is_ascii_lowercase())),
            Seen::Unread | Seen::Run => return 0.0,
            _ => false,
        };
        if small == lower {
            0.0
        } else if self.capitals[tick.line] {
            CASE_LOST
        } else {
            CASE
        }
    }

    fn glyph(&self, t: &Glyph, tick: &Tick) -> Option<(f64, u32)> {
        let folded = t.folded();
        match (&tick.seen, &folded) {
            (Seen::Glyph(read), Glyph::Char(c)) => {
                let read = read.folded();
                if read == folded {
                    return Some((self.reference.right(*c), 0));
                }
                let Glyph::Char(r) = read else { return None };
                self.reference.alike(*c, r).map(|bits| (bits, 1))
            }
            (Seen::Glyph(read), symbol) => (read == symbol).then_some((0.0, 0)),
            (Seen::Certain(read), _) => {
                let read = read.folded();
                if read == folded {
                    return Some((0.0, 0));
                }
                let (Glyph::Char(r), Glyph::Char(c)) = (&read, &folded) else {
                    return None;
                };
                self.reference.alike(*c, *r).map(|_| (CONTRADICTED, 1))
            }
            (Seen::OneOf(all), _) => all.iter().any(|g| g.folded() == folded).then_some((0.0, 0)),
            (Seen::Unread | Seen::Run, _) => Some((0.0, 0)),
        }
    }

    fn open(&self, set: &GlyphSet, lower: bool, tick: &Tick) -> Option<Cost> {
        let cased = |c: char| Glyph::Char(if lower { c.to_ascii_lowercase() } else { c });
        let best = |r: char| {
            let mut best: Option<(char, f64)> = None;
            for t in members(set) {
                if let Some(bits) = self.reference.alike(t, r)
                    && best
                        .is_none_or(|(_, b)| self.reference.confusions.probability(t, r).log2() > b)
                {
                    best = Some((t, bits));
                }
            }
            best
        };
        match &tick.seen {
            Seen::Glyph(read) | Seen::Certain(read) => {
                let certain = matches!(tick.seen, Seen::Certain(_));
                let read = read.folded();
                if in_set(set, &read) {
                    let bits = match &read {
                        Glyph::Char(c) if !certain => self.reference.right(*c),
                        _ => 0.0,
                    };
                    let glyph = match &read {
                        Glyph::Char(c) => cased(*c),
                        symbol => symbol.clone(),
                    };
                    return Some((bits, 0, vec![glyph]));
                }
                let Glyph::Char(r) = read else { return None };
                let (t, bits) = best(r)?;
                Some((if certain { CONTRADICTED } else { bits }, 1, vec![cased(t)]))
            }
            Seen::OneOf(all) => {
                let mut fits: Vec<Glyph> = all
                    .iter()
                    .map(Glyph::folded)
                    .filter(|g| in_set(set, g))
                    .collect();
                fits.sort();
                fits.dedup();
                (!fits.is_empty()).then(|| ((fits.len() as f64).log2(), 0, fits))
            }
            Seen::Unread | Seen::Run => {
                let mut all: Vec<Glyph> = members(set).into_iter().map(cased).collect();
                all.extend(set.others.iter().cloned());
                Some((size(set).log2(), 0, all))
            }
        }
    }

    /// Every way in which a slot can be printed from a position on in a form: nothing, a listed spelling, an open string.
    fn fits(&self, slot: usize, kind: FormKind, at: usize) -> Vec<(Taken, u32)> {
        let model: &Slot = &self.family.slots[slot];
        let mut all = Vec::new();
        for (index, code) in model.codes.iter().enumerate() {
            let mut conds: Vec<(Cond, bool)> = code
                .guard
                .iter()
                .map(|guard| (guard.clone(), true))
                .collect();
            let mut own = true;
            type Conds = Vec<(Cond, bool)>;
            let mut spelled: Vec<(Option<&etchlore_engine::model::Spelling>, Conds)> = Vec::new();
            for print in code
                .prints
                .iter()
                .filter(|print| print.forms.contains(&kind))
            {
                let mut here = conds.clone();
                here.extend(print.guard.iter().map(|guard| (guard.clone(), true)));
                spelled.push((print.spelling.as_ref(), here));
                match &print.guard {
                    Some(guard) => conds.push((guard.clone(), false)),
                    None => {
                        own = false;
                        break;
                    }
                }
            }
            if own {
                match &code.kind {
                    CodeKind::Absent => spelled.push((None, conds.clone())),
                    CodeKind::Listed(spelling) => spelled.push((Some(spelling), conds.clone())),
                    CodeKind::Open(strips) => {
                        for strip in strips {
                            all.extend(self.strip(slot, index, strips, strip, at));
                        }
                    }
                }
            }
            let listed: Vec<Vec<Glyph>> = match &code.kind {
                CodeKind::Listed(spelling) => {
                    spelling.glyphs.iter().map(|g| vec![g.clone()]).collect()
                }
                _ => Vec::new(),
            };
            for (spelling, conds) in spelled {
                let empty = Default::default();
                let spelling = spelling.unwrap_or(&empty);
                let mut channel = 0.0;
                let mut fixes = 0;
                let fits = spelling.glyphs.iter().enumerate().all(|(j, glyph)| {
                    let Some(tick) = self.ticks.get(at + j) else {
                        return false;
                    };
                    if j > 0 {
                        let expected =
                            Some((spelling.before[j], false)).filter(|(b, _)| *b != Boundary::None);
                        channel += gap_within(tick.gap, expected).unwrap();
                    }
                    let Some((bits, fixed)) = self.glyph(glyph, tick) else {
                        return false;
                    };
                    channel += bits;
                    fixes += fixed;
                    if let (true, Glyph::Char(c)) = (model.cased, glyph)
                        && c.is_ascii_alphabetic()
                    {
                        channel += self.case_cost(c.is_ascii_lowercase(), tick);
                    }
                    true
                });
                if fits {
                    let end = at + spelling.glyphs.len();
                    all.push((
                        Taken {
                            slot,
                            code: index,
                            start: at,
                            end,
                            channel,
                            share: 0.0,
                            conds,
                            glyphs: listed.clone(),
                        },
                        fixes,
                    ));
                }
            }
        }
        all
    }

    fn strip(
        &self,
        slot: usize,
        index: usize,
        strips: &[Strip],
        strip: &Strip,
        at: usize,
    ) -> Option<(Taken, u32)> {
        let model = &self.family.slots[slot];
        if strip.places.is_empty() {
            return None;
        }
        let (mut channel, mut fixes, mut glyphs, mut doubt) = (0.0, 0, Vec::new(), false);
        for (j, place) in strip.places.iter().enumerate() {
            let tick = self.ticks.get(at + j)?;
            if j > 0 {
                // In a slot that takes any text a dash is text as well.
                let expected = tick
                    .gap
                    .filter(|gap| is_free(strip) && *gap != Boundary::None)
                    .map(|gap| (gap, false));
                channel += gap_within(tick.gap, expected)?;
            }
            let lower = place.case == Case::Lower;
            let (bits, fixed, can) = self.open(&place.set, lower, tick)?;
            channel += bits;
            fixes += fixed;
            doubt |= matches!(tick.seen, Seen::OneOf(_) | Seen::Unread | Seen::Run);
            if model.cased && place.set.alnum & GlyphSet::DIGITS == 0 {
                channel += self.case_cost(lower, tick);
            }
            glyphs.push(can);
        }
        let mut conds: Vec<(Cond, bool)> = model.codes[index]
            .guard
            .iter()
            .map(|guard| (guard.clone(), true))
            .collect();
        if !doubt {
            for other in &model.codes {
                let CodeKind::Listed(spelling) = &other.kind else {
                    continue;
                };
                let same = spelling.glyphs.len() == glyphs.len()
                    && spelling
                        .glyphs
                        .iter()
                        .zip(&glyphs)
                        .all(|(a, b)| a.folded() == b[0].folded());
                match (&other.guard, same) {
                    (None, true) => return None,
                    (Some(_), true) if model.codes[index].unlisted => return None,
                    (Some(guard), true) => conds.push((guard.clone(), false)),
                    _ => {}
                }
            }
        }
        let end = at + strip.places.len();
        Some((
            Taken {
                slot,
                code: index,
                start: at,
                end,
                channel,
                share: share(strips, strip),
                conds,
                glyphs,
            },
            fixes,
        ))
    }

    fn stop(&self, at: usize) -> bool {
        self.ticks
            .get(at)
            .is_none_or(|tick| tick.gap != Some(Boundary::None))
    }

    /// The least glyphs that a slot needs in a form.
    fn least(&self, slot: usize, kind: FormKind) -> usize {
        let mut least = usize::MAX;
        for code in &self.family.slots[slot].codes {
            let mut own = true;
            for print in code
                .prints
                .iter()
                .filter(|print| print.forms.contains(&kind))
            {
                least = least.min(print.spelling.as_ref().map_or(0, |s| s.glyphs.len()));
                own &= print.guard.is_some();
                if !own {
                    break;
                }
            }
            if own {
                least = least.min(match &code.kind {
                    CodeKind::Absent => 0,
                    CodeKind::Listed(spelling) => spelling.glyphs.len(),
                    CodeKind::Open(strips) => strips
                        .iter()
                        .map(|s| s.places.len())
                        .min()
                        .unwrap_or(usize::MAX),
                });
            }
        }
        if least == usize::MAX { 0 } else { least }
    }

    fn ways(&self, line: &[Place], kind: FormKind) -> Vec<Way> {
        let mut ways = Vec::new();
        for start in 0..self.ticks.len() {
            let gap = self.ticks[start].gap;
            if gap.is_some_and(|gap| gap != Boundary::Space) {
                continue;
            }
            let layout = if gap.is_some() { AFTER_TEXT } else { 0.0 };
            self.walk(
                line,
                kind,
                0,
                start,
                start,
                None,
                layout,
                0,
                &mut Vec::new(),
                &mut ways,
            );
        }
        ways
    }

    #[allow(clippy::too_many_arguments)]
    fn walk(
        &self,
        line: &[Place],
        kind: FormKind,
        place: usize,
        start: usize,
        at: usize,
        pending: Option<(Boundary, bool)>,
        layout: f64,
        fixes: u32,
        path: &mut Vec<Taken>,
        ways: &mut Vec<Way>,
    ) {
        let finish = |layout: f64, path: &Vec<Taken>, ways: &mut Vec<Way>| {
            if at > start && self.stop(at) {
                let after = match self.ticks.get(at).map(|tick| tick.gap) {
                    None | Some(None) => 0.0,
                    Some(Some(Boundary::Space)) => BEFORE_TEXT,
                    Some(Some(_)) => {
                        let same_token = |i: &usize| {
                            *i == at || self.ticks[*i].gap.is_some_and(|gap| gap != Boundary::Space)
                        };
                        let tail = (at..self.ticks.len()).take_while(same_token).count();
                        TAIL + if tail > at - start { LONG_TAIL } else { 0.0 }
                    }
                };
                ways.push(Way {
                    start,
                    end: at,
                    taken: path.clone(),
                    layout: layout + after,
                });
            }
        };
        let Some(here) = line.get(place) else {
            finish(layout, path, ways);
            return;
        };
        let expected = here.before.or(pending);
        for (taken, fixed) in self.fits(here.slot, kind, at) {
            let empty = taken.end == at;
            let gap = if empty || at == start {
                0.0
            } else {
                match gap_cost(self.ticks[at].gap, expected) {
                    Some(bits) => bits,
                    None => continue,
                }
            };
            if fixes + fixed > MAX_FIXES {
                continue;
            }
            let end = taken.end;
            path.push(taken);
            let pending = if empty { expected } else { None };
            self.walk(
                line,
                kind,
                place + 1,
                start,
                end,
                pending,
                layout + gap,
                fixes + fixed,
                path,
                ways,
            );
            path.pop();
        }
        let printed = path.last().is_some_and(|taken| taken.end > taken.start);
        let rest: usize = line[place..].iter().map(|p| self.least(p.slot, kind)).sum();
        if printed && rest > 0 {
            let cut = if at - start < 3 { CUT_SHORT } else { CUT };
            finish(layout + cut, path, ways);
        }
    }

    fn symbols(&self, line: &[Place], kind: FormKind) -> bool {
        line.iter().all(|place| {
            let slot = &self.family.slots[place.slot];
            let plain = |g: &Glyph| !matches!(g, Glyph::Char(c) if c.is_ascii_alphanumeric());
            slot.codes.iter().all(|code| {
                let prints: Vec<_> = code
                    .prints
                    .iter()
                    .filter(|print| print.forms.contains(&kind))
                    .collect();
                let of_prints = prints.iter().all(|p| {
                    p.spelling
                        .as_ref()
                        .is_none_or(|s| s.glyphs.iter().all(plain))
                });
                let covered = prints.iter().any(|p| p.guard.is_none());
                of_prints
                    && (covered
                        || match &code.kind {
                            CodeKind::Absent => true,
                            CodeKind::Listed(s) => s.glyphs.iter().all(plain),
                            CodeKind::Open(_) => false,
                        })
            })
        })
    }

    fn naming(&self, row: &Row, slot: usize) -> bool {
        fn among(items: &[RowItem], slot: usize) -> bool {
            items.iter().any(|item| match item {
                RowItem::Slot(s) => s.index() == slot,
                RowItem::Optional(inner) => among(inner, slot),
                _ => false,
            })
        }
        if let Some(base) = &self.family.base {
            let printed = row.lines.iter().flatten();
            let mut printed = printed;
            if printed.any(|place| among(&base.items, place.slot)) {
                return among(&base.items, slot);
            }
        }
        if !row.lines.iter().flatten().any(|place| place.slot == slot) {
            return false;
        }
        let model = &self.family.slots[slot];
        let dated = !self.family.is_marking()
            && self
                .family
                .dates
                .iter()
                .any(|d| d.slots.iter().any(|s| s.index() == slot));
        let symbol = model.literal
            && model.codes.iter().all(|code| match &code.kind {
                CodeKind::Listed(s) => s.glyphs.iter().all(|g| matches!(g, Glyph::Symbol(_))),
                _ => true,
            });
        !model.each && !dated && !symbol
    }

    fn row(&self, row: &Row) -> Vec<f64> {
        let ways: Vec<Vec<Way>> = row
            .lines
            .iter()
            .map(|line| self.ways(line, row.kind))
            .collect();
        let mut layouts = Vec::new();
        self.lay(row, &ways, 0, 0.0, &mut Vec::new(), &mut layouts);
        let mut bits = Vec::new();
        for (layout, chosen) in layouts {
            bits.extend(self.weigh(row, layout, &chosen));
        }
        bits
    }

    fn lay<'w>(
        &self,
        row: &Row,
        ways: &'w [Vec<Way>],
        line: usize,
        bits: f64,
        chosen: &mut Vec<Option<&'w Way>>,
        layouts: &mut Vec<(f64, Vec<Option<&'w Way>>)>,
    ) {
        if line == ways.len() {
            if chosen.iter().any(Option::is_some) {
                layouts.push((bits, chosen.clone()));
            }
            return;
        }
        for way in &ways[line] {
            if chosen
                .iter()
                .flatten()
                .any(|other| way.start < other.end && other.start < way.end)
            {
                continue;
            }
            let ordered = chosen.iter().flatten().all(|other| other.start < way.start);
            chosen.push(Some(way));
            self.lay(
                row,
                ways,
                line + 1,
                bits + way.layout + if ordered { 0.0 } else { ORDER },
                chosen,
                layouts,
            );
            chosen.pop();
        }
        chosen.push(None);
        let missing = if self.symbols(&row.lines[line], row.kind) {
            0.0
        } else {
            MISSING
        };
        self.lay(row, ways, line + 1, bits + missing, chosen, layouts);
        chosen.pop();
    }

    fn weigh(&self, row: &Row, layout: f64, chosen: &[Option<&Way>]) -> Vec<f64> {
        let all: Vec<&Taken> = chosen.iter().flatten().flat_map(|way| &way.taken).collect();
        if !all
            .iter()
            .any(|taken| taken.end > taken.start && self.naming(row, taken.slot))
        {
            return Vec::new();
        }
        let slots = self.family.slots.len();
        let mut first: Vec<Option<&Taken>> = vec![None; slots];
        let mut conflicts = 0;
        for taken in &all {
            match first[taken.slot] {
                None => first[taken.slot] = Some(taken),
                Some(before) => {
                    let sure = |t: &Taken| {
                        t.glyphs
                            .iter()
                            .map(|g| {
                                if g.len() == 1 {
                                    Some(g[0].clone())
                                } else {
                                    None
                                }
                            })
                            .collect::<Option<Vec<_>>>()
                    };
                    if before.code != taken.code || sure(before) != sure(taken) {
                        conflicts += 1;
                    }
                }
            }
        }
        let missing = chosen
            .iter()
            .zip(&row.lines)
            .filter(|(way, line)| way.is_none() && !self.symbols(line, row.kind))
            .count();
        let touched = |line: usize| {
            chosen
                .iter()
                .flatten()
                .any(|way| (way.start..way.end).any(|at| self.ticks[at].line == line))
        };
        let left = (0..self.capitals.len())
            .filter(|line| !touched(*line))
            .count();
        let mut bits =
            layout + FOREIGN * missing.min(left) as f64 + CONFLICT * f64::from(conflicts);
        bits += all.iter().map(|taken| taken.channel).sum::<f64>();
        for check in &self.family.checks {
            let glyphs: Option<Vec<Glyph>> = check
                .slots
                .iter()
                .map(|slot| {
                    first[slot.index()]?
                        .glyphs
                        .iter()
                        .map(|g| {
                            if g.len() == 1 {
                                Some(g[0].clone())
                            } else {
                                None
                            }
                        })
                        .collect::<Option<Vec<_>>>()
                })
                .collect::<Option<Vec<_>>>()
                .map(|all| all.concat());
            if let Some(glyphs) = glyphs {
                bits += if check_holds(check, &glyphs) {
                    f64::from(check.modulus).log2()
                } else {
                    NEVER
                };
            }
        }
        let unlisted = first
            .iter()
            .flatten()
            .filter(|t| self.family.slots[t.slot].codes[t.code].unlisted)
            .count();
        if unlisted > 1 {
            return Vec::new();
        }
        let conds: Vec<(Cond, bool)> = all.iter().flat_map(|taken| taken.conds.clone()).collect();
        let mut codes: Vec<Option<usize>> =
            first.iter().map(|taken| taken.map(|t| t.code)).collect();
        let groups = self.groups();
        let needed = self.needed(row, &first, &conds, &groups);
        let mut out = Vec::new();
        self.group(
            row, &groups, 0, &needed, &first, &conds, &mut codes, bits, &mut out,
        );
        out
    }

    fn asks(&self, cond: &Cond) -> Vec<usize> {
        cond.terms
            .iter()
            .flat_map(|term| term.any.iter().map(|(slot, _)| slot.index()))
            .collect()
    }

    fn holds(&self, cond: &Cond, codes: &[Option<usize>]) -> bool {
        cond.terms.iter().all(|term| {
            term.negated
                != term.any.iter().any(|(slot, set)| {
                    codes[slot.index()].is_some_and(|code| set.iter().any(|c| c.index() == code))
                })
        })
    }

    /// Slots that must be drawn together, each group after those that it asks.
    fn groups(&self) -> Vec<Vec<usize>> {
        let n = self.family.slots.len();
        let mut reach = vec![vec![false; n]; n];
        for (slot, model) in self.family.slots.iter().enumerate() {
            reach[slot][slot] = true;
            for guard in model.codes.iter().filter_map(|code| code.guard.as_ref()) {
                for other in self.asks(guard) {
                    reach[slot][other] = true;
                }
            }
        }
        let mut tie = |slots: Vec<usize>| {
            for pair in slots.windows(2) {
                reach[pair[0]][pair[1]] = true;
                reach[pair[1]][pair[0]] = true;
            }
        };
        for never in &self.family.nevers {
            tie(self.asks(&never.cond));
        }
        for date in &self.family.dates {
            tie(date.slots.iter().map(|slot| slot.index()).collect());
        }
        for k in 0..n {
            let through = reach[k].clone();
            for row in reach.iter_mut().filter(|row| row[k]) {
                for (reached, also) in row.iter_mut().zip(&through) {
                    *reached |= also;
                }
            }
        }
        let mut groups: Vec<Vec<usize>> = Vec::new();
        let mut placed = vec![false; n];
        while placed.iter().any(|p| !p) {
            for slot in 0..n {
                if placed[slot] {
                    continue;
                }
                let together: Vec<usize> = (0..n)
                    .filter(|other| reach[slot][*other] && reach[*other][slot])
                    .collect();
                let ready = (0..n)
                    .all(|other| !reach[slot][other] || placed[other] || together.contains(&other));
                if ready {
                    for s in &together {
                        placed[*s] = true;
                    }
                    groups.push(together);
                }
            }
        }
        groups
    }

    fn date_of(&self, group: &[usize]) -> Option<usize> {
        self.family
            .dates
            .iter()
            .position(|date| date.slots.iter().any(|slot| group.contains(&slot.index())))
    }

    fn nevers_of(&self, group: &[usize]) -> Vec<usize> {
        (0..self.family.nevers.len())
            .filter(|n| {
                self.asks(&self.family.nevers[*n].cond)
                    .iter()
                    .any(|s| group.contains(s))
            })
            .collect()
    }

    fn needed(
        &self,
        row: &Row,
        first: &[Option<&Taken>],
        conds: &[(Cond, bool)],
        groups: &[Vec<usize>],
    ) -> Vec<bool> {
        let mut needed: Vec<bool> = first.iter().map(Option::is_some).collect();
        let mark = |cond: &Cond, needed: &mut Vec<bool>| {
            for slot in self.asks(cond) {
                needed[slot] = true;
            }
        };
        for other in self.rows.iter().filter(|other| other.kind == row.kind) {
            if let Some(guard) = &other.guard {
                mark(guard, &mut needed);
            }
        }
        for (cond, _) in conds {
            mark(cond, &mut needed);
        }
        for group in groups.iter().rev() {
            if !group.iter().any(|slot| needed[*slot]) {
                continue;
            }
            let date = self.date_of(group);
            for slot in group {
                let dated = date.is_some_and(|d| {
                    self.family.dates[d]
                        .slots
                        .iter()
                        .any(|s| s.index() == *slot)
                });
                if !dated && (group.len() > 1 || !self.nevers_of(group).is_empty()) {
                    needed[*slot] = true;
                }
                for guard in self.family.slots[*slot]
                    .codes
                    .iter()
                    .filter_map(|code| code.guard.as_ref())
                {
                    mark(guard, &mut needed);
                }
            }
        }
        needed
    }

    fn weight(&self, slot: usize, code: usize) -> f64 {
        let codes = &self.family.slots[slot].codes;
        if !codes[code].unlisted {
            return codes[code].weight;
        }
        let guard = codes[code].guard.as_ref().map(|g| &g.terms);
        let listed: f64 = codes
            .iter()
            .filter(|other| {
                !other.unlisted
                    && (other.guard.is_none() || other.guard.as_ref().map(|g| &g.terms) == guard)
            })
            .map(|other| other.weight)
            .sum();
        if listed > 0.0 {
            listed * UNLISTED / (1.0 - UNLISTED)
        } else {
            1.0
        }
    }

    #[allow(clippy::too_many_arguments)]
    fn group(
        &self,
        row: &Row,
        groups: &[Vec<usize>],
        at: usize,
        needed: &[bool],
        first: &[Option<&Taken>],
        conds: &[(Cond, bool)],
        codes: &mut Vec<Option<usize>>,
        bits: f64,
        out: &mut Vec<f64>,
    ) {
        let Some(group) = groups.get(at) else {
            if conds
                .iter()
                .all(|(cond, truth)| self.holds(cond, codes) == *truth)
                && row
                    .guard
                    .as_ref()
                    .is_none_or(|guard| self.holds(guard, codes))
            {
                let same: f64 = self
                    .rows
                    .iter()
                    .filter(|r| {
                        r.kind == row.kind && r.guard.as_ref().is_none_or(|g| self.holds(g, codes))
                    })
                    .map(|r| r.weight)
                    .sum();
                let mut kinds: Vec<FormKind> = self.rows.iter().map(|r| r.kind).collect();
                kinds.sort_unstable();
                kinds.dedup();
                let kind = match self.form {
                    None => -(kinds.len() as f64).log2(),
                    Some(form) if form == row.kind || row.kind == FormKind::Mark => 0.0,
                    Some(_) => OTHER_FORM,
                };
                out.push(bits + kind + (row.weight / same).log2());
            }
            return;
        };
        let date = self.date_of(group).filter(|d| {
            self.family.dates[*d]
                .slots
                .iter()
                .any(|s| codes[s.index()].is_some())
        });
        let mut bits = bits;
        let dated: Vec<usize> = self
            .date_of(group)
            .map(|d| {
                self.family.dates[d]
                    .slots
                    .iter()
                    .map(|s| s.index())
                    .collect()
            })
            .unwrap_or_default();
        if let Some(date) = date {
            let Some(read) = self.date(date, first) else {
                return;
            };
            let guards = dated.iter().all(|slot| {
                codes[*slot].is_none_or(|c| {
                    self.family.slots[*slot].codes[c]
                        .guard
                        .as_ref()
                        .is_none_or(|g| self.holds(g, codes))
                })
            });
            if !guards {
                return;
            }
            bits += read;
        }
        let weighed: Vec<usize> = group
            .iter()
            .copied()
            .filter(|slot| (codes[*slot].is_some() || needed[*slot]) && !dated.contains(slot))
            .collect();
        if weighed.is_empty() {
            self.group(row, groups, at + 1, needed, first, conds, codes, bits, out);
            return;
        }
        let nevers = self.nevers_of(group);
        let mut free = codes.clone();
        for slot in &weighed {
            free[*slot] = None;
        }
        let divisor = self.sum(&weighed, 0, &nevers, &mut free);
        if divisor <= 0.0 {
            return;
        }
        self.combine(
            row, groups, at, &weighed, 0, &nevers, divisor, needed, first, conds, codes, bits, out,
        );
    }

    fn sum(
        &self,
        weighed: &[usize],
        next: usize,
        nevers: &[usize],
        codes: &mut Vec<Option<usize>>,
    ) -> f64 {
        if let Some(slot) = weighed.get(next) {
            let mut sum = 0.0;
            for code in 0..self.family.slots[*slot].codes.len() {
                codes[*slot] = Some(code);
                sum += self.weight(*slot, code) * self.sum(weighed, next + 1, nevers, codes);
            }
            codes[*slot] = None;
            return sum;
        }
        for slot in weighed {
            let code = codes[*slot].unwrap();
            if self.family.slots[*slot].codes[code]
                .guard
                .as_ref()
                .is_some_and(|guard| !self.holds(guard, codes))
            {
                return 0.0;
            }
        }
        nevers.iter().fold(1.0, |factor, never| {
            let never = &self.family.nevers[*never];
            factor
                * if self.holds(&never.cond, codes) {
                    never.seldom.unwrap_or(0.0)
                } else {
                    1.0
                }
        })
    }

    #[allow(clippy::too_many_arguments)]
    fn combine(
        &self,
        row: &Row,
        groups: &[Vec<usize>],
        at: usize,
        weighed: &[usize],
        next: usize,
        nevers: &[usize],
        divisor: f64,
        needed: &[bool],
        first: &[Option<&Taken>],
        conds: &[(Cond, bool)],
        codes: &mut Vec<Option<usize>>,
        bits: f64,
        out: &mut Vec<f64>,
    ) {
        if let Some(slot) = weighed.get(next) {
            if let Some(taken) = first[*slot] {
                let bits = bits + self.weight(*slot, taken.code).log2() + taken.share;
                self.combine(
                    row,
                    groups,
                    at,
                    weighed,
                    next + 1,
                    nevers,
                    divisor,
                    needed,
                    first,
                    conds,
                    codes,
                    bits,
                    out,
                );
                return;
            }
            for code in 0..self.family.slots[*slot].codes.len() {
                codes[*slot] = Some(code);
                let bits = bits + self.weight(*slot, code).log2();
                self.combine(
                    row,
                    groups,
                    at,
                    weighed,
                    next + 1,
                    nevers,
                    divisor,
                    needed,
                    first,
                    conds,
                    codes,
                    bits,
                    out,
                );
            }
            codes[*slot] = None;
            return;
        }
        for slot in weighed {
            let code = codes[*slot].unwrap();
            if self.family.slots[*slot].codes[code]
                .guard
                .as_ref()
                .is_some_and(|guard| !self.holds(guard, codes))
            {
                return;
            }
        }
        let mut bits = bits - divisor.log2();
        for never in nevers {
            let never = &self.family.nevers[*never];
            if self.holds(&never.cond, codes) {
                bits += never.seldom.map_or(NEVER, f64::log2);
            }
        }
        self.group(row, groups, at + 1, needed, first, conds, codes, bits, out);
    }

    /// log2 P of the codes of a date.
    fn date(&self, date: usize, first: &[Option<&Taken>]) -> Option<f64> {
        let rule = &self.family.dates[date];
        let mut doubt = 0.0;
        let mut all: Vec<(Option<(i64, i64)>, Parts)> = vec![(None, Parts::default())];
        for taken in rule.slots.iter().filter_map(|slot| first[slot.index()]) {
            let code = &self.family.slots[taken.slot].codes[taken.code];
            let mut strings: Vec<Vec<Glyph>> = vec![Vec::new()];
            for can in &taken.glyphs {
                strings = strings
                    .iter()
                    .flat_map(|s| {
                        can.iter()
                            .map(move |g| [s.as_slice(), std::slice::from_ref(g)].concat())
                    })
                    .collect();
            }
            let open = code
                .open_fields
                .iter()
                .any(|(field, _)| self.reference.parts[field.index()].is_some());
            if open {
                // A date sums over the completions itself.
                doubt += taken
                    .glyphs
                    .iter()
                    .map(|can| (can.len() as f64).log2())
                    .sum::<f64>();
            } else {
                strings.truncate(1);
            }
            let mut next = Vec::new();
            for string in &strings {
                let mut values: Vec<(DatePart, i64, i64)> = Vec::new();
                for (field, value) in &code.fields {
                    if let (Some(part), Value::Quantity(q)) =
                        (self.reference.parts[field.index()], value)
                    {
                        let v = q.value as i64;
                        values.push((
                            part,
                            v,
                            if v >= 1000 {
                                0
                            } else if taken.glyphs.len() > 1 || v > 9 {
                                100
                            } else {
                                10
                            },
                        ));
                    }
                }
                let mut whole = true;
                for (field, rule) in &code.open_fields {
                    let Some(part) = self.reference.parts[field.index()] else {
                        continue;
                    };
                    match rule.value(string) {
                        Some(Value::Quantity(q)) => {
                            let period = match rule {
                                OpenRule::OneOf { order, .. } => order.len() as i64,
                                _ if string.len() >= 4 => 0,
                                _ => 10_i64.pow(string.len() as u32),
                            };
                            values.push((part, q.value as i64, period));
                        }
                        _ => whole = false,
                    }
                }
                if !whole {
                    continue;
                }
                for (year, parts) in &all {
                    let (mut year, mut parts, mut fits) = (*year, *parts, true);
                    for (part, value, period) in &values {
                        if *part == DatePart::Year {
                            year = Some((*value, *period));
                        } else {
                            fits &= parts.set(*part, *value as i16);
                        }
                    }
                    if fits {
                        next.push((year, parts));
                    }
                }
            }
            all = next;
        }
        let fits = |(value, period): (i64, i64), year: i16| {
            if period == 0 {
                i64::from(year) == value
            } else {
                (i64::from(year) - value).rem_euclid(period) == 0
            }
        };
        let window = (
            self.family.window.since.map(|d| d.year()),
            self.family.window.until.map(|d| d.year()),
        );
        let weight = |year: i16| {
            let inside =
                window.0.is_none_or(|s| year >= s) && window.1.is_none_or(|u| year <= u + 1);
            (-f64::from(self.seen.year() - year) / 8.0).exp2()
                * if inside { 1.0 } else { 1.0 / 128.0 }
        };
        let years: Vec<i16> = (1965..=self.seen.year()).collect();
        let norm: f64 = years.iter().map(|y| weight(*y)).sum();
        let mut sum = 0.0;
        for (year, parts) in &all {
            match year {
                None => {
                    if [2020, 2024]
                        .iter()
                        .any(|y| parts.interval(*y, rule.calendar).is_some())
                    {
                        sum += 1.0 / parts.per_year();
                    }
                }
                Some(mark) => {
                    for y in years.iter().filter(|y| fits(*mark, **y)) {
                        if parts
                            .interval(*y, rule.calendar)
                            .is_some_and(|i| i.from <= self.seen)
                        {
                            sum += weight(*y) / norm / parts.per_year();
                        }
                    }
                }
            }
        }
        if sum == 0.0 {
            for (year, parts) in &all {
                let Some(mark) = year else { continue };
                let from = self.seen.year();
                if (from..from + 100).filter(|y| fits(*mark, *y)).any(|y| {
                    parts
                        .interval(y, rule.calendar)
                        .is_some_and(|i| i.from > self.seen)
                }) {
                    sum += FUTURE.exp2() / parts.per_year();
                }
            }
        }
        (sum > 0.0).then(|| sum.log2() - doubt)
    }
}
