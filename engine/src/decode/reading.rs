//! What was read: lines of glyphs with boundaries and doubt.
//!
//! The notation, where it is on: `_` or `?` one unread character, `..` an unread run, `{B8}` one of these characters, `{3}` this
//! character for certain, `{:e3}` a symbol, `\` takes the next character as printed. One line of a package is one [`Line`]; in one
//! text, ` | ` parts lines. The separators of a scanned symbol come as control characters and are symbols too: `{:gs}` and its like.

use std::sync::Arc;

use crate::glyph::{Boundary, Glyph};
use crate::model::FormKind;

/// The most lines that a reading keeps; further ones are an error.
pub const MAX_LINES: usize = 16;

/// The most glyphs that one line keeps for matching; a longer line is cut there, and the rest is unexplained.
pub const MAX_GLYPHS: usize = 256;

/// What was read of one package.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Reading {
    /// The lines, as printed.
    pub lines: Vec<Line>,
    /// Where it was read, if that is known.
    pub form: Option<FormKind>,
}

/// One printed line.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Line {
    /// As typed.
    pub text: String,
    /// Its glyphs.
    pub marks: Vec<Mark>,
}

/// One glyph of a line, as far as it was read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Mark {
    /// What was seen.
    pub seen: Seen,
    /// The boundary before it. Before the first glyph of a line it is not used.
    pub before: Boundary,
    /// Where it stands in the line as typed, in Unicode scalar values.
    pub span: (u32, u32),
}

/// What was seen in one place.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Seen {
    /// This glyph, as far as one can tell.
    Glyph(Glyph),
    /// This glyph, for certain.
    Certain(Glyph),
    /// One of these.
    OneOf(Vec<Glyph>),
    /// A glyph, not read.
    Unread,
    /// Any number of glyphs, also none, not read.
    Run,
}

/// How a text is to be taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Notation {
    /// Takes every character as printed.
    pub plain: bool,
    /// Makes every character certain.
    pub certain: bool,
    /// In tables: no notation but `?` inside an alphanumeric word, an unread character.
    pub table: bool,
}

/// Why a text is not a reading.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ReadingError {
    /// What is wrong and what to do.
    pub message: String,
    /// Line of the reading, from 0.
    pub line: usize,
    /// Where in it, in Unicode scalar values.
    pub at: usize,
}

impl std::fmt::Display for ReadingError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(
            f,
            "line {}, character {}: {}",
            self.line + 1,
            self.at + 1,
            self.message
        )
    }
}

impl std::error::Error for ReadingError {}

impl Reading {
    /// The same reading with the symbols set apart that touch other glyphs: a dot or a finish symbol stands beside a mark more often than it belongs
    /// to it. `None` where no symbol touches.
    pub(crate) fn symbols_apart(&self) -> Option<Reading> {
        let symbol = |mark: &Mark| {
            matches!(
                &mark.seen,
                Seen::Glyph(Glyph::Symbol(_)) | Seen::Certain(Glyph::Symbol(_))
            )
        };
        let touches = |pair: &[Mark]| {
            pair[1].before == Boundary::None && (symbol(&pair[0]) || symbol(&pair[1]))
        };
        if !self
            .lines
            .iter()
            .any(|line| line.marks.windows(2).any(touches))
        {
            return None;
        }
        let mut apart = self.clone();
        for line in &mut apart.lines {
            for at in 1..line.marks.len() {
                if touches(&line.marks[at - 1..=at]) {
                    line.marks[at].before = Boundary::Space;
                }
            }
        }
        Some(apart)
    }

    /// Reads one text, in which ` | ` parts the lines.
    ///
    /// # Errors
    /// A brace that is not closed or is empty, a `\` at the end, more than [`MAX_LINES`] lines, nothing to read.
    pub fn parse(text: &str, notation: Notation) -> Result<Reading, ReadingError> {
        let lines: Vec<&str> = if notation.plain {
            vec![text]
        } else {
            split_lines(text)
        };
        Reading::of_lines(&lines, notation)
    }

    /// Reads several lines.
    ///
    /// # Errors
    /// As [`Reading::parse`].
    pub fn of_lines<S: AsRef<str>>(
        lines: &[S],
        notation: Notation,
    ) -> Result<Reading, ReadingError> {
        if lines.len() > MAX_LINES {
            let message = format!(
                "a package has at most {MAX_LINES} lines here, this reading has {}",
                lines.len()
            );
            return Err(ReadingError {
                message,
                line: MAX_LINES,
                at: 0,
            });
        }
        let mut read = Vec::with_capacity(lines.len());
        for (index, line) in lines.iter().enumerate() {
            read.push(read_line(line.as_ref(), index, notation)?);
        }
        if read.iter().all(|line| line.marks.is_empty()) {
            return Err(ReadingError {
                message: "there is nothing to read".to_owned(),
                line: 0,
                at: 0,
            });
        }
        Ok(Reading {
            lines: read,
            form: None,
        })
    }

    /// The same reading of a known form.
    #[must_use]
    pub fn in_form(mut self, form: Option<FormKind>) -> Reading {
        self.form = form;
        self
    }
}

/// Parts a text at ` | ` outside braces and escapes.
fn split_lines(text: &str) -> Vec<&str> {
    let bytes = text.as_bytes();
    let mut lines = Vec::new();
    let (mut start, mut at, mut brace) = (0, 0, false);
    while at < bytes.len() {
        match bytes[at] {
            b'\\' => at += 1,
            b'{' => brace = true,
            b'}' => brace = false,
            b'|' if !brace
                && (at == 0 || bytes[at - 1] == b' ')
                && bytes.get(at + 1).is_none_or(|b| *b == b' ') =>
            {
                lines.push(text[start..at].trim_end_matches(' '));
                start = (at + 2).min(bytes.len());
            }
            _ => {}
        }
        at += 1;
    }
    lines.push(text.get(start..).unwrap_or("").trim_start_matches(' '));
    lines
}

fn read_line(text: &str, index: usize, notation: Notation) -> Result<Line, ReadingError> {
    let chars: Vec<char> = text.chars().collect();
    let error = |at: usize, message: &str| ReadingError {
        message: message.to_owned(),
        line: index,
        at,
    };
    let mut marks: Vec<Mark> = Vec::with_capacity(chars.len());
    let mut before = Boundary::None;
    let mut at = 0;
    let on = !notation.plain && !notation.table;
    while at < chars.len() {
        let start = at;
        let c = chars[at];
        at += 1;
        let plain = |glyph: Glyph| {
            if notation.certain {
                Seen::Certain(glyph)
            } else {
                Seen::Glyph(glyph)
            }
        };
        let seen = if on && c == '\\' {
            let Some(next) = chars.get(at) else {
                return Err(error(
                    start,
                    "`\\` takes the next character as printed, but none follows; write `\\\\` for a backslash",
                ));
            };
            at += 1;
            plain(Glyph::Char(*next))
        } else if on && c == '.' && chars.get(at) == Some(&'.') {
            at += 1;
            Seen::Run
        } else if on && (c == '_' || c == '?')
            || notation.table
                && c == '?'
                && beside_word(start, |at| {
                    chars.get(at).is_some_and(char::is_ascii_alphanumeric)
                })
        {
            Seen::Unread
        } else if on && c == '{' {
            let Some(length) = chars[at..].iter().position(|c| *c == '}') else {
                return Err(error(
                    start,
                    "this `{` is not closed; write `\\{` for the character itself",
                ));
            };
            let inside = &chars[at..at + length];
            at += length + 1;
            in_braces(inside).ok_or_else(|| error(start, "nothing stands between the braces; `{B8}` is one of B and 8, `{3}` a certain 3, `{:e3}` a symbol"))?
        } else if let Some(boundary) = Boundary::of(c) {
            // Of several boundaries in a row the strongest sign counts: a dash between spaces is a dash.
            before = before.max(boundary);
            continue;
        } else if let Some(name) = separator(c) {
            // A scanner never mistakes one.
            Seen::Certain(Glyph::Symbol(Arc::from(name)))
        } else {
            let (folded, _) = fold(c);
            plain(Glyph::Char(folded))
        };
        marks.push(Mark {
            seen,
            before,
            span: (scalar(start), scalar(at)),
        });
        before = Boundary::None;
    }
    Ok(Line {
        text: text.to_owned(),
        marks,
    })
}

/// The name of a control character that parts the fields of a scanned symbol (ISO/IEC 15434).
fn separator(c: char) -> Option<&'static str> {
    match c {
        '\u{4}' => Some("eot"),
        '\u{1c}' => Some("fs"),
        '\u{1d}' => Some("gs"),
        '\u{1e}' => Some("rs"),
        '\u{1f}' => Some("us"),
        _ => None,
    }
}

fn scalar(at: usize) -> u32 {
    u32::try_from(at).unwrap_or(u32::MAX)
}

/// Whether a letter or digit of ASCII stands beside a place: in a table a question mark elsewhere is one. `word` says whether one stands somewhere.
pub(super) fn beside_word(at: usize, word: impl Fn(usize) -> bool) -> bool {
    at.checked_sub(1).is_some_and(&word) || word(at + 1)
}

fn in_braces(inside: &[char]) -> Option<Seen> {
    match inside {
        [] | [':'] => None,
        [':', name @ ..] => {
            let name: String = name.iter().filter(|c| **c != ':').collect();
            Some(Seen::Certain(Glyph::Symbol(Arc::from(name.as_str()))))
        }
        [one] => Some(Seen::Certain(Glyph::Char(fold(*one).0))),
        several => Some(Seen::OneOf(
            several.iter().map(|c| Glyph::Char(fold(*c).0)).collect(),
        )),
    }
}

/// Folds a character that only looks like a printed one (full width, Cyrillic and Greek capitals) to what is printed. The second
/// value says whether it was changed.
#[must_use]
pub fn fold(c: char) -> (char, bool) {
    let folded = match c {
        '\u{ff01}'..='\u{ff5e}' => char::from_u32(c as u32 - 0xff01 + 0x21).unwrap_or(c),
        'А' | 'Α' => 'A',
        'В' | 'Β' => 'B',
        'С' | 'Ϲ' => 'C',
        'Е' | 'Ε' => 'E',
        'Н' | 'Η' => 'H',
        'І' | 'Ι' | 'Ӏ' => 'I',
        'Ј' => 'J',
        'К' | 'Κ' | '\u{212a}' => 'K',
        'М' | 'Μ' => 'M',
        'Ν' => 'N',
        'О' | 'Ο' => 'O',
        'Р' | 'Ρ' => 'P',
        'Ѕ' => 'S',
        'Т' | 'Τ' => 'T',
        'Х' | 'Χ' => 'X',
        'У' | 'Υ' => 'Y',
        'Ζ' => 'Z',
        'а' => 'a',
        'с' => 'c',
        'е' => 'e',
        'о' => 'o',
        'р' => 'p',
        'х' => 'x',
        'у' => 'y',
        'µ' | 'μ' => 'u',
        'Ω' => '\u{2126}',
        _ => c,
    };
    (folded, folded != c)
}
