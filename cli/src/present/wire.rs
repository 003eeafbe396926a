//! The promised JSON. These types are apart from the engine's, so that the engine can change without breaking the promise.

use std::collections::BTreeMap;

use etchlore_engine::decode::Reading;
use etchlore_engine::model::Standing;
use etchlore_engine::rank::{self, Ranking};
use etchlore_engine::value::{Base, Value};
use jiff::civil::Date;
use serde::Serialize;
use serde_json::{Map, Number, Value as Json};

use crate::failure::Failure;
use crate::rules::Loaded;

#[derive(Debug, Serialize)]
struct WireDocument {
    etchlore: &'static str,
    rules: String,
    seen: String,
    readings: Vec<WireReading>,
}

/// One reading with its answer.
#[derive(Debug, Serialize)]
pub(crate) struct WireReading {
    lines: Vec<String>,
    form: &'static str,
    candidates: Vec<WireCandidate>,
    none: Json,
    rest: Json,
    remarks: Vec<WireRemark>,
    unexplained: Vec<WirePiece>,
    next_look: Vec<WireLook>,
    #[serde(skip_serializing_if = "Option::is_none")]
    note: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    why: Option<Json>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    specimens: Vec<WireSpecimen>,
}

/// One of several specimens of one part.
#[derive(Debug, Serialize)]
struct WireSpecimen {
    /// Its lines among those of the reading, from 1.
    lines: Vec<usize>,
    /// What is its own.
    fields: Map<String, Json>,
}

impl WireReading {
    /// The same with the reasons of one family.
    pub(crate) fn because(self, why: Option<Json>) -> WireReading {
        WireReading { why, ..self }
    }
}

#[derive(Debug, Serialize)]
struct WireCandidate {
    probability: Json,
    bits: Json,
    prior_bits: Json,
    known_to: &'static str,
    family: String,
    title: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    maker: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    function: Option<String>,
    forms: Vec<&'static str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    written: Option<String>,
    fields: Map<String, Json>,
    corrections: Vec<WireCorrection>,
    disagreements: Vec<WireDisagreement>,
    evidence: Vec<WireEvidence>,
    #[serde(skip_serializing_if = "Option::is_none")]
    stands_for: Option<WireStandsFor>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    contains: Vec<WireContent>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    succeeds: Vec<WireSuccession>,
    #[serde(skip_serializing_if = "Option::is_none")]
    second_source: Option<String>,
    provenance: WireProvenance,
}

/// The part that a code of the mark stands for.
#[derive(Debug, Serialize)]
struct WireStandsFor {
    slot: String,
    code: String,
    family: String,
    title: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    maker: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    written: Option<String>,
    standing: &'static str,
    #[serde(skip_serializing_if = "Option::is_none")]
    source: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    note: Option<String>,
}

/// Something inside.
#[derive(Debug, Serialize)]
struct WireContent {
    count: u32,
    family: String,
    title: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    reading: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    probability: Option<Json>,
}

/// A revision with those before it, the latest first.
#[derive(Debug, Serialize)]
struct WireSuccession {
    slot: String,
    code: String,
    before: Vec<String>,
}

#[derive(Debug, Serialize)]
struct WireCorrection {
    line: usize,
    at: u32,
    read: String,
    #[serde(rename = "as")]
    taken: String,
    slot: String,
    bits: Json,
}

#[derive(Debug, Serialize)]
struct WireDisagreement {
    text: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    source: Option<String>,
    bits: Json,
    #[serde(skip_serializing_if = "Option::is_none")]
    mended_by: Option<String>,
}

#[derive(Debug, Serialize)]
struct WireEvidence {
    slot: String,
    bits: Json,
}

#[derive(Debug, Serialize)]
struct WireProvenance {
    #[serde(skip_serializing_if = "Option::is_none")]
    source: Option<String>,
    standing: &'static str,
    #[serde(skip_serializing_if = "Option::is_none")]
    reviewed: Option<String>,
    rule: String,
}

#[derive(Debug, Serialize)]
struct WireRemark {
    family: String,
    fields: Map<String, Json>,
    line: usize,
    span: [u32; 2],
    probability: Json,
}

#[derive(Debug, Serialize)]
struct WirePiece {
    line: usize,
    span: [u32; 2],
    text: String,
}

#[derive(Debug, Serialize)]
struct WireLook {
    observe: String,
    separates: Vec<String>,
    bits: Json,
    cost: &'static str,
    text: String,
}

/// A number rounded to `digits` significant ones, whole numbers without a point.
fn number(value: f64, digits: usize) -> Json {
    if !value.is_finite() {
        return Json::Null;
    }
    let rounded: f64 = format!("{value:.*e}", digits.saturating_sub(1))
        .parse()
        .unwrap_or(value);
    exact(rounded)
}

/// A number as it is, whole ones without a point.
fn exact(value: f64) -> Json {
    if value.fract() == 0.0 && value.abs() < 9e15 {
        return Json::Number(Number::from(value as i64));
    }
    Number::from_f64(value).map_or(Json::Null, Json::Number)
}

/// Probabilities keep their sum: full precision.
fn probability(value: f64) -> Json {
    exact(value)
}

fn put_value(object: &mut Map<String, Json>, value: &Value) {
    let unit = |object: &mut Map<String, Json>, base: Base| {
        if base != Base::Count {
            object.insert("unit".to_owned(), Json::from(base.symbol()));
        }
    };
    match value {
        Value::Text(_) => {}
        Value::Quantity(quantity) => {
            object.insert("value".to_owned(), exact(quantity.value));
            unit(object, quantity.base);
        }
        Value::Range { min, max, base } => {
            if let Some(min) = min {
                object.insert("min".to_owned(), exact(*min));
            }
            if let Some(max) = max {
                object.insert("max".to_owned(), exact(*max));
            }
            unit(object, *base);
        }
        Value::Dates(interval) => {
            object.insert("from".to_owned(), Json::from(interval.from.to_string()));
            object.insert("to".to_owned(), Json::from(interval.to.to_string()));
        }
    }
}

fn field(answer: &rank::FieldAnswer) -> Json {
    let mut object = Map::new();
    if let Some(slot) = &answer.slot {
        object.insert("slot".to_owned(), Json::from(slot.as_str()));
    }
    if let Some(code) = &answer.code {
        object.insert("code".to_owned(), Json::from(code.as_str()));
    }
    if answer.derived {
        object.insert("derived".to_owned(), Json::from(true));
    }
    object.insert("text".to_owned(), Json::from(answer.text.as_str()));
    if answer.unknown {
        object.insert("unknown".to_owned(), Json::from(true));
    }
    if let Some(value) = &answer.value {
        put_value(&mut object, value);
    }
    if let Some((line, span)) = answer.at {
        object.insert("line".to_owned(), Json::from(line + 1));
        object.insert("span".to_owned(), Json::from(vec![span.0, span.1]));
    }
    if let Some(p) = answer.probability {
        object.insert("probability".to_owned(), number(p, 6));
        let others = answer.alternatives.iter().map(|other| {
            let mut object = Map::new();
            if let Some(code) = &other.code {
                object.insert("code".to_owned(), Json::from(code.as_str()));
            }
            if other.absent {
                object.insert("absent".to_owned(), Json::from(true));
            } else {
                object.insert("text".to_owned(), Json::from(other.text.as_str()));
            }
            if let Some(value) = &other.value {
                put_value(&mut object, value);
            }
            object.insert("probability".to_owned(), number(other.probability, 6));
            Json::Object(object)
        });
        let others: Vec<Json> = others.collect();
        if !others.is_empty() {
            object.insert("alternatives".to_owned(), Json::Array(others));
        }
    }
    if let Some(founded) = answer.standing {
        object.insert("standing".to_owned(), Json::from(standing(founded)));
    }
    Json::Object(object)
}

fn fields(answers: &[rank::FieldAnswer]) -> Map<String, Json> {
    answers
        .iter()
        .map(|answer| (answer.name.clone(), field(answer)))
        .collect()
}

fn candidate(loaded: &Loaded, candidate: &rank::Candidate) -> WireCandidate {
    let set = loaded.rules.set();
    let family = &set.families[candidate.family.index()];
    let mut evidence: Vec<WireEvidence> = candidate
        .evidence
        .iter()
        .map(|e| WireEvidence {
            slot: e.slot.clone(),
            bits: number(e.bits, 6),
        })
        .collect();
    if candidate.context_bits.abs() > 1e-9 {
        evidence.push(WireEvidence {
            slot: "other readings".to_owned(),
            bits: number(candidate.context_bits, 6),
        });
    }
    WireCandidate {
        probability: probability(candidate.probability),
        bits: number(candidate.bits, 6),
        prior_bits: number(candidate.prior_bits, 6),
        known_to: candidate.known_to.words(),
        family: family.name.clone(),
        title: family.title.clone(),
        maker: family
            .maker
            .map(|maker| set.makers[maker.index()].title.clone()),
        function: family.function.clone(),
        forms: candidate.forms.iter().map(|form| form.word()).collect(),
        written: candidate.written.clone(),
        fields: fields(&candidate.fields),
        corrections: candidate
            .corrections
            .iter()
            .map(|c| WireCorrection {
                line: c.line + 1,
                at: c.at,
                read: c.read.clone(),
                taken: c.taken.clone(),
                slot: c.slot.clone(),
                bits: number(c.bits, 4),
            })
            .collect(),
        disagreements: candidate
            .disagreements
            .iter()
            .map(|d| WireDisagreement {
                text: d.text.clone(),
                source: d.source.clone(),
                bits: number(d.bits, 4),
                mended_by: d.mended_by.clone(),
            })
            .collect(),
        evidence,
        stands_for: candidate.relations.stands_for.as_ref().map(|known| {
            let family = &set.families[known.family.index()];
            WireStandsFor {
                slot: known.slot.clone(),
                code: known.code.clone(),
                family: family.name.clone(),
                title: family.title.clone(),
                maker: family
                    .maker
                    .map(|maker| set.makers[maker.index()].title.clone()),
                written: known.written.clone(),
                standing: standing(known.standing),
                source: known.source.clone(),
                note: known.note.clone(),
            }
        }),
        contains: candidate
            .relations
            .contains
            .iter()
            .map(|content| {
                let family = &set.families[content.family.index()];
                WireContent {
                    count: content.count,
                    family: family.name.clone(),
                    title: family.title.clone(),
                    reading: content.reading.clone(),
                    probability: content.probability.map(|p| number(p, 6)),
                }
            })
            .collect(),
        succeeds: candidate
            .relations
            .succeeds
            .iter()
            .map(|one| WireSuccession {
                slot: one.slot.clone(),
                code: one.code.clone(),
                before: one.before.clone(),
            })
            .collect(),
        second_source: candidate
            .relations
            .second_source
            .map(|id| set.families[id.index()].name.clone()),
        provenance: WireProvenance {
            source: family.provenance.source.clone(),
            standing: standing(family.provenance.standing.unwrap_or_default()),
            reviewed: family.provenance.reviewed.map(|day| day.to_string()),
            rule: loaded.sources.file_line(family.place),
        },
    }
}

/// The word of a standing.
pub(crate) fn standing(standing: Standing) -> &'static str {
    match standing {
        Standing::Documented => "documented",
        Standing::Observed => "observed",
        Standing::Supposed => "supposed",
    }
}

/// The answer to several specimens of one part.
pub(crate) fn specimens(loaded: &Loaded, all: &rank::Specimens, limit: usize) -> WireReading {
    let each = all.each.iter().map(|specimen| {
        let (from, count) = specimen.lines;
        WireSpecimen {
            lines: (from + 1..=from + count).collect(),
            fields: fields(&specimen.fields),
        }
    });
    WireReading {
        specimens: each.collect(),
        ..reading(loaded, &all.reading, &all.ranking, limit)
    }
}

/// The answer to one reading; candidates beyond `limit` are summed as the rest.
pub(crate) fn reading(
    loaded: &Loaded,
    reading: &Reading,
    ranking: &Ranking,
    limit: usize,
) -> WireReading {
    let set = loaded.rules.set();
    let name = |id: etchlore_engine::model::FamilyId| set.families[id.index()].name.clone();
    let shown = ranking.candidates.len().min(limit);
    let rest: f64 = ranking.rest
        + ranking.candidates[shown..]
            .iter()
            .map(|candidate| candidate.probability)
            .sum::<f64>();
    WireReading {
        lines: reading.lines.iter().map(|line| line.text.clone()).collect(),
        form: reading.form.map_or("any", |form| form.word()),
        candidates: ranking.candidates[..shown]
            .iter()
            .map(|c| candidate(loaded, c))
            .collect(),
        none: probability(ranking.none),
        rest: probability(rest),
        remarks: ranking
            .remarks
            .iter()
            .map(|remark| WireRemark {
                family: name(remark.family),
                fields: fields(&remark.fields),
                line: remark.piece.line + 1,
                span: [remark.piece.span.0, remark.piece.span.1],
                probability: number(remark.probability, 6),
            })
            .collect(),
        unexplained: ranking
            .unexplained
            .iter()
            .map(|piece| WirePiece {
                line: piece.line + 1,
                span: [piece.span.0, piece.span.1],
                text: piece.text.clone(),
            })
            .collect(),
        next_look: ranking
            .next_look
            .iter()
            .map(|look| WireLook {
                observe: look.observe.clone(),
                separates: look.separates.iter().map(|id| name(*id)).collect(),
                bits: number(look.bits, 4),
                cost: look.cost.word(),
                text: look.text.clone(),
            })
            .collect(),
        note: ranking.stopped.clone(),
        why: None,
        specimens: Vec::new(),
    }
}

/// The answer to a line that is no reading.
pub(crate) fn unread(text: &str, why: &str) -> WireReading {
    WireReading {
        lines: vec![text.to_owned()],
        form: "any",
        candidates: Vec::new(),
        none: Json::from(1),
        rest: Json::from(0),
        remarks: Vec::new(),
        unexplained: Vec::new(),
        next_look: Vec::new(),
        note: Some(why.to_owned()),
        why: None,
        specimens: Vec::new(),
    }
}

/// One document of readings.
pub(crate) fn document(
    loaded: &Loaded,
    seen: Date,
    readings: Vec<WireReading>,
) -> Result<String, Failure> {
    let document = WireDocument {
        etchlore: env!("CARGO_PKG_VERSION"),
        rules: loaded.digest().to_owned(),
        seen: seen.to_string(),
        readings,
    };
    serde_json::to_string_pretty(&document)
        .map_err(|error| Failure::Unreadable(error.to_string(), "report this".to_owned()))
}

/// One reading as a line.
pub(crate) fn line(reading: &WireReading) -> Result<String, Failure> {
    serde_json::to_string(reading)
        .map_err(|error| Failure::Unreadable(error.to_string(), "report this".to_owned()))
}

/// A document of other commands: version, digest and what `body` adds.
pub(crate) fn with_head(
    digest: Option<&str>,
    body: BTreeMap<&str, Json>,
) -> Result<String, Failure> {
    let mut object = Map::new();
    object.insert("etchlore".to_owned(), Json::from(env!("CARGO_PKG_VERSION")));
    if let Some(digest) = digest {
        object.insert("rules".to_owned(), Json::from(digest));
    }
    object.extend(body.into_iter().map(|(key, value)| (key.to_owned(), value)));
    serde_json::to_string_pretty(&Json::Object(object))
        .map_err(|error| Failure::Unreadable(error.to_string(), "report this".to_owned()))
}
