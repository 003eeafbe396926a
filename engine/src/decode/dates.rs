//! Dates from the parts that slots give: which intervals, how likely.

use jiff::ToSpan;
use jiff::civil::Date;

use crate::glyph::Glyph;
use crate::model::{Code, DateRule, Family, FieldId, OpenRule, Slack, SlackUnit};
use crate::value::{DatePart, Interval, Parts, Value};

/// In how many years a part becomes half as likely to be met: parts on desks are mostly young.
const HALF_LIFE: f64 = 8.0;
/// The first year in which semiconductors bore date codes.
const FIRST_YEAR: i16 = 1965;
/// Factor on years outside the window of the family.
const OUTSIDE: f64 = 1.0 / 128.0;
/// log2 cost of a date later than the day of reading.
pub(crate) const FUTURE: f64 = -12.0;
/// Most completions of unread characters that are tried.
const MAX_COMPLETIONS: usize = 1_000;
/// Most intervals that a date is shown as; one with more is all but unread.
const MAX_INTERVALS: usize = 120;

/// The years in which a part of a family may have been made.
#[derive(Debug, Clone)]
pub(crate) struct Years {
    pub(crate) seen: Date,
    /// Year with its share.
    shares: Vec<(i16, f64)>,
    window: (Option<i16>, Option<i16>),
}

impl Years {
    /// The first and last year in which a family was made.
    pub(crate) fn window(family: &Family) -> (Option<i16>, Option<i16>) {
        (
            family.window.since.map(|d| d.year()),
            family.window.until.map(|d| d.year()),
        )
    }

    pub(crate) fn of(family: &Family, seen: Date) -> Years {
        let window = Years::window(family);
        let mut shares: Vec<(i16, f64)> = (FIRST_YEAR..=seen.year().max(FIRST_YEAR))
            .map(|year| {
                let age = f64::from(seen.year() - year);
                let inside = window.0.is_none_or(|since| year >= since)
                    && window.1.is_none_or(|until| year <= until + 1);
                (
                    year,
                    (-age / HALF_LIFE).exp2() * if inside { 1.0 } else { OUTSIDE },
                )
            })
            .collect();
        let sum: f64 = shares.iter().map(|(_, share)| share).sum();
        for (_, share) in &mut shares {
            *share /= sum;
        }
        Years {
            seen,
            shares,
            window,
        }
    }

    /// The years that a mark can mean, with their shares.
    fn fitting(&self, mark: YearMark) -> impl Iterator<Item = &(i16, f64)> {
        let first = i64::from(FIRST_YEAR);
        let (skip, step) = match mark.period {
            // A year before the first is none of them.
            0 => (usize::try_from(mark.value - first).ok(), usize::MAX),
            period => (
                usize::try_from((mark.value - first).rem_euclid(period)).ok(),
                usize::try_from(period).unwrap_or(usize::MAX),
            ),
        };
        self.shares
            .iter()
            .skip(skip.unwrap_or(usize::MAX))
            .step_by(step)
    }

    fn outside(&self, year: i16) -> bool {
        self.window.0.is_some_and(|since| year < since)
            || self.window.1.is_some_and(|until| year > until + 1)
    }
}

/// A date as read.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct DateRead {
    /// log2 of the probability of its codes.
    pub(crate) bits: f64,
    /// The intervals it can be, likeliest first, with their shares; empty where the year was not seen.
    pub(crate) intervals: Vec<(Interval, f64)>,
    /// It lies after the day of reading.
    pub(crate) future: bool,
    /// Its likeliest year lies outside the window of the family.
    pub(crate) outside: bool,
}

/// A slot of a date rule as seen: its code, and the glyphs that each place can be.
pub(crate) struct SeenPart<'a> {
    pub(crate) code: &'a Code,
    pub(crate) glyphs: Vec<Vec<Glyph>>,
}

#[derive(Clone, Copy)]
struct YearMark {
    value: i64,
    /// 0 for an absolute year.
    period: i64,
}

/// The date that slots were read as; `None` where they make no date.
pub(crate) fn read(
    rule: &DateRule,
    seen: &[SeenPart<'_>],
    part_of: &dyn Fn(FieldId) -> Option<DatePart>,
    years: &Years,
) -> Option<DateRead> {
    let mut sum = 0.0;
    let mut undated = false;
    let mut intervals: Vec<(Interval, f64, i16)> = Vec::new();
    let mut all: Vec<(Option<YearMark>, Parts)> = vec![(None, Parts::default())];
    for part in seen {
        let mut next = Vec::new();
        for values in values_of(part, part_of) {
            for (year, parts) in &all {
                let (mut year, mut parts) = (*year, *parts);
                let mut fits = true;
                for (part, mark) in &values {
                    if *part == DatePart::Year {
                        year = Some(*mark);
                    } else {
                        fits &=
                            i16::try_from(mark.value).is_ok_and(|value| parts.set(*part, value));
                    }
                }
                if fits {
                    next.push((year, parts));
                }
            }
            if next.len() > MAX_COMPLETIONS {
                break;
            }
        }
        all = next;
    }
    for (year, parts) in &all {
        let share = 1.0 / parts.per_year();
        let Some(mark) = year else {
            undated = true;
            // Without its year the finer parts still have to be possible in some year.
            if parts.interval(2020, rule.calendar).is_some()
                || parts.interval(2024, rule.calendar).is_some()
            {
                sum += share;
            }
            continue;
        };
        for (year, p) in years.fitting(*mark) {
            if let Some(interval) = parts
                .interval(*year, rule.calendar)
                .filter(|interval| interval.from <= years.seen)
            {
                sum += p * share;
                intervals.push((slackened(interval, rule.slack), p * share, *year));
            }
        }
    }
    let mut future = false;
    if sum == 0.0 {
        let from = years.seen.year();
        for (year, parts) in &all {
            let Some(mark) = year else { continue };
            let next = (from..from.saturating_add(100))
                .filter(|year| fits(*mark, *year))
                .find_map(|year| {
                    parts
                        .interval(year, rule.calendar)
                        .filter(|i| i.from > years.seen)
                        .map(|interval| (interval, year))
                });
            if let Some((interval, year)) = next {
                let p = FUTURE.exp2() / parts.per_year();
                sum += p;
                future = true;
                intervals.push((slackened(interval, rule.slack), p, year));
            }
        }
    }
    if sum <= 0.0 {
        return None;
    }
    intervals.sort_by(|a, b| b.1.total_cmp(&a.1));
    intervals.truncate(MAX_INTERVALS);
    let shown: f64 = intervals.iter().map(|(_, p, _)| p).sum();
    let outside = !undated
        && intervals
            .first()
            .is_some_and(|(_, _, year)| years.outside(*year));
    let intervals = intervals
        .into_iter()
        .map(|(interval, p, _)| (interval, p / shown))
        .collect();
    Some(DateRead {
        bits: sum.log2(),
        intervals,
        future,
        outside,
    })
}

fn fits(mark: YearMark, year: i16) -> bool {
    let year = i64::from(year);
    if mark.period == 0 {
        year == mark.value
    } else {
        (year - mark.value).rem_euclid(mark.period) == 0
    }
}

/// The parts that one slot gives, for each way to complete its glyphs.
fn values_of(
    seen: &SeenPart<'_>,
    part_of: &dyn Fn(FieldId) -> Option<DatePart>,
) -> Vec<Vec<(DatePart, YearMark)>> {
    let listed: Vec<(DatePart, YearMark)> = seen
        .code
        .fields
        .iter()
        .filter_map(|(field, value)| {
            let part = part_of(*field)?;
            let Value::Quantity(quantity) = value else {
                return None;
            };
            let value = quantity.value as i64;
            let period = match value {
                1000.. => 0,
                _ if seen.glyphs.len() > 1 || value > 9 => 100,
                _ => 10,
            };
            Some((part, YearMark { value, period }))
        })
        .collect();
    let rules: Vec<(DatePart, &OpenRule)> = seen
        .code
        .open_fields
        .iter()
        .filter_map(|(field, rule)| part_of(*field).map(|part| (part, rule)))
        .collect();
    if rules.is_empty() {
        return vec![listed];
    }
    let sure = seen.glyphs.iter().all(|place| place.len() == 1);
    let mut strings: Vec<Vec<Glyph>> = if sure {
        vec![seen.glyphs.concat()]
    } else {
        vec![Vec::new()]
    };
    for place in seen.glyphs.iter().filter(|_| !sure) {
        strings = strings
            .iter()
            .flat_map(|s| {
                place
                    .iter()
                    .map(move |g| [s.as_slice(), std::slice::from_ref(g)].concat())
            })
            .collect();
        strings.truncate(MAX_COMPLETIONS);
    }
    strings
        .iter()
        .filter_map(|glyphs| {
            let mut values = listed.clone();
            for (part, rule) in &rules {
                let Some(Value::Quantity(quantity)) = rule.value(glyphs) else {
                    return None;
                };
                let period = match rule {
                    OpenRule::OneOf { order, .. } => order.len() as i64,
                    _ if glyphs.len() >= 4 => 0,
                    _ => 10_i64.pow(glyphs.len() as u32),
                };
                values.push((
                    *part,
                    YearMark {
                        value: quantity.value as i64,
                        period,
                    },
                ));
            }
            Some(values)
        })
        .collect()
}

/// The interval widened by the slack.
fn slackened(interval: Interval, slack: Slack) -> Interval {
    let shift = |date: Date, n: i32| {
        let span = match slack.unit {
            SlackUnit::Day => i64::from(n).days(),
            SlackUnit::Week => i64::from(n).weeks(),
            SlackUnit::Month => i64::from(n).months(),
        };
        date.checked_add(span).unwrap_or(date)
    };
    Interval {
        from: shift(interval.from, slack.before),
        to: shift(interval.to, slack.after),
    }
}
