//! Odds of families against none, and what follows for each.

use super::answer::{Candidate, Context, Evidence, Piece, Ranking, Remark};
use super::context;
use super::describe;
use super::detail::{Detail, Wanted};
use super::light;
use super::look;
use super::none::{Background, log2_sum};
use crate::decode::{
    Decoder, Edit, Effort, Explanation, Found, How, Notation, Reading, ReadingError, Scratch,
    Stream,
};
use crate::model::{Code, CodeKind, Family, FamilyId, Standing};

/// Prior odds of a family of weight 1 and documented standing against none.
pub const PRIOR: f64 = 4e-3;
/// How much likelier a remark is met on a line than one family among all parts.
const REMARK: f64 = 50.0;
/// Share of a family's prior that its siblings have which no rule describes.
const KIN: f64 = 0.1;
/// Share of a family's prior that parts have whose type differs from one that the rule lists by one given character in one given place: a
/// digit for a digit, a letter for a letter; another kind for it; by two characters that changed places; by a character
/// less, in whatever code.
/// Beliefs, no source.
const BESIDE_ALIKE: f64 = 1.0 / 4_000.0;
const BESIDE_OTHER: f64 = 1.0 / 50_000.0;
const BESIDE_SWAPPED: f64 = 1.0 / 30_000.0;
const BESIDE_SHORTER: f64 = 1.0 / 20_000.0;
/// log2 cost of text beside a passive part's value that does not belong to it. A belief, no source.
pub(super) const BESIDE_VALUE: f64 = -5.0;
/// Codes of a slot from which on there may be more.
const SERIES: usize = 2;
/// Glyphs after which a stem is a stem.
const STEM: usize = 3;
/// Candidates below this are not listed one by one.
pub(super) const LISTED: f64 = 1e-4;
/// Share of explanations that take a reading as it stands from which on no damage is looked for.
pub(super) const SETTLED: f64 = 0.98;
/// Glyphs below which damage is always looked for: a short mark is soon another one, and the search costs little.
pub(super) const SHORT: usize = 8;
/// log2 of how much less likely than all that is known a damaged reading must be to be passed over.
const IDLE: f64 = 12.0;
/// log2 of how much less likely than the best of its family an explanation may be that is passed over: far below what is listed.
pub(super) const NEGLIGIBLE: f64 = 20.0;
/// Most explanations of one family that are asked for their neighbours.
const MOST_NEIGHBOURS: usize = 50;
/// How deep short codes may stand for codes that stand for codes.
pub(super) const MAX_STANDS: usize = 3;

/// log2 of the prior odds of a family against none.
pub(super) fn prior_bits(family: &Family) -> f64 {
    let standing = match family.provenance.standing.unwrap_or_default() {
        Standing::Documented => 1.0,
        Standing::Observed => 0.5,
        Standing::Supposed => 0.1,
    };
    (PRIOR * family.weight * standing).log2()
}

/// Bits for an order that rounding does not decide: of explanations that are as likely the first one found comes first.
pub(super) fn rounded(bits: f64) -> f64 {
    (bits * 1e9).round()
}

/// An explanation, weighed against the text it explains.
pub(super) struct Weighed<'e> {
    pub(super) explanation: &'e Explanation,
    /// log2 of its odds against none.
    pub(super) bits: f64,
    /// Its share of its family.
    pub(super) share: f64,
}

/// Ranks what a reading can be.
pub fn rank(
    decoder: &Decoder<'_>,
    reading: &Reading,
    context: &Context,
    scratch: &mut Scratch,
) -> Ranking {
    rank_at(decoder, reading, context, scratch, &Detail::everything())
}

/// The same in short: of the candidates only the first is described, with the fields wanted, by their ids alone; no evidence, no corrections, no
/// next look. The probabilities are the same.
pub fn rank_in_short(
    decoder: &Decoder<'_>,
    reading: &Reading,
    context: &Context,
    wanted: &Wanted,
    scratch: &mut Scratch,
) -> Ranking {
    rank_at(decoder, reading, context, scratch, &Detail::short(wanted))
}

/// The same from a text, which is not taken apart first where it is plain and the light way says all.
///
/// # Errors
/// As [`Reading::parse`].
pub fn rank_text_in_short(
    decoder: &Decoder<'_>,
    text: &str,
    notation: Notation,
    context: &Context,
    wanted: &Wanted,
    scratch: &mut Scratch,
) -> Result<Ranking, ReadingError> {
    let as_table = Notation {
        table: true,
        ..Notation::default()
    };
    if notation == as_table && decoder.fill_text(text, scratch) {
        decoder.find_filled(scratch);
        let background = Background::read(&scratch.stream);
        let read = || Reading::parse(text, notation);
        let detail = Detail::short(wanted);
        let answer = light::answer(decoder, &read, &background, context, scratch, &detail)?;
        if let Some((ranking, _)) = answer {
            return Ok(ranking);
        }
    }
    let reading = Reading::parse(text, notation)?;
    Ok(rank_in_short(decoder, &reading, context, wanted, scratch))
}

pub(super) fn rank_at(
    decoder: &Decoder<'_>,
    reading: &Reading,
    context: &Context,
    scratch: &mut Scratch,
    detail: &Detail<'_>,
) -> Ranking {
    let (ranking, odds) = rank_layout(decoder, reading, context, scratch, detail);
    // Symbols belong to the mark where that explains more.
    match reading.symbols_apart() {
        None => ranking,
        Some(apart) => {
            let (other, odds_apart) = rank_layout(decoder, &apart, context, scratch, detail);
            if odds_apart > odds { other } else { ranking }
        }
    }
}

/// One way to take the symbols of a reading, and log2 of the odds of all that explains it.
fn rank_layout(
    decoder: &Decoder<'_>,
    reading: &Reading,
    context: &Context,
    scratch: &mut Scratch,
    detail: &Detail<'_>,
) -> (Ranking, f64) {
    decoder.fill(reading, scratch);
    decoder.find_filled(scratch);
    let background = Background::read(&scratch.stream);
    if reading.form.is_none() {
        let read = || Ok::<_, std::convert::Infallible>(reading);
        let Ok(answer) = light::answer(decoder, &read, &background, context, scratch, detail);
        if let Some(answer) = answer {
            return answer;
        }
    }
    let most = |found: &Found<'_>| worth(decoder, &background, found);
    // What is known beside the reading may turn the order within a family.
    let within = if context::any(context) {
        f64::INFINITY
    } else {
        NEGLIGIBLE
    };
    let mut explanations = std::mem::take(&mut scratch.explanations);
    let found = &mut explanations;
    decoder.explain_near(reading, context.seen, scratch, within, &most, found);
    let stopped = scratch.stopped;
    let stream = std::mem::take(&mut scratch.stream);
    let first = weigh(decoder, &explanations, &stream, &background, context);
    let settled = first.settled(decoder, &stream);
    let mut deep = false;
    let (weights, stream) = if settled {
        (first, stream)
    } else {
        let floor = first.floor(context);
        drop(first);
        scratch.stream = stream;
        scratch.stopped = false;
        let worth = |found: &Found<'_>| worth(decoder, &background, found) - floor;
        decoder.explain_damage(reading, context.seen, scratch, &worth, &mut explanations);
        deep = scratch.stopped;
        let stream = std::mem::take(&mut scratch.stream);
        let weights = weigh(decoder, &explanations, &stream, &background, context);
        (weights, stream)
    };
    let odds = weights.total;
    let mut ranking = present(
        decoder,
        &explanations,
        weights,
        reading,
        &stream,
        &background,
        context,
        detail,
    );
    scratch.stream = stream;
    explanations.clear();
    scratch.explanations = explanations;
    ranking.stopped = if stopped {
        Some("the search stopped at a limit: some ways to read this were not tried".to_owned())
    } else if deep {
        Some("the search for damaged characters stopped at a limit".to_owned())
    } else {
        None
    };
    (ranking, odds)
}

/// log2 of the most that the odds of a damaged reading can be, before its codes are weighed.
pub(super) fn worth(decoder: &Decoder<'_>, background: &Background, found: &Found<'_>) -> f64 {
    let origin = |stretch| found.edit.map_or(stretch, |edit| edit.stretch(stretch));
    let text: f64 = found
        .segments
        .iter()
        .map(|stretch| origin(*stretch))
        .map(|(from, to)| background.stretch(from, to))
        .sum();
    let free: f64 = found
        .choices
        .iter()
        .filter(|choice| choice.free)
        .map(|choice| origin((choice.start, choice.end)))
        .map(|(from, to)| background.free(from, to))
        .sum();
    let family = &decoder.rules.families[found.family.index()];
    prior_bits(family) + found.bits - (text - free)
}

/// The odds of each stretch being a remark, by stretch.
struct Remarks {
    stretches: Vec<((usize, usize), f64)>,
}

impl Remarks {
    fn odds(&self, stretch: (usize, usize)) -> f64 {
        self.stretches
            .iter()
            .find(|(known, _)| *known == stretch)
            .map_or(0.0, |(_, odds)| *odds)
    }
}

/// The explanations weighed, by family, and what speaks for none.
pub(super) struct Weights<'e> {
    /// Largest first; log2 of the odds of each.
    pub(super) families: Vec<(FamilyId, Vec<Weighed<'e>>, f64)>,
    /// log2 of the odds of none, kin included.
    pub(super) none: f64,
    /// log2 of the sum of all.
    total: f64,
    remarks: Remarks,
}

impl Weights<'_> {
    /// log2 of the odds below which a damaged reading is passed over.
    pub(super) fn floor(&self, context: &Context) -> f64 {
        self.total - IDLE - context::most(context)
    }

    /// Whether a search for damage can be spared: explanations that take the reading as it stands make up nearly all.
    pub(super) fn settled(&self, decoder: &Decoder<'_>, stream: &Stream) -> bool {
        match decoder.effort {
            Effort::Quick => return true,
            Effort::Deep => return false,
            Effort::Enough if stream.len() < SHORT => return false,
            Effort::Enough => {}
        }
        let exact: f64 = self
            .families
            .iter()
            .flat_map(|(_, list, _)| list)
            .filter(|weighed| weighed.explanation.is_exact(stream.len()))
            .map(|weighed| (weighed.bits - self.total).exp2())
            .sum();
        exact >= SETTLED
    }
}

pub(super) fn weigh<'e>(
    decoder: &Decoder<'_>,
    explanations: &'e [Explanation],
    stream: &Stream,
    background: &Background,
    context: &Context,
) -> Weights<'e> {
    let model = |explanation: &Explanation| &decoder.rules.families[explanation.family.index()];
    let whole = |explanation: &Explanation| {
        explanation
            .segments
            .iter()
            .map(|(from, to)| to - from)
            .sum::<usize>()
            == stream.len()
    };
    let text_bits = |explanation: &Explanation| -> f64 {
        let all: f64 = explanation
            .segments
            .iter()
            .map(|(from, to)| background.stretch(*from, *to))
            .sum();
        let free: f64 = explanation
            .choices
            .iter()
            .filter(|choice| choice.free)
            .map(|choice| background.free_of(explanation, choice))
            .sum();
        all - free
    };
    let mut remarks = Remarks {
        stretches: Vec::new(),
    };
    for explanation in explanations
        .iter()
        .filter(|e| model(e).is_marking() && e.segments.len() == 1)
    {
        let odds = (prior_bits(model(explanation)) + REMARK.log2() + explanation.bits()
            - text_bits(explanation))
        .exp2();
        let stretch = explanation.segments[0];
        match remarks
            .stretches
            .iter_mut()
            .find(|(known, _)| *known == stretch)
        {
            Some((_, sum)) => *sum += odds,
            None => remarks.stretches.push((stretch, odds)),
        }
    }
    // A part that bears its value bears little else.
    let alone = |explanation: &Explanation| -> f64 {
        if light::is_value(model(explanation)) && !whole(explanation) {
            BESIDE_VALUE
        } else {
            0.0
        }
    };
    // A line that would be a date beside any part speaks less for a part whose form has a date there.
    let beside = |explanation: &Explanation| -> f64 {
        if model(explanation).is_marking() {
            return 0.0;
        }
        let all = (0, stream.len());
        explanation
            .segments
            .iter()
            .filter(|s| **s != all)
            .map(|stretch| (1.0 + remarks.odds(*stretch)).log2())
            .sum()
    };
    // The same of the line that has the stem.
    let beside_stem = |explanation: &Explanation| -> f64 {
        let stretch = explanation.segments.first().copied().unwrap_or_default();
        if model(explanation).is_marking() || stretch == (0, stream.len()) {
            0.0
        } else {
            (1.0 + remarks.odds(stretch)).log2()
        }
    };
    let mut families: Vec<(FamilyId, Vec<Weighed<'_>>, f64)> = Vec::new();
    for explanation in explanations {
        let family = model(explanation);
        if family.is_marking() && !whole(explanation) {
            continue;
        }
        let bits =
            prior_bits(family) + explanation.bits() - text_bits(explanation) - beside(explanation)
                + alone(explanation)
                + context::bits(decoder, explanation, context, stream);
        if !bits.is_finite() {
            continue;
        }
        let weighed = Weighed {
            explanation,
            bits,
            share: 0.0,
        };
        match families
            .iter_mut()
            .find(|(id, _, _)| *id == explanation.family)
        {
            Some((_, list, sum)) => {
                *sum = log2_sum(*sum, bits);
                list.push(weighed);
            }
            None => families.push((explanation.family, vec![weighed], bits)),
        }
    }
    let mut none = 0.0;
    for (_, list, sum) in &mut families {
        list.sort_by(|a, b| rounded(b.bits).total_cmp(&rounded(a.bits)));
        for weighed in list.iter_mut() {
            weighed.share = (weighed.bits - *sum).exp2();
        }
        likeliest_codes_first(list);
        if let Some(best) = list.first() {
            let beside = beside_stem(best.explanation);
            let kin = kin(decoder, best.explanation, stream, background) - beside;
            none = log2_sum(none, kin);
            none = log2_sum(none, neighbours(decoder, list, stream));
        }
    }
    // Largest first, then by name, so that equal odds have one order on every machine.
    families.sort_by(|a, b| {
        let name = |id: FamilyId| &decoder.rules.families[id.index()].name;
        b.2.total_cmp(&a.2).then_with(|| name(a.0).cmp(name(b.0)))
    });
    let total = families
        .iter()
        .fold(none, |sum, (_, _, bits)| log2_sum(sum, *bits));
    Weights {
        families,
        none,
        total,
        remarks,
    }
}

#[allow(clippy::too_many_arguments)]
pub(super) fn present(
    decoder: &Decoder<'_>,
    explanations: &[Explanation],
    weights: Weights<'_>,
    reading: &Reading,
    stream: &Stream,
    background: &Background,
    context: &Context,
    detail: &Detail<'_>,
) -> Ranking {
    let Weights {
        families,
        none,
        total,
        remarks,
    } = weights;
    let model = |explanation: &Explanation| &decoder.rules.families[explanation.family.index()];
    let whole = |explanation: &Explanation| explanation.covered() == stream.len();
    let mut ranking = Ranking {
        none: (none - total).exp2(),
        text_bits: background.stretch(0, stream.len()),
        ..Ranking::default()
    };
    for (id, list, bits) in &families {
        let probability = (bits - total).exp2();
        let short = !detail.full() && !ranking.candidates.is_empty();
        if probability < LISTED || short {
            ranking.rest += probability;
            ranking.others.push((*id, probability));
            continue;
        }
        let mut candidate = describe::candidate(decoder, list, reading, stream, context, detail);
        candidate.family = *id;
        candidate.probability = probability;
        candidate.bits = bits - none;
        if detail.full() {
            evidence(
                decoder,
                list,
                &mut candidate,
                stream,
                background,
                context,
                *bits,
                none,
            );
        }
        ranking.candidates.push(candidate);
    }
    let leading = ranking
        .candidates
        .first()
        .is_some_and(|candidate| candidate.probability > ranking.none);
    let covered: Vec<(usize, usize)> = if leading {
        families
            .first()
            .map(|(_, list, _)| list[0].explanation.segments.to_vec())
            .unwrap_or_default()
    } else {
        Vec::new()
    };
    let remarks_are_candidates = explanations
        .iter()
        .any(|e| model(e).is_marking() && whole(e));
    if !remarks_are_candidates {
        ranking.remarks = remark_list(
            decoder,
            explanations,
            &remarks,
            &covered,
            reading,
            stream,
            background,
            detail,
        );
    }
    if !detail.full() {
        return ranking;
    }
    ranking.unexplained = left_over(reading, stream, &covered, &ranking.remarks);
    look::next_looks(decoder, &families, none, total, &mut ranking, stream);
    ranking
}

/// Puts the explanation first whose codes are the likeliest, summed over the ways in which damage can lead to them: a character
/// dropped somewhere in a lot is many explanations, but one answer.
pub(super) fn likeliest_codes_first(list: &mut [Weighed<'_>]) {
    if list
        .first()
        .is_none_or(|best| best.share > 0.5 || best.explanation.edit.is_none())
    {
        return;
    }
    let mut groups: Vec<(Vec<(usize, u32, Option<(usize, usize)>)>, f64, usize)> = Vec::new();
    for (at, weighed) in list.iter().enumerate().take(200) {
        let codes = weighed.explanation.codes_as_read();
        match groups.iter_mut().find(|(known, _, _)| *known == codes) {
            Some((_, sum, _)) => *sum += weighed.share,
            None => groups.push((codes, weighed.share, at)),
        }
    }
    let best = groups
        .iter()
        .max_by(|a, b| a.1.total_cmp(&b.1).then(b.2.cmp(&a.2)))
        .map_or(0, |group| group.2);
    list[..=best].rotate_right(1);
}

/// log2 of the odds that a part of the same stem but of no described family explains the text.
fn kin(decoder: &Decoder<'_>, best: &Explanation, stream: &Stream, background: &Background) -> f64 {
    let (_, family) = decoder.family(best.family);
    let printed = best
        .choices
        .iter()
        .filter(|choice| choice.end > choice.start);
    let parts = printed.map(|choice| {
        let text = if choice.free {
            0.0
        } else {
            background.of(best, choice)
        };
        let (start, end) = best.origin((choice.start, choice.end));
        let bits = best.branch.bits[choice.slot] + choice.channel - text;
        (bits, start, end)
    });
    let segment = best.segments.first().copied().unwrap_or_default();
    stem(prior_bits(family), parts, segment, stream, background)
}

/// The same from the printed places of the likeliest explanation, in order: log2 of how much better each explains its text than no rule does, and
/// where that stands.
pub(super) fn stem(
    prior: f64,
    parts: impl Iterator<Item = (f64, usize, usize)>,
    (from, to): (usize, usize),
    stream: &Stream,
    background: &Background,
) -> f64 {
    let mut bits = prior + KIN.log2();
    let mut glyphs = 0;
    let mut upto = 0;
    for (of_part, start, end) in parts {
        bits += of_part;
        glyphs += end - start;
        upto = end;
        if glyphs >= STEM {
            break;
        }
    }
    let tail = to.saturating_sub(upto);
    if glyphs < STEM || tail == 0 || upto > stream.len() {
        f64::NEG_INFINITY
    } else {
        // Plain chance may explain the text better than the character model does, and then the stem as well.
        bits - background.ends(from, to).max(0.0)
    }
}

/// log2 of the odds that nothing was misread: that these are parts of a type beside the one that damage would lead to, which no rule
/// lists.
fn neighbours(decoder: &Decoder<'_>, list: &[Weighed<'_>], stream: &Stream) -> f64 {
    let glyph = |at: usize| stream.ticks.get(at).map(|tick| tick.id);
    let kind = |id: u8| match id {
        0..10 => Some(false),
        10..36 => Some(true),
        _ => None,
    };
    list.iter()
        .take(MOST_NEIGHBOURS)
        .filter_map(|weighed| {
            let explanation = weighed.explanation;
            let edit = explanation.edit?;
            let place = match edit {
                Edit::Other(place)
                | Edit::Swapped(place)
                | Edit::Dropped(place)
                | Edit::First(place) => place,
                _ => return None,
            };
            let (program, family) = decoder.family(explanation.family);
            let choice = explanation
                .choices
                .iter()
                .find(|choice| choice.start <= place && place < choice.end)?;
            let How::Spelled(spelling) = choice.how else {
                return None;
            };
            let listed = |code: &&Code| matches!(code.kind, CodeKind::Listed(_));
            let series = || {
                let codes = family.slots[choice.slot].codes.iter().filter(listed);
                codes.take(SERIES).count() == SERIES
            };
            // A prefix or a package of fewer letters is another maker's, or another one.
            let shorter = matches!(edit, Edit::Dropped(_) | Edit::First(_));
            let lasting = !program.slots[choice.slot].dated && !family.slots[choice.slot].each;
            let naming = program.rows[explanation.row].naming[choice.slot];
            if !(shorter && lasting || naming && series()) {
                return None;
            }
            let share = match edit {
                Edit::Other(_) => {
                    let spelled = &program.tables[choice.table].spelled[spelling as usize];
                    let taken = spelled.ids.get(place - choice.start)?;
                    match (kind(*taken), kind(glyph(place)?)) {
                        (_, None) => return None,
                        // A point in a number is a letter in another as well.
                        (None, _) => BESIDE_ALIKE,
                        (taken, read) if taken == read => BESIDE_ALIKE,
                        _ => BESIDE_OTHER,
                    }
                }
                Edit::Swapped(_) => BESIDE_SWAPPED,
                _ => BESIDE_SHORTER,
            };
            Some(weighed.bits - choice.channel + share.log2())
        })
        .fold(f64::NEG_INFINITY, log2_sum)
}

/// Splits the bits of a candidate over its slots.
#[allow(clippy::too_many_arguments)]
fn evidence(
    decoder: &Decoder<'_>,
    list: &[Weighed<'_>],
    candidate: &mut Candidate,
    stream: &Stream,
    background: &Background,
    context: &Context,
    bits: f64,
    none: f64,
) {
    let best = list[0].explanation;
    let (_, family) = decoder.family(best.family);
    candidate.prior_bits = prior_bits(family);
    let corrected: f64 = candidate
        .corrections
        .iter()
        .map(|correction| correction.bits)
        .sum();
    let mut by_slot: Vec<(usize, f64)> = Vec::new();
    for choice in &best.choices {
        let text = if choice.free {
            0.0
        } else {
            background.of(best, choice)
        };
        let bits = choice.channel - text;
        match by_slot.iter_mut().find(|(slot, _)| *slot == choice.slot) {
            Some((_, sum)) => *sum += bits,
            None => by_slot.push((choice.slot, bits + best.branch.bits[choice.slot])),
        }
    }
    let mut sum = 0.0;
    for (slot, bits) in by_slot {
        let name = &family.slots[slot].name;
        let fixed: f64 = candidate
            .corrections
            .iter()
            .filter(|c| c.slot == *name)
            .map(|c| c.bits)
            .sum();
        sum += bits - fixed;
        candidate.evidence.push(Evidence {
            slot: name.clone(),
            bits: bits - fixed,
        });
    }
    let beside = context::bits(decoder, best, context, stream);
    if beside != 0.0 {
        sum += beside;
        candidate.evidence.push(Evidence {
            slot: "context".to_owned(),
            bits: beside,
        });
    }
    // Spelling, layout, neighbours and slots not printed, as one item.
    let form = list[0].bits - candidate.prior_bits - sum - corrected;
    candidate.evidence.push(Evidence {
        slot: "form".to_owned(),
        bits: form,
    });
    candidate.context_bits = bits - list[0].bits - none;
}

#[allow(clippy::too_many_arguments)]
fn remark_list(
    decoder: &Decoder<'_>,
    explanations: &[Explanation],
    remarks: &Remarks,
    covered: &[(usize, usize)],
    reading: &Reading,
    stream: &Stream,
    background: &Background,
    detail: &Detail<'_>,
) -> Vec<Remark> {
    let mut found: Vec<(FamilyId, (usize, usize), f64, &Explanation)> = Vec::new();
    for explanation in explanations {
        let (_, family) = decoder.family(explanation.family);
        let [stretch] = explanation.segments.as_slice() else {
            continue;
        };
        let overlaps = covered
            .iter()
            .any(|(from, to)| *from < stretch.1 && stretch.0 < *to);
        if !family.is_marking() || overlaps {
            continue;
        }
        let free: f64 = explanation
            .choices
            .iter()
            .filter(|choice| choice.free)
            .map(|choice| background.free_of(explanation, choice))
            .sum();
        let text = background.stretch(stretch.0, stretch.1) - free;
        let bits = prior_bits(family) + REMARK.log2() + explanation.bits() - text;
        let probability = bits.exp2() / (1.0 + remarks.odds(*stretch));
        match found
            .iter_mut()
            .find(|(id, known, _, _)| *id == explanation.family && known == stretch)
        {
            Some((_, _, sum, _)) => *sum += probability,
            None => found.push((explanation.family, *stretch, probability, explanation)),
        }
    }
    found.retain(|(_, _, probability, _)| *probability >= 0.01);
    found.sort_by(|a, b| {
        a.1.0
            .cmp(&b.1.0)
            .then(b.2.total_cmp(&a.2))
            .then(a.0.cmp(&b.0))
    });
    found
        .into_iter()
        .map(|(family, stretch, probability, explanation)| Remark {
            family,
            fields: describe::remark_fields(decoder, explanation, stream, detail),
            piece: describe::piece(reading, stream, stretch.0, stretch.1),
            probability,
        })
        .collect()
}

/// What is neither explained by the leading candidate nor by a likely remark.
fn left_over(
    reading: &Reading,
    stream: &Stream,
    covered: &[(usize, usize)],
    remarks: &[Remark],
) -> Vec<Piece> {
    let mut pieces = Vec::new();
    let free = |at: usize| {
        let tick = &stream.ticks[at];
        !covered.iter().any(|(from, to)| (*from..*to).contains(&at))
            && !remarks.iter().any(|remark| {
                remark.probability >= 0.5
                    && remark.piece.line == usize::from(tick.line)
                    && (remark.piece.span.0..remark.piece.span.1).contains(&tick.span.0)
            })
    };
    let mut at = 0;
    while at < stream.len() {
        if !free(at) {
            at += 1;
            continue;
        }
        let start = at;
        while at < stream.len() && free(at) && stream.ticks[at].line == stream.ticks[start].line {
            at += 1;
        }
        pieces.push(describe::piece(reading, stream, start, at));
    }
    pieces
}
