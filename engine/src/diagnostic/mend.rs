//! Applies mends to a text.

use super::{Applicability, Diagnostic};
use crate::source::SourceId;

/// A text with its safe mends applied, and the titles of those applied.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Mended {
    /// The text.
    pub text: String,
    /// What was done: byte of the first change in the text before, code and title.
    pub done: Vec<(u32, &'static str, String)>,
}

/// Applies the safe mends of some diagnostics to one text. Of two that touch the same place the first is applied; what is left shows
/// again when the mended text is checked.
#[must_use]
pub fn mend(source: SourceId, text: &str, diagnostics: &[Diagnostic]) -> Mended {
    let mut edits: Vec<(std::ops::Range<usize>, &str)> = Vec::new();
    let mut done = Vec::new();
    for diagnostic in diagnostics {
        // Several mends of one fault are a choice, and a choice is not safe.
        let [fix] = diagnostic.fixes.as_slice() else {
            continue;
        };
        let here = fix
            .edits
            .iter()
            .all(|(place, _)| place.source == source && text.get(place.span.range()).is_some());
        let free = |range: &std::ops::Range<usize>| {
            edits
                .iter()
                .all(|(other, _)| range.end < other.start || other.end < range.start)
        };
        if fix.applicability != Applicability::Safe
            || !here
            || !fix.edits.iter().all(|(place, _)| free(&place.span.range()))
        {
            continue;
        }
        edits.extend(
            fix.edits
                .iter()
                .map(|(place, new)| (place.span.range(), new.as_str())),
        );
        if let Some((place, _)) = fix.edits.first() {
            done.push((place.span.start, diagnostic.code, fix.title.clone()));
        }
    }
    edits.sort_by_key(|(range, _)| (range.start, range.end));
    let mut out = String::with_capacity(text.len());
    let mut at = 0;
    for (range, new) in edits {
        out.push_str(&text[at..range.start]);
        out.push_str(new);
        at = range.end;
    }
    out.push_str(&text[at..]);
    Mended { text: out, done }
}

#[cfg(test)]
mod tests {
    use super::mend;
    use crate::diagnostic::{Applicability, Diagnostic};
    use crate::source::{Place, SourceId, Span};

    fn fault(from: usize, to: usize, new: &str, how: Applicability) -> Diagnostic {
        let place = Place {
            source: SourceId(0),
            span: Span::new(from, to),
        };
        Diagnostic::new("comma-expected", place, "t").fix("f", place, new, how)
    }

    #[test]
    fn safe_mends_alone_are_applied_and_never_over_each_other() {
        let all = [
            fault(0, 1, "A", Applicability::Safe),
            fault(4, 5, "E", Applicability::Unsafe),
            fault(0, 2, "no", Applicability::Safe),
            fault(6, 6, ",", Applicability::Safe),
        ];
        let mended = mend(SourceId(0), "abcdefg", &all);
        assert_eq!(mended.text, "Abcdef,g");
        assert_eq!(mended.done.len(), 2);
        let other = mend(SourceId(1), "abcdefg", &all);
        assert_eq!(other.text, "abcdefg");
    }
}
