//! Marks as runs of letters, digits and signs between boundaries.

use super::super::corpus::reading;
use crate::decode::Seen;
use crate::glyph::{Boundary, Glyph};

/// What a run consists of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub(super) enum Class {
    Letters,
    Digits,
    /// Letters and digits mixed, where no order is seen in them.
    Alnum,
    /// Another character, as it is printed.
    Sign(char),
    /// A boundary, by the sign that stands for it in a row.
    Gap(char),
}

impl Class {
    pub(super) fn is_gap(self) -> bool {
        matches!(self, Class::Gap(_))
    }

    /// Whether it stands in a place of its own, with codes.
    pub(super) fn has_codes(self) -> bool {
        matches!(self, Class::Letters | Class::Digits | Class::Alnum)
    }

    /// Whether the two run into each other where nothing parts them.
    pub(super) fn melts(self, other: Class) -> bool {
        let alnum = |class| class == Class::Alnum;
        self.has_codes() && other.has_codes() && (self == other || alnum(self) || alnum(other))
    }

    /// How many characters it chooses from.
    pub(super) fn size(self) -> f64 {
        match self {
            Class::Letters => 26.0,
            Class::Digits => 10.0,
            Class::Alnum => 36.0,
            Class::Sign(_) | Class::Gap(_) => 1.0,
        }
    }
}

/// The sign of a new line in a row.
pub(super) const NEW_LINE: char = '|';

/// A run of a mark.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Run {
    pub(super) class: Class,
    pub(super) text: String,
}

/// A mark of the corpus: capitals, and one sign for each boundary (`~` a space).
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Mark {
    /// Its place in the corpus.
    pub(super) at: usize,
    /// How often it stands there.
    pub(super) times: usize,
    /// What is printed: each character with what it is.
    pub(super) chars: Vec<(char, Class)>,
}

/// Cuts up a mark; `None` where a character is not read, or is none that a rule can spell.
pub(super) fn cut(at: usize, text: &str, times: usize) -> Option<Mark> {
    let reading = reading(text)?;
    let mut chars: Vec<(char, Class)> = Vec::with_capacity(text.len());
    for line in reading.lines.iter().filter(|line| !line.marks.is_empty()) {
        for (place, mark) in line.marks.iter().enumerate() {
            let gap = match mark.before {
                _ if chars.is_empty() => None,
                _ if place == 0 => Some(NEW_LINE),
                Boundary::None => None,
                Boundary::Space => Some('~'),
                Boundary::Dash => Some('-'),
                Boundary::Slash => Some('/'),
                Boundary::Colon => Some(':'),
            };
            chars.extend(gap.map(|sign| (sign, Class::Gap(sign))));
            let Seen::Glyph(Glyph::Char(c)) = &mark.seen else {
                return None;
            };
            let c = c.to_ascii_uppercase();
            let class = match c {
                '0'..='9' => Class::Digits,
                'A'..='Z' => Class::Letters,
                c if c.is_control() || c == '\u{fffd}' => return None,
                c => Class::Sign(c),
            };
            chars.push((c, class));
        }
    }
    (!chars.is_empty()).then_some(Mark { at, times, chars })
}

impl Mark {
    /// The character at a place, as it is compared.
    pub(super) fn char(&self, at: usize) -> Option<char> {
        self.chars.get(at).map(|(c, _)| *c)
    }

    pub(super) fn class(&self, at: usize) -> Option<Class> {
        self.chars.get(at).map(|(_, class)| *class)
    }

    /// The run of digits that begins at a place.
    pub(super) fn digits(&self, at: usize) -> String {
        self.chars[at.min(self.chars.len())..]
            .iter()
            .take_while(|(_, class)| *class == Class::Digits)
            .map(|(c, _)| *c)
            .collect()
    }

    /// Its runs from a place on.
    pub(super) fn runs(&self, from: usize) -> Vec<Run> {
        let mut runs: Vec<Run> = Vec::new();
        for (c, class) in &self.chars[from.min(self.chars.len())..] {
            match runs.last_mut() {
                Some(last) if last.class == *class && class.has_codes() => last.text.push(*c),
                _ => runs.push(Run {
                    class: *class,
                    text: c.to_string(),
                }),
            }
        }
        runs
    }

    /// It as a reading in the notation.
    pub(super) fn notation(&self) -> String {
        let mut text = String::with_capacity(self.chars.len() + 4);
        for (c, class) in &self.chars {
            match class {
                Class::Gap(NEW_LINE) => text.push_str(" | "),
                Class::Gap('~') => text.push(' '),
                Class::Sign('{' | '}' | '_' | '?' | '\\' | '|' | '.') => {
                    text.push('\\');
                    text.push(*c);
                }
                _ => text.push(*c),
            }
        }
        text
    }
}
