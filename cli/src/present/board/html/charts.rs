//! Sockets by maker, and dates on a time line.

use etchlore_engine::value::Interval;
use maud::{Markup, html};

use super::super::report::Page;
use super::{to_part, to_parts};

pub(super) fn section(page: &Page) -> Markup {
    let most = page
        .makers
        .iter()
        .map(|(_, sockets, _)| *sockets)
        .max()
        .unwrap_or(1)
        .max(1);
    html! {
        h3 { "Sockets by maker" }
        table.bars { thead { tr { th scope="col" { "Maker" } th.n scope="col" { "Sockets" } th scope="col" { "Share" } th scope="col" { "Parts" } } }
            tbody { @for (maker, sockets, parts) in &page.makers { tr {
                th scope="row" { (maker) } td.n { (sockets) }
                td.bar { svg viewBox="0 0 100 8" preserveAspectRatio="none" role="img" aria-label={ (sockets) " of " (page.places) " places" } {
                    rect.fill x="0" y="0" width=(format!("{:.1}", f64::from(*sockets) * 100.0 / f64::from(most))) height="8" {}
                } }
                td { (to_parts(page, parts)) }
            } } } }
        h3 { "Dates" }
        (dates(page))
    }
}

/// A day as a fraction of years.
fn year(day: jiff::civil::Date) -> f64 {
    f64::from(day.year()) + f64::from(day.day_of_year() - 1) / f64::from(day.days_in_year())
}

const WIDTH: f64 = 720.0;
const LEFT: f64 = 90.0;
/// Room for half a year's number.
const RIGHT: f64 = 20.0;
const ROW: f64 = 18.0;

fn dates(page: &Page) -> Markup {
    let all: Vec<(usize, Interval)> = page
        .parts
        .iter()
        .enumerate()
        .flat_map(|(at, part)| part.dates.iter().map(move |date| (at, *date)))
        .collect();
    if all.is_empty() {
        return html! { p { "No part gives a date." } };
    }
    let built = page.built.iter();
    let ends = all
        .iter()
        .map(|(_, date)| date)
        .chain(built)
        .flat_map(|date| [date.from, date.to])
        .chain([page.seen]);
    let (mut from, mut to) = (f64::MAX, f64::MIN);
    for day in ends {
        from = from.min(year(day).floor());
        to = to.max(year(day).floor() + 1.0);
    }
    let x = |day| LEFT + (year(day) - from) / (to - from) * (WIDTH - LEFT - RIGHT);
    let n = |value: f64| format!("{value:.1}");
    let step = ((to - from) / 8.0).ceil().max(1.0);
    let height = ROW * (all.len() as f64 + 2.0);
    let ticks = (0..)
        .map(|at| from + step * f64::from(at))
        .take_while(|year| *year <= to);
    html! {
        div.wide tabindex="0" role="region" aria-label="Time line" {
            svg.time viewBox={ "0 0 " (WIDTH) " " (n(height)) } role="img" aria-label="Dates of parts with the build date and the day of reading; the table beneath says the same" {
                @if let Some(built) = page.built { rect.built x=(n(x(built.from))) y="0" width=(n((x(built.to) - x(built.from)).max(2.0))) height=(n(height - ROW)) {} }
                @for tick in ticks { @let at = LEFT + (tick - from) / (to - from) * (WIDTH - LEFT - RIGHT);
                    line.grid x1=(n(at)) x2=(n(at)) y1="0" y2=(n(height - ROW)) {} text x=(n(at)) y=(n(height - 4.0)) text-anchor="middle" { (tick) } }
                line.seen x1=(n(x(page.seen))) x2=(n(x(page.seen))) y1="0" y2=(n(height - ROW)) {}
                @for (number, (at, date)) in all.iter().enumerate() { @let y = ROW * (number as f64 + 0.5);
                    text x="4" y=(n(y + 9.0)) { (page.parts[*at].view.name.chars().take(12).collect::<String>()) }
                    rect.fill x=(n(x(date.from))) y=(n(y)) width=(n((x(date.to) - x(date.from)).max(3.0))) height="10" {} }
            }
        }
        p.faint { @if let Some(built) = page.built { "Shaded: built " (built.show()) ". " } "Dashed line: read " (page.seen) "." }
        details { summary { "The dates as a table" } table { thead { tr { th scope="col" { "Part" } th scope="col" { "From" } th scope="col" { "To" } } }
            tbody { @for (at, date) in &all { tr { th scope="row" { (to_part(page, *at)) } td { (date.from) } td { (date.to) } } } } } }
    }
}
