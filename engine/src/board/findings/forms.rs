//! One part against itself: forms, specimens and readers against each other, package, terminals, measurement, contents, dies.

use super::{Finding, FindingKind};
use crate::board::account::{Account, IDENTIFIED, PartAccount, leading, taken, true_family, value};
use crate::board::{Board, DieFit, Part};
use crate::model::{FamilyId, RuleSet};
use crate::rank::{Candidate, Clash};
use crate::value::{Quantity, Value, same};

/// By how much a measured value may differ where the part gives no tolerance.
const MEASURED: f64 = 0.05;

pub(super) fn findings(
    set: &RuleSet,
    board: &Board,
    account: &Account,
    at: usize,
    found: &mut Vec<Finding>,
) {
    let (part, known) = (&board.parts[at], &account.parts[at]);
    let mut add = |kind, text: String, why: Option<String>| {
        found.push(Finding {
            kind,
            parts: vec![at],
            text,
            why,
        });
    };
    readers(part, &mut add);
    if let Some(lead) = leading(&known.ranking).filter(|lead| lead.probability >= IDENTIFIED) {
        clashes(part, known, lead, &mut add);
        dates_of_forms(part, known, &mut add);
        measured(part, lead, &mut add);
        decision(set, part, lead, &mut add);
        also(set, part, known, lead, &mut add);
    }
    if let Some(lead) = known.identity() {
        package(part, lead, &mut add);
        contents(set, board, account, at, lead, &mut add);
    }
    dies(set, part, known, &mut add);
}

type Add<'a> = dyn FnMut(FindingKind, String, Option<String>) + 'a;

/// The same mark, read by two people.
fn readers(part: &Part, add: &mut Add<'_>) {
    for (at, one) in part.readings.iter().enumerate() {
        let first = part.readings[..at].iter().find(|known| {
            known.specimen == one.specimen
                && known.reading.form == one.reading.form
                && known.die == one.die
        });
        let Some(first) = first else { continue };
        let text = |sighting: &super::super::Sighting| {
            let lines: Vec<&str> = sighting
                .reading
                .lines
                .iter()
                .map(|l| l.text.as_str())
                .collect();
            lines.join(" | ")
        };
        let (a, b) = (text(first), text(one));
        if a != b {
            let who =
                |name: &Option<String>| name.clone().unwrap_or_else(|| "one reader".to_owned());
            add(
                FindingKind::ReadersDiffer,
                format!(
                    "{} was read as `{a}` by {} and as `{b}` by {}",
                    part.name(),
                    who(&first.reader),
                    who(&one.reader)
                ),
                Some("the first reading is used; look at the photo again".to_owned()),
            );
        }
    }
}

/// What the decoder itself found to disagree.
fn clashes(part: &Part, known: &PartAccount, lead: &Candidate, add: &mut Add<'_>) {
    let taken = taken(part);
    let several_forms = taken
        .iter()
        .any(|(_, one)| one.reading.form != taken[0].1.reading.form);
    let several_specimens = taken
        .iter()
        .any(|(_, one)| one.specimen != taken[0].1.specimen);
    for clash in &lead.disagreements {
        let kind = match clash.kind {
            // Told with the dates of the board.
            Clash::AfterReading => continue,
            Clash::Twice | Clash::Specimen if several_specimens => FindingKind::SpecimensDiffer,
            Clash::Twice | Clash::Specimen if several_forms => FindingKind::FormsDiffer,
            _ => FindingKind::RuleBroken,
        };
        let values: Vec<String> = clash
            .slots
            .iter()
            .map(|slot| {
                let spans = lead.slots.iter().filter(|span| span.name == *slot);
                let mut codes: Vec<&str> = spans.map(|span| span.code.as_str()).collect();
                codes.dedup();
                codes.join(" and ")
            })
            .filter(|codes| codes.contains(" and "))
            .collect();
        let codes = if values.is_empty() {
            String::new()
        } else {
            format!(" ({})", values.join("; "))
        };
        let why = clash
            .mended_by
            .as_ref()
            .map(|how| format!("it would fit if {how}"))
            .or_else(|| clash.source.clone());
        let _ = known;
        add(kind, format!("{}: {}{codes}", part.name(), clash.text), why);
    }
}

/// Dates of two forms of one specimen.
fn dates_of_forms(part: &Part, known: &PartAccount, add: &mut Add<'_>) {
    let dates = known.dates();
    for (at, (place, date)) in dates.iter().enumerate() {
        let here = part.readings.get(*place);
        let other = dates[..at].iter().find(|(other, interval)| {
            let there = part.readings.get(*other);
            here.zip(there)
                .is_some_and(|(a, b)| a.specimen == b.specimen)
                && (interval.to < date.from || date.to < interval.from)
        });
        let Some((other, interval)) = other else {
            continue;
        };
        let form = |place: usize| {
            let form = part.readings.get(place).and_then(|one| one.reading.form);
            form.map_or("mark", crate::model::FormKind::word)
        };
        add(
            FindingKind::FormsDiffer,
            format!(
                "{}: the {} is dated {}, the {} {}",
                part.name(),
                form(*other),
                interval.show(),
                form(*place),
                date.show()
            ),
            Some("one of them is misread, or a label of another part".to_owned()),
        );
    }
}

/// A value that was measured.
fn measured(part: &Part, lead: &Candidate, add: &mut Add<'_>) {
    let Some(Value::Quantity(measured)) = part.observed.measured else {
        return;
    };
    let said = lead.fields.iter().find_map(|field| match field.value {
        Some(Value::Quantity(said)) if said.base == measured.base => Some(said),
        _ => None,
    });
    let Some(said) = said else { return };
    let allowed = match value(lead, "tolerance") {
        Some(Value::Range {
            max: Some(percent), ..
        }) => percent / 100.0,
        _ => MEASURED,
    };
    if !fits(measured, said, allowed) {
        add(
            FindingKind::MeasuredDiffers,
            format!(
                "{} was measured as {}; its mark says {}",
                part.name(),
                Value::Quantity(measured).show(),
                Value::Quantity(said).show()
            ),
            Some("parts beside it on the board change what is measured there".to_owned()),
        );
    }
}

fn fits(a: Quantity, b: Quantity, allowed: f64) -> bool {
    same(a.value, b.value) || (a.value - b.value).abs() <= allowed * b.value.abs() * 1.0001
}

/// What the analyst decided, against what leads.
fn decision(set: &RuleSet, part: &Part, lead: &Candidate, add: &mut Add<'_>) {
    let Some(decision) = &part.decision else {
        return;
    };
    let name = |family: FamilyId| set.families[family.index()].name.as_str();
    let other_family = decision
        .family
        .as_ref()
        .filter(|family| *family != name(lead.family) && *family != name(true_family(lead)));
    let plain = |text: &str| -> String {
        text.chars()
            .filter(|c| c.is_ascii_alphanumeric() || *c == '_')
            .collect::<String>()
            .to_uppercase()
    };
    let other_code = match (&decision.is, &lead.written) {
        (Some(is), Some(written)) => !may_be(&plain(is), &plain(written)),
        _ => false,
    };
    if other_family.is_none() && !other_code {
        return;
    }
    let decided = decision.is.as_ref().or(decision.family.as_ref());
    add(
        FindingKind::DecisionDiffers,
        format!(
            "{} was decided to be {} ({}); its marks say {}",
            part.name(),
            decided.map_or("another part", String::as_str),
            decision.grade.word(),
            lead.written
                .as_deref()
                .unwrap_or(&set.families[lead.family.index()].title),
        ),
        decision
            .why
            .as_ref()
            .map(|why| format!("decided because: {why}")),
    );
}

/// Whether a code can be one of which some characters are open; either may be cut short.
fn may_be(code: &str, written: &str) -> bool {
    let same = |(a, b): (char, char)| a == b || b == '_';
    let written = written.trim_end_matches('_');
    code.chars().zip(written.chars()).all(same)
}

/// Two identities on one package: the second should stand for the first.
fn also(set: &RuleSet, part: &Part, known: &PartAccount, lead: &Candidate, add: &mut Add<'_>) {
    for other in &known.also {
        let Some(second) = leading(&other.ranking) else {
            continue;
        };
        let (a, b) = (true_family(lead), true_family(second));
        let title = |family: FamilyId| set.families[family.index()].title.clone();
        let stands = second.relations.stands_for.is_some() || lead.relations.stands_for.is_some();
        let codes_differ = match (&lead.written, &second.written) {
            (Some(x), Some(y)) => a == b && !may_be(x, y) && !may_be(y, x),
            _ => false,
        };
        if stands && (a != b || codes_differ) {
            add(
                FindingKind::IdentitiesDiffer,
                format!(
                    "{}: its mark says {}; its other number stands for {}",
                    part.name(),
                    lead.written.clone().unwrap_or_else(|| title(a)),
                    second.written.clone().unwrap_or_else(|| title(b)),
                ),
                second.relations.stands_for.as_ref().map(|stands| {
                    let from = stands.source.as_deref().unwrap_or("no source");
                    format!("{} is known from: {from}", stands.code)
                }),
            );
        }
    }
}

fn package(part: &Part, lead: &Candidate, add: &mut Add<'_>) {
    if let (Some(counted), Some(Value::Quantity(pins))) = (part.pins, value(lead, "pins"))
        && !same(f64::from(counted), pins.value)
    {
        add(
            FindingKind::PinsDiffer,
            format!(
                "{} has {counted} terminals; its mark says {}",
                part.name(),
                pins.value
            ),
            None,
        );
    }
    let plain = |text: &str| {
        text.to_uppercase()
            .chars()
            .filter(char::is_ascii_alphanumeric)
            .collect::<String>()
    };
    if let (Some(seen), Some(Value::Text(package))) = (&part.package, value(lead, "package")) {
        let (a, b) = (plain(seen), plain(package));
        if !a.starts_with(&b) && !b.starts_with(&a) {
            add(
                FindingKind::PackageDiffers,
                format!("{} is in a {seen}; its mark says {package}", part.name()),
                None,
            );
        }
    }
}

/// Dies counted and parts listed inside, against what the rules say is inside.
fn contents(
    set: &RuleSet,
    board: &Board,
    account: &Account,
    at: usize,
    lead: &Candidate,
    add: &mut Add<'_>,
) {
    let part = &board.parts[at];
    let inside = &lead.relations.contains;
    let certain = inside.iter().all(|content| content.probability.is_none());
    let ruled: u32 = inside.iter().map(|content| content.count).sum();
    let said = match value(lead, "dies") {
        Some(Value::Quantity(dies)) => Some(dies.value),
        _ => (!inside.is_empty() && certain).then_some(f64::from(ruled)),
    };
    if let (Some(counted), Some(said)) = (part.observed.dies, said)
        && !same(f64::from(counted), said)
    {
        add(
            FindingKind::ContentsDiffer,
            format!(
                "{counted} dies were counted in {}; by its mark it has {said}",
                part.name()
            ),
            None,
        );
    }
    if inside.is_empty() || !certain {
        return;
    }
    // Parts that the board lists inside of this one.
    let listed: Vec<(usize, FamilyId, u32)> = board
        .parts
        .iter()
        .zip(&account.parts)
        .enumerate()
        .filter(|(_, (other, _))| other.inside.as_ref().is_some_and(|i| part.at.contains(i)))
        .filter_map(|(number, (other, known))| {
            let family = true_family(known.identity()?);
            Some((number, family, other.quantity))
        })
        .collect();
    for (number, family, count) in &listed {
        let known = inside.iter().find(|content| content.family == *family);
        let name = board.parts[*number].name();
        match known {
            None => add(
                FindingKind::ContentsDiffer,
                format!(
                    "{name} ({}) is inside {}; the rules do not say so",
                    set.families[family.index()].title,
                    part.name()
                ),
                None,
            ),
            Some(content) if content.count != *count => add(
                FindingKind::ContentsDiffer,
                format!(
                    "{count} of {} are inside {}; by its mark {}",
                    set.families[family.index()].title,
                    part.name(),
                    content.count
                ),
                None,
            ),
            Some(_) => {}
        }
    }
}

fn dies(set: &RuleSet, part: &Part, known: &PartAccount, add: &mut Add<'_>) {
    for die in &known.dies {
        let name = part.name();
        let which = if known.dies.len() > 1 {
            format!("die {} of {name}", die.number)
        } else {
            format!("the die of {name}")
        };
        match &die.fit {
            DieFit::Unknown | DieFit::Alone(_) | DieFit::Confirms => {}
            DieFit::Older(why) => add(
                FindingKind::DieOlder,
                format!("{which} is older than its mark: {why}"),
                Some("usual: a mask is kept for years, and packages are named anew".to_owned()),
            ),
            DieFit::Other(title) => add(
                FindingKind::DieDiffers,
                format!("{which} is a {title}, which the rules do not say is inside"),
                None,
            ),
            DieFit::OtherMaker {
                die: of_die,
                package,
            } => add(
                FindingKind::DieOtherMaker,
                format!(
                    "{which} is by {}, the package is marked by {}",
                    set.makers[of_die.index()].title,
                    set.makers[package.index()].title
                ),
                Some(
                    "who made the die made the part: bought in, a second source, or marked anew"
                        .to_owned(),
                ),
            ),
            DieFit::Differs {
                field,
                die,
                package,
            } => add(
                FindingKind::DieDiffers,
                format!("{which} says {field} {die}, the mark {package}"),
                None,
            ),
        }
    }
}
