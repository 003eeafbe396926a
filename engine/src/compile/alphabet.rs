//! Glyphs as small numbers: what the program compares instead of characters.

use rustc_hash::FxHashMap;

use crate::glyph::{Confusions, Glyph, GlyphSet};

/// The most different glyphs that a program tells apart; the sets of places are 128-bit words.
pub(super) const MAX_GLYPHS: usize = 126;

/// Id of a character that no rule has.
pub const OTHER: u8 = 127;

/// Id of a symbol that no rule has. It is not [`OTHER`]: a place that takes any character takes no symbol.
const OTHER_SYMBOL: u8 = 126;

/// Glyphs of all rules, folded, as ids. Digits are 0 to 9, capitals 10 to 35, the rest in the order of first use.
#[derive(Debug, Clone)]
pub struct Alphabet {
    ids: FxHashMap<Glyph, u8>,
    /// The same of the characters of ASCII.
    ascii: [u8; 128],
    glyphs: Vec<Glyph>,
    /// The ids of symbols, [`OTHER_SYMBOL`] included.
    symbols: u128,
    class: [u8; 128],
    /// log2 P(read | true), by true and read id; only for ids below 36.
    channel: Vec<f64>,
    /// log2 P(read as it is).
    right: [f64; 128],
    /// log2 P(read | true) for pairs that are no look-alikes.
    strange: Vec<f64>,
    /// Look-alikes of each id, without itself.
    alike: Vec<u128>,
    /// log2 of the probability that a character is dropped, doubled, swapped with the next.
    pub(crate) dropped: f64,
    pub(crate) doubled: f64,
    pub(crate) swapped: f64,
    /// The same that it is taken for any one character that no table lists.
    other: f64,
}

impl Default for Alphabet {
    fn default() -> Self {
        Alphabet::new(&Confusions::default())
    }
}

impl Alphabet {
    /// The alphabet of digits and capitals.
    #[must_use]
    pub fn new(confusions: &Confusions) -> Alphabet {
        let glyphs: Vec<Glyph> = ('0'..='9').chain('A'..='Z').map(Glyph::Char).collect();
        let ids = glyphs.iter().cloned().zip(0..).collect();
        let mut ascii = [OTHER; 128];
        for (c, id) in (0_u8..).zip(ascii.iter_mut()) {
            if let Some(bit) = GlyphSet::bit(char::from(c)) {
                *id = u8::try_from(bit.trailing_zeros()).unwrap_or(OTHER);
            }
        }
        let mut class = [0_u8; 128];
        for (id, class) in (0..).zip(class.iter_mut()) {
            *class = id;
        }
        let id_of = |c: char| GlyphSet::bit(c).map_or(0, |bit| bit.trailing_zeros() as usize);
        for group in &confusions.classes {
            let first = group.chars().next().map_or(0, id_of);
            for c in group.chars() {
                class[id_of(c)] = u8::try_from(first).unwrap_or(OTHER);
            }
        }
        let mut channel = vec![f64::NEG_INFINITY; 36 * 36];
        let mut strange = vec![f64::NEG_INFINITY; 36 * 36];
        let mut alike = vec![0_u128; 36];
        for (t, true_glyph) in ('0'..='9').chain('A'..='Z').enumerate() {
            for (r, read) in ('0'..='9').chain('A'..='Z').enumerate() {
                let p = if t == r {
                    confusions.right(true_glyph)
                } else if class[t] == class[r] {
                    confusions.probability(true_glyph, read)
                } else {
                    0.0
                };
                channel[t * 36 + r] = p.log2();
                if class[t] != class[r] {
                    strange[t * 36 + r] = confusions.any(true_glyph, read).log2();
                }
                if t != r && p > 0.0 {
                    alike[t] |= 1 << r;
                }
            }
        }
        let mut right = [0.0; 128];
        for (id, bits) in right.iter_mut().enumerate().take(36) {
            *bits = channel[id * 36 + id];
        }
        Alphabet {
            ids,
            ascii,
            glyphs,
            symbols: 1 << OTHER_SYMBOL,
            class,
            channel,
            right,
            strange,
            alike,
            dropped: confusions.dropped.log2(),
            doubled: confusions.doubled.log2(),
            swapped: confusions.swapped.log2(),
            other: (confusions.other / 36.0).log2(),
        }
    }

    /// The glyphs beside digits and capitals, in the order in which they were added.
    pub(crate) fn added(&self) -> &[Glyph] {
        &self.glyphs[36..]
    }

    /// Adds a glyph; `None` where the alphabet is full.
    pub fn add(&mut self, glyph: &Glyph) -> Option<u8> {
        // Digits and capitals are always there.
        if let Glyph::Char(c) = glyph
            && let Some(bit) = GlyphSet::bit(*c)
        {
            return u8::try_from(bit.trailing_zeros()).ok();
        }
        let folded = glyph.folded();
        if let Some(id) = self.ids.get(&folded) {
            return Some(*id);
        }
        let id = u8::try_from(self.glyphs.len())
            .ok()
            .filter(|id| usize::from(*id) < MAX_GLYPHS)?;
        if matches!(folded, Glyph::Symbol(_)) {
            self.symbols |= 1 << id;
        }
        if let Glyph::Char(c) = folded
            && let Some(known) = self.ascii.get_mut(c as usize)
        {
            *known = id;
        }
        self.glyphs.push(folded.clone());
        self.ids.insert(folded, id);
        Some(id)
    }

    /// The id of a glyph, [`OTHER`] where no rule has the character, another that no rule has where it is a symbol.
    #[must_use]
    pub fn id(&self, glyph: &Glyph) -> u8 {
        if let Glyph::Char(c) = glyph
            && let Some(id) = self.ascii.get(*c as usize)
        {
            return *id;
        }
        let unknown = match glyph {
            Glyph::Char(_) => OTHER,
            Glyph::Symbol(_) => OTHER_SYMBOL,
        };
        self.ids.get(&glyph.folded()).copied().unwrap_or(unknown)
    }

    /// The id of a character of ASCII.
    #[must_use]
    #[inline]
    pub(crate) fn of_ascii(&self, byte: u8) -> u8 {
        self.ascii[usize::from(byte & 127)]
    }

    /// The glyph of an id.
    #[must_use]
    pub fn glyph(&self, id: u8) -> Option<&Glyph> {
        self.glyphs.get(usize::from(id))
    }

    /// The look-alike class of an id.
    #[must_use]
    #[inline]
    pub fn class(&self, id: u8) -> u8 {
        self.class[usize::from(id & 127)]
    }

    /// The look-alike classes of a set of ids.
    pub(crate) fn classes(&self, set: u128) -> u128 {
        super::bits(set).fold(0, |classes, id| {
            classes | 1 << self.class(u8::try_from(id).unwrap_or(OTHER))
        })
    }

    /// Look-alikes of an id, without itself.
    #[must_use]
    pub fn alike(&self, id: u8) -> u128 {
        self.alike.get(usize::from(id)).copied().unwrap_or(0)
    }

    /// log2 of the probability that `t` is read as `r`.
    #[must_use]
    #[inline]
    pub fn channel(&self, t: u8, r: u8) -> f64 {
        if t < 36 && r < 36 {
            self.channel[usize::from(t) * 36 + usize::from(r)]
        } else if t == r && t != OTHER {
            0.0
        } else {
            f64::NEG_INFINITY
        }
    }

    /// log2 of the probability that a glyph is read as it is; of a character that no rule has nothing is asked.
    #[inline]
    pub(crate) fn right(&self, id: u8) -> f64 {
        self.right[usize::from(id & 127)]
    }

    /// log2 of the probability that `t` is read as `r` although they look nothing alike; `-inf` where they do or are the same.
    #[must_use]
    pub fn strange(&self, t: u8, r: u8) -> f64 {
        if t < 36 && r < 36 {
            self.strange[usize::from(t) * 36 + usize::from(r)]
        } else if t == r {
            f64::NEG_INFINITY
        } else {
            self.other
        }
    }

    /// The set as a word of ids. `rest` sets hold every character but digits and capitals, [`OTHER`] included, and no symbol.
    #[must_use]
    pub fn set(&self, set: &GlyphSet) -> u128 {
        let mut word = u128::from(set.alnum);
        for glyph in &set.others {
            let id = self.id(glyph);
            if self.glyph(id).is_some() {
                word |= 1 << id;
            }
        }
        if set.rest {
            word |= (!0 << 36) & !self.symbols;
        }
        word
    }
}
