//! Many marks, each ranked once: what coverage and changes are made of.

use std::collections::HashMap;

use crate::Rules;
use crate::decode::{Notation, Reading, Scratch};
use crate::rank::{Context, Ranking, rank};

/// The first candidate counts as the answer from this probability on.
pub const DECODED: f64 = 0.8;
/// `none` counts as the answer from this probability on.
pub const UNDECODED: f64 = 0.5;

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
        let mut corpus = Corpus::default();
        let mut known: HashMap<String, usize> = HashMap::new();
        for mark in marks {
            let mark = mark.as_ref().trim();
            if mark.is_empty() {
                continue;
            }
            match known.get(mark) {
                Some(at) => corpus.marks[*at].1 += 1,
                None => {
                    known.insert(mark.to_owned(), corpus.marks.len());
                    corpus.marks.push((mark.to_owned(), 1));
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
        let share = self.marks.len().div_ceil(jobs.max(1)).max(1);
        std::thread::scope(|scope| {
            let workers: Vec<_> = self
                .marks
                .chunks(share)
                .map(|marks| {
                    let ask = &ask;
                    scope.spawn(move || {
                        let mut scratch = Scratch::default();
                        marks
                            .iter()
                            .map(|(mark, _)| ask(mark, &mut scratch))
                            .collect::<Vec<T>>()
                    })
                })
                .collect();
            workers
                .into_iter()
                .flat_map(|worker| match worker.join() {
                    Ok(answers) => answers,
                    Err(panic) => std::panic::resume_unwind(panic),
                })
                .collect()
        })
    }
}

/// A mark as the cell of a table is read.
pub(super) fn reading(mark: &str) -> Option<Reading> {
    let notation = Notation {
        table: true,
        ..Notation::default()
    };
    Reading::parse(mark, notation).ok()
}

/// The answer to a mark.
pub(super) fn answer(
    rules: &Rules,
    mark: &str,
    context: &Context,
    scratch: &mut Scratch,
) -> Option<Ranking> {
    Some(rank(&rules.decoder(), &reading(mark)?, context, scratch))
}
