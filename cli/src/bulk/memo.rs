//! Answers to marks that were met before, in bounded memory, shared between threads.
//!
//! Keeping an answer costs about as much as copying its row. So where marks hardly repeat and answers are cheap, a mark is kept only when it
//! is met for the second time, as far as a small table of fingerprints remembers.

use std::hash::BuildHasher;
use std::sync::Arc;
use std::time::{Duration, Instant};

use quick_cache::Weighter;
use quick_cache::sync::Cache;
use rustc_hash::FxBuildHasher;

use super::answer::{Answer, Own};

/// How many bytes of answers are kept, about.
const BYTES: u64 = 40 << 20;
/// What an entry takes beside its texts, by what a full memo was measured to take: the cache's own, the allocator's, what it keeps of those that left.
const ENTRY: u64 = 400;
/// About what one answer takes.
const TYPICAL: u64 = 480;

#[derive(Clone)]
struct Bytes;

impl Weighter<Box<str>, Arc<Answer>> for Bytes {
    fn weight(&self, mark: &Box<str>, answer: &Arc<Answer>) -> u64 {
        let cells: usize = answer
            .cells
            .iter()
            .map(|cell| match cell {
                Own::Text(text) => 24 + text.len(),
                _ => 24,
            })
            .sum();
        let candidates: usize = answer.candidates.iter().map(|row| 16 + row.len()).sum();
        (mark.len() + answer.text.len() + cells + candidates) as u64 + ENTRY
    }
}

/// After so many marks a thread looks whether keeping pays.
const WINDOW: u32 = 4_096;
/// It does where one mark in so many was known.
const PAYS: u32 = 50;
/// An answer that takes longer is kept in any case.
const CHEAP: Duration = Duration::from_micros(2);
/// One in so many is timed.
const TIMED: u32 = 64;
/// Fingerprints that a thread remembers.
const PRINTS: usize = 1 << 16;

/// The answers kept.
pub(crate) struct Memo {
    cache: Cache<Box<str>, Arc<Answer>, Bytes>,
}

/// What a thread knows of the marks that it met.
#[derive(Default)]
pub(crate) struct Habit {
    looked: u32,
    known: u32,
    /// Answers timed since the last look, and what they took.
    timed: (u32, Duration),
    /// Fingerprints of marks met once; empty where all are kept.
    prints: Vec<u32>,
}

impl Habit {
    /// Whether a mark is worth a look: all are, unless marks hardly repeat and this one was not met before.
    fn worth(&mut self, mark: &str) -> bool {
        if self.looked == WINDOW {
            let (timed, took) = std::mem::take(&mut self.timed);
            let pays = self.known * PAYS >= self.looked || took > CHEAP * timed;
            if pays {
                self.prints = Vec::new();
            } else if self.prints.is_empty() {
                self.prints = vec![0; PRINTS];
            }
            (self.looked, self.known) = (0, 0);
        }
        self.looked += 1;
        if self.prints.is_empty() {
            return true;
        }
        let hash = FxBuildHasher.hash_one(mark);
        let (place, print) = (hash as usize % PRINTS, (hash >> 32) as u32 | 1);
        std::mem::replace(&mut self.prints[place], print) == print
    }

    /// An answer, worked out; now and then with a look at the clock.
    fn work_out(&mut self, answer: impl FnOnce() -> Answer) -> Arc<Answer> {
        if !self.looked.is_multiple_of(TIMED) {
            return Arc::new(answer());
        }
        let began = Instant::now();
        let answer = Arc::new(answer());
        self.timed.0 += 1;
        self.timed.1 += began.elapsed();
        answer
    }
}

impl Memo {
    pub(crate) fn new() -> Memo {
        Memo {
            cache: Cache::with_weighter((BYTES / TYPICAL) as usize, BYTES, Bytes),
        }
    }

    /// The answer to a mark, worked out if it is not known.
    pub(crate) fn get(
        &self,
        habit: &mut Habit,
        mark: &str,
        answer: impl FnOnce() -> Answer,
    ) -> Arc<Answer> {
        if !habit.worth(mark) {
            return habit.work_out(answer);
        }
        if let Some(known) = self.cache.get(mark) {
            habit.known += 1;
            return known;
        }
        let answer = habit.work_out(answer);
        self.cache.insert(Box::from(mark), Arc::clone(&answer));
        answer
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::Habit;
    use std::time::Duration;

    #[test]
    fn marks_that_do_not_repeat_are_not_kept() {
        let mut habit = Habit::default();
        let kept = |habit: &mut Habit, from: u32| {
            (from..from + 4_096)
                .filter(|n| habit.worth(&n.to_string()))
                .count()
        };
        assert_eq!(kept(&mut habit, 0), 4_096);
        assert!(kept(&mut habit, 10_000) < 200);
        // Met again, they are.
        assert!(kept(&mut habit, 10_000) > 3_500);
        // Costly answers are kept in any case.
        habit.timed = (10, Duration::from_millis(1));
        assert_eq!(kept(&mut habit, 20_000), 4_096);
        assert!(kept(&mut habit, 30_000) < 200);
        habit.known = 4_000;
        assert_eq!(kept(&mut habit, 50_000), 4_096);
    }
}
