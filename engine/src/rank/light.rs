//! The answer in short to a reading that goes the light way; see `decode/light.rs`.

use std::borrow::Borrow;

use smallvec::SmallVec;

use super::answer::{Alternative, Candidate, Context, Depth, FieldAnswer, Ranking, Relations};
use super::context;
use super::describe::{self, ENTAILED, MERGED, SHOWN};
use super::detail::Detail;
use super::none::{Background, log2_sum};
use super::posterior::{
    BESIDE_VALUE, LISTED, NEGLIGIBLE, SETTLED, SHORT, Weighed, prior_bits, rounded, stem,
};
use crate::compile::{Item, LightFamily, LightPlace, Told};
use crate::decode::{
    Belief, DateRead, Decoder, Doubt, Effort, Explanation, How, Leaf, Odds, Pick, Reading, Room,
    Scratch, Stream,
};
use crate::glyph::Glyph;
use crate::model::{Family, FamilyId, FieldId, Spelling};
use crate::value::Value;

/// Share of its family below which an explanation is not looked at for what the first candidate says.
const TOLD: f64 = 1e-5;

/// What a leaf of a family comes to.
struct Sum {
    /// Which of the families of the room.
    at: usize,
    /// log2 of its odds.
    bits: f64,
}

/// The answer, if the reading can go this way: then it is the one that the long way gives, but for what is negligible there too. The stream must
/// be filled and its rows found; `read` gives the reading, of no known form, where it is needed after all.
pub(super) fn answer<R: Borrow<Reading>, E>(
    decoder: &Decoder<'_>,
    read: &dyn Fn() -> Result<R, E>,
    background: &Background,
    context: &Context,
    scratch: &mut Scratch,
    detail: &Detail<'_>,
) -> Result<Option<(Ranking, f64)>, E> {
    if detail.full()
        || decoder.effort == Effort::Deep
        || context::any(context)
        || !decoder.may_be_light(scratch)
    {
        return Ok(None);
    }
    let odds = Odds {
        belief: &|family| Belief {
            prior: prior_bits(family),
            beside: if is_value(family) { BESIDE_VALUE } else { 0.0 },
        },
        text: &|from, to| background.stretch(from, to),
        free: &|from, to| background.free(from, to),
        within: NEGLIGIBLE,
    };
    if !decoder.lightly(context.seen, scratch, &odds) {
        return Ok(None);
    }
    let (room, stream) = (&scratch.light, &scratch.stream);
    let (sums, none) = weigh(decoder, room, background, stream);
    let total = sums.iter().fold(none, |sum, one| log2_sum(sum, one.bits));
    if decoder.effort == Effort::Enough && !settled(room, stream, total) {
        return Ok(None);
    }
    let mut ranking = Ranking {
        none: (none - total).exp2(),
        text_bits: background.stretch(0, stream.len()),
        ..Ranking::default()
    };
    for one in &sums {
        let probability = (one.bits - total).exp2();
        let family = room.families[one.at].family;
        if probability < LISTED || !ranking.candidates.is_empty() {
            ranking.rest += probability;
            ranking.others.push((family, probability));
            continue;
        }
        let leaves = told(room, one);
        let mut candidate = match told_at_once(decoder, room, family, &leaves, stream, detail) {
            Some(candidate) => candidate,
            None => {
                let explanations: Vec<Explanation> = leaves
                    .iter()
                    .map(|(leaf, _)| decoder.explanation(family, leaf, room, stream))
                    .collect();
                let list: Vec<Weighed<'_>> = explanations
                    .iter()
                    .zip(&leaves)
                    .map(|(explanation, (leaf, share))| Weighed {
                        explanation,
                        bits: leaf.bits,
                        share: *share,
                    })
                    .collect();
                let reading = read()?;
                describe::candidate(decoder, &list, reading.borrow(), stream, context, detail)
            }
        };
        candidate.probability = probability;
        candidate.bits = one.bits - none;
        ranking.candidates.push(candidate);
    }
    Ok(Some((ranking, total)))
}

/// Whether a part of the family bears its value and little else.
pub(super) fn is_value(family: &Family) -> bool {
    let function = family.function.as_deref();
    function.is_some_and(|function| function.starts_with("passive/"))
}

/// The families with their odds, likeliest first, and log2 of the odds of none, kin included.
fn weigh(
    decoder: &Decoder<'_>,
    room: &Room,
    background: &Background,
    stream: &Stream,
) -> (Vec<Sum>, f64) {
    let mut none = 0.0;
    let mut sums = Vec::with_capacity(room.families.len());
    for (at, light) in room.families.iter().enumerate() {
        let leaves = &room.leaves[light.leaves.0..light.leaves.1];
        // The first of those that are as likely.
        let likelier = |a: &&Leaf, b: &&Leaf| rounded(a.bits).total_cmp(&rounded(b.bits));
        let Some(best) = leaves.iter().rev().max_by(likelier) else {
            continue;
        };
        let bits = match leaves {
            [_] => best.bits,
            _ => {
                let shares = leaves.iter().map(|leaf| (leaf.bits - best.bits).exp2());
                best.bits + shares.sum::<f64>().log2()
            }
        };
        sums.push(Sum { at, bits });
        let parts = room.picks(best).iter().filter(|pick| pick.end > pick.start);
        let parts = parts.map(|pick| {
            let places = pick.start as usize..pick.end as usize;
            let text = if pick.free {
                0.0
            } else {
                places.map(|at| background.glyph(at)).sum()
            };
            let bits = pick.bits + pick.channel - text;
            (bits, pick.start as usize, pick.end as usize)
        });
        let kin = stem(
            light.prior,
            parts,
            (best.start, best.end),
            stream,
            background,
        );
        none = log2_sum(none, kin);
    }
    let name = |one: &Sum| &decoder.rules.families[room.families[one.at].family.index()].name;
    sums.sort_by(|a, b| b.bits.total_cmp(&a.bits).then_with(|| name(a).cmp(name(b))));
    (sums, none)
}

/// Whether a search for damage can be spared.
fn settled(room: &Room, stream: &Stream, total: f64) -> bool {
    let exact = room
        .leaves
        .iter()
        .filter(|leaf| room.is_exact(leaf, stream.len()));
    let exact: f64 = exact.map(|leaf| (leaf.bits - total).exp2()).sum();
    stream.len() >= SHORT && exact >= SETTLED
}

/// The leaves of a family that matter for what it says, with their shares, likeliest first.
fn told<'r>(room: &'r Room, one: &Sum) -> SmallVec<[(&'r Leaf, f64); 4]> {
    let light = &room.families[one.at];
    let mut leaves: SmallVec<[(&Leaf, f64); 4]> = room.leaves[light.leaves.0..light.leaves.1]
        .iter()
        .map(|leaf| (leaf, (leaf.bits - one.bits).exp2()))
        .filter(|(_, share)| *share >= TOLD)
        .collect();
    leaves.sort_by(|a, b| rounded(b.0.bits).total_cmp(&rounded(a.0.bits)));
    leaves
}

/// The candidate at once, where each slot says its own: what `describe` makes of it.
fn told_at_once(
    decoder: &Decoder<'_>,
    room: &Room,
    id: FamilyId,
    leaves: &[(&Leaf, f64)],
    stream: &Stream,
    detail: &Detail<'_>,
) -> Option<Candidate> {
    let (first, share) = *leaves.first()?;
    let telling = &decoder.light(id).telling;
    if !telling.simple {
        return None;
    }
    let tell = Tell::of(decoder, room, id, first, stream);
    let (mut fields, slots) = tell.fields(room, first, detail)?;
    // All leaves are asked only where they may differ in what is written.
    let least = if share < ENTAILED { 0.0 } else { MERGED };
    let others = leaves.iter().skip(1).filter(|(_, share)| *share >= least);
    let others: SmallVec<[Other<'_>; 4]> = others
        .map(|(leaf, share)| Other {
            tell: Tell::of(decoder, room, id, leaf, stream),
            leaf,
            share: *share,
        })
        .collect();
    let merged = others.iter().filter(|other| other.share >= MERGED);
    if merged.clone().next().is_some()
        || room.dates(first).any(|(_, date)| date.intervals.len() > 1)
    {
        let all = share + merged.clone().map(|other| other.share).sum::<f64>();
        let asked = Asked {
            tell: &tell,
            room,
            detail,
            share,
            all,
        };
        for (own, slot) in fields.iter_mut().zip(slots) {
            asked.merge(own, slot, first, &others)?;
        }
    }
    let mut written = Written {
        text: String::with_capacity(stream.len() + 8),
        whole: true,
        ..Written::default()
    };
    let entailed = |slot: usize| {
        if share >= ENTAILED {
            return true;
        }
        let same = others
            .iter()
            .filter(|other| other.tell.seen(slot) == tell.seen(slot));
        share + same.map(|other| other.share).sum::<f64>() >= ENTAILED
    };
    tell.write(&entailed, &mut written)?;
    let whole = written.whole && !written.text.contains('_');
    Some(Candidate {
        family: id,
        probability: 0.0,
        bits: 0.0,
        prior_bits: 0.0,
        context_bits: 0.0,
        known_to: if whole {
            Depth::OrderingCode
        } else {
            Depth::Series
        },
        forms: vec![tell.light.rows[first.row as usize].kind],
        // A spelling that is all open says nothing.
        written: (written.text != "..").then_some(written.text),
        fields,
        open: written.open,
        slots: Vec::new(),
        corrections: Vec::new(),
        disagreements: Vec::new(),
        evidence: Vec::new(),
        relations: Relations::default(),
    })
}

/// Another leaf of the family.
struct Other<'a> {
    tell: Tell<'a>,
    leaf: &'a Leaf,
    share: f64,
}

/// By field of an answer, the slot that gives it; the first of its rule for a date.
type Slots = SmallVec<[usize; 12]>;

/// The likeliest leaf, whose fields are held against what the others say.
struct Asked<'t, 'a> {
    tell: &'t Tell<'a>,
    room: &'a Room,
    detail: &'a Detail<'a>,
    share: f64,
    /// The shares of all leaves that are asked.
    all: f64,
}

impl Asked<'_, '_> {
    /// Notes how likely a field's value is beside what the other leaves say; `None` where one does not know it.
    fn merge(
        &self,
        own: &mut FieldAnswer,
        slot: usize,
        leaf: &Leaf,
        others: &[Other<'_>],
    ) -> Option<()> {
        if self.tell.is_date(own.field) {
            self.merge_date(own, slot, leaf, others);
            return Some(());
        }
        own.value.as_ref()?;
        let mut same = self.share;
        let mut values = Said::new();
        for (from, other) in (1..).zip(others) {
            if other.share < MERGED {
                break;
            }
            if self.tell.says_as(slot, other) {
                same += other.share;
                continue;
            }
            let Some((value, slot)) = other.value(own.field, slot, self.room, self.detail)? else {
                continue;
            };
            if value.agrees(own.value.as_ref()?) {
                same += other.share;
            } else {
                Spoken::add(&mut values, value, from, slot, other.share);
            }
        }
        self.note(own, same, values, others);
        Some(())
    }

    /// The same for a date, of which a leaf may know several intervals.
    fn merge_date(&self, own: &mut FieldAnswer, slot: usize, leaf: &Leaf, others: &[Other<'_>]) {
        let Some(top) = &own.value else { return };
        let mut same = 0.0;
        let mut values = Said::new();
        let of_others = others.iter().map(|other| (other.leaf, other.share));
        let leaves = std::iter::once((leaf, self.share)).chain(of_others);
        for (from, (leaf, share)) in leaves.enumerate() {
            let dates = &self.tell.light.telling.dates;
            let of_field = |(rule, _): &(usize, &DateRead)| dates[*rule].0 == own.field;
            let date = self.room.dates(leaf).find(of_field);
            let Some((_, date)) = date.filter(|_| from == 0 || share >= MERGED) else {
                continue;
            };
            for (interval, p) in &date.intervals {
                let value = Value::Dates(*interval);
                if value.agrees(top) {
                    same += p * share;
                } else {
                    Spoken::add(&mut values, value, from, slot, p * share);
                }
            }
        }
        self.note(own, same, values, others);
    }

    /// Notes the share of a field's own value, and the other values with theirs.
    fn note(&self, own: &mut FieldAnswer, same: f64, mut values: Said, others: &[Other<'_>]) {
        values.sort_by(|a, b| b.share.total_cmp(&a.share));
        let said = values.iter().map(|one| one.share).sum::<f64>() + same;
        let mut alternatives = Vec::new();
        for one in values {
            if one.share / self.all >= SHOWN {
                let code = match one.from.checked_sub(1) {
                    Some(other) => others[other].tell.code(one.slot, own.field),
                    None => self.tell.code(one.slot, own.field),
                };
                alternatives.push(Alternative {
                    code: Some(code),
                    text: one.value.show(),
                    value: Some(one.value),
                    absent: false,
                    probability: one.share / self.all,
                });
            }
        }
        let absent = 1.0 - said / self.all;
        if absent > SHOWN {
            alternatives.push(Alternative {
                code: None,
                value: None,
                text: String::new(),
                absent: true,
                probability: absent,
            });
        }
        if !alternatives.is_empty() {
            own.probability = Some(same / self.all);
            own.alternatives = alternatives;
        }
    }
}

/// A value that leaves give for a field.
struct Spoken {
    value: Value,
    /// The first of them: none of the others, or which.
    from: usize,
    slot: usize,
    share: f64,
}

type Said = SmallVec<[Spoken; 4]>;

impl Spoken {
    fn add(said: &mut Said, value: Value, from: usize, slot: usize, share: f64) {
        match said.iter_mut().find(|one| one.value.agrees(&value)) {
            Some(known) => known.share += share,
            None => said.push(Spoken {
                value,
                from,
                slot,
                share,
            }),
        }
    }
}

impl Other<'_> {
    /// What it says of a field, which the likeliest leaf has from a slot, and the slot that gives it; the outer `None` where more has to be
    /// asked.
    fn value(
        &self,
        field: FieldId,
        slot: usize,
        room: &Room,
        detail: &Detail<'_>,
    ) -> Option<Option<(Value, usize)>> {
        let said = |fields: Vec<FieldAnswer>, slots: &Slots| {
            let at = fields.iter().position(|answer| answer.field == field);
            let Some(at) = at else { return Some(None) };
            let value = fields.into_iter().nth(at)?.value?;
            Some(Some((value, slots[at])))
        };
        if self.tell.light.telling.once {
            let mut fields = Vec::new();
            self.tell.slot(slot, detail, &mut fields)?;
            let slots = SmallVec::from_elem(slot, fields.len());
            return said(fields, &slots);
        }
        let (fields, slots) = self.tell.fields(room, self.leaf, detail)?;
        said(fields, &slots)
    }
}

/// Adds a field that is wanted and not told yet.
fn push(fields: &mut Vec<FieldAnswer>, field: FieldId, value: Option<Value>, detail: &Detail<'_>) {
    let told = fields.iter().any(|answer| answer.field == field);
    if !told && detail.wants(field) {
        fields.push(FieldAnswer {
            unknown: value.is_none(),
            value,
            ..FieldAnswer::unnamed(field)
        });
    }
}

/// What one leaf says.
struct Tell<'a> {
    decoder: &'a Decoder<'a>,
    family: FamilyId,
    light: &'a LightFamily,
    /// By slot, with the place.
    picks: SmallVec<[Option<(&'a Pick, &'a LightPlace)>; 24]>,
    stream: &'a Stream,
}

/// The ordering code so far.
#[derive(Default)]
struct Written {
    text: String,
    /// The boundary before what comes next.
    pending: &'static str,
    /// Whether what came last was left open.
    open_before: bool,
    whole: bool,
    /// Slots left open, by name.
    open: Vec<String>,
}

impl<'a> Tell<'a> {
    fn of(
        decoder: &'a Decoder<'a>,
        room: &'a Room,
        id: FamilyId,
        leaf: &Leaf,
        stream: &'a Stream,
    ) -> Tell<'a> {
        let light = decoder.light(id);
        let places = light.places(&light.rows[leaf.row as usize]);
        let mut picks = SmallVec::from_elem(None, light.telling.slots.len());
        for (pick, place) in room.picks(leaf).iter().zip(places) {
            picks[usize::from(place.slot)] = Some((pick, place));
        }
        Tell {
            decoder,
            family: id,
            light,
            picks,
            stream,
        }
    }

    /// The fields, in the order of the slots, with the slots; `None` where more has to be asked than what each slot says by itself.
    fn fields(
        &self,
        room: &Room,
        leaf: &Leaf,
        detail: &Detail<'_>,
    ) -> Option<(Vec<FieldAnswer>, Slots)> {
        let mut fields: Vec<FieldAnswer> = Vec::with_capacity(self.picks.len());
        let mut slots = Slots::new();
        for slot in 0..self.picks.len() {
            self.slot(slot, detail, &mut fields)?;
            slots.resize(fields.len(), slot);
        }
        for (rule, date) in room.dates(leaf) {
            if let Some((interval, _)) = date.intervals.first() {
                let (field, slot) = self.light.telling.dates[rule];
                push(&mut fields, field, Some(Value::Dates(*interval)), detail);
                slots.resize(fields.len(), slot);
            }
        }
        Some((fields, slots))
    }

    /// Whether a field is the date of a rule.
    fn is_date(&self, field: FieldId) -> bool {
        let dates = &self.light.telling.dates;
        dates.iter().any(|(known, _)| *known == field)
    }

    /// The code of a slot, where it is printed.
    fn seen(&self, slot: usize) -> Option<u32> {
        self.picks[slot].map(|(pick, _)| pick.code)
    }

    /// Whether another leaf says of the fields of a slot what this one says, because it has them from the same.
    fn says_as(&self, slot: usize, other: &Other<'_>) -> bool {
        let as_here = match (self.picks[slot], other.tell.picks[slot]) {
            (Some((a, _)), Some((b, _))) => {
                // Of a letter that was not read, as the M or K of a value, only the entry tells which it is.
                let open = matches!(a.how, How::Open(_)) || matches!(b.how, How::Open(_));
                a.code == b.code && (!open || (a.how, a.start, a.end) == (b.how, b.start, b.end))
            }
            (None, None) => true,
            _ => false,
        };
        as_here && self.light.telling.once
    }

    /// The code by which a slot gives a field, as text; of a date all that is printed of it.
    fn code(&self, slot: usize, field: FieldId) -> String {
        let mut text = String::new();
        let (_, family) = self.decoder.family(self.family);
        let date = family.dates.iter().find(|rule| rule.field == field);
        let mut slots: SmallVec<[usize; 4]> = match date {
            Some(rule) => rule.slots.iter().map(|slot| slot.index()).collect(),
            None => SmallVec::from_slice(&[slot]),
        };
        slots.retain(|slot| self.picks[*slot].is_some());
        slots.sort_by_key(|slot| self.picks[*slot].map(|(pick, _)| pick.start));
        for slot in slots {
            if let Some(pick) = self.picks[slot] {
                self.push_text(slot, pick, &mut text);
            }
        }
        text
    }

    /// Adds what a slot says.
    fn slot(&self, slot: usize, detail: &Detail<'_>, fields: &mut Vec<FieldAnswer>) -> Option<()> {
        let telling = &self.light.telling;
        let told = &telling.slots[slot];
        let code = match self.picks[slot] {
            Some((pick, _)) => pick.code,
            None if told.only => 0,
            None => return Some(()),
        };
        let code = telling.code(told, code);
        if !code.simple {
            return None;
        }
        if told.literal {
            return Some(());
        }
        for (field, value) in telling.fields(code) {
            if !detail.wants(*field) {
                continue;
            }
            let base = |value: Value| value.in_base(self.decoder.rules.fields[field.index()].base);
            let value = match value {
                Told::Text(text) => Some(Value::Text(telling.stretch(text).to_owned())),
                Told::Value(value) => Some(value.clone()),
                Told::Read => Some(Value::Text(self.read(slot)?)),
                // Of what was not read in full no value is known.
                Told::Number(_) | Told::Rule(_) if !self.is_read(slot) => None,
                Told::Number(unit) => Value::number(&self.read(slot)?, *unit).map(base),
                Told::Rule(number) => {
                    let (_, family) = self.decoder.family(self.family);
                    let code = &family.slots[slot].codes[self.picks[slot]?.0.code as usize];
                    let glyphs: Vec<Glyph> = self.read(slot)?.chars().map(Glyph::Char).collect();
                    code.open_fields[*number as usize]
                        .1
                        .value(&glyphs)
                        .map(base)
                }
            };
            push(fields, *field, value, detail);
        }
        Some(())
    }

    /// Whether all of an open code is known.
    fn is_read(&self, slot: usize) -> bool {
        !self.stream.doubtful || self.read(slot).is_some_and(|text| !text.contains('_'))
    }

    /// What was read of an open code.
    fn read(&self, slot: usize) -> Option<String> {
        let pick = self.picks[slot]?;
        let mut text = String::with_capacity((pick.0.end - pick.0.start) as usize);
        self.push_text(slot, pick, &mut text).then_some(text)
    }

    /// Adds the code of a slot as text; false where it is not a text of characters.
    fn push_text(
        &self,
        slot: usize,
        (pick, place): (&Pick, &LightPlace),
        text: &mut String,
    ) -> bool {
        let telling = &self.light.telling;
        let code = telling.code(&telling.slots[slot], pick.code);
        let How::Open(strip) = pick.how else {
            text.push_str(telling.listed(code));
            return true;
        };
        let strip = &self.light.strips(place)[strip as usize];
        let ticks = &self.stream.ticks[pick.start as usize..pick.end as usize];
        let lower = || {
            let (program, _) = self.decoder.family(self.family);
            &program.tables[usize::from(place.table)].open[strip.index as usize].lower
        };
        self.decoder
            .push_taken(self.light.sets(strip), strip.lower.then(lower), ticks, text)
    }

    /// Writes the ordering code.
    fn write(&self, entailed: &dyn Fn(usize) -> bool, so_far: &mut Written) -> Option<()> {
        for item in &self.light.telling.written {
            match item {
                Item::Boundary(boundary) => so_far.pending = boundary,
                Item::Slot(slot) => self.write_slot(usize::from(*slot), entailed, so_far)?,
            }
        }
        Some(())
    }

    fn write_slot(
        &self,
        slot: usize,
        entailed: &dyn Fn(usize) -> bool,
        so_far: &mut Written,
    ) -> Option<()> {
        let telling = &self.light.telling;
        let told = &telling.slots[slot];
        let before = so_far.text.len();
        so_far.text.push_str(so_far.pending);
        let from = so_far.text.len();
        let name = || {
            let (_, family) = self.decoder.family(self.family);
            family.slots[slot].name.clone()
        };
        match self.picks[slot] {
            // Of several codes none is claimed: what was read stands there.
            Some((pick, _)) if !entailed(slot) => {
                so_far.whole = false;
                so_far.open.push(name());
                let ticks = &self.stream.ticks[pick.start as usize..pick.end as usize];
                let glyphs = ticks.iter().map(|tick| match tick.doubt {
                    Doubt::Unread => Glyph::Char('_'),
                    _ => self.decoder.glyph(tick),
                });
                let glyphs = glyphs.collect();
                Spelling::of_glyphs(glyphs).push_to(&mut so_far.text);
            }
            Some(pick) => {
                if !self.push_text(slot, pick, &mut so_far.text) {
                    return None;
                }
            }
            None if told.only => so_far.text.push_str(telling.listed(telling.code(told, 0))),
            // What may be absent is left out where nothing is known of it.
            None if told.absent => {
                so_far.text.truncate(before);
                so_far.whole &= told.minor;
                so_far.open.push(name());
                return Some(());
            }
            None => {
                so_far.whole = false;
                so_far.open.push(name());
                if so_far.open_before {
                    so_far.text.truncate(before);
                } else {
                    so_far.text.push_str("..");
                }
                so_far.pending = "";
                so_far.open_before = true;
                return Some(());
            }
        }
        if so_far.text.len() > from {
            so_far.pending = "";
            so_far.open_before = false;
        } else {
            so_far.text.truncate(before);
        }
        Some(())
    }
}
