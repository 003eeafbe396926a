//! Texts and places: which file, where in it, and the one door to other files.

use std::borrow::Cow;
use std::fmt;
use std::sync::OnceLock;

use borsh::{BorshDeserialize, BorshSerialize};

/// A text of the rule set, by number.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, BorshSerialize, BorshDeserialize,
)]
pub struct SourceId(pub u32);

/// A stretch of a text in bytes, end excluded. Texts are at most 4 GiB; places beyond are clamped.
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
pub struct Span {
    /// First byte.
    pub start: u32,
    /// Byte after the last.
    pub end: u32,
}

impl Span {
    /// The stretch from `start` to `end`.
    #[must_use]
    pub fn new(start: usize, end: usize) -> Span {
        let clamp = |at: usize| u32::try_from(at).unwrap_or(u32::MAX);
        Span {
            start: clamp(start),
            end: clamp(end.max(start)),
        }
    }

    /// The stretch as a range of indices.
    #[must_use]
    pub fn range(self) -> std::ops::Range<usize> {
        self.start as usize..self.end as usize
    }

    /// The smallest stretch that holds both.
    #[must_use]
    pub fn join(self, other: Span) -> Span {
        Span {
            start: self.start.min(other.start),
            end: self.end.max(other.end),
        }
    }
}

/// A stretch of a certain text.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, BorshSerialize, BorshDeserialize,
)]
pub struct Place {
    /// The text.
    pub source: SourceId,
    /// The stretch.
    pub span: Span,
}

/// Line and column for people: both from 1, the column in Unicode scalar values.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct LineCol {
    /// Line, from 1.
    pub line: usize,
    /// Column, from 1.
    pub column: usize,
}

/// One text.
#[derive(Debug, Clone)]
pub struct Source {
    /// Name as shown to people: a path, or `builtin/NAME`.
    pub name: String,
    /// The text.
    pub text: Cow<'static, str>,
    /// Whether it belongs to the embedded packs.
    pub builtin: bool,
    /// First byte of each line, once asked for.
    line_starts: OnceLock<Vec<u32>>,
}

impl Source {
    fn line_starts(&self) -> &[u32] {
        self.line_starts.get_or_init(|| {
            let ends = self.text.bytes().enumerate().filter(|(_, b)| *b == b'\n');
            std::iter::once(0)
                .chain(ends.map(|(at, _)| at + 1))
                .map(|at| u32::try_from(at).unwrap_or(u32::MAX))
                .collect()
        })
    }

    /// Line and column of a byte.
    #[must_use]
    pub fn line_col(&self, byte: u32) -> LineCol {
        let starts = self.line_starts();
        let line = starts.partition_point(|start| *start <= byte).max(1);
        let start = starts[line - 1] as usize;
        let upto = self
            .text
            .get(start..(byte as usize).min(self.text.len()))
            .unwrap_or("");
        LineCol {
            line,
            column: upto.chars().count() + 1,
        }
    }

    /// The text of a line, from 1, without its end.
    #[must_use]
    pub fn line_text(&self, line: usize) -> &str {
        let start = self
            .line_starts()
            .get(line.wrapping_sub(1))
            .map_or(self.text.len(), |s| *s as usize);
        let end = self
            .line_starts()
            .get(line)
            .map_or(self.text.len(), |s| *s as usize);
        self.text
            .get(start..end)
            .unwrap_or("")
            .trim_end_matches(['\n', '\r'])
    }
}

/// All texts of a rule set.
#[derive(Debug, Clone, Default)]
pub struct Sources {
    list: Vec<Source>,
}

impl Sources {
    /// Adds a text.
    pub fn add(
        &mut self,
        name: impl Into<String>,
        text: impl Into<Cow<'static, str>>,
        builtin: bool,
    ) -> SourceId {
        self.list.push(Source {
            name: name.into(),
            text: text.into(),
            builtin,
            line_starts: OnceLock::new(),
        });
        SourceId(u32::try_from(self.list.len() - 1).unwrap_or(u32::MAX))
    }

    /// A text by id; `None` for an id of another set.
    #[must_use]
    pub fn get(&self, id: SourceId) -> Option<&Source> {
        self.list.get(id.0 as usize)
    }

    /// The text of an id, empty for an id of another set.
    #[must_use]
    pub fn text(&self, id: SourceId) -> &str {
        self.get(id).map_or("", |source| &*source.text)
    }

    /// The id of a name.
    #[must_use]
    pub fn find(&self, name: &str) -> Option<SourceId> {
        self.list
            .iter()
            .position(|source| source.name == name)
            .map(|at| SourceId(at as u32))
    }

    /// All texts with their ids, in the order added.
    pub fn iter(&self) -> impl Iterator<Item = (SourceId, &Source)> {
        (0..).map(SourceId).zip(&self.list)
    }

    /// `file:line`, as answers name a rule.
    #[must_use]
    pub fn file_line(&self, place: Place) -> String {
        self.get(place.source).map_or_else(String::new, |source| {
            format!("{}:{}", source.name, source.line_col(place.span.start).line)
        })
    }
}

/// Why a file was not loaded.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum LoadError {
    /// There is none.
    NotFound,
    /// The path leads out of the rule set.
    Outside,
    /// It is there but cannot be read: why.
    Unreadable(String),
}

impl fmt::Display for LoadError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            LoadError::NotFound => f.write_str("there is no such file"),
            LoadError::Outside => f.write_str("the path leads out of the rule set"),
            LoadError::Unreadable(why) => write!(f, "it cannot be read: {why}"),
        }
    }
}

/// The one door to files: `use` and `from` go through it.
pub trait Loader {
    /// The name and text of `path` as written in the text called `from`.
    ///
    /// # Errors
    /// There is no such file, it lies outside the rule set, or it cannot be read.
    fn load(&self, from: &str, path: &str) -> Result<(String, String), LoadError>;
}
