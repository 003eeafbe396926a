//! Where in a YAML text something stands.

use std::path::Path;

use serde::de::{DeserializeSeed, Deserializer, Error, IgnoredAny, MapAccess, SeqAccess, Visitor};

use unicode_width::UnicodeWidthStr;

use crate::failure::Failure;

/// One step of the way to a value.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Step {
    /// The value of a key.
    Key(&'static str),
    /// An item of a list.
    Item(usize),
}

/// Line and column, from 1.
pub(super) type At = Option<(usize, usize)>;

/// Finds a value by its path: the text is read again up to there, and the reader's own error tells the place.
pub(super) fn of(text: &str, path: &[Step]) -> At {
    let probe = Probe { path };
    let error = probe
        .deserialize(serde_yaml::Deserializer::from_str(text))
        .err()?;
    error.location().map(|at| (at.line(), at.column()))
}

/// Where a document begins.
pub(super) fn first(document: serde_yaml::Deserializer<'_>) -> At {
    let error = Probe { path: &[] }.deserialize(document).err()?;
    error.location().map(|at| (at.line(), at.column()))
}

/// Goes down a path, and fails at its end.
struct Probe<'p> {
    path: &'p [Step],
}

impl<'de> DeserializeSeed<'de> for Probe<'_> {
    type Value = ();

    fn deserialize<D: Deserializer<'de>>(self, deserializer: D) -> Result<(), D::Error> {
        deserializer.deserialize_any(self)
    }
}

impl<'de> Visitor<'de> for Probe<'_> {
    type Value = ();

    fn expecting(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("a place")
    }

    // A scalar is the end of every path; the default methods fail there as well.
    fn visit_str<E: Error>(self, _: &str) -> Result<(), E> {
        Err(E::custom("here"))
    }

    fn visit_unit<E: Error>(self) -> Result<(), E> {
        Err(E::custom("here"))
    }

    fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<(), A::Error> {
        let path = match self.path {
            // One that stands for a list of one.
            [Step::Item(_), rest @ ..] => rest,
            path => path,
        };
        let Some((Step::Key(wanted), rest)) = path.split_first() else {
            return Err(A::Error::custom("here"));
        };
        while let Some(key) = map.next_key::<String>()? {
            if key == *wanted {
                map.next_value_seed(Probe { path: rest })?;
            } else {
                map.next_value::<IgnoredAny>()?;
            }
        }
        // A key that is missing: the place of the map.
        Err(A::Error::custom("here"))
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut list: A) -> Result<(), A::Error> {
        let Some((Step::Item(wanted), rest)) = self.path.split_first() else {
            return Err(A::Error::custom("here"));
        };
        for _ in 0..*wanted {
            list.next_element::<IgnoredAny>()?;
        }
        list.next_element_seed(Probe { path: rest })?;
        Err(A::Error::custom("here"))
    }
}

/// The most characters of a line that are shown.
const SHOWN: usize = 100;

/// What is wrong, where, with the line and a caret.
pub(super) fn failure(path: &Path, text: &str, at: At, what: &str, help: String) -> Failure {
    let Some((line, column)) = at else {
        return Failure::Unreadable(format!("{}: {what}", path.display()), help);
    };
    // Tabs and control characters would move the caret, or the terminal.
    let plain = |c: char| if c.is_control() { ' ' } else { c };
    let shown: Vec<char> = text
        .lines()
        .nth(line - 1)
        .unwrap_or_default()
        .chars()
        .map(plain)
        .collect();
    // A long line is shown around the place.
    let from = match shown.len() {
        0..=SHOWN => 0,
        long => column.saturating_sub(SHOWN / 2).min(long - SHOWN / 2),
    };
    let piece: String = shown.iter().skip(from).take(SHOWN).collect();
    let before: String = shown.iter().take(column - 1).skip(from).collect();
    let number = line.to_string();
    let margin = " ".repeat(number.len());
    let caret = " ".repeat(before.width());
    Failure::Unreadable(
        format!(
            "{}:{line}:{column}: {what}\n {margin} |\n {number} | {piece}\n {margin} | {caret}^",
            path.display()
        ),
        help,
    )
}
