//! A CSV beside a rule: a line of it is an entry.

use super::codes::{Gather, Proto};
use super::cx::Column;
use super::vocabulary::FieldKind;
use crate::diagnostic::Diagnostic;
use crate::model::{CodeKind, Spelling, Standing};
use crate::source::{Place, SourceId, Span};
use crate::syntax::ast::{ValueKind, ValueLit, Word};
use crate::value::{Interval, Unit};

/// What a column of the file is.
enum Cell {
    Code,
    Field(Column),
    Clause(String),
}

impl Gather<'_, '_> {
    pub(super) fn csv(&mut self, file: usize, path: &Word) {
        let place = self.cx.place(file, path.span);
        let from = self
            .cx
            .sources
            .get(self.cx.files[file].id)
            .map(|source| source.name.clone())
            .unwrap_or_default();
        let builtin = self
            .cx
            .sources
            .get(self.cx.files[file].id)
            .is_some_and(|source| source.builtin);
        let (name, text) = match self.cx.loader.load(&from, &path.text) {
            Ok(loaded) => loaded,
            Err(why) => {
                let title = format!("`{}` cannot be loaded: {why}", path.text);
                self.cx
                    .note(Diagnostic::new("file-missing", place, title).help(
                    "paths are relative to the file that names them, and stay inside the rule set",
                ));
                return;
            }
        };
        let source = self
            .cx
            .sources
            .find(&name)
            .unwrap_or_else(|| self.cx.sources.add(name, text.clone(), builtin));
        let mut reader = csv::ReaderBuilder::new()
            .trim(csv::Trim::All)
            .comment(Some(b'#'))
            .from_reader(text.as_bytes());
        let fault = |gather: &mut Self, at: Place, title: String| {
            gather.cx.note(Diagnostic::new("table-file", at, title).also(place, "named here").help("the head names the columns: code, fields with units (flash Kbyte), clause words; then one line an entry"));
        };
        let whole = Place {
            source,
            span: Span::new(0, text.find('\n').unwrap_or(text.len())),
        };
        let head = match reader.headers() {
            Ok(head) => head.clone(),
            Err(error) => return fault(self, whole, error.to_string()),
        };
        let mut cells = Vec::new();
        for title in &head {
            let (word, unit) = title
                .split_once(' ')
                .map_or((title, None), |(word, unit)| (word, Some(unit.trim())));
            let as_word = |text: &str| Word {
                text: text.to_owned(),
                span: path.span,
                quoted: false,
            };
            cells.push(match word {
                "code" => Cell::Code,
                "since" | "until" | "source" | "standing" | "reviewed" | "note" | "weight"
                | "stands" => Cell::Clause(word.to_owned()),
                _ if unit.is_some_and(|unit| Unit::of(unit).is_none()) => {
                    return fault(
                        self,
                        whole,
                        format!("`{}` is no unit", unit.unwrap_or_default()),
                    );
                }
                _ => {
                    let given = self
                        .csv_columns()
                        .iter()
                        .find(|c| self.cx.fields[c.field.index()].name == word)
                        .copied();
                    Cell::Field(match given {
                        Some(column) if unit.is_none() && self.gives() => column,
                        _ => self
                            .cx
                            .column(file, &as_word(word), unit.map(as_word).as_ref()),
                    })
                }
            });
        }
        if !cells.iter().any(|cell| matches!(cell, Cell::Code)) {
            return fault(self, whole, "the head has no column `code`".to_owned());
        }
        let mut record = csv::StringRecord::new();
        loop {
            let start = reader.position().byte() as usize;
            match reader.read_record(&mut record) {
                Ok(true) => {}
                Ok(false) => return,
                Err(error) => {
                    let end = text
                        .get(start..)
                        .and_then(|rest| rest.find('\n'))
                        .map_or(text.len(), |at| start + at);
                    return fault(
                        self,
                        Place {
                            source,
                            span: Span::new(start, end),
                        },
                        error.to_string(),
                    );
                }
            }
            let end = text
                .get(start..)
                .and_then(|rest| rest.find('\n'))
                .map_or(text.len(), |at| start + at);
            let at = Place {
                source,
                span: Span::new(start, end),
            };
            self.csv_line(file, source, at, &cells, &record);
        }
    }

    fn csv_line(
        &mut self,
        file: usize,
        source: SourceId,
        at: Place,
        cells: &[Cell],
        record: &csv::StringRecord,
    ) {
        let mut proto = Proto::new(CodeKind::Absent, at);
        for (cell, text) in cells.iter().zip(record) {
            if text.is_empty() {
                continue;
            }
            match cell {
                Cell::Code if text == "none" => {}
                Cell::Code => proto.kind = CodeKind::Listed(Spelling::of(text)),
                Cell::Field(column) => {
                    let literal = literal(text, at.span, column);
                    let before = self.cx.diagnostics.len();
                    if let Some(value) = self.cx.value(file, column, &literal) {
                        proto.values.push((column.field, value));
                    }
                    for diagnostic in &mut self.cx.diagnostics[before..] {
                        for label in &mut diagnostic.labels {
                            label.place = Place {
                                source,
                                span: at.span,
                            };
                        }
                    }
                }
                Cell::Clause(word) => match word.as_str() {
                    "since" => proto.window.since = Interval::parse(text).map(|i| i.from),
                    "until" => proto.window.until = Interval::parse(text).map(|i| i.to),
                    "source" => proto.provenance.source = Some(text.to_owned()),
                    "note" => proto.provenance.note = Some(text.to_owned()),
                    "reviewed" => proto.provenance.reviewed = Interval::parse(text).map(|i| i.from),
                    "standing" => {
                        proto.provenance.standing = match text {
                            "documented" => Some(Standing::Documented),
                            "observed" => Some(Standing::Observed),
                            _ => Some(Standing::Supposed),
                        }
                    }
                    "weight" => {
                        proto.weight = text.parse().ok().filter(|w| *w > 0.0).unwrap_or(1.0)
                    }
                    _ => {
                        let (family, code) = text
                            .split_once(' ')
                            .map_or((text, None), |(family, code)| (family, Some(code)));
                        let word = |text: &str| Word {
                            text: text.trim().to_owned(),
                            span: Span::default(),
                            quoted: false,
                        };
                        proto.stands = Some((file, word(family), code.map(word)));
                    }
                },
            }
        }
        proto.mark_fields();
        self.codes.push(proto);
    }
}

/// A cell as a value of its column.
fn literal(text: &str, span: Span, column: &Column) -> ValueLit {
    let as_text = ValueLit {
        kind: ValueKind::Text(text.to_owned()),
        unit: None,
        span,
    };
    if !matches!(column.kind, FieldKind::Number(_)) && column.unit.is_none() {
        let number = column.free && text.parse::<f64>().is_ok();
        return if number {
            ValueLit {
                kind: ValueKind::Number(text.to_owned()),
                unit: None,
                span,
            }
        } else {
            as_text
        };
    }
    let (number, unit) = text
        .split_once(' ')
        .map_or((text, None), |(number, unit)| (number, Some(unit.trim())));
    let unit = unit.map(|unit| Word {
        text: unit.to_owned(),
        span,
        quoted: false,
    });
    let side = |text: &str| (!text.is_empty()).then(|| text.to_owned());
    let kind = match number.split_once("..") {
        Some((from, to)) => ValueKind::Range(side(from), side(to)),
        None if number.parse::<f64>().is_ok() => ValueKind::Number(number.to_owned()),
        None => return as_text,
    };
    ValueLit { kind, unit, span }
}
