//! Quantities with a dimension, ranges, and calendar intervals: what a code means.
//!
//! Imports nothing of ours.

mod calendar;
mod quantity;

pub use calendar::{Calendar, DatePart, Interval, WeekRule};
pub use quantity::{Base, Comparison, Quantity, Unit};

/// A value that a field can have.
#[derive(Debug, Clone, PartialEq)]
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
