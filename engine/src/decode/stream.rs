//! A reading as the search sees it: one stream of glyph ids over all lines.

use super::reading::{Reading, Seen};
use crate::compile::{Alphabet, OTHER, Step};
use crate::glyph::{Boundary, Glyph};

/// What stands before a glyph of the stream.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Gap {
    /// A boundary within a line.
    Within(Boundary),
    /// The line begins here.
    Line,
}

/// How a glyph was read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Doubt {
    /// As far as one can tell.
    Read,
    /// For certain.
    Certain,
    /// One of a set.
    OneOf,
    /// Not.
    Unread,
    /// Any number of glyphs, not read.
    Run,
    /// Read, but taken for any glyph that looks nothing like it.
    Other,
}

/// One glyph of the stream.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Tick {
    pub(crate) id: u8,
    pub(crate) class: u8,
    pub(crate) doubt: Doubt,
    /// The ids it can be as read: one, a set, or all.
    pub(crate) set: u128,
    /// Whether a letter is small.
    pub(crate) lower: bool,
    pub(crate) gap: Gap,
    pub(crate) line: u16,
    pub(crate) span: (u32, u32),
}

impl Tick {
    /// What an index of lines makes of it.
    pub(crate) fn step(&self) -> Step {
        match self.doubt {
            Doubt::Read | Doubt::Certain => Step::Class(self.class),
            Doubt::Run => Step::Run,
            _ => Step::One,
        }
    }
}

/// The stream of a reading.
#[derive(Debug, Clone, Default)]
pub(crate) struct Stream {
    pub(crate) ticks: Vec<Tick>,
    /// Where a line of a form can begin: at the start of lines and after spaces.
    pub(crate) starts: Vec<usize>,
    /// For each of them, the first place behind it at which a line of a form can end.
    pub(crate) nearest: Vec<usize>,
    /// Bit by position: a line of a form can end before this glyph. One more than there are glyphs.
    pub(crate) stops: Vec<bool>,
    /// Whether each line has capitals only, so that case was lost.
    pub(crate) capitals: Vec<bool>,
    /// Whether any glyph is not plainly read.
    pub(crate) doubtful: bool,
}

impl Stream {
    /// Fills the stream from a reading, keeping its buffers.
    pub(crate) fn fill(&mut self, reading: &Reading, alphabet: &Alphabet) {
        self.ticks.clear();
        self.capitals.clear();
        self.doubtful = false;
        for (index, line) in (0_u16..).zip(&reading.lines) {
            let mut lower_seen = false;
            for (at, mark) in line.marks.iter().take(super::MAX_GLYPHS).enumerate() {
                let mut tick = Tick {
                    id: OTHER,
                    class: OTHER,
                    doubt: Doubt::Read,
                    set: 0,
                    lower: false,
                    gap: if at == 0 {
                        Gap::Line
                    } else {
                        Gap::Within(mark.before)
                    },
                    line: index,
                    span: mark.span,
                };
                let lower =
                    |glyph: &Glyph| matches!(glyph, Glyph::Char(c) if c.is_ascii_lowercase());
                match &mark.seen {
                    Seen::Glyph(glyph) | Seen::Certain(glyph) => {
                        tick.id = alphabet.id(glyph);
                        tick.class = alphabet.class(tick.id);
                        tick.set = 1 << tick.id;
                        tick.lower = lower(glyph);
                        lower_seen |= tick.lower;
                        if matches!(mark.seen, Seen::Certain(_)) {
                            tick.doubt = Doubt::Certain;
                        }
                    }
                    Seen::OneOf(glyphs) => {
                        tick.doubt = Doubt::OneOf;
                        tick.set = glyphs
                            .iter()
                            .fold(0, |set, glyph| set | 1 << alphabet.id(glyph));
                        tick.lower = glyphs.iter().all(lower);
                    }
                    Seen::Unread => (tick.doubt, tick.set) = (Doubt::Unread, !0),
                    Seen::Run => (tick.doubt, tick.set) = (Doubt::Run, !0),
                }
                self.doubtful |= !matches!(tick.doubt, Doubt::Read | Doubt::Certain);
                self.ticks.push(tick);
            }
            self.capitals.push(!lower_seen);
        }
        self.mark_gaps();
    }

    /// Notes where lines of a form can begin and end.
    pub(crate) fn mark_gaps(&mut self) {
        self.starts.clear();
        self.stops.clear();
        for (at, tick) in self.ticks.iter().enumerate() {
            let begins = matches!(tick.gap, Gap::Line | Gap::Within(Boundary::Space));
            if begins {
                self.starts.push(at);
            }
            self.stops
                .push(!matches!(tick.gap, Gap::Within(Boundary::None)));
        }
        self.stops.push(true);
        self.nearest.clear();
        for start in &self.starts {
            let stop = (start + 1..self.stops.len()).find(|at| self.stops[*at]);
            self.nearest.push(stop.unwrap_or(self.stops.len()));
        }
    }

    pub(crate) fn len(&self) -> usize {
        self.ticks.len()
    }
}
