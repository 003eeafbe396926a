//! Which lines a reading can be: by the look-alike classes of its first two glyphs.

use std::sync::OnceLock;

use super::FamilyProgram;
use super::alphabet::Alphabet;
use super::table::Table;

/// A line of a row of a family.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct LineRef {
    pub(crate) family: u32,
    pub(crate) row: u32,
    pub(crate) line: u32,
}

/// Lines by the classes of their first two glyphs; class 126 in second place for lines that can end after one.
#[derive(Debug, Clone, Default)]
pub(crate) struct Index {
    buckets: Vec<Vec<LineRef>>,
    /// All lines that begin with a class, in order, once asked for.
    by_first: Vec<OnceLock<Vec<LineRef>>>,
    /// All lines that can go on with a class after any first one, or end there.
    by_second: Vec<OnceLock<Vec<LineRef>>>,
}

const SIDE: usize = 128;
/// Second "glyph" of a line that has ended.
const END: usize = 126;

impl Index {
    pub(crate) fn of(families: &[FamilyProgram], alphabet: &Alphabet) -> Index {
        let mut buckets = vec![Vec::new(); SIDE * SIDE];
        for (f, family) in (0_u32..).zip(families) {
            for (r, row) in (0_u32..).zip(&family.rows) {
                for (l, line) in (0_u32..).zip(&row.lines) {
                    // A line that names nothing (a date, a lot) is tried only beside one that does.
                    if !line.places.iter().any(|place| row.naming[place.slot]) {
                        continue;
                    }
                    let reference = LineRef {
                        family: f,
                        row: r,
                        line: l,
                    };
                    let tables: Vec<&Table> = line
                        .places
                        .iter()
                        .map(|place| &family.tables[place.table])
                        .collect();
                    let first = First {
                        tables: &tables,
                        alphabet,
                    };
                    for a in bits(first.glyphs(0)) {
                        for b in bits(first.followers(0, a)) {
                            let bucket: &mut Vec<LineRef> = &mut buckets[a * SIDE + b];
                            if bucket.last() != Some(&reference) {
                                bucket.push(reference);
                            }
                        }
                    }
                }
            }
        }
        let unasked = || (0..SIDE).map(|_| OnceLock::new()).collect();
        Index {
            buckets,
            by_first: unasked(),
            by_second: unasked(),
        }
    }

    /// Lines of some buckets, each once, in order.
    fn together(&self, buckets: impl Iterator<Item = usize>) -> Vec<LineRef> {
        let mut all: Vec<LineRef> = buckets
            .flat_map(|bucket| self.buckets.get(bucket).into_iter().flatten())
            .copied()
            .collect();
        all.sort_unstable();
        all.dedup();
        all
    }

    /// Lines that can begin with glyphs of these classes; a class that is not known is `None`.
    pub(crate) fn lines(
        &self,
        first: Option<u8>,
        second: Option<Option<u8>>,
        found: &mut Vec<LineRef>,
    ) {
        found.clear();
        let first = first.map(usize::from);
        match (first, second) {
            (Some(a), Some(Some(b))) => {
                let b = usize::from(b);
                for bucket in [a * SIDE + b, a * SIDE + END] {
                    found.extend(self.buckets.get(bucket).into_iter().flatten());
                }
                found.sort_unstable();
                found.dedup();
            }
            // The reading ends: whatever the line would go on with has been cut off.
            (Some(a), Some(None) | None) => {
                if let Some(lines) = self.by_first.get(a) {
                    let of_first = || self.together((0..SIDE).map(|b| a * SIDE + b));
                    found.extend(lines.get_or_init(of_first));
                }
            }
            (None, Some(Some(b))) => {
                let b = usize::from(b);
                if let Some(lines) = self.by_second.get(b) {
                    let of_second =
                        || self.together((0..SIDE).flat_map(|a| [a * SIDE + b, a * SIDE + END]));
                    found.extend(lines.get_or_init(of_second));
                }
            }
            (None, Some(None) | None) => found.extend(self.together(0..self.buckets.len())),
        }
    }
}

/// The places of the bits that are set, lowest first.
pub(crate) fn bits(mut word: u128) -> impl Iterator<Item = usize> {
    std::iter::from_fn(move || {
        (word != 0).then(|| {
            let bit = word.trailing_zeros() as usize;
            word &= word - 1;
            bit
        })
    })
}

struct First<'a> {
    tables: &'a [&'a Table],
    alphabet: &'a Alphabet,
}

impl First<'_> {
    fn classes(&self, set: u128) -> u128 {
        bits(set).fold(0, |classes, id| {
            classes | 1 << self.alphabet.class(u8::try_from(id).unwrap_or(127))
        })
    }

    /// Classes of the first glyph of the places from `place` on; bit [`END`] if all of them can be empty.
    fn glyphs(&self, place: usize) -> u128 {
        let Some(table) = self.tables.get(place) else {
            return 1 << END;
        };
        let mut found = 0;
        for spelled in table
            .spelled
            .iter()
            .filter(|spelled| !spelled.ids.is_empty())
        {
            found |= 1 << self.alphabet.class(spelled.ids[0]);
        }
        for open in &table.open {
            found |= open.sets.first().map_or(0, |set| self.classes(*set));
        }
        if !table.empty.is_empty() || table.open.iter().any(|open| open.sets.is_empty()) {
            found |= self.glyphs(place + 1);
        }
        found
    }

    /// Classes of the glyph after a first one of class `a`.
    fn followers(&self, place: usize, a: usize) -> u128 {
        if a == END {
            return 0;
        }
        let Some(table) = self.tables.get(place) else {
            return 0;
        };
        let mut found = 0;
        let mut ends = false;
        for spelled in table
            .spelled
            .iter()
            .filter(|spelled| !spelled.ids.is_empty())
        {
            if usize::from(self.alphabet.class(spelled.ids[0])) == a {
                match spelled.ids.get(1) {
                    Some(id) => found |= 1 << self.alphabet.class(*id),
                    None => ends = true,
                }
            }
        }
        for open in table.open.iter().filter(|open| !open.sets.is_empty()) {
            if self.classes(open.sets[0]) >> a & 1 == 1 {
                match open.sets.get(1) {
                    Some(set) => found |= self.classes(*set),
                    None => ends = true,
                }
            }
        }
        if ends {
            found |= self.glyphs(place + 1);
        }
        if !table.empty.is_empty() {
            found |= self.followers(place + 1, a);
        }
        found
    }
}
