//! What each part of a board is, in two passes: alone, then with what the others say.

use std::sync::atomic::{AtomicUsize, Ordering};

use jiff::civil::Date;
use rustc_hash::FxHashMap;

use super::around::{Around, Voice, around, with};
use super::dies::{DieFit, fit};
use super::findings::{Finding, findings};
use super::{Board, Grade, Part, Sighting};
use crate::decode::{Decoder, MAX_LINES, Notation, Reading, Scratch};
use crate::model::{FamilyId, MakerId, RuleSet};
use crate::rank::{
    Candidate, Context, FieldAnswer, MAX_SPECIMENS, Ranking, Specimen, rank, rank_specimens,
};
use crate::value::{Interval, Value};

/// From this probability on a part counts as identified: the same as for a row of a list.
pub(super) const IDENTIFIED: f64 = 0.8;
/// From this probability on the others cannot turn an answer: what they say is worth some bits.
const SETTLED: f64 = 0.9999;
/// Share of other values below which a field is settled.
const SETTLED_FIELD: f64 = 1e-4;
/// From this probability of none on it counts as unknown.
const UNKNOWN: f64 = 0.5;

/// All parts of a board, what does not fit, and what is still open.
#[derive(Debug, Clone)]
pub struct Account {
    /// In the order of the board.
    pub parts: Vec<PartAccount>,
    /// What does not fit, or fits in a way worth knowing; the weightiest first.
    pub findings: Vec<Finding>,
}

/// What a part is.
#[derive(Debug, Clone)]
pub struct PartAccount {
    /// The lines of all readings of the package, as `ranking` counts them; absent where there is none.
    pub reading: Option<Reading>,
    /// What they can be, with what the others say.
    pub ranking: Ranking,
    /// By reading taken, what is its own: date, lot, serial; with the place of the reading in the part.
    pub own: Vec<(usize, Specimen)>,
    /// What the same package is as well, by lines that the first identity leaves over: a number of whoever had it made.
    pub also: Vec<Also>,
    /// Dies read.
    pub dies: Vec<DieAccount>,
    /// What the ordering code that the analyst decided on says.
    pub decided: Option<Ranking>,
    /// How far it is known.
    pub state: State,
    /// What the other parts said of it.
    pub around: Around,
    /// First family and its probability before the others were heard.
    pub alone: Option<(FamilyId, f64)>,
}

/// Another identity on the same package.
#[derive(Debug, Clone)]
pub struct Also {
    /// The lines that it was read from, with their places in the part's reading.
    pub lines: Vec<usize>,
    /// What they can be.
    pub ranking: Ranking,
}

/// A die that was read.
#[derive(Debug, Clone)]
pub struct DieAccount {
    /// Which die, from 1.
    pub number: u32,
    /// What was read.
    pub reading: Reading,
    /// What it can be.
    pub ranking: Ranking,
    /// How it fits the package.
    pub fit: DieFit,
}

/// How far a part is known.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum State {
    /// Decided by the analyst, confirmed or probable.
    Decided,
    /// One identity leads clearly.
    Identified,
    /// Several are possible.
    Ambiguous,
    /// No rule explains what was read.
    Unknown,
    /// Nothing was read.
    Unread,
}

impl State {
    /// The word of the state.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            State::Decided => "decided",
            State::Identified => "identified",
            State::Ambiguous => "ambiguous",
            State::Unknown => "unknown",
            State::Unread => "unread",
        }
    }
}

impl PartAccount {
    /// The identity that leads, or was decided on; none where no rule explains the part.
    #[must_use]
    pub fn lead(&self) -> Option<&Candidate> {
        let decided = self.decided.as_ref().and_then(|ranking| leading(ranking));
        decided.or_else(|| leading(&self.ranking))
    }

    /// The identity, where it is known well enough to count with.
    #[must_use]
    pub fn identity(&self) -> Option<&Candidate> {
        self.lead()
            .filter(|_| matches!(self.state, State::Decided | State::Identified))
    }

    /// The answer for a field of the identity.
    #[must_use]
    pub fn field(&self, name: &str) -> Option<&FieldAnswer> {
        field(self.lead()?, name)
    }

    /// The value of a field, where it is known well enough to count with.
    #[must_use]
    pub fn value(&self, name: &str) -> Option<&Value> {
        value(self.identity()?, name)
    }

    /// Who really made it, behind a house number.
    #[must_use]
    pub fn true_maker(&self, set: &RuleSet, lead: &Candidate) -> Option<MakerId> {
        set.families[true_family(lead).index()].maker
    }

    /// Its date, if one interval has at least this probability.
    pub(super) fn sure_date(&self, least: f64) -> Option<Interval> {
        let lead = self.lead()?;
        dates(lead.fields.iter())
            .chain(
                self.own
                    .iter()
                    .flat_map(|(_, one)| dates(one.fields.iter())),
            )
            .find(|(_, p)| *p >= least)
            .map(|(interval, _)| interval)
    }

    /// The dates of its specimens, as far as one interval leads, each with the place of its reading in the part.
    #[must_use]
    pub fn dates(&self) -> Vec<(usize, Interval)> {
        let Some(lead) = leading(&self.ranking) else {
            return Vec::new();
        };
        let mut found: Vec<(usize, Interval)> = Vec::new();
        for (at, one) in &self.own {
            let mut own = dates(one.fields.iter());
            found.extend(own.next().map(|(interval, _)| (*at, interval)));
        }
        if found.is_empty() {
            found.extend(dates(lead.fields.iter()).next().map(|(i, _)| (0, i)));
        }
        found
    }
}

/// The family meant: what a house number or short code stands for.
#[must_use]
pub(super) fn true_family(lead: &Candidate) -> FamilyId {
    lead.relations
        .stands_for
        .as_ref()
        .map_or(lead.family, |stands| stands.family)
}

pub(super) fn leading(ranking: &Ranking) -> Option<&Candidate> {
    ranking
        .candidates
        .first()
        .filter(|lead| lead.probability >= ranking.none)
}

pub(super) fn field<'c>(candidate: &'c Candidate, name: &str) -> Option<&'c FieldAnswer> {
    candidate.fields.iter().find(|field| field.name == name)
}

pub(super) fn value<'c>(candidate: &'c Candidate, name: &str) -> Option<&'c Value> {
    field(candidate, name)?.value.as_ref()
}

/// The package date among some fields; not that of a mask, which is the die's.
fn dates<'f>(
    fields: impl Iterator<Item = &'f FieldAnswer> + Clone,
) -> impl Iterator<Item = (Interval, f64)> {
    let of_mask = fields
        .clone()
        .any(|field| field.name == "date_of" && field.text == "mask");
    fields
        .filter(move |field| field.name == "date" && !of_mask)
        .filter_map(|field| match field.value {
            Some(Value::Dates(interval)) => Some((interval, field.probability.unwrap_or(1.0))),
            _ => None,
        })
}

/// Ranks all parts of a board on `jobs` threads, and holds them against each other.
#[must_use]
pub fn account(decoder: &Decoder<'_>, board: &Board, jobs: usize) -> Account {
    let set = decoder.rules;
    let own: Vec<Context> = board
        .parts
        .iter()
        .map(|part| context(board, part))
        .collect();
    let mut parts = each_alike(
        jobs,
        |at| Some(key(&board.parts[at], &own[at])),
        board.parts.len(),
        |at, scratch| part_account(decoder, &board.parts[at], &own[at], scratch),
    )
    .into_iter()
    .flatten()
    .collect::<Vec<PartAccount>>();
    let voices: Vec<Voice> = parts.iter().map(|part| Voice::of(set, part)).collect();
    let heard: Vec<Around> = (0..parts.len())
        .map(|at| around(board, &voices, at))
        .collect();
    let with: Vec<Context> = own
        .iter()
        .zip(&heard)
        .map(|(own, heard)| with(set, board, own, heard))
        .collect();
    let again = each_alike(
        jobs,
        |at| {
            can_move(set, &parts[at], &own[at], &with[at]).then(|| key(&board.parts[at], &with[at]))
        },
        parts.len(),
        |at, scratch| part_account(decoder, &board.parts[at], &with[at], scratch),
    );
    for ((part, again), heard) in parts.iter_mut().zip(again).zip(heard) {
        let alone = part
            .ranking
            .candidates
            .first()
            .map(|first| (first.family, first.probability));
        if let Some(again) = again {
            *part = again;
            part.around = heard;
        }
        part.alone = alone;
    }
    for (part, known) in board.parts.iter().zip(&mut parts) {
        known.dies = dies(decoder, part, known, &context(board, part));
        known.state = state(part, known);
    }
    let mut account = Account {
        parts,
        findings: Vec::new(),
    };
    account.findings = findings(decoder, board, &account);
    account
}

/// Whether what the others say can change the answer for a part: it has candidates of their makers or with dates, and is not settled.
fn can_move(set: &RuleSet, part: &PartAccount, own: &Context, with: &Context) -> bool {
    let ranking = &part.ranking;
    let settled = ranking.candidates.first().is_some_and(|first| {
        let mut fields = first.fields.iter();
        let open = fields.any(|field| {
            let others = field.alternatives.iter().map(|other| other.probability);
            others.sum::<f64>() > SETTLED_FIELD
        });
        first.probability > SETTLED && !open
    });
    // A second identity hears the others as well.
    if settled && ranking.unexplained.is_empty() {
        return false;
    }
    let dated = |candidate: &Candidate| candidate.fields.iter().any(|f| f.name == "date");
    let of_maker = |candidate: &Candidate| {
        let maker = set.families[candidate.family.index()].maker;
        maker.is_some_and(|maker| with.around.iter().any(|(other, _)| *other == maker))
    };
    part.reading.is_some()
        && ranking
            .candidates
            .iter()
            .any(|candidate| of_maker(candidate) || dated(candidate) && own.made != with.made)
}

/// What two parts must share to get one answer: what was read, what is known beside it, what was decided.
fn key(part: &Part, context: &Context) -> String {
    let readings = part.readings.iter().map(|one| {
        let lines = one.reading.lines.iter().map(|line| line.text.as_str());
        let lines: Vec<&str> = lines.collect();
        (one.reading.form, one.specimen, one.die, lines)
    });
    let decision = part.decision.as_ref().map(|d| (&d.is, &d.family, d.grade));
    format!("{:?}", (readings.collect::<Vec<_>>(), context, decision))
}

/// Asks something of each of `count` parts on several threads, once of those with the same key and not of those without; the answers are
/// in order.
fn each_alike<T: Send + Sync + Clone>(
    jobs: usize,
    key: impl Fn(usize) -> Option<String>,
    count: usize,
    ask: impl Fn(usize, &mut Scratch) -> T + Sync,
) -> Vec<Option<T>> {
    let mut numbers: FxHashMap<String, usize> = FxHashMap::default();
    let mut asked: Vec<usize> = Vec::new();
    let number_of: Vec<Option<usize>> = (0..count)
        .map(|at| {
            let number = numbers.entry(key(at)?).or_insert_with(|| {
                asked.push(at);
                asked.len() - 1
            });
            Some(*number)
        })
        .collect();
    let next = AtomicUsize::new(0);
    let run = || {
        let mut scratch = Scratch::default();
        let mut done = Vec::new();
        loop {
            let number = next.fetch_add(1, Ordering::Relaxed);
            let Some(at) = asked.get(number) else {
                return done;
            };
            done.push((number, ask(*at, &mut scratch)));
        }
    };
    let mut all: Vec<(usize, T)> = std::thread::scope(|scope| {
        let threads: Vec<_> = (1..jobs.clamp(1, asked.len().max(1)))
            .map(|_| scope.spawn(run))
            .collect();
        let mut all = run();
        for thread in threads {
            match thread.join() {
                Ok(done) => all.extend(done),
                Err(panic) => std::panic::resume_unwind(panic),
            }
        }
        all
    });
    all.sort_by_key(|(number, _)| *number);
    number_of
        .into_iter()
        .map(|number| Some(all.get(number?)?.1.clone()))
        .collect()
}

/// What is known of a part beside its readings.
fn context(board: &Board, part: &Part) -> Context {
    Context {
        maker: part.maker.clone(),
        logo: part.logo.clone(),
        function: part.function.clone(),
        package: part.package.clone(),
        pins: part.pins,
        ..Context::on(board.seen)
    }
}

/// The readings of the package that are ranked together, with their places in the part: of each specimen and form the first.
pub(super) fn taken(part: &Part) -> Vec<(usize, &Sighting)> {
    let mut taken: Vec<(usize, &Sighting)> = Vec::new();
    for (at, one) in part.readings.iter().enumerate() {
        let again = taken.iter().any(|(_, known)| {
            known.specimen == one.specimen && known.reading.form == one.reading.form
        });
        if one.die == 0 && !again && taken.len() < MAX_SPECIMENS {
            taken.push((at, one));
        }
    }
    taken
}

fn part_account(
    decoder: &Decoder<'_>,
    part: &Part,
    context: &Context,
    scratch: &mut Scratch,
) -> PartAccount {
    let taken = taken(part);
    let (reading, ranking, own) = match taken.as_slice() {
        [] => (None, Ranking::default(), Vec::new()),
        [(_, one)] => {
            let ranking = rank(decoder, &one.reading, context, scratch);
            (Some(one.reading.clone()), ranking, Vec::new())
        }
        several => {
            let readings: Vec<Reading> =
                several.iter().map(|(_, one)| one.reading.clone()).collect();
            let all = rank_specimens(decoder, &readings, context, scratch);
            let own = several.iter().map(|(at, _)| *at).zip(all.each).collect();
            (Some(all.reading), all.ranking, own)
        }
    };
    let also = match &reading {
        Some(reading) if taken.len() == 1 => also(decoder, reading, &ranking, context, scratch),
        _ => Vec::new(),
    };
    let decided = part
        .decision
        .as_ref()
        .filter(|decision| matches!(decision.grade, Grade::Confirmed | Grade::Probable))
        .and_then(|decision| decided(decoder, decision, context.seen, scratch));
    PartAccount {
        reading,
        ranking,
        own,
        also,
        dies: Vec::new(),
        decided,
        state: State::Unread,
        around: Around::default(),
        alone: None,
    }
}

/// What whole lines that the first identity leaves over say of themselves.
fn also(
    decoder: &Decoder<'_>,
    reading: &Reading,
    ranking: &Ranking,
    context: &Context,
    scratch: &mut Scratch,
) -> Vec<Also> {
    let Some(lead) = leading(ranking) else {
        return Vec::new();
    };
    let mut found = Vec::new();
    for (at, line) in reading.lines.iter().enumerate() {
        let whole = ranking.unexplained.iter().any(|piece| {
            piece.line == at && piece.text.trim() == line.text.trim() && !piece.text.is_empty()
        });
        if !whole {
            continue;
        }
        // A number of whoever had it made can stand in any place, and what is known of the package was said of the first identity.
        let alone = Reading {
            lines: vec![line.clone()],
            form: None,
        };
        let beside = Context {
            around: context.around.clone(),
            ..Context::on(context.seen)
        };
        let ranking = rank(decoder, &alone, &beside, scratch);
        let known = leading(&ranking)
            .is_some_and(|other| other.probability >= IDENTIFIED && other.family != lead.family);
        if known {
            found.push(Also {
                lines: vec![at],
                ranking,
            });
        }
    }
    found
}

/// What the code decided on says, within its family if that was decided too.
fn decided(
    decoder: &Decoder<'_>,
    decision: &super::Decision,
    seen: Date,
    scratch: &mut Scratch,
) -> Option<Ranking> {
    let reading = Reading::parse(decision.is.as_deref()?, Notation::default()).ok()?;
    let family = decision.family.as_ref().and_then(|name| {
        let at = decoder.rules.families.iter().position(|f| f.name == *name);
        at.map(FamilyId::at)
    });
    let decoder = match family {
        Some(family) => decoder.only(family),
        None => *decoder,
    };
    let ranking = rank(&decoder, &reading, &Context::on(seen), scratch);
    leading(&ranking).is_some().then_some(ranking)
}

fn dies(
    decoder: &Decoder<'_>,
    part: &Part,
    known: &PartAccount,
    context: &Context,
) -> Vec<DieAccount> {
    let mut scratch = Scratch::default();
    let mut found: Vec<DieAccount> = Vec::new();
    for one in part.readings.iter().filter(|one| one.die > 0) {
        if found.iter().any(|die| die.number == one.die) || one.reading.lines.len() > MAX_LINES {
            continue;
        }
        let context = Context::on(context.seen);
        let ranking = rank(decoder, &one.reading, &context, &mut scratch);
        let fit = fit(decoder.rules, known, &ranking);
        found.push(DieAccount {
            number: one.die,
            reading: one.reading.clone(),
            ranking,
            fit,
        });
    }
    found
}

fn state(part: &Part, known: &PartAccount) -> State {
    if known.decided.is_some() {
        return State::Decided;
    }
    if known.reading.is_none() {
        let decided = part
            .decision
            .as_ref()
            .is_some_and(|decision| decision.grade == Grade::Confirmed);
        return if decided {
            State::Decided
        } else {
            State::Unread
        };
    }
    match known.ranking.candidates.first() {
        Some(first) if first.probability >= IDENTIFIED => State::Identified,
        _ if known.ranking.none >= UNKNOWN => State::Unknown,
        _ => State::Ambiguous,
    }
}
