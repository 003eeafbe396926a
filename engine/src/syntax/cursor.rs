//! The rest of one line: takes tokens, notes faults, goes on.

use nom::Parser;

use super::ast::Word;
use super::token::{self, Token};
use crate::diagnostic::Diagnostic;
use crate::source::{Place, SourceId, Span};

/// Words that begin a clause.
pub(super) const CLAUSES: &[&str] = &[
    "since",
    "until",
    "source",
    "standing",
    "reviewed",
    "note",
    "weight",
    "when",
    "prints",
    "each",
    "cased",
    "of",
    "slack",
    "calendar",
    "seen",
    "stands",
    "contains",
    "succeeds",
    "second_source",
];

/// Words that begin a form.
pub(crate) const FORMS: &[&str] = &[
    "code", "mark", "top", "bottom", "side", "die", "lid", "label", "matrix", "short", "base",
];

/// Other words that cannot name a slot.
pub(super) const HEADS: &[&str] = &[
    "lore",
    "use",
    "maker",
    "table",
    "group",
    "family",
    "function",
    "date",
    "never",
    "seldom",
    "check",
    "example",
    "refuse",
    "accept",
    "otherwise",
    "without",
    "none",
    "unlisted",
    "nothing",
    "or",
    "and",
    "not",
    "gives",
    "by",
    "in",
    "row",
];

/// Class words.
pub(super) const CLASSES: &[(&str, &str)] = &[
    ("letter", "letter"),
    ("letters", "letter"),
    ("digit", "digit"),
    ("digits", "digit"),
    ("alnum", "alnum"),
    ("hex", "hex"),
    ("glyph", "glyph"),
    ("glyphs", "glyph"),
];

/// A line that cannot be read further; the fault is already noted.
pub(super) struct Stop;

pub(super) type Parse<T> = Result<T, Stop>;

/// The rest of a line.
pub(super) struct Cursor<'a> {
    /// The line's content.
    line: &'a str,
    /// Byte in the line.
    pub(super) at: usize,
    /// Byte of the line's content in the file.
    base: usize,
    source: SourceId,
    pub(super) faults: &'a mut Vec<Diagnostic>,
}

impl<'a> Cursor<'a> {
    pub(super) fn new(
        line: &'a str,
        base: usize,
        source: SourceId,
        faults: &'a mut Vec<Diagnostic>,
    ) -> Cursor<'a> {
        Cursor {
            line,
            at: 0,
            base,
            source,
            faults,
        }
    }

    pub(super) fn rest(&self) -> &'a str {
        self.line.get(self.at..).unwrap_or("")
    }

    pub(super) fn space(&mut self) {
        self.at += self.rest().len() - self.rest().trim_start_matches(' ').len();
    }

    pub(super) fn done(&mut self) -> bool {
        self.space();
        self.rest().is_empty()
    }

    pub(super) fn span(&self, from: usize) -> Span {
        Span::new(self.base + from, self.base + self.at)
    }

    pub(super) fn place(&self, span: Span) -> Place {
        Place {
            source: self.source,
            span,
        }
    }

    /// The place of the next word.
    pub(super) fn next_place(&mut self) -> Place {
        self.space();
        let length = token::raw(self.rest()).map_or(0, |(_, word)| word.len());
        let end = self.at + length;
        self.place(Span::new(self.base + self.at, self.base + end))
    }

    /// Tries a token after spaces.
    pub(super) fn take<T>(
        &mut self,
        mut parser: impl FnMut(&'a str) -> Token<'a, T>,
    ) -> Option<(T, Span)> {
        self.space();
        let from = self.at;
        let (rest, value) = parser(self.rest()).ok()?;
        self.at = self.line.len() - rest.len();
        Some((value, self.span(from)))
    }

    pub(super) fn word_of(&mut self, parser: impl FnMut(&'a str) -> Token<'a>) -> Option<Word> {
        self.take(parser).map(|(text, span)| Word {
            text: text.to_owned(),
            span,
            quoted: false,
        })
    }

    /// The next name, without taking it.
    pub(super) fn peek_name(&mut self) -> Option<&'a str> {
        self.space();
        token::name(self.rest()).ok().map(|(_, name)| name)
    }

    /// Takes a name if it is this word.
    pub(super) fn keyword(&mut self, word: &str) -> Option<Span> {
        (self.peek_name() == Some(word))
            .then(|| self.take(token::name))
            .flatten()
            .map(|(_, span)| span)
    }

    pub(super) fn name(&mut self, what: &str) -> Parse<Word> {
        match self.word_of(token::name) {
            Some(word) => Ok(word),
            None => {
                let place = self.next_place();
                Err(self.fault(
                    "name-expected",
                    place,
                    format!("{what} is expected here"),
                    "a name is a lower-case letter, then a-z, 0-9 and _",
                ))
            }
        }
    }

    pub(super) fn text(&mut self) -> Option<Word> {
        self.space();
        let (text, span) = self.take(token::text)?;
        Some(Word {
            text: token::unescape(text),
            span,
            quoted: true,
        })
    }

    pub(super) fn text_expected(&mut self, what: &str) -> Parse<Word> {
        match self.text() {
            Some(text) => Ok(text),
            None => {
                let place = self.next_place();
                Err(self.fault(
                    "text-expected",
                    place,
                    format!("{what} stands in quotes"),
                    "write \"...\"",
                ))
            }
        }
    }

    /// A code: a run without spaces, or a text.
    pub(super) fn code(&mut self, in_list: bool) -> Option<Word> {
        self.space();
        if self.rest().starts_with('"') {
            return self.text();
        }
        self.word_of(|i| {
            if in_list {
                token::raw_in_list(i)
            } else {
                token::raw(i)
            }
        })
    }

    pub(super) fn code_expected(&mut self, what: &str) -> Parse<Word> {
        match self.code(false) {
            Some(code) if code.text.is_empty() => {
                let place = self.place(code.span);
                Err(self.fault(
                    "code-expected",
                    place,
                    format!("{what} is empty"),
                    "where no code is printed, write `none`; a code that is only spelled as nothing in a form `prints nothing in` it",
                ))
            }
            Some(code) => Ok(code),
            None => {
                let place = self.next_place();
                Err(self.fault(
                    "code-expected",
                    place,
                    format!("{what} is missing here"),
                    "write the code as it is printed",
                ))
            }
        }
    }

    pub(super) fn symbol(&mut self, symbol: char) -> bool {
        self.space();
        if self.rest().starts_with(symbol) {
            self.at += symbol.len_utf8();
            return true;
        }
        false
    }

    pub(super) fn number(&mut self, what: &str) -> Parse<Word> {
        match self.word_of(|i| token::number.parse(i)) {
            Some(word) => Ok(word),
            None => {
                let place = self.next_place();
                Err(self.fault(
                    "number-expected",
                    place,
                    format!("{what} is a number"),
                    "write digits, as 4 or 0.5",
                ))
            }
        }
    }

    /// Notes a fault and stops the line.
    pub(super) fn fault(
        &mut self,
        code: &'static str,
        place: Place,
        title: impl Into<String>,
        help: impl Into<String>,
    ) -> Stop {
        self.faults
            .push(Diagnostic::new(code, place, title).help(help));
        Stop
    }

    pub(super) fn note(&mut self, diagnostic: Diagnostic) {
        self.faults.push(diagnostic);
    }
}

/// Whether a word is of the language, so that no slot, table or field can be called so.
#[must_use]
pub fn is_reserved(word: &str) -> bool {
    CLAUSES.contains(&word)
        || FORMS.contains(&word)
        || HEADS.contains(&word)
        || CLASSES.iter().any(|(class, _)| *class == word)
}
