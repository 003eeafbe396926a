//! A board's account on a terminal: findings first, then the parts by function, makers, and what to look at next.

use etchlore_engine::board::{Account, Board, Finding, State, Weight, blocks, questions, sockets};

use super::view::{PartView, maker_name, parts, sure};
use crate::console::{Console, Label};
use crate::failure::Failure;
use crate::present::text::beside;
use crate::rules::Loaded;

/// Questions shown.
const QUESTIONS: usize = 10;

const CAUTION: &str = "Hypotheses from print, not proof of identity: confirm with the makers' documents before substituting a part. Opening products can injure: lithium cells, charged capacitors, acids; follow local codes and leave it to those qualified.";

pub(crate) fn account(
    loaded: &Loaded,
    board: &Board,
    account: &Account,
    console: &mut Console,
) -> Result<(), Failure> {
    let set = loaded.rules.set();
    let views = parts(set, board, account);
    head(board, &views, console)?;
    findings(board, &account.findings, console)?;
    for block in blocks(set, board, account) {
        console.line("")?;
        let name = if block.function.is_empty() {
            "function not known"
        } else {
            &block.function
        };
        let name = console.paint(Label::Head, name);
        console.line(&name)?;
        for at in &block.parts {
            part(&views[*at], console)?;
        }
    }
    console.line("")?;
    let title = console.paint(Label::Head, "makers by sockets");
    console.line(&title)?;
    for one in sockets(set, board, account) {
        let names: Vec<&str> = one
            .parts
            .iter()
            .map(|at| views[*at].name.as_str())
            .collect();
        let text = format!("{} ({})", maker_name(set, one.maker), names.join(", "));
        beside(console, &format!("  {}", one.sockets), Label::Strong, &text)?;
    }
    let open = questions(account);
    if !open.is_empty() {
        console.line("")?;
        let title = console.paint(Label::Head, "look at next");
        console.line(&title)?;
        for question in open.iter().take(QUESTIONS) {
            let cost = match question.cost.word() {
                "look" => String::new(),
                word => format!(", {word}"),
            };
            let text = format!("{} ({:.1} bits{cost})", question.text, question.bits);
            beside(
                console,
                &format!("  {}", views[question.part].name),
                Label::Good,
                &text,
            )?;
        }
        if open.len() > QUESTIONS {
            beside(
                console,
                "",
                Label::Faint,
                &format!("and {} more, in --output json", open.len() - QUESTIONS),
            )?;
        }
    }
    console.line("")?;
    beside(console, "  note", Label::Faint, CAUTION)
}

fn head(board: &Board, views: &[PartView], console: &mut Console) -> Result<(), Failure> {
    let generation = board
        .generation
        .as_ref()
        .map(|generation| format!(", generation {generation}"))
        .unwrap_or_default();
    let title = console.paint(Label::Strong, &format!("{}{generation}", board.product));
    console.line(&title)?;
    let built = board
        .built
        .map(|built| format!("built {}, ", built.show()))
        .unwrap_or_default();
    let places: u32 = views.iter().map(|view| view.quantity).sum();
    let count = |state| views.iter().filter(|view| view.state == state).count();
    let states = [
        State::Decided,
        State::Identified,
        State::Ambiguous,
        State::Unknown,
        State::Unread,
    ];
    let counted: Vec<String> = states
        .into_iter()
        .filter(|state| count(*state) > 0)
        .map(|state| format!("{} {}", count(state), state.word()))
        .collect();
    console.line(&format!("{built}read {}", board.seen))?;
    console.line(&format!(
        "{} parts in {places} places: {}",
        views.len(),
        counted.join(", ")
    ))
}

fn findings(board: &Board, findings: &[Finding], console: &mut Console) -> Result<(), Failure> {
    if findings.is_empty() {
        console.line("")?;
        return console.line("nothing on this board disagrees, and nothing is open");
    }
    let mut last = None;
    for finding in findings {
        let weight = finding.kind.weight();
        if last != Some(weight) {
            console.line("")?;
            let (label, title) = match weight {
                Weight::Conflict => (Label::Bad, "does not fit"),
                Weight::Open => (Label::Doubt, "open"),
                Weight::Note => (Label::Good, "explained"),
            };
            let title = console.paint(label, title);
            console.line(&title)?;
            last = Some(weight);
        }
        let names: Vec<&str> = finding
            .parts
            .iter()
            .map(|at| board.parts[*at].name())
            .collect();
        let head = match names.as_slice() {
            [] => "  board".to_owned(),
            [one] => format!("  {one}"),
            [first, ..] => format!("  {first} +{}", names.len() - 1),
        };
        beside(console, &head, Label::Strong, &finding.text)?;
        if let Some(why) = &finding.why {
            beside(console, "", Label::Faint, why)?;
        }
    }
    Ok(())
}

fn part(view: &PartView, console: &mut Console) -> Result<(), Failure> {
    let label = match view.state {
        State::Decided | State::Identified => Label::Strong,
        _ => Label::Doubt,
    };
    let quantity = if view.quantity > 1 {
        format!("{} x ", view.quantity)
    } else {
        String::new()
    };
    let written = view
        .written
        .as_ref()
        .map(|written| format!("{written}, "))
        .unwrap_or_default();
    let maker = view
        .maker
        .as_ref()
        .map(|maker| format!(", {maker}"))
        .unwrap_or_default();
    let head = format!("  {}", view.name);
    let text = format!("{quantity}{written}{}{maker}: {}", view.title, sure(view));
    beside(console, &head, label, &text)?;
    if view.places != view.name {
        beside(console, "", Label::Faint, &format!("at {}", view.places))?;
    }
    let mut said: Vec<String> = view
        .fields
        .iter()
        .map(|(name, text)| format!("{} {text}", name.replace('_', " ")))
        .collect();
    if !view.dates.is_empty() {
        said.push(format!("date {}", view.dates.join(", ")));
    }
    said.extend(view.depth.map(|depth| format!("known to the {depth}")));
    if !said.is_empty() {
        beside(console, "", Label::Faint, &said.join("; "))?;
    }
    let inside = view
        .inside
        .as_ref()
        .map(|inside| format!("inside: {inside}"));
    let seen = (!view.observed.is_empty()).then(|| format!("seen: {}", view.observed.join("; ")));
    let more = view
        .stands_for
        .iter()
        .cloned()
        .chain(inside)
        .chain(view.also.iter().map(|also| format!("also: {also}")))
        .chain(view.dies.iter().map(|die| format!("die {die}")))
        .chain(seen)
        .chain(view.context.clone());
    for text in more {
        beside(console, "", Label::Faint, &text)?;
    }
    Ok(())
}
