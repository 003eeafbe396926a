//! The strings of a form as an automaton.
//!
//! Conditions tie slots together, automata do not know slots. So the codes of each slot that a condition asks for are sorted into
//! classes that no condition tells apart, every choice of classes that the conditions allow becomes a row of plain sets, and the form
//! is the union of these. Boundaries are soft and say nothing here.

use std::collections::HashMap;

use super::automaton::{EMPTY, END, Mask, State, Store, TooLarge};
use super::letters::Letters;
use crate::glyph::{Boundary, Glyph};
use crate::model::{
    Checksum, Code, CodeId, CodeKind, Cond, Family, Form, OpenRule, RowItem, RuleSet, Slot, SlotId,
    Spelling, Strip, check_holds,
};
use crate::value::DatePart;

/// Choices of classes that are tried for one form before it is given up.
const MOST_CHOICES: usize = 200_000;

/// A boundary that must be there.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Must {
    /// This one, or a new line.
    Within(Boundary),
    /// A new line.
    Line,
}

/// What the languages of all forms share.
pub(super) struct Workshop<'r> {
    pub(super) store: Store,
    pub(super) letters: Letters,
    pub(super) rules: &'r RuleSet,
    /// Whether codes that no list has belong to a language.
    pub(super) unlisted: bool,
}

/// A slot's choice: the codes of a class, or none because none is possible.
type Choice = Option<usize>;

struct FormAt<'a> {
    family: &'a Family,
    form: &'a Form,
    /// For each slot that a condition asks for, its classes of codes; empty for the others.
    classes: Vec<Vec<Vec<usize>>>,
    /// Those slots, in the order in which they are chosen.
    asked: Vec<usize>,
    printed: Vec<bool>,
}

impl Workshop<'_> {
    /// The strings of a form.
    pub(super) fn form(&mut self, family: &Family, form: &Form) -> Result<State, TooLarge> {
        let at = FormAt::new(family, form);
        let variants = variants(family, form);
        let mut rows = Vec::new();
        let mut steps = MOST_CHOICES;
        let mut chosen = vec![None; family.slots.len()];
        let mut sets: HashMap<(usize, Vec<usize>), State> = HashMap::new();
        let mut row_of = |shop: &mut Self, chosen: &[Option<Choice>]| {
            for items in &variants {
                let row = shop.items(&at, items, END, chosen, &mut sets)?;
                if row != EMPTY && !rows.contains(&row) {
                    rows.push(row);
                }
            }
            Ok(false)
        };
        self.choose(&at, 0, &mut chosen, &mut steps, &mut row_of)?;
        self.store.union_of(&rows)
    }

    /// Where the boundaries stand in a string of a form that must be there: before which character, and which. Between two lines of a form
    /// there must be one.
    pub(super) fn hard_boundaries(
        &mut self,
        family: &Family,
        form: &Form,
        string: &[u32],
    ) -> Vec<(usize, Must)> {
        if !has_hard(&form.row.items) {
            return Vec::new();
        }
        let at = FormAt::new(family, form);
        let variants = variants(family, form);
        let mut found = Vec::new();
        let mut steps = MOST_CHOICES;
        let mut chosen = vec![None; family.slots.len()];
        let mut lay = |shop: &mut Self, chosen: &[Option<Choice>]| {
            Ok(variants.iter().any(|items| {
                let items: Vec<&RowItem> = items.iter().collect();
                found.clear();
                shop.lay(&at, &items, chosen, string, 0, None, &mut found)
            }))
        };
        // A form that was too large has no string to be laid out.
        let _ = self.choose(&at, 0, &mut chosen, &mut steps, &mut lay);
        found
    }

    /// Calls `then` with every full choice of classes that the conditions allow, until it is satisfied.
    fn choose(
        &mut self,
        at: &FormAt<'_>,
        depth: usize,
        chosen: &mut Vec<Option<Choice>>,
        steps: &mut usize,
        then: &mut dyn FnMut(&mut Self, &[Option<Choice>]) -> Result<bool, TooLarge>,
    ) -> Result<bool, TooLarge> {
        *steps = steps.checked_sub(1).ok_or(TooLarge)?;
        let Some(slot) = at.asked.get(depth).copied() else {
            return if at.holds(chosen) {
                then(self, chosen)
            } else {
                Ok(false)
            };
        };
        let void = (!at.printed[slot]).then_some(None);
        for choice in (0..at.classes[slot].len()).map(Some).chain(void) {
            chosen[slot] = Some(choice);
            if !at.broken(chosen) && self.choose(at, depth + 1, chosen, steps, then)? {
                return Ok(true);
            }
        }
        chosen[slot] = None;
        Ok(false)
    }

    /// Lays the items over a string from a character on; notes the boundaries that must be there.
    #[allow(clippy::too_many_arguments)]
    fn lay(
        &mut self,
        at: &FormAt<'_>,
        items: &[&RowItem],
        chosen: &[Option<Choice>],
        string: &[u32],
        from: usize,
        pending: Option<Must>,
        found: &mut Vec<(usize, Must)>,
    ) -> bool {
        let Some((item, rest)) = items.split_first() else {
            return from == string.len();
        };
        match item {
            RowItem::Break => self.lay(at, rest, chosen, string, from, Some(Must::Line), found),
            RowItem::Boundary { boundary, hard } => {
                let pending = match pending {
                    Some(Must::Line) => pending,
                    _ => hard.then_some(Must::Within(*boundary)),
                };
                self.lay(at, rest, chosen, string, from, pending, found)
            }
            RowItem::Optional(inner) => {
                let with: Vec<&RowItem> = inner.iter().chain(rest.iter().copied()).collect();
                self.lay(at, rest, chosen, string, from, pending, found)
                    || self.lay(at, &with, chosen, string, from, pending, found)
            }
            RowItem::Slot(slot) => {
                for places in self.spellings(at, *slot, chosen) {
                    let here = string.get(from..from + places.len());
                    let fits = here.is_some_and(|here| {
                        here.iter()
                            .zip(&places)
                            .all(|(c, mask)| mask & (1 << c) != 0)
                    });
                    if !fits {
                        continue;
                    }
                    let before = found.len();
                    let printed = !places.is_empty();
                    if let (true, Some(boundary), true) = (printed, pending, from > 0) {
                        found.push((from, boundary));
                    }
                    let pending = if printed { None } else { pending };
                    let next = from + places.len();
                    if self.lay(at, rest, chosen, string, next, pending, found) {
                        return true;
                    }
                    found.truncate(before);
                }
                false
            }
        }
    }

    /// How the possible codes of a slot can be printed.
    fn spellings(
        &mut self,
        at: &FormAt<'_>,
        slot: SlotId,
        chosen: &[Option<Choice>],
    ) -> Vec<Vec<Mask>> {
        let model = &at.family.slots[slot.index()];
        let mut all = Vec::new();
        for code in at.possible(slot, chosen, self.unlisted) {
            match (at.spelling(slot, code, chosen), &model.codes[code].kind) {
                (None, CodeKind::Open(strips)) => {
                    for strip in strips {
                        let places = strip.places.iter();
                        all.push(
                            places
                                .map(|place| self.letters.place(place, model.cased))
                                .collect(),
                        );
                    }
                }
                (spelling, _) => {
                    let glyphs = spelling.unwrap_or_default().glyphs;
                    let masks = glyphs
                        .iter()
                        .map(|glyph| self.letters.glyph(glyph, model.cased));
                    all.push(masks.collect());
                }
            }
        }
        all
    }

    /// The strings of some items with what follows them.
    fn items(
        &mut self,
        at: &FormAt<'_>,
        items: &[RowItem],
        then: State,
        chosen: &[Option<Choice>],
        sets: &mut HashMap<(usize, Vec<usize>), State>,
    ) -> Result<State, TooLarge> {
        let mut state = then;
        for item in items.iter().rev() {
            match item {
                RowItem::Boundary { .. } | RowItem::Break => {}
                RowItem::Optional(inner) => {
                    let printed = self.items(at, inner, state, chosen, sets)?;
                    state = self.store.union(state, printed)?;
                }
                RowItem::Slot(slot) => {
                    let codes = at.possible(*slot, chosen, self.unlisted);
                    // A print may hang on a condition, so the spelling is part of the key.
                    let mut key = Vec::new();
                    for code in &codes {
                        key.push(*code);
                        key.push(at.print(*slot, *code, chosen).map_or(0, |print| print + 1));
                    }
                    let set = match sets.get(&(slot.index(), key.clone())) {
                        Some(set) => *set,
                        None => {
                            let set = self.codes(at, *slot, &codes, chosen)?;
                            sets.insert((slot.index(), key), set);
                            set
                        }
                    };
                    state = self.store.chain(set, state)?;
                }
            }
        }
        Ok(state)
    }

    /// The spellings of some codes of a slot.
    fn codes(
        &mut self,
        at: &FormAt<'_>,
        slot: SlotId,
        codes: &[usize],
        chosen: &[Option<Choice>],
    ) -> Result<State, TooLarge> {
        let model = &at.family.slots[slot.index()];
        let checks: Vec<&Checksum> = at
            .family
            .checks
            .iter()
            .filter(|check| check.slots == [slot])
            .collect();
        let mut all = Vec::new();
        for code in codes {
            let of_code = &model.codes[*code];
            let spelling = at.spelling(slot, *code, chosen);
            match (spelling, &of_code.kind) {
                (Some(spelling), _) => {
                    let kept = spelling.glyphs.is_empty()
                        || checks
                            .iter()
                            .all(|check| check_holds(check, &spelling.glyphs));
                    if kept {
                        let places: Vec<Mask> = spelling
                            .glyphs
                            .iter()
                            .map(|glyph| self.letters.glyph(glyph, model.cased))
                            .collect();
                        all.push(self.store.run(&places, END)?);
                    }
                }
                (None, CodeKind::Open(strips)) => {
                    for strip in strips {
                        all.push(self.strip(at, slot, of_code, strip, &checks)?);
                    }
                }
                _ => {}
            }
        }
        self.store.union_of(&all)
    }

    fn strip(
        &mut self,
        at: &FormAt<'_>,
        slot: SlotId,
        code: &Code,
        strip: &Strip,
        checks: &[&Checksum],
    ) -> Result<State, TooLarge> {
        let model = &at.family.slots[slot.index()];
        if let Some(numbers) = self.date_numbers(at.family, slot, code, strip) {
            let mut all = Vec::new();
            for number in numbers {
                let text = format!("{number:0width$}", width = strip.places.len());
                let places: Vec<Mask> = text
                    .chars()
                    .map(|c| self.letters.glyph(&Glyph::Char(c), false))
                    .collect();
                all.push(self.store.run(&places, END)?);
            }
            return self.store.union_of(&all);
        }
        let places: Vec<Mask> = strip
            .places
            .iter()
            .map(|place| self.letters.place(place, model.cased))
            .collect();
        match checks {
            [check] => self.checked(model, strip, check),
            _ => self.store.run(&places, END),
        }
    }

    /// The strings of a strip for which a check digit holds: one state for each place and sum.
    fn checked(&mut self, slot: &Slot, strip: &Strip, check: &Checksum) -> Result<State, TooLarge> {
        let modulus = check.modulus.max(1);
        // From the right, as the weights count: what leads from a sum to the end.
        let mut after: Vec<State> = (0..modulus)
            .map(|sum| if sum == check.is { END } else { EMPTY })
            .collect();
        for (right, place) in strip.places.iter().rev().enumerate() {
            let weight = check.weights.get(right % check.weights.len().max(1));
            let weight = weight.copied().unwrap_or(1);
            let mut values: Vec<(Mask, u32)> = Vec::new();
            for at in 0..36_u32 {
                let Some(c) = char::from_digit(at, 36).map(|c| c.to_ascii_uppercase()) else {
                    continue;
                };
                let value = match check.values.iter().find(|(of, _)| *of == c) {
                    Some((_, value)) => Some(*value),
                    None if check.values.is_empty() => Some(at),
                    None => None,
                };
                let mask = self.letters.glyph(&Glyph::Char(c), false);
                let mask = mask & self.letters.place(place, slot.cased);
                if let (Some(value), true) = (value, mask != 0) {
                    values.push((
                        mask,
                        (u64::from(value) * u64::from(weight) % u64::from(modulus)) as u32,
                    ));
                }
            }
            let mut before = Vec::with_capacity(after.len());
            for sum in 0..modulus {
                let edges = values
                    .iter()
                    .map(|(mask, value)| (*mask, after[((sum + value) % modulus) as usize]))
                    .collect();
                before.push(self.store.node(false, edges)?);
            }
            after = before;
        }
        Ok(after.first().copied().unwrap_or(EMPTY))
    }

    /// The numbers that a part of a date can be, where its digits could be more.
    fn date_numbers(
        &self,
        family: &Family,
        slot: SlotId,
        code: &Code,
        strip: &Strip,
    ) -> Option<std::ops::RangeInclusive<u32>> {
        if !family.dates.iter().any(|date| date.slots.contains(&slot)) {
            return None;
        }
        let part = code.open_fields.iter().find_map(|(field, rule)| {
            let part = DatePart::of_field(&self.rules.fields[field.index()].name)?;
            matches!(rule, OpenRule::Number(_)).then_some(part)
        })?;
        let most = match part {
            DatePart::Year => return None,
            DatePart::Quarter => 4,
            DatePart::Month => 12,
            DatePart::Fortnight => 27,
            DatePart::Week => 53,
            DatePart::Third => 3,
            // With a month a day of it, alone a day of the year.
            DatePart::Day if strip.places.len() < 3 => 31,
            DatePart::Day => 366,
        };
        let digits = strip.places.len().min(9) as u32;
        Some(1..=most.min(10_u32.pow(digits) - 1))
    }
}

impl<'a> FormAt<'a> {
    fn new(family: &'a Family, form: &'a Form) -> FormAt<'a> {
        let count = family.slots.len();
        let mut printed = vec![false; count];
        mark(&form.row.items, &mut printed);
        // Slots that matter: those printed, and all that are asked for on their account.
        let mut matters = printed.clone();
        let mut asked = vec![false; count];
        let mut conds: Vec<&Cond> = form.guard.iter().collect();
        loop {
            let before = (conds.len(), asked.clone());
            conds = form.guard.iter().collect();
            for (slot, model) in family.slots.iter().enumerate() {
                if !matters[slot] {
                    continue;
                }
                for code in &model.codes {
                    conds.extend(&code.guard);
                    let prints = code.prints.iter().filter(|p| p.forms.contains(&form.kind));
                    conds.extend(prints.filter_map(|print| print.guard.as_ref()));
                }
            }
            let nevers = family.nevers.iter().filter(|n| n.seldom.is_none());
            conds.extend(
                nevers
                    .map(|n| &n.cond)
                    .filter(|cond| slots_of(cond).any(|slot| matters[slot])),
            );
            for cond in &conds {
                for slot in slots_of(cond) {
                    asked[slot] = true;
                    matters[slot] = true;
                }
            }
            if before == (conds.len(), asked.clone()) {
                break;
            }
        }
        let classes: Vec<Vec<Vec<usize>>> = (0..count)
            .map(|slot| {
                if asked[slot] {
                    classes(&family.slots[slot], slot, &conds)
                } else {
                    Vec::new()
                }
            })
            .collect();
        let asked: Vec<usize> = (0..count).filter(|slot| asked[*slot]).collect();
        FormAt {
            family,
            form,
            classes,
            asked,
            printed,
        }
    }

    /// Whether a condition holds for classes chosen; `None` while that is open.
    fn decided(&self, cond: &Cond, chosen: &[Option<Choice>]) -> Option<bool> {
        let mut open = false;
        for term in &cond.terms {
            let mut any = Some(false);
            for (slot, set) in &term.any {
                match chosen[slot.index()] {
                    Some(Some(class)) => {
                        // No condition tells the codes of a class apart, so one speaks for all.
                        let first = self.classes[slot.index()][class].first();
                        if first.is_some_and(|code| set.contains(&CodeId::at(*code))) {
                            any = Some(true);
                            break;
                        }
                    }
                    Some(None) => {}
                    None => any = None,
                }
            }
            match any {
                Some(any) if any == term.negated => return Some(false),
                Some(_) => {}
                None => open = true,
            }
        }
        if open { None } else { Some(true) }
    }

    fn broken(&self, chosen: &[Option<Choice>]) -> bool {
        let nevers = self.family.nevers.iter().filter(|n| n.seldom.is_none());
        let mut nevers = nevers.map(|never| &never.cond);
        nevers.any(|cond| {
            slots_of(cond).all(|slot| !self.classes[slot].is_empty())
                && self.decided(cond, chosen) == Some(true)
        }) || self
            .form
            .guard
            .as_ref()
            .is_some_and(|guard| self.decided(guard, chosen) == Some(false))
    }

    /// Whether a full choice can be: every slot asked for has a code, or none of its codes is possible.
    fn holds(&self, chosen: &[Option<Choice>]) -> bool {
        self.asked.iter().all(|slot| {
            let possible = |code: &Code| {
                let guard = code.guard.as_ref();
                guard.is_none_or(|guard| self.decided(guard, chosen) == Some(true))
            };
            let codes = &self.family.slots[*slot].codes;
            match chosen[*slot] {
                Some(Some(class)) => self.classes[*slot][class]
                    .iter()
                    .any(|code| possible(&codes[*code])),
                _ => !codes.iter().any(possible),
            }
        })
    }

    /// The codes of a printed slot that are possible.
    fn possible(&self, slot: SlotId, chosen: &[Option<Choice>], unlisted: bool) -> Vec<usize> {
        let codes = &self.family.slots[slot.index()].codes;
        let all: Vec<usize> = match chosen[slot.index()] {
            Some(Some(class)) => self.classes[slot.index()][class].clone(),
            Some(None) => Vec::new(),
            None => (0..codes.len()).collect(),
        };
        all.into_iter()
            .filter(|code| unlisted || !codes[*code].unlisted)
            .filter(|code| {
                let guard = codes[*code].guard.as_ref();
                guard.is_none_or(|guard| self.decided(guard, chosen) == Some(true))
            })
            .collect()
    }

    /// What is printed for a code; `None` for an open one.
    fn spelling(&self, slot: SlotId, code: usize, chosen: &[Option<Choice>]) -> Option<Spelling> {
        let of_code = &self.family.slots[slot.index()].codes[code];
        match (self.print(slot, code, chosen), &of_code.kind) {
            (Some(print), _) => Some(of_code.prints[print].spelling.clone().unwrap_or_default()),
            (None, CodeKind::Listed(spelling)) => Some(spelling.clone()),
            (None, CodeKind::Absent) => Some(Spelling::default()),
            (None, CodeKind::Open(_)) => None,
        }
    }

    /// Which other spelling a code has in this form, by its number.
    fn print(&self, slot: SlotId, code: usize, chosen: &[Option<Choice>]) -> Option<usize> {
        let code = &self.family.slots[slot.index()].codes[code];
        code.prints.iter().position(|print| {
            let guard = print.guard.as_ref();
            print.forms.contains(&self.form.kind)
                && guard.is_none_or(|guard| self.decided(guard, chosen) == Some(true))
        })
    }
}

/// The row of a form as a whole, and each of its lines by itself that has all of the base part that the form prints: the other lines may
/// not have been read.
fn variants(family: &Family, form: &Form) -> Vec<Vec<RowItem>> {
    let items = &form.row.items;
    let mut all = vec![items.clone()];
    let mut printed = vec![false; family.slots.len()];
    mark(items, &mut printed);
    let mut of_base = vec![false; family.slots.len()];
    if let Some(base) = &family.base {
        mark(&base.items, &mut of_base);
    }
    let wanted: Vec<usize> = (0..family.slots.len())
        .filter(|slot| printed[*slot] && of_base[*slot])
        .collect();
    let lines: Vec<&[RowItem]> = items.split(|item| *item == RowItem::Break).collect();
    if wanted.is_empty() || lines.len() == 1 {
        return all;
    }
    for line in lines {
        let within = |item: &&RowItem| match item {
            RowItem::Optional(inner) => !has_break(inner),
            _ => true,
        };
        let line: Vec<RowItem> = line.iter().filter(within).cloned().collect();
        let mut has = vec![false; family.slots.len()];
        mark(&line, &mut has);
        if wanted.iter().all(|slot| has[*slot]) {
            all.push(line);
        }
    }
    all
}

fn has_break(items: &[RowItem]) -> bool {
    items.iter().any(|item| match item {
        RowItem::Break => true,
        RowItem::Optional(inner) => has_break(inner),
        _ => false,
    })
}

fn has_hard(items: &[RowItem]) -> bool {
    items.iter().any(|item| match item {
        RowItem::Boundary { hard, .. } => *hard,
        RowItem::Break => true,
        RowItem::Optional(inner) => has_hard(inner),
        RowItem::Slot(_) => false,
    })
}

fn slots_of(cond: &Cond) -> impl Iterator<Item = usize> {
    cond.terms
        .iter()
        .flat_map(|term| term.any.iter().map(|(slot, _)| slot.index()))
}

fn mark(items: &[RowItem], printed: &mut [bool]) {
    for item in items {
        match item {
            RowItem::Slot(slot) => printed[slot.index()] = true,
            RowItem::Optional(inner) => mark(inner, printed),
            _ => {}
        }
    }
}

/// The codes of a slot by what conditions say of them.
fn classes(model: &Slot, slot: usize, conds: &[&Cond]) -> Vec<Vec<usize>> {
    let sets: Vec<&Vec<CodeId>> = conds
        .iter()
        .flat_map(|cond| &cond.terms)
        .flat_map(|term| &term.any)
        .filter(|(of, _)| of.index() == slot)
        .map(|(_, set)| set)
        .collect();
    let mut by_sign: Vec<(Vec<bool>, Vec<usize>)> = Vec::new();
    for code in 0..model.codes.len() {
        let id = CodeId::at(code);
        let sign: Vec<bool> = sets.iter().map(|set| set.contains(&id)).collect();
        match by_sign.iter_mut().find(|(known, _)| *known == sign) {
            Some((_, class)) => class.push(code),
            None => by_sign.push((sign, vec![code])),
        }
    }
    by_sign.into_iter().map(|(_, class)| class).collect()
}
