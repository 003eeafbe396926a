//! The tables.

use std::collections::BTreeMap;
use std::fmt::Write;

use etchlore_engine::Rules;
use etchlore_engine::decode::{Effort, Notation, Reading, Scratch};
use etchlore_engine::model::FamilyId;
use etchlore_engine::rank::{Context, Ranking};

use super::damage::{CHANNELS, Channel, Damaged, Kind, text};
use super::sample::{JUNK, Junk, Law, Mark};
use super::truth::{Truth, day};

/// How many cases each table takes.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Sizes {
    pub(crate) contested: usize,
    pub(crate) regret: usize,
    pub(crate) depth: usize,
    pub(crate) junk: usize,
    pub(crate) cost: usize,
    pub(crate) specimens: usize,
    pub(crate) standing: usize,
    pub(crate) looks: usize,
}

impl Sizes {
    pub(crate) fn full(times: f64) -> Sizes {
        let of = |n: f64| (n * times) as usize;
        Sizes {
            contested: of(60_000.0),
            regret: of(120.0),
            depth: of(3_000.0),
            junk: of(3_000.0),
            cost: of(100_000.0),
            specimens: of(1_000.0),
            standing: of(2_000.0),
            looks: of(200.0),
        }
    }
}

/// What is not found at all counts as so likely, so that one miss does not make the loss infinite.
const LEAST: f64 = 1e-5;

/// What a family or none got.
pub(crate) fn probability(ranking: &Ranking, family: Option<usize>) -> f64 {
    match family {
        None => ranking.none,
        Some(family) => ranking
            .candidates
            .iter()
            .map(|candidate| (candidate.family, candidate.probability))
            .chain(ranking.others.iter().copied())
            .find(|(id, _)| id.index() == family)
            .map_or(LEAST, |(_, probability)| probability),
    }
}

pub(crate) fn first(ranking: &Ranking) -> Option<usize> {
    ranking
        .candidates
        .first()
        .filter(|candidate| candidate.probability >= ranking.none)
        .map(|candidate| candidate.family.index())
}

pub(crate) fn reading(text: &str) -> Option<Reading> {
    Reading::parse(text, Notation::default()).ok()
}

/// Predictions with what came true, by tenths.
#[derive(Default)]
pub(crate) struct Deciles {
    /// Number, sum of what was said, number that came true.
    rows: BTreeMap<usize, (usize, f64, usize)>,
}

impl Deciles {
    fn add(&mut self, said: f64, true_: bool) {
        if !(0.05..=0.95).contains(&said) {
            return;
        }
        let row = self
            .rows
            .entry(((said * 10.0) as usize).min(9))
            .or_default();
        row.0 += 1;
        row.1 += said;
        row.2 += usize::from(true_);
    }

    fn join(&mut self, other: &Deciles) {
        for (decile, (n, said, true_)) in &other.rows {
            let row = self.rows.entry(*decile).or_default();
            row.0 += n;
            row.1 += said;
            row.2 += true_;
        }
    }

    pub(crate) fn cases(&self) -> usize {
        self.rows.values().map(|row| row.0).sum()
    }

    /// Expected calibration error.
    pub(crate) fn error(&self) -> f64 {
        let off: f64 = self
            .rows
            .values()
            .map(|(_, said, true_)| (said - *true_ as f64).abs())
            .sum();
        off / self.cases().max(1) as f64
    }

    /// The largest difference in a decile of 200 or more.
    pub(crate) fn worst(&self) -> f64 {
        self.rows
            .values()
            .filter(|row| row.0 >= 200)
            .map(|(n, said, true_)| (said - *true_ as f64).abs() / *n as f64)
            .fold(0.0, f64::max)
    }

    fn table(&self, out: &mut String) {
        let _ = writeln!(
            out,
            "  {:>9} {:>7} {:>7} {:>7} {:>7}",
            "said", "cases", "mean", "right", "off"
        );
        for (decile, (n, said, true_)) in &self.rows {
            let (said, right) = (said / *n as f64, *true_ as f64 / *n as f64);
            let _ = writeln!(
                out,
                "  {:>3}-{:>3} % {n:>7} {:>6.1}% {:>6.1}% {:>+6.1}",
                decile * 10,
                decile * 10 + 10,
                said * 100.0,
                right * 100.0,
                (right - said) * 100.0
            );
        }
        let _ = writeln!(
            out,
            "  all {} contested, expected calibration error {:.4}, worst decile of 200 or more {:.1} points",
            self.cases(),
            self.error(),
            self.worst() * 100.0
        );
    }
}

/// What the tables found, for the tests.
#[derive(Default)]
pub(crate) struct Found {
    pub(crate) identities: Deciles,
    pub(crate) fields: Deciles,
    pub(crate) text: String,
}

pub(crate) struct Bench<'r> {
    pub(crate) rules: &'r Rules,
    pub(crate) law: &'r Law<'r>,
    pub(crate) junk: &'r Junk,
    pub(crate) rng: fastrand::Rng,
    pub(crate) scratch: Scratch,
    pub(crate) context: Context,
}

impl<'r> Bench<'r> {
    fn new(rules: &'r Rules, law: &'r Law, junk: &'r Junk, rng: fastrand::Rng) -> Bench<'r> {
        Bench {
            rules,
            law,
            junk,
            rng,
            scratch: Scratch::default(),
            context: Context::on(day()),
        }
    }
}

impl Bench<'_> {
    fn rank(&mut self, text: &str) -> Option<Ranking> {
        let reading = reading(text)?;
        Some(self.rules.rank(&reading, &self.context, &mut self.scratch))
    }

    /// The fields of a mark as printed, by name, those that no doubt touches.
    pub(crate) fn fields(&mut self, mark: &Mark) -> BTreeMap<String, String> {
        let Some(family) = mark.family else {
            return BTreeMap::new();
        };
        let Some(reading) = reading(&text(&mark.lines)) else {
            return BTreeMap::new();
        };
        let decoder = self.rules.decoder().only(FamilyId::at(family));
        let ranking =
            etchlore_engine::rank::rank(&decoder, &reading, &self.context, &mut self.scratch);
        let Some(best) = ranking
            .candidates
            .first()
            .filter(|best| best.corrections.is_empty())
        else {
            return BTreeMap::new();
        };
        best.fields
            .iter()
            .filter(|field| {
                field.at.is_some()
                    && !field.derived
                    && field.alternatives.is_empty()
                    && field.name != "date"
            })
            .map(|field| (field.name.clone(), field.text.clone()))
            .collect()
    }
}

/// Runs all tables, or only the one of this name: contested, regret, drift, depth, junk, cost, specimens, standing, looks.
pub(crate) fn run(rules: &Rules, sizes: &Sizes, only: Option<&str>) -> String {
    let mut rng = fastrand::Rng::with_seed(71);
    let law = Law::new(rules, 5, &mut rng);
    let junk = Junk::load(rules);
    let mut bench = Bench::new(rules, &law, &junk, rng);
    let mut out = String::new();
    let _ = writeln!(
        out,
        "{} families, {} strangers, {} words",
        law.families().len(),
        junk.strangers.len(),
        junk.words.len()
    );
    let asked = |table: &str| only.is_none_or(|only| only == table);
    if asked("contested") {
        out += &contested(rules, sizes.contested, 0.3).text;
    }
    if asked("regret") {
        bench.regret(sizes.regret, &mut out);
    }
    if asked("drift") {
        drift(rules, sizes.contested / 6, &mut out);
    }
    if asked("depth") {
        bench.depth(sizes.depth, &mut out);
    }
    if asked("junk") {
        bench.curve(sizes.junk, &mut out);
    }
    if asked("cost") {
        bench.cost(sizes.cost, &mut out);
    }
    if asked("specimens") {
        bench.specimens(sizes.specimens, &mut out);
    }
    if asked("standing") {
        bench.standing(sizes.standing, &mut out);
    }
    if asked("looks") {
        bench.looks(sizes.looks, &mut out);
    }
    out
}

/// What becomes of the calibration when there is less or more junk than the engine supposes.
fn drift(rules: &Rules, cases: usize, out: &mut String) {
    let _ = writeln!(
        out,
        "\nDrift with the share of junk, which the engine is not told\n  {:>6} {:>9} {:>8} {:>9} {:>8}",
        "junk", "contested", "error", "fields", "error"
    );
    for share in [0.05, 0.15, 0.3, 0.45, 0.6] {
        let found = contested(rules, cases.max(2_000), share);
        let _ = writeln!(
            out,
            "  {:>4.0} % {:>9} {:>8.4} {:>9} {:>8.4}",
            share * 100.0,
            found.identities.cases(),
            found.identities.error(),
            found.fields.cases(),
            found.fields.error()
        );
    }
}

/// Cases under one law of codes.
const A_LAW: usize = 200;

/// Identities and fields that are contested, over all channels and many laws of codes, at one share of junk.
pub(crate) fn contested(rules: &Rules, cases: usize, junk_share: f64) -> Found {
    let junk = Junk::load(rules);
    let half = |parity: u64| {
        let mut found = Found::default();
        for seed in 0..(cases / A_LAW).max(1) as u64 {
            if seed % 2 == parity {
                let mut rng = fastrand::Rng::with_seed(9_000 + seed);
                let law = Law::new(rules, seed, &mut rng);
                let mut bench = Bench::new(rules, &law, &junk, rng);
                bench.contested(cases.min(A_LAW), junk_share, &mut found);
            }
        }
        found
    };
    let mut found = std::thread::scope(|scope| {
        let other = scope.spawn(|| half(1));
        let mut found = half(0);
        let other = other.join().unwrap_or_default();
        found.identities.join(&other.identities);
        found.fields.join(&other.fields);
        found
    });
    let mut out = String::new();
    let _ = writeln!(
        out,
        "\nContested identities, {:.0} % junk, {cases} readings",
        junk_share * 100.0
    );
    found.identities.table(&mut out);
    let _ = writeln!(out, "Contested fields of identities that are right");
    found.fields.table(&mut out);
    found.text = out;
    found
}

impl Bench<'_> {
    fn contested(&mut self, cases: usize, junk_share: f64, found: &mut Found) {
        for case in 0..cases {
            let channel = CHANNELS[case % CHANNELS.len()];
            let (mark, damaged) = if self.rng.f64() < junk_share {
                let kind = Junk::kind(&mut self.rng);
                let mark = self.junk.draw(kind, &mut self.rng);
                let lines = mark.lines.clone();
                let damaged = Damaged {
                    lines,
                    kind: Kind::Intact,
                    place: None,
                };
                (mark, damaged)
            } else {
                let mark = self.law.member(None, &mut self.rng);
                let damaged = channel.draw(&mark, &mut self.rng);
                (mark, damaged)
            };
            let Some(ranking) = self.rank(&damaged.text()) else {
                continue;
            };
            let best = first(&ranking);
            let said = probability(&ranking, best);
            found.identities.add(said, best == mark.family);
            if best.is_some() && best == mark.family {
                self.fields_of(&mark, &ranking, found);
            }
        }
        // Two characters unread, for more of contested fields.
        for _ in 0..cases {
            let mark = self.law.member(None, &mut self.rng);
            let mut lines = mark.lines.clone();
            let places = mark.places();
            if places.len() < 4 {
                continue;
            }
            for _ in 0..2 {
                let (l, p) = places[self.rng.usize(..places.len())];
                lines[l][p] = ("_".to_owned(), None);
            }
            let Some(ranking) = self.rank(&text(&lines)) else {
                continue;
            };
            if first(&ranking).is_some() && first(&ranking) == mark.family {
                self.fields_of(&mark, &ranking, found);
            }
        }
    }

    fn fields_of(&mut self, mark: &Mark, ranking: &Ranking, found: &mut Found) {
        let truth = self.fields(mark);
        for field in ranking.candidates[0]
            .fields
            .iter()
            // A text with an open place claims nothing.
            .filter(|field| !field.unknown && field.standing.is_none() && !field.text.contains('_'))
        {
            if let (Some(text), Some(p)) = (truth.get(&field.name), field.probability) {
                found.fields.add(p, *text == field.text);
            }
        }
    }

    /// Against the exact posterior, by kind of damage and length.
    fn regret(&mut self, each: usize, out: &mut String) {
        let _ = writeln!(
            out,
            "\nRegret against the exact posterior (channel, law and share of junk known), 30 % junk\n  {:<18} {:>6} {:>6} {:>8} {:>8} {:>8} {:>8} {:>8}",
            "damage", "length", "cases", "right", "exact", "loss", "exact", "regret"
        );
        for kind in Kind::ALL {
            for (name, from, to) in [("1-3", 1, 3), ("4-7", 4, 7), ("8-", 8, 999)] {
                let (mut n, mut right, mut exact, mut loss, mut least) = (0, 0, 0, 0.0, 0.0);
                let mut tries = 0;
                while n < each && tries < each * 40 {
                    tries += 1;
                    let channel: Channel = CHANNELS[tries % CHANNELS.len()];
                    let mark = self.law.member(None, &mut self.rng);
                    if !(from..=to).contains(&mark.length()) {
                        continue;
                    }
                    let Some(damaged) = channel.apply(&mark, kind, &mut self.rng) else {
                        continue;
                    };
                    let Some(ranking) = self.rank(&damaged.text()) else {
                        continue;
                    };
                    let mut truth = Truth::new(self.rules, self.law, self.junk);
                    let posterior = truth.posterior(&damaged.lines, &channel, 0.3);
                    n += 1;
                    right += usize::from(first(&ranking) == mark.family);
                    exact += usize::from(posterior.first() == mark.family);
                    let (l, e) = (
                        -probability(&ranking, mark.family).max(LEAST).log2(),
                        -posterior.of(mark.family).max(LEAST).log2(),
                    );
                    loss += l;
                    least += e;
                }
                if n == 0 {
                    continue;
                }
                let share = |k: usize| k as f64 / n as f64 * 100.0;
                let _ = writeln!(
                    out,
                    "  {:<18} {name:>6} {n:>6} {:>7.2}% {:>7.2}% {:>8.3} {:>8.3} {:>+8.3}",
                    kind.name(),
                    share(right),
                    share(exact),
                    loss / n as f64,
                    least / n as f64,
                    (loss - least) / n as f64
                );
            }
        }
    }

    /// Long marks that belong to one family: how often the first candidate is right, and besides likelier than none; slots of those.
    fn depth(&mut self, each: usize, out: &mut String) {
        let _ = writeln!(
            out,
            "\nMarks of 8 and more characters that one family explains\n  {:<18} {:>6} {:>8} {:>8} | other slots: {:>7} {:>7} {:>7} | the damaged slot: {:>7} {:>7} {:>7}",
            "damage",
            "cases",
            "first",
            "> none",
            "right",
            "open",
            "wrong",
            "right",
            "open",
            "wrong"
        );
        for kind in Kind::ALL.into_iter().chain(Kind::LINES) {
            let (mut n, mut right, mut leads) = (0, 0, 0);
            let (mut slots, mut slots_right, mut slots_open) = (0, 0, 0);
            let (mut hit, mut hit_right, mut hit_open, mut hit_wrong) = (0, 0, 0, 0);
            let mut tries = 0;
            while n < each && tries < each * 30 {
                tries += 1;
                let channel: Channel = CHANNELS[tries % CHANNELS.len()];
                let mark = self.law.member(None, &mut self.rng);
                if mark.length() < 8 {
                    continue;
                }
                let Some(whole) = reading(&text(&mark.lines)) else {
                    continue;
                };
                let glyphs: usize = whole.lines.iter().map(|line| line.marks.len()).sum();
                let explanations = self
                    .rules
                    .decoder()
                    .explain(&whole, day(), &mut self.scratch);
                let mut families: Vec<usize> = explanations
                    .iter()
                    .filter(|e| e.is_exact(glyphs))
                    .map(|e| e.family().index())
                    .collect();
                families.dedup();
                if families.len() != 1 {
                    continue;
                }
                let Some(damaged) = channel.apply(&mark, kind, &mut self.rng) else {
                    continue;
                };
                let Some(ranking) = self.rank(&damaged.text()) else {
                    continue;
                };
                n += 1;
                leads += usize::from(
                    ranking.candidates.first().map(|c| c.family.index()) == mark.family,
                );
                if first(&ranking) != mark.family {
                    continue;
                }
                right += 1;
                let truth = self.slots(&mark);
                let best = &ranking.candidates[0];
                for (name, code, cut) in truth {
                    let Some(span) = best.slots.iter().find(|span| span.name == name) else {
                        continue;
                    };
                    let bitten = damaged.place.is_some_and(|place| {
                        cut.contains(&place)
                            || matches!(kind, Kind::Swapped) && cut.contains(&(place + 1))
                    });
                    let open = best.fields.iter().any(|f| {
                        f.slot.as_deref() == Some(name.as_str()) && !f.alternatives.is_empty()
                    });
                    let same = span.code == code;
                    if bitten {
                        hit += 1;
                        hit_right += usize::from(same);
                        hit_open += usize::from(!same && (open || span.code.contains('_')));
                        hit_wrong += usize::from(!same && !open && !span.code.contains('_'));
                    } else {
                        slots += 1;
                        slots_right += usize::from(same);
                        slots_open += usize::from(!same && (open || span.code.contains('_')));
                    }
                }
            }
            let share = |k: usize, n: usize| k as f64 / n.max(1) as f64 * 100.0;
            let _ = writeln!(
                out,
                "  {:<18} {n:>6} {:>7.2}% {:>7.2}% |              {:>6.2}% {:>6.2}% {:>6.2}% |                   {:>6.2}% {:>6.2}% {:>6.2}%",
                kind.name(),
                share(leads, n),
                share(right, n),
                share(slots_right, slots),
                share(slots_open, slots),
                share(slots - slots_right - slots_open, slots),
                share(hit_right, hit),
                share(hit_open, hit),
                share(hit_wrong, hit)
            );
        }
    }

    /// Slots of a mark as printed: name, code, and which characters, if the mark is read in one way only.
    fn slots(&mut self, mark: &Mark) -> Vec<(String, String, Vec<usize>)> {
        let Some(reading) = reading(&text(&mark.lines)) else {
            return Vec::new();
        };
        let Some(family) = mark.family else {
            return Vec::new();
        };
        let decoder = self.rules.decoder().only(FamilyId::at(family));
        let ranking =
            etchlore_engine::rank::rank(&decoder, &reading, &self.context, &mut self.scratch);
        let Some(best) = ranking.candidates.first() else {
            return Vec::new();
        };
        // Places of characters by line and column, as damage counts them.
        let mut places = Vec::new();
        for (l, line) in reading.lines.iter().enumerate() {
            for m in &line.marks {
                let plain = line
                    .text
                    .chars()
                    .nth(m.span.0 as usize)
                    .is_some_and(|c| c.is_ascii_alphanumeric())
                    && m.span.1 == m.span.0 + 1;
                if plain {
                    places.push((l, m.span.0));
                }
            }
        }
        best.slots
            .iter()
            .map(|span| {
                let cut = places
                    .iter()
                    .enumerate()
                    .filter(|(_, (l, at))| {
                        *l == span.line && (span.span.0..span.span.1).contains(at)
                    })
                    .map(|(n, _)| n)
                    .collect();
                (span.name.clone(), span.code.clone(), cut)
            })
            .collect()
    }

    /// What the search for damage costs, beside the first pass.
    fn cost(&mut self, cases: usize, out: &mut String) {
        let mut first: Vec<f64> = Vec::with_capacity(cases);
        let mut deep: Vec<f64> = Vec::with_capacity(cases);
        let mut enough: Vec<f64> = Vec::with_capacity(cases);
        let mut stopped = 0;
        for case in 0..cases {
            let mark = if case % 4 == 3 {
                let kind = Junk::kind(&mut self.rng);
                self.junk.draw(kind, &mut self.rng)
            } else {
                self.law.member(None, &mut self.rng)
            };
            let mut damaged = CHANNELS[case % CHANNELS.len()].draw(&mark, &mut self.rng);
            // Every tenth has one of its first two characters unread.
            if case % 10 == 0
                && let Some(piece) = damaged.lines[0].get_mut(case / 10 % 2)
            {
                *piece = ("_".to_owned(), None);
            }
            let Some(reading) = reading(&damaged.text()) else {
                continue;
            };
            for (effort, times) in [
                (Effort::Quick, &mut first),
                (Effort::Deep, &mut deep),
                (Effort::Enough, &mut enough),
            ] {
                let decoder = self.rules.decoder().with(effort);
                let start = std::time::Instant::now();
                let ranking = etchlore_engine::rank::rank(
                    &decoder,
                    &reading,
                    &self.context,
                    &mut self.scratch,
                );
                times.push(start.elapsed().as_secs_f64() * 1e6);
                if effort == Effort::Deep && ranking.stopped.is_some() {
                    stopped += 1;
                }
            }
        }
        let at = |times: &mut Vec<f64>, share: f64| {
            times.sort_by(f64::total_cmp);
            times
                .get(((times.len() as f64 - 1.0) * share) as usize)
                .copied()
                .unwrap_or(0.0)
        };
        let median = at(&mut first, 0.5);
        let _ = writeln!(
            out,
            "\nCost of {cases} readings in microseconds ({stopped} deep searches stopped at their limit)"
        );
        let _ = writeln!(
            out,
            "  {:<22} {:>8} {:>8} {:>8} {:>8} {:>8} {:>14}",
            "search", "50 %", "90 %", "99 %", "99.9 %", "most", "99.9 % / first"
        );
        for (name, times) in [
            ("first pass", &mut first),
            ("as needed", &mut enough),
            ("deep", &mut deep),
        ] {
            let tail = at(times, 0.999);
            let _ = writeln!(
                out,
                "  {name:<22} {:>8.0} {:>8.0} {:>8.0} {tail:>8.0} {:>8.0} {:>14.1}",
                at(times, 0.5),
                at(times, 0.9),
                at(times, 0.99),
                at(times, 1.0),
                tail / median
            );
        }
    }

    /// Junk against members over thresholds.
    fn curve(&mut self, each: usize, out: &mut String) {
        let mut said: Vec<(String, Vec<f64>)> = Vec::new();
        let top = |ranking: &Ranking| ranking.candidates.first().map_or(0.0, |c| c.probability);
        for (kind, name) in JUNK.iter().enumerate() {
            let mut all = Vec::new();
            for n in 0..each {
                let mark = match kind {
                    0 if n >= self.junk.words.len() => break,
                    1 if n >= self.junk.strangers.len() => break,
                    0 => Mark {
                        family: None,
                        written: None,
                        lines: vec![vec![(self.junk.words[n].clone(), None)]],
                    },
                    1 => Mark {
                        family: None,
                        written: None,
                        lines: vec![vec![(self.junk.strangers[n].clone(), None)]],
                    },
                    _ => self.junk.draw(kind, &mut self.rng),
                };
                let notation = Notation {
                    plain: true,
                    ..Notation::default()
                };
                let Ok(reading) = Reading::parse(&text(&mark.lines), notation) else {
                    continue;
                };
                let ranking = self.rules.rank(&reading, &self.context, &mut self.scratch);
                all.push(top(&ranking));
            }
            said.push(((*name).to_owned(), all));
        }
        for (name, from, to) in [
            ("members 1-3", 1, 3),
            ("members 4-7", 4, 7),
            ("members 8-", 8, 999),
        ] {
            let mut all = Vec::new();
            let mut tries = 0;
            while all.len() < each && tries < each * 10 {
                tries += 1;
                let mark = self.law.member(None, &mut self.rng);
                let damaged = CHANNELS[tries % 4].draw(&mark, &mut self.rng);
                if (from..=to).contains(&mark.length())
                    && let Some(ranking) = self.rank(&damaged.text())
                {
                    all.push(probability(&ranking, mark.family));
                }
            }
            said.push((name.to_owned(), all));
        }
        let _ = writeln!(
            out,
            "\nShare answered with more than a threshold (members: by the right family)"
        );
        let _ = writeln!(
            out,
            "  {:<14} {:>6} {:>9} {:>9} {:>9} {:>9} {:>9}",
            "text", "cases", "0.1", "0.3", "0.5", "0.8", "0.95"
        );
        for (name, all) in said {
            let over = |limit: f64| {
                all.iter().filter(|p| **p > limit).count() as f64 / all.len().max(1) as f64 * 100.0
            };
            let _ = writeln!(
                out,
                "  {name:<14} {:>6} {:>8.2}% {:>8.2}% {:>8.2}% {:>8.2}% {:>8.2}%",
                all.len(),
                over(0.1),
                over(0.3),
                over(0.5),
                over(0.8),
                over(0.95)
            );
        }
    }
}
