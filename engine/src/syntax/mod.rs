//! Text -> lossless tree; never fails.
//!
//! Every line is one node. Its meaning follows from its own words and from the kind of the line it is indented under, so a broken line
//! costs itself and nothing else.

pub mod ast;
mod cursor;
mod line;
mod token;
mod words;

use ast::{LineKind, Node, Tree};

use crate::diagnostic::{Applicability, Diagnostic};
use crate::source::{Place, SourceId, Span};

pub(crate) use cursor::FORMS;
pub use cursor::is_reserved;

/// The deepest indentation levels of a file.
pub const MAX_DEPTH: usize = 64;

/// The longest line, in bytes.
pub const MAX_LINE: usize = 16_384;

/// A parsed text.
#[derive(Debug, Clone, Default)]
pub struct Parsed {
    /// The tree.
    pub tree: Tree,
    /// What is wrong with it.
    pub diagnostics: Vec<Diagnostic>,
}

/// What the lines beneath a line can be.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Body {
    File,
    Maker,
    Family,
    Group,
    Slot,
    Entry,
    Rows,
    Matrix,
    Clauses,
    /// Beneath a broken line: nothing more is said.
    Silent,
}

impl Body {
    fn of(kind: &LineKind, parent: Body) -> Body {
        match kind {
            LineKind::Blank | LineKind::Broken => Body::Silent,
            LineKind::Maker(..) => Body::Maker,
            LineKind::Family(..) => Body::Family,
            LineKind::Group(..) => Body::Group,
            LineKind::Table(..) | LineKind::Slot(..) => Body::Slot,
            LineKind::Entry(..) | LineKind::More(..) => Body::Entry,
            LineKind::Form(..) => Body::Rows,
            LineKind::Matrix(..) => Body::Matrix,
            LineKind::When(_) | LineKind::Otherwise => parent,
            _ => Body::Clauses,
        }
    }
}

/// Parses one text.
#[must_use]
pub fn parse(source: SourceId, text: &str) -> Parsed {
    let mut parsed = Parsed::default();
    // Open lines: indentation, node, what may stand beneath.
    let mut open: Vec<(usize, usize, Body)> = Vec::new();
    let mut at = 0;
    for line in text.split_inclusive('\n') {
        let start = at;
        at += line.len();
        let bare = line.trim_end_matches(['\n', '\r']);
        let indent = bare.len() - bare.trim_start_matches([' ', '\t']).len();
        let (content, comment) = without_comment(&bare[indent..]);
        let content_span = Span::new(start + indent, start + indent + content.len());
        // A tab counts as the two spaces that its mend writes.
        let depth = indent + bare[..indent].matches('\t').count();
        let mut node = Node {
            kind: LineKind::Blank,
            line: Span::new(start, at),
            content: content_span,
            indent: depth,
            comment: comment
                .map(|(from, to)| Span::new(start + indent + from, start + indent + to)),
            parent: None,
            children: Vec::new(),
        };
        if content.is_empty() {
            parsed.tree.nodes.push(node);
            continue;
        }
        let place = |span| Place { source, span };
        if let Some(tab) = bare[..indent].find('\t') {
            let tabs = Span::new(start + tab, start + indent);
            let spaces = " ".repeat(2 * (indent - tab));
            parsed.diagnostics.push(
                Diagnostic::new("tab-indent", place(tabs), "a tab indents this line")
                    .help("indent by spaces: a tab has no agreed width")
                    .fix("write spaces", place(tabs), spaces, Applicability::Safe),
            );
        }
        while open.last().is_some_and(|(outer, _, _)| *outer >= depth) {
            open.pop();
        }
        let index = parsed.tree.nodes.len();
        let (parent, body) = open
            .last()
            .map_or((None, Body::File), |(_, node, body)| (Some(*node), *body));
        node.parent = parent;
        if body == Body::Silent {
            node.kind = LineKind::Broken;
        } else if content.len() > MAX_LINE || open.len() >= MAX_DEPTH {
            let (what, bound) = if open.len() >= MAX_DEPTH {
                ("levels deep", MAX_DEPTH)
            } else {
                ("bytes long", MAX_LINE)
            };
            let title = format!("this line is too large: at most {bound} {what}");
            let at = Span {
                end: content_span.start + 1,
                ..content_span
            };
            parsed
                .diagnostics
                .push(Diagnostic::new("too-large", place(at), title).help("split it"));
            node.kind = LineKind::Broken;
        } else {
            let parent_node = parent.and_then(|parent| parsed.tree.nodes.get(parent));
            node.kind = line::parse_line(
                content,
                content_span,
                source,
                body,
                parent_node,
                &mut parsed.diagnostics,
            );
        }
        let beneath = Body::of(&node.kind, body);
        parsed.tree.nodes.push(node);
        match parent {
            Some(parent) => parsed.tree.nodes[parent].children.push(index),
            None => parsed.tree.top.push(index),
        }
        open.push((depth, index, beneath));
    }
    parsed
}

/// Parts the comment off: `#` at the start or after a space, outside quotes.
fn without_comment(line: &str) -> (&str, Option<(usize, usize)>) {
    let mut quoted = false;
    let mut escaped = false;
    let mut before = ' ';
    for (at, c) in line.char_indices() {
        match c {
            _ if escaped => escaped = false,
            '\\' if quoted => escaped = true,
            // A quote inside a run is a character of it.
            '"' if quoted || before == ' ' || before == '(' || before == ',' => quoted = !quoted,
            '#' if !quoted && before == ' ' => {
                return (line[..at].trim_end(), Some((at, line.len())));
            }
            _ => {}
        }
        before = c;
    }
    (line.trim_end(), None)
}
