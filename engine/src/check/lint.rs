//! Lints that tree and model alone can answer.

use super::cx::Cx;
use crate::diagnostic::{Diagnostic, near};
use crate::model::{CodeKind, Cond, Family, OpenRule, RowItem, RuleSet};
use crate::value::DatePart;

pub(super) fn lint(cx: &mut Cx<'_>, rules: &RuleSet) {
    for family in &rules.families {
        let mut found = Vec::new();
        family_lints(family, rules, &mut found);
        let accepted = |fault: &Diagnostic| {
            family
                .accepts
                .iter()
                .any(|accept| accept.lint == fault.code)
        };
        found.retain(|fault| !accepted(fault));
        cx.diagnostics.extend(found);
    }
}

fn family_lints(family: &Family, rules: &RuleSet, found: &mut Vec<Diagnostic>) {
    let name = &family.name;
    if family.examples.is_empty() {
        found.push(Diagnostic::new("missing-example", family.place, format!("`{name}` has no example")).help("write a line `example CODE  field value` with a real marking: it is the rule's own test"));
    }
    if family.provenance.source.is_none() {
        found.push(
            Diagnostic::new(
                "missing-source",
                family.place,
                format!("`{name}` has no source"),
            )
            .help("write `source \"document, section\"` and its standing"),
        );
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
    fn mark(items: &[RowItem], used: &mut [bool]) {
        for item in items {
            match item {
                RowItem::Slot(slot) => used[slot.index()] = true,
                RowItem::Optional(inner) => mark(inner, used),
                _ => {}
            }
        }
    }
    let mut used = vec![false; family.slots.len()];
    for form in &family.forms {
        mark(&form.row.items, &mut used);
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
