//! Characters of all families as bits: digits, capitals, small letters, then further glyphs by first use. The last bit stands for any
//! other character.

use super::automaton::Mask;
use super::language::Must;
use crate::glyph::{Confusions, Glyph, GlyphSet};
use crate::model::{Case, StripPlace};

/// Bits of the digits and capitals, as in [`GlyphSet::alnum`].
const ALNUM: u32 = 36;
/// First bit of the small letters.
const SMALL: u32 = 36;
/// First bit of the further glyphs.
const OTHERS: u32 = 62;
/// The bit of any other character.
const REST: u32 = 127;
/// How many characters the last bit counts for, as in [`crate::glyph::size`].
const REST_SIZE: u32 = 32;

/// The further glyphs met so far.
#[derive(Debug, Default)]
pub(super) struct Letters {
    others: Vec<Glyph>,
}

impl Letters {
    fn other(&mut self, glyph: &Glyph) -> u32 {
        let at = match self.others.iter().position(|known| known == glyph) {
            Some(at) => at,
            None => {
                self.others.push(glyph.clone());
                self.others.len() - 1
            }
        };
        // Past the last bit they run together, which may show an overlap that is none.
        (OTHERS + at as u32).min(REST)
    }

    fn both_cases(alnum: u64) -> Mask {
        let letters = u128::from(alnum >> 10) & ((1 << 26) - 1);
        u128::from(alnum) & ((1 << ALNUM) - 1) | letters << SMALL
    }

    /// The set of a glyph as printed; its case counts where `cased`.
    pub(super) fn glyph(&mut self, glyph: &Glyph, cased: bool) -> Mask {
        let alnum = match glyph {
            Glyph::Char(c) => GlyphSet::bit(*c).map(|bit| (*c, bit)),
            Glyph::Symbol(_) => None,
        };
        match alnum {
            Some((c, bit)) if cased && c.is_ascii_alphabetic() => {
                one_case(bit, c.is_ascii_lowercase())
            }
            Some((_, bit)) => Self::both_cases(bit),
            None => 1 << self.other(&glyph.folded()),
        }
    }

    /// The set of a place of an open shape.
    pub(super) fn place(&mut self, place: &StripPlace, cased: bool) -> Mask {
        let set = &place.set;
        let mut mask = if cased {
            one_case(set.alnum, place.case == Case::Lower)
        } else {
            Self::both_cases(set.alnum)
        };
        for glyph in &set.others {
            mask |= 1 << self.other(&glyph.folded());
        }
        if set.rest {
            mask |= !0 << OTHERS;
        }
        mask
    }

    /// How many characters a set stands for; a letter in both cases is one.
    pub(super) fn size(mask: Mask) -> u32 {
        let small = mask >> SMALL & ((1 << 26) - 1);
        let folded = (mask & ((1 << ALNUM) - 1)) | small << 10;
        let others = mask >> OTHERS & !(1 << (REST - OTHERS));
        let rest = if mask & 1 << REST != 0 { REST_SIZE } else { 0 };
        // Where any other glyph can stand, the further ones are among them.
        folded.count_ones() + if rest > 0 { rest } else { others.count_ones() }
    }

    /// What the characters of a set can be misread as by one look-alike.
    pub(super) fn alike(confusions: &Confusions) -> Vec<Mask> {
        let character = |at: u32| char::from_digit(at, 36).map(|c| c.to_ascii_uppercase());
        (0..ALNUM)
            .map(|t| {
                (0..ALNUM)
                    .filter(|r| match (character(t), character(*r)) {
                        (Some(t), Some(r)) => confusions.alike(t, r) || confusions.alike(r, t),
                        _ => false,
                    })
                    .fold(0, |all, r| all | Self::both_cases(1 << r))
            })
            .collect()
    }

    /// A string for people, in the notation of readings, with the boundaries that must be there. Where two kinds must, a new line
    /// stands for both.
    pub(super) fn text(&self, string: &[u32], boundaries: &[(usize, Must)]) -> String {
        let mut text = String::new();
        for (place, at) in string.iter().enumerate() {
            let mut here = boundaries.iter().filter(|(of, _)| *of == place);
            if let Some((_, must)) = here.next() {
                let clash = here.any(|(_, other)| other != must);
                text.push_str(match must {
                    Must::Within(boundary) if !clash => boundary.text(),
                    _ => " | ",
                });
            }
            if *at < ALNUM {
                text.extend(char::from_digit(*at, 36).map(|c| c.to_ascii_uppercase()));
            } else if *at < OTHERS {
                text.extend(char::from_digit(at - SMALL + 10, 36));
            } else {
                match self.others.get((at - OTHERS) as usize) {
                    Some(Glyph::Symbol(name)) => {
                        text.push_str("{:");
                        text.push_str(name);
                        text.push('}');
                    }
                    Some(Glyph::Char(c)) => {
                        if matches!(c, '_' | '?' | '{' | '}' | '\\' | '|' | '.') {
                            text.push('\\');
                        }
                        text.push(*c);
                    }
                    None => text.push('*'),
                }
            }
        }
        text
    }
}

fn one_case(alnum: u64, small: bool) -> Mask {
    let digits = u128::from(alnum & GlyphSet::DIGITS);
    let letters = u128::from(alnum >> 10) & ((1 << 26) - 1);
    digits | letters << if small { SMALL } else { 10 }
}
