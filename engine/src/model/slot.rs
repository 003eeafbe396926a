//! Slots and their codes.

use super::form::FormKind;
use super::id::{FamilyId, FieldId};
use super::{Cond, Provenance, Window};
use crate::glyph::{Boundary, Glyph, GlyphSet};
use crate::source::Place;
use crate::value::{Base, Quantity, Unit, Value};
use borsh::{BorshDeserialize, BorshSerialize};

/// A place in the mark, and the codes it can hold.
#[derive(Debug, Clone, BorshSerialize, BorshDeserialize)]
pub struct Slot {
    /// Name, `density`; `group.slot` for a slot of a group; the text itself for a literal.
    pub name: String,
    /// Where it is declared.
    pub place: Place,
    /// The codes, by [`super::CodeId`]. Two codes that one string can be are told apart by disjoint guards; an open shape never means a
    /// string that a listed code (whose guard holds) means.
    pub codes: Vec<Code>,
    /// Whether each specimen has its own (lot, serial).
    pub each: bool,
    /// Whether the case of letters counts.
    pub cased: bool,
    /// Whether it is a text of a row without a name: always printed, gives no field.
    pub literal: bool,
}

/// One alternative of a slot: a code as listed, an open shape, or absence.
#[derive(Debug, Clone, BorshSerialize, BorshDeserialize)]
pub struct Code {
    /// What is printed.
    pub kind: CodeKind,
    /// Fields that the code gives, already in the base unit of the field. Date parts (year, week ...) are counts.
    pub fields: Vec<(FieldId, Value)>,
    /// Fields that an open shape gives by its characters.
    pub open_fields: Vec<(FieldId, OpenRule)>,
    /// Relative weight in its slot, positive. The strings of an open shape share its weight equally.
    pub weight: f64,
    /// Whether the code stands for those that the table does not list: 2 % of the slot in all.
    pub unlisted: bool,
    /// When it was made.
    pub window: Window,
    /// When it is possible.
    pub guard: Option<Cond>,
    /// Other spellings in some forms; the first whose guard holds counts.
    pub prints: Vec<Print>,
    /// Where it comes from, where it differs from the family.
    pub provenance: Provenance,
    /// What the code stands for as a whole.
    pub stands: Option<Stands>,
    /// The code of the same slot that this one follows as a revision.
    pub succeeds: Option<super::CodeId>,
    /// Where it is written.
    pub place: Place,
}

/// What is printed for a code.
#[derive(Debug, Clone, PartialEq, BorshSerialize, BorshDeserialize)]
pub enum CodeKind {
    /// Nothing is there.
    Absent,
    /// This string.
    Listed(Spelling),
    /// Any string of these strips. No string belongs to two strips of one code.
    Open(Vec<Strip>),
}

/// A string as printed: glyphs, with the boundary before each (the first is not used).
#[derive(Debug, Clone, PartialEq, Eq, Default, BorshSerialize, BorshDeserialize)]
pub struct Spelling {
    /// The glyphs, case kept.
    pub glyphs: Vec<Glyph>,
    /// The boundary before each glyph.
    pub before: Vec<Boundary>,
}

/// All strings of one length with a given set of glyphs in each place.
#[derive(Debug, Clone, PartialEq, Eq, Default, BorshSerialize, BorshDeserialize)]
pub struct Strip {
    /// The places.
    pub places: Vec<StripPlace>,
}

/// One place of a [`Strip`].
#[derive(Debug, Clone, PartialEq, Eq, Default, BorshSerialize, BorshDeserialize)]
pub struct StripPlace {
    /// Which glyphs can stand here, folded.
    pub set: GlyphSet,
    /// The case of a letter here, where it counts (`cased`).
    pub case: Case,
}

/// The case that a letter must have.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, BorshSerialize, BorshDeserialize)]
pub enum Case {
    /// Capitals, or it does not matter.
    #[default]
    Upper,
    /// Small letters.
    Lower,
}

/// How the characters of an open shape give a field.
#[derive(Debug, Clone, PartialEq, BorshSerialize, BorshDeserialize)]
pub enum OpenRule {
    /// The code is the text.
    Text,
    /// The digits are a number, in this unit (absent: a plain count).
    Number(Option<Unit>),
    /// A letter stands for the decimal point and the unit: `4R7`; at the end for `512M`.
    Magnitude(Vec<(Glyph, Unit)>),
    /// The last digit is a power of ten: `104`.
    Exponent(Option<Unit>),
    /// Position in a text of glyphs, from `start`, over again after its length.
    OneOf {
        /// The glyphs in order.
        order: Vec<Glyph>,
        /// Number of the first; absent: 1, and the field is a plain position.
        start: Option<i64>,
        /// Whether the field is a text (then the glyph itself is the value).
        text: bool,
    },
    /// The table gives the field but does not know this code.
    Unknown(Option<Base>),
}

/// Another spelling of a code in some forms.
#[derive(Debug, Clone, PartialEq, BorshSerialize, BorshDeserialize)]
pub struct Print {
    /// The forms.
    pub forms: Vec<FormKind>,
    /// What is printed; absent for nothing.
    pub spelling: Option<Spelling>,
    /// When.
    pub guard: Option<Cond>,
}

/// What a code stands for: a family, or a whole code of it.
#[derive(Debug, Clone, PartialEq, Eq, BorshSerialize, BorshDeserialize)]
pub struct Stands {
    /// The family.
    pub family: FamilyId,
    /// A reading of that family's strings, where the code stands for a certain one.
    pub reading: Option<String>,
}

/// log2 of the share that one string of each strip has in an open shape: lengths are equally likely, and so are the strings of one
/// length. The glyphs of a strip that takes any text are not counted: they are as likely as under no rule.
#[must_use]
pub fn string_shares(strips: &[Strip]) -> Vec<f64> {
    let free = |strip: &Strip| strip.places.iter().all(|place| place.set.rest);
    let size = |strip: &Strip| {
        if free(strip) {
            1.0
        } else {
            strip
                .places
                .iter()
                .map(|place| crate::glyph::size(&place.set))
                .product::<f64>()
        }
    };
    let mut lengths: Vec<usize> = strips.iter().map(|strip| strip.places.len()).collect();
    lengths.sort_unstable();
    lengths.dedup();
    strips
        .iter()
        .map(|strip| {
            let same: f64 = strips
                .iter()
                .filter(|other| other.places.len() == strip.places.len())
                .map(size)
                .sum();
            -(lengths.len() as f64).log2() - same.max(1.0).log2()
        })
        .collect()
}

impl Spelling {
    /// A code as a rule writes it: `:name:` is a symbol, `\:` a colon; a boundary at the very end says nothing.
    #[must_use]
    pub fn of(code: &str) -> Spelling {
        let mut spelling = Spelling::default();
        let mut before = Boundary::None;
        let mut rest = code;
        while let Some(c) = rest.chars().next() {
            let glyph = if let Some((name, after)) = symbol(rest) {
                rest = after;
                Glyph::Symbol(name.into())
            } else {
                rest = &rest[c.len_utf8()..];
                let escaped = if c == '\\' { rest.chars().next() } else { None };
                if let Some(next) = escaped {
                    rest = &rest[next.len_utf8()..];
                } else if let Some(boundary) = Boundary::of(c) {
                    // A boundary at the very end says nothing of the glyphs.
                    before = before.max(boundary);
                    continue;
                }
                Glyph::Char(escaped.unwrap_or(c))
            };
            spelling.glyphs.push(glyph);
            spelling.before.push(std::mem::take(&mut before));
        }
        spelling
    }

    /// A run of glyphs without boundaries.
    #[must_use]
    pub fn of_glyphs(glyphs: Vec<Glyph>) -> Spelling {
        Spelling {
            before: vec![Boundary::None; glyphs.len()],
            glyphs,
        }
    }

    /// As a rule writes it.
    #[must_use]
    pub fn text(&self) -> String {
        let mut text = String::new();
        self.push_to(&mut text);
        text
    }

    /// The same behind a text.
    pub(crate) fn push_to(&self, text: &mut String) {
        for (at, (glyph, before)) in self.glyphs.iter().zip(&self.before).enumerate() {
            if at > 0 {
                text.push_str(before.text());
            }
            match glyph {
                Glyph::Char(c) => text.push(*c),
                Glyph::Symbol(name) => {
                    text.push(':');
                    text.push_str(name);
                    text.push(':');
                }
            }
        }
    }
}

impl OpenRule {
    /// The value that an open shape's rule gives for a string; `None` where it gives none.
    #[must_use]
    pub fn value(&self, glyphs: &[Glyph]) -> Option<Value> {
        let text = || Spelling::of_glyphs(glyphs.to_vec()).text();
        match self {
            OpenRule::Text => Some(Value::Text(text())),
            OpenRule::Number(unit) => Value::number(&text(), *unit),
            OpenRule::Exponent(unit) => {
                let text = text();
                let (digits, exponent) = text.split_at_checked(text.len().checked_sub(1)?)?;
                // Digits 8 and 9 stand for a hundredth and a tenth (EIA-198).
                let exponent = match exponent {
                    "8" => "-2",
                    "9" => "-1",
                    other => other,
                };
                let unit = unit.unwrap_or_else(|| Unit::base(Base::Count));
                let exponent: i32 = exponent.parse().ok()?;
                let number = format!(
                    "{}e{}",
                    digits.parse::<u64>().ok()?,
                    exponent + i32::from(unit.ten)
                );
                let value = number.parse::<f64>().ok()? * 2_f64.powi(i32::from(unit.two));
                Some(Value::Quantity(Quantity {
                    value,
                    base: unit.base,
                }))
            }
            OpenRule::Magnitude(units) => {
                let at = glyphs
                    .iter()
                    .position(|glyph| !matches!(glyph, Glyph::Char(c) if c.is_ascii_digit()))?;
                let (_, unit) = units
                    .iter()
                    .find(|(glyph, _)| *glyph == glyphs[at])
                    .or_else(|| {
                        units
                            .iter()
                            .find(|(glyph, _)| glyph.folded() == glyphs[at].folded())
                    })?;
                let digits: String = glyphs
                    .iter()
                    .enumerate()
                    .map(|(i, g)| match g {
                        Glyph::Char(c) if i != at => *c,
                        _ => '.',
                    })
                    .collect();
                let digits = format!("0{}", digits.trim_end_matches('.'));
                Value::number(&digits, Some(*unit))
            }
            OpenRule::OneOf { order, start, text } => {
                let glyph = glyphs.first()?;
                if *text {
                    return Some(Value::Text(Spelling::of_glyphs(vec![glyph.clone()]).text()));
                }
                let at = order
                    .iter()
                    .position(|g| g == glyph)
                    .or_else(|| order.iter().position(|g| g.folded() == glyph.folded()))?;
                Some(Value::count(
                    (start.unwrap_or(1) + i64::try_from(at).ok()?) as f64,
                ))
            }
            OpenRule::Unknown(_) => None,
        }
    }
}

/// A symbol at the start of a text: its name and what follows.
fn symbol(text: &str) -> Option<(&str, &str)> {
    let rest = text.strip_prefix(':')?;
    let end = rest.find(':')?;
    let name = &rest[..end];
    let fits = name.starts_with(|c: char| c.is_ascii_lowercase())
        && name
            .chars()
            .all(|c| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '_');
    fits.then(|| (name, &rest[end + 1..]))
}

#[cfg(test)]
mod tests {
    use super::Spelling;
    use crate::glyph::{Boundary, Glyph};

    #[test]
    fn codes_hold_symbols_and_boundaries() {
        let code = Spelling::of("A:e3:B-7");
        assert_eq!(code.glyphs.len(), 4);
        assert_eq!(code.glyphs[1], Glyph::Symbol("e3".into()));
        assert_eq!(code.before[3], Boundary::Dash);
        assert_eq!(Spelling::of("D/C").before[1], Boundary::Slash);
        assert_eq!(Spelling::of("P/N:").glyphs.len(), 2);
    }
}
