//! Many marks, each ranked once: what coverage and changes are made of.

use std::collections::HashMap;
use std::sync::atomic::{AtomicUsize, Ordering};

use crate::Rules;
use crate::decode::{Effort, Notation, Reading, Scratch};
use crate::rank::{Context, Ranking, Wanted, rank, rank_in_short};

/// The first candidate counts as the answer from this probability on.
pub const DECODED: f64 = 0.8;
/// `none` counts as the answer from this probability on.
pub const UNDECODED: f64 = 0.5;

/// Marks that a thread takes at a time.
const AT_A_TIME: usize = 64;

/// What an answer amounts to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Status {
    /// The first candidate is likely enough.
    Decoded,
    /// No rule knows it.
    None,
    /// Something between.
    Ambiguous,
    /// It is no reading.
    Unreadable,
}

impl Status {
    /// The status of an answer; `None` for a mark that is no reading.
    #[must_use]
    pub fn of(ranking: Option<&Ranking>) -> Status {
        let Some(ranking) = ranking else {
            return Status::Unreadable;
        };
        let first = ranking.candidates.first().map_or(0.0, |c| c.probability);
        if first >= DECODED {
            Status::Decoded
        } else if ranking.none >= UNDECODED || ranking.candidates.is_empty() {
            Status::None
        } else {
            Status::Ambiguous
        }
    }
}

/// The marks of a corpus, equal ones once, in the order in which they are first met.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Corpus {
    /// Each mark with how often it stands there.
    pub marks: Vec<(String, usize)>,
}

impl Corpus {
    /// Gathers marks; empty ones are left out.
    pub fn of<S: AsRef<str>>(marks: impl IntoIterator<Item = S>) -> Corpus {
        Corpus::counted(marks.into_iter().map(|mark| (mark, 1)))
    }

    /// Gathers marks that each come with how often they were met.
    pub fn counted<S: AsRef<str>>(marks: impl IntoIterator<Item = (S, usize)>) -> Corpus {
        let mut corpus = Corpus::default();
        let mut known: HashMap<String, usize> = HashMap::new();
        for (mark, times) in marks {
            let mark = mark.as_ref().trim();
            if mark.is_empty() {
                continue;
            }
            match known.get(mark) {
                Some(at) => corpus.marks[*at].1 += times,
                None => {
                    known.insert(mark.to_owned(), corpus.marks.len());
                    corpus.marks.push((mark.to_owned(), times));
                }
            }
        }
        corpus
    }

    /// Asks something of every mark, on several threads; the answers are in the order of the marks.
    pub(super) fn ask<T: Send>(
        &self,
        jobs: usize,
        ask: impl Fn(&str, &mut Scratch) -> T + Sync,
    ) -> Vec<T> {
        // Marks that are dear to answer stand together in a list, so a worker takes a few at a time.
        let next = AtomicUsize::new(0);
        let worker = || {
            let mut scratch = Scratch::default();
            let mut answers: Vec<(usize, Vec<T>)> = Vec::new();
            loop {
                let start = next.fetch_add(AT_A_TIME, Ordering::Relaxed);
                let Some(marks) = self.marks.get(start..) else {
                    return answers;
                };
                let some = marks.iter().take(AT_A_TIME);
                let some: Vec<T> = some.map(|(mark, _)| ask(mark, &mut scratch)).collect();
                if some.is_empty() {
                    return answers;
                }
                answers.push((start, some));
            }
        };
        let mut answers: Vec<(usize, Vec<T>)> = std::thread::scope(|scope| {
            let workers: Vec<_> = (0..jobs.max(1)).map(|_| scope.spawn(worker)).collect();
            workers
                .into_iter()
                .flat_map(|worker| match worker.join() {
                    Ok(answers) => answers,
                    Err(panic) => std::panic::resume_unwind(panic),
                })
                .collect()
        });
        answers.sort_unstable_by_key(|(start, _)| *start);
        answers.into_iter().flat_map(|(_, some)| some).collect()
    }
}

/// A mark as the cell of a table is read.
pub(super) fn reading(mark: &str) -> Option<Reading> {
    let notation = Notation {
        table: true,
        ..Notation::default()
    };
    if mark.contains(['\n', '\r']) {
        // The lines of one package in one cell.
        let lines = mark.split(['\n', '\r']).map(str::trim);
        let lines: Vec<&str> = lines.filter(|line| !line.is_empty()).collect();
        return Reading::of_lines(&lines, notation).ok();
    }
    Reading::parse(mark, notation).ok()
}

/// The answer to a mark.
pub(super) fn answer(
    rules: &Rules,
    mark: &str,
    effort: Effort,
    context: &Context,
    scratch: &mut Scratch,
) -> Option<Ranking> {
    let decoder = rules.decoder().with(effort);
    Some(rank(&decoder, &reading(mark)?, context, scratch))
}

/// The answer to a mark in short: who it is and how surely, without a word of why.
pub(super) fn in_short(
    rules: &Rules,
    mark: &str,
    effort: Effort,
    context: &Context,
    scratch: &mut Scratch,
) -> Option<Ranking> {
    let decoder = rules.decoder().with(effort);
    let wanted = Wanted::some([]);
    let reading = reading(mark)?;
    Some(rank_in_short(&decoder, &reading, context, &wanted, scratch))
}
