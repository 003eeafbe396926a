//! What a slot looks like in one form: spellings by look-alike key, and open strips.

use std::sync::OnceLock;

use rustc_hash::FxHashMap;
use smallvec::SmallVec;

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
    /// Whether each glyph is a small letter; empty where none is.
    lower: Vec<bool>,
    /// The boundary expected before each glyph but the first; empty where none is.
    before: Vec<Boundary>,
}

impl Spelled {
    /// Whether a glyph is a small letter.
    pub(crate) fn is_lower(&self, at: usize) -> bool {
        self.lower.get(at).copied().unwrap_or(false)
    }

    /// Whether a boundary is expected somewhere among its glyphs.
    pub(super) fn has_boundaries(&self) -> bool {
        !self.before.is_empty()
    }

    /// The boundary expected before a glyph.
    pub(crate) fn before(&self, at: usize) -> Boundary {
        self.before.get(at).copied().unwrap_or_default()
    }
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
#[derive(Debug, Clone)]
pub(crate) struct Table {
    pub(crate) spelled: Vec<Spelled>,
    /// Non-empty spellings by the key of their look-alike classes, in open addressing: what a walk asks most stands in one piece of memory.
    entries: Vec<Entry>,
    /// Classes that a non-empty spelling begins with.
    pub(crate) firsts: u128,
    /// Spellings that print nothing.
    pub(crate) empty: Vec<u32>,
    pub(crate) open: Vec<OpenStrip>,
    /// Bit n: some spelling has n glyphs (63: 63 or more).
    pub(crate) lengths: u64,
    pub(crate) min: usize,
    pub(crate) max: usize,
    pub(crate) cased: bool,
    /// Codes as listed, for what an open strip must leave to them: glyphs, guard. Empty where there is no open strip.
    pub(crate) listed: Vec<(Vec<u8>, Option<u32>)>,
    listed_by_key: FxHashMap<u64, Vec<u32>>,
    /// Whether there is an open strip, which leaves to the codes listed what is theirs.
    leaves: bool,
    /// Spellings by their look-alike classes, once asked for.
    sorted: OnceLock<Vec<u32>>,
    /// The same from the last glyph to the first.
    sorted_backward: OnceLock<Vec<u32>>,
    /// What the spellings may be with something missing, once asked for.
    torn: OnceLock<Torn>,
}

/// A spelling where a walk looks for it.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Entry {
    key: u64,
    /// Its glyphs, if they are few.
    ids: [u8; FEW],
    /// Which spelling of the table.
    pub(crate) index: u32,
    code: u32,
}

/// Glyphs that an entry has room for.
const FEW: usize = 8;
/// Set in the code of an entry whose glyphs say all: few, without a boundary among them, their case no matter.
const PLAIN: u32 = 1 << 31;

impl Entry {
    const EMPTY: Entry = Entry {
        key: 0,
        ids: [0; FEW],
        index: u32::MAX,
        code: 0,
    };

    fn of(index: u32, spelled: &Spelled, cased: bool, alphabet: &Alphabet) -> Entry {
        let mut ids = [0; FEW];
        for (to, id) in ids.iter_mut().zip(&spelled.ids) {
            *to = *id;
        }
        let plain = !cased && spelled.before.is_empty() && spelled.ids.len() <= FEW;
        Entry {
            key: whole(key_of(&spelled.ids, alphabet), spelled.ids.len()),
            ids,
            index,
            code: spelled.code | if plain { PLAIN } else { 0 },
        }
    }

    /// Code and glyphs, where these say all.
    pub(crate) fn plain(&self) -> Option<(u32, &[u8; FEW])> {
        (self.code & PLAIN != 0).then_some((self.code & !PLAIN, &self.ids))
    }
}

/// The key of a run that ends.
fn whole(run: u64, glyphs: usize) -> u64 {
    key(run, glyphs.min(63) as u8 | 0x40)
}

/// Where a key is looked for first.
fn home(key: u64, mask: usize) -> usize {
    (key >> 20) as usize & mask
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

pub(crate) fn ids_of(spelling: &Spelling, alphabet: &Alphabet) -> Vec<u8> {
    let glyphs = spelling.glyphs.iter();
    glyphs.map(|glyph| alphabet.id(glyph)).collect()
}

/// Whether each glyph is a small letter; empty where none is.
fn lower_of(spelling: &Spelling) -> Vec<bool> {
    let lower = |glyph: &Glyph| matches!(glyph, Glyph::Char(c) if c.is_ascii_lowercase());
    if spelling.glyphs.iter().any(lower) {
        spelling.glyphs.iter().map(lower).collect()
    } else {
        Vec::new()
    }
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
            spelled: Vec::new(),
            entries: Vec::new(),
            firsts: 0,
            empty: Vec::new(),
            open: Vec::new(),
            lengths: 0,
            min: usize::MAX,
            max: 0,
            cased: slot.cased,
            listed: Vec::new(),
            listed_by_key: FxHashMap::default(),
            leaves: false,
            sorted: OnceLock::new(),
            sorted_backward: OnceLock::new(),
            torn: OnceLock::new(),
        };
        let open = |code: &Code| matches!(code.kind, CodeKind::Open(_));
        table.leaves = slot.codes.iter().any(open);
        for (index, code) in (0_u32..).zip(&slot.codes) {
            let guard = code.guard.as_ref().map(&mut cond);
            table.add_code(index, code, guard, kind, alphabet, &mut cond);
        }
        table.min = table.min.min(table.max);
        let filled = table
            .spelled
            .iter()
            .filter(|spelled| !spelled.ids.is_empty());
        let room = filled.count() * 3 / 2 + 1;
        table.entries = vec![Entry::EMPTY; room.next_power_of_two()];
        for (index, spelled) in (0_u32..).zip(&table.spelled) {
            if let Some(first) = spelled.ids.first() {
                let entry = Entry::of(index, spelled, slot.cased, alphabet);
                let mut at = table.home(entry.key);
                while table.entries[at].index != Entry::EMPTY.index {
                    at = (at + 1) & (table.entries.len() - 1);
                }
                table.entries[at] = entry;
                table.firsts |= 1 << alphabet.class(*first);
                table.lengths |= 1 << spelled.ids.len().min(63);
            } else {
                table.empty.push(index);
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

    fn home(&self, key: u64) -> usize {
        home(key, self.entries.len() - 1)
    }

    /// The spellings of so many glyphs whose look-alike classes have a key.
    pub(crate) fn of_key(&self, run: u64, glyphs: usize) -> impl Iterator<Item = &Entry> {
        let key = whole(run, glyphs);
        let mask = self.entries.len() - 1;
        let mut at = self.home(key);
        std::iter::from_fn(move || {
            loop {
                let entry = &self.entries[at];
                if entry.index == Entry::EMPTY.index {
                    return None;
                }
                at = (at + 1) & mask;
                if entry.key == key {
                    return Some(entry);
                }
            }
        })
    }

    /// Whether there is one.
    pub(crate) fn has_key(&self, run: u64, glyphs: usize) -> bool {
        self.of_key(run, glyphs).next().is_some()
    }

    /// The listed codes whose look-alike classes have a key: glyphs, guard.
    pub(crate) fn listed_of_key(&self, key: u64) -> impl Iterator<Item = &(Vec<u8>, Option<u32>)> {
        let found = self.listed_by_key.get(&key).into_iter().flatten();
        found.map(|index| &self.listed[*index as usize])
    }

    /// The spellings that begin with glyphs of these look-alike classes.
    pub(crate) fn beginning(&self, classes: &[u8], alphabet: &Alphabet) -> &[u32] {
        let sorted = self.sorted.get_or_init(|| self.sort(false, alphabet));
        self.among(sorted, classes, false, alphabet)
    }

    /// The spellings that end with glyphs of these look-alike classes, the last first.
    pub(crate) fn ending(&self, classes: &[u8], alphabet: &Alphabet) -> &[u32] {
        let sorted = self
            .sorted_backward
            .get_or_init(|| self.sort(true, alphabet));
        self.among(sorted, classes, true, alphabet)
    }

    /// The look-alike classes of a spelling, from its first glyph or from its last.
    fn classes_of(
        &self,
        index: u32,
        backward: bool,
        alphabet: &Alphabet,
    ) -> impl Iterator<Item = u8> {
        let ids = &self.spelled[index as usize].ids;
        let last = ids.len();
        (0..last).map(move |at| alphabet.class(ids[if backward { last - 1 - at } else { at }]))
    }

    fn sort(&self, backward: bool, alphabet: &Alphabet) -> Vec<u32> {
        let mut all: Vec<u32> = (0..self.spelled.len() as u32).collect();
        let of = |index: &u32| self.classes_of(*index, backward, alphabet);
        all.sort_by(|a, b| of(a).cmp(of(b)));
        all
    }

    /// Those of the sorted spellings whose classes begin so.
    fn among<'s>(
        &self,
        sorted: &'s [u32],
        classes: &[u8],
        backward: bool,
        alphabet: &Alphabet,
    ) -> &'s [u32] {
        let of = |index: &u32| self.classes_of(*index, backward, alphabet);
        let from = sorted.partition_point(|index| of(index).lt(classes.iter().copied()));
        let count = sorted[from..]
            .partition_point(|index| of(index).take(classes.len()).eq(classes.iter().copied()));
        &sorted[from..from + count]
    }

    /// Puts spellings into the order of [`Table::beginning`], each once.
    pub(crate) fn in_order(&self, spellings: &mut Vec<u32>, alphabet: &Alphabet) {
        let of = |index: &u32| self.classes_of(*index, false, alphabet);
        spellings.sort_unstable_by(|a, b| of(a).cmp(of(b)).then(a.cmp(b)));
        spellings.dedup();
    }

    /// What the spellings may be with something missing.
    pub(crate) fn torn(&self, alphabet: &Alphabet) -> &Torn {
        self.torn.get_or_init(|| Torn::of(&self.spelled, alphabet))
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
        if let (true, CodeKind::Listed(spelling)) = (self.leaves, &code.kind) {
            self.listed.push((ids_of(spelling, alphabet), guard));
        }
    }

    fn add_spelled(
        &mut self,
        code: u32,
        spelling: Option<&Spelling>,
        conds: Vec<(u32, bool)>,
        alphabet: &Alphabet,
    ) {
        let ids = spelling.map_or_else(Vec::new, |spelling| ids_of(spelling, alphabet));
        let lower = spelling.map_or_else(Vec::new, lower_of);
        let before = spelling
            .filter(|spelling| spelling.before.iter().any(|b| *b != Boundary::None))
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

/// The class of a glyph that may be any.
pub(crate) const ANY: u8 = 0x7e;
/// Begins the key of what is left of a spelling whose beginning is missing.
const LEFT: u64 = 0x6a09_e667_f3bc_c908;
/// Ends the key of what a spelling begins with.
const BEGUN: u8 = 0x7d;
/// Bits of the set for each key in it.
const SPARSE: usize = 16;

/// Whether spellings with one glyph missing, with their beginning missing or their end, can be what was read: a set of their keys in
/// which each is one bit. It may say yes where there is none, never no where there is one.
#[derive(Debug, Clone)]
pub(crate) struct Torn {
    bits: Vec<u64>,
}

impl Torn {
    fn of(spelled: &[Spelled], alphabet: &Alphabet) -> Torn {
        let keys: usize = spelled.iter().map(|spelled| spelled.ids.len() * 3).sum();
        let words = (keys * SPARSE / 64 + 1).next_power_of_two();
        let mut torn = Torn {
            bits: vec![0; words],
        };
        let mut classes: SmallVec<[u8; 32]> = SmallVec::new();
        for spelled in spelled {
            classes.clear();
            classes.extend(spelled.ids.iter().map(|id| alphabet.class(*id)));
            let glyphs = classes.len();
            let mut run = 0;
            for (at, class) in classes.iter().enumerate() {
                if at > 0 {
                    torn.insert(key(run, BEGUN));
                    let left = classes[at..]
                        .iter()
                        .fold(LEFT, |run, class| key(run, *class));
                    torn.insert(whole(left, glyphs - at));
                }
                let one_any = classes[at + 1..]
                    .iter()
                    .fold(key(run, ANY), |run, class| key(run, *class));
                torn.insert(whole(one_any, glyphs));
                run = key(run, *class);
            }
        }
        torn
    }

    fn place(&self, key: u64) -> (usize, u64) {
        let at = (key >> 20) as usize & (self.bits.len() * 64 - 1);
        (at / 64, 1 << (at % 64))
    }

    fn insert(&mut self, key: u64) {
        let (word, bit) = self.place(key);
        self.bits[word] |= bit;
    }

    fn has(&self, key: u64) -> bool {
        let (word, bit) = self.place(key);
        self.bits[word] & bit != 0
    }

    /// Whether some spelling has so many glyphs with these classes, one of them [`ANY`].
    pub(crate) fn one_any(&self, run: u64, glyphs: usize) -> bool {
        self.has(whole(run, glyphs))
    }

    /// Whether some spelling goes on behind these classes.
    pub(crate) fn begins(&self, run: u64) -> bool {
        self.has(key(run, BEGUN))
    }

    /// The key of nothing, before what is left of a spelling.
    pub(crate) fn left() -> u64 {
        LEFT
    }

    /// Whether these are the last glyphs of a spelling that has more.
    pub(crate) fn ends(&self, run: u64, glyphs: usize) -> bool {
        self.has(whole(run, glyphs))
    }
}
