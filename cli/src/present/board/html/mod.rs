//! A report as one HTML file: no network, readable without its script. All texts are escaped by the template.

mod charts;
mod parts;
mod picture;

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use maud::{DOCTYPE, Markup, PreEscaped, html};
use sha2::{Digest, Sha256};

use super::report::{CAUTIONS, Page, weight_title};
pub(crate) use parts::more;

const STYLE: &str = include_str!("style.css");
const SCRIPT: &str = include_str!("script.js");

/// What a page allows: what stands in it, known by its digest, and nothing from elsewhere.
fn policy(style: &str) -> String {
    let digest = |text: &str| STANDARD.encode(Sha256::digest(text.as_bytes()));
    format!(
        "default-src 'none'; img-src data:; style-src 'sha256-{}'; script-src 'sha256-{}'; base-uri 'none'; form-action 'none'",
        digest(style),
        digest(SCRIPT)
    )
}

/// The head of a report: name and text.
pub(crate) fn facts(page: &Page) -> Vec<(&'static str, String)> {
    let states: Vec<String> = page
        .states
        .iter()
        .map(|(state, count)| format!("{count} {}", state.word()))
        .collect();
    let all = [
        ("Edition", Some(page.edition.word().to_owned())),
        ("Seller", page.seller.clone()),
        ("Built", page.built_text()),
        ("Read", Some(page.seen.to_string())),
        (
            "Parts",
            Some(format!(
                "{} in {} places: {}",
                page.parts.len(),
                page.places,
                states.join(", ")
            )),
        ),
        (
            "Claimed",
            (!page.claims.is_empty()).then(|| page.claims.join(", ")),
        ),
        ("Notes", page.notes.clone()),
        (
            "Tool",
            Some(format!("etchlore {}", env!("CARGO_PKG_VERSION"))),
        ),
        ("Rules", Some(page.digest.clone())),
    ];
    all.into_iter()
        .filter_map(|(name, text)| Some((name, text?)))
        .collect()
}

/// A text in which codes stand between backticks.
fn quoted(text: &str) -> Markup {
    let pieces: Vec<&str> = text.split('`').collect();
    // One without its fellow is a character of its own.
    if pieces.len() % 2 == 0 {
        return html! { (text) };
    }
    html! { @for (number, piece) in pieces.into_iter().enumerate() { @if number % 2 == 1 { code { (piece) } } @else { (piece) } } }
}

/// A link to the card of a part.
fn to_part(page: &Page, at: usize) -> Markup {
    html! { a href={ "#part-" (at + 1) } { (page.parts[at].view.name) } }
}

fn to_parts(page: &Page, all: &[usize]) -> Markup {
    html! { @for (number, at) in all.iter().enumerate() { @if number > 0 { ", " } (to_part(page, *at)) } }
}

pub(crate) fn page(page: &Page) -> String {
    let style = format!("{STYLE}{}", picture::places(page));
    let sections = [
        ("board", "Board", Some(picture::section(page))),
        ("findings", "Findings", Some(findings(page))),
        ("inventory", "Inventory", Some(parts::inventory(page))),
        (
            "changes",
            "What changed",
            page.compared.as_ref().map(|_| changes(page)),
        ),
        ("makers", "Makers and dates", Some(charts::section(page))),
        ("questions", "Open questions", Some(questions(page))),
        ("parts", "Parts", Some(parts::cards(page))),
        ("provenance", "Rules and sources", Some(provenance(page))),
        (
            "cautions",
            "Cautions",
            Some(html! { ul { @for caution in CAUTIONS { li { (caution) } } } }),
        ),
    ];
    let markup = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta http-equiv="Content-Security-Policy" content=(policy(&style));
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="color-scheme" content="light dark";
                title { (page.title()) }
                style { (PreEscaped(&style)) }
            }
            body {
                a.skip href="#main" { "Skip to the report" }
                header {
                    p.kind { "Board report, " (page.edition.word()) " edition" }
                    h1 { (page.title()) }
                    dl.facts { @for (name, text) in facts(page).into_iter().skip(1) { div { dt { (name) } dd { (text) } } } }
                }
                nav aria-label="Sections" { ul { @for (id, title, body) in &sections { @if body.is_some() { li { a href={ "#" (id) } { (title) } } } } } }
                main id="main" tabindex="-1" {
                    p.lead { "Hypotheses from print, not proof of identity: see " a href="#cautions" { "the cautions" } "." }
                    @for (id, title, body) in &sections { @if let Some(body) = body {
                        section id=(id) aria-labelledby={ (id) "-title" } { h2 id={ (id) "-title" } { (title) } (body) }
                    } }
                }
                script { (PreEscaped(SCRIPT)) }
            }
        }
    };
    let mut text = markup.into_string();
    text.push('\n');
    text
}

fn findings(page: &Page) -> Markup {
    use etchlore_engine::board::Weight;
    html! {
        @if page.findings.is_empty() { p { "Nothing on this board disagrees, and nothing is open." } }
        @for weight in [Weight::Conflict, Weight::Open, Weight::Note] {
            @if page.findings.iter().any(|one| one.weight == weight) {
                h3 { (weight_title(weight)) }
                ul.findings { @for one in page.findings.iter().filter(|one| one.weight == weight) {
                    li class=(weight.word()) {
                        p { span.tag { (one.kind.replace('-', " ")) } " " (quoted(&one.text)) }
                        @if let Some(why) = &one.why { p.why { (quoted(why)) } }
                        @if !one.parts.is_empty() { p.of { "Parts: " (to_parts(page, &one.parts)) } }
                    }
                } }
            }
        }
    }
}

fn changes(page: &Page) -> Markup {
    let Some(compared) = &page.compared else {
        return html! {};
    };
    html! {
        p { "Against " (compared.old) "." }
        div.wide tabindex="0" role="region" aria-label="Table of changes" { table {
            thead { tr { th scope="col" { "Change" } th scope="col" { "Part" } th scope="col" { "What" } } }
            tbody { @for (kind, name, at, text) in &compared.changes { tr {
                td { (kind.word()) }
                th scope="row" { @match at { Some(at) => (to_part(page, *at)), None => (name) } }
                td { (text) }
            } } }
        } }
        h3 { "Sockets of makers, before and now" }
        table { thead { tr { th scope="col" { "Maker" } th.n scope="col" { "Before" } th.n scope="col" { "Now" } } }
            tbody { @for (maker, was, is) in &compared.makers { tr { th scope="row" { (maker) } td.n { (was) } td.n { (is) } } } } }
    }
}

fn questions(page: &Page) -> Markup {
    html! {
        @if page.questions.is_empty() { p { "Nothing that a look at a part would settle." } }
        @else { ol { @for one in &page.questions { li { (to_part(page, one.part)) ": " (one.text) " " span.faint { "(" (format!("{:.1}", one.bits)) " bits, " (one.cost) ")" } } } } }
    }
}

fn provenance(page: &Page) -> Markup {
    html! {
        p { "Read by rules " code { (page.digest) } ", etchlore " (env!("CARGO_PKG_VERSION")) "." }
        @if page.unnamed > 0 { p { (page.unnamed) " of the rules used are the lab's own." } }
        @if !page.rules.is_empty() { div.wide tabindex="0" role="region" aria-label="Rules used" { table {
            thead { tr { th scope="col" { "Family" } th scope="col" { "Rule" } th scope="col" { "Standing" } th scope="col" { "Source" } } }
            tbody { @for rule in &page.rules { tr {
                th scope="row" { (rule.title) } td.where { code { (rule.name) } br; span.faint { (rule.place) } } td { (rule.standing) }
                td { (rule.source.as_deref().unwrap_or("none given")) @if let Some(day) = &rule.reviewed { span.faint { ", reviewed " (day) } } }
            } } }
        } } }
    }
}
