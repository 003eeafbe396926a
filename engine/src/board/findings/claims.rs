//! Claims against parts: totals of memory by kind, and bands.

use super::{Finding, FindingKind};
use crate::board::Board;
use crate::board::account::{Account, IDENTIFIED, PartAccount, true_family, value};
use crate::board::claim::{Amount, Claim, ClaimKind};
use crate::decode::{Decoder, Notation, Reading, Scratch};
use crate::model::{CodeKind, FamilyId, RuleSet};
use crate::rank::{Candidate, Context, Depth, rank};
use crate::value::{Base, Value, same, show};

const STORAGE: [&str; 4] = ["memory/nor", "memory/nand", "memory/eeprom", "memory/fram"];
const MEMORY: [&str; 3] = ["memory/dram", "memory/sram", "memory/psram"];

/// What parts of one kind hold together.
#[derive(Default)]
struct Total {
    bits: f64,
    parts: Vec<usize>,
    /// Parts of the kind that give no size.
    open: Vec<usize>,
}

pub(super) fn findings(decoder: &Decoder<'_>, board: &Board, account: &Account) -> Vec<Finding> {
    let claims = board.claims.iter();
    claims
        .filter_map(|claim| match &claim.amount {
            Amount::Bits {
                binary,
                decimal,
                bytes,
            } => {
                let total = total(decoder, board, account, claim.kind);
                sizes(claim, &total, (*binary, *decimal, *bytes), board)
            }
            Amount::Hertz(_) | Amount::Name(_) => band(decoder.rules, claim, account),
        })
        .collect()
}

fn total(decoder: &Decoder<'_>, board: &Board, account: &Account, kind: ClaimKind) -> Total {
    let wanted: &[&str] = match kind {
        ClaimKind::Storage => &STORAGE,
        ClaimKind::Memory => &MEMORY,
        ClaimKind::Band => &[],
    };
    let mut total = Total::default();
    for (at, (part, known)) in board.parts.iter().zip(&account.parts).enumerate() {
        // What is inside of another part is counted with that one, or its rules would count it twice.
        let within = part.inside.as_ref().is_some_and(|outer| {
            let outer = board
                .parts
                .iter()
                .position(|other| other.at.contains(outer));
            outer.is_some_and(|outer| holds(decoder, &account.parts[outer], wanted).is_some())
        });
        if within {
            continue;
        }
        let count = f64::from(part.quantity);
        match holds(decoder, known, wanted) {
            Some(Some(bits)) => {
                total.bits += bits * count;
                total.parts.push(at);
            }
            Some(None) => total.open.push(at),
            None => {}
        }
    }
    total
}

/// Bits of the kind wanted in a part: `None` where it is no such part, `Some(None)` where its size is not known.
fn holds(decoder: &Decoder<'_>, part: &PartAccount, wanted: &[&str]) -> Option<Option<f64>> {
    let set = decoder.rules;
    let lead = part.lead()?;
    let function = set.families[true_family(lead).index()].function.as_deref();
    if function.is_some_and(|function| wanted.contains(&function)) {
        let sure = part.identity().is_some() && !is_open(lead, "density");
        return Some(bits(lead).filter(|_| sure));
    }
    if lead.relations.contains.is_empty() {
        // A stack of which the rules do not say what is in it.
        return (function == Some("memory/stack")).then_some(None);
    }
    let mut found = None;
    for content in &lead.relations.contains {
        let family = &set.families[content.family.index()];
        if !family
            .function
            .as_deref()
            .is_some_and(|f| wanted.contains(&f))
        {
            continue;
        }
        let one = content_bits(decoder, content.family, content.reading.as_deref())
            .filter(|_| content.probability.is_none() && part.identity().is_some());
        let sum: &mut Option<f64> = found.get_or_insert(Some(0.0));
        *sum = sum
            .zip(one)
            .map(|(sum, one)| sum + one * f64::from(content.count));
    }
    found
}

fn is_open(lead: &Candidate, name: &str) -> bool {
    lead.known_to < Depth::BasePart || is_doubtful(lead, name)
}

fn is_doubtful(lead: &Candidate, name: &str) -> bool {
    lead.fields
        .iter()
        .any(|field| field.name == name && field.probability.is_some_and(|p| p < IDENTIFIED))
}

fn bits(lead: &Candidate) -> Option<f64> {
    in_bits(value(lead, "density")?)
}

fn in_bits(value: &Value) -> Option<f64> {
    match value {
        Value::Quantity(quantity) => quantity
            .base
            .factor(Base::Bit)
            .map(|factor| quantity.value * factor),
        _ => None,
    }
}

/// The size of something inside: of the part that the rule names, or the one size that the family has.
fn content_bits(decoder: &Decoder<'_>, family: FamilyId, reading: Option<&str>) -> Option<f64> {
    if let Some(text) = reading {
        let reading = Reading::parse(text, Notation::default()).ok()?;
        let context = Context::on(jiff::civil::Date::MAX);
        let only = decoder.only(family);
        let ranking = rank(&only, &reading, &context, &mut Scratch::default());
        return bits(ranking.candidates.first()?);
    }
    one_size(decoder.rules, family)
}

/// The density that every code of a family gives which gives one.
fn one_size(set: &RuleSet, family: FamilyId) -> Option<f64> {
    let density = set
        .fields
        .iter()
        .position(|field| field.name == "density")?;
    let family = &set.families[family.index()];
    let codes = family.slots.iter().flat_map(|slot| &slot.codes);
    let mut sizes = codes.filter_map(|code| {
        let listed = matches!(code.kind, CodeKind::Listed(_));
        let given = code
            .fields
            .iter()
            .find(|(field, _)| field.index() == density);
        given
            .filter(|_| listed)
            .and_then(|(_, value)| in_bits(value))
    });
    let first = sizes.next()?;
    sizes.all(|other| same(first, other)).then_some(first)
}

fn sizes(
    claim: &Claim,
    total: &Total,
    (binary, decimal, bytes): (f64, f64, bool),
    board: &Board,
) -> Option<Finding> {
    let names = |parts: &[usize]| {
        let names: Vec<&str> = parts.iter().map(|at| board.parts[*at].name()).collect();
        names.join(", ")
    };
    let kind = claim.kind.word();
    let claimed = &claim.text;
    let mut parts = total.parts.clone();
    if !total.open.is_empty() {
        parts.extend(&total.open);
        return Some(Finding {
            kind: FindingKind::ClaimOpen,
            text: format!(
                "{kind} of {claimed} is claimed; the size of {} is not known",
                names(&total.open)
            ),
            why: (!total.parts.is_empty()).then(|| {
                format!(
                    "the others ({}) hold {}",
                    names(&total.parts),
                    amount(total.bits)
                )
            }),
            parts,
        });
    }
    if total.parts.is_empty() {
        return Some(Finding {
            kind: FindingKind::ClaimOpen,
            text: format!("{kind} of {claimed} is claimed; no part identified holds any"),
            why: None,
            parts,
        });
    }
    let held = amount(total.bits);
    let from = names(&total.parts);
    let said = format!("{kind} of {claimed} is claimed; counted: {held} in {from}");
    let is = |factor: f64| near(total.bits * factor, binary) || near(total.bits * factor, decimal);
    let (kind, why) = if near(total.bits, binary) {
        return None;
    } else if near(total.bits, decimal) {
        (
            FindingKind::ClaimThousands,
            "the claim counts in 1,000s, memories in 1,024s: both are the same amount".to_owned(),
        )
    } else if near(total.bits * 1000.0 / 1024.0, decimal)
        || near(total.bits * (1000.0_f64 / 1024.0).powi(2), decimal)
    {
        (
            FindingKind::ClaimThousands,
            "the claim mixes prefixes of 1,000 and 1,024".to_owned(),
        )
    } else if is(8.0) {
        (
            FindingKind::ClaimBitsForBytes,
            format!(
                "the claim is eight times that: it reads as if the {} of the parts were bytes",
                show(total.bits, Base::Bit)
            ),
        )
    } else if is(0.125) {
        (
            FindingKind::ClaimBitsForBytes,
            format!(
                "the claim is an eighth of that: it reads as if {} were {}",
                if bytes { "bytes" } else { "bits" },
                if bytes { "bits" } else { "bytes" },
            ),
        )
    } else if total.bits < binary.min(decimal) {
        (
            FindingKind::ClaimShort,
            "a part may be missing from the list, or the product holds less than claimed"
                .to_owned(),
        )
    } else {
        (
            FindingKind::ClaimOver,
            "not all of it may be for the user, or the claim is of another version".to_owned(),
        )
    };
    Some(Finding {
        kind,
        parts,
        text: said,
        why: Some(why),
    })
}

fn near(a: f64, b: f64) -> bool {
    (a - b).abs() <= 1e-3 * a.max(b)
}

/// An amount in bits and bytes: both are said, since mixing them up is the usual slip.
fn amount(bits: f64) -> String {
    format!(
        "{} ({})",
        show(bits, Base::Bit),
        show(bits / 8.0, Base::Byte)
    )
}

fn band(set: &RuleSet, claim: &Claim, account: &Account) -> Option<Finding> {
    let mut open = Vec::new();
    let mut radios = Vec::new();
    for (at, part) in account.parts.iter().enumerate() {
        let Some(lead) = part.lead() else { continue };
        let function = set.families[true_family(lead).index()].function.as_deref();
        if !function.is_some_and(|function| function.starts_with("radio/")) {
            continue;
        }
        radios.push(at);
        let sure = |name| value(lead, name).filter(|_| !is_doubtful(lead, name));
        let fields = ["frequency", "band"].map(sure);
        if fields.iter().all(Option::is_none) || part.identity().is_none() {
            open.push(at);
        }
        let serves = fields
            .into_iter()
            .flatten()
            .any(|value| serves(value, claim));
        if serves {
            return None;
        }
    }
    let text = format!("the band {} is claimed; ", claim.text);
    let (kind, text, parts) = if !open.is_empty() {
        let text = format!("{text}the bands of some radio parts are not known");
        (FindingKind::ClaimOpen, text, open)
    } else if radios.is_empty() {
        let text = format!("{text}no radio part is identified");
        (FindingKind::ClaimBand, text, radios)
    } else {
        let text = format!("{text}no radio part identified is for it");
        (FindingKind::ClaimBand, text, radios)
    };
    Some(Finding {
        kind,
        parts,
        text,
        why: None,
    })
}

fn serves(value: &Value, claim: &Claim) -> bool {
    match (&claim.amount, value) {
        (Amount::Hertz(hertz), Value::Range { min, max, .. }) => {
            min.is_none_or(|min| min <= *hertz) && max.is_none_or(|max| *hertz <= max)
        }
        (Amount::Hertz(hertz), Value::Quantity(quantity)) => {
            quantity.base == Base::Hertz && near(quantity.value, *hertz)
        }
        (Amount::Name(name), value) => value.show().to_lowercase() == name.to_lowercase(),
        _ => false,
    }
}
