//! The answer in short to a reading that goes the light way; see `decode/light.rs`.

use smallvec::SmallVec;

use super::answer::{Alternative, Candidate, Context, Depth, FieldAnswer, Ranking, Relations};
use super::context;
use super::describe::{self, ENTAILED, MERGED, SHOWN};
use super::detail::Detail;
use super::none::{Background, log2_sum};
use super::posterior::{
    BESIDE_VALUE, LISTED, NEGLIGIBLE, SETTLED, SHORT, Weighed, prior_bits, stem,
};
use crate::compile::{Item, LightFamily, Told};
use crate::decode::{
    Decoder, Effort, Explanation, How, Leaf, Odds, Pick, Reading, Room, Scratch, Stream,
};
use crate::glyph::Glyph;
use crate::model::{Family, FamilyId, FieldId};
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

/// The answer, if the reading can go this way: then it is the one that the long way gives, but for what is negligible there too. The rows must
/// have been found.
pub(super) fn answer(
    decoder: &Decoder<'_>,
    reading: &Reading,
    background: &Background,
    context: &Context,
    scratch: &mut Scratch,
    detail: &Detail<'_>,
) -> Option<(Ranking, f64)> {
    if detail.full()
        || decoder.effort == Effort::Deep
        || reading.form.is_some()
        || context::any(context)
        || !decoder.may_be_light(scratch)
    {
        return None;
    }
    let odds = Odds {
        prior: &|family| prior_bits(&decoder.rules.families[family.index()]),
        text: &|from, to| background.stretch(from, to),
        free: &|from, to| background.free(from, to),
        beside: &|family| if is_value(family) { BESIDE_VALUE } else { 0.0 },
        within: NEGLIGIBLE,
    };
    if !decoder.lightly(context.seen, scratch, &odds) {
        return None;
    }
    let (room, stream) = (&scratch.light, &scratch.stream);
    let (sums, none) = weigh(decoder, room, background, stream);
    let total = sums.iter().fold(none, |sum, one| log2_sum(sum, one.bits));
    if decoder.effort == Effort::Enough && !settled(room, stream, total) {
        return None;
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
                    .map(|(leaf, _)| decoder.explanation(family, leaf, room))
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
                describe::candidate(decoder, &list, reading, stream, context, detail)
            }
        };
        candidate.probability = probability;
        candidate.bits = one.bits - none;
        ranking.candidates.push(candidate);
    }
    Some((ranking, total))
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
        let Some(best) = leaves.iter().max_by(|a, b| a.bits.total_cmp(&b.bits)) else {
            continue;
        };
        let others: f64 = leaves
            .iter()
            .map(|leaf| (leaf.bits - best.bits).exp2())
            .sum();
        sums.push(Sum {
            at,
            bits: best.bits + others.log2(),
        });
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
        let family = &decoder.rules.families[light.family.index()];
        let kin = stem(family, parts, (best.start, best.end), stream, background);
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
    leaves.sort_by(|a, b| b.1.total_cmp(&a.1));
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
    let (program, family) = decoder.family(id);
    let (first, share) = *leaves.first()?;
    let simple = program.light(family, decoder.rules).telling.simple;
    if share < ENTAILED || !simple {
        return None;
    }
    let tell = Tell::of(decoder, room, id, first, stream);
    let (mut fields, _) = tell.fields(room, first, detail)?;
    let others = leaves.iter().skip(1).filter(|(_, share)| *share >= MERGED);
    let others: SmallVec<[Other<'_>; 4]> = others
        .map(|(leaf, share)| {
            let tell = Tell::of(decoder, room, id, leaf, stream);
            let (fields, slots) = tell.fields(room, leaf, detail)?;
            Some(Other {
                tell,
                fields,
                slots,
                share: *share,
            })
        })
        .collect::<Option<_>>()?;
    if !others.is_empty() {
        let merged = share + others.iter().map(|other| other.share).sum::<f64>();
        for own in &mut fields {
            merge(own, share, merged, &others)?;
        }
    }
    let mut written = Written {
        text: String::with_capacity(stream.len() + 8),
        whole: true,
        ..Written::default()
    };
    tell.write(&mut written)?;
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
        forms: vec![program.rows[first.row as usize].kind],
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

/// What another leaf of the family says.
struct Other<'a> {
    tell: Tell<'a>,
    fields: Vec<FieldAnswer>,
    /// Of each field, the slot that gives it.
    slots: Slots,
    share: f64,
}

/// By field of an answer, the slot that gives it; the first of its rule for a date.
type Slots = SmallVec<[usize; 12]>;

/// Notes how likely a field's value is beside what the other leaves say; `None` where one does not know it.
fn merge(own: &mut FieldAnswer, share: f64, merged: f64, others: &[Other<'_>]) -> Option<()> {
    let value = own.value.as_ref()?;
    let mut same = share;
    let mut values: SmallVec<[(&Value, &Other<'_>, usize, f64); 4]> = SmallVec::new();
    for other in others {
        let said = |answer: &FieldAnswer| answer.field == own.field;
        let Some(at) = other.fields.iter().position(said) else {
            continue;
        };
        let here = other.fields[at].value.as_ref()?;
        if here.agrees(value) {
            same += other.share;
        } else if let Some(known) = values.iter_mut().find(|known| known.0.agrees(here)) {
            known.3 += other.share;
        } else {
            values.push((here, other, other.slots[at], other.share));
        }
    }
    values.sort_by(|a, b| b.3.total_cmp(&a.3));
    let all = values.iter().map(|known| known.3).sum::<f64>() + same;
    let mut alternatives = Vec::new();
    for (value, other, slot, p) in values {
        if p / merged >= SHOWN {
            alternatives.push(Alternative {
                code: Some(other.tell.code(slot, own.field)),
                value: Some(value.clone()),
                text: value.show(),
                absent: false,
                probability: p / merged,
            });
        }
    }
    let absent = 1.0 - all / merged;
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
        own.probability = Some(same / merged);
        own.alternatives = alternatives;
    }
    Some(())
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
    /// By slot, with the table.
    picks: SmallVec<[Option<(&'a Pick, u32)>; 24]>,
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
        let (program, model) = decoder.family(id);
        let light = program.light(model, decoder.rules);
        let places = light.places(&light.rows[leaf.row as usize]);
        let mut picks = SmallVec::from_elem(None, program.slots.len());
        for (pick, place) in room.picks(leaf).iter().zip(places) {
            picks[usize::from(place.slot)] = Some((pick, place.table));
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
            if date.intervals.len() > 1 {
                return None;
            }
            if let Some((interval, _)) = date.intervals.first() {
                let rule = &self.decoder.family(self.family).1.dates[rule];
                push(
                    &mut fields,
                    rule.field,
                    Some(Value::Dates(*interval)),
                    detail,
                );
                let slot = rule.slots.first().map_or(0, |slot| slot.index());
                slots.resize(fields.len(), slot);
            }
        }
        Some((fields, slots))
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

    /// What was read of an open code.
    fn read(&self, slot: usize) -> Option<String> {
        let pick = self.picks[slot]?;
        let mut text = String::with_capacity((pick.0.end - pick.0.start) as usize);
        self.push_text(slot, pick, &mut text).then_some(text)
    }

    /// Adds the code of a slot as text; false where it is not a text of characters.
    fn push_text(&self, slot: usize, (pick, table): (&Pick, u32), text: &mut String) -> bool {
        let telling = &self.light.telling;
        let code = telling.code(&telling.slots[slot], pick.code);
        let How::Open(strip) = pick.how else {
            text.push_str(telling.listed(code));
            return true;
        };
        let strip = &self.light.strips(&self.light.tables[table as usize])[strip as usize];
        let ticks = &self.stream.ticks[pick.start as usize..pick.end as usize];
        let lower = || {
            let (program, _) = self.decoder.family(self.family);
            &program.tables[table as usize].open[strip.index as usize].lower
        };
        self.decoder
            .push_taken(self.light.sets(strip), strip.lower.then(lower), ticks, text)
    }

    /// Writes the ordering code.
    fn write(&self, so_far: &mut Written) -> Option<()> {
        for item in &self.light.telling.written {
            match item {
                Item::Boundary(boundary) => so_far.pending = boundary,
                Item::Slot(slot) => self.write_slot(usize::from(*slot), so_far)?,
            }
        }
        Some(())
    }

    fn write_slot(&self, slot: usize, so_far: &mut Written) -> Option<()> {
        let telling = &self.light.telling;
        let told = &telling.slots[slot];
        let before = so_far.text.len();
        so_far.text.push_str(so_far.pending);
        let from = so_far.text.len();
        match self.picks[slot] {
            Some(pick) => {
                if !self.push_text(slot, pick, &mut so_far.text) {
                    return None;
                }
            }
            None if told.only => so_far.text.push_str(telling.listed(telling.code(told, 0))),
            // What may be absent and was not read: only where everything is told.
            None if told.absent => return None,
            None => {
                so_far.whole = false;
                let (_, family) = self.decoder.family(self.family);
                so_far.open.push(family.slots[slot].name.clone());
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
