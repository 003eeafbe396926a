//! Faults that only follow from others: said, they would hide what is to be mended.
//!
//! A line that cannot be read declares nothing, so what it would have declared is missing elsewhere. Such a fault is dropped where the line that is
//! the cause has one of its own; once that is mended, it is either gone or said.

use super::cx::Cx;
use crate::diagnostic::{Diagnostic, Severity};
use crate::source::{Place, SourceId};
use crate::syntax::ast::LineKind;

/// A line of a rule text.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct At {
    source: SourceId,
    line: usize,
}

/// A family, table or group whose lines cannot all be read.
struct Damaged<'t> {
    source: SourceId,
    /// First and last line, from 1.
    lines: (usize, usize),
    /// Names that its unread lines may have declared, with their line.
    names: Vec<(&'t str, usize)>,
    /// Whether one of them is a row.
    rows: bool,
}

/// Drops the faults that follow from others.
pub(super) fn drop_consequences(cx: &Cx<'_>, found: &mut Vec<Diagnostic>) {
    let at = |place: Place| {
        let source = cx.sources.get(place.source)?;
        Some(At {
            source: place.source,
            line: source.line_col(place.span.start).line,
        })
    };
    let errors: Vec<(&'static str, Place, At)> = found
        .iter()
        .filter(|fault| fault.severity == Severity::Error)
        .filter_map(|fault| Some((fault.code, fault.place()?, at(fault.place()?)?)))
        .collect();
    if errors.is_empty() {
        return;
    }
    let damaged = damaged(cx, &errors);
    let follows = |fault: &Diagnostic| {
        let Some((place, here)) = fault.place().and_then(|place| Some((place, at(place)?))) else {
            return false;
        };
        let beside = |codes: &[&str]| {
            let mut others = errors.iter();
            others.any(|(code, _, line)| *line == here && codes.contains(code))
        };
        let inside = || {
            let within = |block: &&Damaged<'_>| {
                block.source == here.source && (block.lines.0..=block.lines.1).contains(&here.line)
            };
            damaged.iter().filter(within)
        };
        let text = cx.sources.text(place.source);
        match fault.code {
            // `256 KB`: the unit is not missing, but unknown.
            "unit-mismatch" => errors.iter().any(|(code, unit, line)| {
                let between = || text.get(place.span.range().end..unit.span.range().start);
                *code == "unknown-unit"
                    && *line == here
                    && between().is_some_and(|t| t.trim().is_empty())
            }),
            "unknown-name" => {
                let word = text.get(place.span.range()).unwrap_or("");
                inside().any(|block| {
                    let mut names = block.names.iter();
                    names.any(|(name, line)| *name == word && *line != here.line)
                })
            }
            "name-without-codes" => beside(&["unknown-name"]),
            "impossible-date" => beside(&["unknown-name"]) || inside().next().is_some(),
            "unused-slot" => inside().any(|block| block.rows),
            _ => false,
        }
    };
    let keep: Vec<bool> = found.iter().map(|fault| !follows(fault)).collect();
    let mut keep = keep.into_iter();
    found.retain(|_| keep.next().unwrap_or(true));
}

fn damaged<'t>(cx: &'t Cx<'_>, errors: &[(&'static str, Place, At)]) -> Vec<Damaged<'t>> {
    let mut found = Vec::new();
    for file in &cx.files {
        let Some(source) = cx.sources.get(file.id) else {
            continue;
        };
        let line = |node: usize| source.line_col(file.tree.nodes[node].content.start).line;
        for (at, top) in file.tree.top.iter().enumerate() {
            let next = file.tree.top.get(at + 1).copied();
            let last = next.unwrap_or(file.tree.nodes.len());
            let mut block = Damaged {
                source: file.id,
                lines: (line(*top), next.map_or(usize::MAX, |next| line(next) - 1)),
                names: Vec::new(),
                rows: false,
            };
            for node in &file.tree.nodes[*top..last] {
                let number = source.line_col(node.content.start).line;
                let apart = errors.iter().any(|(code, _, at)| {
                    *code == "rows-differ" && at.source == file.id && at.line == number
                });
                if !apart && node.kind != LineKind::Broken {
                    continue;
                }
                let text = source.text.get(node.content.range()).unwrap_or("");
                let mut words = text.split([' ', ':', '=']).filter(|word| !word.is_empty());
                let first = words.next();
                let row = apart || first.is_some_and(is_form);
                block.rows |= row;
                block.names.extend(first.map(|name| (name, number)));
                if row {
                    block.names.extend(words.map(|name| (name, number)));
                }
                // A broken row has its names in the line beneath.
                for child in node.children.iter().filter(|_| row) {
                    let child = &file.tree.nodes[*child];
                    let number = source.line_col(child.content.start).line;
                    let text = source.text.get(child.content.range()).unwrap_or("");
                    block
                        .names
                        .extend(text.split(' ').map(|name| (name, number)));
                }
            }
            if !block.names.is_empty() {
                found.push(block);
            }
        }
    }
    found
}

fn is_form(word: &str) -> bool {
    crate::syntax::FORMS.contains(&word)
}
