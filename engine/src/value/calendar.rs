//! Calendar intervals and the week rules of makers.

use std::io::{Error, ErrorKind, Read, Write};

use borsh::{BorshDeserialize, BorshSerialize};
use jiff::ToSpan;
use jiff::civil::{Date, ISOWeekDate, Weekday};

/// A span of days, both ends included.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, BorshSerialize, BorshDeserialize,
)]
pub struct Interval {
    /// First day.
    #[borsh(serialize_with = "write_day", deserialize_with = "read_day")]
    pub from: Date,
    /// Last day.
    #[borsh(serialize_with = "write_day", deserialize_with = "read_day")]
    pub to: Date,
}

/// A day as year, month and day of the month.
fn write_day<W: Write>(day: &Date, writer: &mut W) -> std::io::Result<()> {
    (day.year(), day.month(), day.day()).serialize(writer)
}

fn read_day<R: Read>(reader: &mut R) -> std::io::Result<Date> {
    let (year, month, day) = <(i16, i8, i8)>::deserialize_reader(reader)?;
    Date::new(year, month, day).map_err(|error| Error::new(ErrorKind::InvalidData, error))
}

/// The same for a day that may be absent.
pub(crate) fn write_some_day<W: Write>(day: &Option<Date>, writer: &mut W) -> std::io::Result<()> {
    day.is_some().serialize(writer)?;
    day.map_or(Ok(()), |day| write_day(&day, writer))
}

pub(crate) fn read_some_day<R: Read>(reader: &mut R) -> std::io::Result<Option<Date>> {
    let some = bool::deserialize_reader(reader)?;
    some.then(|| read_day(reader)).transpose()
}

/// Which weeks a maker counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, BorshSerialize, BorshDeserialize)]
pub enum Calendar {
    /// ISO 8601: weeks from Monday, week 1 holds the first Thursday.
    Iso,
    /// A maker's own rule.
    Own(WeekRule),
}

/// A week rule that is not ISO.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, BorshSerialize, BorshDeserialize)]
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

impl DatePart {
    /// All parts with the names of their fields.
    pub const ALL: [(DatePart, &'static str); 7] = [
        (DatePart::Year, "year"),
        (DatePart::Quarter, "quarter"),
        (DatePart::Month, "month"),
        (DatePart::Fortnight, "fortnight"),
        (DatePart::Week, "week"),
        (DatePart::Third, "third"),
        (DatePart::Day, "day"),
    ];

    /// The part that a field of this name gives.
    #[must_use]
    pub fn of_field(name: &str) -> Option<DatePart> {
        DatePart::ALL
            .iter()
            .find(|(_, field)| *field == name)
            .map(|(part, _)| *part)
    }
}

/// The parts of one date, as read.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Parts {
    /// Quarter.
    pub quarter: Option<i16>,
    /// Month.
    pub month: Option<i16>,
    /// Fortnight of the year.
    pub fortnight: Option<i16>,
    /// Week of the year.
    pub week: Option<i16>,
    /// Ten days of the month.
    pub third: Option<i16>,
    /// Day of the month, or of the year.
    pub day: Option<i16>,
}

impl Parts {
    /// Sets a part other than the year; `false` if it has another value already.
    pub fn set(&mut self, part: DatePart, value: i16) -> bool {
        let place = match part {
            DatePart::Year => return true,
            DatePart::Quarter => &mut self.quarter,
            DatePart::Month => &mut self.month,
            DatePart::Fortnight => &mut self.fortnight,
            DatePart::Week => &mut self.week,
            DatePart::Third => &mut self.third,
            DatePart::Day => &mut self.day,
        };
        let same = place.is_none_or(|before| before == value);
        *place = Some(value);
        same
    }

    /// About how many such intervals a year has.
    #[must_use]
    pub fn per_year(&self) -> f64 {
        match (
            self.day,
            self.third,
            self.week,
            self.fortnight,
            self.month,
            self.quarter,
        ) {
            (Some(_), ..) => 365.25,
            (_, Some(_), ..) => 36.0,
            (_, _, Some(_), ..) => 52.18,
            (_, _, _, Some(_), ..) => 26.09,
            (_, _, _, _, Some(_), _) => 12.0,
            (_, _, _, _, _, Some(_)) => 4.0,
            _ => 1.0,
        }
    }

    /// The interval in a year; `None` where there is no such day, week or month.
    #[must_use]
    pub fn interval(&self, year: i16, calendar: Calendar) -> Option<Interval> {
        let month = |month: i16| i8::try_from(month).ok().filter(|m| (1..=12).contains(m));
        let whole = |from: Date| {
            Some(Interval {
                from,
                to: from.last_of_month(),
            })
        };
        if let Some(week) = self.week {
            let interval = calendar.week(year, week)?;
            return match self.day {
                Some(day @ 1..=7) => {
                    let day = interval
                        .from
                        .checked_add((i64::from(day) - 1).days())
                        .ok()?;
                    Some(Interval { from: day, to: day })
                }
                Some(_) => None,
                None => Some(interval),
            };
        }
        if let Some(fortnight) = self.fortnight {
            let first = calendar.week(year, fortnight.checked_mul(2)?.checked_sub(1)?)?;
            let last = calendar.week(year, fortnight * 2).unwrap_or(first);
            return Some(Interval {
                from: first.from,
                to: last.to,
            });
        }
        if let Some(m) = self.month {
            let first = Date::new(year, month(m)?, 1).ok()?;
            if let Some(day) = self.day {
                let day = Date::new(year, month(m)?, i8::try_from(day).ok()?).ok()?;
                return Some(Interval { from: day, to: day });
            }
            return match self.third {
                None => whole(first),
                Some(1) => Some(Interval {
                    from: first,
                    to: Date::new(year, month(m)?, 10).ok()?,
                }),
                Some(2) => Some(Interval {
                    from: Date::new(year, month(m)?, 11).ok()?,
                    to: Date::new(year, month(m)?, 20).ok()?,
                }),
                Some(3) => Some(Interval {
                    from: Date::new(year, month(m)?, 21).ok()?,
                    to: first.last_of_month(),
                }),
                Some(_) => None,
            };
        }
        if let Some(quarter) = self.quarter {
            let last = i8::try_from(quarter).ok().filter(|q| (1..=4).contains(q))? * 3;
            return Some(Interval {
                from: Date::new(year, last - 2, 1).ok()?,
                to: Date::new(year, last, 1).ok()?.last_of_month(),
            });
        }
        let first = Date::new(year, 1, 1).ok()?;
        if let Some(day) = self.day {
            let day = first
                .checked_add((i64::from(day) - 1).days())
                .ok()
                .filter(|d| day >= 1 && d.year() == year)?;
            return Some(Interval { from: day, to: day });
        }
        Some(Interval {
            from: first,
            to: first.last_of_year(),
        })
    }
}

impl Calendar {
    /// A week of a year, by this rule; `None` where the year has no such week.
    #[must_use]
    pub fn week(self, year: i16, week: i16) -> Option<Interval> {
        let number = i8::try_from(week).ok().filter(|w| (1..=53).contains(w))?;
        match self {
            Calendar::Iso => {
                let from = ISOWeekDate::new(year, number, Weekday::Monday).ok()?.date();
                Some(Interval {
                    from,
                    to: from.checked_add(6.days()).ok()?,
                })
            }
            Calendar::Own(rule) => {
                let anchor = Date::new(year, rule.month, rule.day).ok()?;
                let first = if rule.holds {
                    let since =
                        (anchor.weekday().to_monday_one_offset() - rule.weekday).rem_euclid(7);
                    anchor.checked_sub(i64::from(since).days()).ok()?
                } else {
                    anchor
                };
                let from = first.checked_add((i64::from(number - 1) * 7).days()).ok()?;
                let next = Date::new(year.checked_add(1)?, rule.month, rule.day).ok()?;
                (from < next).then_some(Interval {
                    from,
                    to: from.checked_add(6.days()).ok()?,
                })
            }
        }
    }
}

impl Interval {
    /// The interval of a date as written: `2008`, `2008-Q3`, `2008-04`, `2008-W14`, `2008-04-02`.
    #[must_use]
    pub fn parse(text: &str) -> Option<Interval> {
        let year: i16 = text.get(..4)?.parse().ok()?;
        let mut parts = Parts::default();
        let rest = text.get(4..)?;
        if let Some(quarter) = rest.strip_prefix("-Q") {
            parts.quarter = Some(quarter.parse().ok()?);
        } else if let Some(week) = rest.strip_prefix("-W") {
            parts.week = Some(week.parse().ok()?);
        } else if let Some(rest) = rest.strip_prefix('-') {
            let (month, day) = rest
                .split_once('-')
                .map_or((rest, None), |(month, day)| (month, Some(day)));
            parts.month = Some(month.parse().ok()?);
            parts.day = day.map(str::parse).transpose().ok()?;
        } else if !rest.is_empty() {
            return None;
        }
        parts.interval(year, Calendar::Iso)
    }

    /// A stretch of time as written: a date of [`Interval::parse`], or two with `..` between, the earlier first.
    #[must_use]
    pub fn parse_stretch(text: &str) -> Option<Interval> {
        let (from, to) = text.split_once("..").unwrap_or((text, text));
        let (from, to) = (Interval::parse(from)?, Interval::parse(to)?);
        (from.from <= to.to).then_some(Interval {
            from: from.from,
            to: to.to,
        })
    }

    /// For people: a week, month, quarter, year or day by its name, else both ends.
    #[must_use]
    pub fn show(&self) -> String {
        let (from, to) = (self.from, self.to);
        if from == to {
            return from.to_string();
        }
        let iso = |date: Date| {
            let week = date.iso_week_date();
            format!("{:04}-W{:02}", week.year(), week.week())
        };
        if from.weekday() == Weekday::Monday && to.weekday() == Weekday::Sunday {
            return if iso(from) == iso(to) {
                iso(from)
            } else {
                format!("{}..{}", iso(from), iso(to))
            };
        }
        if from.day() == 1 && to == to.last_of_month() {
            let year = from.year() == to.year();
            return match (from.month(), to.month()) {
                (1, 12) if year => format!("{:04}", from.year()),
                (a, b) if year && a == b => format!("{:04}-{a:02}", from.year()),
                (a, b) if year && b - a == 2 && b % 3 == 0 => {
                    format!("{:04}-Q{}", from.year(), b / 3)
                }
                _ => format!(
                    "{:04}-{:02}..{:04}-{:02}",
                    from.year(),
                    from.month(),
                    to.year(),
                    to.month()
                ),
            };
        }
        format!("{from}..{to}")
    }
}

#[cfg(test)]
mod tests {
    use super::{Calendar, Interval, WeekRule};

    fn days(interval: Option<Interval>) -> String {
        interval.map_or_else(String::new, |i| format!("{} {}", i.from, i.to))
    }

    #[test]
    fn weeks_are_those_of_iso_8601() {
        // ISO 8601-1: week 01 holds the first Thursday. Years with 53 weeks among these: 1976, 1981, 2020.
        for (year, week, expected) in [
            (1970, 1, "1969-12-29 1970-01-04"),
            (1976, 53, "1976-12-27 1977-01-02"),
            (1981, 53, "1981-12-28 1982-01-03"),
            (1994, 1, "1994-01-03 1994-01-09"),
            (2020, 53, "2020-12-28 2021-01-03"),
            (2021, 53, ""),
            (2021, 54, ""),
        ] {
            assert_eq!(
                days(Calendar::Iso.week(year, week)),
                expected,
                "{year} week {week}"
            );
        }
    }

    #[test]
    fn a_makers_own_week_one_can_hold_new_year() {
        // Microchip's legend: week of January 1 is week "01".
        let rule = Calendar::Own(WeekRule {
            holds: true,
            month: 1,
            day: 1,
            weekday: 1,
        });
        assert_eq!(days(rule.week(2018, 1)), "2018-01-01 2018-01-07");
        assert_eq!(days(rule.week(2021, 1)), "2020-12-28 2021-01-03");
        assert_eq!(days(rule.week(2021, 2)), "2021-01-04 2021-01-10");
    }

    #[test]
    fn intervals_are_shown_by_name() {
        for text in ["2008", "2008-Q3", "2008-04", "2008-W14", "2008-04-02"] {
            assert_eq!(
                Interval::parse(text).map(|i| i.show()).as_deref(),
                Some(text)
            );
        }
        for bad in [
            "20",
            "2008-13",
            "2008-W54",
            "2008-02-30",
            "2008-Q5",
            "2008x",
        ] {
            assert_eq!(Interval::parse(bad), None, "{bad}");
        }
    }
}
