//! Drafted families -> rule text.

use std::fmt::Write;

use super::cut::{Class, Mark, NEW_LINE};
use super::fit::{Content, Place, Row};
use super::stems::Group;
use crate::syntax::is_reserved;

/// What is said of a place whose numbers look like weeks.
const WEEKS: &str = "01 to 53 in all: weeks, with the year beside them?";

/// The text of one family.
pub(super) struct Written {
    pub(super) name: String,
    pub(super) stem: String,
    pub(super) text: String,
}

impl Written {
    /// Gives it another name.
    pub(super) fn rename(&mut self, name: &str) {
        let (old, new) = (format!("family {} ", self.name), format!("family {name} "));
        self.text = self.text.replacen(&old, &new, 1);
        name.clone_into(&mut self.name);
    }
}

/// What a family is called: as its stem, but as no other.
fn name(stem: &str, taken: &dyn Fn(&str) -> bool) -> String {
    let mut base: String = stem.to_lowercase();
    if !base.starts_with(|c: char| c.is_ascii_lowercase()) {
        base.insert_str(0, "n_");
    }
    if is_reserved(&base) {
        base.push_str("_family");
    }
    let mut name = base.clone();
    let mut number = 2;
    while taken(&name) || is_reserved(&name) {
        name = format!("{base}_{number}");
        number += 1;
    }
    name
}

/// A code or reading as it stands in a rule: bare where it is of plain characters.
fn code(text: &str) -> String {
    let plain = |c: char| c.is_ascii_uppercase() || c.is_ascii_digit();
    let bare = text.starts_with(plain)
        && text
            .chars()
            .all(|c| plain(c) || matches!(c, '-' | '/' | '+'));
    if bare {
        return text.to_owned();
    }
    let mut quoted = String::from("\"");
    for c in text.chars() {
        if matches!(c, '"' | '\\') {
            quoted.push('\\');
        }
        quoted.push(c);
    }
    quoted.push('"');
    quoted
}

fn counted(n: usize) -> String {
    if n == 1 {
        "1 mark".to_owned()
    } else {
        format!("{n} marks")
    }
}

/// The name of the class of an open place, in the number that the count asks for.
fn shape(class: Class, least: usize, most: usize) -> String {
    let (one, many) = match class {
        Class::Letters => ("letter", "letters"),
        Class::Digits => ("digit", "digits"),
        _ => ("alnum", "alnum"),
    };
    match (least, most) {
        (1, 1) => one.to_owned(),
        (least, most) if least == most => format!("{least} {many}"),
        (least, most) => format!("{least}..{most} {many}"),
    }
}

/// The text of a place in a mark of its row.
fn text_of<'m>(place: &Place, texts: &'m [Option<String>]) -> Option<&'m str> {
    let text = texts.get(place.run)?.as_deref()?;
    match place.part {
        Some((begin, end)) => text.get(begin..end),
        None => Some(text),
    }
}

pub(super) fn family(group: &Group<'_>, taken: &dyn Fn(&str) -> bool) -> Written {
    let first = group.marks.first();
    let stem: String = first
        .map(|mark| mark.chars[..group.stem].iter().map(|(c, _)| *c).collect())
        .unwrap_or_default();
    let name = name(&stem, taken);
    let mut text = String::new();
    let _ = writeln!(text, "family {name}   Parts {stem}");
    let _ = writeln!(text, "  # maker and function: whose is it, and what?");
    let _ = writeln!(text, "  source \"?\"  standing observed");
    let mut number = 0;
    let mut lists = String::new();
    let mut examples = Vec::new();
    for row in &group.fit.rows {
        let names: Vec<String> = row
            .places
            .iter()
            .map(|_| {
                number += 1;
                format!("place{number}")
            })
            .collect();
        let form = if row.classes.contains(&Class::Gap(NEW_LINE)) {
            "top"
        } else {
            "code"
        };
        diagram(&mut text, form, &stem, row, &names, &group.marks);
        for (place, name) in row.places.iter().zip(&names) {
            list(&mut lists, place, name, row);
        }
        for at in covering(row, &group.marks) {
            let reading = code(&group.marks[at].notation());
            examples.push(if form == "code" {
                format!("  example {reading}")
            } else {
                format!("  example in {form} {reading}")
            });
        }
    }
    let _ = writeln!(text, "{lists}\n{}", examples.join("\n"));
    Written { name, stem, text }
}

/// The specimen with the names of its places beneath.
fn diagram(
    text: &mut String,
    form: &str,
    stem: &str,
    row: &Row,
    names: &[String],
    marks: &[&Mark],
) {
    // The most frequent mark that has all places; else each place has what is most frequent there.
    let whole = row
        .marks
        .iter()
        .filter(|(_, texts)| texts.iter().all(Option::is_some))
        .max_by_key(|(at, _)| (marks[*at].times, std::cmp::Reverse(*at)));
    let mut above = code(stem);
    let mut beneath = "series".to_owned();
    for (run, class) in row.classes.iter().enumerate() {
        match class {
            Class::Gap(sign) => {
                let _ = write!(above, " {sign}");
                let _ = write!(beneath, " {sign}");
                continue;
            }
            Class::Sign(sign) => {
                let sign = code(&sign.to_string());
                let _ = write!(above, " {sign}");
                let _ = write!(beneath, " {sign}");
                continue;
            }
            _ => {}
        }
        for (place, name) in row.places.iter().zip(names).filter(|(p, _)| p.run == run) {
            let met = whole
                .into_iter()
                .chain(&row.marks)
                .find_map(|(_, texts)| text_of(place, texts));
            let _ = write!(above, " {}", code(met.unwrap_or("")));
            let _ = write!(beneath, " {name}");
        }
    }
    let _ = writeln!(text, "  {form} {above}");
    let _ = writeln!(text, "       {beneath}");
}

/// The list or the shape of a place.
fn list(text: &mut String, place: &Place, name: &str, row: &Row) {
    match &place.content {
        Content::Constant(_) => {}
        Content::Open { class, least, most } => {
            let none = if place.absent > 0 { " or none" } else { "" };
            let shape = shape(*class, *least, *most);
            let note = match place.absent {
                0 if place.weeks => format!("  # {WEEKS}"),
                0 => String::new(),
                n => format!("  # {} without", counted(n)),
            };
            let _ = writeln!(text, "  {name} {shape}{none}{note}");
        }
        Content::Listed { codes, partial } => {
            let about = if place.weeks {
                WEEKS
            } else {
                "what do these mean?"
            };
            let _ = writeln!(text, "  {name}  # {about}");
            if place.absent > 0 {
                let _ = writeln!(text, "    none  # {}", counted(place.absent));
            }
            for (of, n) in codes {
                let _ = writeln!(text, "    {}  # {}", code(of), counted(*n));
            }
            if *partial {
                let all = row.marks.len();
                let once = codes.iter().filter(|(_, n)| *n == 1).count();
                let _ = writeln!(
                    text,
                    "    unlisted  # {once} of the {} met once in {all}: there may be more",
                    match codes.len() {
                        1 => "codes".to_owned(),
                        n => format!("{n} codes"),
                    }
                );
            }
        }
    }
}

/// Few marks of a row that show every code of every list, absence included; the most frequent first.
fn covering(row: &Row, marks: &[&Mark]) -> Vec<usize> {
    let listed: Vec<(usize, &Place)> = row
        .places
        .iter()
        .enumerate()
        .filter(|(_, place)| place.absent > 0 || matches!(place.content, Content::Listed { .. }))
        .collect();
    let shows = |texts: &[Option<String>]| -> Vec<(usize, Option<String>)> {
        let of = listed.iter();
        of.filter_map(|(number, place)| {
            let text = text_of(place, texts).map(str::to_owned);
            let matters = text.is_none() || matches!(place.content, Content::Listed { .. });
            matters.then_some((*number, text))
        })
        .collect()
    };
    let mut order: Vec<&(usize, Vec<Option<String>>)> = row.marks.iter().collect();
    order.sort_by_key(|(at, _)| (std::cmp::Reverse(marks[*at].times), *at));
    let mut seen = std::collections::BTreeSet::new();
    let mut chosen = Vec::new();
    for (at, texts) in order {
        let new = shows(texts)
            .into_iter()
            .filter(|show| seen.insert(show.clone()));
        if new.count() > 0 || chosen.is_empty() {
            chosen.push(*at);
        }
    }
    chosen
}
