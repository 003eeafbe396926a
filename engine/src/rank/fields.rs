//! Codes -> fields: what one explanation says, slot by slot.

use std::borrow::Cow;
use std::collections::HashMap;

use smallvec::{SmallVec, smallvec};

use crate::compile::FamilyProgram;
use crate::decode::{Choice, Decoder, Doubt, Explanation, Known, Stream};
use crate::glyph::Glyph;
use crate::model::{
    Code, CodeId, CodeKind, Cond, Expr, Family, FieldId, OpenRule, RowItem, Spelling, Standing,
};
use crate::value::{Base, Quantity, Value};

/// What one explanation says of one field.
#[derive(Debug, Clone)]
pub(crate) struct Said {
    pub(crate) field: FieldId,
    pub(crate) slot: Option<usize>,
    pub(crate) code: Option<SaidCode>,
    /// Values with their shares of this explanation; none where the code is not listed.
    pub(crate) values: SmallVec<[(Option<Value>, f64); 1]>,
    pub(crate) derived: bool,
    pub(crate) unknown: bool,
    /// Whether it was read, not only entailed.
    pub(crate) read: bool,
    /// How well founded the rule's statement is.
    pub(crate) standing: Standing,
}

/// A code that says something: as a rule lists it, or as read.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum SaidCode {
    /// Slot and code.
    Listed(usize, usize),
    Text(String),
}

impl SaidCode {
    pub(crate) fn text(&self, family: &Family) -> String {
        match self {
            SaidCode::Listed(slot, code) => listed_text(family, *slot, *code),
            SaidCode::Text(text) => text.clone(),
        }
    }
}

/// A code as the rule lists it; nothing for an open one.
fn listed_text(family: &Family, slot: usize, code: usize) -> String {
    match &family.slots[slot].codes[code].kind {
        CodeKind::Listed(spelling) => spelling.text(),
        CodeKind::Absent | CodeKind::Open(_) => String::new(),
    }
}

/// The codes of one explanation as text, by slot.
pub(crate) struct Read<'e> {
    decoder: Decoder<'e>,
    explanation: &'e Explanation,
    pub(crate) stream: Cow<'e, Stream>,
    pub(crate) choices: SmallVec<[Option<&'e Choice>; 24]>,
}

impl<'e> Read<'e> {
    pub(crate) fn of(
        decoder: &Decoder<'e>,
        explanation: &'e Explanation,
        stream: &'e Stream,
    ) -> Read<'e> {
        let family = explanation.family.index();
        let slots = decoder.rules.families[family].slots.len();
        let mut choices: SmallVec<[Option<&Choice>; 24]> = SmallVec::from_elem(None, slots);
        for choice in explanation
            .choices
            .iter()
            .filter(|choice| choice.code.is_some())
        {
            let place = &mut choices[choice.slot];
            // What stands twice is told by where it was read best.
            let better = |before: &Choice| {
                before.end == before.start && choice.end > choice.start
                    || choice.doubt < before.doubt
            };
            if place.is_none_or(better) {
                *place = Some(choice);
            }
        }
        Read {
            decoder: *decoder,
            explanation,
            stream: explanation.over(stream, decoder),
            choices,
        }
    }

    /// For each glyph of a slot what it can be.
    fn glyphs(&self, slot: usize) -> Option<Vec<Vec<Glyph>>> {
        let choice = self.choices[slot]?;
        let family = self.explanation.family.index();
        let mut glyphs = self.decoder.glyphs(family, choice, &self.stream);
        if choice.doubt != 0.0 {
            // Where the slot stands again, what was read there narrows what was not read here.
            for again in self.explanation.choices.iter().filter(|again| {
                again.slot == choice.slot && again.code == choice.code && *again != choice
            }) {
                narrow(
                    &mut glyphs,
                    &self.decoder.glyphs(family, again, &self.stream),
                );
            }
        }
        Some(glyphs)
    }

    /// The code of a slot as text; `_` for what was not read.
    pub(crate) fn text(&self, slot: usize) -> Option<String> {
        let family = self.explanation.family.index();
        if let Some(text) = self.decoder.text(family, self.choices[slot]?, &self.stream) {
            return Some(text);
        }
        let glyphs = self.glyphs(slot)?;
        let one = glyphs.iter().map(|can| match can.as_slice() {
            [only] => only.clone(),
            _ => Glyph::Char('_'),
        });
        Some(Spelling::of_glyphs(one.collect()).text())
    }

    /// What was read of a slot, whatever it was taken for; `_` for what was not read.
    pub(crate) fn as_read(&self, slot: usize) -> Option<String> {
        let choice = self.choices[slot]?;
        let ticks = &self.stream.ticks[choice.start..choice.end];
        let each = ticks.iter().map(|tick| match tick.doubt {
            Doubt::Read | Doubt::Certain => self.decoder.glyph(tick),
            _ => Glyph::Char('_'),
        });
        Some(Spelling::of_glyphs(each.collect()).text())
    }

    /// The code of a slot as the rule lists it, or as read for an open one.
    pub(crate) fn code_text(&self, family: &Family, slot: usize, code: usize) -> String {
        let mut text = String::new();
        self.push_code(family, slot, code, &mut text);
        text
    }

    /// The same behind a text.
    pub(crate) fn push_code(&self, family: &Family, slot: usize, code: usize, text: &mut String) {
        match &family.slots[slot].codes[code].kind {
            CodeKind::Absent => {}
            CodeKind::Listed(spelling) => spelling.push_to(text),
            CodeKind::Open(_) => text.push_str(&self.text(slot).unwrap_or_default()),
        }
    }

    fn string(&self, slot: usize) -> Option<Vec<Glyph>> {
        self.glyphs(slot)?
            .iter()
            .map(|can| {
                if let [only] = can.as_slice() {
                    Some(only.clone())
                } else {
                    None
                }
            })
            .collect()
    }
}

/// Leaves of what each glyph can be what it can be in both.
fn narrow(glyphs: &mut [Vec<Glyph>], again: &[Vec<Glyph>]) {
    if glyphs.len() != again.len() {
        return;
    }
    for (here, there) in glyphs.iter_mut().zip(again) {
        if here.iter().any(|glyph| there.contains(glyph)) {
            here.retain(|glyph| there.contains(glyph));
        }
    }
}

/// The codes of a class of a slot.
pub(crate) type Classes<'p> = dyn Fn(usize, u32) -> &'p [u32] + 'p;

/// The code of a slot, if one is known; the only code of a slot that was not printed counts as known.
pub(crate) fn code_of(
    family: &Family,
    known: &[Known],
    slot: usize,
    classes: &Classes<'_>,
) -> Option<usize> {
    match &known[slot] {
        Known::Seen(code) => Some(*code as usize),
        Known::Class(class) => match classes(slot, *class) {
            [only] => Some(*only as usize),
            _ => None,
        },
        Known::Open => (family.slots[slot].codes.len() == 1
            && !matches!(family.slots[slot].codes[0].kind, CodeKind::Open(_)))
        .then_some(0),
    }
}

/// All fields that one explanation gives; of a family that derives none from others, those that are wanted. In `brief` the text of an open code is
/// left out where nothing is made of it but what a value is told by, and the rule is documented.
pub(crate) fn fields(
    decoder: &Decoder<'_>,
    explanation: &Explanation,
    read: &Read<'_>,
    wanted: &dyn Fn(FieldId) -> bool,
    brief: bool,
) -> Vec<Said> {
    let (program, family) = decoder.family(explanation.family);
    let known = &explanation.branch.known;
    let classes =
        |slot: usize, class: u32| program.slots[slot].classes[class as usize].codes.as_slice();
    let mut said: Vec<Said> = Vec::new();
    let derives =
        !family.derived.is_empty() || !family.matrices.is_empty() || family.base.is_some();
    let wanted = |field: FieldId| derives || wanted(field);
    let untold = |standing: Standing| brief && !derives && standing == Standing::Documented;
    let dated: Vec<usize> = family
        .dates
        .iter()
        .flat_map(|date| date.slots.iter().map(|slot| slot.index()))
        .collect();
    for (slot, model) in family.slots.iter().enumerate() {
        if model.literal {
            continue;
        }
        match &known[slot] {
            Known::Open => {
                if let Some(code) = code_of(family, known, slot, &classes) {
                    for (field, value) in &model.codes[code].fields {
                        said.push(Said {
                            field: *field,
                            slot: Some(slot),
                            code: Some(SaidCode::Listed(slot, code)),
                            values: smallvec![(Some(value.clone()), 1.0)],
                            derived: false,
                            unknown: false,
                            read: false,
                            standing: standing_of(family, &model.codes[code]),
                        });
                    }
                }
            }
            Known::Class(class) => {
                class_fields(program, family, slot, classes(slot, *class), &mut said)
            }
            Known::Seen(index) => {
                let index = *index as usize;
                let code = &model.codes[index];
                let standing = standing_of(family, code);
                let open = matches!(code.kind, CodeKind::Open(_));
                let says = |field: FieldId| {
                    // The parts of a date are said by the date.
                    wanted(field) && !(dated.contains(&slot) && decoder.part_of(field).is_some())
                };
                let mut push = |field: FieldId, value: Option<Value>, unknown: bool| {
                    let value =
                        value.map(|value| value.in_base(decoder.rules.fields[field.index()].base));
                    said.push(Said {
                        field,
                        slot: Some(slot),
                        code: if !open {
                            Some(SaidCode::Listed(slot, index))
                        } else if untold(standing) {
                            None
                        } else {
                            Some(SaidCode::Text(read.text(slot).unwrap_or_default()))
                        },
                        values: smallvec![(value, 1.0)],
                        derived: false,
                        unknown,
                        read: true,
                        standing,
                    });
                };
                for (field, value) in code.fields.iter().filter(|(field, _)| says(*field)) {
                    push(*field, Some(value.clone()), false);
                }
                for (field, rule) in code.open_fields.iter().filter(|(field, _)| says(*field)) {
                    let value = match rule {
                        OpenRule::Text => read.text(slot).map(Value::Text),
                        _ => read.string(slot).and_then(|glyphs| rule.value(&glyphs)),
                    };
                    let unknown = value.is_none();
                    push(*field, value, unknown);
                }
            }
        }
    }
    for (rule, date) in &explanation.branch.dates {
        let rule = &family.dates[*rule];
        if !wanted(rule.field) {
            continue;
        }
        let slot = rule
            .slots
            .iter()
            .map(|slot| slot.index())
            .find(|slot| read.choices[*slot].is_some());
        if date.intervals.is_empty() {
            continue;
        }
        let standing = family.provenance.standing.unwrap_or_default();
        let text = || {
            let slots = date_slots(rule, read);
            slots.iter().filter_map(|slot| read.text(*slot)).collect()
        };
        let values = date
            .intervals
            .iter()
            .map(|(interval, p)| (Some(Value::Dates(*interval)), *p))
            .collect();
        said.push(Said {
            field: rule.field,
            slot,
            code: (!untold(standing)).then(|| SaidCode::Text(text())),
            values,
            derived: false,
            unknown: false,
            read: true,
            standing,
        });
    }
    for matrix in &family.matrices {
        let key: Option<Vec<CodeId>> = matrix
            .slots
            .iter()
            .map(|slot| code_of(family, known, slot.index(), &classes).map(CodeId::at))
            .collect();
        let cell = key.and_then(|key| matrix.cells.iter().find(|(cell, _)| *cell == key));
        if let Some((_, value)) = cell {
            let standing = family.provenance.standing.unwrap_or_default();
            said.push(derived(matrix.field, value.clone(), standing));
        }
    }
    derive(decoder, family, known, &classes, &mut said);
    said
}

/// The slots of a date in the order in which they are printed.
pub(crate) fn date_slots(rule: &crate::model::DateRule, read: &Read<'_>) -> Vec<usize> {
    let mut slots: Vec<usize> = rule
        .slots
        .iter()
        .map(|slot| slot.index())
        .filter(|slot| read.choices[*slot].is_some())
        .collect();
    slots.sort_by_key(|slot| read.choices[*slot].map(|choice| choice.start));
    slots
}

/// How well founded an entry is: its own standing, or its family's.
fn standing_of(family: &Family, code: &Code) -> Standing {
    let own = code.provenance.standing;
    own.or(family.provenance.standing).unwrap_or_default()
}

fn derived(field: FieldId, value: Value, standing: Standing) -> Said {
    Said {
        field,
        slot: None,
        code: None,
        values: smallvec![(Some(value), 1.0)],
        derived: true,
        unknown: false,
        read: true,
        standing,
    }
}

/// What the codes of a class say: each field's values with their shares.
fn class_fields(
    program: &FamilyProgram,
    family: &Family,
    slot: usize,
    codes: &[u32],
    said: &mut Vec<Said>,
) {
    let weights: f64 = codes
        .iter()
        .map(|code| program.slots[slot].codes[*code as usize].weight)
        .sum();
    let mut by_field: Vec<(FieldId, Vec<(Option<Value>, f64)>, f64)> = Vec::new();
    let standing = codes
        .iter()
        .map(|code| standing_of(family, &family.slots[slot].codes[*code as usize]))
        .max()
        .unwrap_or_default();
    for code in codes {
        let share = program.slots[slot].codes[*code as usize].weight / weights;
        for (field, value) in &family.slots[slot].codes[*code as usize].fields {
            let at = by_field
                .iter()
                .position(|(f, _, _)| f == field)
                .unwrap_or_else(|| {
                    by_field.push((*field, Vec::new(), 0.0));
                    by_field.len() - 1
                });
            let (_, values, sum) = &mut by_field[at];
            *sum += share;
            match values
                .iter_mut()
                .find(|(known, _)| known.as_ref().is_some_and(|known| known.agrees(value)))
            {
                Some((_, known)) => *known += share,
                None => values.push((Some(value.clone()), share)),
            }
        }
    }
    for (field, mut values, sum) in by_field {
        values.sort_by(|a, b| b.1.total_cmp(&a.1));
        if sum < 1.0 - 1e-9 {
            values.push((None, 1.0 - sum));
        }
        let code = match codes {
            [only] => Some(SaidCode::Listed(slot, *only as usize)),
            _ => None,
        };
        said.push(Said {
            field,
            slot: Some(slot),
            code,
            values: values.into(),
            derived: false,
            unknown: false,
            read: false,
            standing,
        });
    }
}

/// Whether a condition holds for certain: no code that is left open could change it.
fn holds(family: &Family, known: &[Known], classes: &Classes<'_>, cond: &Cond) -> bool {
    let settled = |slot: usize, codes: &[CodeId]| match &known[slot] {
        Known::Class(class) => {
            let all = classes(slot, *class);
            let inside = all
                .iter()
                .filter(|code| codes.contains(&CodeId(**code)))
                .count();
            inside == 0 || inside == all.len()
        }
        Known::Seen(_) => true,
        Known::Open => code_of(family, known, slot, classes).is_some(),
    };
    let has = |slot: usize, codes: &[CodeId]| {
        let code = match &known[slot] {
            Known::Class(class) => classes(slot, *class).first().map(|code| *code as usize),
            _ => code_of(family, known, slot, classes),
        };
        code.is_some_and(|code| codes.contains(&CodeId::at(code)))
    };
    cond.terms.iter().all(|term| {
        let all = &term.any;
        all.iter().all(|(slot, codes)| settled(slot.index(), codes))
            && all.iter().any(|(slot, codes)| has(slot.index(), codes)) != term.negated
    })
}

/// Whether a condition of the family holds for certain under an explanation.
pub(super) fn certain(decoder: &Decoder<'_>, explanation: &Explanation, cond: &Cond) -> bool {
    let (program, family) = decoder.family(explanation.family);
    let classes =
        |slot: usize, class: u32| program.slots[slot].classes[class as usize].codes.as_slice();
    holds(family, &explanation.branch.known, &classes, cond)
}

fn derive(
    decoder: &Decoder<'_>,
    family: &Family,
    known: &[Known],
    classes: &Classes<'_>,
    said: &mut Vec<Said>,
) {
    let mut values: HashMap<FieldId, Value> = HashMap::new();
    let known_values = said.iter().filter(|_| !family.derived.is_empty());
    for one in known_values {
        if let [(Some(value), _)] = one.values.as_slice() {
            values.entry(one.field).or_insert_with(|| value.clone());
        }
    }
    for rule in &family.derived {
        if rule
            .guard
            .as_ref()
            .is_some_and(|guard| !holds(family, known, classes, guard))
            || values.contains_key(&rule.field)
        {
            continue;
        }
        if let Some(value) = evaluate(&rule.expr, &values) {
            let value = value.in_base(decoder.rules.fields[rule.field.index()].base);
            values.insert(rule.field, value.clone());
            // As well founded as the least of what it is made from.
            let standing = said
                .iter()
                .filter(|one| uses(&rule.expr, one.field))
                .map(|one| one.standing)
                .chain(family.provenance.standing)
                .max()
                .unwrap_or_default();
            said.push(derived(rule.field, value, standing));
        }
    }
    if let Some(base) = &family.base {
        let mut text = String::new();
        if base_text(family, &base.items, known, classes, said, &mut text)
            && let Some(field) = decoder
                .rules
                .fields
                .iter()
                .position(|field| field.name == "base")
        {
            said.push(derived(
                FieldId::at(field),
                Value::Text(text),
                Standing::Documented,
            ));
        }
    }
}

fn base_text(
    family: &Family,
    items: &[RowItem],
    known: &[Known],
    classes: &Classes<'_>,
    said: &[Said],
    text: &mut String,
) -> bool {
    let mut pending = "";
    for item in items {
        match item {
            RowItem::Slot(slot) => {
                let Some(code) = code_of(family, known, slot.index(), classes) else {
                    return false;
                };
                let code = match &family.slots[slot.index()].codes[code].kind {
                    CodeKind::Absent => String::new(),
                    CodeKind::Listed(spelling) => spelling.text(),
                    CodeKind::Open(_) => {
                        let found = said
                            .iter()
                            .find(|one| one.slot == Some(slot.index()))
                            .and_then(|one| one.code.as_ref())
                            .map(|code| code.text(family));
                        let Some(found) = found else { return false };
                        found
                    }
                };
                if !code.is_empty() {
                    text.push_str(pending);
                    pending = "";
                    text.push_str(&code);
                }
            }
            RowItem::Boundary { boundary, .. } => pending = boundary.text(),
            RowItem::Break => pending = " ",
            RowItem::Optional(inner) => {
                if !base_text(family, inner, known, classes, said, text) {
                    return false;
                }
            }
        }
    }
    true
}

/// Whether an expression reckons with a field.
fn uses(expr: &Expr, field: FieldId) -> bool {
    match expr {
        Expr::Const(_) => false,
        Expr::Field(one) => *one == field,
        Expr::Add(a, b) | Expr::Sub(a, b) | Expr::Mul(a, b) | Expr::Div(a, b) => {
            uses(a, field) || uses(b, field)
        }
        Expr::Power(a, _) => uses(a, field),
    }
}

/// An expression over known fields; `None` where one is missing or a division is by zero. Bytes are reckoned with as bits.
fn evaluate(expr: &Expr, values: &HashMap<FieldId, Value>) -> Option<Value> {
    let number = |expr: &Expr| -> Option<(f64, Base)> {
        match evaluate(expr, values)? {
            Value::Quantity(Quantity {
                value,
                base: Base::Byte,
            }) => Some((value * 8.0, Base::Bit)),
            Value::Quantity(quantity) => Some((quantity.value, quantity.base)),
            _ => None,
        }
    };
    let quantity = |value: f64, base: Base| {
        value
            .is_finite()
            .then_some(Value::Quantity(Quantity { value, base }))
    };
    match expr {
        Expr::Const(value) => Some(value.clone()),
        Expr::Field(field) => values.get(field).cloned(),
        Expr::Add(a, b) | Expr::Sub(a, b) => {
            let ((a, base), (b, _)) = (number(a)?, number(b)?);
            quantity(
                if matches!(expr, Expr::Add(..)) {
                    a + b
                } else {
                    a - b
                },
                base,
            )
        }
        Expr::Mul(a, b) => {
            let ((a, base_a), (b, base_b)) = (number(a)?, number(b)?);
            quantity(
                a * b,
                if base_a == Base::Count {
                    base_b
                } else {
                    base_a
                },
            )
        }
        Expr::Div(a, b) => {
            let ((a, base_a), (b, base_b)) = (number(a)?, number(b)?);
            quantity(
                a / b,
                if base_a == base_b {
                    Base::Count
                } else {
                    base_a
                },
            )
        }
        Expr::Power(a, n) => {
            let (a, base) = number(a)?;
            quantity(a.powi(*n), base)
        }
    }
}
