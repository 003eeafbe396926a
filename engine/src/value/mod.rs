//! Quantities with a dimension, ranges, and calendar intervals: what a code means.
//!
//! Imports nothing of ours.

mod calendar;
mod quantity;

use borsh::{BorshDeserialize, BorshSerialize};
pub use calendar::{Calendar, DatePart, Interval, Parts, WeekRule};
pub(crate) use calendar::{read_some_day, write_some_day};
pub use quantity::{Base, Comparison, Quantity, Unit, same, show, show_range};

/// A value that a field can have.
#[derive(Debug, Clone, PartialEq, BorshSerialize, BorshDeserialize)]
pub enum Value {
    /// Free text: a package name, a grade.
    Text(String),
    /// One number in its base unit.
    Quantity(Quantity),
    /// A range in one base unit; an end that is absent is open.
    Range {
        /// Lower end, included.
        min: Option<f64>,
        /// Upper end, included.
        max: Option<f64>,
        /// Base unit of both ends.
        base: Base,
    },
    /// A calendar interval, both days included.
    Dates(Interval),
}

impl Value {
    /// A decimal number in a unit, without one a plain count.
    pub(crate) fn number(decimal: &str, unit: Option<Unit>) -> Option<Value> {
        let unit = unit.unwrap_or_else(|| Unit::base(Base::Count));
        Some(Value::Quantity(Quantity {
            value: unit.scale(decimal)?,
            base: unit.base,
        }))
    }

    /// The value in the base unit of its field.
    #[must_use]
    pub(crate) fn in_base(self, base: Option<Base>) -> Value {
        match (self, base) {
            (Value::Quantity(quantity), Some(base)) => match quantity.base.factor(base) {
                Some(factor) => Value::Quantity(Quantity {
                    value: quantity.value * factor,
                    base,
                }),
                // A product of units: the check has made sure that it comes out in the field's.
                None => Value::Quantity(Quantity {
                    value: quantity.value,
                    base,
                }),
            },
            (value, _) => value,
        }
    }

    /// A plain count.
    #[must_use]
    pub fn count(value: f64) -> Value {
        Value::Quantity(Quantity {
            value,
            base: Base::Count,
        })
    }

    /// For people.
    #[must_use]
    pub fn show(&self) -> String {
        match self {
            Value::Text(text) => text.clone(),
            Value::Quantity(quantity) => show(quantity.value, quantity.base),
            Value::Range { min, max, base } => show_range(*min, *max, *base),
            Value::Dates(interval) => interval.show(),
        }
    }

    /// Whether two values are the same but for rounding.
    #[must_use]
    pub fn agrees(&self, other: &Value) -> bool {
        let end = |a: &Option<f64>, b: &Option<f64>| match (a, b) {
            (Some(a), Some(b)) => same(*a, *b),
            (None, None) => true,
            _ => false,
        };
        match (self, other) {
            (Value::Quantity(a), Value::Quantity(b)) => a
                .base
                .factor(b.base)
                .is_some_and(|factor| same(a.value * factor, b.value)),
            (
                Value::Range {
                    min: a,
                    max: b,
                    base,
                },
                Value::Range {
                    min: c,
                    max: d,
                    base: other,
                },
            ) => base == other && end(a, c) && end(b, d),
            _ => self == other,
        }
    }

    /// Whether a comparison holds; for ranges `=` only. `None` where the two cannot be compared.
    #[must_use]
    pub fn compare(&self, comparison: Comparison, other: &Value) -> Option<bool> {
        match (self, other) {
            (Value::Quantity(a), Value::Quantity(b)) => {
                let a = a.value * a.base.factor(b.base)?;
                let equal = same(a, b.value);
                Some(match comparison {
                    Comparison::Less => a < b.value && !equal,
                    Comparison::AtMost => a < b.value || equal,
                    Comparison::Equal => equal,
                    Comparison::AtLeast => a > b.value || equal,
                    Comparison::Greater => a > b.value && !equal,
                })
            }
            _ if comparison == Comparison::Equal => Some(self.agrees(other)),
            _ => None,
        }
    }
}
