//! Calendar intervals and the week rules of makers.

use jiff::civil::Date;

/// A span of days, both ends included.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Interval {
    /// First day.
    pub from: Date,
    /// Last day.
    pub to: Date,
}

/// Which weeks a maker counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Calendar {
    /// ISO 8601: weeks from Monday, week 1 holds the first Thursday.
    Iso,
    /// A maker's own rule.
    Own(WeekRule),
}

/// A week rule that is not ISO.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct WeekRule {
    /// Week 1 *holds* this day (whole weeks), or *starts* on it.
    pub holds: bool,
    /// Month of that day.
    pub month: i8,
    /// That day.
    pub day: i8,
    /// First day of a week, Monday 1 to Sunday 7; for `starts` without a weekday none is needed.
    pub weekday: i8,
}

/// The parts of a date that a slot can give.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum DatePart {
    /// Year, of any number of digits.
    Year,
    /// Quarter 1 to 4.
    Quarter,
    /// Month 1 to 12.
    Month,
    /// Two weeks, 1 to 27.
    Fortnight,
    /// Week 1 to 53.
    Week,
    /// Ten days of a month, 1 to 3.
    Third,
    /// Day of the month, or of the year where no month is given.
    Day,
}
