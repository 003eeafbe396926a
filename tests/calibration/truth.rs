//! What a reader would believe who knows the channel, the law of codes and the share of junk: the exact posterior.
//!
//! P(reading | family) is summed over all marks that one damage away from the reading could have been printed; P(mark | family) comes
//! from the decoder with every character certain, which the slow reference decoder of the engine's own tests confirms to 1e-6 bits.

use std::collections::HashMap;

use etchlore_engine::Rules;
use etchlore_engine::decode::{Mark, Notation, Reading, Scratch, Seen};
use etchlore_engine::glyph::Boundary;
use jiff::civil::{Date, date};

use super::damage::{Channel, Kind, text};
use super::sample::{Junk, Law, Piece};

/// Glyphs that a place which takes any is drawn from: digits, capitals, and the other printable characters of ASCII.
const ANY: f64 = 68.0;

/// The day of reading of all cases.
pub(crate) fn day() -> Date {
    date(2026, 11, 25)
}

/// Whether some family takes a text as it stands, as a whole name or as the beginning of one.
pub(crate) fn covered(rules: &Rules, line: &str) -> bool {
    let notation = Notation {
        plain: true,
        ..Notation::default()
    };
    let Ok(reading) = Reading::parse(line, notation) else {
        return true;
    };
    let marks: Vec<_> = reading.lines.iter().flat_map(|line| &line.marks).collect();
    let glyphs = marks.len();
    // A base name that a rule knows, with a tail after a dash, is no stranger either.
    let head = |upto: usize| {
        upto >= 5
            && marks
                .get(upto)
                .is_some_and(|mark| mark.before != Boundary::None)
    };
    rules
        .decoder()
        .explain(&reading, day(), &mut Scratch::default())
        .iter()
        .any(|explanation| {
            explanation.is_as_read(glyphs)
                || explanation.is_as_read(explanation.covered())
                    && explanation.cut_at().first().is_some_and(|cut| cut.1 == 0)
                    && head(explanation.covered())
        })
}

pub(crate) struct Truth<'r> {
    pub(crate) rules: &'r Rules,
    pub(crate) law: &'r Law<'r>,
    pub(crate) junk: &'r Junk,
    scratch: Scratch,
}

/// The posterior: families with their probabilities, and none.
#[derive(Debug, Default)]
pub(crate) struct Posterior {
    pub(crate) families: HashMap<usize, f64>,
    pub(crate) none: f64,
}

impl Posterior {
    pub(crate) fn of(&self, family: Option<usize>) -> f64 {
        family.map_or(self.none, |f| self.families.get(&f).copied().unwrap_or(0.0))
    }

    pub(crate) fn first(&self) -> Option<usize> {
        let best = self
            .families
            .iter()
            .max_by(|a, b| a.1.total_cmp(b.1).then(b.0.cmp(a.0)));
        best.filter(|(_, p)| **p >= self.none).map(|(f, _)| *f)
    }
}

impl<'r> Truth<'r> {
    pub(crate) fn new(rules: &'r Rules, law: &'r Law<'r>, junk: &'r Junk) -> Truth<'r> {
        Truth {
            rules,
            law,
            junk,
            scratch: Scratch::default(),
        }
    }

    /// P(mark | family) under the skewed law, for all families; unread characters are summed over.
    pub(crate) fn mark(&mut self, lines: &[Vec<Piece>]) -> HashMap<usize, f64> {
        let certain: Vec<Vec<Piece>> = lines
            .iter()
            .map(|line| {
                line.iter()
                    .map(|(text, c)| match c {
                        Some(c) => (format!("{{{c}}}"), Some(*c)),
                        None => (text.clone(), None),
                    })
                    .collect()
            })
            .collect();
        let mut found = HashMap::new();
        let Ok(reading) = Reading::parse(&text(&certain), Notation::default()) else {
            return found;
        };
        let marks: Vec<&Mark> = reading.lines.iter().flat_map(|line| &line.marks).collect();
        let glyphs = marks.len();
        // Where any text can stand the law draws each glyph evenly, and one that was not read is any of them.
        let even = |(from, to): (usize, usize)| -> f64 {
            let read = marks[from..to]
                .iter()
                .filter(|mark| mark.seen != Seen::Unread);
            -(read.count() as f64) * ANY.log2()
        };
        let decoder = self.rules.decoder();
        for explanation in decoder.explain(&reading, day(), &mut self.scratch) {
            if explanation.is_exact(glyphs) {
                let family = explanation.family().index();
                let tilt = self.law.tilt(family, &explanation.codes());
                let text: f64 = explanation.any_text().into_iter().map(even).sum();
                *found.entry(family).or_default() += (explanation.bits() + text).exp2() * tilt;
            }
        }
        found
    }

    /// The posterior of a reading under a channel and a share of junk.
    pub(crate) fn posterior(
        &mut self,
        lines: &[Vec<Piece>],
        channel: &Channel,
        junk_share: f64,
    ) -> Posterior {
        let places: Vec<(usize, usize)> = lines
            .iter()
            .enumerate()
            .flat_map(|(l, line)| (0..line.len()).map(move |p| (l, p)))
            .filter(|(l, p)| lines[*l][*p].1.is_some())
            .collect();
        let unread = lines
            .iter()
            .flatten()
            .filter(|piece| piece.0 == "_")
            .count();
        let length = places.len() + unread;
        let mut sum: HashMap<usize, f64> = HashMap::new();
        let add = |more: HashMap<usize, f64>, weight: f64, sum: &mut HashMap<usize, f64>| {
            for (family, p) in more {
                *sum.entry(family).or_default() += p * weight;
            }
        };
        let as_read = self.mark(lines);
        add(as_read.clone(), channel.intact(length), &mut sum);
        let gone = || ("_".to_owned(), None);
        for (l, p) in &places {
            let (l, p) = (*l, *p);
            let Some(c) = lines[l][p].1 else { continue };
            let mut changed = lines.to_vec();
            // Taken for a look-alike: the true one has what was read among its own.
            for truth in channel.alike.of(c) {
                changed[l][p] = (truth.to_string(), Some(truth));
                let weight = channel.rate(Kind::LookAlike) / channel.alike.of(truth).len() as f64;
                add(self.mark(&changed), weight, &mut sum);
            }
            // Taken for anything, each of the 35 others alike.
            changed[l][p] = gone();
            let weight = channel.rate(Kind::Other) / 35.0;
            add(self.mark(&changed), weight, &mut sum);
            add(as_read.clone(), -weight, &mut sum);
            // One was dropped: before the first of a line, or after this one.
            let mut longer = lines.to_vec();
            longer[l].insert(p + 1, gone());
            add(self.mark(&longer), channel.rate(Kind::Dropped), &mut sum);
            if p == 0 || lines[l][p - 1].0 == " " {
                let mut longer = lines.to_vec();
                longer[l].insert(p, gone());
                add(self.mark(&longer), channel.rate(Kind::Dropped), &mut sum);
            }
            let Some(next) = lines[l].get(p + 1).and_then(|piece| piece.1) else {
                continue;
            };
            let mut other = lines.to_vec();
            if next == c {
                other[l].remove(p);
                add(self.mark(&other), channel.rate(Kind::Doubled), &mut sum);
            } else {
                other[l].swap(p, p + 1);
                add(self.mark(&other), channel.rate(Kind::Swapped), &mut sum);
            }
        }
        let plain = text(lines);
        let mut posterior = Posterior {
            none: junk_share * self.junk.probability(&plain),
            ..Posterior::default()
        };
        for (family, p) in sum {
            let odds = (1.0 - junk_share) * self.law.share(family) * p.max(0.0);
            posterior.families.insert(family, odds);
        }
        let total: f64 = posterior.none + posterior.families.values().sum::<f64>();
        if total > 0.0 {
            posterior.none /= total;
            for p in posterior.families.values_mut() {
                *p /= total;
            }
        }
        posterior
    }
}
