//! Derived fields: expressions over fields, their dimensions checked.

use super::codes::CondAt;
use super::cx::Column;
use super::family::{Draft, Line};
use super::vocabulary::FieldKind;
use crate::diagnostic::Diagnostic;
use crate::model::Expr;
use crate::syntax::ast::{Clause, ClauseKind, ExprLit, Word};
use crate::value::{Base, Value};
use std::sync::Arc;

impl Draft<'_, '_> {
    pub(super) fn derived(&mut self, line: &Line, name: &Word, expr: &ExprLit, clauses: &[Clause]) {
        let column = self.cx.column(line.file, name, None);
        let place = self.cx.place(line.file, name.span);
        let Some((expr, kind)) = self.expr(line.file, expr, &column) else {
            return;
        };
        let known = self.cx.fields[column.field.index()].base;
        match (kind, column.kind) {
            (ExprKind::Number(dims), FieldKind::Number(base)) if dims != dims_of(base) => {
                let title = format!(
                    "`{}` is {}, but this comes out as {}",
                    name.text,
                    base.dimension(),
                    show_dims(&dims)
                );
                let at = self.cx.place(line.file, name.span);
                self.cx.note(
                    Diagnostic::new("unit-mismatch", at, title)
                        .help("mend the expression or the field"),
                );
                return;
            }
            (ExprKind::Number(dims), FieldKind::Text) if column.free && known.is_none() => {
                self.cx.fields[column.field.index()].base = base_of(&dims);
            }
            (ExprKind::Number(_), FieldKind::Text) if !column.free => {
                self.cx.note(
                    Diagnostic::new("unit-mismatch", place, format!("`{}` is a text", name.text))
                        .help("write a text in quotes"),
                );
                return;
            }
            _ => {}
        }
        let clauses = self.clauses_of(line, clauses);
        let mut guards = line.guards.clone();
        guards.extend(clauses.iter().filter_map(|clause| match &clause.kind {
            ClauseKind::When(cond) => Some(CondAt {
                file: line.file,
                cond: Arc::new(cond.clone()),
                negated: false,
            }),
            _ => None,
        }));
        self.derived.push((column.field, expr, guards, place));
    }

    fn expr(&mut self, file: usize, expr: &ExprLit, column: &Column) -> Option<(Expr, ExprKind)> {
        Some(match expr {
            ExprLit::Name(word) => {
                let Some(field) = self.cx.field_ids.get(&word.text).copied() else {
                    let names: Vec<String> = self
                        .cx
                        .fields
                        .iter()
                        .map(|field| field.name.clone())
                        .collect();
                    self.cx
                        .unknown(file, word, "field", names.iter().map(String::as_str));
                    return None;
                };
                let kind = match self.cx.fields[field.index()].base {
                    Some(base) => ExprKind::Number(dims_of(base)),
                    None => ExprKind::Other,
                };
                (Expr::Field(field), kind)
            }
            ExprLit::Value(value) => {
                let kind = match &value.kind {
                    crate::syntax::ast::ValueKind::Text(text) => {
                        return Some((Expr::Const(Value::Text(text.clone())), ExprKind::Other));
                    }
                    _ => {
                        let unit = value
                            .unit
                            .as_ref()
                            .and_then(|unit| crate::value::Unit::of(&unit.text));
                        FieldKind::Number(unit.map_or(Base::Count, |unit| unit.base))
                    }
                };
                let own = Column {
                    kind,
                    unit: None,
                    free: false,
                    field: column.field,
                };
                let value = self.cx.value(file, &own, value)?;
                let base = match &value {
                    Value::Quantity(quantity) => Some(quantity.base),
                    Value::Range { base, .. } => Some(*base),
                    _ => None,
                };
                (
                    Expr::Const(value),
                    base.map_or(ExprKind::Other, |base| ExprKind::Number(dims_of(base))),
                )
            }
            ExprLit::Op(op, left, right, span) => {
                let (left, a) = self.expr(file, left, column)?;
                let (right, b) = self.expr(file, right, column)?;
                let place = self.cx.place(file, *span);
                let (ExprKind::Number(a), ExprKind::Number(b)) = (a, b) else {
                    self.cx.note(
                        Diagnostic::new(
                            "unit-mismatch",
                            place,
                            "only numbers can be reckoned with",
                        )
                        .help("use fields that have a unit or are counts"),
                    );
                    return None;
                };
                let (left, right) = (Box::new(left), Box::new(right));
                match op {
                    '+' | '-' if a != b => {
                        let title =
                            format!("{} and {} cannot be added", show_dims(&a), show_dims(&b));
                        self.cx.note(
                            Diagnostic::new("unit-mismatch", place, title)
                                .help("both sides need the same dimension"),
                        );
                        return None;
                    }
                    '+' => (Expr::Add(left, right), ExprKind::Number(a)),
                    '-' => (Expr::Sub(left, right), ExprKind::Number(a)),
                    '*' => (Expr::Mul(left, right), ExprKind::Number(joined(&a, &b, 1))),
                    _ => (Expr::Div(left, right), ExprKind::Number(joined(&a, &b, -1))),
                }
            }
            ExprLit::Power(base, exponent) => {
                let (inner, kind) = self.expr(file, base, column)?;
                let n: i32 = exponent
                    .text
                    .parse()
                    .ok()
                    .filter(|n: &i32| n.abs() <= 16)
                    .unwrap_or(1);
                let ExprKind::Number(dims) = kind else {
                    return None;
                };
                let dims = dims
                    .into_iter()
                    .map(|(base, power)| (base, power * n))
                    .collect();
                (Expr::Power(Box::new(inner), n), ExprKind::Number(dims))
            }
        })
    }
}

/// What an expression comes out as.
enum ExprKind {
    /// A number, by powers of base units.
    Number(Vec<(Base, i32)>),
    /// A text or date.
    Other,
}

fn dims_of(base: Base) -> Vec<(Base, i32)> {
    match base {
        Base::Count => Vec::new(),
        Base::Byte => vec![(Base::Bit, 1)],
        base => vec![(base, 1)],
    }
}

fn base_of(dims: &[(Base, i32)]) -> Option<Base> {
    match dims {
        [] => Some(Base::Count),
        [(base, 1)] => Some(*base),
        _ => None,
    }
}

fn joined(a: &[(Base, i32)], b: &[(Base, i32)], sign: i32) -> Vec<(Base, i32)> {
    let mut all = a.to_vec();
    for (base, power) in b {
        match all.iter_mut().find(|(known, _)| known == base) {
            Some((_, known)) => *known += sign * power,
            None => all.push((*base, sign * power)),
        }
    }
    all.retain(|(_, power)| *power != 0);
    all.sort_unstable();
    all
}

fn show_dims(dims: &[(Base, i32)]) -> String {
    match base_of(dims) {
        Some(base) => base.dimension().to_owned(),
        None => dims
            .iter()
            .map(|(base, power)| format!("{}^{power}", base.symbol()))
            .collect::<Vec<_>>()
            .join(" "),
    }
}
