//! What is known beside the reading, as evidence: how much likelier it is under an identity than under none.
//!
//! The figures are stated beliefs: a name seen on a package is its maker's nine times in ten, but second sources, brands and house
//! marks exist; a counted number of terminals is seldom wrong.

use super::answer::Context;
use super::fields::{Read, fields};
use crate::decode::{Decoder, Explanation, Stream};
use crate::model::{Family, MakerMarkKind};
use crate::value::Value;

/// log2 for a maker, function or package that fits.
const FITS: f64 = 4.0;
/// log2 for a maker that does not.
const OTHER_MAKER: f64 = -3.5;
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

/// log2 of P(context | explanation) / P(context | none).
pub(super) fn bits(
    decoder: &Decoder<'_>,
    explanation: &Explanation,
    context: &Context,
    stream: &Stream,
) -> f64 {
    let (_, family) = decoder.family(explanation.family);
    let mut bits = 0.0;
    if let Some(seen) = &context.maker {
        bits += maker(decoder, family, seen);
    }
    if let (Some(wanted), Some(function)) = (&context.function, &family.function) {
        let fits = function == wanted || function.starts_with(&format!("{wanted}/"));
        bits += if fits { FITS } else { OTHER_FUNCTION };
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

/// The most that it can be.
pub(super) fn most(context: &Context) -> f64 {
    let fits = [
        context.maker.is_some(),
        context.function.is_some(),
        context.package.is_some(),
    ];
    let pins = if context.pins.is_some() {
        SAME_PINS
    } else {
        0.0
    };
    FITS * fits.iter().filter(|fits| **fits).count() as f64 + pins
}

fn maker(decoder: &Decoder<'_>, family: &Family, seen: &str) -> f64 {
    let Some(maker) = family
        .maker
        .map(|maker| &decoder.rules.makers[maker.index()])
    else {
        return 0.0;
    };
    let seen = seen.to_lowercase();
    let names = maker
        .marks
        .iter()
        .filter(|mark| mark.kind != MakerMarkKind::Site)
        .map(|mark| mark.text.as_str());
    let known = names
        .chain([maker.name.as_str(), maker.title.as_str()])
        .any(|name| {
            let name = name.to_lowercase();
            name.contains(&seen) || seen.contains(&name)
        });
    if known { FITS } else { OTHER_MAKER }
}
