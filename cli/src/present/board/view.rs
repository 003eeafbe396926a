//! What every way to show a board shows of a part, in words.

use etchlore_engine::board::{Account, Board, DieFit, Part, PartAccount, State, function_of};
use etchlore_engine::model::{FamilyId, MakerId, RuleSet};
use etchlore_engine::rank::{Candidate, FieldAnswer};

use crate::present::text::{other_text, percent};
use crate::present::wire::standing;

/// Fields that an inventory shows, in this order; the rest is in the part's own card.
const KEY_FIELDS: [&str; 24] = [
    "density",
    "width",
    "dies",
    "core",
    "flash",
    "ram",
    "logic_family",
    "logic_function",
    "logic_cells",
    "resistance",
    "capacitance",
    "inductance",
    "tolerance",
    "rated_voltage",
    "temperature_characteristic",
    "output_voltage",
    "output_current",
    "frequency",
    "band",
    "interface",
    "variant",
    "package",
    "pins",
    "revision",
];

/// A part in words.
#[derive(Debug, Clone)]
pub(crate) struct PartView {
    /// Its first position.
    pub(crate) name: String,
    /// All of them.
    pub(crate) places: String,
    pub(crate) quantity: u32,
    pub(crate) state: State,
    /// What it is, in a few words: the family's title, or that nobody knows.
    pub(crate) title: String,
    /// Ordering code as far as known.
    pub(crate) written: Option<String>,
    /// Who really made it.
    pub(crate) maker: Option<String>,
    pub(crate) function: String,
    /// How deep it is known.
    pub(crate) depth: Option<&'static str>,
    pub(crate) probability: Option<f64>,
    /// The analyst's grade, where decided.
    pub(crate) grade: Option<&'static str>,
    /// The fields of an inventory: name and text.
    pub(crate) fields: Vec<(String, String)>,
    /// Dates of specimens, in words.
    pub(crate) dates: Vec<String>,
    /// Whose number it carries, from what evidence.
    pub(crate) stands_for: Option<String>,
    /// What is inside.
    pub(crate) inside: Option<String>,
    /// Other identities on the same package.
    pub(crate) also: Vec<String>,
    /// Its dies, in words.
    pub(crate) dies: Vec<String>,
    /// What the others' dates and makers changed.
    pub(crate) context: Option<String>,
    /// What an X-ray, a bus, a measurement said.
    pub(crate) observed: Vec<String>,
}

/// The title of a family with its maker.
pub(crate) fn named(set: &RuleSet, family: FamilyId) -> String {
    let family = &set.families[family.index()];
    let maker = family.maker.map(|maker| maker_name(set, Some(maker)));
    match maker {
        Some(maker) => format!("{}, {maker}", family.title),
        None => family.title.clone(),
    }
}

/// A maker for people.
pub(crate) fn maker_name(set: &RuleSet, maker: Option<MakerId>) -> String {
    maker.map_or_else(
        || "not known".to_owned(),
        |maker| set.makers[maker.index()].title.clone(),
    )
}

/// From this probability on another value of a field is named.
const RIVAL: f64 = 0.1;

/// A field in words: unknown codes and doubt are said.
pub(crate) fn field_text(field: &FieldAnswer) -> String {
    let mut text = if field.unknown {
        format!("code {} not listed", field.code.as_deref().unwrap_or("?"))
    } else {
        field.text.clone()
    };
    if let Some(p) = field.probability.filter(|p| *p < 0.9) {
        text.push_str(&format!(" ({})", percent(p)));
        let rivals = field.alternatives.iter();
        for rival in rivals.filter(|rival| rival.probability >= RIVAL).take(2) {
            let what = other_text(rival);
            text.push_str(&format!(" or {what} ({})", percent(rival.probability)));
        }
    }
    text
}

/// Its probability in words.
pub(crate) fn sure(view: &PartView) -> String {
    match (view.grade, view.probability) {
        (Some(grade), _) if view.state == State::Decided => grade.to_owned(),
        (_, Some(p)) => percent(p),
        (_, None) => view.state.word().to_owned(),
    }
}

pub(crate) fn parts(set: &RuleSet, board: &Board, account: &Account) -> Vec<PartView> {
    let both = board.parts.iter().zip(&account.parts);
    both.map(|(part, known)| one(set, part, known)).collect()
}

fn one(set: &RuleSet, part: &Part, known: &PartAccount) -> PartView {
    let lead = known.lead();
    let stands = lead.and_then(|lead| lead.relations.stands_for.as_ref());
    let decided = part
        .decision
        .as_ref()
        .filter(|_| known.state == State::Decided);
    let title = match (lead, decided.and_then(|decision| decision.is.clone())) {
        (Some(lead), _) => {
            let family = stands.map_or(lead.family, |stands| stands.family);
            set.families[family.index()].title.clone()
        }
        (None, Some(code)) => code,
        (None, None) => match known.state {
            State::Unread if part.observed.unmarked => "no mark".to_owned(),
            State::Unread => "not read".to_owned(),
            _ => "not explained by any rule".to_owned(),
        },
    };
    let maker = lead
        .and_then(|lead| known.true_maker(set, lead))
        .map(|maker| maker_name(set, Some(maker)))
        .or_else(|| part.decision.as_ref().and_then(|d| d.maker.clone()));
    PartView {
        name: part.name().to_owned(),
        places: part.places(),
        quantity: part.quantity,
        state: known.state,
        title,
        written: lead
            .and_then(|lead| lead.written.clone())
            .or_else(|| decided.and_then(|decision| decision.is.clone())),
        maker,
        function: function_of(set, part, known),
        depth: lead.map(|lead| lead.known_to.words()),
        probability: lead
            .filter(|_| known.state != State::Decided)
            .map(|lead| lead.probability),
        grade: part.decision.as_ref().map(|decision| decision.grade.word()),
        fields: lead.map(key_fields).unwrap_or_default(),
        dates: dates(part, known),
        stands_for: stands.map(|stands| {
            let mut text = format!("{} stands for {}", stands.code, named(set, stands.family));
            if let Some(written) = &stands.written {
                text.push_str(&format!(" {written}"));
            }
            let revision = lead.and_then(|lead| lead.fields.iter().find(|f| f.name == "revision"));
            if let Some(revision) = revision.filter(|field| !field.text.is_empty()) {
                text.push_str(&format!(", revision {}", revision.text));
            }
            let from = stands
                .source
                .clone()
                .unwrap_or_else(|| "no source".to_owned());
            format!("{text} ({}: {from})", standing(stands.standing))
        }),
        inside: lead.and_then(|lead| inside(set, lead)),
        also: known
            .also
            .iter()
            .filter_map(|other| other.ranking.candidates.first())
            .map(|other| {
                let written = other.written.as_deref().unwrap_or_default();
                match &other.relations.stands_for {
                    Some(stands) => format!(
                        "number {} of {} stands for {} ({}: {})",
                        stands.code,
                        maker_name(set, set.families[other.family.index()].maker),
                        stands.written.as_deref().unwrap_or(written),
                        standing(stands.standing),
                        stands.source.as_deref().unwrap_or("no source"),
                    ),
                    None => format!("{} {written}", named(set, other.family)),
                }
            })
            .collect(),
        dies: known.dies.iter().map(|die| die_text(set, die)).collect(),
        context: context(set, known),
        observed: observed(part),
    }
}

fn key_fields(lead: &Candidate) -> Vec<(String, String)> {
    let field = |name: &&str| lead.fields.iter().find(|field| field.name == **name);
    KEY_FIELDS
        .iter()
        .filter_map(field)
        .filter(|field| !field.text.is_empty() || field.unknown)
        .map(|field| (field.name.clone(), field_text(field)))
        .collect()
}

fn dates(part: &Part, known: &PartAccount) -> Vec<String> {
    let mut texts: Vec<String> = Vec::new();
    for (place, date) in known.dates() {
        let specimens = part.readings.iter().any(|one| one.specimen > 1);
        let text = match part.readings.get(place) {
            Some(one) if specimens => format!("{} (specimen {})", date.show(), one.specimen),
            _ => date.show(),
        };
        if !texts.contains(&text) {
            texts.push(text);
        }
    }
    texts
}

/// What is inside, in words.
pub(crate) fn inside(set: &RuleSet, lead: &Candidate) -> Option<String> {
    let each = lead.relations.contains.iter().map(|content| {
        let mut text = format!("{} of {}", content.count, named(set, content.family));
        if let Some(reading) = &content.reading {
            text.push_str(&format!(" {reading}"));
        }
        if let Some(p) = content.probability {
            text.push_str(&format!(" ({})", percent(p)));
        }
        text
    });
    let all: Vec<String> = each.collect();
    (!all.is_empty()).then(|| all.join("; "))
}

fn die_text(set: &RuleSet, die: &etchlore_engine::board::DieAccount) -> String {
    let lines: Vec<&str> = die
        .reading
        .lines
        .iter()
        .map(|line| line.text.as_str())
        .collect();
    let lead = die.ranking.candidates.first();
    let what = match lead.filter(|lead| lead.probability >= die.ranking.none) {
        Some(lead) => format!("{} {}", named(set, lead.family), percent(lead.probability)),
        None => "not explained by any rule".to_owned(),
    };
    format!(
        "{} `{}`: {what}; {}",
        die.number,
        lines.join(" | "),
        fit(set, &die.fit)
    )
}

/// How a die fits, in words.
pub(crate) fn fit(set: &RuleSet, fit: &DieFit) -> String {
    match fit {
        DieFit::Unknown => "says nothing of the package".to_owned(),
        DieFit::Alone(families) if families.is_empty() => {
            "the package was not identified".to_owned()
        }
        DieFit::Alone(families) => {
            let names: Vec<String> = families.iter().map(|f| named(set, *f)).collect();
            format!("known to be in {}", names.join("; "))
        }
        DieFit::Confirms => "confirms the mark".to_owned(),
        DieFit::Older(why) => format!("confirms the mark, and is older: {why}"),
        DieFit::Other(_) => "not what the rules say is inside".to_owned(),
        DieFit::OtherMaker { die, .. } => {
            format!("by another maker, {}", maker_name(set, Some(*die)))
        }
        DieFit::Differs {
            field,
            die,
            package,
        } => format!("says {field} {die}, the mark {package}"),
    }
}

/// What the others said, where it changed the answer by some points or the family that leads.
fn context(set: &RuleSet, known: &PartAccount) -> Option<String> {
    let (family, before) = known.alone?;
    let first = known.ranking.candidates.first()?;
    let now = first.probability;
    let turned = family != first.family;
    if !turned && (now - before).abs() < 0.01 {
        return None;
    }
    let mut from = Vec::new();
    if let Some(made) = known.around.made {
        from.push(match known.around.dated {
            0 => format!("the build date ({})", made.show()),
            count => format!("{count} dates of others ({})", made.show()),
        });
    }
    if !known.around.makers.is_empty() {
        from.push("makers of others".to_owned());
    }
    let was = if turned {
        format!("{} {}", named(set, family), percent(before))
    } else {
        percent(before)
    };
    Some(format!(
        "alone {was}; with {}: {}",
        from.join(" and "),
        percent(now)
    ))
}

fn observed(part: &Part) -> Vec<String> {
    let seen = &part.observed;
    let mut all = Vec::new();
    if let Some(dies) = seen.dies {
        all.push(format!("{dies} dies counted"));
    }
    if let Some(value) = &seen.measured {
        all.push(format!("measured {}", value.show()));
    }
    if seen.not_examined {
        all.push("not examined".to_owned());
    }
    all.extend(seen.other.iter().cloned());
    all
}
