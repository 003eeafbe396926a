//! A stream of one line side by side, for the light way: what a walk compares many times over stands in arrays of its own.

use super::stream::{Doubt, Gap, Stream};
use super::walk::gap_between;
use crate::compile::{Alphabet, HELD};
use crate::glyph::Boundary;

/// Most glyphs of a reading that goes this way.
pub(super) const MOST: usize = 64;

/// The stream side by side, for one line of which every glyph was read or not, as far as one can tell.
#[derive(Debug)]
pub(super) struct Plain {
    /// Glyphs, and [`HELD`] more that none has.
    pub(super) ids: [u8; MOST + HELD],
    /// Their look-alike classes likewise.
    pub(super) classes: [u8; MOST + HELD],
    /// Full where a glyph was read.
    pub(super) known: [u8; MOST + HELD],
    /// Bit by glyph: it was not read.
    pub(super) unread: u64,
    /// Digits from here on.
    pub(super) digits: [u8; MOST + 1],
    /// log2 P(all before this one are read as they are).
    right: [f64; MOST + 1],
    /// What the gaps before them cost where none is expected.
    gaps: [f64; MOST + 1],
}

impl Default for Plain {
    fn default() -> Plain {
        Plain {
            ids: [0; MOST + HELD],
            classes: [0; MOST + HELD],
            known: [0; MOST + HELD],
            unread: 0,
            digits: [0; MOST + 1],
            right: [0.0; MOST + 1],
            gaps: [0.0; MOST + 1],
        }
    }
}

/// The glyphs from a position on, one a byte from the lowest on.
pub(super) fn held(of: &[u8], at: usize) -> u64 {
    let bytes = of[at..].first_chunk().copied();
    u64::from_le_bytes(bytes.unwrap_or_default())
}

impl Plain {
    /// What the gaps within a stretch cost where none is expected.
    pub(super) fn gaps(&self, at: usize, length: usize) -> f64 {
        self.gaps[at + length] - self.gaps[at + 1]
    }

    /// log2 P(a stretch is read as it is), gaps within it included.
    pub(super) fn as_read(&self, at: usize, length: usize) -> f64 {
        self.right[at + length] - self.right[at] + self.gaps(at, length)
    }

    /// Whether some glyph of a stretch was not read.
    pub(super) fn is_unread(&self, at: usize, length: usize) -> bool {
        self.unread != 0
            && self.unread >> at & !(!0_u64).checked_shl(length as u32).unwrap_or(0) != 0
    }

    /// Fills it from a stream.
    pub(super) fn fill(&mut self, stream: &Stream, alphabet: &Alphabet) {
        let glyphs = stream.len().min(MOST);
        self.unread = 0;
        let (mut right, mut gaps) = (0.0, 0.0);
        for (at, tick) in stream.ticks[..glyphs].iter().enumerate() {
            self.ids[at] = tick.id;
            self.classes[at] = tick.class;
            let unread = tick.doubt == Doubt::Unread;
            self.known[at] = if unread { 0 } else { u8::MAX };
            self.unread |= u64::from(unread) << at;
            self.right[at] = right;
            self.gaps[at] = gaps;
            right += alphabet.right(tick.id);
            if tick.gap != Gap::Within(Boundary::None) {
                gaps += gap_between(tick.gap, None).unwrap_or(0.0);
            }
        }
        self.right[glyphs] = right;
        self.gaps[glyphs] = gaps;
        self.ids[glyphs..glyphs + HELD].fill(u8::MAX);
        self.classes[glyphs..glyphs + HELD].fill(u8::MAX);
        self.known[glyphs..glyphs + HELD].fill(u8::MAX);
        self.digits[glyphs] = 0;
        let mut run = 0;
        for (digits, id) in self.digits[..glyphs].iter_mut().zip(&self.ids).rev() {
            run = if *id < 10 { run + 1 } else { 0 };
            *digits = run;
        }
    }
}
