//! Codes by name -> string: what is given is looked up, what is not given is found so that all conditions hold.

use super::{Chosen, WriteError, Written, write};
use crate::diagnostic::near;
use crate::glyph::{Glyph, GlyphSet};
use crate::model::{
    Case, Code, CodeId, CodeKind, Cond, Family, RowItem, Slot, SlotId, Spelling, Strip, StripPlace,
    check_holds, slots,
};

/// Codes tried for slots that are not given, before giving up.
const STEPS: usize = 200_000;
/// Near codes named in a message.
const NEAR: usize = 6;
/// Codes of one slot that are tried in place of one that breaks a rule.
const TRIED: usize = 500;

/// Whether a glyph can stand in a place of an open shape.
pub(super) fn fits(place: &StripPlace, glyph: &Glyph, cased: bool) -> bool {
    let GlyphSet {
        alnum,
        rest,
        others,
    } = &place.set;
    if let Glyph::Char(c) = glyph
        && let Some(bit) = GlyphSet::bit(*c)
    {
        let wrong_case = cased
            && c.is_ascii_alphabetic()
            && (place.case == Case::Lower) != c.is_ascii_lowercase();
        return alnum & bit != 0 && !wrong_case;
    }
    *rest || others.contains(&glyph.folded())
}

fn fits_strip(strip: &Strip, glyphs: &[Glyph], cased: bool) -> bool {
    strip.places.len() == glyphs.len()
        && strip
            .places
            .iter()
            .zip(glyphs)
            .all(|(place, glyph)| fits(place, glyph, cased))
}

/// The codes of a slot that a text can be; listed ones alone where there are any.
pub(super) fn codes_of(slot: &Slot, text: &str) -> Vec<Chosen> {
    let spelling = Spelling::of(text);
    let same = |a: &[Glyph]| {
        a.len() == spelling.glyphs.len()
            && a.iter().zip(&spelling.glyphs).all(|(a, b)| {
                if slot.cased {
                    a == b
                } else {
                    a.folded() == b.folded()
                }
            })
    };
    let chosen = |listed: bool| -> Vec<Chosen> {
        let can = |code: &Code| match &code.kind {
            CodeKind::Absent => listed && (text == "none" || text.is_empty()),
            CodeKind::Listed(s) => listed && same(&s.glyphs),
            CodeKind::Open(strips) => {
                !listed
                    && strips
                        .iter()
                        .any(|strip| fits_strip(strip, &spelling.glyphs, slot.cased))
            }
        };
        let found = slot.codes.iter().enumerate().filter(|(_, code)| can(code));
        found
            .map(|(at, code)| Chosen {
                code: CodeId::at(at),
                glyphs: match &code.kind {
                    CodeKind::Absent => Vec::new(),
                    CodeKind::Listed(s) => s.glyphs.clone(),
                    CodeKind::Open(_) => spelling.glyphs.clone(),
                },
            })
            .collect()
    };
    let listed = chosen(true);
    // A listed code whose guard may fail leaves its string to the open shape.
    let open = chosen(false);
    listed.into_iter().chain(open).collect()
}

/// A code as it is typed.
#[must_use]
pub fn code_text(code: &Code) -> Option<String> {
    match &code.kind {
        CodeKind::Absent => Some("none".to_owned()),
        CodeKind::Listed(spelling) => Some(spelling.text()),
        CodeKind::Open(_) => None,
    }
}

/// Whether a condition holds, fails, or is still open because a slot has no code yet.
pub(super) fn decided(cond: &Cond, codes: &[Option<Chosen>]) -> Option<bool> {
    let mut open = false;
    for term in &cond.terms {
        let mut any = Some(false);
        for (slot, set) in &term.any {
            match codes.get(slot.index()).and_then(Option::as_ref) {
                Some(chosen) if set.contains(&chosen.code) => {
                    any = Some(true);
                    break;
                }
                Some(_) => {}
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

/// What is broken by the codes that are known, if anything is.
pub(super) fn broken(
    family: &Family,
    form: Option<usize>,
    codes: &[Option<Chosen>],
) -> Option<(WriteError, Vec<SlotId>)> {
    let asked = |cond: &Cond| -> Vec<SlotId> {
        cond.terms
            .iter()
            .flat_map(|term| term.any.iter().map(|(slot, _)| *slot))
            .collect()
    };
    for (at, (slot, chosen)) in family.slots.iter().zip(codes).enumerate() {
        let Some(chosen) = chosen else { continue };
        if let Some(guard) = slot
            .codes
            .get(chosen.code.index())
            .and_then(|code| code.guard.as_ref())
            && decided(guard, codes) == Some(false)
        {
            let mut about = asked(guard);
            about.insert(0, SlotId::at(at));
            let error = WriteError::Guard(slot.name.clone(), guard.text.clone());
            return Some((error, about));
        }
    }
    for never in family.nevers.iter().filter(|n| n.seldom.is_none()) {
        if decided(&never.cond, codes) == Some(true) {
            let error = WriteError::Never(never.cond.text.clone());
            return Some((error, asked(&never.cond)));
        }
    }
    let form = form.and_then(|form| family.forms[form].guard.as_ref());
    if let Some(guard) = form.filter(|guard| decided(guard, codes) == Some(false)) {
        return Some((WriteError::Form(guard.text.clone()), asked(guard)));
    }
    None
}

/// Why codes could not be written, and what could be written instead.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum ComposeError {
    /// The slot has no such code: slot, code, near ones.
    Unknown {
        /// The slot.
        slot: String,
        /// What was given.
        code: String,
        /// Codes of the slot that are near.
        near: Vec<String>,
    },
    /// The form prints the slot, which has several codes, and none was given.
    Missing {
        /// The slot.
        slot: String,
        /// Some of its codes.
        codes: Vec<String>,
    },
    /// The codes cannot stand together.
    Broken {
        /// What they break.
        error: WriteError,
        /// Codes, as `slot=code`, of which one alone would mend it.
        instead: Vec<String>,
    },
    /// No codes of the other slots go with those given.
    Nothing,
}

impl std::fmt::Display for ComposeError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            ComposeError::Unknown { slot, code, .. } => {
                write!(f, "`{slot}` has no code `{code}`")
            }
            ComposeError::Missing { slot, .. } => write!(f, "the code of `{slot}` is missing"),
            ComposeError::Broken { error, .. } => error.fmt(f),
            ComposeError::Nothing => f.write_str("no codes of the other slots go with those given"),
        }
    }
}

impl std::error::Error for ComposeError {}

impl ComposeError {
    /// What to write instead.
    #[must_use]
    pub fn help(&self) -> String {
        match self {
            ComposeError::Unknown { near, .. } if near.is_empty() => {
                "`rules show FAMILY` lists its codes".to_owned()
            }
            ComposeError::Unknown { near, .. } => format!("near codes: {}", near.join(", ")),
            ComposeError::Missing { slot, codes } if codes.is_empty() => {
                format!("give it as {slot}=CODE")
            }
            ComposeError::Missing { slot, codes } => {
                format!("give it as {slot}=CODE, one of {}", codes.join(", "))
            }
            ComposeError::Broken { instead, .. } if instead.is_empty() => {
                "`rules show FAMILY` says what goes together".to_owned()
            }
            ComposeError::Broken { instead, .. } => {
                format!("this would do instead: {}", instead.join(", or "))
            }
            ComposeError::Nothing => "give fewer codes".to_owned(),
        }
    }
}

/// Writes a form from some codes. What is not given must follow: a slot of one code has it, one that may be absent is, one that
/// the form does not print has whatever lets the others stand. An optional part is printed where one of its slots is given.
///
/// # Errors
/// A code does not exist or is missing, or the codes break a condition of the rule.
pub fn compose(
    family: &Family,
    form: usize,
    given: &[(SlotId, &str)],
) -> Result<Written, ComposeError> {
    let slots = &family.slots;
    let mut choices: Vec<Option<Vec<Chosen>>> = vec![None; slots.len()];
    for (slot, text) in given {
        let found = codes_of(&slots[slot.index()], text);
        if found.is_empty() {
            return Err(unknown(&slots[slot.index()], text));
        }
        choices[slot.index()] = Some(found);
    }
    let mut optional = Vec::new();
    let mut printed = Vec::new();
    plan(
        &family.forms[form].row.items,
        given,
        &mut optional,
        &mut printed,
    );
    let mut known: Vec<Option<Chosen>> = vec![None; slots.len()];
    for (at, found) in choices.iter().enumerate() {
        if let Some([only]) = found.as_deref() {
            known[at] = Some(only.clone());
        }
    }
    if let Some((error, about)) = broken(family, Some(form), &known) {
        return Err(instead(family, form, &known, given, error, &about));
    }
    // Of several codes that one text can be, one must go with the others given.
    for (at, found) in choices.iter().enumerate() {
        let mut breaks = Vec::new();
        for chosen in found.iter().flatten() {
            let mut tried = known.clone();
            tried[at] = Some(chosen.clone());
            breaks.push(broken(family, Some(form), &tried).map(|broken| (broken, tried)));
        }
        if breaks.iter().all(Option::is_some)
            && let Some(Some(((error, about), tried))) = breaks.into_iter().next()
        {
            return Err(instead(family, form, &tried, given, error, &about));
        }
    }
    let by_given = known.clone();
    let mut free: Vec<usize> = Vec::new();
    for at in 0..slots.len() {
        if known[at].is_some() {
            continue;
        }
        let possible = match choices[at].take() {
            Some(found) => found,
            None => default_codes(&slots[at], printed.contains(&SlotId::at(at)))?,
        };
        choices[at] = Some(possible);
        free.push(at);
    }
    // Those with fewest choices decide first.
    free.sort_by_key(|at| choices[*at].as_ref().map_or(0, Vec::len));
    let mut steps = STEPS;
    if !settle(family, form, &mut known, &free, &choices, &mut steps) {
        return Err(missing(family, form, &by_given, &choices));
    }
    let codes: Vec<Chosen> = known.into_iter().flatten().collect();
    let mut decisions = optional.into_iter();
    write(family, form, &codes, &mut || {
        decisions.next().unwrap_or(false)
    })
    .map_err(|error| ComposeError::Broken {
        instead: if error == WriteError::Check {
            check_digits(family, &codes)
        } else {
            Vec::new()
        },
        error,
    })
}

/// Which optional parts are printed, in the order in which they are asked for, and which slots are.
fn plan(
    items: &[RowItem],
    given: &[(SlotId, &str)],
    optional: &mut Vec<bool>,
    printed: &mut Vec<SlotId>,
) {
    fn names_given(items: &[RowItem], given: &[(SlotId, &str)]) -> bool {
        items.iter().any(|item| match item {
            RowItem::Slot(slot) => given.iter().any(|(of, _)| of == slot),
            RowItem::Optional(inner) => names_given(inner, given),
            _ => false,
        })
    }
    for item in items {
        match item {
            RowItem::Slot(slot) => printed.push(*slot),
            RowItem::Optional(inner) => {
                let wanted = names_given(inner, given);
                optional.push(wanted);
                if wanted {
                    plan(inner, given, optional, printed);
                }
            }
            _ => {}
        }
    }
}

fn unknown(slot: &Slot, text: &str) -> ComposeError {
    let all: Vec<String> = slot.codes.iter().filter_map(code_text).collect();
    let mut near_ones: Vec<String> = near(text, all.iter().map(String::as_str))
        .into_iter()
        .map(str::to_owned)
        .collect();
    let start = |n: usize| text.chars().take(n).collect::<String>();
    for n in (1..=text.chars().count().min(3)).rev() {
        near_ones.extend(all.iter().filter(|c| c.starts_with(&start(n))).cloned());
    }
    if near_ones.is_empty() && all.len() <= NEAR {
        near_ones = all;
    }
    let mut seen = Vec::new();
    near_ones.retain(|code| !seen.contains(code) && (seen.push(code.clone()), true).1);
    near_ones.truncate(NEAR);
    ComposeError::Unknown {
        slot: slot.name.clone(),
        code: text.to_owned(),
        near: near_ones,
    }
}

/// The codes that a slot may take when none is given: absence first, then the commonest.
fn default_codes(slot: &Slot, printed: bool) -> Result<Vec<Chosen>, ComposeError> {
    let mut listed: Vec<usize> = (0..slot.codes.len())
        .filter(|at| !slot.codes[*at].unlisted)
        .collect();
    listed.sort_by(|a, b| slot.codes[*b].weight.total_cmp(&slot.codes[*a].weight));
    let texts: Vec<String> = listed
        .iter()
        .filter_map(|at| code_text(&slot.codes[*at]))
        .collect();
    let mut strings: Vec<&String> = texts.iter().collect();
    strings.sort_unstable();
    strings.dedup();
    let open = listed
        .iter()
        .any(|at| matches!(slot.codes[*at].kind, CodeKind::Open(_)));
    let absent = strings.iter().any(|text| *text == "none");
    let forced = strings.len() == 1 && !open;
    if printed && !forced && !absent {
        let mut codes = texts.clone();
        codes.dedup();
        codes.truncate(NEAR);
        return Err(ComposeError::Missing {
            slot: slot.name.clone(),
            codes,
        });
    }
    let possible = listed
        .into_iter()
        .filter(|at| !printed || forced || matches!(slot.codes[*at].kind, CodeKind::Absent));
    let mut chosen: Vec<Chosen> = possible
        .map(|at| Chosen {
            code: CodeId::at(at),
            glyphs: first_string(&slot.codes[at]),
        })
        .collect();
    chosen.sort_by_key(|chosen| !matches!(slot.codes[chosen.code.index()].kind, CodeKind::Absent));
    Ok(chosen)
}

/// Some string of a code.
fn first_string(code: &Code) -> Vec<Glyph> {
    super::string(code, &mut |_| 0)
}

fn settle(
    family: &Family,
    form: usize,
    known: &mut Vec<Option<Chosen>>,
    free: &[usize],
    choices: &[Option<Vec<Chosen>>],
    steps: &mut usize,
) -> bool {
    let Some((at, rest)) = free.split_first() else {
        return broken(family, Some(form), known).is_none() && void(family, known);
    };
    for chosen in choices[*at].iter().flatten() {
        if *steps == 0 {
            return false;
        }
        *steps -= 1;
        known[*at] = Some(chosen.clone());
        if broken(family, Some(form), known).is_none()
            && settle(family, form, known, rest, choices, steps)
        {
            return true;
        }
    }
    // Where no code is possible, the slot is void.
    known[*at] = Some(Chosen::NOTHING);
    if void_can(&family.slots[*at]) && settle(family, form, known, rest, choices, steps) {
        return true;
    }
    known[*at] = None;
    false
}

/// Whether each slot that holds nothing has no code whose guard can hold.
fn void(family: &Family, known: &[Option<Chosen>]) -> bool {
    family.slots.iter().zip(known).all(|(slot, chosen)| {
        chosen.as_ref() != Some(&Chosen::NOTHING)
            || slot.codes.iter().filter(|code| !code.unlisted).all(|code| {
                let guard = code.guard.as_ref();
                guard.is_some_and(|guard| decided(guard, known) == Some(false))
            })
    })
}

/// The slot for which nothing that follows by itself goes with what is given, with the codes of it that would.
fn missing(
    family: &Family,
    form: usize,
    given: &[Option<Chosen>],
    choices: &[Option<Vec<Chosen>>],
) -> ComposeError {
    for (at, slot) in family.slots.iter().enumerate() {
        let breaks = |chosen: &Chosen| {
            let mut tried = given.to_vec();
            tried[at] = Some(chosen.clone());
            broken(family, Some(form), &tried).is_some()
        };
        let none_goes = choices[at]
            .as_ref()
            .is_some_and(|all| all.iter().all(breaks));
        if given[at].is_some() || !none_goes {
            continue;
        }
        let goes = |(code, of): (usize, &Code)| {
            let chosen = Chosen {
                code: CodeId::at(code),
                glyphs: Vec::new(),
            };
            if breaks(&chosen) { None } else { code_text(of) }
        };
        let mut codes: Vec<String> = slot.codes.iter().enumerate().filter_map(goes).collect();
        codes.dedup();
        codes.truncate(NEAR);
        return ComposeError::Missing {
            slot: slot.name.clone(),
            codes,
        };
    }
    ComposeError::Nothing
}

/// Single codes that would let the others stand.
fn instead(
    family: &Family,
    form: usize,
    known: &[Option<Chosen>],
    given: &[(SlotId, &str)],
    error: WriteError,
    about: &[SlotId],
) -> ComposeError {
    let mut instead = Vec::new();
    let mut about = about.to_vec();
    about.dedup();
    for slot in about
        .iter()
        .filter(|slot| given.iter().any(|(of, _)| of == *slot))
    {
        let model = &family.slots[slot.index()];
        let mut found = 0;
        for (at, code) in model.codes.iter().enumerate().take(TRIED) {
            let Some(text) = code_text(code) else {
                continue;
            };
            let mut tried = known.to_vec();
            tried[slot.index()] = Some(Chosen {
                code: CodeId::at(at),
                glyphs: first_string(code),
            });
            let entry = format!("{}={text}", model.name);
            if found < NEAR / 2
                && !instead.contains(&entry)
                && broken(family, Some(form), &tried).is_none()
            {
                found += 1;
                instead.push(entry);
            }
        }
    }
    instead.truncate(NEAR);
    ComposeError::Broken { error, instead }
}

/// The codes of checked slots with another last digit, for which the check holds.
fn check_digits(family: &Family, codes: &[Chosen]) -> Vec<String> {
    let mut found = Vec::new();
    for check in &family.checks {
        let Some(last) = check.slots.last() else {
            continue;
        };
        let mut glyphs: Vec<Glyph> = check
            .slots
            .iter()
            .flat_map(|slot| codes[slot.index()].glyphs.clone())
            .collect();
        if check_holds(check, &glyphs) {
            continue;
        }
        for digit in '0'..='9' {
            if let Some(end) = glyphs.last_mut() {
                *end = Glyph::Char(digit);
            }
            if check_holds(check, &glyphs) {
                let of_last = codes[last.index()].glyphs.len();
                let text = Spelling::of_glyphs(glyphs[glyphs.len() - of_last..].to_vec()).text();
                found.push(format!("{}={text}", family.slots[last.index()].name));
            }
        }
    }
    found
}

/// All members of a form that differ in print, in the order of the rule; `Err` with the number found where there are more than
/// `most`. Codes that stand for unlisted ones are left out.
///
/// # Errors
/// There are more than `most`.
pub fn all(family: &Family, form: usize, most: usize) -> Result<Vec<Written>, usize> {
    let mut search = All {
        family,
        form,
        most,
        seen: std::collections::HashSet::new(),
        found: Vec::new(),
        steps: most.saturating_mul(50).max(STEPS),
        order: Vec::new(),
    };
    // Slots that the form prints, and those that a condition asks for.
    let printed = slots(&family.forms[form].row.items);
    let mut asked = vec![false; family.slots.len()];
    let guards = family
        .slots
        .iter()
        .flat_map(|slot| slot.codes.iter().filter_map(|code| code.guard.as_ref()))
        .chain(family.forms[form].guard.as_ref())
        .chain(family.nevers.iter().map(|never| &never.cond));
    for term in guards.flat_map(|cond| &cond.terms) {
        for (slot, _) in &term.any {
            asked[slot.index()] = true;
        }
    }
    let seen = |slot: &usize| printed.contains(&SlotId::at(*slot));
    search.order = (0..family.slots.len()).collect();
    search.order.sort_by_key(|slot| (!seen(slot), *slot));
    let of_check = |slot: usize| {
        let id = SlotId::at(slot);
        family.checks.iter().any(|check| check.slots.contains(&id))
    };
    let whole: Vec<bool> = (0..family.slots.len())
        .map(|slot| seen(&slot) || asked[slot] || of_check(slot))
        .collect();
    let mut known = vec![None; family.slots.len()];
    search.go(0, &mut known, &whole)?;
    Ok(search.found)
}

struct All<'a> {
    family: &'a Family,
    form: usize,
    most: usize,
    seen: std::collections::HashSet<String>,
    found: Vec<Written>,
    steps: usize,
    order: Vec<usize>,
}

impl All<'_> {
    fn go(
        &mut self,
        depth: usize,
        known: &mut Vec<Option<Chosen>>,
        whole: &[bool],
    ) -> Result<(), usize> {
        let Some(slot) = self.order.get(depth).copied() else {
            return self.print(known);
        };
        let model = &self.family.slots[slot];
        let before = self.found.len();
        for (at, code) in model.codes.iter().enumerate().filter(|(_, c)| !c.unlisted) {
            let strings = match &code.kind {
                CodeKind::Open(strips) if whole[slot] => strings(strips, self.most)
                    .ok_or(self.found.len())?
                    .into_iter()
                    .filter(|glyphs| !listed(model, glyphs))
                    .collect(),
                _ => vec![first_string(code)],
            };
            for glyphs in strings {
                self.steps = self.steps.checked_sub(1).ok_or(self.found.len())?;
                known[slot] = Some(Chosen {
                    code: CodeId::at(at),
                    glyphs,
                });
                if broken(self.family, Some(self.form), known).is_some() {
                    break;
                }
                self.go(depth + 1, known, whole)?;
                // What is not printed and not asked for changes nothing.
                if !whole[slot] {
                    known[slot] = None;
                    return Ok(());
                }
            }
        }
        if self.found.len() == before && void_can(model) {
            known[slot] = Some(Chosen::NOTHING);
            self.go(depth + 1, known, whole)?;
        }
        known[slot] = None;
        Ok(())
    }

    fn print(&mut self, known: &[Option<Chosen>]) -> Result<(), usize> {
        if !void(self.family, known) {
            return Ok(());
        }
        let codes: Vec<Chosen> = known.iter().flatten().cloned().collect();
        let mut count = 0;
        let Ok(plain) = write(self.family, self.form, &codes, &mut || {
            count += 1;
            false
        }) else {
            return Ok(());
        };
        // Without its optional parts first, then with all of them.
        let mut members = vec![plain];
        if count > 0 {
            members.extend(write(self.family, self.form, &codes, &mut || true));
        }
        for member in members {
            if !member.lines.is_empty() && self.seen.insert(member.reading()) {
                if self.found.len() >= self.most {
                    return Err(self.found.len());
                }
                self.found.push(member);
            }
        }
        Ok(())
    }
}

/// Whether a slot can be without any code: all have guards.
fn void_can(slot: &Slot) -> bool {
    slot.codes
        .iter()
        .filter(|code| !code.unlisted)
        .all(|code| code.guard.is_some())
}

/// Whether a string that an open shape could be is listed, so that it is not the open shape's.
fn listed(slot: &Slot, glyphs: &[Glyph]) -> bool {
    slot.codes.iter().any(|code| {
        code.guard.is_none()
            && matches!(&code.kind, CodeKind::Listed(s) if super::same(&s.glyphs, glyphs))
    })
}

/// All strings of an open shape; `None` where there are more than `most`.
fn strings(strips: &[Strip], most: usize) -> Option<Vec<Vec<Glyph>>> {
    let mut all = Vec::new();
    for strip in strips {
        let mut of_strip: Vec<Vec<Glyph>> = vec![Vec::new()];
        for place in &strip.places {
            let glyphs = super::glyphs_of(&place.set, place.case);
            if place.set.rest || of_strip.len().saturating_mul(glyphs.len()) > most {
                return None;
            }
            of_strip = of_strip
                .iter()
                .flat_map(|start| {
                    glyphs.iter().map(move |glyph| {
                        let mut longer = start.clone();
                        longer.push(glyph.clone());
                        longer
                    })
                })
                .collect();
        }
        all.extend(of_strip);
    }
    (all.len() <= most).then_some(all)
}
