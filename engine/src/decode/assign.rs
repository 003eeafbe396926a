//! From codes seen to P(codes): slots in drawing order, what was not seen summed over, guards and `never` kept.

use rustc_hash::FxHashMap;
use smallvec::{SmallVec, smallvec};

use super::dates::DateRead;
use super::walk::Choice;
use crate::compile::{FamilyProgram, Group, RowProgram};
use crate::model::{Family, FormKind};

/// log2 cost of a combination that the rule says is not made.
pub(crate) const NEVER: f64 = -10.0;
/// log2 cost of a form of another kind than the reading is said to be of.
pub(crate) const OTHER_FORM: f64 = -6.0;
/// log2 cost of two places of one slot that disagree.
pub(crate) const CONFLICT: f64 = -10.0;
/// Most branches over slots that were not seen.
const MAX_BRANCHES: usize = 4_000;

/// What is known of one slot.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Known {
    /// Nothing: not printed, and nothing asks for it.
    Open,
    /// Not printed, but one of the codes of this class.
    Class(u32),
    /// Seen as this code.
    Seen(u32),
}

/// One way the codes can be, given what was seen.
#[derive(Debug, Clone)]
pub(crate) struct Branch {
    pub(crate) known: SmallVec<[Known; 16]>,
    /// log2 P(code) by slot, where it was seen or asked for; groups of several slots put theirs on the first seen.
    pub(crate) bits: SmallVec<[f64; 16]>,
    /// log2 P(form | codes).
    pub(crate) form: f64,
    /// The `never`s that it breaks.
    pub(crate) broken: Vec<usize>,
    /// Dates read, by rule.
    pub(crate) dates: Vec<(usize, DateRead)>,
    /// log2 cost of the breaches.
    pub(crate) breach: f64,
}

impl Branch {
    pub(crate) fn total(&self) -> f64 {
        self.bits.iter().sum::<f64>() + self.form + self.breach
    }
}

/// Divisors already worked out, by family, group and the classes of the slots outside that its guards ask for.
pub(crate) type Divisors = FxHashMap<(u32, u32, Vec<u32>), f64>;

/// Draws the codes of one row.
pub(crate) struct Draw<'a> {
    pub(crate) family: &'a FamilyProgram,
    pub(crate) model: &'a Family,
    pub(crate) row: &'a RowProgram,
    pub(crate) form: Option<FormKind>,
    /// First choice of each slot.
    pub(crate) seen: &'a [Option<&'a Choice>],
    /// Conditions of all choices.
    pub(crate) conds: &'a [(u32, bool)],
    pub(crate) divisors: &'a mut Divisors,
    /// Gives the date that a rule's slots were read as.
    pub(crate) date: &'a dyn Fn(usize) -> Option<DateRead>,
}

struct State {
    code: SmallVec<[Option<usize>; 24]>,
    known: SmallVec<[Known; 16]>,
    bits: SmallVec<[f64; 16]>,
    breach: f64,
    broken: Vec<usize>,
    dates: Vec<(usize, DateRead)>,
    unlisted: u32,
}

impl Draw<'_> {
    /// All branches.
    pub(crate) fn branches(&mut self) -> Vec<Branch> {
        if self.family.plain {
            return self.plain().into_iter().collect();
        }
        let slots = self.family.slots.len();
        let needed = self.needed();
        let mut state = State {
            code: self
                .seen
                .iter()
                .map(|choice| choice.and_then(|c| c.code).map(|c| c as usize))
                .collect(),
            known: smallvec![Known::Open; slots],
            bits: smallvec![0.0; slots],
            breach: 0.0,
            broken: Vec::new(),
            dates: Vec::new(),
            unlisted: 0,
        };
        for (slot, code) in state.code.iter().enumerate() {
            if let Some(code) = code {
                state.known[slot] = Known::Seen(*code as u32);
                state.unlisted += u32::from(self.family.slots[slot].codes[*code].unlisted);
            }
        }
        // A part whose codes are new in two places at once is rather another part.
        let mut branches = Vec::new();
        if state.unlisted <= 1 {
            self.group(0, &needed, &mut state, &mut branches);
        }
        branches
    }

    /// The one branch of a family without conditions: what was not seen says nothing of what was.
    fn plain(&self) -> Option<Branch> {
        let family = self.family;
        let mut branch = Branch {
            known: smallvec![Known::Open; family.slots.len()],
            bits: smallvec![0.0; family.slots.len()],
            form: self.row.of_kind + self.kind_bits(),
            broken: Vec::new(),
            dates: Vec::new(),
            breach: 0.0,
        };
        let mut unlisted = 0;
        for (slot, choice) in self.seen.iter().enumerate() {
            let Some((code, choice)) = choice.and_then(|choice| Some((choice.code?, choice)))
            else {
                continue;
            };
            let weight = &family.slots[slot].codes[code as usize];
            branch.known[slot] = Known::Seen(code);
            branch.bits[slot] = weight.alone + choice.share;
            unlisted += u32::from(weight.unlisted);
        }
        if unlisted > 1 {
            return None;
        }
        for rule in family.groups.iter().filter_map(|group| group.date) {
            let mut first = None;
            for slot in &self.model.dates[rule].slots {
                let slot = slot.index();
                if matches!(branch.known[slot], Known::Seen(_)) {
                    first = first.or(Some(slot));
                    branch.bits[slot] = 0.0;
                }
            }
            if let Some(first) = first {
                let read = (self.date)(rule)?;
                branch.bits[first] = read.bits;
                branch.dates.push((rule, read));
            }
        }
        Some(branch)
    }

    /// log2 of what the kind of the form costs.
    fn kind_bits(&self) -> f64 {
        match self.form {
            None if self.family.kinds.len() == 1 => 0.0,
            None => -(self.family.kinds.len() as f64).log2(),
            Some(form) if form == self.row.kind || self.row.kind == FormKind::Mark => 0.0,
            Some(_) => OTHER_FORM,
        }
    }

    /// The slots that must be settled: what the forms, the choices and, from there, the guards ask for.
    fn needed(&self) -> SmallVec<[bool; 24]> {
        let family = self.family;
        let mut needed: SmallVec<[bool; 24]> = self
            .seen
            .iter()
            .map(|choice| choice.is_some_and(|c| c.code.is_some()))
            .collect();
        for slot in &self.row.asks {
            needed[*slot] = true;
        }
        for (cond, _) in self.conds {
            for slot in family.conds[*cond as usize].slots() {
                needed[slot] = true;
            }
        }
        for group in family.groups.iter().rev() {
            if !group.slots.iter().any(|slot| needed[*slot]) {
                continue;
            }
            for slot in &group.asks {
                needed[*slot] = true;
            }
            if group.single.is_some() {
                continue;
            }
            let date_only = |slot: &usize| {
                group.date.is_some_and(|date| {
                    self.model.dates[date]
                        .slots
                        .iter()
                        .any(|s| s.index() == *slot)
                })
            };
            let together = !group.nevers.is_empty() || group.slots.len() > 1;
            for slot in &group.slots {
                if together && !date_only(slot) {
                    needed[*slot] = true;
                }
            }
        }
        needed
    }

    fn holds(&self, cond: u32, state: &State) -> bool {
        self.family.conds[cond as usize].holds(&|slot| state.code[slot])
    }

    fn group(&mut self, at: usize, needed: &[bool], state: &mut State, branches: &mut Vec<Branch>) {
        if branches.len() >= MAX_BRANCHES {
            return;
        }
        let mut at = at;
        let group = loop {
            let Some(group) = self.family.groups.get(at) else {
                self.finish(state, branches);
                return;
            };
            match group.single {
                Some(slot) if !needed[slot] => {}
                // No other group touches the bits of its slot.
                Some(slot) if self.seen[slot].is_some_and(|choice| choice.code.is_some()) => {
                    match self.single(group, slot, state) {
                        Some(bits) => state.bits[slot] = bits,
                        None => return,
                    }
                }
                _ => break group,
            }
            at += 1;
        };
        let mut date = None;
        if let Some(rule) = group.date {
            let rule_slots = &self.model.dates[rule].slots;
            if rule_slots
                .iter()
                .any(|slot| state.code[slot.index()].is_some())
            {
                let Some(read) = (self.date)(rule) else {
                    return;
                };
                date = Some((rule, read));
            }
        }
        let in_date = |slot: usize| {
            group.date.is_some_and(|rule| {
                self.model.dates[rule]
                    .slots
                    .iter()
                    .any(|s| s.index() == slot)
            })
        };
        let open: SmallVec<[usize; 8]> = group
            .slots
            .iter()
            .copied()
            .filter(|slot| needed[*slot] && state.code[*slot].is_none() && !in_date(*slot))
            .collect();
        let weighed: SmallVec<[usize; 8]> = group
            .slots
            .iter()
            .copied()
            .filter(|slot| (state.code[*slot].is_some() || needed[*slot]) && !in_date(*slot))
            .collect();
        let dates_before = state.dates.len();
        if let Some((rule, read)) = date {
            // Guards of the codes of a date still count.
            let first = self.model.dates[rule]
                .slots
                .iter()
                .map(|s| s.index())
                .find(|s| state.code[*s].is_some());
            let allowed = self.model.dates[rule]
                .slots
                .iter()
                .map(|s| s.index())
                .all(|slot| {
                    state.code[slot].is_none_or(|code| {
                        self.family.slots[slot].codes[code]
                            .guard
                            .is_none_or(|g| self.holds(g, state))
                    })
                });
            if !allowed {
                return;
            }
            if let Some(first) = first {
                state.bits[first] += read.bits;
            }
            state.dates.push((rule, read));
        }
        if weighed.is_empty() {
            self.group(at + 1, needed, state, branches);
        } else {
            self.combine(at, &open, &weighed, 0, needed, state, branches);
        }
        if state.dates.len() > dates_before
            && let Some((rule, read)) = state.dates.pop()
        {
            let first = self.model.dates[rule]
                .slots
                .iter()
                .map(|s| s.index())
                .find(|s| state.code[*s].is_some());
            if let Some(first) = first {
                state.bits[first] -= read.bits;
            }
        }
    }

    /// log2 P(code) of a slot that was seen and is drawn by itself; `None` where its guard forbids the code.
    fn single(&self, group: &Group, slot: usize, state: &State) -> Option<f64> {
        let (choice, code) = (self.seen[slot]?, state.code[slot]?);
        let weights = &self.family.slots[slot];
        if group.guards.is_empty() {
            return Some(weights.codes[code].alone + choice.share);
        }
        let of_code = &weights.codes[code];
        if of_code.guard.is_some_and(|guard| !self.holds(guard, state)) {
            return None;
        }
        let all = self.classes_sum(slot, state);
        (all > 0.0).then(|| (of_code.weight / all).log2() + choice.share)
    }

    /// The sum over the codes of a slot that the guards allow.
    fn classes_sum(&self, slot: usize, state: &State) -> f64 {
        let classes = self.family.slots[slot].classes.iter();
        classes
            .filter(|class| {
                class
                    .guard
                    .is_none_or(|guard| self.holds_with(guard, state, slot, class.codes[0]))
            })
            .map(|class| class.weight)
            .sum()
    }

    /// Runs over the classes of the open slots of a group, then weighs it.
    #[allow(clippy::too_many_arguments)]
    fn combine(
        &mut self,
        at: usize,
        open: &[usize],
        weighed: &[usize],
        next: usize,
        needed: &[bool],
        state: &mut State,
        branches: &mut Vec<Branch>,
    ) {
        if let Some(slot) = open.get(next) {
            let family = self.family;
            for (index, class) in (0_u32..).zip(&family.slots[*slot].classes) {
                state.code[*slot] = class.codes.first().map(|code| *code as usize);
                state.known[*slot] = Known::Class(index);
                self.combine(at, open, weighed, next + 1, needed, state, branches);
            }
            state.code[*slot] = None;
            state.known[*slot] = Known::Open;
            return;
        }
        let family = self.family;
        let group = &family.groups[at];
        let mut weights: SmallVec<[(usize, f64); 8]> = SmallVec::new();
        for slot in weighed {
            let weights_of = &family.slots[*slot];
            let (weight, each, guard) = match (&state.known[*slot], state.code[*slot]) {
                (Known::Class(class), _) => {
                    let class = &weights_of.classes[*class as usize];
                    (class.weight, 0.0, class.guard)
                }
                (_, Some(code)) => {
                    let code = &weights_of.codes[code];
                    (
                        code.weight,
                        self.seen[*slot].map_or(0.0, |choice| choice.share),
                        code.guard,
                    )
                }
                _ => continue,
            };
            if guard.is_some_and(|guard| !self.holds(guard, state)) {
                return;
            }
            weights.push((*slot, weight.log2() + each));
        }
        let mut factor = 0.0;
        let mut broken = Vec::new();
        for never in &group.nevers {
            if self.holds(family.nevers[*never], state) {
                match self.model.nevers[*never].seldom {
                    Some(weight) => factor += weight.log2(),
                    None => broken.push(*never),
                }
            }
        }
        let divisor = self.divisor(at, weighed, state);
        if divisor <= 0.0 {
            return;
        }
        let first = weights
            .iter()
            .find(|(slot, _)| matches!(state.known[*slot], Known::Seen(_)))
            .or(weights.first())
            .map(|w| w.0);
        for (slot, bits) in &weights {
            state.bits[*slot] += bits;
        }
        let shared = factor - divisor.log2();
        if let Some(first) = first {
            state.bits[first] += shared;
        }
        let breach = NEVER * broken.len() as f64;
        state.breach += breach;
        let before = state.broken.len();
        state.broken.extend(&broken);
        self.group(at + 1, needed, state, branches);
        state.broken.truncate(before);
        state.breach -= breach;
        if let Some(first) = first {
            state.bits[first] -= shared;
        }
        for (slot, bits) in &weights {
            state.bits[*slot] -= bits;
        }
    }

    /// What the weights of the group are divided by: the sum over everything that guards and `never` allow.
    fn divisor(&mut self, at: usize, weighed: &[usize], state: &State) -> f64 {
        let family = self.family;
        let group = &family.groups[at];
        if let ([slot], true) = (weighed, group.nevers.is_empty()) {
            return self.classes_sum(*slot, state);
        }
        let mut outside: Vec<usize> = group
            .guards
            .iter()
            .flat_map(|guard| family.conds[*guard as usize].slots())
            .collect();
        outside.extend(
            group
                .nevers
                .iter()
                .flat_map(|never| family.conds[family.nevers[*never] as usize].slots()),
        );
        outside.retain(|slot| !weighed.contains(slot));
        outside.sort_unstable();
        outside.dedup();
        let mut key: Vec<u32> = weighed.iter().map(|slot| *slot as u32).collect();
        key.extend(outside.iter().map(|slot| {
            state.code[*slot].map_or(u32::MAX, |code| family.slots[*slot].class_of[code])
        }));
        let key = (family.id.0, at as u32, key);
        if let Some(known) = self.divisors.get(&key) {
            return *known;
        }
        let mut code = state.code.to_vec();
        for slot in weighed {
            code[*slot] = None;
        }
        let sum = self.sum(at, weighed, 0, 1.0, &mut code);
        self.divisors.insert(key, sum);
        sum
    }

    fn holds_with(&self, cond: u32, state: &State, slot: usize, code: u32) -> bool {
        self.family.conds[cond as usize].holds(&|s| {
            if s == slot {
                Some(code as usize)
            } else {
                state.code[s]
            }
        })
    }

    fn sum(
        &self,
        at: usize,
        weighed: &[usize],
        next: usize,
        weight: f64,
        code: &mut Vec<Option<usize>>,
    ) -> f64 {
        let family = self.family;
        if let Some(slot) = weighed.get(next) {
            let mut sum = 0.0;
            for class in &family.slots[*slot].classes {
                code[*slot] = class.codes.first().map(|c| *c as usize);
                sum += self.sum(at, weighed, next + 1, weight * class.weight, code);
            }
            code[*slot] = None;
            return sum;
        }
        for slot in weighed {
            let Some(here) = code[*slot] else { continue };
            let guard = family.slots[*slot].codes[here].guard;
            if guard.is_some_and(|guard| !family.conds[guard as usize].holds(&|s| code[s])) {
                return 0.0;
            }
        }
        let mut factor = 1.0;
        for never in &family.groups[at].nevers {
            if family.conds[family.nevers[*never] as usize].holds(&|s| code[s]) {
                factor *= self.model.nevers[*never].seldom.unwrap_or(0.0);
            }
        }
        weight * factor
    }

    fn finish(&mut self, state: &State, branches: &mut Vec<Branch>) {
        if self
            .conds
            .iter()
            .any(|(cond, truth)| self.holds(*cond, state) != *truth)
        {
            return;
        }
        if self
            .row
            .guard
            .is_some_and(|guard| !self.holds(guard, state))
        {
            return;
        }
        let of_kind = if self.row.guarded {
            let rows = self.family.rows.iter().filter(|row| {
                row.kind == self.row.kind && row.guard.is_none_or(|guard| self.holds(guard, state))
            });
            let all: f64 = rows.map(|row| row.weight).sum();
            (self.row.weight / all).log2()
        } else {
            self.row.of_kind
        };
        branches.push(Branch {
            known: state.known.clone(),
            bits: state.bits.clone(),
            form: self.kind_bits() + of_kind,
            broken: state.broken.clone(),
            dates: state.dates.clone(),
            breach: state.breach,
        });
    }
}
