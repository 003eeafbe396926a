//! Shapes -> strips: classes and finite patterns as disjoint lists of places.

use regex_syntax::hir::{Class, Hir, HirKind};

use crate::glyph::{Glyph, GlyphSet};
use crate::model::{Case, Strip, StripPlace};

/// The most strips that one shape may need.
pub(super) const MAX_STRIPS: usize = 2_000;

/// The longest string of a shape.
pub(super) const MAX_LENGTH: usize = 64;

/// Why a pattern is no shape.
pub(super) enum PatternFault {
    /// It does not parse: the reason.
    Syntax(String),
    /// It has no longest string.
    Infinite,
    /// It needs too many strips or too long ones.
    TooLarge,
}

/// The set of a class word.
pub(super) fn class_set(class: &str) -> GlyphSet {
    match class {
        "letter" => GlyphSet::of_bits(GlyphSet::LETTERS),
        "digit" => GlyphSet::of_bits(GlyphSet::DIGITS),
        "hex" => GlyphSet::of_bits(GlyphSet::DIGITS | 0x3f << 10),
        "alnum" => GlyphSet::of_bits(GlyphSet::DIGITS | GlyphSet::LETTERS),
        _ => GlyphSet {
            alnum: GlyphSet::DIGITS | GlyphSet::LETTERS,
            rest: true,
            others: Vec::new(),
        },
    }
}

/// A strip of sets.
pub(super) fn strip(sets: Vec<GlyphSet>) -> Strip {
    Strip {
        places: sets
            .into_iter()
            .map(|set| StripPlace {
                set,
                case: Case::Upper,
            })
            .collect(),
    }
}

/// The strips of one glyph out of some: small letters apart from the others, so that their case can count.
pub(super) fn one_of_strips(order: &[Glyph]) -> Vec<Strip> {
    let (mut small, mut other) = (GlyphSet::default(), GlyphSet::default());
    for glyph in order {
        let one = GlyphSet::one(glyph);
        let set = match glyph {
            Glyph::Char(c) if c.is_ascii_lowercase() => &mut small,
            _ => &mut other,
        };
        set.alnum |= one.alnum;
        set.others.extend(one.others);
    }
    if small.alnum & other.alnum != 0 {
        // A letter in both cases: no string may belong to two strips.
        other.alnum |= std::mem::take(&mut small.alnum);
    }
    let mut strips = Vec::new();
    if other != GlyphSet::default() || small.alnum == 0 {
        strips.push(strip(vec![other]));
    }
    if small.alnum != 0 {
        let mut small = strip(vec![small]);
        small.places[0].case = Case::Lower;
        strips.push(small);
    }
    strips
}

/// The strips of `min..max` glyphs of a class.
pub(super) fn class_strips(min: u32, max: u32, class: &str) -> Vec<Strip> {
    (min..=max)
        .map(|n| strip(vec![class_set(class); n as usize]))
        .collect()
}

/// The strips of a finite pattern.
pub(super) fn pattern_strips(pattern: &str) -> Result<Vec<Strip>, PatternFault> {
    let hir = regex_syntax::ParserBuilder::new()
        .unicode(false)
        .utf8(false)
        .nest_limit(32)
        .build()
        .parse(pattern)
        .map_err(|error| {
            PatternFault::Syntax(
                error
                    .to_string()
                    .lines()
                    .last()
                    .unwrap_or_default()
                    .trim()
                    .to_owned(),
            )
        })?;
    let mut strips: Vec<Strip> = Vec::new();
    for sets in expand(&hir)? {
        if sets.len() > MAX_LENGTH {
            return Err(PatternFault::TooLarge);
        }
        let mut new = vec![strip(sets)];
        for old in &strips {
            new = new.iter().flat_map(|strip| without(strip, old)).collect();
        }
        strips.extend(new);
        if strips.len() > MAX_STRIPS {
            return Err(PatternFault::TooLarge);
        }
    }
    Ok(strips)
}

fn expand(hir: &Hir) -> Result<Vec<Vec<GlyphSet>>, PatternFault> {
    let joined = |left: &[Vec<GlyphSet>],
                  right: &[Vec<GlyphSet>]|
     -> Result<Vec<Vec<GlyphSet>>, PatternFault> {
        if left.len() * right.len() > MAX_STRIPS {
            return Err(PatternFault::TooLarge);
        }
        Ok(left
            .iter()
            .flat_map(|a| right.iter().map(move |b| [a.as_slice(), b].concat()))
            .collect())
    };
    Ok(match hir.kind() {
        HirKind::Empty => vec![Vec::new()],
        HirKind::Literal(literal) => {
            vec![
                literal
                    .0
                    .iter()
                    .map(|byte| GlyphSet::one(&Glyph::Char(char::from(*byte))))
                    .collect(),
            ]
        }
        HirKind::Class(class) => {
            let mut set = GlyphSet::default();
            let mut add = |c: char| match GlyphSet::bit(c) {
                Some(bit) => set.alnum |= bit,
                None if c.is_ascii_graphic() => set.others.push(Glyph::Char(c)),
                None => {}
            };
            match class {
                Class::Unicode(class) => {
                    class
                        .iter()
                        .flat_map(|range| range.start()..=range.end().min('\u{ff}'))
                        .for_each(&mut add);
                }
                Class::Bytes(class) => {
                    class
                        .iter()
                        .flat_map(|range| range.start()..=range.end())
                        .map(char::from)
                        .for_each(&mut add);
                }
            }
            vec![vec![set]]
        }
        HirKind::Look(_) => {
            return Err(PatternFault::Syntax(
                "anchors and boundaries mean nothing here".to_owned(),
            ));
        }
        HirKind::Capture(capture) => expand(&capture.sub)?,
        HirKind::Concat(parts) => {
            let mut all = vec![Vec::new()];
            for part in parts {
                all = joined(&all, &expand(part)?)?;
            }
            all
        }
        HirKind::Alternation(parts) => {
            let mut all = Vec::new();
            for part in parts {
                all.extend(expand(part)?);
            }
            all
        }
        HirKind::Repetition(repetition) => {
            let max = repetition.max.ok_or(PatternFault::Infinite)?;
            if max as usize > MAX_LENGTH {
                return Err(PatternFault::TooLarge);
            }
            let one = expand(&repetition.sub)?;
            let mut so_far = vec![Vec::new()];
            let mut all = Vec::new();
            for n in 0..=max {
                if n >= repetition.min {
                    all.extend(so_far.clone());
                }
                if n < max {
                    so_far = joined(&so_far, &one)?;
                }
            }
            all
        }
    })
}

/// Which glyphs of a set are in another, and which are not.
fn part(set: &GlyphSet, other: &GlyphSet) -> (GlyphSet, GlyphSet) {
    let holds = |glyph: &Glyph| {
        other.rest && matches!(glyph, Glyph::Char(_)) || other.others.contains(glyph)
    };
    let inside = GlyphSet {
        alnum: set.alnum & other.alnum,
        rest: set.rest && other.rest,
        others: set
            .others
            .iter()
            .filter(|glyph| holds(glyph))
            .cloned()
            .collect(),
    };
    let outside = GlyphSet {
        alnum: set.alnum & !other.alnum,
        rest: set.rest && !other.rest,
        others: set
            .others
            .iter()
            .filter(|glyph| !holds(glyph))
            .cloned()
            .collect(),
    };
    (inside, outside)
}

fn is_empty(set: &GlyphSet) -> bool {
    set.alnum == 0 && !set.rest && set.others.is_empty()
}

/// The strings of `strip` that are not of `other`, as disjoint strips.
pub(super) fn without(strip: &Strip, other: &Strip) -> Vec<Strip> {
    if strip.places.len() != other.places.len() {
        return vec![strip.clone()];
    }
    let parts: Vec<(GlyphSet, GlyphSet)> = strip
        .places
        .iter()
        .zip(&other.places)
        .map(|(a, b)| part(&a.set, &b.set))
        .collect();
    let case_differs = strip
        .places
        .iter()
        .zip(&other.places)
        .any(|(a, b)| a.case != b.case);
    if case_differs || parts.iter().any(|(inside, _)| is_empty(inside)) {
        return vec![strip.clone()];
    }
    let mut rest = Vec::new();
    for (at, (_, outside)) in parts.iter().enumerate() {
        if is_empty(outside) {
            continue;
        }
        let mut places = strip.places.clone();
        for (place, (inside, _)) in places.iter_mut().zip(&parts).take(at) {
            place.set = inside.clone();
        }
        places[at].set = outside.clone();
        rest.push(Strip { places });
    }
    rest
}

/// How many strings a list of disjoint strips holds.
pub(super) fn count(strips: &[Strip]) -> f64 {
    strips
        .iter()
        .map(|strip| {
            strip
                .places
                .iter()
                .map(|place| crate::glyph::size(&place.set))
                .product::<f64>()
        })
        .sum()
}

/// Whether a strip holds a string of glyphs.
pub(super) fn holds(strip: &Strip, glyphs: &[Glyph]) -> bool {
    strip.places.len() == glyphs.len()
        && strip
            .places
            .iter()
            .zip(glyphs)
            .all(|(place, glyph)| match glyph {
                Glyph::Char(c) => match GlyphSet::bit(*c) {
                    Some(bit) => place.set.alnum & bit != 0,
                    None => place.set.rest || place.set.others.contains(&glyph.folded()),
                },
                Glyph::Symbol(_) => place.set.others.contains(glyph),
            })
}

/// All strings of a list of strips, in order; only for sets of digits and letters.
pub(super) fn strings(strips: &[Strip]) -> Vec<String> {
    let mut all = Vec::new();
    for strip in strips {
        let mut here = vec![String::new()];
        for place in &strip.places {
            let mut glyphs: Vec<char> = ('0'..='9')
                .chain('A'..='Z')
                .filter(|c| GlyphSet::bit(*c).is_some_and(|bit| place.set.alnum & bit != 0))
                .collect();
            glyphs.extend(place.set.others.iter().filter_map(|glyph| match glyph {
                Glyph::Char(c) => Some(*c),
                Glyph::Symbol(_) => None,
            }));
            here = here
                .iter()
                .flat_map(|s| {
                    glyphs.iter().map(move |c| {
                        let c = if place.case == Case::Lower {
                            c.to_ascii_lowercase()
                        } else {
                            *c
                        };
                        format!("{s}{c}")
                    })
                })
                .collect();
        }
        all.extend(here);
    }
    all
}
