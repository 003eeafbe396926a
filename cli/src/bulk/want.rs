//! The columns that a run adds, resolved once.

use etchlore_engine::diagnostic::near;
use etchlore_engine::model::{FieldId, RuleSet};
use etchlore_engine::rank::{Candidate, FieldAnswer, Ranking};
use etchlore_engine::value::{Unit, Value};

use super::answer::Own;
use crate::failure::Failure;

/// What the name of every added column begins with.
const PREFIX: &str = "etch_";

/// The columns that are always added.
const ALWAYS: [&str; 5] = ["status", "family", "maker", "probability", "written"];

/// What is wanted of an answer beside status, family, maker, probability and written.
#[derive(Debug, Clone)]
pub(crate) struct Want {
    name: String,
    what: What,
}

#[derive(Debug, Clone)]
enum What {
    Function,
    Title,
    KnownTo,
    Note,
    Field { field: FieldId, aspect: Aspect },
}

/// Which side of a value.
#[derive(Debug, Clone, Copy)]
enum Aspect {
    Whole(Option<Unit>),
    Low,
    High,
    Text,
}

/// Columns that say something of the answer itself, not of the part.
const OTHERS: [(&str, What); 4] = [
    ("function", What::Function),
    ("title", What::Title),
    ("known_to", What::KnownTo),
    ("note", What::Note),
];

impl Want {
    /// The wishes of `--fields`.
    pub(crate) fn all(words: &[String], rules: &RuleSet) -> Result<Vec<Want>, Failure> {
        let words = words.iter().map(|word| word.trim());
        words
            .filter(|word| !word.is_empty())
            .map(|word| Want::of(word, rules))
            .collect()
    }

    fn of(word: &str, rules: &RuleSet) -> Result<Want, Failure> {
        if let Some((name, what)) = OTHERS.iter().find(|(name, _)| *name == word) {
            return Ok(Want {
                name: (*name).to_owned(),
                what: what.clone(),
            });
        }
        let (name, side) = word.split_once(':').unwrap_or((word, ""));
        let Some((at, field)) = rules
            .fields
            .iter()
            .enumerate()
            .find(|(_, field)| field.name == name)
        else {
            let names = rules.fields.iter().map(|field| field.name.as_str());
            let near = near(name, names.chain(OTHERS.iter().map(|(name, _)| *name)));
            let help = if near.is_empty() {
                "`etchlore rules show FAMILY` shows the fields of a family".to_owned()
            } else {
                format!("did you mean {}?", near.join(" or "))
            };
            return Err(Failure::Usage(
                format!("no rule loaded gives the field `{name}`"),
                help,
            ));
        };
        let aspect = match side {
            "" => Aspect::Whole(field.base.map(Unit::base)),
            "min" | "from" => Aspect::Low,
            "max" | "to" => Aspect::High,
            "text" => Aspect::Text,
            unit => {
                let fits = Unit::of(unit).filter(|unit| {
                    field
                        .base
                        .is_some_and(|base| base.factor(unit.base).is_some())
                });
                let Some(unit) = fits else {
                    let all: Vec<&str> = Unit::ALL
                        .iter()
                        .filter(|unit| {
                            field
                                .base
                                .is_some_and(|base| base.factor(unit.base).is_some())
                        })
                        .map(|unit| unit.symbol)
                        .collect();
                    let units = if all.is_empty() {
                        "it has no unit".to_owned()
                    } else {
                        format!("units: {}", all.join(", "))
                    };
                    return Err(Failure::Usage(
                        format!("`{unit}` is no unit of {name}"),
                        format!("{units}; or min, max, text"),
                    ));
                };
                Aspect::Whole(Some(unit))
            }
        };
        Ok(Want {
            name: word.replace(':', "_"),
            what: What::Field {
                field: FieldId::at(at),
                aspect,
            },
        })
    }

    /// The field that it is of.
    pub(crate) fn field(&self) -> Option<FieldId> {
        match self.what {
            What::Field { field, .. } => Some(field),
            _ => None,
        }
    }

    /// Whether it is said of the row instead of the mark.
    pub(crate) fn is_note(&self) -> bool {
        matches!(self.what, What::Note)
    }

    /// What a candidate says.
    pub(crate) fn of_candidate(
        &self,
        rules: &RuleSet,
        candidate: &Candidate,
        ranking: &Ranking,
    ) -> Own {
        let family = &rules.families[candidate.family.index()];
        match &self.what {
            What::Function => Own::text(family.function.as_deref().unwrap_or("")),
            What::Title => Own::text(&family.title),
            What::KnownTo => Own::text(candidate.known_to.words()),
            What::Note => Own::Empty,
            What::Field {
                field: wanted,
                aspect,
            } => {
                let own = candidate.fields.iter();
                // A line beside the identity may say what the identity does not: a date, a lot.
                let beside = ranking
                    .remarks
                    .iter()
                    .filter(|remark| remark.probability > 0.5)
                    .flat_map(|remark| &remark.fields);
                own.chain(beside)
                    .filter(|field| field.field == *wanted)
                    .map(|field| aspect.of(field))
                    .find(|value| *value != Own::Empty)
                    .unwrap_or(Own::Empty)
            }
        }
    }
}

impl Aspect {
    fn of(self, field: &FieldAnswer) -> Own {
        if field.probability.is_some_and(|p| p < 0.5) {
            return Own::Empty;
        }
        let Some(value) = &field.value else {
            return Own::Empty;
        };
        match (self, value) {
            (Aspect::Text, _) => Own::text(&value.show()),
            (Aspect::Whole(_) | Aspect::Low | Aspect::High, Value::Text(text)) => Own::text(text),
            (Aspect::Whole(unit), Value::Quantity(quantity)) => {
                let unit = unit.unwrap_or(Unit::base(quantity.base));
                Own::Number(in_unit(
                    quantity.value * quantity.base.factor(unit.base).unwrap_or(1.0),
                    unit,
                ))
            }
            (Aspect::Low | Aspect::High, Value::Quantity(quantity)) => Own::Number(quantity.value),
            (Aspect::Whole(unit), Value::Range { min, max, base }) => {
                let unit = unit.unwrap_or(Unit::base(*base));
                let end = |end: &Option<f64>| {
                    end.map_or(String::new(), |value| {
                        number(in_unit(value * base.factor(unit.base).unwrap_or(1.0), unit))
                    })
                };
                Own::Text(format!("{}..{}", end(min), end(max)))
            }
            (Aspect::Low, Value::Range { min, .. }) => min.map_or(Own::Empty, Own::Number),
            (Aspect::High, Value::Range { max, .. }) => max.map_or(Own::Empty, Own::Number),
            (Aspect::Low, Value::Dates(dates)) => Own::Text(dates.from.to_string()),
            (Aspect::High, Value::Dates(dates)) => Own::Text(dates.to.to_string()),
            (Aspect::Whole(_), Value::Dates(dates)) => {
                Own::Text(format!("{}..{}", dates.from, dates.to))
            }
        }
    }
}

/// A number of base units in another unit, without the dust of the division.
fn in_unit(value: f64, unit: Unit) -> f64 {
    let scale = 10_f64.powi(i32::from(unit.ten)) * 2_f64.powi(i32::from(unit.two));
    if scale == 1.0 {
        return value;
    }
    format!("{:.11e}", value / scale).parse().unwrap_or(value)
}

/// A number as it stands in a cell.
pub(crate) fn number(value: f64) -> String {
    format!("{value}")
}

/// The names of all columns added, none of which `taken` has already.
pub(crate) fn names(wants: &[Want], taken: &[String]) -> Vec<String> {
    let own = ALWAYS
        .iter()
        .copied()
        .chain(wants.iter().map(|want| want.name.as_str()));
    let mut names: Vec<String> = Vec::new();
    for name in own {
        let name = format!("{PREFIX}{name}");
        let used = |name: &String| taken.contains(name) || names.contains(name);
        let free = (2..).map(|n| format!("{name}_{n}"));
        let name = std::iter::once(name.clone())
            .chain(free)
            .find(|name| !used(name));
        names.extend(name);
    }
    names
}
