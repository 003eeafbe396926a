//! Marks -> groups that share a stem, each described as one family.

use std::collections::BTreeMap;

use super::cut::{Class, Mark};
use super::fit::{Fit, bare, cost, fit};

/// The shortest stem, and the shortest of digits alone: what is shorter names nothing.
const STEM: usize = 2;
const STEM_OF_DIGITS: usize = 3;
/// Stems longer than this are not looked for.
const LONGEST: usize = 24;

/// Marks of one stem, described.
#[derive(Debug)]
pub(super) struct Group<'m> {
    /// Characters of the stem.
    pub(super) stem: usize,
    pub(super) marks: Vec<&'m Mark>,
    pub(super) fit: Fit,
}

/// A way to part marks into stems: the groups as members and length of stem, and what it costs.
struct Plan<'m> {
    cost: f64,
    groups: Vec<(usize, Vec<&'m Mark>)>,
}

/// Parts all marks; those that share too little are in no group.
pub(super) fn groups(marks: &[Mark], least: usize) -> Vec<Group<'_>> {
    let mut starts: BTreeMap<Vec<char>, Vec<&Mark>> = BTreeMap::new();
    for mark in marks.iter().filter(|mark| mark.chars.len() > STEM) {
        let start = (0..STEM).filter_map(|at| mark.char(at)).collect();
        starts.entry(start).or_default().push(mark);
    }
    let plans = starts
        .into_values()
        .map(|of_start| part(of_start, least, marks.len()));
    plans
        .flat_map(|plan| plan.groups)
        .map(|(stem, marks)| Group {
            stem,
            fit: fit(&marks, stem, least, true),
            marks,
        })
        .collect()
}

/// One family for all, or the best for each way to go on, whichever is cheaper.
fn part(marks: Vec<&Mark>, least: usize, all: usize) -> Plan<'_> {
    let bare: f64 = marks.iter().map(|mark| bare(mark)).sum();
    let nothing = Plan {
        cost: bare,
        groups: Vec::new(),
    };
    if marks.len() < least {
        return nothing;
    }
    let shared = shared(&marks);
    let mut best = nothing;
    let stem = stem(&marks, shared);
    if let Some(stem) = stem {
        let cost = cost(&marks, stem, least, all);
        if cost < best.cost {
            best = Plan {
                cost,
                groups: vec![(stem, marks.clone())],
            };
        }
    }
    if shared >= LONGEST {
        return best;
    }
    let parts = ways_on(&marks, shared);
    if parts.len() < 2 || parts.iter().all(|part| part.len() < least) {
        return best;
    }
    let mut parted = Plan {
        cost: 0.0,
        groups: Vec::new(),
    };
    for part_of in parts {
        let plan = part(part_of, least, all);
        parted.cost += plan.cost;
        parted.groups.extend(plan.groups);
    }
    if parted.cost < best.cost {
        parted
    } else {
        best
    }
}

/// Characters that all marks begin with.
fn shared(marks: &[&Mark]) -> usize {
    let Some(first) = marks.first() else { return 0 };
    let same = |at: &usize| marks.iter().all(|mark| mark.char(*at) == first.char(*at));
    (0..first.chars.len()).take_while(same).count()
}

/// Whether a place lies within a run of digits of some mark.
fn in_digits(marks: &[&Mark], at: usize) -> bool {
    let digit = |mark: &&Mark, at| mark.class(at) == Some(Class::Digits);
    at > 0
        && marks
            .iter()
            .any(|mark| digit(mark, at - 1) && digit(mark, at))
}

/// The first character of the run of digits before a place.
fn run_start(mark: &Mark, at: usize) -> usize {
    (0..at)
        .rev()
        .take_while(|at| mark.class(*at) == Some(Class::Digits))
        .last()
        .unwrap_or(at)
}

/// The stem that shared characters make: it does not end within a number, nor at a boundary, nor take all of a mark.
fn stem(marks: &[&Mark], shared: usize) -> Option<usize> {
    let first = marks.first()?;
    let shortest = marks.iter().map(|mark| mark.chars.len()).min()?;
    let mut stem = shared.min(shortest.saturating_sub(1));
    if in_digits(marks, stem) {
        let start = run_start(first, stem);
        // Numbers alone: all that is shared, for want of anything better.
        if start > 0 || stem < STEM_OF_DIGITS {
            stem = start;
        }
    }
    while stem > 0 && first.class(stem - 1).is_some_and(Class::is_gap) {
        stem -= 1;
    }
    let plain = first.chars[..stem]
        .iter()
        .all(|(_, class)| class.has_codes());
    let letters = first.chars[..stem]
        .iter()
        .any(|(_, class)| *class == Class::Letters);
    let long = if letters { STEM } else { STEM_OF_DIGITS };
    (plain && stem >= long).then_some(stem)
}

/// The marks by how they go on behind what they share: by the next character, by the whole number where one is cut.
fn ways_on<'m>(marks: &[&'m Mark], shared: usize) -> Vec<Vec<&'m Mark>> {
    let cut = in_digits(marks, shared);
    let from = match marks.first() {
        Some(first) if cut => run_start(first, shared),
        _ => shared,
    };
    let mut ways: BTreeMap<String, Vec<&Mark>> = BTreeMap::new();
    for mark in marks {
        let digits = mark.digits(from);
        let way = if cut || !digits.is_empty() {
            digits
        } else {
            mark.char(from).map(String::from).unwrap_or_default()
        };
        ways.entry(way).or_default().push(mark);
    }
    ways.into_values().collect()
}
