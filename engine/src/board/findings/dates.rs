//! Dates against the day of reading, the build date, and each other.

use jiff::ToSpan;
use jiff::civil::Date;

use super::{Finding, FindingKind};
use crate::board::Board;
use crate::board::account::Account;
use crate::rank::Clash;
use crate::value::Interval;

/// Years before the middle of the others from which on a part is old.
const OLD: i32 = 3;

pub(super) fn findings(board: &Board, account: &Account) -> Vec<Finding> {
    let mut found = Vec::new();
    let mut dated: Vec<(usize, Interval)> = Vec::new();
    for (at, known) in account.parts.iter().enumerate() {
        let name = board.parts[at].name();
        if known.identity().is_none() {
            continue;
        }
        let dates = known.dates();
        let late = dates
            .iter()
            .find(|(_, date)| date.from > board.seen)
            .map(|(_, date)| date);
        if let Some(date) = late {
            let mended = known.lead().and_then(|lead| {
                let mut clashes = lead.disagreements.iter();
                clashes
                    .find(|one| one.kind == Clash::AfterReading)
                    .and_then(|one| one.mended_by.clone())
            });
            found.push(Finding {
                kind: FindingKind::DateAfterSeen,
                parts: vec![at],
                text: format!(
                    "{name} is dated {}, after the day of reading, {}",
                    date.show(),
                    board.seen
                ),
                why: mended.map(|how| format!("it would fit if {how}")),
            });
            continue;
        }
        if let Some((_, date)) = dates.first() {
            dated.push((at, *date));
        }
        let Some(built) = board.built else { continue };
        if let Some((_, date)) = dates.iter().find(|(_, date)| date.from > built.to) {
            found.push(Finding {
                kind: FindingKind::DateAfterBuild,
                parts: vec![at],
                text: format!(
                    "{name} is dated {}, after the board was built, {}",
                    date.show(),
                    built.show()
                ),
                why: Some("a repair, a board of a later batch, or a misread date".to_owned()),
            });
        }
    }
    found.extend(old(board, &dated));
    found.extend(lots(board, account));
    found
}

/// Parts years older than the middle of all.
fn old(board: &Board, dated: &[(usize, Interval)]) -> Vec<Finding> {
    let mut days: Vec<Date> = dated.iter().map(|(_, date)| date.to).collect();
    days.sort_unstable();
    // Of two nobody can say which is the odd one.
    if days.len() < 3 {
        return Vec::new();
    }
    let middle = days[days.len() / 2];
    let old = dated.iter().filter(|(_, date)| {
        date.to
            .checked_add(OLD.years())
            .is_ok_and(|later| later < middle)
    });
    old.map(|(at, date)| Finding {
        kind: FindingKind::DateOld,
        parts: vec![*at],
        text: format!(
            "{} is dated {}, years before the rest of the board (middle {})",
            board.parts[*at].name(),
            date.show(),
            middle
        ),
        why: Some("old stock, a part used again, or a misread date".to_owned()),
    })
    .collect()
}

/// One lot with dates that exclude each other, on specimens of one part or on parts of one family.
fn lots(board: &Board, account: &Account) -> Vec<Finding> {
    let mut seen: Vec<(crate::model::FamilyId, String, Interval, usize)> = Vec::new();
    let mut found: Vec<Finding> = Vec::new();
    for (at, known) in account.parts.iter().enumerate() {
        let Some(lead) = known.identity() else {
            continue;
        };
        let lot = |fields: &[crate::rank::FieldAnswer]| {
            let lot = fields.iter().find(|field| field.name == "lot");
            lot.map(|field| field.text.clone())
        };
        let own = known
            .own
            .iter()
            .map(|(place, one)| (*place, lot(&one.fields)));
        let all: Vec<(usize, Option<String>)> = if known.own.is_empty() {
            vec![(0, lot(&lead.fields))]
        } else {
            own.collect()
        };
        let dates = known.dates();
        for (place, lot) in all {
            let date = dates.iter().find(|(of, _)| *of == place);
            let (Some(lot), Some((_, date))) = (lot, date) else {
                continue;
            };
            let other = seen.iter().find(|(family, known, interval, _)| {
                *family == lead.family
                    && *known == lot
                    && (interval.to < date.from || date.to < interval.from)
            });
            if let Some((_, _, interval, first)) = other {
                let parts = if *first == at {
                    vec![at]
                } else {
                    vec![*first, at]
                };
                if !found.iter().any(|finding| finding.parts == parts) {
                    let names: Vec<&str> = parts.iter().map(|at| board.parts[*at].name()).collect();
                    found.push(Finding {
                        kind: FindingKind::LotTwoDates,
                        text: format!(
                            "lot {lot} on {} is dated {} and {}",
                            names.join(" and "),
                            interval.show(),
                            date.show()
                        ),
                        why: Some("one lot has one date: one of them may be misread".to_owned()),
                        parts,
                    });
                }
            }
            seen.push((lead.family, lot, *date, at));
        }
    }
    found
}
