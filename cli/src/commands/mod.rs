//! One thin function a command: load, ask the engine, present.

pub(crate) mod board;
pub(crate) mod bulk;
pub(crate) mod completions;
pub(crate) mod confirm;
pub(crate) mod confusions;
pub(crate) mod decode;
pub(crate) mod rules;

use jiff::civil::Date;
use jiff::tz::TimeZone;
use jiff::{Timestamp, ZonedDateTime};

use crate::failure::Failure;

/// Threads: as given, else one for each core.
pub(crate) fn jobs(given: Option<usize>) -> usize {
    let cores = || std::thread::available_parallelism().map_or(1, usize::from);
    given.filter(|jobs| *jobs > 0).unwrap_or_else(cores)
}

/// The day by the clock, where this machine is. The file of its zone is read as it lies there: to find it by name, all zones would be listed first, which
/// takes a fifteenth of a start.
fn today() -> Date {
    let named = std::env::var_os("TZ").is_some();
    let file = (!named)
        .then(|| std::fs::read("/etc/localtime").ok())
        .flatten();
    let zone = file.and_then(|bytes| TimeZone::tzif("local", &bytes).ok());
    let now = match zone {
        Some(zone) => Timestamp::now().to_zoned_datetime(zone),
        None => ZonedDateTime::now(),
    };
    now.date()
}

/// The day of reading: as given, else `ETCHLORE_TODAY`, else the clock.
pub(crate) fn day_of_reading(given: Option<&str>) -> Result<Date, Failure> {
    let from_environment = std::env::var("ETCHLORE_TODAY")
        .ok()
        .filter(|day| !day.is_empty());
    match given.map(str::to_owned).or(from_environment) {
        None => Ok(today()),
        Some(text) => {
            let interval = etchlore_engine::value::Interval::parse(&text);
            interval.map(|interval| interval.to).ok_or_else(|| {
                Failure::Usage(
                    format!("`{text}` is no date"),
                    "write it as 2026-11-25, 2026-11, 2026-W47 or 2026".to_owned(),
                )
            })
        }
    }
}
