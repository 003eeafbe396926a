//! Answers to marks that were met before, in bounded memory, shared between threads.

use std::sync::Arc;

use quick_cache::Weighter;
use quick_cache::sync::Cache;

use super::answer::{Answer, Own};

/// How many bytes of answers are kept, about.
const BYTES: u64 = 32 << 20;
/// About what one answer takes.
const TYPICAL: u64 = 400;

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
        (mark.len() + answer.text.len() + cells + candidates + 200) as u64
    }
}

/// The answers kept.
pub(crate) struct Memo {
    cache: Cache<Box<str>, Arc<Answer>, Bytes>,
}

impl Memo {
    pub(crate) fn new() -> Memo {
        Memo {
            cache: Cache::with_weighter((BYTES / TYPICAL) as usize, BYTES, Bytes),
        }
    }

    /// The answer to a mark, worked out if it is not known.
    pub(crate) fn get(&self, mark: &str, answer: impl FnOnce() -> Answer) -> Arc<Answer> {
        if let Some(known) = self.cache.get(mark) {
            return known;
        }
        let answer = Arc::new(answer());
        self.cache.insert(Box::from(mark), Arc::clone(&answer));
        answer
    }
}
