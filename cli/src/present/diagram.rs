//! A family as an ordering diagram: the specimen cut into its places, the names beneath, each place with its list.

use std::fmt::Write as _;

use etchlore_engine::glyph::{Glyph, GlyphSet};
use etchlore_engine::model::{
    Code, CodeKind, Family, Form, OpenRule, Row, RowItem, RuleSet, Strip,
};
use unicode_width::UnicodeWidthStr;

use super::wire::standing;
use crate::rules::Loaded;

/// The longest list that is shown whole.
const SHOWN: usize = 40;

/// The diagram of a family.
pub(crate) fn draw(loaded: &Loaded, family: &Family, width: usize) -> String {
    let set = loaded.rules.set();
    let mut text = String::new();
    let maker = family
        .maker
        .map(|maker| format!("  {}", set.makers[maker.index()].title))
        .unwrap_or_default();
    let _ = writeln!(text, "{}   {}{maker}", family.name, family.title);
    if let Some(function) = &family.function {
        let _ = writeln!(text, "{function}");
    }
    let _ = writeln!(text);
    for form in &family.forms {
        draw_form(&mut text, family, form, width);
    }
    if let Some(base) = &family.base {
        let _ = writeln!(text, "base   {}\n", row_names(family, base));
    }
    for slot in family.slots.iter().filter(|slot| !slot.literal) {
        let mut about = Vec::new();
        if slot.each {
            about.push("each specimen its own");
        }
        if slot.cased {
            about.push("case counts");
        }
        let about = if about.is_empty() {
            String::new()
        } else {
            format!("   ({})", about.join(", "))
        };
        let _ = writeln!(text, "{}{about}", slot.name);
        for code in slot.codes.iter().take(SHOWN) {
            let _ = writeln!(text, "{}", code_line(set, family, code));
        }
        if slot.codes.len() > SHOWN {
            let _ = writeln!(text, "  ... and {} more", slot.codes.len() - SHOWN);
        }
    }
    facts(&mut text, loaded, family);
    text
}

fn draw_form(text: &mut String, family: &Family, form: &Form, width: usize) {
    let guard = form
        .guard
        .as_ref()
        .map(|guard| format!("   when {}", guard.text))
        .unwrap_or_default();
    let _ = writeln!(text, "{}{guard}", form.kind.word());
    let mut cells: Vec<(String, String)> = Vec::new();
    cells_of(family, form, &form.row.items, &mut cells);
    let mut above = String::new();
    let mut beneath = String::new();
    for (shown, name) in cells {
        let wide = shown.width().max(name.width());
        if name == "|" || !above.is_empty() && above.width() + wide + 4 > width {
            let _ = writeln!(text, "  {}\n  {}", above.trim_end(), beneath.trim_end());
            above.clear();
            beneath.clear();
            if name == "|" {
                continue;
            }
        }
        let _ = write!(above, "{shown}{}", " ".repeat(wide - shown.width() + 2));
        let _ = write!(beneath, "{name}{}", " ".repeat(wide - name.width() + 2));
    }
    if !above.trim().is_empty() || !beneath.trim().is_empty() {
        let _ = writeln!(text, "  {}\n  {}", above.trim_end(), beneath.trim_end());
    }
    let _ = writeln!(text);
}

fn cells_of(family: &Family, form: &Form, items: &[RowItem], cells: &mut Vec<(String, String)>) {
    for item in items {
        match item {
            RowItem::Slot(id) => {
                let slot = &family.slots[id.index()];
                let specimen = form
                    .specimen
                    .iter()
                    .find(|(slot, _, _)| slot == id)
                    .map(|(_, _, shown)| shown.clone());
                let first = slot.codes.iter().find_map(|code| match &code.kind {
                    CodeKind::Listed(spelling) => Some(spelling.text()),
                    CodeKind::Open(strips) => strips.first().map(strip_text),
                    CodeKind::Absent => None,
                });
                let shown = specimen.or(first).unwrap_or_default();
                cells.push((
                    shown,
                    if slot.literal {
                        String::new()
                    } else {
                        slot.name.clone()
                    },
                ));
            }
            RowItem::Boundary { boundary, hard } => {
                let sign = if boundary.text() == " " {
                    "~"
                } else {
                    boundary.text()
                };
                cells.push((
                    sign.to_owned(),
                    if *hard { "!".to_owned() } else { String::new() },
                ));
            }
            RowItem::Break => cells.push((String::new(), "|".to_owned())),
            RowItem::Optional(inner) => {
                cells.push(("[".to_owned(), String::new()));
                cells_of(family, form, inner, cells);
                cells.push(("]".to_owned(), String::new()));
            }
        }
    }
}

fn row_names(family: &Family, row: &Row) -> String {
    let names: Vec<&str> = row
        .items
        .iter()
        .filter_map(|item| {
            if let RowItem::Slot(id) = item {
                Some(family.slots[id.index()].name.as_str())
            } else {
                None
            }
        })
        .collect();
    names.join(" ")
}

/// A strip as classes: `9` a digit, `A` a letter, `*` either.
fn strip_text(strip: &Strip) -> String {
    strip
        .places
        .iter()
        .map(
            |place| match (place.set.alnum, place.set.rest, place.set.others.as_slice()) {
                (_, true, _) => '.',
                (GlyphSet::DIGITS, _, []) => '9',
                (GlyphSet::LETTERS, _, []) => 'A',
                (0, _, [Glyph::Char(c)]) => *c,
                (bits, _, []) if bits.count_ones() == 1 => {
                    let at = bits.trailing_zeros();
                    char::from_digit(at, 36).unwrap_or('*').to_ascii_uppercase()
                }
                _ => '*',
            },
        )
        .collect()
}

fn open_text(strips: &[Strip]) -> String {
    let mut texts: Vec<String> = strips.iter().map(strip_text).collect();
    texts.dedup();
    let shown: Vec<String> = texts.iter().take(4).cloned().collect();
    let more = if texts.len() > 4 {
        format!(" and {} more shapes", texts.len() - 4)
    } else {
        String::new()
    };
    format!("{}{more}", shown.join(", "))
}

fn code_line(set: &RuleSet, family: &Family, code: &Code) -> String {
    let name = match &code.kind {
        CodeKind::Absent => "none".to_owned(),
        CodeKind::Listed(spelling) => spelling.text(),
        CodeKind::Open(strips) if code.unlisted => format!("unlisted {}", open_text(strips)),
        CodeKind::Open(strips) => open_text(strips),
    };
    let mut parts: Vec<String> = code
        .fields
        .iter()
        .map(|(field, value)| format!("{} {}", set.fields[field.index()].name, value.show()))
        .collect();
    parts.extend(code.open_fields.iter().map(|(field, rule)| {
        let name = &set.fields[field.index()].name;
        match rule {
            OpenRule::Unknown(_) => format!("{name} unknown"),
            _ => name.clone(),
        }
    }));
    let mut line = format!("  {name:10}  {}", parts.join(", "));
    if let Some(guard) = &code.guard {
        let _ = write!(line, "   when {}", guard.text);
    }
    for print in &code.prints {
        let forms: Vec<&str> = print.forms.iter().map(|form| form.word()).collect();
        let what = print
            .spelling
            .as_ref()
            .map_or("nothing".to_owned(), |spelling| spelling.text());
        let when = print
            .guard
            .as_ref()
            .map(|guard| format!(" when {}", guard.text))
            .unwrap_or_default();
        let _ = write!(line, "   prints {what} in {}{when}", forms.join(" or "));
    }
    if let Some(stands) = &code.stands {
        let target = &set.families[stands.family.index()].name;
        let _ = write!(
            line,
            "   stands for {target} {}",
            stands.reading.as_deref().unwrap_or("")
        );
    }
    if let Some(known) = code.provenance.standing {
        let _ = write!(line, "   {}", standing(known));
    }
    if let Some(note) = &code.provenance.note {
        let _ = write!(line, "   ({note})");
    }
    let _ = family;
    line.trim_end().to_owned()
}

fn facts(text: &mut String, loaded: &Loaded, family: &Family) {
    let set = loaded.rules.set();
    let _ = writeln!(text);
    for matrix in &family.matrices {
        let by: Vec<&str> = matrix
            .slots
            .iter()
            .map(|slot| family.slots[slot.index()].name.as_str())
            .collect();
        let _ = writeln!(
            text,
            "{} by {}: {} values",
            set.fields[matrix.field.index()].name,
            by.join(", "),
            matrix.cells.len()
        );
    }
    for date in &family.dates {
        let of = date
            .of
            .as_ref()
            .map(|of| format!(" of {of}"))
            .unwrap_or_default();
        let slots: Vec<&str> = date
            .slots
            .iter()
            .map(|slot| family.slots[slot.index()].name.as_str())
            .collect();
        let _ = writeln!(
            text,
            "{}{of} from {}",
            set.fields[date.field.index()].name,
            slots.join(", ")
        );
    }
    for never in &family.nevers {
        let word = if never.seldom.is_some() {
            "seldom"
        } else {
            "never"
        };
        let note = never
            .provenance
            .note
            .as_ref()
            .map(|note| format!("   ({note})"))
            .unwrap_or_default();
        let _ = writeln!(text, "{word} {}{note}", never.cond.text);
    }
    for accept in &family.accepts {
        let note = accept
            .note
            .as_ref()
            .map(|note| format!("   ({note})"))
            .unwrap_or_default();
        let _ = writeln!(
            text,
            "accepted: {} {}{note}",
            accept.lint,
            accept.about.join(" ")
        );
    }
    if let Some(source) = &family.provenance.source {
        let reviewed = family
            .provenance
            .reviewed
            .map(|day| format!(", reviewed {day}"))
            .unwrap_or_default();
        let _ = writeln!(
            text,
            "source {source} ({}{reviewed})",
            standing(family.provenance.standing.unwrap_or_default())
        );
    }
    let _ = writeln!(
        text,
        "rule {}, {} examples, {} refusals",
        loaded.sources.file_line(family.place),
        family.examples.len(),
        family.refusals.len()
    );
}
