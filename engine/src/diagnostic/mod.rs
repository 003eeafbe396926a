//! What can be said to a person about a rule, as data: code, place, reason, and what to do.

mod codes;
mod mend;
mod suggest;

use crate::source::{Place, Sources};

pub use codes::{CODES, CodeInfo, info};
pub use mend::{Mended, mend};
pub use suggest::near;
pub(crate) use suggest::within;

/// How bad it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Severity {
    /// The rules cannot be used as they are.
    Error,
    /// They can, but something is probably wrong.
    Warning,
}

impl Severity {
    /// The word shown.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Severity::Error => "error",
            Severity::Warning => "warning",
        }
    }
}

/// A message at a place.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Label {
    /// Where.
    pub place: Place,
    /// What is there.
    pub text: String,
}

/// Whether a mend can be applied without a look.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Applicability {
    /// Meaning is kept or plainly meant.
    Safe,
    /// A guess; a person decides.
    Unsafe,
}

/// A change of text that would remove the fault.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fix {
    /// What it does.
    pub title: String,
    /// Stretches with what replaces them.
    pub edits: Vec<(Place, String)>,
    /// Whether it can be applied without a look.
    pub applicability: Applicability,
}

/// One thing said about a rule.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Diagnostic {
    /// Its kind, a word of [`CODES`].
    pub code: &'static str,
    /// How bad it is.
    pub severity: Severity,
    /// What is wrong, one line.
    pub title: String,
    /// Where; the first is the main one.
    pub labels: Vec<Label>,
    /// What to do.
    pub help: Vec<String>,
    /// Mends.
    pub fixes: Vec<Fix>,
}

impl Diagnostic {
    /// A diagnostic of a registered code at a place; the severity is the code's.
    #[must_use]
    pub fn new(code: &'static str, place: Place, title: impl Into<String>) -> Diagnostic {
        let severity = info(code).map_or(Severity::Error, |info| info.severity);
        let labels = vec![Label {
            place,
            text: String::new(),
        }];
        Diagnostic {
            code,
            severity,
            title: title.into(),
            labels,
            help: Vec::new(),
            fixes: Vec::new(),
        }
    }

    /// Says what stands at the main place.
    #[must_use]
    pub fn here(mut self, text: impl Into<String>) -> Diagnostic {
        if let Some(label) = self.labels.first_mut() {
            label.text = text.into();
        }
        self
    }

    /// Points at another place too.
    #[must_use]
    pub fn also(mut self, place: Place, text: impl Into<String>) -> Diagnostic {
        self.labels.push(Label {
            place,
            text: text.into(),
        });
        self
    }

    /// Says what to do.
    #[must_use]
    pub fn help(mut self, text: impl Into<String>) -> Diagnostic {
        self.help.push(text.into());
        self
    }

    /// Adds a mend of one stretch.
    #[must_use]
    pub fn fix(
        mut self,
        title: impl Into<String>,
        place: Place,
        text: impl Into<String>,
        applicability: Applicability,
    ) -> Diagnostic {
        self.fixes.push(Fix {
            title: title.into(),
            edits: vec![(place, text.into())],
            applicability,
        });
        self
    }

    /// The main place.
    #[must_use]
    pub fn place(&self) -> Option<Place> {
        self.labels.first().map(|label| label.place)
    }

    /// Plain text without drawing: `file:line:column: error[code] title`, then what is there and what to do.
    #[must_use]
    pub fn plain(&self, sources: &Sources) -> String {
        use std::fmt::Write as _;
        let mut text = String::new();
        for (at, label) in self.labels.iter().enumerate() {
            let Some(source) = sources.get(label.place.source) else {
                continue;
            };
            let from = source.line_col(label.place.span.start);
            if at == 0 {
                let word = self.severity.word();
                let _ = writeln!(
                    text,
                    "{}:{}:{}: {word}[{}] {}",
                    source.name, from.line, from.column, self.code, self.title
                );
            }
            let to = source.line_col(label.place.span.end);
            let width = if to.line == from.line {
                to.column.saturating_sub(from.column).max(1)
            } else {
                1
            };
            let _ = writeln!(text, "  {:>4} | {}", from.line, source.line_text(from.line));
            let _ = writeln!(
                text,
                "       | {}{} {}",
                " ".repeat(from.column - 1),
                "^".repeat(width),
                label.text
            );
        }
        for help in &self.help {
            let _ = writeln!(text, "  help: {help}");
        }
        for fix in &self.fixes {
            let _ = writeln!(text, "  mend: {}", fix.title);
        }
        text
    }
}
