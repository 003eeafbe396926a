//! The inventory and the card of each part.

use maud::{Markup, html};

use super::super::report::{Entry, Page, Seg, function_title};
use super::quoted;

pub(super) fn inventory(page: &Page) -> Markup {
    html! {
        div.tools hidden { label for="filter" { "Filter " } input id="filter" type="search"; " " span id="count" role="status" {} }
        div.wide tabindex="0" role="region" aria-label="Table of the inventory" { table id="list" {
            thead { tr { @for (head, class) in [("No.", "n"), ("Part", ""), ("Number", "n more"), ("Code", ""), ("What", ""), ("Maker", "more"), ("Function", "more"), ("How sure", ""), ("Date", "more"), ("Fields", "more")] { th scope="col" class=(class) { (head) } } } }
            tbody { @for (at, one) in page.parts.iter().enumerate() { @let view = &one.view; tr id={ "row-" (at + 1) } data-part=(at + 1) {
                td.n { @if page.pictures.iter().any(|p| p.places.iter().any(|place| place.part == at && place.number == 0)) { a href={ "#place-" (at + 1) } aria-label={ (at + 1) ", on the picture" } { (at + 1) } } @else { (at + 1) } }
                th scope="row" { a href={ "#part-" (at + 1) } { (view.places) } }
                td.n.more { (view.quantity) }
                td.code { (view.written.as_deref().unwrap_or("")) }
                td { (view.title) }
                td.more { (view.maker.as_deref().unwrap_or("not known")) }
                td.more { (function_title(&view.function)) }
                td data-sort=(format!("{:.9}", one.sort)) { span class={ "state " (view.state.word()) } { (view.state.word()) } " " @if one.sure != view.state.word() { (one.sure) } }
                td.more { (view.dates.join(", ")) }
                td.more { (view.fields.iter().map(|(name, text)| format!("{} {text}", name.replace('_', " "))).collect::<Vec<_>>().join("; ")) }
            } } }
        } }
    }
}

/// What a card says beside marks and fields.
pub(crate) fn more(one: &Entry) -> Vec<(&'static str, String)> {
    let view = &one.view;
    let join = |all: &[String]| (!all.is_empty()).then(|| all.join("; "));
    let named = |all: &[(&'static str, String)]| {
        let each: Vec<String> = all
            .iter()
            .map(|(name, text)| format!("{name}: {text}"))
            .collect();
        join(&each)
    };
    let pairs = |all: &[(String, String)]| {
        join(
            &all.iter()
                .map(|(a, b)| format!("{a} ({b})"))
                .collect::<Vec<_>>(),
        )
    };
    let dies: Vec<String> = one
        .dies
        .iter()
        .map(|die| {
            let marks: Vec<String> = die
                .marks
                .iter()
                .map(|line| line.iter().map(|seg| seg.text.as_str()).collect())
                .collect();
            format!(
                "{} {}: {}; {}",
                die.number,
                marks.join(" | "),
                die.what,
                die.fit
            )
        })
        .collect();
    let others: Vec<String> = one
        .others
        .iter()
        .map(|other| format!("{} {}", other.sure, other.what))
        .collect();
    let evidence: Vec<String> = one
        .evidence
        .iter()
        .map(|(slot, bits)| format!("{slot} {bits:+.1}"))
        .collect();
    let all = [
        ("Seen", named(&one.seen)),
        ("Inside of", one.within.clone()),
        ("Dated", join(&view.dates)),
        ("Known to", view.depth.map(str::to_owned)),
        ("Stands for", view.stands_for.clone()),
        ("Contains", view.inside.clone()),
        ("Also", join(&view.also)),
        ("Dies", join(&dies)),
        ("Observed", join(&view.observed)),
        ("Against", join(&one.but)),
        ("With the other parts", view.context.clone()),
        ("Evidence, bits", join(&evidence)),
        ("Alternatives", join(&others)),
        ("Look at next", join(&one.next)),
        ("Decision", named(&one.decision)),
        ("Readings as typed", pairs(&one.readings)),
        ("Notes", one.notes.clone()),
        ("Rule", one.rule.clone()),
    ];
    all.into_iter()
        .filter_map(|(name, text)| Some((name, text?)))
        .collect()
}

fn line(segs: &[Seg]) -> Markup {
    html! { div.line { @for seg in segs { span.seg.on[seg.letter.is_some()] { span { (seg.text) } span.letter aria-hidden="true" { @if let Some(letter) = seg.letter { (letter) } @else { (maud::PreEscaped("&nbsp;")) } } } } } }
}

pub(super) fn cards(page: &Page) -> Markup {
    html! { div.cards { @for (at, one) in page.parts.iter().enumerate() { @let view = &one.view;
        article.card id={ "part-" (at + 1) } aria-labelledby={ "part-" (at + 1) "-title" } data-part=(at + 1) {
            h3 id={ "part-" (at + 1) "-title" } { (view.name) ": " (view.written.as_deref().unwrap_or(&view.title)) }
            p { @if view.written.is_some() { (view.title) ", " } (view.maker.as_deref().unwrap_or("maker not known")) ". " span class={ "state " (view.state.word()) } { (view.state.word()) } " " @if one.sure != view.state.word() { (one.sure) }
                " " @if view.quantity > 1 || view.places != view.name { (view.quantity) " at " (view.places) ". " } a href={ "#row-" (at + 1) } aria-label={ (view.name) " in the inventory" } { "in the inventory" } }
            @for mark in &one.marks { div.mark { p.faint { (mark.head) } @for segs in &mark.lines { (line(segs)) } } }
            @let coded = one.said.iter().any(|said| said.code.is_some()); @let flagged = one.said.iter().any(|said| !said.flags.is_empty());
            @if !one.said.is_empty() { div.wide tabindex="0" role="region" aria-label={ "Fields of " (view.name) } { table.fields {
                thead { tr { th scope="col" { "Slot" } th scope="col" { "Field" } th scope="col" { "Says" } @if coded { th scope="col" { "Code" } } @if flagged { th scope="col" { "Remark" } } } }
                tbody { @for said in &one.said { tr { td { @if let Some(letter) = said.letter { b { (letter) } } @else { "-" } } th scope="row" { (said.name) } td { (said.text) } @if coded { td.code { (said.code.as_deref().unwrap_or("")) } } @if flagged { td { (said.flags.join("; ")) } } } } }
            } } }
            dl.facts { @for (name, text) in more(one) { div { dt { (name) } dd { (quoted(&text)) } } } }
        }
    } } }
}
