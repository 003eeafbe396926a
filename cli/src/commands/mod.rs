//! One thin function a command: load, ask the engine, present.

pub(crate) mod board;
pub(crate) mod bulk;
pub(crate) mod completions;
pub(crate) mod confirm;
pub(crate) mod confusions;
pub(crate) mod decode;
pub(crate) mod rules;

use jiff::civil::Date;

use crate::failure::Failure;

/// Threads: as given, else one for each core.
pub(crate) fn jobs(given: Option<usize>) -> usize {
    let cores = || std::thread::available_parallelism().map_or(1, usize::from);
    given.filter(|jobs| *jobs > 0).unwrap_or_else(cores)
}

/// The day of reading: as given, else `ETCHLORE_TODAY`, else the clock.
pub(crate) fn day_of_reading(given: Option<&str>) -> Result<Date, Failure> {
    let from_environment = std::env::var("ETCHLORE_TODAY")
        .ok()
        .filter(|day| !day.is_empty());
    match given.map(str::to_owned).or(from_environment) {
        None => Ok(jiff::ZonedDateTime::now().date()),
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
