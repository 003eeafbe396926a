//! How characters look: glyphs, symbols and the boundaries between them.
//!
//! A reading and a code are both sequences of glyphs; between two glyphs stands a [`Boundary`].

mod confusion;

use std::io::{Error, ErrorKind, Read, Write};
use std::sync::Arc;

use borsh::{BorshDeserialize, BorshSerialize};
pub use confusion::{Confusions, MisreadsError};

/// One printed character or symbol.
#[derive(Debug, Clone, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Glyph {
    /// A character as printed, its case kept.
    Char(char),
    /// A symbol by its name, without the colons: `e3`, `m`, `dot`.
    Symbol(Arc<str>),
}

// A character by its number, a symbol by one that is none and its name.
impl BorshSerialize for Glyph {
    fn serialize<W: Write>(&self, writer: &mut W) -> std::io::Result<()> {
        match self {
            Glyph::Char(c) => u32::from(*c).serialize(writer),
            Glyph::Symbol(name) => (u32::MAX, &**name).serialize(writer),
        }
    }
}

impl BorshDeserialize for Glyph {
    fn deserialize_reader<R: Read>(reader: &mut R) -> std::io::Result<Glyph> {
        match u32::deserialize_reader(reader)? {
            u32::MAX => Ok(Glyph::Symbol(String::deserialize_reader(reader)?.into())),
            number => char::from_u32(number)
                .map(Glyph::Char)
                .ok_or_else(|| Error::new(ErrorKind::InvalidData, "no such character")),
        }
    }
}

impl Glyph {
    /// The glyph with the case of a Latin letter folded to a capital, which is what marks are compared by.
    #[must_use]
    pub fn folded(&self) -> Glyph {
        match self {
            Glyph::Char(c) => Glyph::Char(c.to_ascii_uppercase()),
            Glyph::Symbol(_) => self.clone(),
        }
    }
}

/// What stands between two glyphs.
#[derive(
    Debug,
    Clone,
    Copy,
    PartialEq,
    Eq,
    Hash,
    PartialOrd,
    Ord,
    Default,
    BorshSerialize,
    BorshDeserialize,
)]
pub enum Boundary {
    /// Nothing.
    #[default]
    None,
    /// A space.
    Space,
    /// A dash.
    Dash,
    /// A slash.
    Slash,
    /// A colon.
    Colon,
}

impl Boundary {
    /// The boundary that a character is, if it is one.
    #[must_use]
    pub fn of(c: char) -> Option<Boundary> {
        match c {
            ' ' | '\t' | '\u{a0}' => Some(Boundary::Space),
            '-' | '\u{2010}'..='\u{2015}' | '\u{2212}' => Some(Boundary::Dash),
            '/' => Some(Boundary::Slash),
            ':' => Some(Boundary::Colon),
            _ => None,
        }
    }

    /// The boundary as it is typed.
    #[must_use]
    pub fn text(self) -> &'static str {
        match self {
            Boundary::None => "",
            Boundary::Space => " ",
            Boundary::Dash => "-",
            Boundary::Slash => "/",
            Boundary::Colon => ":",
        }
    }
}

/// A set of glyphs that can stand in one place, over folded glyphs.
#[derive(Debug, Clone, PartialEq, Eq, Default, BorshSerialize, BorshDeserialize)]
pub struct GlyphSet {
    /// Bits 0 to 9 the digits, 10 to 35 the capitals.
    pub alnum: u64,
    /// Whether every other character belongs to it too (`glyphs`). Symbols do not: they part texts, or stand beside them.
    pub rest: bool,
    /// Single further glyphs.
    pub others: Vec<Glyph>,
}

impl GlyphSet {
    /// The ten digits.
    pub const DIGITS: u64 = 0x3ff;
    /// The 26 capitals.
    pub const LETTERS: u64 = ((1 << 26) - 1) << 10;

    /// The bit of a digit or Latin letter in [`GlyphSet::alnum`].
    #[must_use]
    pub fn bit(c: char) -> Option<u64> {
        match c {
            '0'..='9' => Some(1 << (c as u32 - '0' as u32)),
            'A'..='Z' => Some(1 << (c as u32 - 'A' as u32 + 10)),
            'a'..='z' => Some(1 << (c as u32 - 'a' as u32 + 10)),
            _ => None,
        }
    }

    /// A set of digits and capitals by their bits.
    #[must_use]
    pub fn of_bits(alnum: u64) -> GlyphSet {
        GlyphSet {
            alnum,
            ..GlyphSet::default()
        }
    }

    /// The set of one glyph.
    #[must_use]
    pub fn one(glyph: &Glyph) -> GlyphSet {
        match glyph {
            Glyph::Char(c) => match GlyphSet::bit(*c) {
                Some(bit) => GlyphSet::of_bits(bit),
                None => GlyphSet {
                    others: vec![glyph.folded()],
                    ..GlyphSet::default()
                },
            },
            Glyph::Symbol(_) => GlyphSet {
                others: vec![glyph.clone()],
                ..GlyphSet::default()
            },
        }
    }
}

/// How many glyphs a set stands for; the rest counts as 32, the printable characters of ASCII that are no digits and letters.
#[must_use]
pub fn size(set: &GlyphSet) -> f64 {
    f64::from(set.alnum.count_ones()) + set.others.len() as f64 + if set.rest { 32.0 } else { 0.0 }
}
