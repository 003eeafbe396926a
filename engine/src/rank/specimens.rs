//! Several specimens of one part: what differs from specimen to specimen (lot, serial, date) is free, all else is drawn once.
//!
//! Each specimen is explained on its own; then explanations of one family are joined, specimen by specimen. What two of them both
//! say of a shared slot is drawn once; and another specimen of an unknown part would show the same text, so that under none a text
//! that comes again costs little.

use super::answer::{Clash, Context, Disagreement, FieldAnswer, Ranking};
use super::describe;
use super::detail::Detail;
use super::none::{Background, log2_sum};
use super::posterior::{Weighed, Weights, present, prior_bits, weigh, worth};
use crate::compile::FamilyProgram;
use crate::decode::{
    CONFLICT, Choice, Decoder, Doubt, Edit, Explanation, Found, How, Known, NEVER, Reading,
    Scratch, Stream,
};
use crate::model::{Family, FamilyId};

/// log2 cost of a specimen that the family does not explain: another part got among them, or it is damaged beyond the search.
const STRANGER: f64 = -8.0;
/// Explanations of one specimen that are joined, and joint ones that are kept.
const KEPT: usize = 60;
/// log2 below the best at which they are dropped.
const FAR: f64 = 24.0;
/// log2 of the share of further specimens that are of the same batch and show its lot and date again; and of the others. Stated beliefs.
const SAME_BATCH: f64 = -2.0;
const OTHER_BATCH: f64 = -0.415_037_499_278_844;
/// log2 of how much likelier than by itself a date is whose year an earlier specimen shows: half of the others are of one year, and
/// about one year in twelve is likely beforehand.
const SAME_YEAR: f64 = 2.5;
/// Most specimens of one part.
pub const MAX_SPECIMENS: usize = 24;

/// What several specimens of one part can be.
#[derive(Debug, Clone)]
pub struct Specimens {
    /// The lines of all, one after the other: what `ranking` counts its lines in.
    pub reading: Reading,
    /// What the part is.
    pub ranking: Ranking,
    /// By specimen, as given.
    pub each: Vec<Specimen>,
}

/// One of them.
#[derive(Debug, Clone, Default)]
pub struct Specimen {
    /// Its first line in the joint reading, and how many it has.
    pub lines: (usize, usize),
    /// What is its own: date, lot, serial. Of the first candidate.
    pub fields: Vec<FieldAnswer>,
}

/// A specimen, explained on its own.
struct One {
    explanations: Vec<Explanation>,
    stream: Stream,
    /// Where it begins in the joint stream, in glyphs.
    from: usize,
}

/// One way to take all specimens so far.
struct Joint {
    /// By specimen, the explanation taken; none for a stranger.
    picks: Vec<Option<usize>>,
    explanation: Explanation,
    bits: f64,
}

/// Ranks what a part can be of which several specimens were read; at most [`MAX_SPECIMENS`] are looked at.
pub fn rank_specimens(
    decoder: &Decoder<'_>,
    readings: &[Reading],
    context: &Context,
    scratch: &mut Scratch,
) -> Specimens {
    let readings = &readings[..readings.len().min(MAX_SPECIMENS)];
    let mut ones: Vec<One> = Vec::new();
    let mut stopped = false;
    let mut each = Vec::new();
    let mut joint = Reading {
        lines: Vec::new(),
        form: readings.first().and_then(|reading| reading.form),
    };
    for reading in readings {
        let from = ones.last().map_or(0, |one| one.from + one.stream.len());
        let (explanations, stream, bound) = alone(decoder, reading, context, scratch);
        stopped |= bound;
        ones.push(One {
            explanations,
            stream,
            from,
        });
        each.push(Specimen {
            lines: (joint.lines.len(), reading.lines.len()),
            fields: Vec::new(),
        });
        joint.lines.extend(reading.lines.iter().cloned());
    }
    let mut stream = Stream::default();
    stream.fill(&joint, &decoder.program.alphabet);
    let mut background = Background::read(&stream);
    let starts: Vec<usize> = ones.iter().map(|one| one.from).collect();
    background.repeat(&stream, &starts);
    let mut families: Vec<FamilyId> = ones
        .iter()
        .flat_map(|one| one.explanations.iter().map(Explanation::family))
        .collect();
    families.sort_unstable();
    families.dedup();
    let mut found: Vec<Explanation> = Vec::new();
    let mut picks: Vec<Vec<Option<usize>>> = Vec::new();
    for family in families {
        for way in Join::new(decoder, family, &stream, &background).all(&ones) {
            found.push(way.explanation);
            picks.push(way.picks);
        }
        // A remark stands on one specimen and is one there.
        if ones.len() > 1 && decoder.family(family).1.is_marking() {
            for one in &ones {
                for explanation in one.explanations.iter().filter(|e| e.family() == family) {
                    found.extend(moved(explanation, one.from));
                    picks.resize(found.len(), Vec::new());
                }
            }
        }
    }
    let weights = weigh(decoder, &found, &stream, &background, context);
    own_fields(decoder, &weights, &found, &picks, &ones, &mut each);
    let strangers = strangers(&weights, &found, &picks);
    let mut ranking = present(
        decoder,
        &found,
        weights,
        &joint,
        &stream,
        &background,
        context,
        &Detail::everything(),
    );
    for candidate in &mut ranking.candidates {
        let (_, family) = decoder.family(candidate.family);
        let own = own_slots(family);
        candidate
            .fields
            .retain(|field| !is_own(family, &own, field));
        for (_, number) in strangers.iter().filter(|(id, _)| *id == candidate.family) {
            candidate.disagreements.push(Disagreement {
                kind: Clash::Specimen,
                text: format!(
                    "specimen {} is not explained: another part, or damaged beyond the search",
                    number + 1
                ),
                source: None,
                bits: STRANGER,
                mended_by: None,
                slots: Vec::new(),
            });
        }
    }
    for look in &mut ranking.next_look {
        let Some((line, place)) = look.at else {
            continue;
        };
        let specimen = each
            .iter()
            .position(|one| (one.lines.0..one.lines.0 + one.lines.1).contains(&line));
        let Some(number) = specimen else { continue };
        let observe = format!(
            "character {} of line {} of specimen {}",
            place + 1,
            line - each[number].lines.0 + 1,
            number + 1
        );
        look.text = look.text.replace(&look.observe, &observe);
        look.observe = observe;
    }
    if stopped {
        ranking.stopped =
            Some("the search stopped at a limit: some ways to read this were not tried".to_owned());
    }
    Specimens {
        reading: joint,
        ranking,
        each,
    }
}

/// All explanations of one specimen, its stream, and whether a limit was met.
fn alone(
    decoder: &Decoder<'_>,
    reading: &Reading,
    context: &Context,
    scratch: &mut Scratch,
) -> (Vec<Explanation>, Stream, bool) {
    let mut explanations = decoder.explain(reading, context.seen, scratch);
    let mut stopped = scratch.stopped();
    let background = Background::read(&scratch.stream);
    let weights = weigh(
        decoder,
        &explanations,
        &scratch.stream,
        &background,
        context,
    );
    let settled = weights.settled(decoder, &scratch.stream);
    let floor = weights.floor(context);
    drop(weights);
    if !settled {
        let worth = |found: &Found<'_>| worth(decoder, &background, found) - floor;
        decoder.explain_damage(reading, context.seen, scratch, &worth, &mut explanations);
        stopped |= scratch.stopped();
    }
    (explanations, std::mem::take(&mut scratch.stream), stopped)
}

/// The slots that each specimen has for itself: those marked so, those of dates that the mask does not share, and check digits over
/// them.
fn own_slots(family: &Family) -> Vec<bool> {
    let mut own: Vec<bool> = family.slots.iter().map(|slot| slot.each).collect();
    for date in &family.dates {
        if date.of.as_deref() != Some("mask") {
            for slot in &date.slots {
                own[slot.index()] = true;
            }
        }
    }
    for check in &family.checks {
        if check.slots.iter().any(|slot| own[slot.index()])
            && let Some(last) = check.slots.last()
        {
            own[last.index()] = true;
        }
    }
    own
}

fn is_own(family: &Family, own: &[bool], field: &FieldAnswer) -> bool {
    let slot = field
        .slot
        .as_ref()
        .and_then(|name| family.slots.iter().position(|slot| slot.name == *name));
    match slot {
        Some(slot) => own[slot],
        None => field.name == "date_of" && !family.dates.is_empty(),
    }
}

/// The specimens that the likeliest explanation of each family leaves out.
fn strangers(
    weights: &Weights<'_>,
    found: &[Explanation],
    picks: &[Vec<Option<usize>>],
) -> Vec<(FamilyId, usize)> {
    let mut strangers = Vec::new();
    for (id, list, _) in &weights.families {
        let best = list.first().and_then(|best| {
            let at = found
                .iter()
                .position(|known| std::ptr::eq(known, best.explanation))?;
            picks.get(at)
        });
        for (number, pick) in best.into_iter().flatten().enumerate() {
            if pick.is_none() {
                strangers.push((*id, number));
            }
        }
    }
    strangers
}

/// What each specimen says for itself under the first candidate, if that leads.
fn own_fields(
    decoder: &Decoder<'_>,
    weights: &Weights<'_>,
    found: &[Explanation],
    picks: &[Vec<Option<usize>>],
    ones: &[One],
    each: &mut [Specimen],
) {
    let Some((id, list, bits)) = weights.families.first() else {
        return;
    };
    if *bits < weights.none {
        return;
    }
    let (_, family) = decoder.family(*id);
    let own = own_slots(family);
    for (number, (one, specimen)) in ones.iter().zip(each).enumerate() {
        let mut shares: Vec<(usize, f64)> = Vec::new();
        for weighed in list {
            let at = found
                .iter()
                .position(|known| std::ptr::eq(known, weighed.explanation));
            let pick = at.and_then(|at| picks[at].get(number).copied().flatten());
            let Some(pick) = pick else { continue };
            match shares.iter_mut().find(|(known, _)| *known == pick) {
                Some((_, share)) => *share += weighed.share,
                None => shares.push((pick, weighed.share)),
            }
        }
        shares.sort_by(|a, b| b.1.total_cmp(&a.1));
        let list: Vec<Weighed<'_>> = shares
            .iter()
            .map(|(pick, share)| Weighed {
                explanation: &one.explanations[*pick],
                bits: share.log2(),
                share: *share,
            })
            .collect();
        if list.is_empty() {
            continue;
        }
        specimen.fields = describe::answers(decoder, &list, &one.stream, &Detail::everything());
        specimen.fields.retain(|field| is_own(family, &own, field));
        for field in &mut specimen.fields {
            if let Some((line, _)) = &mut field.at {
                *line += specimen.lines.0;
            }
        }
    }
}

/// An explanation in places of the joint stream; `None` if its damage is one of a whole reading.
fn moved(explanation: &Explanation, by: usize) -> Option<Explanation> {
    let mut moved = explanation.clone();
    if let Some(edit) = moved.edit {
        moved.edit = Some(edit.moved(by)?);
    }
    for segment in &mut moved.segments {
        *segment = (segment.0 + by, segment.1 + by);
    }
    for choice in &mut moved.choices {
        choice.start += by;
        choice.end += by;
    }
    Some(moved)
}

/// Joins the explanations of one family.
struct Join<'a> {
    decoder: &'a Decoder<'a>,
    program: &'a FamilyProgram,
    family: &'a Family,
    id: FamilyId,
    own: Vec<bool>,
    stream: &'a Stream,
    background: &'a Background,
}

impl<'a> Join<'a> {
    fn new(
        decoder: &'a Decoder<'a>,
        id: FamilyId,
        stream: &'a Stream,
        background: &'a Background,
    ) -> Join<'a> {
        let (program, family) = decoder.family(id);
        Join {
            decoder,
            program,
            family,
            id,
            own: own_slots(family),
            stream,
            background,
        }
    }

    fn all(&self, ones: &[One]) -> Vec<Joint> {
        let mut ways: Vec<Joint> = Vec::new();
        for (number, one) in ones.iter().enumerate() {
            let here = self.of_one(one);
            let mut next: Vec<Joint> = Vec::new();
            for (pick, explanation) in &here {
                if number == 0 {
                    self.keep(&mut next, vec![Some(*pick)], explanation.clone());
                }
                // Others may all have been strangers so far; markings are joined only where every specimen is one.
                if number > 0 && !self.family.is_marking() {
                    let mut picks = vec![None; number];
                    picks.push(Some(*pick));
                    let mut alone = explanation.clone();
                    alone.layout += STRANGER * number as f64;
                    self.keep(&mut next, picks, alone);
                }
                for way in &ways {
                    if let Some(both) = self.merged(&way.explanation, explanation) {
                        let picks = way.picks.iter().copied().chain([Some(*pick)]).collect();
                        self.keep(&mut next, picks, both);
                    }
                }
            }
            if !self.family.is_marking() {
                for way in ways {
                    let mut picks = way.picks;
                    picks.push(None);
                    let mut without = way.explanation;
                    without.layout += STRANGER;
                    self.keep(&mut next, picks, without);
                }
            }
            prune(&mut next);
            ways = next;
        }
        ways
    }

    fn keep(&self, ways: &mut Vec<Joint>, picks: Vec<Option<usize>>, explanation: Explanation) {
        let text: f64 = explanation
            .segments
            .iter()
            .map(|(from, to)| self.background.stretch(*from, *to))
            .sum();
        let free: f64 = explanation
            .choices
            .iter()
            .filter(|choice| choice.free)
            .map(|choice| self.background.free_of(&explanation, choice))
            .sum();
        let bits = prior_bits(self.family) + explanation.bits() - (text - free);
        if bits.is_finite() {
            ways.push(Joint {
                picks,
                explanation,
                bits,
            });
        }
    }

    /// The explanations of one specimen by this family, in places of the joint stream; of a marking, those of all of it.
    fn of_one(&self, one: &One) -> Vec<(usize, Explanation)> {
        let mut here: Vec<Joint> = Vec::new();
        for (pick, explanation) in one.explanations.iter().enumerate() {
            let whole = explanation.covered() == one.stream.len();
            if explanation.family() != self.id || self.family.is_marking() && !whole {
                continue;
            }
            if let Some(moved) = moved(explanation, one.from) {
                self.keep(&mut here, vec![Some(pick)], moved);
            }
        }
        prune(&mut here);
        here.into_iter()
            .filter_map(|joint| Some((joint.picks.first().copied().flatten()?, joint.explanation)))
            .collect()
    }

    /// Both at once; `None` where they cannot be of one part. `b` is that of the later specimen.
    fn merged(&self, a: &Explanation, b: &Explanation) -> Option<Explanation> {
        if a.edit.is_some() && b.edit.is_some() {
            return None;
        }
        let mut both = a.clone();
        let shift = a.edit.map_or(0, Edit::growth);
        let mut later = b.clone();
        for choice in &mut later.choices {
            choice.start = choice.start.checked_add_signed(shift)?;
            choice.end = choice.end.checked_add_signed(shift)?;
        }
        both.edit = a.edit.or(b.edit);
        both.cut |= b.cut;
        both.layout += b.layout;
        self.draw_once(a, b, &mut both)?;
        let stream = both.over(self.stream, self.decoder);
        let mut differ = Vec::new();
        for choice in &mut later.choices {
            if self.own[choice.slot] || choice.code.is_none() || choice.end == choice.start {
                continue;
            }
            let before = a.choices.iter().find(|before| {
                before.slot == choice.slot && before.code.is_some() && before.end > before.start
            });
            if let Some(before) = before
                && !self.read_again(&stream, before, choice)
            {
                differ.push(choice.slot);
            }
        }
        drop(stream);
        // What that costs is in the channel; here it is kept to be told.
        for slot in differ {
            if !both.conflicts.contains(&slot) {
                both.conflicts.push(slot);
            }
        }
        both.segments.extend_from_slice(&b.segments);
        both.choices.extend(later.choices);
        Some(both)
    }

    /// What codes of a specimen's own cost, if they cost so much by themselves: it may be of the batch of an earlier one and show the same
    /// again, or its date be of the same year.
    fn of_batch(&self, alone: f64, again: bool, same_year: bool) -> f64 {
        let other = OTHER_BATCH + alone;
        let near = if same_year {
            log2_sum(other, SAME_YEAR + alone)
        } else {
            other
        };
        if again {
            log2_sum(SAME_BATCH, near)
        } else {
            near
        }
    }

    /// The rules of dates that each specimen has for itself, as far as this one shows them.
    fn own_dates<'e>(&'e self, explanation: &'e Explanation) -> impl Iterator<Item = usize> + 'e {
        let rules = explanation.branch.dates.iter().map(|(rule, _)| *rule);
        rules.filter(|rule| {
            let slots = &self.family.dates[*rule].slots;
            slots.iter().all(|slot| self.own[slot.index()])
        })
    }

    fn dates_of(&self, rule: usize, slot: usize) -> bool {
        self.family.dates[rule]
            .slots
            .iter()
            .any(|one| one.index() == slot)
    }

    /// Whether a slot shows what it shows on an earlier specimen.
    fn shows_again(&self, a: &Explanation, b: &Explanation, slot: usize) -> bool {
        if a.edit.is_some() || b.edit.is_some() {
            return false;
        }
        let text = |choice: &Choice| {
            let ticks = &self.stream.ticks[choice.start..choice.end];
            ticks.iter().map(|tick| tick.id).collect::<Vec<_>>()
        };
        let mut here = b.choices.iter().filter(|choice| choice.slot == slot);
        here.all(|choice| {
            a.choices.iter().any(|before| {
                before.slot == slot && before.code == choice.code && text(before) == text(choice)
            })
        })
    }

    /// The codes of shared slots are drawn once, those of a specimen's own for each.
    fn draw_once(&self, a: &Explanation, b: &Explanation, both: &mut Explanation) -> Option<()> {
        let depth = |known: &Known| match known {
            Known::Open => 0,
            Known::Class(_) => 1,
            Known::Seen(_) => 2,
        };
        for (slot, own) in self.own.iter().enumerate() {
            if *own {
                let dated = self.own_dates(b).any(|rule| self.dates_of(rule, slot));
                both.branch.bits[slot] += match &b.branch.known[slot] {
                    // Below, with all of its date.
                    Known::Seen(_) if dated => 0.0,
                    Known::Seen(_) => {
                        self.of_batch(b.branch.bits[slot], self.shows_again(a, b, slot), false)
                    }
                    _ => b.branch.bits[slot],
                };
                continue;
            }
            let classes = &self.program.slots[slot].class_of;
            match (&a.branch.known[slot], &b.branch.known[slot]) {
                (Known::Class(a), Known::Class(b)) if a != b => return None,
                (Known::Class(class), Known::Seen(code))
                | (Known::Seen(code), Known::Class(class))
                    if classes[*code as usize] != *class =>
                {
                    return None;
                }
                (Known::Seen(x), Known::Seen(y)) if x != y => {
                    // Each was drawn, and they do not agree.
                    both.branch.bits[slot] += b.branch.bits[slot];
                    both.conflict(slot);
                }
                (x, y) => {
                    if depth(y) > depth(x) {
                        both.branch.known[slot] = y.clone();
                    }
                }
            }
        }
        for rule in self.own_dates(b) {
            let slots = &self.family.dates[rule].slots;
            let drawn: f64 = slots.iter().map(|slot| b.branch.bits[slot.index()]).sum();
            let again = slots
                .iter()
                .all(|slot| self.shows_again(a, b, slot.index()));
            if let Some(first) = slots.first() {
                both.branch.bits[first.index()] +=
                    self.of_batch(drawn, again, same_year(a, b, rule));
            }
        }
        for group in &self.program.groups {
            let shared = || group.slots.iter().filter(|slot| !self.own[**slot]);
            let more = |x: &Explanation, y: &Explanation| {
                shared().all(|slot| depth(&x.branch.known[*slot]) >= depth(&y.branch.known[*slot]))
            };
            if more(a, b) {
                continue;
            }
            let all = more(b, a);
            for slot in shared() {
                if all || depth(&b.branch.known[*slot]) > depth(&a.branch.known[*slot]) {
                    both.branch.bits[*slot] = b.branch.bits[*slot];
                }
            }
        }
        for broken in &b.branch.broken {
            if !both.branch.broken.contains(broken) {
                both.branch.broken.push(*broken);
                both.branch.breach += NEVER;
            }
        }
        for conflict in &b.conflicts {
            both.conflict(*conflict);
        }
        for (rule, date) in &b.branch.dates {
            let shared = self.family.dates[*rule]
                .slots
                .iter()
                .all(|slot| !self.own[slot.index()]);
            if !shared || !a.branch.dates.iter().any(|(known, _)| known == rule) {
                both.branch.dates.push((*rule, date.clone()));
            }
        }
        // One part is printed in one form.
        if a.row != b.row {
            both.branch.form += b.branch.form;
        }
        let own =
            |check: &crate::model::Checksum| check.slots.iter().any(|slot| self.own[slot.index()]);
        if self.family.checks.iter().any(own) || a.checks == 0.0 {
            both.checks += b.checks;
        }
        for failed in &b.failed {
            if !both.failed.contains(failed) {
                both.failed.push(*failed);
            }
        }
        Some(())
    }

    /// A shared slot that an earlier specimen shows as well: which string of an open shape it is was drawn with the earlier one, as far
    /// as that shows it. Says whether both can be the same without a misreading.
    fn read_again(&self, stream: &Stream, before: &Choice, choice: &mut Choice) -> bool {
        if before.code != choice.code || choice.free {
            return true;
        }
        let (How::Open(x), How::Open(y)) = (before.how, choice.how) else {
            return true;
        };
        if before.table != choice.table || x != y {
            // One code has one length.
            choice.channel += choice.share + CONFLICT;
            return false;
        }
        let mut same = true;
        let strip = &self.program.tables[choice.table].open[y as usize];
        let (first, second) = (
            &stream.ticks[before.start..before.end],
            &stream.ticks[choice.start..choice.end],
        );
        let was_read = |doubt: Doubt| matches!(doubt, Doubt::Read | Doubt::Certain);
        let alphabet = &self.decoder.program.alphabet;
        for ((x, y), set) in first.iter().zip(second).zip(&strip.sets) {
            if !was_read(x.doubt) || !was_read(y.doubt) {
                choice.channel -= f64::from(set.count_ones()).log2();
            } else if x.id != y.id {
                choice.channel += alphabet.channel(x.id, y.id).max(CONFLICT);
                same = false;
            }
        }
        same
    }
}

/// Whether the likeliest year of a date is the same in both.
fn same_year(a: &Explanation, b: &Explanation, rule: usize) -> bool {
    let year = |explanation: &Explanation| {
        let dates = explanation.branch.dates.iter();
        let mut read = dates.filter(|(known, _)| *known == rule);
        let first = read.next().and_then(|(_, date)| date.intervals.first());
        first.map(|(interval, _)| interval.from.year())
    };
    year(a).is_some() && year(a) == year(b)
}

/// Keeps the likeliest.
fn prune(ways: &mut Vec<Joint>) {
    ways.sort_by(|a, b| b.bits.total_cmp(&a.bits));
    ways.truncate(KEPT);
    let best = ways
        .iter()
        .map(|way| way.bits)
        .fold(f64::NEG_INFINITY, log2_sum);
    ways.retain(|way| way.bits > best - FAR);
}
