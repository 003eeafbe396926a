//! Lints that tree and model alone can answer.

use std::collections::HashSet;

use super::cx::Cx;
use crate::diagnostic::{Diagnostic, Severity, near};
use crate::model::{CodeKind, Cond, Family, OpenRule, RuleSet, slots};
use crate::syntax::ast::{BaseLit, LineKind, Word};
use crate::value::DatePart;

/// Lints of this file that a family can accept. Those of `analyse` are held to account there.
const ACCEPTABLE: &[&str] = &[
    "missing-example",
    "missing-source",
    "form-missing",
    "unreachable-entry",
    "unused-slot",
    "impossible-date",
    "idle-never",
    "idle-weight",
    "doubtful-letter",
    "outside-window",
];

pub(super) fn lint(cx: &mut Cx<'_>, rules: &RuleSet) {
    for family in &rules.families {
        let mut found = Vec::new();
        family_lints(family, rules, &mut found);
        never_lints(family, &mut found);
        // A condition that is wrong is said already.
        found.retain(|fault| fault.code != "idle-never" || !wrong_already(cx, fault));
        weight_lints(family, &mut found);
        window_lints(family, &mut found);
        letter_lints(family, &mut found);
        let mut idle = Vec::new();
        for accept in &family.accepts {
            let known = crate::diagnostic::info(&accept.lint);
            let said = found.iter().any(|fault| fault.code == accept.lint);
            if known.is_some() && (said || !ACCEPTABLE.contains(&accept.lint.as_str())) {
                continue;
            }
            let title = if known.is_some() {
                format!(
                    "nothing here is `{}`, so this silences nothing",
                    accept.lint
                )
            } else {
                format!("no lint is called `{}`", accept.lint)
            };
            let fault = Diagnostic::new("idle-accept", accept.place, title);
            let codes = crate::diagnostic::CODES.iter().map(|info| info.code);
            idle.push(match near(&accept.lint, codes).first() {
                Some(near) if known.is_none() => fault.help(format!("did you mean `{near}`?")),
                _ => fault.help("remove the line"),
            });
        }
        let accepted = |fault: &Diagnostic| {
            family
                .accepts
                .iter()
                .any(|accept| accept.lint == fault.code)
        };
        found.retain(|fault| !accepted(fault));
        cx.diagnostics.extend(found);
        cx.diagnostics.extend(idle);
    }
    unused_tables(cx);
}

/// Whether an error is said of the line of a fault.
fn wrong_already(cx: &Cx<'_>, fault: &Diagnostic) -> bool {
    let line = |fault: &Diagnostic| {
        let place = fault.place()?;
        let source = cx.sources.get(place.source)?;
        Some((place.source, source.line_col(place.span.start).line))
    };
    cx.diagnostics
        .iter()
        .any(|other| other.severity == Severity::Error && line(other) == line(fault))
}

/// Tables that nothing names: no slot, no table, no check digit, no `use` of another file.
fn unused_tables(cx: &mut Cx<'_>) {
    let mut used: HashSet<String> = HashSet::new();
    let mut declared: Vec<(usize, Word)> = Vec::new();
    for (at, file) in cx.files.iter().enumerate() {
        for node in &file.tree.nodes {
            let shape = match &node.kind {
                LineKind::Table(name, shape, _) => {
                    declared.push((at, name.clone()));
                    shape
                }
                LineKind::Slot(_, shape, _) => shape,
                LineKind::Check { values, .. } => {
                    used.extend(values.iter().map(|word| word.text.clone()));
                    continue;
                }
                LineKind::Use { names, .. } => {
                    used.extend(names.iter().map(|word| word.text.clone()));
                    continue;
                }
                _ => continue,
            };
            if let Some(BaseLit::Tables(tables)) = &shape.base {
                used.extend(tables.iter().map(|word| word.text.clone()));
            }
        }
    }
    for (file, name) in declared {
        let place = cx.place(file, name.span);
        let builtin = cx.sources.get(place.source).is_some_and(|s| s.builtin);
        if !builtin && !used.contains(&name.text) {
            cx.note(
                Diagnostic::new("unused-table", place, format!("no slot takes its codes from `{}`", name.text))
                    .help("name it behind a slot, or remove it; a table for other files counts as used where a `use` names it"),
            );
        }
    }
}

/// A `never` or `seldom` that excludes nothing, or everything.
fn never_lints(family: &Family, found: &mut Vec<Diagnostic>) {
    for never in &family.nevers {
        let always = |term: &crate::model::Term| {
            let all = |(slot, codes): &(crate::model::SlotId, Vec<crate::model::CodeId>)| {
                codes.len() == family.slots[slot.index()].codes.len()
            };
            !term.negated && term.any.iter().any(all)
        };
        let how = if never_holds(&never.cond) {
            "can never hold, so it excludes nothing"
        } else if never.cond.terms.iter().all(always) {
            "always holds, so it excludes everything"
        } else {
            continue;
        };
        let title = format!("`{}` {how}", never.cond.text);
        found.push(
            Diagnostic::new("idle-never", never.place, title)
                .help("look for a misspelt code or a wrong comparison in it"),
        );
    }
}

/// A weight that all alternatives of a slot have: only weights that differ say something.
fn weight_lints(family: &Family, found: &mut Vec<Diagnostic>) {
    for slot in &family.slots {
        let Some(first) = slot.codes.first() else {
            continue;
        };
        // Two codes with guards may never stand beside each other.
        let alone = slot.codes.len() == 1 || slot.codes.iter().all(|code| code.guard.is_none());
        if first.weight != 1.0
            && alone
            && !slot.codes.iter().any(|code| code.unlisted)
            && slot.codes.iter().all(|code| code.weight == first.weight)
        {
            let title = format!(
                "all codes of `{}` have the weight {}, which says nothing",
                slot.name, first.weight
            );
            found.push(
                Diagnostic::new("idle-weight", first.place, title)
                    .help("weights are relative to the other codes of the slot: remove it, or weigh one against another"),
            );
        }
    }
}

/// An entry that was made only when the family was not.
fn window_lints(family: &Family, found: &mut Vec<Diagnostic>) {
    let window = &family.window;
    for code in family.slots.iter().flat_map(|slot| &slot.codes) {
        let after = code
            .window
            .since
            .zip(window.until)
            .filter(|(since, until)| since > until);
        let before = code
            .window
            .until
            .zip(window.since)
            .filter(|(until, since)| until < since);
        let why = match (after, before) {
            (Some((since, until)), _) => {
                format!("this code came on {since}, and the family ended on {until}")
            }
            (_, Some((until, since))) => {
                format!("this code ended on {until}, and the family began on {since}")
            }
            _ => continue,
        };
        found.push(
            Diagnostic::new("outside-window", code.place, why)
                .help("mend the window of the one or of the other"),
        );
    }
}

/// A code with a letter where all its neighbours have digits: I, O and Q are avoided in codes, as they look like digits.
fn letter_lints(family: &Family, found: &mut Vec<Diagnostic>) {
    const LOOKS: &[(char, char)] = &[('I', '1'), ('O', '0'), ('Q', '0')];
    for slot in &family.slots {
        let listed: Vec<(String, crate::source::Place)> = slot
            .codes
            .iter()
            .filter_map(|code| match &code.kind {
                CodeKind::Listed(spelling) => Some((spelling.text(), code.place)),
                _ => None,
            })
            .collect();
        for (text, place) in &listed {
            for (at, c) in text.char_indices() {
                let Some((_, digit)) = LOOKS.iter().find(|(letter, _)| *letter == c) else {
                    continue;
                };
                let beside: Vec<&str> = listed
                    .iter()
                    .map(|(other, _)| other.as_str())
                    .filter(|other| *other != text && other.len() == text.len())
                    .collect();
                let digits = |other: &&str| other.as_bytes()[at].is_ascii_digit();
                let mended = format!("{}{digit}{}", &text[..at], &text[at + 1..]);
                if beside.len() >= 3
                    && beside.iter().all(digits)
                    && !beside.contains(&mended.as_str())
                {
                    let title = format!(
                        "`{text}` of `{}` has a letter where all its neighbours have a digit",
                        slot.name
                    );
                    found.push(
                        Diagnostic::new("doubtful-letter", *place, title)
                            .help(format!("did you mean `{mended}`?")),
                    );
                }
            }
        }
    }
}

fn family_lints(family: &Family, rules: &RuleSet, found: &mut Vec<Diagnostic>) {
    let name = &family.name;
    if family.examples.is_empty() {
        found.push(Diagnostic::new("missing-example", family.place, format!("`{name}` has no example")).help("write a line `example CODE  field value` with a real marking: it is the rule's own test"));
    }
    let source = family.provenance.source.as_deref().map(str::trim);
    let why = match source {
        None => Some(format!("`{name}` has no source")),
        Some("" | "?") => Some(format!("the source of `{name}` is yet to be filled in")),
        Some(_) => None,
    };
    if let Some(why) = why {
        found.push(Diagnostic::new("missing-source", family.place, why).help(
            "write `source \"document, section\"`, or what was looked at (\"three boards, 2026\"), and its standing: documented, observed or supposed",
        ));
    }
    if family.forms.is_empty() {
        found.push(
            Diagnostic::new(
                "form-missing",
                family.place,
                format!("`{name}` has no form and can never be read"),
            )
            .help("write `code` with a specimen and the names of its places beneath"),
        );
    }
    for slot in &family.slots {
        for code in &slot.codes {
            if code.guard.as_ref().is_some_and(never_holds) {
                let text = code
                    .guard
                    .as_ref()
                    .map(|guard| guard.text.clone())
                    .unwrap_or_default();
                found.push(
                    Diagnostic::new(
                        "unreachable-entry",
                        code.place,
                        format!("this entry can never hold: `{text}`"),
                    )
                    .help("mend its `when`, or remove it"),
                );
            }
        }
    }
    unused_slots(family, found);
    for date in &family.dates {
        let mut parts: Vec<DatePart> = Vec::new();
        for slot in &date.slots {
            for code in &family.slots[slot.index()].codes {
                let of_code = code
                    .fields
                    .iter()
                    .map(|(f, _)| f)
                    .chain(code.open_fields.iter().map(|(f, _)| f));
                parts.extend(
                    of_code
                        .filter_map(|field| DatePart::of_field(&rules.fields[field.index()].name)),
                );
                impossible_values(code, rules, found);
            }
        }
        let has = |part| parts.contains(&part);
        let why = if !has(DatePart::Year) {
            Some("a date needs a year")
        } else if has(DatePart::Third) && !has(DatePart::Month) {
            Some("ten days are of a month, and no slot gives one")
        } else if has(DatePart::Week) && has(DatePart::Month) {
            Some("it has both a week and a month")
        } else {
            None
        };
        if let Some(why) = why {
            found.push(Diagnostic::new("impossible-date", date.place, format!("these slots make no date: {why}")).help("parts of a date are year, quarter, month, fortnight, week, third and day, each given by a slot or field of that name"));
        }
    }
}

/// Slots that no form prints: forgotten, or a clause misspelt.
fn unused_slots(family: &Family, found: &mut Vec<Diagnostic>) {
    let mut used = vec![false; family.slots.len()];
    for form in &family.forms {
        for slot in slots(&form.row.items) {
            used[slot.index()] = true;
        }
    }
    if family.forms.is_empty() {
        return;
    }
    for (slot, used) in family.slots.iter().zip(used) {
        if !used {
            let mut fault = Diagnostic::new(
                "unused-slot",
                slot.place,
                format!("no form prints the slot `{}`", slot.name),
            );
            let words = [
                "source", "standing", "since", "until", "reviewed", "note", "weight", "function",
                "maker", "example", "refuse", "accept", "never", "seldom", "date", "check",
                "contains",
            ];
            fault = match near(&slot.name, words).first() {
                Some(word) => fault.help(format!("did you mean `{word}`?")),
                None => fault.help("name it in a row, or remove it"),
            };
            found.push(fault);
        }
    }
}

fn impossible_values(code: &crate::model::Code, rules: &RuleSet, found: &mut Vec<Diagnostic>) {
    let bound = |part: DatePart| match part {
        DatePart::Year => 9999.0,
        DatePart::Quarter => 4.0,
        DatePart::Month => 12.0,
        DatePart::Fortnight => 27.0,
        DatePart::Week => 53.0,
        DatePart::Third => 3.0,
        DatePart::Day => 366.0,
    };
    let mut say = |part: DatePart, name: &str, value: f64| {
        if value > bound(part) || value < 0.0 {
            found.push(
                Diagnostic::new(
                    "impossible-date",
                    code.place,
                    format!("there is no {name} {value}"),
                )
                .help(format!("a {name} is at most {}", bound(part))),
            );
        }
    };
    for (field, value) in &code.fields {
        let name = &rules.fields[field.index()].name;
        if let (Some(part), crate::value::Value::Quantity(quantity)) =
            (DatePart::of_field(name), value)
        {
            say(part, name, quantity.value);
        }
    }
    for (field, rule) in &code.open_fields {
        let name = &rules.fields[field.index()].name;
        if let (Some(part), OpenRule::OneOf { order, start, .. }, CodeKind::Open(_)) =
            (DatePart::of_field(name), rule, &code.kind)
            && part != DatePart::Year
        {
            say(
                part,
                name,
                (start.unwrap_or(1) + order.len() as i64 - 1) as f64,
            );
        }
    }
}

/// Whether a condition cannot hold: a term without codes, or two terms of one slot that exclude each other.
fn never_holds(cond: &Cond) -> bool {
    let empty = |term: &crate::model::Term| {
        !term.negated && !term.any.is_empty() && term.any.iter().all(|(_, codes)| codes.is_empty())
    };
    let contradict = |a: &crate::model::Term, b: &crate::model::Term| {
        let ([(slot_a, codes_a)], [(slot_b, codes_b)]) = (a.any.as_slice(), b.any.as_slice())
        else {
            return false;
        };
        slot_a == slot_b
            && !a.negated
            && if b.negated {
                codes_a.iter().all(|code| codes_b.contains(code))
            } else {
                !codes_a.iter().any(|code| codes_b.contains(code))
            }
    };
    cond.terms.iter().any(empty)
        || cond
            .terms
            .iter()
            .any(|a| cond.terms.iter().any(|b| contradict(a, b)))
}
