//! What stands in columns under each other: a specimen over the names of its places, and the cells of a matrix.

use super::Line;
use super::piece::{Sort, code, codes, value, width};
use crate::syntax::ast::{LineKind, RowToken, Tree};

/// Sets the columns of the rows of a form, or of the lines of a matrix, against each other.
pub(super) fn align(text: &str, tree: &Tree, at: usize, lines: &mut [Line]) {
    match &tree.nodes[at].kind {
        LineKind::Form(_, tokens, _) => align_rows(text, tree, at, tokens, lines),
        LineKind::Matrix(..) => align_matrix(text, tree, at, lines),
        _ => {}
    }
}

fn align_rows(text: &str, tree: &Tree, at: usize, inline: &[RowToken], lines: &mut [Line]) {
    let mut rows: Vec<(usize, &[RowToken])> = Vec::new();
    if !inline.is_empty() {
        rows.push((at, inline));
    }
    for child in &tree.nodes[at].children {
        if let LineKind::Row(tokens, _) = &tree.nodes[*child].kind {
            rows.push((*child, tokens));
        }
    }
    // A row alone has no specimen; an odd one more is a mistake that nothing is set against.
    if rows.len() % 2 == 1 || rows.iter().any(|(row, _)| lines[*row].piece.verbatim) {
        return;
    }
    let shown = |token: &RowToken| text[token.span.range()].to_owned();
    for pair in rows.chunks(2) {
        let [(above, specimen), (below, names)] = pair else {
            continue;
        };
        let cells: [Vec<String>; 2] = [
            specimen.iter().map(shown).collect(),
            names.iter().map(shown).collect(),
        ];
        let widths = widths(&cells);
        for (line, cells) in [(*above, &cells[0]), (*below, &cells[1])] {
            let body = columns(cells, &widths);
            lines[line].piece.body = (!body.is_empty()).then_some(body);
        }
    }
}

fn widths(rows: &[Vec<String>]) -> Vec<usize> {
    let most = rows.iter().map(Vec::len).max().unwrap_or(0);
    (0..most)
        .map(|at| {
            rows.iter()
                .filter_map(|row| row.get(at))
                .map(|cell| width(cell))
                .max()
                .unwrap_or(0)
        })
        .collect()
}

fn columns(cells: &[String], widths: &[usize]) -> String {
    let mut text = String::new();
    for (at, (cell, wide)) in cells.iter().zip(widths).enumerate() {
        text.push_str(cell);
        if at + 1 < cells.len() {
            text.push_str(&" ".repeat(wide + 2 - width(cell)));
        }
    }
    text
}

/// The cells of a matrix: keys, then values; the head has its codes above the values.
fn align_matrix(text: &str, tree: &Tree, at: usize, lines: &mut [Line]) {
    let children = &tree.nodes[at].children;
    if children.iter().any(|child| lines[*child].piece.verbatim) {
        return;
    }
    let (mut keys, mut cells): (Vec<Vec<String>>, Vec<Vec<String>>) = (Vec::new(), Vec::new());
    for child in children {
        match &tree.nodes[*child].kind {
            LineKind::MatrixHead(head) => {
                keys.push(Vec::new());
                cells.push(head.iter().map(|word| code(text, word)).collect());
            }
            LineKind::MatrixLine(groups, values) => {
                keys.push(groups.iter().map(|group| codes(text, group)).collect());
                let shown = |cell: &Option<_>| {
                    cell.as_ref()
                        .map_or("-".to_owned(), |cell| value(text, cell))
                };
                cells.push(values.iter().map(shown).collect());
            }
            _ => return,
        }
    }
    let (of_keys, of_cells) = (widths(&keys), widths(&cells));
    for ((child, keys), cells) in children.iter().zip(&keys).zip(&cells) {
        let piece = &mut lines[*child].piece;
        piece.head = columns(keys, &of_keys);
        let body = columns(cells, &of_cells);
        piece.body = (!body.is_empty()).then_some(body);
    }
}

/// Moves the rows beneath a form, and the head of a matrix, to their column.
pub(super) fn place(tree: &Tree, at: usize, second: usize, lines: &mut [Line]) {
    let node = &tree.nodes[at];
    match &node.kind {
        LineKind::Form(..) => {
            for child in &node.children {
                let delta = second.saturating_sub(lines[*child].indent);
                shift(tree, *child, delta, lines);
            }
        }
        LineKind::Matrix(..) => {
            let children = &node.children;
            let end = children
                .iter()
                .filter(|child| matches!(tree.nodes[**child].kind, LineKind::MatrixLine(..)))
                .map(|child| lines[*child].indent + width(&lines[*child].piece.head))
                .max()
                .unwrap_or(0);
            for child in children {
                if lines[*child].piece.sort != Sort::Matrix {
                    continue;
                }
                let column = second.max(end + 2);
                lines[*child].second = column;
                if lines[*child].piece.head.is_empty() {
                    lines[*child].indent = column;
                }
            }
        }
        _ => {}
    }
}

fn shift(tree: &Tree, at: usize, by: usize, lines: &mut [Line]) {
    lines[at].indent += by;
    for child in &tree.nodes[at].children {
        shift(tree, *child, by, lines);
    }
}
