//! How likely codes are: slots in drawing order, classes of codes that conditions cannot tell apart, and what the weights are
//! divided by.

use rustc_hash::FxHashMap;

use super::cond::{CondProgram, drawing_order};
use crate::model::{Family, Slot, Strip};

/// Share of a slot that the codes together have which its table does not list.
pub(crate) const UNLISTED_SHARE: f64 = 0.02;

/// A code, weighed.
#[derive(Debug, Clone)]
pub(crate) struct CodeWeight {
    /// Weight in its slot.
    pub(crate) weight: f64,
    /// log2 of its share of the slot, were there no conditions.
    pub(crate) alone: f64,
    /// log2 of the most that it can have, whatever the conditions say; see [`ceilings`].
    pub(crate) ceiling: f64,
    /// Guard, by index in the family.
    pub(crate) guard: Option<u32>,
    pub(crate) unlisted: bool,
}

/// Codes of one slot that no condition tells apart.
#[derive(Debug, Clone)]
pub(crate) struct CodeClass {
    pub(crate) codes: Vec<u32>,
    pub(crate) guard: Option<u32>,
    pub(crate) weight: f64,
}

/// A slot, weighed.
#[derive(Debug, Clone)]
pub(crate) struct SlotWeights {
    pub(crate) codes: Vec<CodeWeight>,
    pub(crate) classes: Vec<CodeClass>,
    /// Class of each code.
    pub(crate) class_of: Vec<u32>,
    /// It is part of a date, whose calendar says how likely its codes are.
    pub(crate) dated: bool,
}

/// Slots drawn together.
#[derive(Debug, Clone)]
pub(crate) struct Group {
    pub(crate) slots: Vec<usize>,
    /// `never`s over slots of this group, by index in the family.
    pub(crate) nevers: Vec<usize>,
    /// The guards of its codes, sorted: their truth decides the divisor.
    pub(crate) guards: Vec<u32>,
    /// The date rule that its slots make, if they do.
    pub(crate) date: Option<usize>,
    /// The slot, where it is drawn by itself: alone, neither a date nor in a `never`.
    pub(crate) single: Option<usize>,
    /// The slots that its guards ask for.
    pub(crate) asks: Vec<usize>,
}

pub(crate) fn weigh(slot: &Slot, guards: &[Option<u32>]) -> Vec<CodeWeight> {
    let listed_under = |guard: Option<u32>| -> f64 {
        slot.codes
            .iter()
            .zip(guards)
            .filter(|(code, g)| !code.unlisted && (g.is_none() || **g == guard))
            .map(|(code, _)| code.weight)
            .sum()
    };
    let mut codes: Vec<CodeWeight> = slot
        .codes
        .iter()
        .zip(guards)
        .map(|(code, guard)| {
            let weight = if code.unlisted {
                let listed = listed_under(*guard);
                if listed > 0.0 {
                    listed * UNLISTED_SHARE / (1.0 - UNLISTED_SHARE)
                } else {
                    1.0
                }
            } else {
                code.weight
            };
            CodeWeight {
                weight,
                alone: 0.0,
                ceiling: 0.0,
                guard: *guard,
                unlisted: code.unlisted,
            }
        })
        .collect();
    let all: f64 = codes.iter().map(|code| code.weight).sum();
    for code in &mut codes {
        code.alone = (code.weight / all).log2();
    }
    codes
}

/// Whether a strip takes any text: then its glyphs are as likely as under no rule, and say nothing.
pub(crate) fn is_free(strip: &Strip) -> bool {
    strip.places.iter().all(|place| place.set.rest)
}

/// Groups the codes of a slot by guard and by the conditions' answers.
pub(crate) fn classes(
    slot: usize,
    codes: &[CodeWeight],
    conds: &[CondProgram],
) -> (Vec<CodeClass>, Vec<u32>) {
    let sets: Vec<_> = conds
        .iter()
        .flat_map(|cond| &cond.terms)
        .flat_map(|term| &term.any)
        .filter(|(s, _)| *s == slot)
        .map(|(_, set)| set)
        .collect();
    if sets.is_empty() && codes.iter().all(|code| code.guard.is_none()) && !codes.is_empty() {
        let one = CodeClass {
            codes: (0..codes.len() as u32).collect(),
            guard: None,
            weight: codes.iter().map(|code| code.weight).sum(),
        };
        return (vec![one], vec![0; codes.len()]);
    }
    // By code, the sets that it is in: most are in none, or few.
    let mut within: Vec<Vec<u32>> = vec![Vec::new(); codes.len()];
    for (number, set) in (0..).zip(sets) {
        for code in set.codes() {
            if let Some(within) = within.get_mut(code) {
                within.push(number);
            }
        }
    }
    let mut by_signature: FxHashMap<(Option<u32>, Vec<u32>), u32> = FxHashMap::default();
    let mut classes: Vec<CodeClass> = Vec::new();
    let mut class_of = Vec::with_capacity(codes.len());
    for ((index, code), within) in codes.iter().enumerate().zip(within) {
        let signature = (code.guard, within);
        let next = classes.len() as u32;
        let class = *by_signature.entry(signature).or_insert(next);
        if class == next {
            classes.push(CodeClass {
                codes: Vec::new(),
                guard: code.guard,
                weight: 0.0,
            });
        }
        let entry = &mut classes[class as usize];
        entry.codes.push(index as u32);
        entry.weight += code.weight;
        class_of.push(class);
    }
    (classes, class_of)
}

/// Sets for each code the most that it can have: its share among the codes without a guard, if it is drawn by itself.
pub(crate) fn ceilings(slots: &mut [SlotWeights], groups: &[Group]) {
    for group in groups {
        let &[slot] = group.slots.as_slice() else {
            continue;
        };
        if !group.nevers.is_empty() || group.date.is_some() {
            continue;
        }
        let weights = &mut slots[slot];
        let free: f64 = weights
            .codes
            .iter()
            .filter(|code| code.guard.is_none())
            .map(|code| code.weight)
            .sum();
        for code in &mut weights.codes {
            let all = if code.guard.is_none() {
                free
            } else {
                free + code.weight
            };
            code.ceiling = (code.weight / all).log2().min(0.0);
        }
    }
}

/// The groups of a family in drawing order.
pub(crate) fn groups(
    family: &Family,
    slots: &[SlotWeights],
    conds: &[CondProgram],
    nevers: &[u32],
) -> Vec<Group> {
    let mut needs: Vec<Vec<usize>> = vec![Vec::new(); slots.len()];
    for (slot, weights) in slots.iter().enumerate() {
        for guard in weights.classes.iter().filter_map(|class| class.guard) {
            needs[slot].extend(conds[guard as usize].slots());
        }
    }
    let mut together = |slots: Vec<usize>| {
        for pair in slots.windows(2) {
            needs[pair[0]].push(pair[1]);
            needs[pair[1]].push(pair[0]);
        }
    };
    for never in nevers {
        together(conds[*never as usize].slots().collect());
    }
    for date in &family.dates {
        together(date.slots.iter().map(|slot| slot.index()).collect());
    }
    for needs in &mut needs {
        needs.sort_unstable();
        needs.dedup();
    }
    drawing_order(&needs)
        .into_iter()
        .map(|slots_here| {
            let mut guards: Vec<u32> = slots_here
                .iter()
                .flat_map(|slot| slots[*slot].classes.iter().filter_map(|class| class.guard))
                .collect();
            guards.sort_unstable();
            guards.dedup();
            let nevers: Vec<usize> = (0..nevers.len())
                .filter(|n| {
                    conds[nevers[*n] as usize]
                        .slots()
                        .any(|slot| slots_here.contains(&slot))
                })
                .collect();
            let date = family.dates.iter().position(|date| {
                date.slots
                    .iter()
                    .any(|slot| slots_here.contains(&slot.index()))
            });
            let mut asks: Vec<usize> = guards
                .iter()
                .flat_map(|guard| conds[*guard as usize].slots())
                .collect();
            asks.sort_unstable();
            asks.dedup();
            let single = match slots_here.as_slice() {
                [slot] if nevers.is_empty() && date.is_none() => Some(*slot),
                _ => None,
            };
            Group {
                slots: slots_here,
                nevers,
                guards,
                date,
                single,
                asks,
            }
        })
        .collect()
}
