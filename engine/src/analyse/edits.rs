//! What was edited between two versions of a rule set, as far as it can matter to an answer: comments, sources, notes, examples
//! and the order of lines do not.

use std::collections::{BTreeMap, BTreeSet};

use crate::model::{Code, CodeKind, Expr, Family, FieldId, Row, RowItem, RuleSet, SlotId, Window};
use crate::source::Place;

/// One edit.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Edit {
    /// The family that it changes.
    pub family: String,
    /// What part of it.
    pub part: Part,
    /// What was done to it, for people.
    pub text: String,
    /// Where it was.
    pub old: Option<Place>,
    /// Where it is.
    pub new: Option<Place>,
}

/// Parts of a family that can be edited.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub enum Part {
    /// The family as a whole: it came or went.
    Whole,
    /// A statement on the whole family: maker, weight, window ...
    Head,
    /// A form.
    Form(String),
    /// A code of a slot: both names.
    Code(String, String),
    /// A slot as a whole.
    Slot(String),
    /// A field that is derived, looked up or put together.
    Field(String),
    /// What is not, or seldom, made.
    Never,
    /// A check digit.
    Check,
}

/// A part with what is said of it, by keyword.
type Facts = BTreeMap<String, String>;

/// All edits from `old` to `new`, by family.
#[must_use]
pub fn edits(old: &RuleSet, new: &RuleSet) -> Vec<Edit> {
    let by_name = |set: &RuleSet| -> BTreeMap<String, usize> {
        // Families without a form are there for others to use; nothing is read as one.
        let active = set.families.iter().enumerate();
        active
            .filter(|(_, family)| !family.forms.is_empty())
            .map(|(at, family)| (family.name.clone(), at))
            .collect()
    };
    let (olds, news) = (by_name(old), by_name(new));
    let mut found = Vec::new();
    let names: BTreeSet<&String> = olds.keys().chain(news.keys()).collect();
    for name in names {
        let before = olds.get(name).map(|at| &old.families[*at]);
        let after = news.get(name).map(|at| &new.families[*at]);
        match (before, after) {
            (Some(before), Some(after)) => {
                let (a, b) = (facts(old, before), facts(new, after));
                compare(name, &a, &b, &mut found);
            }
            (before, after) => found.push(Edit {
                family: name.clone(),
                part: Part::Whole,
                text: if after.is_some() {
                    "the family is new".to_owned()
                } else {
                    "the family was removed".to_owned()
                },
                old: before.map(|family| family.place),
                new: after.map(|family| family.place),
            }),
        }
    }
    found
}

/// Each part of a family; several of one name (a code with several guards) stand together.
type Parts = BTreeMap<Part, Vec<(Facts, Place)>>;

fn compare(family: &str, old: &Parts, new: &Parts, found: &mut Vec<Edit>) {
    let parts: BTreeSet<&Part> = old.keys().chain(new.keys()).collect();
    for part in parts {
        let none = Vec::new();
        let (before, after) = (
            old.get(part).unwrap_or(&none),
            new.get(part).unwrap_or(&none),
        );
        // What stands in both cancels out.
        let only = |one: &[(Facts, Place)], other: &[(Facts, Place)]| -> Vec<(Facts, Place)> {
            let mut rest: Vec<&Facts> = other.iter().map(|(facts, _)| facts).collect();
            one.iter()
                .filter(|(facts, _)| match rest.iter().position(|f| *f == facts) {
                    Some(at) => {
                        rest.swap_remove(at);
                        false
                    }
                    None => true,
                })
                .cloned()
                .collect()
        };
        let (gone, come) = (only(before, after), only(after, before));
        for at in 0..gone.len().max(come.len()) {
            let (a, b) = (gone.get(at), come.get(at));
            let text = match (a, b) {
                (Some((a, _)), Some((b, _))) => format!("{}: {}", name(part), difference(a, b)),
                (None, Some((b, _))) => format!("{} is new{}", name(part), said(b)),
                (Some((a, _)), None) => format!("{} was removed{}", name(part), said(a)),
                (None, None) => continue,
            };
            found.push(Edit {
                family: family.to_owned(),
                part: part.clone(),
                text,
                old: a.map(|(_, place)| *place),
                new: b.map(|(_, place)| *place),
            });
        }
    }
}

fn name(part: &Part) -> String {
    match part {
        Part::Whole | Part::Head => "the family".to_owned(),
        Part::Form(kind) => format!("the form {kind}"),
        Part::Code(slot, code) => format!("`{slot}` {code}"),
        Part::Slot(slot) => format!("the slot `{slot}`"),
        Part::Field(field) => format!("the field `{field}`"),
        Part::Never => "what is not made".to_owned(),
        Part::Check => "the check digit".to_owned(),
    }
}

fn said(facts: &Facts) -> String {
    let all: Vec<String> = facts
        .iter()
        .map(|(word, text)| format!("{word} {text}"))
        .collect();
    if all.is_empty() {
        String::new()
    } else {
        format!(" ({})", all.join(", "))
    }
}

fn difference(old: &Facts, new: &Facts) -> String {
    let words: BTreeSet<&String> = old.keys().chain(new.keys()).collect();
    let mut parts = Vec::new();
    for word in words {
        match (old.get(word), new.get(word)) {
            (Some(a), Some(b)) if a == b => {}
            (Some(a), Some(b)) => parts.push(format!("{word} {a}, now {b}")),
            (None, Some(b)) => parts.push(format!("now {word} {b}")),
            (Some(a), None) => parts.push(format!("no longer {word} {a}")),
            (None, None) => {}
        }
    }
    parts.join("; ")
}

struct Namer<'r> {
    set: &'r RuleSet,
    family: &'r Family,
}

impl Namer<'_> {
    fn field(&self, id: FieldId) -> &str {
        &self.set.fields[id.index()].name
    }

    fn slot(&self, id: SlotId) -> &str {
        &self.family.slots[id.index()].name
    }

    fn row(&self, row: &Row) -> String {
        fn items(namer: &Namer<'_>, list: &[RowItem]) -> String {
            let words: Vec<String> = list
                .iter()
                .map(|item| match item {
                    RowItem::Slot(slot) => namer.slot(*slot).to_owned(),
                    RowItem::Boundary { boundary, hard } => {
                        let text = boundary.text();
                        let text = if text == " " { "~" } else { text };
                        format!("{text}{}", if *hard { "!" } else { "" })
                    }
                    RowItem::Break => "|".to_owned(),
                    RowItem::Optional(inner) => format!("[ {} ]", items(namer, inner)),
                })
                .collect();
            words.join(" ")
        }
        items(self, &row.items)
    }

    fn expr(&self, expr: &Expr) -> String {
        match expr {
            Expr::Const(value) => value.show(),
            Expr::Field(field) => self.field(*field).to_owned(),
            Expr::Add(a, b) => format!("({} + {})", self.expr(a), self.expr(b)),
            Expr::Sub(a, b) => format!("({} - {})", self.expr(a), self.expr(b)),
            Expr::Mul(a, b) => format!("({} * {})", self.expr(a), self.expr(b)),
            Expr::Div(a, b) => format!("({} / {})", self.expr(a), self.expr(b)),
            Expr::Power(a, n) => format!("{} ^ {n}", self.expr(a)),
        }
    }

    fn code(&self, code: &Code) -> Facts {
        let mut facts = Facts::new();
        for (field, value) in &code.fields {
            facts.insert(self.field(*field).to_owned(), value.show());
        }
        for (field, rule) in &code.open_fields {
            facts.insert(self.field(*field).to_owned(), format!("{rule:?}"));
        }
        if let CodeKind::Open(strips) = &code.kind {
            let lengths: BTreeSet<usize> = strips.iter().map(|s| s.places.len()).collect();
            facts.insert("characters".to_owned(), format!("{lengths:?}"));
            // Strings are long; what counts is whether they are the same.
            facts.insert(
                "shape".to_owned(),
                format!("{:016x}", digest(&format!("{strips:?}"))),
            );
        }
        if code.weight != 1.0 {
            facts.insert("weight".to_owned(), code.weight.to_string());
        }
        window(&code.window, &mut facts);
        if let Some(guard) = &code.guard {
            facts.insert("when".to_owned(), guard.text.clone());
        }
        if let Some(standing) = code.provenance.standing {
            facts.insert(
                "standing".to_owned(),
                format!("{standing:?}").to_lowercase(),
            );
        }
        let prints: Vec<String> = code
            .prints
            .iter()
            .map(|print| {
                let what = print
                    .spelling
                    .as_ref()
                    .map_or("nothing".to_owned(), |s| s.text());
                let forms: Vec<&str> = print.forms.iter().map(|form| form.word()).collect();
                let when = print.guard.as_ref().map(|g| format!(" when {}", g.text));
                format!(
                    "{what} in {}{}",
                    forms.join(" or "),
                    when.unwrap_or_default()
                )
            })
            .collect();
        if !prints.is_empty() {
            facts.insert("prints".to_owned(), prints.join(", "));
        }
        if let Some(stands) = &code.stands {
            let family = &self.set.families[stands.family.index()].name;
            let reading = stands.reading.as_deref().unwrap_or("");
            facts.insert("stands".to_owned(), format!("{family} {reading}"));
        }
        facts
    }
}

/// FNV-1a: only told apart, never trusted.
fn digest(text: &str) -> u64 {
    text.bytes().fold(0xcbf2_9ce4_8422_2325, |hash, byte| {
        (hash ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3)
    })
}

fn window(window: &Window, facts: &mut Facts) {
    if let Some(since) = window.since {
        facts.insert("since".to_owned(), since.to_string());
    }
    if let Some(until) = window.until {
        facts.insert("until".to_owned(), until.to_string());
    }
}

/// How a code is named in an edit and by what an explanation shows.
pub(super) fn code_name(code: &Code) -> String {
    match &code.kind {
        CodeKind::Absent => "none".to_owned(),
        CodeKind::Listed(spelling) => spelling.text(),
        CodeKind::Open(_) if code.unlisted => "unlisted".to_owned(),
        CodeKind::Open(_) => "open".to_owned(),
    }
}

fn facts(set: &RuleSet, family: &Family) -> Parts {
    let namer = Namer { set, family };
    let mut parts = Parts::new();
    let mut add = |part: Part, facts: Facts, place: Place| {
        parts.entry(part).or_default().push((facts, place));
    };
    let one = |word: &str, text: String| Facts::from([(word.to_owned(), text)]);
    let mut head = Facts::new();
    if let Some(maker) = family.maker {
        head.insert("maker".to_owned(), set.makers[maker.index()].name.clone());
    }
    if let Some(function) = &family.function {
        head.insert("function".to_owned(), function.clone());
    }
    head.insert("weight".to_owned(), family.weight.to_string());
    if let Some(standing) = family.provenance.standing {
        head.insert(
            "standing".to_owned(),
            format!("{standing:?}").to_lowercase(),
        );
    }
    window(&family.window, &mut head);
    if let Some(base) = &family.base {
        head.insert("base".to_owned(), namer.row(base));
    }
    if let Some((of, _)) = family.second_source {
        head.insert(
            "second_source".to_owned(),
            set.families[of.index()].name.clone(),
        );
    }
    add(Part::Head, head, family.place);
    for form in &family.forms {
        let mut facts = one("row", namer.row(&form.row));
        if form.weight != 1.0 {
            facts.insert("weight".to_owned(), form.weight.to_string());
        }
        if let Some(guard) = &form.guard {
            facts.insert("when".to_owned(), guard.text.clone());
        }
        add(Part::Form(form.kind.word().to_owned()), facts, form.place);
    }
    for slot in &family.slots {
        let mut flags = Facts::new();
        for (flag, word) in [(slot.each, "each"), (slot.cased, "cased")] {
            if flag {
                flags.insert(word.to_owned(), String::new());
            }
        }
        add(Part::Slot(slot.name.clone()), flags, slot.place);
        for code in &slot.codes {
            let part = Part::Code(slot.name.clone(), code_name(code));
            add(part, namer.code(code), code.place);
        }
    }
    for derived in &family.derived {
        let mut facts = one("=", namer.expr(&derived.expr));
        if let Some(guard) = &derived.guard {
            facts.insert("when".to_owned(), guard.text.clone());
        }
        add(
            Part::Field(namer.field(derived.field).to_owned()),
            facts,
            derived.place,
        );
    }
    for matrix in &family.matrices {
        let facts = matrix.cells.iter().map(|(key, value)| {
            let codes = matrix
                .slots
                .iter()
                .zip(key)
                .map(|(slot, code)| code_name(&family.slots[slot.index()].codes[code.index()]));
            (codes.collect::<Vec<_>>().join(" "), value.show())
        });
        let part = Part::Field(namer.field(matrix.field).to_owned());
        add(part, facts.collect(), matrix.place);
    }
    for date in &family.dates {
        let slots: Vec<&str> = date.slots.iter().map(|slot| namer.slot(*slot)).collect();
        let mut facts = one("of slots", slots.join(" "));
        facts.insert("slack".to_owned(), format!("{:?}", date.slack));
        facts.insert("calendar".to_owned(), format!("{:?}", date.calendar));
        add(
            Part::Field(namer.field(date.field).to_owned()),
            facts,
            date.place,
        );
    }
    for never in &family.nevers {
        let word = if never.seldom.is_some() {
            "seldom"
        } else {
            "never"
        };
        let mut facts = one(word, never.cond.text.clone());
        if let Some(weight) = never.seldom {
            facts.insert("weight".to_owned(), weight.to_string());
        }
        add(Part::Never, facts, never.place);
    }
    for check in &family.checks {
        let slots: Vec<&str> = check.slots.iter().map(|slot| namer.slot(*slot)).collect();
        let mut facts = one("of", slots.join(" "));
        facts.insert("modulus".to_owned(), check.modulus.to_string());
        facts.insert("is".to_owned(), check.is.to_string());
        facts.insert("weights".to_owned(), format!("{:?}", check.weights));
        facts.insert("values".to_owned(), format!("{:?}", check.values));
        add(Part::Check, facts, check.place);
    }
    parts
}
