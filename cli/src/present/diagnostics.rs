//! Diagnostics as text and JSON.
//!
//! Drawn by annotate-snippets: its input is plain data (a source, spans, labels), it needs no error trait of its own on our types as
//! miette does, keeps several files in one report as ariadne and codespan-reporting do, has no further dependencies that we lack, and its
//! drawing is the one that Rust's users know from their compiler.

use annotate_snippets::{AnnotationKind, Group, Level, Renderer, Snippet};
use etchlore_engine::diagnostic::{Applicability, Diagnostic, Severity};
use etchlore_engine::source::{Place, Sources};
use serde_json::{Value as Json, json};

/// One diagnostic, drawn.
pub(crate) fn text(
    diagnostic: &Diagnostic,
    sources: &Sources,
    width: usize,
    color: bool,
) -> String {
    let level = match diagnostic.severity {
        Severity::Error => Level::ERROR,
        Severity::Warning => Level::WARNING,
    };
    let mut group = Group::with_title(
        level
            .primary_title(diagnostic.title.as_str())
            .id(diagnostic.code),
    );
    let mut drawn: Vec<etchlore_engine::source::SourceId> = Vec::new();
    for label in &diagnostic.labels {
        let Some(source) = sources
            .get(label.place.source)
            .filter(|_| !drawn.contains(&label.place.source))
        else {
            continue;
        };
        drawn.push(label.place.source);
        let mut snippet = Snippet::source(&*source.text)
            .path(source.name.as_str())
            .fold(true);
        for (at, label) in diagnostic
            .labels
            .iter()
            .enumerate()
            .filter(|(_, other)| other.place.source == label.place.source)
        {
            let kind = if at == 0 {
                AnnotationKind::Primary
            } else {
                AnnotationKind::Context
            };
            let annotation = kind.span(one_line(&source.text, label.place));
            snippet = snippet.annotation(if label.text.is_empty() {
                annotation
            } else {
                annotation.label(label.text.as_str())
            });
        }
        group = group.element(snippet);
    }
    for help in &diagnostic.help {
        group = group.element(Level::HELP.message(help.as_str()));
    }
    for fix in &diagnostic.fixes {
        let how = if fix.applicability == Applicability::Safe {
            "safe"
        } else {
            "a guess"
        };
        group = group.element(Level::NOTE.message(format!("mend ({how}): {}", fix.title)));
    }
    let renderer = if color {
        Renderer::styled()
    } else {
        Renderer::plain()
    };
    renderer.term_width(width).render(&[group])
}

/// The span as far as it stays on its first line.
fn one_line(text: &str, place: Place) -> std::ops::Range<usize> {
    let range = place.span.range();
    let start = range.start.min(text.len());
    let line_end = text
        .get(start..)
        .and_then(|rest| rest.find('\n'))
        .map_or(text.len(), |at| start + at);
    start..range.end.clamp(start, line_end.max(start))
}

fn place(sources: &Sources, place: Place) -> Json {
    let Some(source) = sources.get(place.source) else {
        return Json::Null;
    };
    let (from, to) = (
        source.line_col(place.span.start),
        source.line_col(place.span.end),
    );
    json!({
        "file": source.name,
        "line": from.line, "column": from.column,
        "end_line": to.line, "end_column": to.column,
        "bytes": [place.span.start, place.span.end],
    })
}

/// One diagnostic as data, with its drawing.
pub(crate) fn json(diagnostic: &Diagnostic, sources: &Sources) -> Json {
    let labels: Vec<Json> = diagnostic
        .labels
        .iter()
        .map(|label| json!({ "at": place(sources, label.place), "text": label.text }))
        .collect();
    let fixes: Vec<Json> = diagnostic
        .fixes
        .iter()
        .map(|fix| {
            let edits: Vec<Json> =
                fix.edits.iter().map(|(at, text)| json!({ "at": place(sources, *at), "replacement": text })).collect();
            json!({ "title": fix.title, "safe": fix.applicability == Applicability::Safe, "edits": edits })
        })
        .collect();
    json!({
        "code": diagnostic.code,
        "severity": diagnostic.severity.word(),
        "title": diagnostic.title,
        "labels": labels,
        "help": diagnostic.help,
        "fixes": fixes,
        "rendered": text(diagnostic, sources, 100, false),
    })
}

/// What would change in a file, as a unified difference.
pub(crate) fn difference(file: &std::path::Path, before: &str, after: &str) -> String {
    let name = file.display().to_string();
    similar::TextDiff::from_lines(before, after)
        .unified_diff()
        .header(&name, &name)
        .to_string()
}
