//! How a die fits its package: it confirms the mark, is of an older mask, or is somebody else's.

use super::account::{IDENTIFIED, PartAccount, leading, true_family, value};
use crate::model::{FamilyId, MakerId, RuleSet};
use crate::rank::{Candidate, Ranking};
use crate::value::{Interval, Value};

/// Years between the mask of a die and the package after which the mask is called old.
const OLD_MASK: i16 = 3;

/// How a die fits its package.
#[derive(Debug, Clone, PartialEq)]
pub enum DieFit {
    /// The die is not known.
    Unknown,
    /// The package is not known: the die alone speaks. Families that it is known to be in.
    Alone(Vec<FamilyId>),
    /// The rules say that it is inside, or it is a die of the family itself.
    Confirms,
    /// It confirms the package, with an older mask or revision than the mark: usual.
    Older(String),
    /// Of the maker of the package, but not what the rules say is inside.
    Other(String),
    /// Of another maker than the package.
    OtherMaker {
        /// Of the die.
        die: MakerId,
        /// Of the package.
        package: MakerId,
    },
    /// It differs from the package in a field: name, die, package.
    Differs {
        /// The field.
        field: String,
        /// What the die says.
        die: String,
        /// What the package says.
        package: String,
    },
}

pub(super) fn fit(set: &RuleSet, part: &PartAccount, die: &Ranking) -> DieFit {
    let Some(lead) = leading(die).filter(|lead| lead.probability >= IDENTIFIED) else {
        return DieFit::Unknown;
    };
    let package = leading(&part.ranking)
        .filter(|package| package.probability >= IDENTIFIED)
        .or_else(|| part.decided.as_ref().and_then(leading));
    let Some(package) = package else {
        let holders = set.families.iter().enumerate().filter(|(_, family)| {
            family
                .contains
                .iter()
                .any(|content| content.family == lead.family)
        });
        return DieFit::Alone(holders.map(|(at, _)| FamilyId::at(at)).collect());
    };
    let family = true_family(package);
    let inside = package
        .relations
        .contains
        .iter()
        .any(|content| content.family == lead.family);
    if !inside && lead.family != family && lead.family != package.family {
        let maker = |family: FamilyId| set.families[family.index()].maker;
        return match (maker(lead.family), maker(family)) {
            (Some(die), Some(package)) if die != package => DieFit::OtherMaker { die, package },
            _ => DieFit::Other(set.families[lead.family.index()].title.clone()),
        };
    }
    if lead.family == family
        && let Some(differs) = differs(lead, package)
    {
        return differs;
    }
    match older(part, lead, package) {
        Some(why) => DieFit::Older(why),
        None => DieFit::Confirms,
    }
}

/// A field that the family's own die and package give differently. A revision may be older, a date is another one.
fn differs(die: &Candidate, package: &Candidate) -> Option<DieFit> {
    let spoken = |field: &&crate::rank::FieldAnswer| {
        field.at.is_some()
            && !matches!(
                field.name.as_str(),
                "date" | "date_of" | "revision" | "year" | "lot" | "serial"
            )
    };
    die.fields.iter().filter(spoken).find_map(|field| {
        let (here, there) = (field.value.as_ref()?, value(package, &field.name)?);
        (!here.agrees(there)).then(|| DieFit::Differs {
            field: field.name.clone(),
            die: here.show(),
            package: there.show(),
        })
    })
}

fn older(part: &PartAccount, die: &Candidate, package: &Candidate) -> Option<String> {
    let revision = |candidate: &Candidate| match value(candidate, "revision") {
        Some(Value::Text(text)) => Some(text.clone()),
        _ => None,
    };
    if die.family == package.family
        && let Some(at_die) = revision(die)
    {
        let before = package
            .relations
            .succeeds
            .iter()
            .find(|known| known.before.contains(&at_die));
        if let Some(known) = before {
            return Some(format!(
                "revision {at_die} on the die comes before revision {} of the mark",
                known.code
            ));
        }
    }
    let year = |interval: &Interval| interval.to.year();
    let mask = match value(die, "date") {
        Some(Value::Dates(interval)) => year(interval),
        _ => return None,
    };
    let dated = part.dates();
    let (_, packed) = dated.first()?;
    let apart = packed.from.year() - mask;
    (apart >= OLD_MASK).then(|| {
        format!(
            "the mask is of {mask}, {apart} years before the package of {}",
            packed.show()
        )
    })
}
