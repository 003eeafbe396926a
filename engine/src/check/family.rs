//! One family: its lines -> slots, forms, and what is said of them.

use std::collections::HashMap;
use std::rc::Rc;
use std::sync::Arc;

use super::codes::{CondAt, Gather, Proto};
use super::conds;
use super::cx::{Cx, Item};
use super::files::Declared;
use super::rows::FormDraft;
use super::vocabulary::{self, FieldKind};
use crate::diagnostic::{Diagnostic, near};
use crate::model::{
    Accept, Checksum, Contents, DateRule, Example, Expr, Family, FamilyId, FieldId, FormKind,
    Provenance, Refusal, Slack, SlackUnit, SlotId, Window,
};
use crate::source::Place;
use crate::syntax::ast::Tree;
use crate::syntax::ast::{Clause, ClauseKind, CondLit, FieldLit, LineKind, ValueLit, Word};
use crate::value::{Calendar, Value, WeekRule};

/// A slot while the family is built.
pub(super) struct SlotDraft {
    pub(super) name: String,
    pub(super) codes: Vec<Proto>,
    pub(super) each: bool,
    pub(super) cased: bool,
    pub(super) literal: bool,
    pub(super) place: Place,
}

/// A line of the family, with the guards of the `when` lines around it and the group it comes from.
#[derive(Clone)]
pub(super) struct Line {
    pub(super) file: usize,
    pub(super) node: usize,
    tree: Rc<Tree>,
    pub(super) guards: Vec<CondAt>,
    pub(super) group: Option<String>,
}

impl Line {
    /// What the line says.
    pub(super) fn kind(&self) -> &LineKind {
        &self.tree.nodes[self.node].kind
    }
}

/// A matrix line group, as written.
pub(super) struct MatrixDraft {
    pub(super) field: FieldId,
    pub(super) slots: Vec<SlotId>,
    pub(super) lines: Vec<(Vec<Vec<Word>>, Vec<Word>, Vec<Option<Value>>)>,
    pub(super) file: usize,
    pub(super) place: Place,
}

/// A family while it is built.
pub(super) struct Draft<'c, 'a> {
    pub(super) cx: &'c mut Cx<'a>,
    pub(super) lines: Vec<Line>,
    pub(super) slots: Vec<SlotDraft>,
    pub(super) slot_ids: HashMap<String, usize>,
    pub(super) groups: Vec<String>,
    pub(super) forms: Vec<FormDraft>,
    pub(super) matrices: Vec<MatrixDraft>,
    pub(super) derived: Vec<(FieldId, Expr, Vec<CondAt>, Place)>,
    pub(super) nevers: Vec<(bool, CondAt, f64, Provenance, Place)>,
    pub(super) contains: Vec<(Contents, Vec<CondAt>)>,
}

pub(super) fn build(cx: &mut Cx<'_>, file: usize, node: usize, declared: &Declared) -> Family {
    // A field of nobody's vocabulary is the family's own: another family may count another thing by the same name.
    cx.field_ids
        .retain(|name, _| vocabulary::field(name).is_some());
    let line = cx.files[file].tree.nodes[node].clone();
    let (name, title) = match &line.kind {
        LineKind::Family(name, title) => (name.clone(), title.clone()),
        _ => (
            Word {
                text: String::new(),
                span: line.content,
                quoted: false,
            },
            Word {
                text: String::new(),
                span: line.content,
                quoted: false,
            },
        ),
    };
    let builtin = cx
        .sources
        .get(cx.files[file].id)
        .is_some_and(|source| source.builtin);
    let mut family = Family {
        name: name.text.clone(),
        title: if title.text.is_empty() {
            name.text.clone()
        } else {
            title.text
        },
        place: cx.place(file, name.span),
        maker: None,
        function: None,
        provenance: Provenance::default(),
        window: Window::default(),
        weight: 1.0,
        builtin,
        slots: Vec::new(),
        forms: Vec::new(),
        base: None,
        derived: Vec::new(),
        matrices: Vec::new(),
        dates: Vec::new(),
        nevers: Vec::new(),
        checks: Vec::new(),
        contains: Vec::new(),
        second_source: None,
        examples: Vec::new(),
        refusals: Vec::new(),
        accepts: Vec::new(),
    };
    let mut draft = Draft {
        cx,
        lines: Vec::new(),
        slots: Vec::new(),
        slot_ids: HashMap::new(),
        groups: Vec::new(),
        forms: Vec::new(),
        matrices: Vec::new(),
        derived: Vec::new(),
        nevers: Vec::new(),
        contains: Vec::new(),
    };
    draft.collect(file, &line.children, &[], None);
    draft.heads(&mut family, declared);
    draft.slots();
    draft.rows(&mut family);
    draft.facts(&mut family, declared);
    draft.examples(&mut family);
    conds::resolve(draft, &mut family, declared);
    family
}

impl Draft<'_, '_> {
    /// The lines of a body, `when` lines opened.
    pub(super) fn collect(
        &mut self,
        file: usize,
        nodes: &[usize],
        guards: &[CondAt],
        group: Option<&str>,
    ) {
        let mut whens: Vec<CondAt> = Vec::new();
        let tree = Rc::clone(&self.cx.files[file].tree);
        for node in nodes {
            let children = &tree.nodes[*node].children;
            match &tree.nodes[*node].kind {
                LineKind::When(cond) => {
                    let at = CondAt {
                        file,
                        cond: Arc::new(cond.clone()),
                        negated: false,
                    };
                    whens.push(at.clone());
                    self.collect(file, children, &[guards, &[at]].concat(), group);
                    continue;
                }
                LineKind::Otherwise => {
                    let mut all = guards.to_vec();
                    all.extend(whens.drain(..).map(|when| CondAt {
                        negated: true,
                        ..when
                    }));
                    self.collect(file, children, &all, group);
                }
                LineKind::Blank => continue,
                _ => self.lines.push(Line {
                    file,
                    node: *node,
                    tree: Rc::clone(&tree),
                    guards: guards.to_vec(),
                    group: group.map(str::to_owned),
                }),
            }
            whens.clear();
        }
    }

    /// Clauses on a line and on lines of their own beneath it.
    pub(super) fn clauses_of(&self, line: &Line, own: &[Clause]) -> Vec<Clause> {
        let nodes = &self.cx.files[line.file].tree.nodes;
        let beneath =
            nodes[line.node]
                .children
                .iter()
                .filter_map(|child| match &nodes[*child].kind {
                    LineKind::Clauses(clauses) => Some(clauses.clone()),
                    _ => None,
                });
        own.iter().cloned().chain(beneath.flatten()).collect()
    }

    fn heads(&mut self, family: &mut Family, declared: &Declared) {
        for line in self.lines.clone() {
            match line.kind() {
                LineKind::OfMaker(word) => match self.cx.files[line.file].scope.get(&word.text) {
                    Some(Item::Maker(id)) => family.maker = Some(*id),
                    _ => match declared.maker_ids.get(&word.text) {
                        Some(id) => family.maker = Some(*id),
                        None => {
                            let names: Vec<&str> =
                                declared.maker_ids.keys().map(String::as_str).collect();
                            self.cx.unknown(line.file, word, "maker", names);
                        }
                    },
                },
                LineKind::Function(word) => {
                    if !vocabulary::FUNCTIONS.contains(&word.text.as_str()) {
                        let place = self.cx.place(line.file, word.span);
                        let near = near(&word.text, vocabulary::FUNCTIONS.iter().copied());
                        let help = near.first().map_or_else(
                            || format!("functions: {}", vocabulary::FUNCTIONS.join(" ")),
                            |near| format!("did you mean `{near}`?"),
                        );
                        self.cx.note(
                            Diagnostic::new(
                                "unknown-function",
                                place,
                                format!("`{}` is no function of the vocabulary", word.text),
                            )
                            .help(help),
                        );
                    }
                    family.function = Some(word.text.clone());
                }
                LineKind::Clauses(clauses) if line.group.is_none() => {
                    self.cx.provenance(
                        line.file,
                        clauses,
                        &mut family.provenance,
                        &mut family.window,
                    );
                    for clause in clauses {
                        match &clause.kind {
                            ClauseKind::Weight(weight) => {
                                family.weight =
                                    weight.text.parse().ok().filter(|w| *w > 0.0).unwrap_or(1.0);
                            }
                            ClauseKind::SecondSource(word) => {
                                if let Some(id) = self.family_id(line.file, word, declared) {
                                    family.second_source =
                                        Some((id, self.cx.place(line.file, word.span)));
                                }
                            }
                            ClauseKind::Contains(count, word, reading) => {
                                self.contains(
                                    &line,
                                    count.as_ref(),
                                    word,
                                    reading.as_ref(),
                                    clauses,
                                    declared,
                                );
                            }
                            _ => {}
                        }
                    }
                }
                _ => {}
            }
        }
    }

    fn contains(
        &mut self,
        line: &Line,
        count: Option<&Word>,
        word: &Word,
        reading: Option<&Word>,
        clauses: &[Clause],
        declared: &Declared,
    ) {
        let Some(family) = self.family_id(line.file, word, declared) else {
            return;
        };
        let mut guards = line.guards.clone();
        guards.extend(clauses.iter().filter_map(|clause| match &clause.kind {
            ClauseKind::When(cond) => Some(CondAt {
                file: line.file,
                cond: Arc::new(cond.clone()),
                negated: false,
            }),
            _ => None,
        }));
        let contents = Contents {
            count: count.and_then(|count| count.text.parse().ok()).unwrap_or(1),
            family,
            reading: reading.map(|word| word.text.clone()),
            guard: None,
            place: self.cx.place(line.file, word.span),
        };
        self.contains.push((contents, guards));
    }

    /// The family of a word: of the file's names, or of the whole rule set.
    pub(super) fn family_id(
        &mut self,
        file: usize,
        word: &Word,
        declared: &Declared,
    ) -> Option<FamilyId> {
        if let Some(Item::Family(id)) = self.cx.files[file].scope.get(&word.text) {
            return Some(*id);
        }
        let id = declared.family_ids.get(&word.text).copied();
        if id.is_none() {
            self.cx.unknown(
                file,
                word,
                "family",
                declared.family_names.iter().map(String::as_str),
            );
        }
        id
    }

    fn slots(&mut self) {
        for line in self.lines.clone() {
            self.slot_line(&line);
        }
    }

    /// Adds the slot of a slot line.
    pub(super) fn slot_line(&mut self, line: &Line) {
        let LineKind::Slot(name, ..) = line.kind() else {
            return;
        };
        let full = line.group.as_ref().map_or_else(
            || name.text.clone(),
            |group| format!("{group}.{}", name.text),
        );
        let place = self.cx.place(line.file, name.span);
        if let Some(first) = self.slot_ids.get(&full) {
            let first = self.slots[*first].place;
            let title = format!("the slot `{}` is declared twice", name.text);
            self.cx.note(
                Diagnostic::new("twice-declared", place, title)
                    .also(first, "first here")
                    .help("put all its codes beneath one line"),
            );
            return;
        }
        let word = Word {
            text: full.clone(),
            ..name.clone()
        };
        let mut gather = Gather::new(self.cx, word, line.file);
        gather.read(line.file, line.node);
        let (mut codes, each, cased) = gather.finish();
        for code in &mut codes {
            code.guards.extend(line.guards.iter().cloned());
        }
        self.slot_ids.insert(full.clone(), self.slots.len());
        self.slots.push(SlotDraft {
            name: full,
            codes,
            each,
            cased,
            literal: false,
            place,
        });
    }

    /// A slot by name, within a group first.
    pub(super) fn slot_of(&self, group: Option<&str>, name: &str) -> Option<SlotId> {
        let inside = group.and_then(|group| self.slot_ids.get(&format!("{group}.{name}")));
        inside
            .or_else(|| self.slot_ids.get(name))
            .map(|at| SlotId::at(*at))
    }

    pub(super) fn slot_expected(
        &mut self,
        file: usize,
        group: Option<&str>,
        word: &Word,
    ) -> Option<SlotId> {
        let found = self.slot_of(group, &word.text);
        if found.is_none() {
            let names: Vec<String> = self
                .slots
                .iter()
                .filter(|slot| !slot.literal)
                .map(|slot| slot.name.clone())
                .collect();
            self.cx
                .unknown(file, word, "slot", names.iter().map(String::as_str));
        }
        found
    }

    fn facts(&mut self, family: &mut Family, declared: &Declared) {
        let _ = declared;
        for line in self.lines.clone() {
            let place = self.cx.place(
                line.file,
                self.cx.files[line.file].tree.nodes[line.node].content,
            );
            match line.kind() {
                LineKind::Date(slots, clauses) => self.date(family, &line, slots, clauses, place),
                LineKind::Never(seldom, cond, clauses) => {
                    let clauses = self.clauses_of(&line, clauses);
                    let mut provenance = Provenance::default();
                    self.cx.provenance(
                        line.file,
                        &clauses,
                        &mut provenance,
                        &mut Window::default(),
                    );
                    let weight = clauses
                        .iter()
                        .find_map(|clause| match &clause.kind {
                            ClauseKind::Weight(weight) => {
                                weight.text.parse().ok().filter(|w: &f64| *w > 0.0)
                            }
                            _ => None,
                        })
                        .unwrap_or(0.05);
                    let at = CondAt {
                        file: line.file,
                        cond: Arc::new(cond.clone()),
                        negated: false,
                    };
                    self.nevers.push((*seldom, at, weight, provenance, place));
                }
                LineKind::Check {
                    slots,
                    modulus,
                    is,
                    weights,
                    values,
                } => {
                    self.check(
                        family,
                        &line,
                        slots,
                        modulus,
                        is.as_ref(),
                        weights,
                        values.as_ref(),
                        place,
                    );
                }
                LineKind::Accept(lint, about, clauses) => {
                    let clauses = self.clauses_of(&line, clauses);
                    let mut provenance = Provenance::default();
                    self.cx.provenance(
                        line.file,
                        &clauses,
                        &mut provenance,
                        &mut Window::default(),
                    );
                    family.accepts.push(Accept {
                        lint: lint.text.clone(),
                        about: about.iter().map(|word| word.text.clone()).collect(),
                        note: provenance.note,
                        place,
                    });
                }
                LineKind::Matrix(name, unit, by) => self.matrix(&line, name, unit.as_ref(), by),
                _ => {}
            }
        }
        self.name_dates(family);
        // Derived fields last: they may use fields that any line above brings in.
        for line in self.lines.clone() {
            if let LineKind::Derived(name, expr, clauses) = line.kind() {
                self.derived(&line, name, expr, clauses);
            }
        }
    }

    fn date(
        &mut self,
        family: &mut Family,
        line: &Line,
        slots: &[Word],
        clauses: &[Clause],
        place: Place,
    ) {
        let clauses = self.clauses_of(line, clauses);
        let slots: Vec<SlotId> = slots
            .iter()
            .filter_map(|word| self.slot_expected(line.file, line.group.as_deref(), word))
            .collect();
        let mut rule = DateRule {
            field: FieldId(0),
            slots,
            of: None,
            calendar: Calendar::Iso,
            slack: Slack::default(),
            place,
        };
        for clause in &clauses {
            match &clause.kind {
                ClauseKind::Of(word) => rule.of = Some(word.text.clone()),
                ClauseKind::Slack { from, to, unit } => {
                    let number = |text: &str| text.parse::<i32>().unwrap_or(0);
                    let (before, after) = match to {
                        Some(to) => (number(from), number(to)),
                        None => (-number(from), number(from)),
                    };
                    let unit = match unit.text.as_str() {
                        "week" | "weeks" => SlackUnit::Week,
                        "month" | "months" => SlackUnit::Month,
                        _ => SlackUnit::Day,
                    };
                    rule.slack = Slack {
                        before,
                        after,
                        unit,
                    };
                }
                ClauseKind::Calendar {
                    rule: Some(how),
                    day: Some(day),
                    weekday,
                } => {
                    let parsed = day
                        .text
                        .split_once('-')
                        .and_then(|(m, d)| Some((m.parse().ok()?, d.parse().ok()?)));
                    let days = [
                        "monday",
                        "tuesday",
                        "wednesday",
                        "thursday",
                        "friday",
                        "saturday",
                        "sunday",
                    ];
                    let weekday = weekday
                        .as_ref()
                        .map_or(Some(0), |word| days.iter().position(|d| *d == word.text));
                    match (parsed, weekday) {
                        (Some((month, day)), Some(weekday)) => {
                            let weekday = i8::try_from(weekday + 1).unwrap_or(1);
                            rule.calendar = Calendar::Own(WeekRule {
                                holds: how.text == "holds",
                                month,
                                day,
                                weekday,
                            });
                        }
                        _ => {
                            let place = self.cx.place(line.file, clause.span);
                            self.cx.note(
                                Diagnostic::new("calendar-unclear", place, "this is no calendar")
                                    .help("write `calendar week 1 holds 01-01 from monday`"),
                            );
                        }
                    }
                }
                _ => {}
            }
        }
        family.dates.push(rule);
    }

    /// The date of the package is `date`; those of a mask or wafer beside it have names of their own.
    fn name_dates(&mut self, family: &mut Family) {
        let inner = |rule: &DateRule| matches!(rule.of.as_deref(), Some("mask" | "wafer" | "die"));
        let main = family
            .dates
            .iter()
            .position(|rule| !inner(rule))
            .unwrap_or(0);
        for (at, rule) in family.dates.iter_mut().enumerate() {
            let name = match &rule.of {
                Some(of) if at != main => format!("{of}_date"),
                _ => "date".to_owned(),
            };
            rule.field = self.cx.field(&name, None);
        }
    }

    #[allow(clippy::too_many_arguments)]
    fn check(
        &mut self,
        family: &mut Family,
        line: &Line,
        slots: &[Word],
        modulus: &Word,
        is: Option<&Word>,
        weights: &[Word],
        values: Option<&Word>,
        place: Place,
    ) {
        let slots: Vec<SlotId> = slots
            .iter()
            .filter_map(|word| self.slot_expected(line.file, line.group.as_deref(), word))
            .collect();
        let number = |word: &Word| word.text.parse::<u32>().ok();
        let m = number(modulus).unwrap_or(0);
        let weights: Vec<u32> = if weights.is_empty() {
            vec![1]
        } else {
            weights.iter().filter_map(number).collect()
        };
        let is = is.and_then(number).unwrap_or(0);
        if m < 2 || is >= m || weights.iter().all(|w| w % m == 0) || slots.is_empty() {
            let at = self.cx.place(line.file, modulus.span);
            self.cx.note(Diagnostic::new("check-modulus", at, "this check would hold never or always").help("the modulus is at least 2, the remainder less than it, and some weight no multiple of it"));
            return;
        }
        let mut of_chars = Vec::new();
        if let Some(table) = values {
            if let Some(Item::Table(file, node)) =
                self.cx.files[line.file].scope.get(&table.text).copied()
            {
                let mut gather = Gather::new(self.cx, table.clone(), line.file);
                gather.read(file, node);
                for code in gather.finish().0 {
                    let glyph = code.text().and_then(|text| text.chars().next());
                    let value = code.values.first().and_then(|(_, value)| match value {
                        Value::Quantity(quantity) => Some(quantity.value as u32),
                        Value::Text(text) => text.parse().ok(),
                        _ => None,
                    });
                    of_chars.extend(glyph.zip(value));
                }
            } else {
                let names: Vec<String> = self.cx.files[line.file].scope.keys().cloned().collect();
                self.cx
                    .unknown(line.file, table, "table", names.iter().map(String::as_str));
            }
        }
        family.checks.push(Checksum {
            slots,
            modulus: m,
            is,
            weights,
            values: of_chars,
            place,
        });
    }

    fn matrix(&mut self, line: &Line, name: &Word, unit: Option<&Word>, by: &[Word]) {
        let column = self.cx.column(line.file, name, unit);
        let slots: Vec<SlotId> = by
            .iter()
            .filter_map(|word| self.slot_expected(line.file, line.group.as_deref(), word))
            .collect();
        if slots.len() != by.len() {
            return;
        }
        let children = self.cx.files[line.file].tree.nodes[line.node]
            .children
            .clone();
        let mut head: Vec<Word> = Vec::new();
        let mut lines = Vec::new();
        for child in children {
            let node = self.cx.files[line.file].tree.nodes[child].clone();
            match node.kind {
                LineKind::MatrixHead(codes) => head = codes,
                LineKind::MatrixLine(keys, cells) => {
                    if cells.len() != head.len() {
                        let place = self.cx.place(line.file, node.content);
                        let title =
                            format!("{} cells stand beneath {} codes", cells.len(), head.len());
                        self.cx.note(
                            Diagnostic::new("rows-differ", place, title)
                                .help("write `-` where there is no value"),
                        );
                        continue;
                    }
                    let cells: Vec<Option<Value>> = cells
                        .iter()
                        .map(|cell: &Option<ValueLit>| {
                            cell.as_ref()
                                .and_then(|cell| self.cx.value(line.file, &column, cell))
                        })
                        .collect();
                    lines.push((keys, head.clone(), cells));
                }
                _ => {}
            }
        }
        let place = self.cx.place(line.file, name.span);
        self.matrices.push(MatrixDraft {
            field: column.field,
            slots,
            lines,
            file: line.file,
            place,
        });
    }

    fn examples(&mut self, family: &mut Family) {
        for line in self.lines.clone() {
            let LineKind::Example {
                refuse,
                form,
                reading,
                fields,
                clauses,
            } = line.kind()
            else {
                continue;
            };
            let form = form.as_ref().and_then(|form| FormKind::of_word(&form.text));
            let place = self.cx.place(line.file, reading.span);
            if *refuse {
                family.refusals.push(Refusal {
                    form,
                    reading: reading.text.clone(),
                    place,
                });
                continue;
            }
            let clauses = self.clauses_of(&line, clauses);
            let mut seen = None;
            for clause in &clauses {
                if let ClauseKind::Seen(date) = &clause.kind {
                    seen = self.cx.interval(line.file, date);
                }
            }
            let fields = self.example_fields(&line, fields);
            family.examples.push(Example {
                form,
                reading: reading.text.clone(),
                fields,
                seen,
                place,
            });
        }
    }

    fn example_fields(&mut self, line: &Line, fields: &[FieldLit]) -> Vec<(FieldId, Value)> {
        let mut values = Vec::new();
        for field in fields {
            let Some(name) = &field.name else {
                let place = self.cx.place(line.file, field.value.span);
                self.cx.note(
                    Diagnostic::new(
                        "columns-missing",
                        place,
                        "in an example each value needs its field",
                    )
                    .help("write for example `density 64 Mbit`"),
                );
                continue;
            };
            let base = self
                .cx
                .field_ids
                .get(&name.text)
                .and_then(|id| self.cx.fields[id.index()].base);
            let mut column = self.cx.column(line.file, name, None);
            if let (true, Some(base)) = (column.free, base) {
                column.kind = FieldKind::Number(base);
            }
            if name.text.ends_with("_date") {
                column.kind = FieldKind::Dates;
            }
            if let Some(value) = self.cx.value(line.file, &column, &field.value) {
                values.push((column.field, value));
            }
        }
        values
    }

    pub(super) fn cond_text(&self, at: &CondAt) -> String {
        let text = self
            .cx
            .sources
            .text(self.cx.files[at.file].id)
            .get(at.cond.span.range())
            .unwrap_or("")
            .trim()
            .to_owned();
        if at.negated {
            format!("not ({text})")
        } else {
            text
        }
    }

    /// The condition as the one clause of a print or guard line.
    pub(super) fn at(file: usize, cond: &CondLit) -> CondAt {
        CondAt {
            file,
            cond: Arc::new(cond.clone()),
            negated: false,
        }
    }
}
