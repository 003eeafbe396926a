//! Conditions as written -> codes for which they hold; then the draft becomes the model.

use super::codes::{CondAt, Proto};
use super::family::Draft;
use super::files::Declared;
use super::pattern;
use super::vocabulary::FieldKind;
use crate::diagnostic::Diagnostic;
use crate::model::{
    Code, CodeId, CodeKind, Cond, Derived, Family, FieldId, Form, Matrix, Never, Print, Slot,
    SlotId, Spelling, Stands, Term, string_shares,
};
use crate::source::Place;
use crate::syntax::ast::{TestLit, Word};
use crate::value::Value;

/// The most strings of an open shape that a condition on values, or a matrix, may ask for one by one.
const MAX_EXPANDED: f64 = 1_000.0;

/// Lists what conditions ask for, resolves them, and fills the family.
pub(super) fn resolve(mut draft: Draft<'_, '_>, family: &mut Family, declared: &Declared) {
    let conds = all_conds(&draft);
    for at in &conds {
        draft.list_asked(at);
    }
    draft.list_matrix_keys();
    draft.no_code_twice();
    let drafts = std::mem::take(&mut draft.forms);
    family.forms = drafts
        .into_iter()
        .map(|form| Form {
            kind: form.kind,
            guard: draft.cond(&form.guards),
            weight: form.weight,
            specimen: form
                .specimen
                .iter()
                .map(|(slot, shown)| {
                    let codes = &draft.slots[slot.index()].codes;
                    let text = Spelling::of(shown).text();
                    let code = codes.iter().position(|code| {
                        code.text().as_deref() == Some(&text)
                            || shown == "none" && code.kind == CodeKind::Absent
                    });
                    (*slot, CodeId::at(code.unwrap_or(0)), shown.clone())
                })
                .collect(),
            provenance: form.provenance,
            place: form.place,
            row: form.row,
        })
        .collect();
    for (seldom, at, weight, provenance, place) in std::mem::take(&mut draft.nevers) {
        if let Some(cond) = draft.cond(std::slice::from_ref(&at)) {
            family.nevers.push(Never {
                cond,
                seldom: seldom.then_some(weight),
                provenance,
                place,
            });
        }
    }
    for (field, expr, guards, place) in std::mem::take(&mut draft.derived) {
        let guard = draft.cond(&guards);
        family.derived.push(Derived {
            field,
            expr,
            guard,
            place,
        });
    }
    for (mut contents, guards) in std::mem::take(&mut draft.contains) {
        contents.guard = draft.cond(&guards);
        family.contains.push(contents);
    }
    draft.matrices_into(family);
    draft.slots_into(family, declared);
}

fn all_conds(draft: &Draft<'_, '_>) -> Vec<CondAt> {
    let mut conds: Vec<&CondAt> = Vec::new();
    for code in draft.slots.iter().flat_map(|slot| &slot.codes) {
        conds.extend(&code.guards);
        conds.extend(code.prints.iter().filter_map(|print| print.when.as_ref()));
    }
    conds.extend(draft.forms.iter().flat_map(|form| &form.guards));
    conds.extend(draft.derived.iter().flat_map(|derived| &derived.2));
    conds.extend(draft.nevers.iter().map(|never| &never.1));
    conds.extend(draft.contains.iter().flat_map(|contents| &contents.1));
    let mut unique: Vec<CondAt> = Vec::new();
    for cond in conds {
        // Codes of one `when` stand together.
        if unique.last() != Some(cond) && !unique.contains(cond) {
            unique.push(cond.clone());
        }
    }
    unique
}

impl Draft<'_, '_> {
    /// The group that a name of a condition is looked up in: that of the line's slot is not known here, so a name that is no slot of
    /// the family is tried in each group.
    fn cond_slot(&self, name: &str) -> Option<SlotId> {
        self.slot_of(None, name).or_else(|| {
            self.groups
                .iter()
                .find_map(|group| self.slot_of(Some(group), name))
        })
    }

    /// Makes every code that a condition asks for a code of its own.
    fn list_asked(&mut self, at: &CondAt) {
        for term in &at.cond.terms {
            match &term.test {
                TestLit::Codes(codes) => {
                    let Some(slot) = self.cond_slot(&term.name.text) else {
                        self.unknown_in_cond(at.file, &term.name);
                        continue;
                    };
                    for code in codes {
                        self.list_code(at.file, slot, code);
                    }
                }
                TestLit::Compare(..) => {
                    let Some(field) = self.cx.field_ids.get(&term.name.text).copied() else {
                        self.unknown_in_cond(at.file, &term.name);
                        continue;
                    };
                    let place = self.cx.place(at.file, term.span);
                    let givers = self.givers(field);
                    if givers.is_empty() {
                        let title = format!("no slot gives `{}` here", term.name.text);
                        self.cx.note(Diagnostic::new("unknown-name", place, title).help("a condition asks for a slot's code, or for a field that slots give; derived fields cannot be asked for"));
                    }
                    for slot in givers {
                        self.expand(slot, field, place);
                    }
                }
            }
        }
    }

    fn unknown_in_cond(&mut self, file: usize, name: &Word) {
        let mut names: Vec<String> = self
            .slots
            .iter()
            .filter(|slot| !slot.literal)
            .map(|slot| slot.name.clone())
            .collect();
        names.extend(
            self.slots
                .iter()
                .flat_map(|s| &s.codes)
                .flat_map(|c| &c.values)
                .map(|(f, _)| self.cx.fields[f.index()].name.clone()),
        );
        self.cx
            .unknown(file, name, "slot", names.iter().map(String::as_str));
    }

    fn givers(&self, field: FieldId) -> Vec<SlotId> {
        let gives = |code: &Proto| {
            code.values.iter().any(|(f, _)| *f == field)
                || code.open.iter().any(|(f, _)| *f == field)
        };
        (0..self.slots.len())
            .filter(|at| self.slots[*at].codes.iter().any(gives))
            .map(SlotId::at)
            .collect()
    }

    fn list_code(&mut self, file: usize, slot: SlotId, word: &Word) {
        if word.text == "none" && !word.quoted {
            if !self.slots[slot.index()]
                .codes
                .iter()
                .any(|code| code.kind == CodeKind::Absent)
            {
                let place = self.cx.place(file, word.span);
                let title = format!(
                    "`{}` is always printed: it has no entry `none`",
                    self.slots[slot.index()].name
                );
                self.cx.note(
                    Diagnostic::new("unknown-name", place, title)
                        .help("add `none` to its list, or `or none` to its shape"),
                );
            }
            return;
        }
        let spelling = Spelling::of(&word.text);
        let text = spelling.text();
        let codes = &mut self.slots[slot.index()].codes;
        if codes
            .iter()
            .any(|code| code.text().as_deref() == Some(&text))
        {
            return;
        }
        let holder = codes.iter().position(|code| match &code.kind {
            CodeKind::Open(strips) => strips
                .iter()
                .any(|strip| pattern::holds(strip, &spelling.glyphs)),
            _ => false,
        });
        match holder {
            Some(at) => {
                let split = single(&codes[at], spelling);
                codes.push(split);
            }
            None => {
                let known: Vec<String> = codes.iter().filter_map(Proto::text).collect();
                self.cx
                    .unknown(file, word, "code", known.iter().map(String::as_str));
            }
        }
    }

    /// Lists the strings of the open shapes of a slot that give a field.
    fn expand(&mut self, slot: SlotId, field: FieldId, place: Place) {
        let codes = &mut self.slots[slot.index()].codes;
        let mut at = 0;
        while at < codes.len() {
            let code = &codes[at];
            let asks = code.open.iter().any(|(f, rule)| {
                *f == field && !matches!(rule, crate::model::OpenRule::Unknown(_))
            });
            let CodeKind::Open(strips) = &code.kind else {
                at += 1;
                continue;
            };
            if !asks {
                at += 1;
                continue;
            }
            if pattern::count(strips) > MAX_EXPANDED
                || strips.iter().any(|s| s.places.iter().any(|p| p.set.rest))
            {
                let title = format!(
                    "`{}` has more than {MAX_EXPANDED} codes, too many to be asked one by one",
                    self.slots[slot.index()].name
                );
                self.cx.note(
                    Diagnostic::new("condition-wide", place, title)
                        .help("ask for certain codes, or narrow the slot"),
                );
                return;
            }
            let open = codes.remove(at);
            let CodeKind::Open(strips) = &open.kind else {
                return;
            };
            let listed: Vec<String> = codes.iter().filter_map(Proto::text).collect();
            for string in pattern::strings(strips) {
                if !listed.contains(&string) {
                    codes.push(single(&open, Spelling::of(&string)));
                }
            }
        }
    }

    fn list_matrix_keys(&mut self) {
        let keys: Vec<(usize, SlotId, Word)> = self
            .matrices
            .iter()
            .flat_map(|matrix| {
                matrix.lines.iter().flat_map(|(groups, head, _)| {
                    let last = matrix.slots.last().copied();
                    let firsts = groups
                        .iter()
                        .zip(&matrix.slots)
                        .flat_map(|(words, slot)| words.iter().map(|w| (*slot, w.clone())));
                    firsts
                        .chain(
                            head.iter()
                                .filter_map(move |w| last.map(|slot| (slot, w.clone()))),
                        )
                        .map(|(slot, word)| (matrix.file, slot, word))
                        .collect::<Vec<_>>()
                })
            })
            .collect();
        for (file, slot, word) in keys {
            self.list_code(file, slot, &word);
        }
    }

    /// Two entries of one code need guards that exclude each other.
    fn no_code_twice(&mut self) {
        let mut faults = Vec::new();
        for (at, slot) in self.slots.iter().enumerate() {
            let mut by_text: std::collections::HashMap<String, Vec<usize>> =
                std::collections::HashMap::new();
            for (index, code) in slot.codes.iter().enumerate() {
                let key = match &code.kind {
                    CodeKind::Listed(spelling) => {
                        let text = spelling
                            .glyphs
                            .iter()
                            .map(|g| if slot.cased { g.clone() } else { g.folded() })
                            .collect();
                        Spelling::of_glyphs(text).text()
                    }
                    CodeKind::Absent => String::new(),
                    CodeKind::Open(_) => continue,
                };
                by_text.entry(key).or_default().push(index);
            }
            for same in by_text.into_values().filter(|same| same.len() > 1) {
                for (n, a) in same.iter().enumerate() {
                    if let Some(b) = same[n + 1..]
                        .iter()
                        .find(|b| !self.exclusive(&slot.codes[*a].guards, &slot.codes[**b].guards))
                    {
                        faults.push((at, *a, *b));
                        break;
                    }
                }
            }
        }
        faults.sort_unstable();
        for (slot, a, b) in faults {
            let (first, second) = (&self.slots[slot].codes[a], &self.slots[slot].codes[b]);
            let text = second.text().unwrap_or_else(|| "none".to_owned());
            let fault = Diagnostic::new(
                "code-twice",
                second.place,
                format!(
                    "the code `{text}` stands twice in `{}`, and both can hold",
                    self.slots[slot].name
                ),
            )
            .also(first.place, "first here")
            .help("give each a `when` that excludes the other");
            self.cx.note(fault);
        }
    }

    fn exclusive(&self, a: &[CondAt], b: &[CondAt]) -> bool {
        let terms = |conds: &[CondAt]| -> Vec<Term> {
            conds.iter().flat_map(|at| self.terms(at)).collect()
        };
        let (a, b) = (terms(a), terms(b));
        a.iter().any(|x| b.iter().any(|y| excludes(x, y)))
    }

    /// The terms of one condition; only for conditions whose names are known.
    fn terms(&self, at: &CondAt) -> Vec<Term> {
        let mut terms: Vec<Term> =
            at.cond
                .terms
                .iter()
                .map(|term| {
                    let any = match &term.test {
                        TestLit::Codes(words) => self
                            .cond_slot(&term.name.text)
                            .map(|slot| {
                                let codes = &self.slots[slot.index()].codes;
                                let wanted: Vec<Option<String>> = words
                                    .iter()
                                    .map(|w| {
                                        (w.text != "none" || w.quoted)
                                            .then(|| Spelling::of(&w.text).text())
                                    })
                                    .collect();
                                let ids = codes.iter().enumerate().filter(|(_, code)| match &code
                                    .kind
                                {
                                    CodeKind::Absent => wanted.contains(&None),
                                    CodeKind::Listed(spelling) => {
                                        wanted.contains(&Some(spelling.text()))
                                    }
                                    CodeKind::Open(_) => false,
                                });
                                vec![(slot, ids.map(|(at, _)| CodeId::at(at)).collect())]
                            })
                            .unwrap_or_default(),
                        TestLit::Compare(comparison, literal) => {
                            match self.cx.field_ids.get(&term.name.text).copied() {
                                Some(field) => self
                                    .givers(field)
                                    .into_iter()
                                    .map(|slot| {
                                        let wanted = self.literal_value(field, literal);
                                        let holds = |code: &Proto| {
                                            let value = code
                                                .values
                                                .iter()
                                                .find(|(f, _)| *f == field)
                                                .map(|(_, value)| value);
                                            value
                                                .zip(wanted.as_ref())
                                                .and_then(|(v, w)| v.compare(*comparison, w))
                                                .unwrap_or(false)
                                        };
                                        let codes = &self.slots[slot.index()].codes;
                                        let ids = codes
                                            .iter()
                                            .enumerate()
                                            .filter(|(_, code)| holds(code))
                                            .map(|(at, _)| CodeId::at(at));
                                        (slot, ids.collect())
                                    })
                                    .collect(),
                                None => Vec::new(),
                            }
                        }
                    };
                    Term {
                        negated: term.negated,
                        any,
                    }
                })
                .collect();
        if at.negated {
            if let [only] = terms.as_mut_slice() {
                only.negated = !only.negated;
            } else {
                // not (a and b): a's slot has another code, or b's has.
                let any = terms
                    .iter()
                    .flat_map(|term| {
                        term.any.iter().map(|(slot, codes)| {
                            let all = (0..self.slots[slot.index()].codes.len()).map(CodeId::at);
                            (
                                *slot,
                                all.filter(|code| codes.contains(code) == term.negated)
                                    .collect(),
                            )
                        })
                    })
                    .collect();
                terms = vec![Term {
                    negated: false,
                    any,
                }];
            }
        }
        terms
    }

    fn literal_value(
        &self,
        field: FieldId,
        literal: &crate::syntax::ast::ValueLit,
    ) -> Option<Value> {
        use crate::syntax::ast::ValueKind;
        use crate::value::{Quantity, Unit};
        let base = self.cx.fields[field.index()].base;
        match (&literal.kind, base) {
            (ValueKind::Text(text), _) => Some(Value::Text(text.clone())),
            (ValueKind::Number(number), None) => Some(Value::Text(number.clone())),
            (kind, Some(base)) => {
                let unit = literal
                    .unit
                    .as_ref()
                    .and_then(|u| Unit::of(&u.text))
                    .unwrap_or_else(|| Unit::base(base));
                let factor = unit.base.factor(base)?;
                match kind {
                    ValueKind::Number(number) => Some(Value::Quantity(Quantity {
                        value: unit.scale(number)? * factor,
                        base,
                    })),
                    ValueKind::Range(min, max) => {
                        let end = |text: &Option<String>| {
                            text.as_deref()
                                .and_then(|t| unit.scale(t))
                                .map(|v| v * factor)
                        };
                        Some(Value::Range {
                            min: end(min),
                            max: end(max),
                            base,
                        })
                    }
                    _ => None,
                }
            }
            _ => None,
        }
    }

    /// Conditions joined by `and`; `None` where there are none.
    fn cond(&mut self, all: &[CondAt]) -> Option<Cond> {
        if all.is_empty() {
            return None;
        }
        for at in all {
            self.check_compares(at);
        }
        let text = all
            .iter()
            .map(|at| self.cond_text(at))
            .collect::<Vec<_>>()
            .join(" and ");
        Some(Cond {
            terms: all.iter().flat_map(|at| self.terms(at)).collect(),
            text,
        })
    }

    fn check_compares(&mut self, at: &CondAt) {
        for term in &at.cond.terms {
            let TestLit::Compare(_, literal) = &term.test else {
                continue;
            };
            let Some(field) = self.cx.field_ids.get(&term.name.text).copied() else {
                continue;
            };
            let base = self.cx.fields[field.index()].base;
            let kind = base.map_or(FieldKind::Text, FieldKind::Number);
            let column = super::cx::Column {
                field,
                kind,
                unit: None,
                free: false,
            };
            let before = self.cx.diagnostics.len();
            let _ = self.cx.value(at.file, &column, literal);
            let new: Vec<Diagnostic> = self.cx.diagnostics.drain(before..).collect();
            for fault in new {
                if !self.cx.diagnostics.contains(&fault) {
                    self.cx.diagnostics.push(fault);
                }
            }
        }
    }

    fn matrices_into(&mut self, family: &mut Family) {
        for matrix in std::mem::take(&mut self.matrices) {
            let mut cells: Vec<(Vec<CodeId>, Value)> = Vec::new();
            for (groups, head, values) in &matrix.lines {
                let ids = |slot: SlotId, word: &Word| -> Vec<CodeId> {
                    let text = Spelling::of(&word.text).text();
                    let none = word.text == "none" && !word.quoted;
                    let codes = self.slots[slot.index()].codes.iter().enumerate();
                    codes
                        .filter(|(_, code)| {
                            if none {
                                code.kind == CodeKind::Absent
                            } else {
                                code.text().as_deref() == Some(&text)
                            }
                        })
                        .map(|(at, _)| CodeId::at(at))
                        .collect()
                };
                let mut keys: Vec<Vec<CodeId>> = vec![Vec::new()];
                for (words, slot) in groups.iter().zip(&matrix.slots) {
                    let here: Vec<CodeId> =
                        words.iter().flat_map(|word| ids(*slot, word)).collect();
                    keys = keys
                        .iter()
                        .flat_map(|key| {
                            here.iter().map(move |id| [key.as_slice(), &[*id]].concat())
                        })
                        .collect();
                }
                let Some(last) = matrix.slots.last() else {
                    continue;
                };
                for (word, value) in head.iter().zip(values) {
                    let Some(value) = value else { continue };
                    for id in ids(*last, word) {
                        cells.extend(
                            keys.iter()
                                .map(|key| ([key.as_slice(), &[id]].concat(), value.clone())),
                        );
                    }
                }
            }
            cells.sort_by(|a, b| a.0.cmp(&b.0));
            family.matrices.push(Matrix {
                field: matrix.field,
                slots: matrix.slots,
                cells,
                place: matrix.place,
            });
        }
    }

    fn slots_into(&mut self, family: &mut Family, declared: &Declared) {
        for at in 0..self.slots.len() {
            let protos = self.slots[at].codes.clone();
            let mut codes = Vec::with_capacity(protos.len());
            for proto in &protos {
                let stands = proto.stands.as_ref().and_then(|(file, word, code)| {
                    self.family_id(*file, word, declared).map(|family| Stands {
                        family,
                        reading: code.as_ref().map(|c| c.text.clone()),
                    })
                });
                let succeeds = proto.succeeds.as_ref().and_then(|word| {
                    let text = Spelling::of(&word.text).text();
                    protos
                        .iter()
                        .position(|code| code.text().as_deref() == Some(&text))
                        .map(CodeId::at)
                });
                let prints = proto
                    .prints
                    .iter()
                    .map(|print| Print {
                        forms: print.forms.clone(),
                        spelling: print.spelling.clone(),
                        guard: print
                            .when
                            .clone()
                            .and_then(|when| self.cond(std::slice::from_ref(&when))),
                    })
                    .collect();
                codes.push(Code {
                    kind: proto.kind.clone(),
                    fields: proto.values.clone(),
                    open_fields: proto.open.clone(),
                    weight: proto.weight,
                    unlisted: proto.unlisted,
                    window: proto.window,
                    guard: self.cond(&proto.guards),
                    prints,
                    provenance: proto.provenance.clone(),
                    stands,
                    succeeds,
                    place: proto.place,
                });
            }
            let draft = &self.slots[at];
            family.slots.push(Slot {
                name: draft.name.clone(),
                place: draft.place,
                codes,
                each: draft.each,
                cased: draft.cased,
                literal: draft.literal,
            });
        }
    }
}

/// One string of an open code as a listed code.
fn single(open: &Proto, spelling: Spelling) -> Proto {
    let share = match &open.kind {
        CodeKind::Open(strips) => strips
            .iter()
            .position(|strip| pattern::holds(strip, &spelling.glyphs))
            .map_or(1.0, |at| string_shares(strips)[at].exp2()),
        _ => 1.0,
    };
    let mut code = open.clone();
    code.values.extend(
        open.open
            .iter()
            .filter_map(|(field, rule)| rule.value(&spelling.glyphs).map(|value| (*field, value))),
    );
    code.open
        .retain(|(_, rule)| matches!(rule, crate::model::OpenRule::Unknown(_)));
    code.weight = open.weight * share;
    code.kind = CodeKind::Listed(spelling);
    code
}

/// Whether two terms can never hold together, as far as one slot tells.
fn excludes(a: &Term, b: &Term) -> bool {
    let ([(slot_a, codes_a)], [(slot_b, codes_b)]) = (a.any.as_slice(), b.any.as_slice()) else {
        return false;
    };
    if slot_a != slot_b {
        return false;
    }
    match (a.negated, b.negated) {
        (false, false) => !codes_a.iter().any(|code| codes_b.contains(code)),
        (true, false) => codes_b.iter().all(|code| codes_a.contains(code)),
        (false, true) => codes_a.iter().all(|code| codes_b.contains(code)),
        (true, true) => false,
    }
}
