//! What to look at next: observations that part the likely explanations, cheapest first.

use super::answer::{Cost, NextLook, Ranking};
use super::posterior::Weighed;
use crate::decode::{Decoder, Doubt, How, Reading, Stream};
use crate::model::FamilyId;

/// Least gain worth a line, in bits.
const WORTH: f64 = 0.05;

/// Entropy of a partition in bits.
fn entropy(parts: &[f64]) -> f64 {
    let sum: f64 = parts.iter().sum();
    parts
        .iter()
        .filter(|p| **p > 0.0)
        .map(|p| -(p / sum) * (p / sum).log2())
        .sum::<f64>()
}

pub(super) fn next_looks(
    decoder: &Decoder<'_>,
    families: &[(FamilyId, Vec<Weighed<'_>>, f64)],
    ranking: &Ranking,
    stream: &Stream,
    reading: &Reading,
) -> Vec<NextLook> {
    let mut looks = Vec::new();
    let _ = reading;
    let total: f64 = families
        .iter()
        .map(|(_, list, _)| list.iter().map(|w| w.bits.exp2()).sum::<f64>())
        .sum::<f64>();
    if families.is_empty() || total == 0.0 {
        return looks;
    }
    characters(decoder, families, ranking, stream, &mut looks);
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
        });
    }
    looks.sort_by(|a, b| a.cost.cmp(&b.cost).then(b.bits.total_cmp(&a.bits)));
    looks.truncate(4);
    looks
}

/// Characters that likely explanations take for different ones.
fn characters(
    decoder: &Decoder<'_>,
    families: &[(FamilyId, Vec<Weighed<'_>>, f64)],
    ranking: &Ranking,
    stream: &Stream,
    looks: &mut Vec<NextLook>,
) {
    for (at, tick) in stream.ticks.iter().enumerate() {
        if matches!(tick.doubt, Doubt::Certain | Doubt::Run) {
            continue;
        }
        let mut parts: Vec<(Option<u8>, f64, Vec<FamilyId>)> = Vec::new();
        for (family, list, _) in families {
            let Some(candidate) = ranking
                .candidates
                .iter()
                .find(|candidate| candidate.family == *family)
            else {
                continue;
            };
            for weighed in list {
                let (program, _) = decoder.family(*family);
                let choice = weighed
                    .explanation
                    .choices
                    .iter()
                    .find(|choice| (choice.start..choice.end).contains(&at));
                let glyph = choice.and_then(|choice| match choice.how {
                    How::Spelled(index) => program.tables[choice.table].spelled[index as usize]
                        .ids
                        .get(at - choice.start)
                        .copied(),
                    _ => None,
                });
                // An explanation that says nothing of the character tells nothing about it either.
                let Some(glyph) = glyph.or((tick.doubt == Doubt::Read).then_some(tick.id)) else {
                    continue;
                };
                let p = candidate.probability * weighed.share;
                match parts.iter_mut().find(|(known, _, _)| *known == Some(glyph)) {
                    Some((_, sum, who)) => {
                        *sum += p;
                        if !who.contains(family) {
                            who.push(*family);
                        }
                    }
                    None => parts.push((Some(glyph), p, vec![*family])),
                }
            }
        }
        let shares: Vec<f64> = parts.iter().map(|(_, p, _)| *p).collect();
        let bits = entropy(&shares);
        if parts.len() < 2 || bits < WORTH {
            continue;
        }
        parts.sort_by(|a, b| b.1.total_cmp(&a.1));
        let names: Vec<String> = parts
            .iter()
            .take(5)
            .filter_map(|(glyph, _, _)| decoder.program.alphabet.glyph((*glyph)?))
            .map(|glyph| crate::model::Spelling::of_glyphs(vec![glyph.clone()]).text())
            .collect();
        let (line, place) = (tick.line + 1, tick.span.0 + 1);
        let mut separates: Vec<FamilyId> = parts
            .iter()
            .flat_map(|(_, _, who)| who.iter().copied())
            .collect();
        separates.sort_unstable();
        separates.dedup();
        looks.push(NextLook {
            observe: format!("character {place} of line {line}"),
            separates,
            bits,
            cost: Cost::Look,
            text: format!(
                "look again at character {place} of line {line}: {}",
                names.join(", ")
            ),
        });
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
            });
        }
    }
}
