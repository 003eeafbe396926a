//! Codes -> string in a form, and random members: the reverse of reading.

mod compose;

pub use compose::{ComposeError, all, code_text, compose};

use crate::glyph::{Boundary, Glyph, GlyphSet};
use crate::model::{
    Case, Code, CodeId, CodeKind, Cond, Family, FormKind, OpenRule, RowItem, RuleSet, SlotId,
    Spelling, Strip, check_holds,
};
use crate::value::{DatePart, Value};

/// How often a random member is drawn anew before giving up.
const ATTEMPTS: usize = 400;

/// The code of one slot: which, and for an open one the string.
#[derive(Debug, Clone, PartialEq)]
pub struct Chosen {
    /// The code.
    pub code: CodeId,
    /// Its glyphs, as listed or as chosen; empty for an absent one.
    pub glyphs: Vec<Glyph>,
}

impl Chosen {
    /// What a slot holds for which no code is possible beside those of the others. No form may print it.
    const NOTHING: Chosen = Chosen {
        code: CodeId(u32::MAX),
        glyphs: Vec::new(),
    };

    /// The glyphs as a code is typed.
    #[must_use]
    pub fn text(&self) -> String {
        Spelling::of_glyphs(self.glyphs.clone()).text()
    }
}

/// A written mark.
#[derive(Debug, Clone, PartialEq)]
pub struct Written {
    /// The form, by index in its family.
    pub form: usize,
    /// The code of each slot of the family, by slot.
    pub codes: Vec<Chosen>,
    /// The slots that the form prints, also those of which nothing is seen.
    pub printed: Vec<SlotId>,
    /// The lines, in the notation of readings.
    pub lines: Vec<String>,
}

impl Written {
    /// The lines as one reading.
    #[must_use]
    pub fn reading(&self) -> String {
        self.lines.join(" | ")
    }
}

/// Why a mark cannot be written.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum WriteError {
    /// A code's guard does not hold: slot and condition.
    Guard(String, String),
    /// A `never` is broken: its condition.
    Never(String),
    /// The form's guard does not hold.
    Form(String),
    /// A check digit fails.
    Check,
    /// The form prints the slot, but no code is possible for it.
    NoCode(String),
}

impl std::fmt::Display for WriteError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            WriteError::Guard(slot, cond) => {
                write!(f, "the code of `{slot}` is possible only when {cond}")
            }
            WriteError::Never(cond) => write!(f, "the rule says that this is not made: {cond}"),
            WriteError::Form(cond) => write!(f, "the form is used only when {cond}"),
            WriteError::Check => write!(f, "the check digit fails"),
            WriteError::NoCode(slot) => write!(f, "no code of `{slot}` is possible here"),
        }
    }
}

impl std::error::Error for WriteError {}

/// Whether a condition holds for the codes of all slots.
fn holds(cond: &Cond, codes: &[Chosen]) -> bool {
    cond.terms.iter().all(|term| {
        term.negated
            != term.any.iter().any(|(slot, set)| {
                codes
                    .get(slot.index())
                    .is_some_and(|c| set.contains(&c.code))
            })
    })
}

/// Writes the codes of all slots in a form.
///
/// `optional` says for each optional part of the row, in order, whether it is printed.
///
/// # Errors
/// The codes break a guard, a `never` or a check digit, or the form is not used for them.
pub fn write(
    family: &Family,
    form: usize,
    codes: &[Chosen],
    optional: &mut dyn FnMut() -> bool,
) -> Result<Written, WriteError> {
    for (slot, chosen) in family.slots.iter().zip(codes) {
        if let Some(guard) = slot
            .codes
            .get(chosen.code.index())
            .and_then(|code| code.guard.as_ref())
            && !holds(guard, codes)
        {
            return Err(WriteError::Guard(slot.name.clone(), guard.text.clone()));
        }
    }
    if let Some(never) = family
        .nevers
        .iter()
        .find(|never| never.seldom.is_none() && holds(&never.cond, codes))
    {
        return Err(WriteError::Never(never.cond.text.clone()));
    }
    for check in &family.checks {
        let glyphs: Vec<Glyph> = check
            .slots
            .iter()
            .flat_map(|slot| codes[slot.index()].glyphs.clone())
            .collect();
        if !check_holds(check, &glyphs) {
            return Err(WriteError::Check);
        }
    }
    let row = &family.forms[form];
    if let Some(guard) = row.guard.as_ref().filter(|guard| !holds(guard, codes)) {
        return Err(WriteError::Form(guard.text.clone()));
    }
    let mut printer = Printer {
        family,
        kind: row.kind,
        codes,
        lines: vec![String::new()],
        pending: Boundary::None,
        printed: Vec::new(),
    };
    printer.items(&row.row.items, optional);
    if let Some(slot) = printer
        .printed
        .iter()
        .find(|slot| codes[slot.index()] == Chosen::NOTHING)
    {
        return Err(WriteError::NoCode(family.slots[slot.index()].name.clone()));
    }
    let mut lines = printer.lines;
    lines.retain(|line| !line.is_empty());
    Ok(Written {
        form,
        codes: codes.to_vec(),
        printed: printer.printed,
        lines,
    })
}

struct Printer<'a> {
    family: &'a Family,
    kind: FormKind,
    codes: &'a [Chosen],
    lines: Vec<String>,
    pending: Boundary,
    printed: Vec<SlotId>,
}

impl Printer<'_> {
    fn items(&mut self, items: &[RowItem], optional: &mut dyn FnMut() -> bool) {
        for item in items {
            match item {
                RowItem::Slot(slot) => self.slot(*slot),
                RowItem::Boundary { boundary, .. } => self.pending = *boundary,
                RowItem::Break => {
                    self.lines.push(String::new());
                    self.pending = Boundary::None;
                }
                RowItem::Optional(inner) => {
                    if optional() {
                        self.items(inner, optional);
                    }
                }
            }
        }
    }

    fn slot(&mut self, slot: SlotId) {
        self.printed.push(slot);
        let chosen = &self.codes[slot.index()];
        let codes = &self.family.slots[slot.index()].codes;
        let Some(code) = codes.get(chosen.code.index()) else {
            return;
        };
        let print = code.prints.iter().find(|print| {
            print.forms.contains(&self.kind)
                && print
                    .guard
                    .as_ref()
                    .is_none_or(|guard| holds(guard, self.codes))
        });
        let spelling = match (print, &code.kind) {
            (Some(print), _) => print.spelling.clone().unwrap_or_default(),
            (None, CodeKind::Listed(spelling)) => spelling.clone(),
            (None, _) => Spelling::of_glyphs(chosen.glyphs.clone()),
        };
        for (at, (glyph, before)) in spelling.glyphs.iter().zip(&spelling.before).enumerate() {
            let boundary = if at == 0 {
                std::mem::take(&mut self.pending)
            } else {
                *before
            };
            let Some(line) = self.lines.last_mut() else {
                return;
            };
            if !line.is_empty() {
                line.push_str(boundary.text());
            }
            match glyph {
                Glyph::Symbol(name) => {
                    line.push_str("{:");
                    line.push_str(name);
                    line.push('}');
                }
                Glyph::Char(c) => {
                    if matches!(c, '_' | '?' | '{' | '}' | '\\' | '|' | '.') {
                        line.push('\\');
                    }
                    line.push(*c);
                }
            }
        }
    }
}

/// A random member of a family in a form, drawn by the weights of its codes; codes that stand for unlisted ones are left out.
/// `random` gives a number below its argument. `None` where no member was found.
pub fn sample(
    rules: &RuleSet,
    family: &Family,
    form: usize,
    random: &mut dyn FnMut(u64) -> u64,
) -> Option<Written> {
    for _ in 0..ATTEMPTS {
        let Some(codes) = draw(rules, family, random) else {
            continue;
        };
        let mut choices: Vec<bool> = (0..16).map(|_| random(2) == 1).collect();
        let mut optional = || choices.pop().unwrap_or(false);
        if let Ok(written) = write(family, form, &codes, &mut optional)
            && !written.lines.is_empty()
        {
            return Some(written);
        }
    }
    None
}

fn draw(
    rules: &RuleSet,
    family: &Family,
    random: &mut dyn FnMut(u64) -> u64,
) -> Option<Vec<Chosen>> {
    let mut codes = vec![Chosen::NOTHING; family.slots.len()];
    // Slots that no guard ties come first; the others follow what they ask for, as far as that can be had.
    let asks = |slot: usize| {
        family.slots[slot]
            .codes
            .iter()
            .filter_map(|code| code.guard.as_ref())
            .flat_map(|guard| &guard.terms)
            .count()
    };
    let mut order: Vec<usize> = (0..family.slots.len()).collect();
    order.sort_by_key(|slot| asks(*slot));
    for slot in order {
        let model = &family.slots[slot];
        let possible: Vec<usize> = (0..model.codes.len())
            .filter(|code| !model.codes[*code].unlisted)
            .filter(|code| {
                model.codes[*code]
                    .guard
                    .as_ref()
                    .is_none_or(|guard| holds(guard, &codes))
            })
            .collect();
        let sum: f64 = possible.iter().map(|code| model.codes[*code].weight).sum();
        let mut at = sum * random(1 << 40) as f64 / (1_u64 << 40) as f64;
        let Some(first) = possible.first() else {
            continue;
        };
        let mut chosen = *first;
        for code in possible {
            chosen = code;
            at -= model.codes[code].weight;
            if at < 0.0 {
                break;
            }
        }
        let mut glyphs = string(&model.codes[chosen], random);
        // A string that is listed is not one of the open shape's.
        let listed = |glyphs: &[Glyph]| {
            model
                .codes
                .iter()
                .any(|code| matches!(&code.kind, CodeKind::Listed(s) if same(&s.glyphs, glyphs)))
        };
        if matches!(model.codes[chosen].kind, CodeKind::Open(_)) {
            let mut tries = 0;
            while listed(&glyphs) {
                tries += 1;
                if tries > 50 {
                    return None;
                }
                glyphs = string(&model.codes[chosen], random);
            }
        }
        codes[slot] = Chosen {
            code: CodeId::at(chosen),
            glyphs,
        };
    }
    dates(rules, family, &mut codes, random)?;
    Some(codes)
}

/// Whether two runs of glyphs are the same mark.
fn same(a: &[Glyph], b: &[Glyph]) -> bool {
    a.len() == b.len() && a.iter().zip(b).all(|(a, b)| a.folded() == b.folded())
}

/// A random string of a code.
fn string(code: &Code, random: &mut dyn FnMut(u64) -> u64) -> Vec<Glyph> {
    match &code.kind {
        CodeKind::Absent => Vec::new(),
        CodeKind::Listed(spelling) => spelling.glyphs.clone(),
        CodeKind::Open(strips) => {
            let mut lengths: Vec<usize> = strips.iter().map(|strip| strip.places.len()).collect();
            lengths.sort_unstable();
            lengths.dedup();
            let length = lengths[random(lengths.len() as u64) as usize];
            let same: Vec<&Strip> = strips
                .iter()
                .filter(|strip| strip.places.len() == length)
                .collect();
            let sizes: Vec<f64> = same
                .iter()
                .map(|s| {
                    s.places
                        .iter()
                        .map(|p| crate::glyph::size(&p.set))
                        .product()
                })
                .collect();
            let mut at = sizes.iter().sum::<f64>() * random(1 << 40) as f64 / (1_u64 << 40) as f64;
            let mut chosen = same[0];
            for (strip, size) in same.iter().zip(&sizes) {
                chosen = strip;
                at -= size;
                if at < 0.0 {
                    break;
                }
            }
            chosen
                .places
                .iter()
                .map(|place| glyph(&place.set, place.case, random))
                .collect()
        }
    }
}

/// The glyphs of a set; of a set of any glyphs, digits and letters alone.
fn glyphs_of(set: &GlyphSet, case: Case) -> Vec<Glyph> {
    let letters = ('0'..='9')
        .chain('A'..='Z')
        .filter(|c| GlyphSet::bit(*c).is_some_and(|bit| set.alnum & bit != 0));
    let mut all: Vec<Glyph> = letters
        .map(|c| {
            Glyph::Char(if case == Case::Lower {
                c.to_ascii_lowercase()
            } else {
                c
            })
        })
        .collect();
    all.extend(set.others.iter().cloned());
    all
}

fn glyph(set: &GlyphSet, case: Case, random: &mut dyn FnMut(u64) -> u64) -> Glyph {
    let all = glyphs_of(set, case);
    let at = random(all.len().max(1) as u64) as usize;
    all.get(at).cloned().unwrap_or(Glyph::Char('0'))
}

/// A year, drawn so that a part is half as likely for every eight years that it is older: parts on desks are mostly young.
fn young(first: i16, last: i16, random: &mut dyn FnMut(u64) -> u64) -> i16 {
    let share = |year: i16| (-f64::from(last - year) / 8.0).exp2();
    let sum: f64 = (first..=last).map(share).sum();
    let mut at = sum * random(1 << 40) as f64 / (1_u64 << 40) as f64;
    for year in (first..=last).rev() {
        at -= share(year);
        if at < 0.0 {
            return year;
        }
    }
    first
}

/// Gives the slots of each date rule the codes of one real day.
fn dates(
    rules: &RuleSet,
    family: &Family,
    codes: &mut [Chosen],
    random: &mut dyn FnMut(u64) -> u64,
) -> Option<()> {
    for rule in &family.dates {
        let first = family.window.since.map_or(2004, |day| day.year());
        let last = family
            .window
            .until
            .map_or(first.max(2024), |day| day.year().max(first));
        let year = young(first, last, random);
        let month = 1 + random(12) as i16;
        let week = 1 + random(52) as i16;
        let number = |part: DatePart| match part {
            DatePart::Year => year,
            DatePart::Quarter => (month + 2) / 3,
            DatePart::Month => month,
            DatePart::Fortnight => (week + 1) / 2,
            DatePart::Week => week,
            DatePart::Third => 1 + week % 3,
            DatePart::Day => 1 + week % 28,
        };
        for slot in &rule.slots {
            let model = &family.slots[slot.index()];
            let fits: Vec<(usize, Vec<Glyph>)> = model
                .codes
                .iter()
                .enumerate()
                .filter(|(_, code)| !code.unlisted)
                .filter_map(|(at, code)| Some((at, for_date(rules, code, &number)?)))
                .collect();
            let pick = random(fits.len().max(1) as u64) as usize;
            let (code, glyphs) = fits.get(pick)?.clone();
            codes[slot.index()] = Chosen {
                code: CodeId::at(code),
                glyphs,
            };
        }
    }
    Some(())
}

/// The glyphs of a code for a day, if the code can stand for it.
fn for_date(rules: &RuleSet, code: &Code, number: &dyn Fn(DatePart) -> i16) -> Option<Vec<Glyph>> {
    let part =
        |field: &crate::model::FieldId| DatePart::of_field(&rules.fields[field.index()].name);
    let fits = |part: DatePart, value: i64| {
        let wanted = i64::from(number(part));
        value == wanted
            || part == DatePart::Year
                && value < 100
                && (value - wanted).rem_euclid(if value > 9 { 100 } else { 10 }) == 0
    };
    for (field, value) in &code.fields {
        if let (Some(part), Value::Quantity(quantity)) = (part(field), value)
            && !fits(part, quantity.value as i64)
        {
            return None;
        }
    }
    let CodeKind::Open(strips) = &code.kind else {
        return match &code.kind {
            CodeKind::Listed(spelling) => Some(spelling.glyphs.clone()),
            _ => None,
        };
    };
    let (part, rule) = code
        .open_fields
        .iter()
        .find_map(|(field, rule)| part(field).map(|part| (part, rule)))?;
    let wanted = i64::from(number(part));
    match rule {
        OpenRule::Number(_) => {
            let digits = strips.first()?.places.len() as u32;
            let value = wanted.rem_euclid(10_i64.pow(digits));
            Some(
                format!("{value:0width$}", width = digits as usize)
                    .chars()
                    .map(Glyph::Char)
                    .collect(),
            )
        }
        OpenRule::OneOf { order, start, .. } => {
            let at = wanted - start.unwrap_or(1);
            let at = if part == DatePart::Year {
                at.rem_euclid(order.len() as i64)
            } else {
                at
            };
            Some(vec![order.get(usize::try_from(at).ok()?)?.clone()])
        }
        _ => None,
    }
}
