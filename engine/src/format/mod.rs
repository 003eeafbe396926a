//! Tree -> canonical text.
//!
//! No word moves to another line, none is added or lost, and no line is broken; only spaces, blank runs and quotes that a code does not
//! need change. So the meaning stays, a second run changes nothing, and a difference shows what was edited.
//!
//! Each line is cut into pieces by its kind (`piece.rs`). Then columns are set: one for what stands behind the first word, the same
//! for a whole family; one for clauses, the same for the lines of one kind that stand together. A line that does not parse stays as it is.

mod piece;
mod row;

use unicode_width::UnicodeWidthStr;

use crate::diagnostic::Diagnostic;
use crate::source::{SourceId, Span};
use crate::syntax::ast::{LineKind, Tree};
use crate::syntax::{MAX_LINE, parse};
use piece::{Piece, Sort};

/// Spaces for each level.
const STEP: usize = 2;
/// Where what follows the first word of a line begins, at the least and at the most.
const SECOND: (usize, usize) = (14, 26);
/// How far to the right entries may push their own second column.
const SECOND_OF_ENTRIES: usize = 32;
/// The furthest column of clauses; a longer line gets its clauses right behind it.
const CLAUSES: usize = 60;

/// A formatted text.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Formatted {
    /// The text.
    pub text: String,
    /// Lines that do not parse and stand as they were, from 1.
    pub left: Vec<usize>,
}

/// Sets a rule file in its canonical layout.
#[must_use]
pub fn format(text: &str) -> Formatted {
    let id = SourceId(0);
    let parsed = parse(id, text);
    let mut page = Page::new(text, &parsed.tree, &parsed.diagnostics);
    page.second_columns();
    page.clause_columns();
    page.print()
}

/// What is known of one line of the tree.
struct Line {
    piece: Piece,
    /// Where its first word begins.
    indent: usize,
    /// Where what follows the first word begins, for lines with such a column.
    second: usize,
    /// Where its clauses begin.
    third: usize,
}

struct Page<'a> {
    text: &'a str,
    tree: &'a Tree,
    lines: Vec<Line>,
}

impl<'a> Page<'a> {
    fn new(text: &'a str, tree: &'a Tree, faults: &[Diagnostic]) -> Page<'a> {
        let mut broken = vec![false; tree.nodes.len()];
        for fault in faults.iter().filter(|fault| fault.code != "tab-indent") {
            if let Some(place) = fault.place() {
                let at = tree
                    .nodes
                    .partition_point(|node| node.line.end <= place.span.start)
                    .min(tree.nodes.len().saturating_sub(1));
                if let Some(broken) = broken.get_mut(at) {
                    *broken = true;
                }
            }
        }
        let lines = tree
            .nodes
            .iter()
            .zip(broken)
            .map(|(node, broken)| {
                let mut piece = if broken {
                    Piece::verbatim(&text[node.content.range()])
                } else {
                    piece::piece(text, node)
                };
                if piece.width() > MAX_LINE {
                    piece = Piece::verbatim(&text[node.content.range()]);
                }
                piece.comment = node.comment.map(|span| comment(text, span));
                Line {
                    piece,
                    indent: 0,
                    second: 0,
                    third: 0,
                }
            })
            .collect();
        let mut page = Page { text, tree, lines };
        for top in &tree.top {
            page.indent(*top, 0);
        }
        for at in 0..tree.nodes.len() {
            row::align(text, tree, at, &mut page.lines);
        }
        page
    }

    fn indent(&mut self, at: usize, indent: usize) {
        self.lines[at].indent = indent;
        for child in &self.tree.nodes[at].children {
            self.indent(*child, indent + STEP);
        }
    }

    /// All lines beneath a line, in order.
    fn beneath(&self, at: usize, found: &mut Vec<usize>) {
        for child in &self.tree.nodes[at].children {
            found.push(*child);
            self.beneath(*child, found);
        }
    }

    fn second_columns(&mut self) {
        for top in self.tree.top.clone() {
            let mut all = Vec::new();
            self.beneath(top, &mut all);
            let of_block: Vec<usize> = std::iter::once(top)
                .chain(all.iter().copied())
                .filter(|line| {
                    let piece = &self.lines[*line].piece;
                    piece.sort.of_block() && !piece.close
                })
                .collect();
            let second = self.column(&of_block, SECOND.0, SECOND.1, 1);
            for line in std::iter::once(top).chain(all.iter().copied()) {
                self.lines[line].second = second;
            }
            // Entries of one list stand among themselves where their codes are longer.
            for list in std::iter::once(top).chain(all.iter().copied()) {
                let kind = &self.tree.nodes[list].kind;
                if !matches!(kind, LineKind::Slot(..) | LineKind::Table(..)) {
                    continue;
                }
                let mut within = Vec::new();
                self.beneath(list, &mut within);
                let entries: Vec<usize> = within
                    .into_iter()
                    .filter(|line| self.lines[*line].piece.sort == Sort::Entry)
                    .collect();
                let own = self.column(&entries, second, SECOND_OF_ENTRIES, 2);
                for line in entries {
                    self.lines[line].second = own;
                }
            }
            for line in all {
                let (tree, lines) = (self.tree, &mut self.lines);
                row::place(tree, line, second, lines);
            }
        }
    }

    /// The column behind the first words of some lines: `least`, or further to the right as far as `most` lets.
    fn column(&self, lines: &[usize], least: usize, most: usize, gap: usize) -> usize {
        let ends = lines
            .iter()
            .map(|line| &self.lines[*line])
            .filter(|line| line.piece.body.is_some() || !line.piece.clauses.is_empty())
            .map(|line| line.indent + line.piece.head.width());
        let needed = ends.filter(|end| end + 2 <= most).max().unwrap_or(0);
        if needed + gap <= least {
            least
        } else {
            needed + 2
        }
    }

    /// One column for the clauses, and the comments of lines without any, of the lines of one sort that stand together.
    fn clause_columns(&mut self) {
        let mut groups: Vec<Vec<usize>> = Vec::new();
        for top in self.tree.top.clone() {
            let mut all = vec![top];
            self.beneath(top, &mut all);
            for sort in [Sort::Plain, Sort::Form, Sort::Example] {
                groups.push(
                    all.iter()
                        .copied()
                        .filter(|line| self.lines[*line].piece.sort == sort)
                        .collect(),
                );
            }
            for list in all {
                let mut within = Vec::new();
                if matches!(
                    self.tree.nodes[list].kind,
                    LineKind::Slot(..) | LineKind::Table(..)
                ) {
                    self.beneath(list, &mut within);
                    within.retain(|line| self.lines[*line].piece.sort == Sort::Entry);
                    groups.push(within);
                }
            }
        }
        for group in groups {
            let end = group
                .iter()
                .map(|line| &self.lines[*line])
                .filter(|line| !line.piece.clauses.is_empty() || line.piece.comment.is_some())
                .map(Line::body_end)
                .filter(|end| end + 2 <= CLAUSES)
                .max()
                .unwrap_or(0);
            for line in group {
                self.lines[line].third = end + 2;
            }
        }
    }

    fn print(&self) -> Formatted {
        let mut out = Formatted::default();
        let mut blank = false;
        for (at, (node, line)) in self.tree.nodes.iter().zip(&self.lines).enumerate() {
            if node.kind == LineKind::Blank && node.comment.is_none() {
                blank = !out.text.is_empty();
                continue;
            }
            if std::mem::take(&mut blank) {
                out.text.push('\n');
            }
            if line.piece.verbatim {
                out.left.push(at + 1);
            }
            let text = if node.kind == LineKind::Blank {
                let comment = line.piece.comment.as_deref().unwrap_or_default();
                format!("{}{comment}", " ".repeat(self.comment_indent(at)))
            } else {
                line.text()
            };
            out.text.push_str(&text);
            out.text.push('\n');
        }
        // A file without an end of line at its end, and nothing in it, stays empty.
        if self.text.trim().is_empty() {
            out.text.clear();
        }
        out
    }

    /// Where a comment on a line of its own begins: as the line that follows right below it, else as the one above.
    fn comment_indent(&self, at: usize) -> usize {
        let nodes = &self.tree.nodes;
        let content = |at: usize| nodes[at].kind != LineKind::Blank;
        let empty = |at: usize| !content(at) && nodes[at].comment.is_none();
        let below = (at + 1..nodes.len()).find(|at| content(*at) || empty(*at));
        if let Some(below) = below.filter(|at| content(*at)) {
            return self.lines[below].indent;
        }
        if nodes[at].indent == 0 {
            return 0;
        }
        (0..at)
            .rev()
            .find(|at| content(*at))
            .map_or(0, |above| self.lines[above].indent)
    }
}

fn comment(text: &str, span: Span) -> String {
    text[span.range()].trim_end().to_owned()
}

/// Spaces up to a column if at least `least` fit, else `gap`.
fn pad(text: &mut String, column: usize, least: usize, gap: usize) {
    let spaces = column.saturating_sub(text.width());
    let spaces = if spaces < least { gap } else { spaces };
    text.push_str(&" ".repeat(spaces));
}

impl Line {
    /// The line up to its clauses.
    fn start(&self) -> String {
        let mut text = " ".repeat(self.indent);
        text.push_str(&self.piece.head);
        if let Some(body) = &self.piece.body {
            match self.piece.sort {
                _ if self.piece.head.is_empty() => {}
                Sort::Loose => text.push(' '),
                Sort::Titled => text.push_str("   "),
                _ => pad(&mut text, self.second, 1, self.piece.gap),
            }
            text.push_str(body);
        }
        text
    }

    fn body_end(&self) -> usize {
        match self.piece.body {
            Some(_) => self.start().width(),
            // Clauses right behind the first word stand in its column.
            None => (self.indent + self.piece.head.width() + 2).max(self.second) - 2,
        }
    }

    fn text(&self) -> String {
        let mut text = self.start();
        let columned = self.piece.sort.has_clause_column();
        for (at, clause) in self.piece.clauses.iter().enumerate() {
            if self.piece.head.is_empty() && self.piece.body.is_none() && at == 0 {
            } else if at == 0 && columned {
                pad(&mut text, self.third, 2, 2);
            } else {
                text.push_str("  ");
            }
            text.push_str(clause);
        }
        if let Some(comment) = &self.piece.comment {
            if self.piece.clauses.is_empty() && columned {
                pad(&mut text, self.third, 2, 2);
            } else {
                text.push_str("  ");
            }
            text.push_str(comment);
        }
        text
    }
}
