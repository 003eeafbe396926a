//! The families of a rule set. Those that were stored are read one by one, each when it is first asked for: a run that decodes one mark
//! touches few of them.

use std::borrow::Cow;
use std::ops::Index;
use std::sync::{Arc, OnceLock};

use borsh::BorshDeserialize;

use super::Family;

/// Families by [`FamilyId`](super::FamilyId).
#[derive(Debug, Clone, Default)]
pub struct Families {
    each: Vec<OnceLock<Box<Family>>>,
    stored: Option<Stored>,
}

/// Families as bytes.
#[derive(Clone)]
struct Stored {
    bytes: Arc<Cow<'static, [u8]>>,
    /// Where each ends; it begins where the one before does, the first at `start`.
    ends: Arc<Vec<usize>>,
    start: usize,
}

impl std::fmt::Debug for Stored {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Stored")
            .field("families", &self.ends.len())
            .finish_non_exhaustive()
    }
}

impl Families {
    /// Families in bytes whose checksum holds: from `start` on, one behind the other, each up to its end.
    pub(crate) fn stored(bytes: Cow<'static, [u8]>, start: usize, ends: Vec<usize>) -> Families {
        Families {
            each: ends.iter().map(|_| OnceLock::new()).collect(),
            stored: Some(Stored {
                bytes: Arc::new(bytes),
                ends: Arc::new(ends),
                start,
            }),
        }
    }

    /// How many there are.
    #[must_use]
    pub fn len(&self) -> usize {
        self.each.len()
    }

    /// Whether there is none.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.each.is_empty()
    }

    /// How many have been read so far.
    #[must_use]
    pub fn in_memory(&self) -> usize {
        self.each
            .iter()
            .filter(|family| family.get().is_some())
            .count()
    }

    /// Adds one at the end.
    pub fn push(&mut self, family: Family) {
        self.each.push(OnceLock::from(Box::new(family)));
    }

    /// All, in order.
    pub fn iter(&self) -> impl ExactSizeIterator<Item = &Family> + DoubleEndedIterator + Clone {
        (0..self.len()).map(|at| &self[at])
    }

    /// All, in order, to be changed.
    pub fn iter_mut(&mut self) -> impl Iterator<Item = &mut Family> {
        for at in 0..self.len() {
            let _ = &self[at];
        }
        self.each
            .iter_mut()
            .filter_map(|family| family.get_mut().map(Box::as_mut))
    }
}

impl Index<usize> for Families {
    type Output = Family;

    fn index(&self, at: usize) -> &Family {
        self.each[at].get_or_init(|| {
            let family = self.stored.as_ref().and_then(|stored| stored.family(at));
            Box::new(family.expect("what the checksum holds for can be read"))
        })
    }
}

impl Stored {
    fn family(&self, at: usize) -> Option<Family> {
        let from = match at.checked_sub(1) {
            Some(before) => self.ends[before],
            None => self.start,
        };
        let mut bytes = self.bytes.get(from..self.ends[at])?;
        let family = Family::deserialize(&mut bytes).ok()?;
        bytes.is_empty().then_some(family)
    }
}

impl FromIterator<Family> for Families {
    fn from_iter<I: IntoIterator<Item = Family>>(families: I) -> Families {
        let each = families
            .into_iter()
            .map(|family| OnceLock::from(Box::new(family)));
        Families {
            each: each.collect(),
            stored: None,
        }
    }
}

impl<'f> IntoIterator for &'f Families {
    type Item = &'f Family;
    type IntoIter = Box<dyn Iterator<Item = &'f Family> + 'f>;

    fn into_iter(self) -> Self::IntoIter {
        Box::new(self.iter())
    }
}
