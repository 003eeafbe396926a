//! Tables beyond one reading of one mark: several specimens, rules that are wrong, and what to look at next.

use std::collections::BTreeMap;
use std::fmt::Write;

use etchlore_engine::Rules;
use etchlore_engine::compile::Limits;
use etchlore_engine::decode::{Effort, Reading};
use etchlore_engine::glyph::Confusions;
use etchlore_engine::model::{CodeKind, RuleSet, Standing};
use etchlore_engine::rank::{Candidate, Cost, Ranking, rank_specimens};
use etchlore_engine::write::{Written, write};

use super::damage::text;
use super::sample::{Mark, Piece, pieces};
use super::tables::{Bench, first, probability, reading};

/// Puts so many unread characters into a mark.
fn unread(mark: &Mark, count: usize, rng: &mut fastrand::Rng) -> Vec<Vec<Piece>> {
    let mut lines = mark.lines.clone();
    let mut places = mark.places();
    for _ in 0..count.min(places.len()) {
        let (line, place) = places.swap_remove(rng.usize(..places.len()));
        lines[line][place] = ("_".to_owned(), None);
    }
    lines
}

/// Fields that are told right, told with too little certainty or not at all, and told wrong.
#[derive(Default)]
struct Told {
    right: usize,
    open: usize,
    wrong: usize,
}

impl Told {
    fn add(&mut self, truth: &BTreeMap<String, String>, candidate: Option<&Candidate>) {
        for (name, wanted) in truth {
            let said = candidate.and_then(|c| c.fields.iter().find(|field| field.name == *name));
            match said {
                Some(field)
                    if field.probability.is_some_and(|p| p < 0.95) || field.text.contains('_') =>
                {
                    self.open += 1;
                }
                Some(field) if field.text == *wanted => self.right += 1,
                Some(_) => self.wrong += 1,
                None => self.open += 1,
            }
        }
    }

    fn row(&self) -> String {
        let all = (self.right + self.open + self.wrong).max(1) as f64 / 100.0;
        format!(
            "{:>7.2}% {:>7.2}% {:>7.2}%",
            self.right as f64 / all,
            self.open as f64 / all,
            self.wrong as f64 / all
        )
    }
}

impl Bench<'_> {
    /// Three specimens, each with two other characters unread, together and the best of them alone.
    pub(crate) fn specimens(&mut self, cases: usize, out: &mut String) {
        let (mut n, mut tries) = (0, 0);
        let (mut joint_first, mut single_first) = (0, 0);
        let (mut joint_said, mut single_said) = (0.0, 0.0);
        let (mut joint_told, mut single_told) = (Told::default(), Told::default());
        while n < cases && tries < cases * 40 {
            tries += 1;
            let mark = self.law.member(None, &mut self.rng);
            if mark.length() < 6 {
                continue;
            }
            let Some(marks) = self.others(&mark) else {
                continue;
            };
            let truth = self.fields(&mark);
            let shared: BTreeMap<String, String> = truth
                .into_iter()
                .filter(|(name, wanted)| {
                    marks
                        .iter()
                        .all(|other| self.fields(other).get(name) == Some(wanted))
                })
                .collect();
            let readings: Vec<Reading> = marks
                .iter()
                .filter_map(|mark| reading(&text(&unread(mark, 2, &mut self.rng))))
                .collect();
            if readings.len() != 3 {
                continue;
            }
            n += 1;
            let decoder = self.rules.decoder();
            let all = rank_specimens(&decoder, &readings, &self.context, &mut self.scratch);
            joint_first += usize::from(first(&all.ranking) == mark.family);
            joint_said += probability(&all.ranking, mark.family);
            joint_told.add(&shared, own(&all.ranking, mark.family));
            let alone: Vec<Ranking> = readings
                .iter()
                .map(|reading| self.rules.rank(reading, &self.context, &mut self.scratch))
                .collect();
            // The best one, as one who has only the answers would choose it.
            let best = alone.iter().max_by(|a, b| {
                let top = |r: &Ranking| r.candidates.first().map_or(0.0, |c| c.probability);
                top(a).total_cmp(&top(b)).then(b.doubt.total_cmp(&a.doubt))
            });
            if let Some(best) = best {
                single_first += usize::from(first(best) == mark.family);
                single_said += probability(best, mark.family);
                single_told.add(&shared, own(best, mark.family));
            }
        }
        let share = |k: f64| k / n.max(1) as f64 * 100.0;
        let _ = writeln!(
            out,
            "\nThree specimens, each with two other characters unread, {n} parts\n  {:<22} {:>8} {:>8} | shared fields: {:>7} {:>8} {:>8}",
            "", "first", "said", "right", "open", "wrong"
        );
        for (name, first, said, told) in [
            ("together", joint_first, joint_said, &joint_told),
            (
                "the best one alone",
                single_first,
                single_said,
                &single_told,
            ),
        ] {
            let _ = writeln!(
                out,
                "  {name:<22} {:>7.2}% {:>7.2}% |               {}",
                share(first as f64),
                share(said),
                told.row()
            );
        }
    }

    /// The same part three times: what each has for itself drawn anew.
    fn others(&mut self, mark: &Mark) -> Option<Vec<Mark>> {
        let (index, written) = (mark.family?, mark.written.as_ref()?);
        let family = &self.rules.set().families[index];
        let mut own: Vec<bool> = family.slots.iter().map(|slot| slot.each).collect();
        for date in family
            .dates
            .iter()
            .filter(|d| d.of.as_deref() != Some("mask"))
        {
            for slot in &date.slots {
                own[slot.index()] = true;
            }
        }
        let mut marks = vec![mark.clone()];
        for _ in 0..200 {
            if marks.len() == 3 {
                break;
            }
            let other = self.law.member(Some(index), &mut self.rng).written?;
            let codes: Vec<_> = written
                .codes
                .iter()
                .zip(&other.codes)
                .zip(&own)
                .map(|((shared, free), own)| if *own { free } else { shared }.clone())
                .collect();
            let printed = |one: &Written| one.printed.clone();
            // The same optional parts as the first one has.
            for all in [true, false] {
                let Ok(again) = write(family, written.form, &codes, &mut || all) else {
                    continue;
                };
                if printed(&again) == printed(written) {
                    let lines = again.lines.iter().map(|line| pieces(line)).collect();
                    marks.push(Mark {
                        family: Some(index),
                        written: Some(again),
                        lines,
                    });
                    break;
                }
            }
        }
        (marks.len() == 3).then_some(marks)
    }

    /// Rules that are wrong in one entry of ten.
    pub(crate) fn standing(&mut self, cases: usize, out: &mut String) {
        let _ = writeln!(
            out,
            "\nOne entry of ten planted wrong: half in what it says, half in its code; marks of the true rules\n  {:<12} {:<22} {:>6} {:>10} | {:>7} {:>7} {:>7}",
            "standing", "rests on", "cases", "P(family)", "fields", "said", "right"
        );
        for standing in [Standing::Documented, Standing::Observed, Standing::Supposed] {
            let set = as_if(self.rules.set(), standing);
            let (planted, wrong) = plant(&set, &mut fastrand::Rng::with_seed(17));
            let (sound, planted) = (compile(set), compile(planted));
            let (Some(sound), Some(planted)) = (sound, planted) else {
                continue;
            };
            let mut rows: BTreeMap<&str, (usize, f64, usize, f64, usize)> = BTreeMap::new();
            let mut rng = fastrand::Rng::with_seed(23);
            let mut tries = 0;
            let (mut on, mut off) = (0, 0);
            while (on < cases || off < cases) && tries < cases * 60 {
                tries += 1;
                let mark = self.law.member(None, &mut rng);
                let (Some(family), Some(written)) = (mark.family, &mark.written) else {
                    continue;
                };
                let kind = written
                    .printed
                    .iter()
                    .find_map(|slot| {
                        wrong.get(&(family, slot.index(), written.codes[slot.index()].code.0))
                    })
                    .copied();
                let on_wrong = kind.is_some();
                if on_wrong && on >= cases || !on_wrong && off >= cases || mark.length() < 6 {
                    continue;
                }
                if on_wrong {
                    on += 1;
                } else {
                    off += 1;
                }
                let truth = self.fields(&mark);
                let Some(read) = reading(&text(&mark.lines)) else {
                    continue;
                };
                let mut measure = |rules: &Rules, name: &'static str| {
                    let ranking = rules.rank(&read, &self.context, &mut self.scratch);
                    let row = rows.entry(name).or_default();
                    row.0 += 1;
                    row.1 += probability(&ranking, mark.family);
                    let Some(candidate) = own(&ranking, mark.family) else {
                        return;
                    };
                    for field in candidate.fields.iter().filter(|f| !f.unknown) {
                        if let Some(wanted) = truth.get(&field.name)
                            && field.code.as_ref() != Some(&field.text)
                        {
                            row.2 += 1;
                            row.3 += field.probability.unwrap_or(1.0);
                            row.4 += usize::from(field.text == *wanted);
                        }
                    }
                };
                match kind {
                    Some(Wrong::Code) => {
                        measure(&sound, "a code, before");
                        measure(&planted, "a wrong code");
                    }
                    Some(Wrong::Value) => measure(&planted, "a wrong value"),
                    None => measure(&planted, "sound entries"),
                }
                if !matches!(kind, Some(Wrong::Code)) {
                    measure(&planted, "any values");
                }
            }
            for (name, (n, p, fields, said, right)) in rows {
                let of = |sum: f64, n: usize| sum / n.max(1) as f64 * 100.0;
                let _ = writeln!(
                    out,
                    "  {:<12} {name:<22} {n:>6} {:>9.2}% | {fields:>7} {:>6.2}% {:>6.2}%",
                    format!("{standing:?}").to_lowercase(),
                    of(p, n),
                    of(said, fields),
                    of(right as f64, fields)
                );
            }
        }
        self.side_by_side(out);
    }

    /// Ten marks under the same rules, documented and supposed.
    fn side_by_side(&mut self, out: &mut String) {
        let _ = writeln!(
            out,
            "\nThe same rules documented, observed and supposed, ten marks\n  {:<34} {:<18} {:>11} {:>11} {:>11}",
            "mark", "family", "documented", "observed", "supposed"
        );
        let sets: Vec<Rules> = [Standing::Documented, Standing::Observed, Standing::Supposed]
            .into_iter()
            .filter_map(|standing| compile(as_if(self.rules.set(), standing)))
            .collect();
        let mut rng = fastrand::Rng::with_seed(29);
        let mut shown = 0;
        for tries in 0..2_000 {
            if shown == 10 {
                break;
            }
            let mark = self.law.member(None, &mut rng);
            let lines = unread(&mark, tries % 4, &mut rng);
            let Some(read) = reading(&text(&lines)) else {
                continue;
            };
            let said: Vec<f64> = sets
                .iter()
                .map(|rules| {
                    let ranking = rules.rank(&read, &self.context, &mut self.scratch);
                    probability(&ranking, mark.family)
                })
                .collect();
            // Where there is something to tell apart.
            if said.first().is_none_or(|p| !(0.2..0.999).contains(p)) {
                continue;
            }
            shown += 1;
            let name = mark
                .family
                .map_or("", |family| self.rules.set().families[family].name.as_str());
            let _ = write!(out, "  {:<34} {name:<18}", text(&lines));
            for p in said {
                let _ = write!(out, " {:>10.2}%", p * 100.0);
            }
            out.push('\n');
        }
    }

    /// Whether what is proposed to look at is worth looking at: the expected doubt after each possible look at one character, reckoned
    /// by ranking every outcome anew.
    pub(crate) fn looks(&mut self, cases: usize, out: &mut String) {
        let (mut n, mut tries) = (0, 0);
        let (mut proposed, mut best, mut before) = (0.0, 0.0, 0.0);
        let (mut realized, mut good, mut rash) = (0.0, 0, 0);
        while n < cases && tries < cases * 60 {
            tries += 1;
            let mark = self.law.member(None, &mut self.rng);
            if mark.length() < 4 {
                continue;
            }
            let lines = unread(&mark, 1 + tries % 3, &mut self.rng);
            let shown: Vec<String> = lines
                .iter()
                .map(|line| line.iter().map(|piece| piece.0.as_str()).collect())
                .collect();
            let Some(ranking) = self.quick(&shown) else {
                continue;
            };
            if ranking.doubt < 0.5 {
                continue;
            }
            let cheap = ranking
                .next_look
                .iter()
                .filter(|look| look.cost != Cost::Destructive)
                .map(|look| look.bits)
                .fold(0.0, f64::max);
            let opens = ranking
                .next_look
                .iter()
                .any(|l| l.cost == Cost::Destructive);
            rash += usize::from(opens && cheap > ranking.doubt - 0.3);
            let Some(look) = ranking.next_look.iter().find(|look| look.at.is_some()) else {
                continue;
            };
            n += 1;
            let mut chosen = 0.0;
            let mut most: f64 = 0.0;
            for (line, line_pieces) in lines.iter().enumerate() {
                let mut at = 0;
                for (place, (piece, _)) in line_pieces.iter().enumerate() {
                    let glyphs = piece.chars().count() as u32;
                    let open = piece == "_" || piece.chars().all(|c| c.is_ascii_alphanumeric());
                    if open && glyphs == 1 {
                        let gain = ranking.doubt - self.expected(&lines, line, place);
                        most = most.max(gain);
                        if look.at == Some((line, at)) {
                            chosen = gain;
                            let truth = &mark.lines[line][place].0;
                            let mut seen = lines.clone();
                            seen[line][place].0 = format!("{{{truth}}}");
                            realized += ranking.doubt - self.doubt(&seen).unwrap_or(ranking.doubt);
                        }
                    }
                    at += glyphs;
                }
            }
            before += ranking.doubt;
            proposed += chosen;
            best += most;
            good += usize::from(chosen >= 0.95 * most);
        }
        let of = |sum: f64| sum / n.max(1) as f64;
        let _ = writeln!(
            out,
            "\nWhat to look at next, {n} ambiguous marks, every outcome ranked anew\n  doubt before {:.3} bit, lowered by the look proposed {:.3} (when made: {:.3}), by the best look at a character {:.3}: {:.1} %\n  {} of {n} proposals reach 95 % of the best; {rash} propose to open the part where a cheap look suffices",
            of(before),
            of(proposed),
            of(realized),
            of(best),
            proposed / best.max(1e-9) * 100.0,
            good
        );
    }

    fn quick(&mut self, lines: &[String]) -> Option<Ranking> {
        let reading = reading(&lines.join(" | "))?;
        let decoder = self.rules.decoder().with(Effort::Quick);
        Some(etchlore_engine::rank::rank(
            &decoder,
            &reading,
            &self.context,
            &mut self.scratch,
        ))
    }

    fn doubt(&mut self, lines: &[Vec<Piece>]) -> Option<f64> {
        Some(self.outcome(lines)?.1)
    }

    /// log2 of the probability of a reading, and the doubt that it leaves.
    fn outcome(&mut self, lines: &[Vec<Piece>]) -> Option<(f64, f64)> {
        let shown: Vec<String> = lines
            .iter()
            .map(|line| line.iter().map(|piece| piece.0.as_str()).collect())
            .collect();
        let ranking = self.quick(&shown)?;
        Some((ranking.text_bits - ranking.none.log2(), ranking.doubt))
    }

    /// Expected doubt once the character at a place is known for certain.
    fn expected(&mut self, lines: &[Vec<Piece>], line: usize, place: usize) -> f64 {
        let mut outcomes = Vec::new();
        let alike = Confusions::default();
        for c in ('0'..='9').chain('A'..='Z') {
            let mut seen = lines.to_vec();
            seen[line][place].0 = format!("{{{c}}}");
            // What was read makes what looks like it likelier.
            let read = &lines[line][place].0;
            let channel = match read.chars().next().map(|r| r.to_ascii_uppercase()) {
                Some(r) if read != "_" && r == c => alike.right(c).log2(),
                Some(r) if read != "_" => alike.any(c, r).log2(),
                _ => 0.0,
            };
            if let Some((bits, doubt)) = self.outcome(&seen) {
                outcomes.push((bits + channel, doubt));
            }
        }
        let top = outcomes
            .iter()
            .map(|o| o.0)
            .fold(f64::NEG_INFINITY, f64::max);
        let sum: f64 = outcomes.iter().map(|(bits, _)| (bits - top).exp2()).sum();
        outcomes
            .iter()
            .map(|(bits, doubt)| (bits - top).exp2() / sum * doubt)
            .sum()
    }
}

/// The candidate of a family.
fn own(ranking: &Ranking, family: Option<usize>) -> Option<&Candidate> {
    ranking
        .candidates
        .iter()
        .find(|candidate| Some(candidate.family.index()) == family)
}

/// The same rules, every statement of one standing.
fn as_if(set: &RuleSet, standing: Standing) -> RuleSet {
    let mut set = set.clone();
    for family in set.families.iter_mut() {
        family.provenance.standing = Some(standing);
        for code in family.slots.iter_mut().flat_map(|slot| &mut slot.codes) {
            code.provenance.standing = None;
        }
    }
    set
}

/// What was made wrong.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Wrong {
    Value,
    Code,
}

/// One listed entry of ten made wrong, with which: family, slot, code.
fn plant(
    set: &RuleSet,
    rng: &mut fastrand::Rng,
) -> (
    RuleSet,
    std::collections::HashMap<(usize, usize, u32), Wrong>,
) {
    let mut planted = set.clone();
    let mut wrong = std::collections::HashMap::new();
    for (f, family) in planted.families.iter_mut().enumerate() {
        let dated: Vec<usize> = family
            .dates
            .iter()
            .flat_map(|date| date.slots.iter().map(|slot| slot.index()))
            .collect();
        for (s, slot) in family.slots.iter_mut().enumerate() {
            if slot.literal || dated.contains(&s) || slot.codes.len() < 3 {
                continue;
            }
            let before = slot.codes.clone();
            for (c, code) in (0_u32..).zip(slot.codes.iter_mut()) {
                if rng.f64() >= 0.1 {
                    continue;
                }
                let CodeKind::Listed(spelling) = &mut code.kind else {
                    continue;
                };
                if rng.bool() {
                    let other = &before[rng.usize(..before.len())];
                    if !code.fields.is_empty() && other.fields != code.fields {
                        code.fields = other.fields.clone();
                        wrong.insert((f, s, c), Wrong::Value);
                    }
                } else if let Some(glyph) = spelling.glyphs.last_mut() {
                    let new = char::from_digit(rng.u32(10..36), 36).unwrap_or('q');
                    *glyph = etchlore_engine::glyph::Glyph::Char(new.to_ascii_uppercase());
                    wrong.insert((f, s, c), Wrong::Code);
                }
            }
        }
    }
    (planted, wrong)
}

fn compile(set: RuleSet) -> Option<Rules> {
    Rules::compile(set, &Confusions::default(), &Limits::default()).ok()
}
