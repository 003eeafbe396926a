//! The list of one slot: entries, tables and shapes -> codes with their guards still as written.

use std::borrow::Cow;
use std::rc::Rc;
use std::sync::Arc;

use super::cx::{Column, Cx, Item};
use super::pattern::{self, PatternFault};
use super::vocabulary::FieldKind;
use crate::diagnostic::Diagnostic;
use crate::glyph::{Glyph, GlyphSet};
use crate::model::string_shares;
use crate::model::{
    Case, CodeKind, FieldId, FormKind, OpenRule, Provenance, Spelling, Strip, Window,
};
use crate::source::Place;
use crate::syntax::ast::{
    BaseLit, Clause, ClauseKind, Codes, CondLit, FieldLit, LineKind, Shape, Word,
};
use crate::value::{Base, Unit, Value};

/// The most codes of one slot.
pub(super) const MAX_CODES: usize = 50_000;
/// How deep tables may be made of tables.
const MAX_TABLES: usize = 16;

/// A condition as written, with the file it stands in.
#[derive(Debug, Clone)]
pub(super) struct CondAt {
    pub(super) file: usize,
    /// Shared by all codes that it guards.
    pub(super) cond: Arc<CondLit>,
    pub(super) negated: bool,
}

impl PartialEq for CondAt {
    fn eq(&self, other: &CondAt) -> bool {
        self.negated == other.negated
            && self.file == other.file
            && (Arc::ptr_eq(&self.cond, &other.cond) || self.cond == other.cond)
    }
}

/// Another spelling, its guard still as written.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct ProtoPrint {
    pub(super) forms: Vec<FormKind>,
    pub(super) spelling: Option<Spelling>,
    pub(super) when: Option<CondAt>,
}

/// A code with its guards as written.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Proto {
    pub(super) kind: CodeKind,
    pub(super) values: Vec<(FieldId, Value)>,
    pub(super) open: Vec<(FieldId, OpenRule)>,
    pub(super) weight: f64,
    pub(super) unlisted: bool,
    pub(super) window: Window,
    pub(super) guards: Vec<CondAt>,
    pub(super) prints: Vec<ProtoPrint>,
    pub(super) provenance: Provenance,
    pub(super) stands: Option<(usize, Word, Option<Word>)>,
    pub(super) succeeds: Option<Word>,
    pub(super) place: Place,
    /// Named fields or columns were given, so the code is not its own text.
    has_fields: bool,
}

impl Proto {
    pub(super) fn new(kind: CodeKind, place: Place) -> Proto {
        Proto {
            kind,
            values: Vec::new(),
            open: Vec::new(),
            weight: 1.0,
            unlisted: false,
            window: Window::default(),
            guards: Vec::new(),
            prints: Vec::new(),
            provenance: Provenance::default(),
            stands: None,
            succeeds: None,
            place,
            has_fields: false,
        }
    }

    /// Notes that the values given are all that it says.
    pub(super) fn mark_fields(&mut self) {
        self.has_fields =
            !self.values.is_empty() || self.stands.is_some() || self.kind == CodeKind::Absent;
    }

    /// The text of a listed code.
    pub(super) fn text(&self) -> Option<String> {
        match &self.kind {
            CodeKind::Listed(spelling) => Some(spelling.text()),
            _ => None,
        }
    }
}

/// A slot or table while its codes are gathered.
pub(super) struct Gather<'c, 'a> {
    pub(super) cx: &'c mut Cx<'a>,
    /// The slot's own name, for columns that no `gives` names.
    pub(super) slot: Word,
    pub(super) slot_file: usize,
    pub(super) cased: bool,
    pub(super) each: bool,
    pub(super) codes: Vec<Proto>,
    columns: Vec<Column>,
    given: bool,
    depth: usize,
}

impl<'c, 'a> Gather<'c, 'a> {
    pub(super) fn new(cx: &'c mut Cx<'a>, slot: Word, slot_file: usize) -> Gather<'c, 'a> {
        Gather {
            cx,
            slot,
            slot_file,
            cased: false,
            each: false,
            codes: Vec::new(),
            columns: Vec::new(),
            given: false,
            depth: 0,
        }
    }

    /// Reads a slot or table line with everything beneath it.
    pub(super) fn read(&mut self, file: usize, node: usize) {
        let tree = Rc::clone(&self.cx.files[file].tree);
        let (shape, clauses) = match &tree.nodes[node].kind {
            LineKind::Slot(_, shape, clauses) | LineKind::Table(_, shape, clauses) => {
                (shape, clauses)
            }
            _ => return,
        };
        if self.depth > MAX_TABLES {
            let place = self.cx.place(file, shape.span);
            self.cx.note(
                Diagnostic::new(
                    "too-large",
                    place,
                    format!("tables stand in each other more than {MAX_TABLES} deep"),
                )
                .help("a table may not use itself"),
            );
            return;
        }
        if !shape.gives.is_empty() {
            self.columns = shape
                .gives
                .iter()
                .map(|(name, unit)| self.cx.column(file, name, unit.as_ref()))
                .collect();
            self.given = true;
        } else if self.columns.is_empty() {
            let slot = self.slot.clone();
            let own = Word {
                text: slot.text.rsplit('.').next().unwrap_or_default().to_owned(),
                ..slot
            };
            self.columns = vec![self.cx.column(self.slot_file, &own, None)];
        }
        self.base(file, shape);
        self.slot_clauses(clauses);
        self.entries(file, &tree.nodes[node].children, &[]);
    }

    fn slot_clauses(&mut self, clauses: &[Clause]) {
        for clause in clauses {
            match clause.kind {
                ClauseKind::Each => self.each = true,
                ClauseKind::Cased => self.cased = true,
                _ => {}
            }
        }
    }

    fn base(&mut self, file: usize, shape: &Shape) {
        if let Some(base) = &shape.base {
            match base {
                BaseLit::Tables(tables) => self.tables(file, tables),
                BaseLit::From(path) => self.csv(file, path),
                BaseLit::Literal(text) => {
                    let place = self.cx.place(file, text.span);
                    self.codes.push(Proto::new(
                        CodeKind::Listed(Spelling::of(&text.text)),
                        place,
                    ));
                }
                shape => {
                    if let Some(proto) = self.open(file, shape, false) {
                        self.codes.push(proto);
                    }
                }
            }
        }
        if shape.or_none && !self.codes.iter().any(|code| code.kind == CodeKind::Absent) {
            let place = self.cx.place(file, shape.span);
            let mut none = Proto::new(CodeKind::Absent, place);
            none.has_fields = true;
            self.codes.push(none);
        }
    }

    fn tables(&mut self, file: usize, tables: &[Word]) {
        for table in tables {
            match self.cx.files[file].scope.get(&table.text).copied() {
                Some(Item::Table(of, node)) => {
                    let (columns, given) = (self.columns.clone(), self.given);
                    if !self.given {
                        self.columns.clear();
                    }
                    self.depth += 1;
                    self.read(of, node);
                    self.depth -= 1;
                    if given {
                        (self.columns, self.given) = (columns, given);
                    }
                }
                Some(other) => {
                    let place = self.cx.place(file, table.span);
                    let title = format!("`{}` is a {}, not a table", table.text, other.word());
                    self.cx.note(
                        Diagnostic::new("unknown-name", place, title)
                            .help("a slot takes its codes from a table or lists them beneath"),
                    );
                }
                None => {
                    let scope = &self.cx.files[file].scope;
                    let names: Vec<String> = scope
                        .iter()
                        .filter(|(_, item)| matches!(item, Item::Table(..)))
                        .map(|(name, _)| name.clone())
                        .collect();
                    self.cx
                        .unknown(file, table, "table", names.iter().map(String::as_str));
                }
            }
        }
    }

    /// An open code of a shape.
    fn open(&mut self, file: usize, shape: &BaseLit, unlisted: bool) -> Option<Proto> {
        let fault = |cx: &mut Cx<'_>, span, why: PatternFault| {
            let place = cx.place(file, span);
            cx.note(match why {
                PatternFault::Syntax(why) => Diagnostic::new("shape-unclear", place, format!("the pattern cannot be read: {why}")).help("a pattern has literals, classes [..], groups (..), alternatives | and counts {1,3} or ?"),
                PatternFault::Infinite => Diagnostic::new("pattern-infinite", place, "the pattern has no longest string").help("write counts, as {1,3}, instead of * and +"),
                PatternFault::TooLarge => Diagnostic::new("too-large", place, format!("the shape needs more than {} strips or is longer than {} characters", pattern::MAX_STRIPS, pattern::MAX_LENGTH)).help("narrow it"),
            });
        };
        let (span, strips, rule): (_, Vec<Strip>, Option<OpenRule>) = match shape {
            BaseLit::Class(class) => {
                if class.max as usize > pattern::MAX_LENGTH
                    || class.min > class.max
                    || class.max == 0
                {
                    fault(self.cx, class.span, PatternFault::TooLarge);
                    return None;
                }
                (
                    class.span,
                    pattern::class_strips(class.min, class.max, class.class),
                    (class.class == "digit").then_some(OpenRule::Number(None)),
                )
            }
            BaseLit::Pattern(text) => match pattern::pattern_strips(&text.text) {
                Ok(strips) => {
                    let digits = strips.iter().all(|s| {
                        s.places.iter().all(|p| {
                            p.set.alnum & !GlyphSet::DIGITS == 0 && p.set.others.is_empty()
                        })
                    });
                    (text.span, strips, digits.then_some(OpenRule::Number(None)))
                }
                Err(why) => {
                    fault(self.cx, text.span, why);
                    return None;
                }
            },
            BaseLit::OneOf(text, start) => {
                let order = Spelling::of(&text.text).glyphs;
                let start = start.as_ref().and_then(|start| start.text.parse().ok());
                (
                    text.span,
                    pattern::one_of_strips(&order),
                    Some(OpenRule::OneOf {
                        order,
                        start,
                        text: false,
                    }),
                )
            }
            BaseLit::Exponent(class) => {
                let strips = pattern::class_strips(class.min + 1, class.max + 1, "digit");
                (class.span, strips, Some(OpenRule::Exponent(None)))
            }
            BaseLit::Letters {
                digits,
                around,
                letters,
            } => {
                if digits.max > 12 || digits.min > digits.max {
                    fault(self.cx, digits.span, PatternFault::TooLarge);
                    return None;
                }
                let mut strips = Vec::new();
                let mut units = Vec::new();
                for (letter, unit) in letters {
                    let glyph = Spelling::of(&letter.text).glyphs.into_iter().next()?;
                    let lower = matches!(&glyph, Glyph::Char(c) if c.is_ascii_lowercase());
                    for n in digits.min..=digits.max {
                        let places = if *around { 0..=n } else { n..=n };
                        for at in places {
                            let mut sets = vec![pattern::class_set("digit"); n as usize];
                            sets.insert(at as usize, GlyphSet::one(&glyph));
                            let mut strip = pattern::strip(sets);
                            if lower {
                                strip.places[at as usize].case = Case::Lower;
                            }
                            strips.push(strip);
                        }
                    }
                    if let Some(unit) = Unit::of(&unit.text) {
                        units.push((glyph, unit));
                    }
                }
                (digits.span, strips, Some(OpenRule::Magnitude(units)))
            }
            BaseLit::Tables(_) | BaseLit::From(_) | BaseLit::Literal(_) => return None,
        };
        let place = self.cx.place(file, span);
        let mut proto = Proto::new(CodeKind::Open(strips), place);
        proto.unlisted = unlisted;
        let columns = self.columns.clone();
        for column in &columns {
            let number = match column.kind {
                FieldKind::Number(base) => Some(base),
                _ => None,
            };
            let unit = column
                .unit
                .or(number.filter(|base| *base != Base::Count).map(Unit::base));
            let rule = match &rule {
                _ if unlisted && (self.given || number.is_some()) => OpenRule::Unknown(number),
                Some(OpenRule::Number(_)) if number.is_some() => OpenRule::Number(unit),
                Some(OpenRule::Exponent(_)) => OpenRule::Exponent(unit),
                Some(OpenRule::Magnitude(units)) => {
                    self.magnitude_units(file, column, units, shape);
                    OpenRule::Magnitude(units.clone())
                }
                Some(OpenRule::OneOf { order, start, .. }) => OpenRule::OneOf {
                    order: order.clone(),
                    start: *start,
                    text: number.is_none() && start.is_none(),
                },
                _ if number.is_some() => OpenRule::Unknown(number),
                _ => OpenRule::Text,
            };
            proto.open.push((column.field, rule));
        }
        Some(proto)
    }

    fn magnitude_units(
        &mut self,
        file: usize,
        column: &Column,
        units: &[(Glyph, Unit)],
        shape: &BaseLit,
    ) {
        let BaseLit::Letters { letters, .. } = shape else {
            return;
        };
        let name = self.cx.fields[column.field.index()].name.clone();
        if let (true, Some((_, unit))) = (column.free, units.first()) {
            let field = &mut self.cx.fields[column.field.index()];
            field.base = field.base.or(Some(unit.base));
        }
        let Some(base) = self.cx.fields[column.field.index()].base else {
            return;
        };
        for ((_, word), (_, unit)) in letters.iter().zip(units) {
            if unit.base.factor(base).is_none() {
                let place = self.cx.place(file, word.span);
                let title = format!(
                    "`{name}` is {}; {} is {}",
                    base.dimension(),
                    unit.symbol,
                    unit.base.dimension()
                );
                self.cx.note(
                    Diagnostic::new("unit-mismatch", place, title)
                        .help("letters stand for units of one dimension"),
                );
            }
        }
    }

    /// Entries, under the guards of the `when` lines around them.
    fn entries(&mut self, file: usize, nodes: &[usize], guards: &[CondAt]) {
        let mut whens: Vec<CondAt> = Vec::new();
        let tree = Rc::clone(&self.cx.files[file].tree);
        for node in nodes {
            let kind = &tree.nodes[*node].kind;
            let children = &tree.nodes[*node].children;
            if !matches!(
                kind,
                LineKind::When(_) | LineKind::Otherwise | LineKind::Blank
            ) {
                whens.clear();
            }
            match kind {
                LineKind::When(cond) => {
                    let at = CondAt {
                        file,
                        cond: Arc::new(cond.clone()),
                        negated: false,
                    };
                    whens.push(at.clone());
                    self.entries(file, children, &[guards, &[at]].concat());
                }
                LineKind::Otherwise => {
                    if whens.is_empty() {
                        let place = self
                            .cx
                            .place(file, self.cx.files[file].tree.nodes[*node].content);
                        self.cx.note(
                            Diagnostic::new(
                                "condition-unclear",
                                place,
                                "no `when` stands above this `otherwise`",
                            )
                            .help("put it right beneath a `when` of the same indentation"),
                        );
                    }
                    let mut all = guards.to_vec();
                    all.extend(whens.drain(..).map(|when| CondAt {
                        negated: true,
                        ..when
                    }));
                    self.entries(file, children, &all);
                }
                LineKind::Without(codes) => {
                    for code in codes {
                        let gone = Spelling::of(&code.text).text();
                        let none = code.text == "none" && !code.quoted;
                        let before = self.codes.len();
                        self.codes.retain(|proto| match &proto.kind {
                            CodeKind::Absent => !none,
                            _ => none || proto.text().as_deref() != Some(&gone),
                        });
                        if self.codes.len() == before {
                            let texts: Vec<String> =
                                self.codes.iter().filter_map(Proto::text).collect();
                            self.cx
                                .unknown(file, code, "code", texts.iter().map(String::as_str));
                        }
                    }
                }
                LineKind::Entry(codes, fields, clauses) => {
                    self.entry(file, *node, codes, fields, clauses, guards, children)
                }
                LineKind::Clauses(clauses) => self.slot_clauses(clauses),
                _ => {}
            }
            if self.codes.len() > MAX_CODES {
                let place = self
                    .cx
                    .place(file, self.cx.files[file].tree.nodes[*node].content);
                self.cx.note(
                    Diagnostic::new(
                        "too-large",
                        place,
                        format!("a slot has more than {MAX_CODES} codes"),
                    )
                    .help("split the table"),
                );
                return;
            }
        }
    }

    #[allow(clippy::too_many_arguments)]
    fn entry(
        &mut self,
        file: usize,
        node: usize,
        codes: &Codes,
        fields: &[FieldLit],
        clauses: &[Clause],
        guards: &[CondAt],
        children: &[usize],
    ) {
        let (mut fields, mut clauses) = (Cow::Borrowed(fields), Cow::Borrowed(clauses));
        for child in children {
            match self.cx.files[file].tree.nodes[*child].kind.clone() {
                LineKind::More(more, of_more) => {
                    fields.to_mut().extend(more);
                    clauses.to_mut().extend(of_more);
                }
                LineKind::When(cond) => {
                    let span = cond.span;
                    let word = Word {
                        text: "when".to_owned(),
                        span,
                        quoted: false,
                    };
                    clauses.to_mut().push(Clause {
                        word,
                        kind: ClauseKind::When(cond),
                        span,
                    });
                }
                _ => {}
            }
        }
        let content = self.cx.files[file].tree.nodes[node].content;
        let mut protos = match codes {
            Codes::None(span) => vec![Proto::new(CodeKind::Absent, self.cx.place(file, *span))],
            Codes::Listed(words) => words
                .iter()
                .map(|word| {
                    Proto::new(
                        CodeKind::Listed(Spelling::of(&word.text)),
                        self.cx.place(file, word.span),
                    )
                })
                .collect(),
            Codes::Unlisted(span, shape) => {
                let proto = match shape {
                    Some(shape) => self.open(file, shape, true),
                    None => {
                        let place = self.cx.place(file, *span);
                        let mut proto = Proto::new(CodeKind::Open(Vec::new()), place);
                        proto.unlisted = true;
                        let columns = self.columns.clone();
                        for column in columns {
                            let rule = match column.kind {
                                FieldKind::Number(base) => OpenRule::Unknown(Some(base)),
                                _ if self.given => OpenRule::Unknown(None),
                                _ => OpenRule::Text,
                            };
                            proto.open.push((column.field, rule));
                        }
                        Some(proto)
                    }
                };
                proto.into_iter().collect()
            }
        };
        let values = self.values(file, &fields);
        for proto in &mut protos {
            proto.has_fields = !fields.is_empty() || matches!(codes, Codes::None(_));
            proto.values.clone_from(&values);
            proto.guards = guards.to_vec();
            self.entry_clauses(file, &clauses, proto);
        }
        for proto in protos {
            // An entry replaces one of the same code that a table or shape brought, where neither has a guard.
            let same = |old: &Proto| {
                old.kind == proto.kind
                    && old.guards.is_empty()
                    && !matches!(old.kind, CodeKind::Open(_))
            };
            let brought = self.cx.place(file, content);
            let old = self.codes.iter().position(|old| {
                same(old) && (old.place.source != brought.source || old.place.span < brought.span)
            });
            let from_here = |old: &Proto| {
                self.cx.files[file].tree.nodes[node]
                    .parent
                    .is_some_and(|parent| {
                        let nodes = &self.cx.files[file].tree.nodes;
                        let body = nodes[parent].content.end..content.start;
                        old.place.source == self.cx.files[file].id
                            && body.contains(&old.place.span.start)
                    })
            };
            match old {
                Some(at) if proto.guards.is_empty() && !from_here(&self.codes[at]) => {
                    self.codes[at] = proto
                }
                _ => self.codes.push(proto),
            }
        }
    }

    fn values(&mut self, file: usize, fields: &[FieldLit]) -> Vec<(FieldId, Value)> {
        let mut values = Vec::new();
        let mut next = 0;
        for field in fields {
            let column = match &field.name {
                Some(name) => {
                    let known = self
                        .columns
                        .iter()
                        .position(|c| self.cx.fields[c.field.index()].name == name.text);
                    match known {
                        Some(at) => {
                            next = at + 1;
                            self.columns[at]
                        }
                        None => self.cx.column(file, name, None),
                    }
                }
                None => match self.columns.get(next) {
                    Some(column) => {
                        next += 1;
                        *column
                    }
                    None => {
                        let place = self.cx.place(file, field.value.span);
                        let title = format!(
                            "this value has no column: `{}` gives {}",
                            self.slot.text,
                            self.columns.len()
                        );
                        self.cx.note(
                            Diagnostic::new("columns-missing", place, title)
                                .help("name its field before it, or add the field to `gives`"),
                        );
                        continue;
                    }
                },
            };
            if let Some(value) = self.cx.value(file, &column, &field.value) {
                values.push((column.field, value));
            }
        }
        values
    }

    fn entry_clauses(&mut self, file: usize, clauses: &[Clause], proto: &mut Proto) {
        self.cx
            .provenance(file, clauses, &mut proto.provenance, &mut proto.window);
        for clause in clauses {
            match &clause.kind {
                ClauseKind::Weight(weight) => {
                    proto.weight = weight.text.parse().ok().filter(|w| *w > 0.0).unwrap_or(1.0)
                }
                ClauseKind::When(cond) => proto.guards.push(CondAt {
                    file,
                    cond: Arc::new(cond.clone()),
                    negated: false,
                }),
                ClauseKind::Prints { code, forms, when } => proto.prints.push(ProtoPrint {
                    forms: forms
                        .iter()
                        .filter_map(|form| FormKind::of_word(&form.text))
                        .collect(),
                    spelling: code.as_ref().map(|code| Spelling::of(&code.text)),
                    when: when.clone().map(|cond| CondAt {
                        file,
                        cond: Arc::new(cond),
                        negated: false,
                    }),
                }),
                ClauseKind::Stands(family, code) => {
                    proto.stands = Some((file, family.clone(), code.clone()))
                }
                ClauseKind::Succeeds(code) => proto.succeeds = Some(code.clone()),
                _ => {}
            }
        }
    }

    /// Last touches once all entries are known: own text, shares of classes, shapes of `unlisted`.
    pub(super) fn finish(mut self) -> (Vec<Proto>, bool, bool) {
        let own = self.columns.first().copied();
        let others: Vec<FieldId> = self
            .codes
            .iter()
            .filter(|c| c.has_fields)
            .flat_map(|c| c.values.iter().map(|v| v.0))
            .collect();
        let listed: Vec<Spelling> = self
            .codes
            .iter()
            .filter_map(|code| match &code.kind {
                CodeKind::Listed(spelling) => Some(spelling.clone()),
                _ => None,
            })
            .collect();
        let opens: Vec<(Vec<Strip>, Vec<(FieldId, OpenRule)>, f64)> = self
            .codes
            .iter()
            .filter(|code| !code.unlisted)
            .filter_map(|code| match &code.kind {
                CodeKind::Open(strips) => Some((strips.clone(), code.open.clone(), code.weight)),
                _ => None,
            })
            .collect();
        for code in &mut self.codes {
            match &mut code.kind {
                CodeKind::Listed(spelling) => {
                    let of = opens.iter().find_map(|(strips, rules, weight)| {
                        let at = strips
                            .iter()
                            .position(|strip| pattern::holds(strip, &spelling.glyphs))?;
                        Some((rules, weight * string_shares(strips)[at].exp2()))
                    });
                    if let Some((rules, share)) = of {
                        code.weight *= share;
                        if !code.has_fields {
                            let glyphs = &spelling.glyphs;
                            code.values.extend(
                                rules
                                    .iter()
                                    .filter_map(|(f, rule)| rule.value(glyphs).map(|v| (*f, v))),
                            );
                            continue;
                        }
                    }
                    if let (false, Some(own)) = (code.has_fields, own)
                        && own.kind == FieldKind::Text
                    {
                        code.values.push((own.field, Value::Text(spelling.text())));
                    }
                }
                CodeKind::Open(strips) if strips.is_empty() => {
                    *strips = like_listed(&listed);
                    if !self.given && !others.is_empty() {
                        let mut fields = others.clone();
                        fields.sort_unstable();
                        fields.dedup();
                        let first = others[0];
                        code.open =
                            vec![(first, OpenRule::Unknown(self.cx.fields[first.index()].base))];
                    }
                }
                _ => {}
            }
        }
        (self.codes, self.each, self.cased)
    }

    pub(super) fn csv_columns(&self) -> &[Column] {
        &self.columns
    }

    pub(super) fn gives(&self) -> bool {
        self.given
    }
}

/// The shapes of listed codes: their lengths, and in each place the class of what stands there.
fn like_listed(listed: &[Spelling]) -> Vec<Strip> {
    let mut lengths: Vec<usize> = listed
        .iter()
        .map(|s| s.glyphs.len())
        .filter(|n| *n > 0)
        .collect();
    lengths.sort_unstable();
    lengths.dedup();
    let widen = |glyphs: Vec<&Glyph>| {
        let mut set = GlyphSet::default();
        for glyph in glyphs {
            let one = GlyphSet::one(glyph);
            set.alnum |= one.alnum;
            set.others.extend(one.others);
        }
        for class in [GlyphSet::DIGITS, GlyphSet::LETTERS] {
            if set.alnum & class != 0 {
                set.alnum |= class;
            }
        }
        set.others.sort();
        set.others.dedup();
        set
    };
    lengths
        .into_iter()
        .map(|n| {
            let here: Vec<&Spelling> = listed.iter().filter(|s| s.glyphs.len() == n).collect();
            pattern::strip(
                (0..n)
                    .map(|at| widen(here.iter().map(|s| &s.glyphs[at]).collect()))
                    .collect(),
            )
        })
        .collect()
}
