//! What all parts of the check share: texts, names, fields, and the list of what is wrong.

use std::collections::HashMap;
use std::rc::Rc;

use super::vocabulary::{self, FieldKind};
use crate::diagnostic::{Applicability, Diagnostic, near, within};
use crate::model::{FamilyId, Field, FieldId, MakerId, Provenance, Standing, Window};
use crate::source::{Place, SourceId, Sources, Span};
use crate::syntax::ast::{Clause, ClauseKind, Tree, ValueKind, ValueLit, Word};
use crate::value::{Base, Interval, Quantity, Unit, Value};

/// A name of a file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Item {
    Maker(MakerId),
    Family(FamilyId),
    /// File and node.
    Table(usize, usize),
    Group(usize, usize),
}

impl Item {
    pub(super) fn word(self) -> &'static str {
        match self {
            Item::Maker(_) => "maker",
            Item::Family(_) => "family",
            Item::Table(..) => "table",
            Item::Group(..) => "group",
        }
    }
}

/// A loaded rule file.
#[derive(Debug, Clone)]
pub(super) struct File {
    pub(super) id: SourceId,
    pub(super) tree: Rc<Tree>,
    /// Names declared here and brought by `use`.
    pub(super) scope: HashMap<String, Item>,
}

/// What a field's values are, as far as a slot or column says.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Column {
    pub(super) field: FieldId,
    pub(super) kind: FieldKind,
    pub(super) unit: Option<Unit>,
    /// Whether nothing fixes its kind yet: no vocabulary, no unit.
    pub(super) free: bool,
}

/// The shared state of one check.
pub(super) struct Cx<'a> {
    pub(super) sources: &'a mut Sources,
    pub(super) loader: &'a dyn crate::source::Loader,
    pub(super) files: Vec<File>,
    pub(super) fields: Vec<Field>,
    pub(super) field_ids: HashMap<String, FieldId>,
    pub(super) diagnostics: Vec<Diagnostic>,
}

impl Cx<'_> {
    pub(super) fn note(&mut self, diagnostic: Diagnostic) {
        self.diagnostics.push(diagnostic);
    }

    pub(super) fn place(&self, file: usize, span: Span) -> Place {
        Place {
            source: self.files[file].id,
            span,
        }
    }

    pub(super) fn field(&mut self, name: &str, base: Option<Base>) -> FieldId {
        if let Some(id) = self.field_ids.get(name) {
            let field = &mut self.fields[id.index()];
            field.base = field.base.or(base);
            return *id;
        }
        let id = FieldId::at(self.fields.len());
        self.fields.push(Field {
            name: name.to_owned(),
            base,
        });
        self.field_ids.insert(name.to_owned(), id);
        id
    }

    /// The column of a field as named in a rule, perhaps with a unit.
    pub(super) fn column(&mut self, file: usize, name: &Word, unit: Option<&Word>) -> Column {
        let unit = unit.and_then(|unit| Unit::of(&unit.text));
        let place = self.place(file, name.span);
        let (kind, free) = match vocabulary::field(&name.text) {
            Some(word) => {
                if let (FieldKind::Number(base), Some(unit)) = (word.kind, unit)
                    && unit.base.factor(base).is_none()
                {
                    self.wrong_unit(place, &name.text, base, unit.symbol, unit.base);
                }
                (word.kind, false)
            }
            // A name is looked at once; later columns of it find it known.
            None if self.field_ids.contains_key(&name.text) => (
                unit.map_or(FieldKind::Text, |unit| FieldKind::Number(unit.base)),
                unit.is_none(),
            ),
            None => {
                let near = within(
                    &name.text,
                    vocabulary::FIELDS.iter().map(|field| field.name),
                    1,
                );
                let only_letters_off = near.first().filter(|_| name.text.len() > 4);
                let plural = only_letters_off.is_some_and(|near| {
                    format!("{near}s") == name.text || format!("{}s", name.text) == **near
                });
                if let Some(near) = only_letters_off.filter(|_| !plural) {
                    self.note(
                        Diagnostic::new(
                            "near-field",
                            place,
                            format!("`{}` is not of the vocabulary, `{near}` is", name.text),
                        )
                        .help("answers of different families are compared by field name")
                        .fix(
                            format!("write `{near}`"),
                            place,
                            *near,
                            Applicability::Unsafe,
                        ),
                    );
                }
                (
                    unit.map_or(FieldKind::Text, |unit| FieldKind::Number(unit.base)),
                    unit.is_none(),
                )
            }
        };
        let base = match kind {
            FieldKind::Number(base) => Some(base),
            _ => None,
        };
        Column {
            field: self.field(&name.text, base),
            kind,
            unit,
            free,
        }
    }

    fn wrong_unit(&mut self, place: Place, field: &str, base: Base, unit: &str, found: Base) {
        let units: Vec<&str> = Unit::ALL
            .iter()
            .filter(|u| u.base.factor(base).is_some())
            .map(|u| u.symbol)
            .collect();
        let counted = if base == Base::Count {
            "is a plain count".to_owned()
        } else {
            format!("is counted in {}", base.symbol())
        };
        let help = if units.is_empty() {
            "write the number alone".to_owned()
        } else {
            format!("units of `{field}`: {}", units.join(" "))
        };
        self.note(
            Diagnostic::new(
                "unit-mismatch",
                place,
                format!("`{field}` {counted}; {unit} is {}", found.dimension()),
            )
            .help(help),
        );
    }

    /// A value for a column, in its base unit.
    pub(super) fn value(
        &mut self,
        file: usize,
        column: &Column,
        literal: &ValueLit,
    ) -> Option<Value> {
        let place = self.place(file, literal.span);
        let name = self.fields[column.field.index()].name.clone();
        if let Some(date) = as_interval(literal, column.kind == FieldKind::Dates) {
            return match (column.kind, date) {
                (FieldKind::Dates, Some(interval)) => Some(Value::Dates(interval)),
                (FieldKind::Dates, None) => {
                    self.note(
                        Diagnostic::new("date-expected", place, "there is no such date").help(
                            "dates are written 2008, 2008-Q3, 2008-04, 2008-W14 or 2008-04-02",
                        ),
                    );
                    None
                }
                _ => {
                    self.note(
                        Diagnostic::new("unit-mismatch", place, format!("`{name}` is no date"))
                            .help("only date fields take dates"),
                    );
                    None
                }
            };
        }
        let written = literal.unit.as_ref().and_then(|unit| Unit::of(&unit.text));
        let mut base = match column.kind {
            FieldKind::Number(base) => Some(base),
            _ => None,
        };
        // A field of nobody's vocabulary takes the dimension of its first value.
        if base.is_none() && column.free && !matches!(literal.kind, ValueKind::Text(_)) {
            let known = self.fields[column.field.index()].base;
            base = known.or(Some(written.map_or(Base::Count, |unit| unit.base)));
            self.fields[column.field.index()].base = base;
        }
        match (&literal.kind, base) {
            (ValueKind::Text(text), None) => Some(Value::Text(text.clone())),
            (ValueKind::Text(_), Some(base)) => {
                let title = format!("`{name}` is {}, not a text", base.dimension());
                self.note(
                    Diagnostic::new("unit-mismatch", place, title)
                        .help("write a number with its unit"),
                );
                None
            }
            (ValueKind::Number(number), None) => Some(Value::Text(number.clone())),
            (_, None) => {
                self.note(
                    Diagnostic::new("unit-mismatch", place, format!("`{name}` is a text"))
                        .help("write it in quotes"),
                );
                None
            }
            (kind, Some(base)) => {
                let unit = match written.or(column.unit) {
                    Some(unit) => unit,
                    None if base == Base::Count => Unit::base(Base::Count),
                    None => {
                        let title =
                            format!("`{name}` is {}: its unit is missing", base.dimension());
                        let unit = Unit::base(base).symbol;
                        self.note(Diagnostic::new("unit-mismatch", place, title).help(format!(
                            "write a unit, as {unit}; once for a whole list: `gives {name} {unit}`"
                        )));
                        return None;
                    }
                };
                let Some(factor) = unit.base.factor(base) else {
                    let at = literal
                        .unit
                        .as_ref()
                        .map_or(place, |unit| self.place(file, unit.span));
                    self.wrong_unit(at, &name, base, unit.symbol, unit.base);
                    return None;
                };
                let scale = |text: &str| unit.scale(text).map(|value| value * factor);
                match kind {
                    ValueKind::Number(number) => Some(Value::Quantity(Quantity {
                        value: scale(number)?,
                        base,
                    })),
                    ValueKind::Range(min, max) => {
                        let (min, max) = (
                            min.as_deref().and_then(scale),
                            max.as_deref().and_then(scale),
                        );
                        if let (Some(a), Some(b)) = (min, max)
                            && a > b
                        {
                            self.note(
                                Diagnostic::new(
                                    "empty-window",
                                    place,
                                    "the range ends below its beginning",
                                )
                                .help("write the smaller end first"),
                            );
                            return None;
                        }
                        Some(Value::Range { min, max, base })
                    }
                    _ => None,
                }
            }
        }
    }

    /// The interval of a date word.
    pub(super) fn interval(&mut self, file: usize, word: &Word) -> Option<Interval> {
        let found = Interval::parse(&word.text);
        if found.is_none() {
            let place = self.place(file, word.span);
            self.note(
                Diagnostic::new("date-expected", place, "there is no such date")
                    .help("dates are written 2008, 2008-Q3, 2008-04, 2008-W14 or 2008-04-02"),
            );
        }
        found
    }

    /// Adds what clauses say of source, standing, review, note and window.
    pub(super) fn provenance(
        &mut self,
        file: usize,
        clauses: &[Clause],
        provenance: &mut Provenance,
        window: &mut Window,
    ) {
        for clause in clauses {
            match &clause.kind {
                ClauseKind::Source(text) => provenance.source = Some(text.text.clone()),
                ClauseKind::Note(text) => provenance.note = Some(text.text.clone()),
                ClauseKind::Standing(word) => {
                    provenance.standing = match word.text.as_str() {
                        "documented" => Some(Standing::Documented),
                        "observed" => Some(Standing::Observed),
                        "supposed" => Some(Standing::Supposed),
                        other => {
                            let place = self.place(file, word.span);
                            let title = format!("`{other}` is no standing");
                            self.note(
                                Diagnostic::new("unknown-name", place, title)
                                    .help("a standing is documented, observed or supposed"),
                            );
                            None
                        }
                    };
                }
                ClauseKind::Reviewed(date) => {
                    provenance.reviewed = self.interval(file, date).map(|i| i.from)
                }
                ClauseKind::Since(date) => window.since = self.interval(file, date).map(|i| i.from),
                ClauseKind::Until(date) => window.until = self.interval(file, date).map(|i| i.to),
                _ => {}
            }
        }
        if let (Some(since), Some(until)) = (window.since, window.until) {
            let clause = clauses
                .iter()
                .find(|c| matches!(c.kind, ClauseKind::Until(_) | ClauseKind::Since(_)));
            if let (true, Some(clause)) = (until < since, clause) {
                let place = self.place(file, clause.span);
                let title = format!("the window ends on {until}, before it begins on {since}");
                self.note(Diagnostic::new("empty-window", place, title).help("swap the two dates"));
            }
        }
    }

    /// "did you mean" for a name that is not there.
    pub(super) fn unknown<'n>(
        &mut self,
        file: usize,
        word: &Word,
        what: &str,
        names: impl IntoIterator<Item = &'n str>,
    ) {
        let mut names: Vec<&str> = names
            .into_iter()
            .filter(|name| !name.starts_with('"'))
            .collect();
        names.sort_unstable();
        names.dedup();
        let place = self.place(file, word.span);
        let mut fault = Diagnostic::new(
            "unknown-name",
            place,
            format!("no {what} is called `{}`", word.text),
        );
        // A word for a shape is no table, but what a misspelt one may have meant.
        let shapes: &[&str] = if what == "table" { SHAPES } else { &[] };
        let near = near(&word.text, names.iter().chain(shapes).copied());
        if let Some(first) = near.first() {
            fault = fault.help(format!("did you mean `{first}`?")).fix(
                format!("write `{first}`"),
                place,
                *first,
                Applicability::Unsafe,
            );
        }
        if !names.is_empty() {
            let shown: Vec<&str> = names.iter().copied().take(12).collect();
            let more = if names.len() > 12 { " ..." } else { "" };
            fault = fault.help(format!("{what}s here: {}{more}", shown.join(", ")));
        }
        let how = match (what, word.text.as_str()) {
            _ if !near.is_empty() => None,
            ("slot", "date") => Some("the slots of a date stand in the row, and `date year week` says what they make together".to_owned()),
            ("slot", name) => Some(format!("a slot has a line of its own, with its codes beneath or with a shape: `{name}  4 alnum`; what is always printed alike stands in quotes")),
            ("table", _) => Some("shapes: letter, 2 digits, 4..6 alnum, one of \"ABC\", pattern \"...\"; codes stand on lines of their own beneath".to_owned()),
            _ => None,
        };
        if let Some(how) = how {
            fault = fault.help(how);
        }
        self.note(fault);
    }
}

/// Words that begin a shape.
const SHAPES: &[&str] = &[
    "letter", "letters", "digit", "digits", "alnum", "pattern", "one",
];

/// The interval of a date value; the outer `None` where the literal is no date.
fn as_interval(literal: &ValueLit, wanted: bool) -> Option<Option<Interval>> {
    match &literal.kind {
        ValueKind::Date(from, None) => Some(Interval::parse(from)),
        ValueKind::Date(from, Some(to)) => Some(
            Interval::parse(from)
                .zip(Interval::parse(to))
                .map(|(from, to)| Interval {
                    from: from.from,
                    to: to.to,
                })
                .filter(|interval| interval.from <= interval.to),
        ),
        ValueKind::Number(number) if wanted && number.len() == 4 => Some(Interval::parse(number)),
        ValueKind::Range(Some(from), Some(to)) if wanted => Some(
            Interval::parse(from)
                .zip(Interval::parse(to))
                .map(|(from, to)| Interval {
                    from: from.from,
                    to: to.to,
                }),
        ),
        _ if wanted => Some(None),
        _ => None,
    }
}
