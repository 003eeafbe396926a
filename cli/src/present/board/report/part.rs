//! One part of a page: its marks with their slots, what they say, and what else is known.

use etchlore_engine::board::{Part, PartAccount, State};
use etchlore_engine::decode::Reading;
use etchlore_engine::model::RuleSet;
use etchlore_engine::rank::{Candidate, FieldAnswer, Ranking};
use etchlore_engine::value::Interval;

use super::{Edition, Side, relative};
use crate::present::board::view::{PartView, fit, named, sure};
use crate::present::text::{flags, letter, percent, shown, slot_names, taken};
use crate::rules::Loaded;

/// Other candidates shown.
const OTHERS: usize = 5;
/// From this probability on another candidate is worth a line.
const WORTH: f64 = 1e-3;

/// A part in words, of one edition.
#[derive(Debug)]
pub(crate) struct Entry {
    pub(crate) view: PartView,
    /// How sure, in words.
    pub(crate) sure: String,
    /// The same as a number to sort by.
    pub(crate) sort: f64,
    pub(crate) dates: Vec<Interval>,
    /// What was seen of the package: name and text.
    pub(crate) seen: Vec<(&'static str, String)>,
    /// The module that it is inside of.
    pub(crate) within: Option<String>,
    pub(crate) marks: Vec<Mark>,
    pub(crate) said: Vec<Said>,
    /// What speaks against, what was taken for what, what is left over.
    pub(crate) but: Vec<String>,
    /// Evidence by slot, in bits.
    pub(crate) evidence: Vec<(String, f64)>,
    pub(crate) others: Vec<Other>,
    pub(crate) dies: Vec<Die>,
    /// The analyst's decision: name and text.
    pub(crate) decision: Vec<(&'static str, String)>,
    pub(crate) notes: Option<String>,
    /// Readings as typed, each with who, which specimen and from which photo.
    pub(crate) readings: Vec<(String, String)>,
    pub(crate) next: Vec<String>,
    /// Family of the rules with its place.
    pub(crate) rule: Option<String>,
    /// Inputs of a cost estimate.
    pub(crate) base: Option<String>,
    pub(crate) die_size: Option<String>,
    pub(crate) density: Option<String>,
    pub(crate) pins: Option<String>,
    pub(crate) package: Option<String>,
    pub(crate) body: Option<String>,
}

/// The lines of one form or specimen.
#[derive(Debug)]
pub(crate) struct Mark {
    pub(crate) head: String,
    pub(crate) lines: Vec<Vec<Seg>>,
}

/// Characters of one slot.
#[derive(Debug)]
pub(crate) struct Seg {
    pub(crate) text: String,
    pub(crate) letter: Option<char>,
}

/// A field.
#[derive(Debug)]
pub(crate) struct Said {
    pub(crate) letter: Option<char>,
    pub(crate) name: String,
    pub(crate) text: String,
    pub(crate) code: Option<String>,
    pub(crate) flags: Vec<String>,
}

/// Another candidate.
#[derive(Debug)]
pub(crate) struct Other {
    pub(crate) sure: String,
    pub(crate) what: String,
}

/// A die.
#[derive(Debug)]
pub(crate) struct Die {
    pub(crate) number: u32,
    pub(crate) marks: Vec<Vec<Seg>>,
    pub(crate) what: String,
    pub(crate) fit: String,
}

pub(super) fn entry(
    loaded: &Loaded,
    edition: Edition,
    (file, account): Side<'_>,
    at: usize,
    view: PartView,
) -> Entry {
    let set = loaded.rules.set();
    let (part, page, known) = (&file.board.parts[at], &file.parts[at], &account.parts[at]);
    let lead = known.lead();
    // A mark is lettered by what its own characters say, not by a decision.
    let of_mark = known
        .ranking
        .candidates
        .first()
        .filter(|c| c.probability >= known.ranking.none);
    let field = |name: &str| {
        let field = lead.and_then(|lead| lead.fields.iter().find(|field| field.name == name));
        field
            .filter(|field| !field.text.is_empty())
            .map(|field| field.text.clone())
    };
    let readings = part.readings.iter().zip(&page.typed).zip(&page.photos);
    let readings = readings.map(|((sighting, typed), photo)| {
        let mut about = vec![format!("specimen {}", sighting.specimen)];
        about.extend(
            sighting
                .reader
                .as_ref()
                .map(|reader| format!("read by {reader}")),
        );
        about.extend(
            photo
                .as_ref()
                .map(|photo| format!("photo {}", relative(file, photo))),
        );
        (typed.clone(), about.join(", "))
    });
    let sort = match view.state {
        State::Decided => 2.0,
        State::Unread => -1.0,
        _ => lead.map_or(0.0, |lead| lead.probability),
    };
    Entry {
        sure: sure(&view),
        sort,
        dates: known.dates().into_iter().map(|(_, date)| date).collect(),
        seen: seen(part),
        within: part.inside.clone(),
        marks: marks(set, edition, part, known, of_mark),
        said: said(edition, known, of_mark.or(lead)),
        but: edition
            .inside(of_mark.map(|lead| but(known, lead)))
            .unwrap_or_default(),
        evidence: edition.inside(of_mark.map(evidence)).unwrap_or_default(),
        others: others(set, edition, &known.ranking, of_mark.is_some()),
        dies: dies(set, edition, known),
        decision: decision(edition, part),
        notes: edition.inside(page.notes.clone()),
        readings: edition.inside(Some(readings.collect())).unwrap_or_default(),
        next: known
            .ranking
            .next_look
            .iter()
            .filter(|_| !edition.is_client())
            .map(|look| {
                format!(
                    "{} ({:.1} bits, {})",
                    look.text,
                    look.bits,
                    look.cost.word()
                )
            })
            .collect(),
        rule: edition.inside(lead.map(|lead| {
            let family = &set.families[lead.family.index()];
            let source = family.provenance.source.as_ref();
            let source = source
                .map(|source| format!(": {source}"))
                .unwrap_or_default();
            format!(
                "{} {}{source}",
                family.name,
                loaded.rule_place(family.place)
            )
        })),
        base: field("base"),
        die_size: field("die_size"),
        density: field("density"),
        pins: part
            .pins
            .map(|pins| pins.to_string())
            .or_else(|| field("pins")),
        package: part.package.clone().or_else(|| field("package")),
        body: (!part.body.is_empty())
            .then(|| body(&part.body))
            .or_else(|| field("body")),
        view,
    }
}

/// Measures in millimetres.
fn body(measures: &[f64]) -> String {
    let each: Vec<String> = measures
        .iter()
        .map(|metres| {
            let text = format!("{:.3}", metres * 1e3);
            text.trim_end_matches('0').trim_end_matches('.').to_owned()
        })
        .collect();
    format!("{} mm", each.join(" x "))
}

fn seen(part: &Part) -> Vec<(&'static str, String)> {
    let all = [
        ("package", part.package.clone()),
        ("terminals", part.pins.map(|pins| pins.to_string())),
        ("body", (!part.body.is_empty()).then(|| body(&part.body))),
        ("logo", part.logo.clone()),
        ("maker's name", part.maker.clone()),
        ("function", part.function.clone()),
    ];
    all.into_iter()
        .filter_map(|(name, text)| Some((name, text?)))
        .collect()
}

fn marks(
    set: &RuleSet,
    edition: Edition,
    part: &Part,
    known: &PartAccount,
    lead: Option<&Candidate>,
) -> Vec<Mark> {
    let Some(reading) = &known.reading else {
        return Vec::new();
    };
    let all = lines(set, edition, reading, lead, &known.ranking);
    if known.own.is_empty() {
        let head = reading.form.map_or("mark", |form| form.word());
        return vec![Mark {
            head: head.to_owned(),
            lines: all,
        }];
    }
    let mut all = all.into_iter();
    let each = known.own.iter().map(|(place, specimen)| {
        let sighting = part.readings.get(*place);
        let form = sighting.and_then(|one| one.reading.form);
        let form = form.map_or("mark", |form| form.word());
        let number = sighting.map_or(1, |one| one.specimen);
        Mark {
            head: format!("{form}, specimen {number}"),
            lines: all.by_ref().take(specimen.lines.1).collect(),
        }
    });
    each.collect()
}

/// Lines cut where the slot changes. What an edition does not show is dotted out.
fn lines(
    set: &RuleSet,
    edition: Edition,
    reading: &Reading,
    lead: Option<&Candidate>,
    ranking: &Ranking,
) -> Vec<Vec<Seg>> {
    let names = lead.map(slot_names).unwrap_or_default();
    let house = lead.is_some_and(|lead| lead.relations.stands_for.is_some());
    let each = reading.lines.iter().enumerate().map(|(number, line)| {
        let chars: Vec<char> = line.text.chars().collect();
        let mut letters: Vec<Option<char>> = vec![None; chars.len()];
        // Clients see what is explained, and nothing of a house number.
        let mut open = vec![!edition.is_client() || lead.is_some() && !house; chars.len()];
        let left = ranking.unexplained.iter();
        for piece in left.filter(|piece| piece.line == number && edition.is_client()) {
            let ends = piece.span.0 as usize..(piece.span.1 as usize).min(chars.len());
            open[ends].fill(false);
        }
        for span in lead.iter().flat_map(|lead| &lead.slots) {
            let at = names.iter().position(|name| *name == span.name);
            if span.line != number {
                continue;
            }
            let shows = !(edition.is_client() && house)
                && lead.is_some_and(|lead| edition.shows_slot(set, lead, span));
            for place in span.span.0 as usize..(span.span.1 as usize).min(chars.len()) {
                letters[place] = at.map(letter);
                open[place] &= shows || !edition.is_client();
            }
        }
        let mut segs: Vec<Seg> = Vec::new();
        let mut before = None;
        for ((c, letter), open) in chars.iter().zip(letters).zip(open) {
            let c = if open || *c == ' ' { *c } else { '•' };
            let letter = letter.filter(|_| open);
            match segs.last_mut().filter(|_| before == Some(letter)) {
                Some(last) => last.text.push(c),
                None => segs.push(Seg {
                    text: c.to_string(),
                    letter,
                }),
            }
            before = Some(letter);
        }
        segs
    });
    each.collect()
}

fn said(edition: Edition, known: &PartAccount, lead: Option<&Candidate>) -> Vec<Said> {
    let Some(lead) = lead else { return Vec::new() };
    let names = slot_names(lead);
    let one = |field: &FieldAnswer, name: String| {
        let slot = field.slot.as_ref().filter(|_| field.at.is_some());
        let at = slot.and_then(|slot| names.iter().position(|name| name == slot));
        let code = field.code.as_ref();
        Said {
            letter: at.map(letter),
            name,
            text: shown(field),
            code: edition.inside(
                code.filter(|code| **code != field.text && !code.is_empty())
                    .cloned(),
            ),
            flags: edition.inside(Some(flags(lead, field))).unwrap_or_default(),
        }
    };
    let plain = |field: &FieldAnswer| field.name.replace('_', " ");
    let common = lead
        .fields
        .iter()
        .filter(|field| edition.shows(lead, field));
    let mut all: Vec<Said> = common.map(|field| one(field, plain(field))).collect();
    for (number, (_, specimen)) in known.own.iter().enumerate() {
        let own = specimen
            .fields
            .iter()
            .filter(|field| field.name != "date_of" && edition.shows(lead, field));
        all.extend(
            own.map(|field| one(field, format!("{}, reading {}", plain(field), number + 1))),
        );
    }
    all
}

fn but(known: &PartAccount, lead: &Candidate) -> Vec<String> {
    let mut all: Vec<String> = Vec::new();
    for one in &lead.corrections {
        all.push(format!(
            "{} (line {}, character {}, {})",
            taken(one),
            one.line + 1,
            one.at + 1,
            one.slot
        ));
    }
    for one in &lead.disagreements {
        let source = one.source.as_ref().map(|source| format!(" ({source})"));
        let mended = one
            .mended_by
            .as_ref()
            .map(|how| format!("; mended if {how}"));
        all.push(format!(
            "{}{}{}",
            one.text,
            source.unwrap_or_default(),
            mended.unwrap_or_default()
        ));
    }
    for piece in &known.ranking.unexplained {
        all.push(format!(
            "not explained: {} (line {})",
            piece.text,
            piece.line + 1
        ));
    }
    all.extend(known.ranking.stopped.clone());
    all
}

fn evidence(lead: &Candidate) -> Vec<(String, f64)> {
    let mut all = vec![("prior".to_owned(), lead.prior_bits)];
    all.extend(lead.evidence.iter().map(|one| (one.slot.clone(), one.bits)));
    if lead.context_bits.abs() > 1e-9 {
        all.push(("other readings".to_owned(), lead.context_bits));
    }
    all
}

fn others(set: &RuleSet, edition: Edition, ranking: &Ranking, led: bool) -> Vec<Other> {
    let rivals = ranking
        .candidates
        .iter()
        .skip(usize::from(led))
        .take(OTHERS);
    let mut all: Vec<Other> = rivals
        .filter(|candidate| candidate.probability >= WORTH)
        .map(|candidate| {
            let stands = candidate
                .relations
                .stands_for
                .as_ref()
                .filter(|_| edition.is_client());
            let (family, written) = match stands {
                Some(stands) => (stands.family, stands.written.clone()),
                None => (candidate.family, candidate.written.clone()),
            };
            let written = written
                .map(|written| format!(", {written}"))
                .unwrap_or_default();
            Other {
                sure: percent(candidate.probability),
                what: format!("{}{written}", named(set, family)),
            }
        })
        .collect();
    if ranking.none >= WORTH && !ranking.candidates.is_empty() {
        all.push(Other {
            sure: percent(ranking.none),
            what: "none of the rules".to_owned(),
        });
    }
    all
}

fn dies(set: &RuleSet, edition: Edition, known: &PartAccount) -> Vec<Die> {
    let each = known.dies.iter().map(|die| {
        let lead = die.ranking.candidates.first();
        let lead = lead.filter(|lead| lead.probability >= die.ranking.none);
        Die {
            number: die.number,
            marks: lines(set, edition, &die.reading, lead, &die.ranking),
            what: match lead {
                Some(lead) => format!("{}: {}", named(set, lead.family), percent(lead.probability)),
                None => "not explained by any rule".to_owned(),
            },
            fit: fit(set, &die.fit),
        }
    });
    each.collect()
}

fn decision(edition: Edition, part: &Part) -> Vec<(&'static str, String)> {
    let Some(decision) = &part.decision else {
        return Vec::new();
    };
    let all = [
        ("grade", Some(decision.grade.word().to_owned())),
        ("is", decision.is.clone()),
        ("maker", decision.maker.clone()),
        ("family", edition.inside(decision.family.clone())),
        ("basis", edition.inside(decision.basis.clone())),
        ("why", edition.inside(decision.why.clone())),
        ("who", edition.inside(decision.who.clone())),
    ];
    all.into_iter()
        .filter_map(|(name, text)| Some((name, text?)))
        .collect()
}
