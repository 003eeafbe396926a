//! What is known beside the reading, as evidence: how much likelier it is under an identity than under none.
//!
//! The figures are stated beliefs: a name seen on a package is its maker's nine times in ten, but second sources, brands and house
//! marks exist; a counted number of terminals is seldom wrong.

use super::answer::Context;
use super::fields::{Read, fields};
use crate::decode::{Decoder, Explanation, Stream};
use crate::model::{Family, Maker, MakerMark, MakerMarkKind};
use crate::value::{Interval, Value};

/// log2 for a maker, function or package that fits.
const FITS: f64 = 4.0;
/// log2 for a maker that does not.
const OTHER_MAKER: f64 = -3.5;
/// log2 for a logo that is described for no part of the maker.
const OTHER_LOGO: f64 = -1.0;
/// log2 for a function that does not.
const OTHER_FUNCTION: f64 = -5.0;
/// log2 for a package that does not.
const OTHER_PACKAGE: f64 = -4.0;
/// log2 for a number of terminals that fits.
const SAME_PINS: f64 = 3.0;
/// log2 for one that does not.
const OTHER_PINS: f64 = -7.0;
/// log2 for a date outside the time of making.
const OTHER_TIME: f64 = -7.0;

/// log2 for a date, a trace code or another remark where a part is named: who lists parts lists hardly one by its date.
const NO_PART: f64 = -6.0;

/// log2 of P(context | explanation) / P(context | none).
pub(super) fn bits(
    decoder: &Decoder<'_>,
    explanation: &Explanation,
    context: &Context,
    stream: &Stream,
) -> f64 {
    let (_, family) = decoder.family(explanation.family);
    let mut bits = 0.0;
    if context.entry && family.is_marking() {
        bits += NO_PART;
    }
    if let Some(seen) = &context.maker {
        bits += maker(decoder, family, seen, context.made);
    }
    if let Some(seen) = &context.logo {
        bits += logo(decoder, family, seen, context.made);
    }
    if let (Some(wanted), Some(function)) = (&context.function, &family.function) {
        let fits = function == wanted || function.starts_with(&format!("{wanted}/"));
        bits += if fits { FITS } else { OTHER_FUNCTION };
    }
    if let Some(maker) = family.maker {
        let here = context.around.iter().filter(|(other, _)| *other == maker);
        bits += here.map(|(_, bits)| bits).sum::<f64>();
    }
    if let Some(made) = context.made {
        for (_, date) in &explanation.branch.dates {
            let inside: f64 = date
                .intervals
                .iter()
                .filter(|(i, _)| i.from <= made.to && made.from <= i.to)
                .map(|(_, share)| share)
                .sum();
            bits += inside.max(OTHER_TIME.exp2()).log2();
        }
    }
    if context.package.is_none() && context.pins.is_none() {
        return bits;
    }
    let said = fields(
        decoder,
        explanation,
        &Read::of(decoder, explanation, stream),
        &|_| true,
        false,
    );
    let value = |name: &str| {
        let found = said
            .iter()
            .find(|one| decoder.rules.fields[one.field.index()].name == name);
        found
            .and_then(|one| one.values.first())
            .filter(|(_, share)| *share > 0.9)
            .and_then(|(value, _)| value.clone())
    };
    if let (Some(counted), Some(Value::Quantity(pins))) = (context.pins, value("pins")) {
        bits += if pins.value == f64::from(counted) {
            SAME_PINS
        } else {
            OTHER_PINS
        };
    }
    if let (Some(seen), Some(Value::Text(package))) = (&context.package, value("package")) {
        let plain = |text: &str| {
            text.to_uppercase()
                .chars()
                .filter(char::is_ascii_alphanumeric)
                .collect::<String>()
        };
        let (seen, package) = (plain(seen), plain(&package));
        bits += if package.starts_with(&seen) || seen.starts_with(&package) {
            FITS
        } else {
            OTHER_PACKAGE
        };
    }
    bits
}

/// Whether anything is known.
pub(super) fn any(context: &Context) -> bool {
    most(context) > 0.0 || context.made.is_some()
}

/// The most that it can be.
pub(super) fn most(context: &Context) -> f64 {
    let fits = [
        context.maker.is_some(),
        context.logo.is_some(),
        context.function.is_some(),
        context.package.is_some(),
    ];
    let pins = if context.pins.is_some() {
        SAME_PINS
    } else {
        0.0
    };
    let around = context.around.iter().map(|(_, bits)| *bits);
    FITS * fits.iter().filter(|fits| **fits).count() as f64 + pins + around.fold(0.0, f64::max)
}

/// A name that is known.
fn maker(decoder: &Decoder<'_>, family: &Family, seen: &str, made: Option<Interval>) -> f64 {
    let Some(maker) = maker_of(decoder, family) else {
        return 0.0;
    };
    if is_named(maker, seen, made) {
        FITS
    } else {
        OTHER_MAKER
    }
}

/// A logo in words: a maker's name, or as the rules describe it. A maker whose logo no rule describes may have it.
fn logo(decoder: &Decoder<'_>, family: &Family, seen: &str, made: Option<Interval>) -> f64 {
    let Some(maker) = maker_of(decoder, family) else {
        return 0.0;
    };
    let mut logos = marks(maker, made)
        .filter(|mark| mark.kind == MakerMarkKind::Logo)
        .peekable();
    let described = logos.peek().is_some();
    let wanted = words(seen);
    let alike = |text: &str| {
        let known = words(text);
        let shared = wanted.iter().filter(|word| known.contains(word)).count();
        shared > 0 && shared * 2 >= wanted.len()
    };
    if is_named(maker, seen, made) || logos.any(|mark| alike(&mark.text)) {
        FITS
    } else if described {
        OTHER_MAKER
    } else {
        OTHER_LOGO
    }
}

fn maker_of<'r>(decoder: &Decoder<'r>, family: &Family) -> Option<&'r Maker> {
    family
        .maker
        .map(|maker| &decoder.rules.makers[maker.index()])
}

/// What stands on the maker's packages, as far as it did when the part was made.
fn marks(maker: &Maker, made: Option<Interval>) -> impl Iterator<Item = &MakerMark> {
    maker.marks.iter().filter(move |mark| {
        made.is_none_or(|made| {
            mark.window.since.is_none_or(|since| since <= made.to)
                && mark.window.until.is_none_or(|until| made.from <= until)
        })
    })
}

fn is_named(maker: &Maker, seen: &str, made: Option<Interval>) -> bool {
    let seen = seen.to_lowercase();
    marks(maker, made)
        .filter(|mark| !matches!(mark.kind, MakerMarkKind::Site | MakerMarkKind::Logo))
        .map(|mark| mark.text.as_str())
        .chain([maker.name.as_str(), maker.title.as_str()])
        .any(|name| {
            let name = name.to_lowercase();
            name.contains(&seen) || seen.contains(&name)
        })
}

/// The words that describe something, without those that join them.
fn words(text: &str) -> Vec<String> {
    const JOIN: [&str; 12] = [
        "a", "an", "the", "in", "on", "over", "under", "and", "with", "of", "around", "logo",
    ];
    text.to_lowercase()
        .split(|c: char| !c.is_alphanumeric())
        .filter(|word| !word.is_empty() && !JOIN.contains(word))
        .map(str::to_owned)
        .collect()
}
