//! Why a family does not lead, for people and programs.

use etchlore_engine::decode::Reading;
use etchlore_engine::glyph::Glyph;
use etchlore_engine::rank::Why;
use serde_json::{Value as Json, json};
use unicode_width::UnicodeWidthChar;

use super::text::{beside, percent, taken};
use crate::console::{Console, Label};
use crate::failure::Failure;
use crate::rules::Loaded;

/// The paragraph below an answer.
pub(crate) fn text(
    loaded: &Loaded,
    reading: &Reading,
    why: &Why,
    console: &mut Console,
) -> Result<(), Failure> {
    let family = &loaded.rules.set().families[why.family.index()];
    console.line("")?;
    console.line(&format!(
        "{} {}",
        console.paint(Label::Head, "why"),
        family.name
    ))?;
    match &why.stop {
        None => beside(
            console,
            "  reads",
            Label::Good,
            &format!(
                "it as it stands; if only this family and none were possible: {}",
                percent(why.alone)
            ),
        )?,
        Some(stop) => {
            if let Some(line) = reading.lines.get(stop.line) {
                let room = console.width().saturating_sub(super::text::MARGIN).max(20);
                let (text, caret) = around(&line.text, stop.span.0 as usize, room);
                console.line(&format!(
                    "{}{}{text}",
                    console.paint(Label::Faint, "  mark"),
                    " ".repeat(super::text::MARGIN - "  mark".len())
                ))?;
                let caret = format!("{}^", " ".repeat(caret));
                console.line(&format!(
                    "{}{}",
                    " ".repeat(super::text::MARGIN),
                    console.paint(Label::Bad, &caret)
                ))?;
            }
            let found = match &stop.found {
                Some(found) => format!("{found} (line {})", stop.line + 1),
                None => format!("the end of line {}", stop.line + 1),
            };
            let slots = if stop.slots.is_empty() {
                String::new()
            } else {
                format!(" for {}", stop.slots.join(" or "))
            };
            let text = if stop.wanted.is_empty() && !stop.ended {
                format!("at {found}")
            } else {
                format!("at {found}: it takes {}{slots}", stop.wanted_text())
            };
            beside(console, "  stops", Label::Bad, &text)?;
            beside(
                console,
                "  form",
                Label::Faint,
                &format!(
                    "{}, {} read before",
                    stop.form.word(),
                    match stop.read {
                        1 => "1 character".to_owned(),
                        many => format!("{many} characters"),
                    }
                ),
            )?;
        }
    }
    match &why.nearest {
        Some(nearest) if why.stop.is_some() => {
            let how: Vec<String> = why.corrections.iter().map(taken).collect();
            let how = if how.is_empty() {
                String::new()
            } else {
                format!(": {}", how.join(", "))
            };
            beside(console, "  near", Label::Doubt, &format!("{nearest}{how}"))
        }
        None => beside(console, "  near", Label::Doubt, "none is near"),
        Some(_) => Ok(()),
    }
}

/// The key `why` of a reading.
pub(crate) fn wire(loaded: &Loaded, why: &Why) -> Json {
    let family = &loaded.rules.set().families[why.family.index()];
    let mut object = json!({ "family": family.name, "reads": why.stop.is_none() });
    if let Some(stop) = &why.stop {
        object["stop"] = json!({
            "form": stop.form.word(),
            "line": stop.line + 1,
            "span": [stop.span.0, stop.span.1],
            "read": stop.read,
            "found": stop.found,
            "wanted": stop.wanted.iter().map(|glyph| match glyph {
                Glyph::Char(c) => c.to_string(),
                Glyph::Symbol(name) => format!(":{name}:"),
            }).collect::<Vec<_>>(),
            "may_end": stop.ended,
            "slots": stop.slots,
        });
    }
    if let Some(nearest) = &why.nearest {
        object["nearest"] = json!(nearest);
        object["corrections"] = why
            .corrections
            .iter()
            .map(|c| json!({ "line": c.line + 1, "at": c.at, "read": c.read, "as": c.taken, "slot": c.slot }))
            .collect();
    }
    object
}

/// The part of a line around one of its characters that fits into so many columns, and the column of that character.
fn around(line: &str, at: usize, room: usize) -> (String, usize) {
    let chars: Vec<char> = line.chars().collect();
    let width = |some: &[char]| some.iter().map(|c| c.width().unwrap_or(0)).sum::<usize>();
    let at = at.min(chars.len());
    let mut from = 0;
    // The caret stands in the middle where the line is too long.
    if width(&chars) + 1 > room {
        while from < at && width(&chars[from..at]) > room / 2 {
            from += 1;
        }
    }
    let mut to = from;
    while to < chars.len() && width(&chars[from..=to]) < room {
        to += 1;
    }
    let text = chars[from..to].iter().collect();
    (text, width(&chars[from..at]))
}
