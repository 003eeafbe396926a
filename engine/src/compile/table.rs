//! What a slot looks like in one form: spellings by look-alike key, and open strips.

use std::sync::OnceLock;

use rustc_hash::FxHashMap;

use super::alphabet::Alphabet;
use crate::glyph::size as set_size;
use crate::glyph::{Boundary, Glyph};
use crate::model::{Case, Code, CodeKind, FormKind, Slot, Spelling, string_shares};

/// A way in which a code is printed.
#[derive(Debug, Clone)]
pub(crate) struct Spelled {
    /// The code, by index in its slot.
    pub(crate) code: u32,
    /// Conditions (by index in the family) with the truth that they must have.
    pub(crate) conds: Vec<(u32, bool)>,
    /// The glyphs, folded.
    pub(crate) ids: Vec<u8>,
    /// Whether each glyph is a small letter.
    pub(crate) lower: Vec<bool>,
    /// The boundary expected before each glyph but the first.
    pub(crate) before: Vec<Boundary>,
}

/// An open strip of a code.
#[derive(Debug, Clone)]
pub(crate) struct OpenStrip {
    pub(crate) code: u32,
    /// The code's guard.
    pub(crate) guard: Option<u32>,
    pub(crate) sets: Vec<u128>,
    /// How many glyphs each place can hold.
    pub(crate) sizes: Vec<f64>,
    pub(crate) lower: Vec<bool>,
    /// It stands for what the table does not list.
    pub(crate) unlisted: bool,
    /// It takes any text.
    pub(crate) free: bool,
    /// log2 of the share that one string of it has in its code.
    pub(crate) share: f64,
}

/// All ways in which a slot is printed in one kind of form.
#[derive(Debug, Clone, Default)]
pub(crate) struct Table {
    pub(crate) spelled: Vec<Spelled>,
    /// Non-empty spellings by the key of their look-alike classes.
    pub(crate) by_key: FxHashMap<u64, Vec<u32>>,
    /// Spellings that print nothing.
    pub(crate) empty: Vec<u32>,
    pub(crate) open: Vec<OpenStrip>,
    /// Bit n: some spelling has n glyphs (63: 63 or more).
    pub(crate) lengths: u64,
    pub(crate) min: usize,
    pub(crate) max: usize,
    pub(crate) cased: bool,
    /// Codes as listed, for what an open strip must leave to them: glyphs, guard.
    pub(crate) listed: Vec<(Vec<u8>, Option<u32>)>,
    pub(crate) listed_by_key: FxHashMap<u64, Vec<u32>>,
    /// Spellings by their look-alike classes, once asked for.
    sorted: OnceLock<Vec<u32>>,
}

/// The key of a glyph run, one glyph at a time.
pub(crate) fn key(so_far: u64, class: u8) -> u64 {
    (so_far ^ u64::from(class) ^ 0x80)
        .wrapping_mul(0x9e37_79b9_7f4a_7c15)
        .rotate_left(23)
}

/// The key of a whole run.
pub(crate) fn key_of(ids: &[u8], alphabet: &Alphabet) -> u64 {
    ids.iter()
        .fold(0, |so_far, id| key(so_far, alphabet.class(*id)))
}

pub(crate) fn ids_of(spelling: &Spelling, alphabet: &Alphabet) -> (Vec<u8>, Vec<bool>) {
    let lower = spelling
        .glyphs
        .iter()
        .map(|g| matches!(g, Glyph::Char(c) if c.is_ascii_lowercase()))
        .collect();
    (
        spelling
            .glyphs
            .iter()
            .map(|glyph| alphabet.id(glyph))
            .collect(),
        lower,
    )
}

impl Table {
    /// The table of `slot` in forms of `kind`. `cond` gives the index of a condition in its family.
    pub(crate) fn of(
        slot: &Slot,
        kind: FormKind,
        alphabet: &Alphabet,
        mut cond: impl FnMut(&crate::model::Cond) -> u32,
    ) -> Table {
        let mut table = Table {
            cased: slot.cased,
            min: usize::MAX,
            ..Table::default()
        };
        for (index, code) in (0_u32..).zip(&slot.codes) {
            let guard = code.guard.as_ref().map(&mut cond);
            table.add_code(index, code, guard, kind, alphabet, &mut cond);
        }
        table.min = table.min.min(table.max);
        for (index, spelled) in (0_u32..).zip(&table.spelled) {
            if spelled.ids.is_empty() {
                table.empty.push(index);
            } else {
                table
                    .by_key
                    .entry(key_of(&spelled.ids, alphabet))
                    .or_default()
                    .push(index);
                table.lengths |= 1 << spelled.ids.len().min(63);
            }
        }
        for (index, (ids, _)) in (0_u32..).zip(&table.listed) {
            table
                .listed_by_key
                .entry(key_of(ids, alphabet))
                .or_default()
                .push(index);
        }
        table
    }

    /// The spellings that begin with glyphs of these look-alike classes.
    pub(crate) fn beginning(&self, classes: &[u8], alphabet: &Alphabet) -> &[u32] {
        let of = |index: &u32| {
            let ids = &self.spelled[*index as usize].ids;
            ids.iter().map(|id| alphabet.class(*id))
        };
        let sorted = self.sorted.get_or_init(|| {
            let mut all: Vec<u32> = (0..self.spelled.len() as u32).collect();
            all.sort_by(|a, b| of(a).cmp(of(b)));
            all
        });
        let from = sorted.partition_point(|index| of(index).lt(classes.iter().copied()));
        let count = sorted[from..]
            .partition_point(|index| of(index).take(classes.len()).eq(classes.iter().copied()));
        &sorted[from..from + count]
    }

    fn add_code(
        &mut self,
        index: u32,
        code: &Code,
        guard: Option<u32>,
        kind: FormKind,
        alphabet: &Alphabet,
        cond: &mut impl FnMut(&crate::model::Cond) -> u32,
    ) {
        let mut conds: Vec<(u32, bool)> = guard.iter().map(|guard| (*guard, true)).collect();
        for print in code
            .prints
            .iter()
            .filter(|print| print.forms.contains(&kind))
        {
            let mut here = conds.clone();
            let of_print = print.guard.as_ref().map(&mut *cond);
            here.extend(of_print.map(|c| (c, true)));
            self.add_spelled(index, print.spelling.as_ref(), here, alphabet);
            match of_print {
                Some(c) => conds.push((c, false)),
                None => return self.note_listed(code, guard, alphabet),
            }
        }
        match &code.kind {
            CodeKind::Absent => self.add_spelled(index, None, conds, alphabet),
            CodeKind::Listed(spelling) => self.add_spelled(index, Some(spelling), conds, alphabet),
            CodeKind::Open(strips) => {
                for (strip, share) in strips.iter().zip(string_shares(strips)) {
                    let length = strip.places.len();
                    (self.min, self.max) = (self.min.min(length), self.max.max(length));
                    self.open.push(OpenStrip {
                        code: index,
                        guard,
                        unlisted: code.unlisted,
                        free: super::draw::is_free(strip),
                        share,
                        sizes: strip
                            .places
                            .iter()
                            .map(|place| set_size(&place.set))
                            .collect(),
                        sets: strip
                            .places
                            .iter()
                            .map(|place| alphabet.set(&place.set))
                            .collect(),
                        lower: strip
                            .places
                            .iter()
                            .map(|place| place.case == Case::Lower)
                            .collect(),
                    });
                }
            }
        }
        self.note_listed(code, guard, alphabet);
    }

    fn note_listed(&mut self, code: &Code, guard: Option<u32>, alphabet: &Alphabet) {
        if let CodeKind::Listed(spelling) = &code.kind {
            self.listed.push((ids_of(spelling, alphabet).0, guard));
        }
    }

    fn add_spelled(
        &mut self,
        code: u32,
        spelling: Option<&Spelling>,
        conds: Vec<(u32, bool)>,
        alphabet: &Alphabet,
    ) {
        let (ids, lower) = spelling
            .map(|spelling| ids_of(spelling, alphabet))
            .unwrap_or_default();
        let before = spelling
            .map(|spelling| spelling.before.clone())
            .unwrap_or_default();
        (self.min, self.max) = (self.min.min(ids.len()), self.max.max(ids.len()));
        self.spelled.push(Spelled {
            code,
            conds,
            ids,
            lower,
            before,
        });
    }
}
