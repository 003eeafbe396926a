//! A reading as the search sees it: one stream of glyph ids over all lines.

use super::reading::{Reading, Seen, beside_word};
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
    /// Lower and upper half of the ids it was read as one of; nothing for another doubt.
    pub(super) one_of: [u64; 2],
    /// Whether a letter is small.
    pub(crate) lower: bool,
    pub(crate) gap: Gap,
    pub(crate) line: u16,
    pub(crate) span: (u32, u32),
}

impl Tick {
    /// A glyph in the midst of a word of the first line.
    pub(crate) const NOTHING: Tick = Tick {
        id: OTHER,
        class: OTHER,
        doubt: Doubt::Read,
        one_of: [0; 2],
        lower: false,
        gap: Gap::Within(Boundary::None),
        line: 0,
        span: (0, 0),
    };

    /// The ids it can be as read: one, a set, or all.
    pub(crate) fn set(&self) -> u128 {
        match self.doubt {
            Doubt::Read | Doubt::Certain | Doubt::Other => 1 << self.id,
            Doubt::OneOf => u128::from(self.one_of[0]) | u128::from(self.one_of[1]) << 64,
            Doubt::Unread | Doubt::Run => !0,
        }
    }

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
        let lower = |glyph: &Glyph| matches!(glyph, Glyph::Char(c) if c.is_ascii_lowercase());
        self.ticks.clear();
        self.capitals.clear();
        self.doubtful = false;
        for (index, line) in (0_u16..).zip(&reading.lines) {
            let mut lower_seen = false;
            for (at, mark) in line.marks.iter().take(super::MAX_GLYPHS).enumerate() {
                let mut tick = Tick {
                    gap: if at == 0 {
                        Gap::Line
                    } else {
                        Gap::Within(mark.before)
                    },
                    line: index,
                    span: mark.span,
                    ..Tick::NOTHING
                };
                match &mark.seen {
                    Seen::Glyph(glyph) | Seen::Certain(glyph) => {
                        tick.id = alphabet.id(glyph);
                        tick.class = alphabet.class(tick.id);
                        tick.lower = lower(glyph);
                        lower_seen |= tick.lower;
                        if matches!(mark.seen, Seen::Certain(_)) {
                            tick.doubt = Doubt::Certain;
                        }
                    }
                    Seen::OneOf(glyphs) => {
                        tick.doubt = Doubt::OneOf;
                        let set: u128 = glyphs
                            .iter()
                            .fold(0, |set, glyph| set | 1 << alphabet.id(glyph));
                        tick.one_of = [set as u64, (set >> 64) as u64];
                        tick.lower = glyphs.iter().all(lower);
                    }
                    Seen::Unread => tick.doubt = Doubt::Unread,
                    Seen::Run => tick.doubt = Doubt::Run,
                }
                self.doubtful |= !matches!(tick.doubt, Doubt::Read | Doubt::Certain);
                self.ticks.push(tick);
            }
            self.capitals.push(!lower_seen);
        }
        self.mark_gaps();
    }

    /// Fills the stream as reading a text in the notation of tables does; false where there is more in it than letters, digits, spaces, dashes and
    /// slashes of ASCII, and unread characters.
    pub(crate) fn fill_text(&mut self, text: &str, alphabet: &Alphabet) -> bool {
        self.ticks.clear();
        self.capitals.clear();
        self.starts.clear();
        self.nearest.clear();
        self.stops.clear();
        self.doubtful = false;
        if text.len() > super::MAX_GLYPHS {
            return false;
        }
        self.ticks.reserve(text.len());
        self.stops.reserve(text.len() + 1);
        let bytes = text.as_bytes();
        let word = |at: usize| bytes.get(at).is_some_and(u8::is_ascii_alphanumeric);
        let (mut gap, mut lower_seen) = (Gap::Line, false);
        for (at, byte) in (0_u32..).zip(bytes.iter().copied()) {
            let boundary = match byte {
                b' ' => Boundary::Space,
                b'-' => Boundary::Dash,
                b'/' => Boundary::Slash,
                _ => {
                    let read = if byte.is_ascii_alphanumeric() {
                        let id = alphabet.of_ascii(byte);
                        Tick {
                            id,
                            class: alphabet.class(id),
                            lower: byte.is_ascii_lowercase(),
                            ..Tick::NOTHING
                        }
                    } else if byte == b'?' && beside_word(at as usize, word) {
                        self.doubtful = true;
                        Tick {
                            doubt: Doubt::Unread,
                            ..Tick::NOTHING
                        }
                    } else {
                        return false;
                    };
                    lower_seen |= read.lower;
                    let stop = gap != Gap::Within(Boundary::None);
                    if stop {
                        self.part(gap);
                    }
                    self.stops.push(stop);
                    self.ticks.push(Tick {
                        gap,
                        span: (at, at + 1),
                        ..read
                    });
                    gap = Gap::Within(Boundary::None);
                    continue;
                }
            };
            // Of several boundaries in a row the strongest sign counts, as in a reading.
            if let Gap::Within(before) = gap {
                gap = Gap::Within(before.max(boundary));
            }
        }
        self.stops.push(true);
        let end = self.ticks.len();
        self.nearest.resize(self.starts.len(), end);
        self.capitals.push(!lower_seen);
        end > 0
    }

    /// Notes that a line can end before the next glyph, which follows on a gap, and perhaps begin there.
    fn part(&mut self, gap: Gap) {
        let position = self.ticks.len();
        while self.nearest.len() < self.starts.len() {
            self.nearest.push(position);
        }
        if matches!(gap, Gap::Line | Gap::Within(Boundary::Space)) {
            self.starts.push(position);
        }
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
            let behind = self.stops.iter().skip(start + 1);
            let stop = behind.zip(start + 1..).find(|(stop, _)| **stop);
            self.nearest
                .push(stop.map_or(self.stops.len(), |(_, at)| at));
        }
    }

    pub(crate) fn len(&self) -> usize {
        self.ticks.len()
    }
}
