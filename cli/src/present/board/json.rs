//! A board's account as JSON.

use std::collections::BTreeMap;

use etchlore_engine::board::{
    Account, Board, Comparison, DieAccount, Finding, blocks, questions, sockets,
};
use etchlore_engine::model::RuleSet;
use serde_json::{Value as Json, json};

use super::view::{PartView, fit, maker_name, parts};
use crate::failure::Failure;
use crate::present::wire;
use crate::rules::Loaded;

/// Candidates listed for each reading.
const LISTED: usize = 5;

fn value(reading: &wire::WireReading) -> Result<Json, Failure> {
    serde_json::to_value(reading)
        .map_err(|error| Failure::Unreadable(error.to_string(), "report this".to_owned()))
}

pub(crate) fn head(board: &Board) -> Json {
    json!({
        "product": board.product,
        "generation": board.generation,
        "seen": board.seen.to_string(),
        "built": board.built.map(|built| built.show()),
    })
}

pub(crate) fn account(
    loaded: &Loaded,
    board: &Board,
    account: &Account,
) -> Result<String, Failure> {
    let set = loaded.rules.set();
    let views = parts(set, board, account);
    let names =
        |at: &[usize]| -> Vec<String> { at.iter().map(|at| views[*at].name.clone()).collect() };
    let mut listed = Vec::new();
    for (view, known) in views.iter().zip(&account.parts) {
        let mut part = of_part(view);
        if let Some(reading) = &known.reading {
            part["reading"] = value(&wire::reading(loaded, reading, &known.ranking, LISTED))?;
        }
        let mut also = Vec::new();
        for other in &known.also {
            if let Some(reading) = &known.reading {
                let lines = other
                    .lines
                    .iter()
                    .map(|at| reading.lines[*at].clone())
                    .collect();
                let alone = etchlore_engine::decode::Reading {
                    lines,
                    form: reading.form,
                };
                also.push(value(&wire::reading(
                    loaded,
                    &alone,
                    &other.ranking,
                    LISTED,
                ))?);
            }
        }
        part["also"] = Json::from(also);
        let dies: Result<Vec<Json>, Failure> =
            known.dies.iter().map(|die| of_die(loaded, die)).collect();
        part["dies"] = Json::from(dies?);
        if let Some((family, p)) = known.alone {
            part["alone"] =
                json!({ "family": set.families[family.index()].name, "probability": p });
        }
        if let Some(made) = known.around.made {
            part["around"] = json!({
                "made": { "from": made.from.to_string(), "to": made.to.to_string() },
                "dates": known.around.dated,
            });
        }
        listed.push(part);
    }
    let body: BTreeMap<&str, Json> = [
        ("seen", json!(board.seen.to_string())),
        ("board", head(board)),
        ("parts", Json::from(listed)),
        ("findings", account.findings.iter().map(|one| of_finding(board, one)).collect()),
        (
            "blocks",
            blocks(set, board, account)
                .iter()
                .map(|block| json!({ "function": block.function, "parts": names(&block.parts) }))
                .collect(),
        ),
        (
            "makers",
            sockets(set, board, account)
                .iter()
                .map(|one| {
                    json!({
                        "maker": one.maker.map(|maker| maker_name(set, Some(maker))),
                        "sockets": one.sockets, "parts": names(&one.parts),
                    })
                })
                .collect(),
        ),
        (
            "questions",
            questions(account)
                .iter()
                .map(|one| {
                    json!({ "part": views[one.part].name, "text": one.text, "bits": one.bits, "cost": one.cost.word() })
                })
                .collect(),
        ),
    ]
    .into();
    wire::with_head(Some(loaded.digest()), body)
}

fn of_part(view: &PartView) -> Json {
    let fields: serde_json::Map<String, Json> = view
        .fields
        .iter()
        .map(|(name, text)| (name.clone(), Json::from(text.as_str())))
        .collect();
    json!({
        "at": view.places, "quantity": view.quantity, "state": view.state.word(), "grade": view.grade,
        "title": view.title, "written": view.written, "maker": view.maker, "function": view.function,
        "known_to": view.depth, "probability": view.probability, "fields": fields, "dates": view.dates,
        "stands_for": view.stands_for, "inside": view.inside, "observed": view.observed,
    })
}

fn of_die(loaded: &Loaded, die: &DieAccount) -> Result<Json, Failure> {
    Ok(json!({
        "number": die.number,
        "fit": fit(loaded.rules.set(), &die.fit),
        "reading": value(&wire::reading(loaded, &die.reading, &die.ranking, LISTED))?,
    }))
}

fn of_finding(board: &Board, finding: &Finding) -> Json {
    let names: Vec<&str> = finding
        .parts
        .iter()
        .map(|at| board.parts[*at].name())
        .collect();
    json!({
        "kind": finding.kind.word(), "weight": finding.kind.weight().word(), "parts": names,
        "text": finding.text, "why": finding.why,
    })
}

pub(crate) fn comparison(
    loaded: &Loaded,
    old: (&Board, &[PartView]),
    new: (&Board, &[PartView]),
    found: &Comparison,
) -> Result<String, Failure> {
    let set: &RuleSet = loaded.rules.set();
    let side = |views: &[PartView], at: Option<usize>| -> Json {
        at.map_or(Json::Null, |at| {
            let view = &views[at];
            json!({ "at": view.places, "written": view.written, "title": view.title, "maker": view.maker, "dates": view.dates })
        })
    };
    let changes = found.changes.iter().map(|change| {
        let fields: Vec<Json> = change
            .fields
            .iter()
            .map(|field| json!({ "field": field.name, "old": field.old, "new": field.new }))
            .collect();
        json!({
            "kind": change.kind.word(), "old": side(old.1, change.old), "new": side(new.1, change.new),
            "fields": fields, "quantity": change.quantity.map(|(was, is)| [was, is]),
        })
    });
    let makers = found.makers.iter().map(|(maker, was, is)| {
        json!({ "maker": maker.map(|maker| maker_name(set, Some(maker))), "old": was, "new": is })
    });
    let body: BTreeMap<&str, Json> = [
        ("seen", json!(new.0.seen.to_string())),
        ("old", head(old.0)),
        ("new", head(new.0)),
        ("changes", changes.collect()),
        ("makers", makers.collect()),
    ]
    .into();
    wire::with_head(Some(loaded.digest()), body)
}
