//! What to look at next: which observation is expected to settle most, cheapest first.
//!
//! An observation has an outcome; each answer (a family with its codes, or none) says how likely which outcome is. What the
//! observation is worth is the mutual information of outcome and answer, in bits.

use std::collections::BTreeMap;

use super::answer::{Cost, NextLook, Ranking};
use super::posterior::Weighed;
use crate::decode::{Decoder, Doubt, How, Stream};
use crate::model::FamilyId;

/// Least gain worth a line, in bits.
const WORTH: f64 = 0.05;
/// Most explanations that are asked.
const MAX_ASKED: usize = 400;

/// Entropy of a partition in bits.
fn entropy(parts: &[f64]) -> f64 {
    let sum: f64 = parts.iter().sum();
    parts
        .iter()
        .filter(|p| **p > 0.0)
        .map(|p| -(p / sum) * (p / sum).log2())
        .sum::<f64>()
}

/// One way the truth can be, with its probability.
struct Way<'e> {
    /// Number of its answer: the same family with the same codes.
    answer: usize,
    family: Option<FamilyId>,
    weighed: Option<&'e Weighed<'e>>,
    p: f64,
}

/// All ways that matter, none last.
struct Ways<'e> {
    ways: Vec<Way<'e>>,
    answers: Vec<f64>,
}

impl<'e> Ways<'e> {
    fn of(families: &'e [(FamilyId, Vec<Weighed<'e>>, f64)], none: f64, total: f64) -> Ways<'e> {
        let mut ways = Vec::new();
        let mut answers: Vec<f64> = Vec::new();
        for (family, list, bits) in families {
            let of_family = (bits - total).exp2();
            let mut known: Vec<(Vec<(usize, u32, Option<(usize, usize)>)>, usize)> = Vec::new();
            for weighed in list.iter().take(MAX_ASKED) {
                let p = of_family * weighed.share;
                if p < 1e-5 {
                    continue;
                }
                let codes = weighed.explanation.codes_as_read();
                let answer = match known.iter().find(|(same, _)| *same == codes) {
                    Some((_, answer)) => *answer,
                    None => {
                        answers.push(0.0);
                        known.push((codes, answers.len() - 1));
                        answers.len() - 1
                    }
                };
                answers[answer] += p;
                ways.push(Way {
                    answer,
                    family: Some(*family),
                    weighed: Some(weighed),
                    p,
                });
            }
        }
        let none = (none - total).exp2();
        answers.push(none);
        ways.push(Way {
            answer: answers.len() - 1,
            family: None,
            weighed: None,
            p: none,
        });
        Ways { ways, answers }
    }

    /// Mutual information of answer and outcome, where `outcome` gives each way's outcomes with their probabilities.
    fn worth<K: Ord + Clone>(
        &self,
        outcome: &dyn Fn(&Way<'e>) -> Vec<(K, f64)>,
    ) -> (f64, BTreeMap<K, f64>) {
        let mut joint: BTreeMap<(K, usize), f64> = BTreeMap::new();
        let mut by_outcome: BTreeMap<K, f64> = BTreeMap::new();
        let mut by_answer = vec![0.0; self.answers.len()];
        for way in &self.ways {
            for (key, q) in outcome(way) {
                let p = way.p * q;
                *joint.entry((key.clone(), way.answer)).or_default() += p;
                *by_outcome.entry(key).or_default() += p;
                by_answer[way.answer] += p;
            }
        }
        let all = |values: &mut dyn Iterator<Item = f64>| entropy(&values.collect::<Vec<f64>>());
        let worth = all(&mut by_outcome.values().copied()) + all(&mut by_answer.iter().copied())
            - all(&mut joint.values().copied());
        (worth.max(0.0), by_outcome)
    }
}

pub(super) fn next_looks(
    decoder: &Decoder<'_>,
    families: &[(FamilyId, Vec<Weighed<'_>>, f64)],
    none: f64,
    total: f64,
    ranking: &mut Ranking,
    stream: &Stream,
) {
    let ways = Ways::of(families, none, total);
    ranking.doubt = entropy(&ways.answers);
    let mut looks = Vec::new();
    if families.is_empty() {
        return;
    }
    characters(decoder, &ways, stream, &mut looks);
    by_field(decoder, ranking, "pins", "count the terminals", &mut looks);
    by_field(
        decoder,
        ranking,
        "package",
        "look at the body and leads",
        &mut looks,
    );
    missing_lines(decoder, families, ranking, &mut looks);
    let shares: Vec<f64> = ranking
        .candidates
        .iter()
        .map(|candidate| candidate.probability)
        .chain([ranking.none + ranking.rest])
        .collect();
    let open = entropy(&shares);
    let best_cheap = looks.iter().map(|look| look.bits).fold(0.0, f64::max);
    // Dates have no die, and nobody opens a resistor.
    let part = ranking.candidates.first().is_some_and(|candidate| {
        let family = &decoder.rules.families[candidate.family.index()];
        !family.is_marking()
            && !family
                .function
                .as_ref()
                .is_some_and(|function| function.starts_with("passive"))
    });
    if part && open > 0.3 && open - best_cheap > 0.3 {
        looks.push(NextLook {
            observe: "die marks".to_owned(),
            separates: ranking
                .candidates
                .iter()
                .map(|candidate| candidate.family)
                .collect(),
            bits: open,
            cost: Cost::Destructive,
            text: "if nothing cheaper settles it, the die's own maker mark and mask number would"
                .to_owned(),
            at: None,
        });
    }
    looks.sort_by(|a, b| a.cost.cmp(&b.cost).then(b.bits.total_cmp(&a.bits)));
    looks.truncate(4);
    ranking.next_look = looks;
}

/// A second look at each character that is not certain.
fn characters(decoder: &Decoder<'_>, ways: &Ways<'_>, stream: &Stream, looks: &mut Vec<NextLook>) {
    for (at, tick) in stream.ticks.iter().enumerate() {
        if matches!(tick.doubt, Doubt::Certain | Doubt::Run) {
            continue;
        }
        let outcome = |way: &Way<'_>| outcomes(decoder, way, stream, at);
        let (bits, by_outcome) = ways.worth(&outcome);
        if bits < WORTH {
            continue;
        }
        let mut parts: Vec<(u8, f64)> = by_outcome.into_iter().collect();
        parts.sort_by(|a, b| b.1.total_cmp(&a.1));
        let names: Vec<String> = parts
            .iter()
            .filter(|(_, p)| *p > 0.01)
            .take(5)
            .filter_map(|(glyph, _)| decoder.program.alphabet.glyph(*glyph))
            .map(|glyph| crate::model::Spelling::of_glyphs(vec![glyph.clone()]).text())
            .collect();
        let (line, place) = (tick.line + 1, tick.span.0 + 1);
        let mut separates: Vec<FamilyId> = ways
            .ways
            .iter()
            .filter(|way| way.p > 0.01)
            .filter_map(|way| way.family)
            .collect();
        separates.sort_unstable();
        separates.dedup();
        let observe = format!("character {place} of line {line}");
        looks.push(NextLook {
            text: format!("look again at {observe}: {}", names.join(", ")),
            observe,
            separates,
            bits,
            cost: Cost::Look,
            at: Some((usize::from(tick.line), tick.span.0)),
        });
    }
}

/// What a place of the reading would turn out to be, if a way is true.
fn outcomes(decoder: &Decoder<'_>, way: &Way<'_>, stream: &Stream, at: usize) -> Vec<(u8, f64)> {
    let tick = &stream.ticks[at];
    let evenly = |set: u128| -> Vec<(u8, f64)> {
        let ids: Vec<u8> = (0..36).filter(|id| set >> id & 1 == 1).collect();
        let n = ids.len().max(1) as f64;
        ids.into_iter().map(|id| (id, 1.0 / n)).collect()
    };
    let as_read = || match tick.doubt {
        Doubt::Read | Doubt::Certain => vec![(tick.id, 1.0)],
        _ => evenly(tick.set()),
    };
    let Some(weighed) = way.weighed else {
        return as_read();
    };
    let explanation = weighed.explanation;
    let (program, _) = decoder.family(explanation.family);
    let choice = explanation.choices.iter().find(|choice| {
        let (start, end) = explanation.origin((choice.start, choice.end));
        (start..end).contains(&at)
    });
    let Some(choice) = choice else {
        return as_read();
    };
    let over = explanation.over(stream, decoder);
    let place = (choice.start..choice.end)
        .find(|place| explanation.origin((*place, place + 1)) == (at, at + 1));
    match (choice.how, place) {
        (How::Spelled(index), Some(place)) => program.tables[choice.table].spelled[index as usize]
            .ids
            .get(place - choice.start)
            .map_or_else(as_read, |id| vec![(*id, 1.0)]),
        (How::Open(index), Some(place)) => {
            let strip = &program.tables[choice.table].open[index as usize];
            let Some(set) = strip.sets.get(place - choice.start) else {
                return as_read();
            };
            let there = &over.ticks[place];
            match there.doubt {
                Doubt::Read | Doubt::Certain if set >> there.id & 1 == 1 => vec![(there.id, 1.0)],
                Doubt::Read | Doubt::Certain => {
                    crate::decode::likeliest(*set, there.id, &decoder.program.alphabet)
                        .map_or_else(as_read, |id| vec![(id, 1.0)])
                }
                Doubt::Other => evenly(set & !there.set()),
                _ => evenly(set & there.set()),
            }
        }
        _ => as_read(),
    }
}

/// A field on which candidates differ and that the eye can settle.
fn by_field(
    decoder: &Decoder<'_>,
    ranking: &Ranking,
    field: &str,
    what: &str,
    looks: &mut Vec<NextLook>,
) {
    let mut parts: Vec<(String, f64, Vec<FamilyId>)> = Vec::new();
    for candidate in &ranking.candidates {
        let Some(answer) = candidate.fields.iter().find(|answer| answer.name == field) else {
            continue;
        };
        let mut add =
            |text: &str, p: f64| match parts.iter_mut().find(|(known, _, _)| known == text) {
                Some((_, sum, who)) => {
                    *sum += p;
                    who.push(candidate.family);
                }
                None => parts.push((text.to_owned(), p, vec![candidate.family])),
            };
        add(
            &answer.text,
            candidate.probability * answer.probability.unwrap_or(1.0),
        );
        for other in answer.alternatives.iter().filter(|other| !other.absent) {
            add(&other.text, candidate.probability * other.probability);
        }
    }
    let shares: Vec<f64> = parts.iter().map(|(_, p, _)| *p).collect();
    let bits = entropy(&shares) * shares.iter().sum::<f64>();
    if parts.len() < 2 || bits < WORTH {
        return;
    }
    parts.sort_by(|a, b| b.1.total_cmp(&a.1));
    let said: Vec<String> = parts
        .iter()
        .take(4)
        .map(|(text, _, who)| {
            let name = who
                .first()
                .map(|id| decoder.rules.families[id.index()].name.as_str())
                .unwrap_or_default();
            format!("{text} for {name}")
        })
        .collect();
    let mut separates: Vec<FamilyId> = parts
        .iter()
        .flat_map(|(_, _, who)| who.iter().copied())
        .collect();
    separates.sort_unstable();
    separates.dedup();
    looks.push(NextLook {
        observe: field.to_owned(),
        separates,
        bits,
        cost: Cost::Look,
        text: format!("{what}: {}", said.join(", ")),
        at: None,
    });
}

/// Lines of the leading form that were not read and would fill what is open.
fn missing_lines(
    decoder: &Decoder<'_>,
    families: &[(FamilyId, Vec<Weighed<'_>>, f64)],
    ranking: &Ranking,
    looks: &mut Vec<NextLook>,
) {
    let (Some((id, list, _)), Some(candidate)) = (families.first(), ranking.candidates.first())
    else {
        return;
    };
    if candidate.probability < 0.5 {
        return;
    }
    let (program, family) = decoder.family(*id);
    let best = list[0].explanation;
    let row = &program.rows[best.row];
    let read: Vec<usize> = best.choices.iter().map(|choice| choice.slot).collect();
    for (number, line) in row.lines.iter().enumerate() {
        let open: Vec<&str> = line
            .places
            .iter()
            .filter(|place| !read.contains(&place.slot) && !family.slots[place.slot].literal)
            .map(|place| family.slots[place.slot].name.as_str())
            .collect();
        let gain = line
            .places
            .iter()
            .filter(|place| !read.contains(&place.slot))
            .map(|place| {
                entropy(
                    &program.slots[place.slot]
                        .codes
                        .iter()
                        .map(|code| code.weight)
                        .collect::<Vec<_>>(),
                )
            })
            .sum::<f64>();
        if !open.is_empty()
            && !line.places.iter().any(|place| read.contains(&place.slot))
            && gain > WORTH
        {
            looks.push(NextLook {
                observe: format!("line {} of the package", number + 1),
                separates: vec![*id],
                bits: gain,
                cost: Cost::Look,
                text: format!("read the line with {}", open.join(", ")),
                at: None,
            });
        }
    }
}
