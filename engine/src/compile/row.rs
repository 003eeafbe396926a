//! Forms -> rows: every way to print a form, its optional parts in or out, as lines of places.

use crate::glyph::Boundary;
use crate::model::RowItem;

/// One place of a line.
#[derive(Debug, Clone)]
pub(crate) struct Place {
    pub(crate) slot: usize,
    /// The boundary expected before it, and whether it must be there.
    pub(crate) before: Option<(Boundary, bool)>,
    /// Index of its table in the family.
    pub(crate) table: usize,
}

/// A row with its optional parts decided: lines of slots with boundaries, and the share of it among the ways to print it.
#[derive(Debug, Clone, Default)]
pub(crate) struct Spread {
    pub(crate) lines: Vec<Vec<(usize, Option<(Boundary, bool)>)>>,
    pub(crate) share: f64,
}

/// All ways to print a row, at most `bound`; `None` where there are more.
pub(crate) fn spread(items: &[RowItem], bound: usize) -> Option<Vec<Spread>> {
    let mut open: Vec<(Vec<&RowItem>, f64)> = vec![(Vec::new(), 1.0)];
    flatten(items, &mut open, bound)?;
    Some(
        open.into_iter()
            .map(|(items, share)| lines_of(&items, share))
            .collect(),
    )
}

fn flatten<'a>(
    items: &'a [RowItem],
    open: &mut Vec<(Vec<&'a RowItem>, f64)>,
    bound: usize,
) -> Option<()> {
    for item in items {
        if let RowItem::Optional(inner) = item {
            let without: Vec<_> = open
                .iter()
                .map(|(items, share)| (items.clone(), share / 2.0))
                .collect();
            flatten(inner, open, bound)?;
            for (_, share) in open.iter_mut() {
                *share /= 2.0;
            }
            open.extend(without);
            if open.len() > bound {
                return None;
            }
        } else {
            for (items, _) in open.iter_mut() {
                items.push(item);
            }
        }
    }
    Some(())
}

fn lines_of(items: &[&RowItem], share: f64) -> Spread {
    let mut lines = vec![Vec::new()];
    let mut pending = None;
    for item in items {
        match item {
            RowItem::Slot(slot) => {
                if let Some(line) = lines.last_mut() {
                    line.push((slot.index(), pending.take()));
                }
            }
            RowItem::Boundary { boundary, hard } => pending = Some((*boundary, *hard)),
            RowItem::Break => {
                lines.push(Vec::new());
                pending = None;
            }
            RowItem::Optional(_) => {}
        }
    }
    lines.retain(|line| !line.is_empty());
    Spread { lines, share }
}
