//! What changed between two boards, on one page.

use etchlore_engine::board::{Board, Change, Comparison, Match};

use super::view::{PartView, maker_name};
use crate::console::{Console, Label};
use crate::failure::Failure;
use crate::present::text::beside;
use crate::rules::Loaded;

/// One change in words, without the position.
pub(crate) fn words(old: &[PartView], new: &[PartView], change: &Change) -> String {
    let name = |view: &PartView| {
        let code = view.written.clone().unwrap_or_else(|| view.title.clone());
        match &view.maker {
            Some(maker) => format!("{code}, {maker}"),
            None => code,
        }
    };
    let was = change.old.map(|at| &old[at]);
    let is = change.new.map(|at| &new[at]);
    let mut text = match (was, is) {
        (Some(was), Some(is)) => match change.kind {
            Match::CarriedOver | Match::OtherBatch => name(is),
            _ => format!("{} -> {}", name(was), name(is)),
        },
        (Some(one), None) | (None, Some(one)) if one.written.is_none() => name(one),
        (Some(one), None) | (None, Some(one)) => format!("{} ({})", name(one), one.title),
        (None, None) => String::new(),
    };
    if let (Some(was), Some(is)) = (was, is)
        && was.places != is.places
    {
        text.push_str(&format!("; was at {}", was.places));
    }
    let fields: Vec<String> = change
        .fields
        .iter()
        .map(|field| {
            let or_none = |text: &str| {
                if text.is_empty() {
                    "none".to_owned()
                } else {
                    text.to_owned()
                }
            };
            format!(
                "{} {} -> {}",
                field.name.replace('_', " "),
                or_none(&field.old),
                or_none(&field.new)
            )
        })
        .collect();
    if !fields.is_empty() {
        text.push_str(&format!("; {}", fields.join(", ")));
    }
    if let Some((was, is)) = change.quantity {
        text.push_str(&format!("; {was} -> {is} of them"));
    }
    text
}

pub(crate) fn text(
    loaded: &Loaded,
    (old_board, old): (&Board, &[PartView]),
    (new_board, new): (&Board, &[PartView]),
    found: &Comparison,
    console: &mut Console,
) -> Result<(), Failure> {
    let name = |board: &Board| match &board.generation {
        Some(generation) => format!("{}, generation {generation}", board.product),
        None => board.product.clone(),
    };
    let title = console.paint(
        Label::Strong,
        &format!("{} -> {}", name(old_board), name(new_board)),
    );
    console.line(&title)?;
    let counted: Vec<String> = Match::ALL
        .iter()
        .map(|(kind, word)| {
            (
                found
                    .changes
                    .iter()
                    .filter(|change| change.kind == *kind)
                    .count(),
                word,
            )
        })
        .filter(|(count, _)| *count > 0)
        .map(|(count, word)| format!("{count} {word}"))
        .collect();
    console.line(&counted.join(", "))?;
    let mut last = None;
    for change in &found.changes {
        if last != Some(change.kind) {
            console.line("")?;
            let label = match change.kind {
                Match::CarriedOver | Match::OtherBatch => Label::Faint,
                Match::NotKnown => Label::Doubt,
                _ => Label::Head,
            };
            let title = console.paint(label, change.kind.word());
            console.line(&title)?;
            last = Some(change.kind);
        }
        let view = change
            .new
            .map(|at| &new[at])
            .or(change.old.map(|at| &old[at]));
        let head = view.map_or_else(String::new, |view| format!("  {}", view.name));
        beside(console, &head, Label::Strong, &words(old, new, change))?;
    }
    console.line("")?;
    let title = console.paint(Label::Head, "makers by sockets");
    console.line(&title)?;
    for (maker, was, is) in &found.makers {
        let change = i64::from(*is) - i64::from(*was);
        let text = format!("{}: {was} -> {is}", maker_name(loaded.rules.set(), *maker));
        beside(console, &format!("  {change:+}"), Label::Strong, &text)?;
    }
    Ok(())
}
