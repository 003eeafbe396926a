//! Diagnostics as SARIF 2.1.0, for the tools that show findings beside code.

use etchlore_engine::diagnostic::{Applicability, CODES, Diagnostic, Severity, info};
use etchlore_engine::source::{Place, Sources};
use serde_json::{Value as Json, json};

const SCHEMA: &str =
    "https://docs.oasis-open.org/sarif/sarif/v2.1.0/errata01/os/schemas/sarif-schema-2.1.0.json";

/// A path as the address of an artifact: spaces and what else an address may not hold are percent-encoded.
fn address(name: &str) -> String {
    let mut out = String::new();
    for byte in name.replace('\\', "/").bytes() {
        if byte.is_ascii_alphanumeric() || b"-._~/!$&'()*+,;=@".contains(&byte) {
            out.push(char::from(byte));
        } else {
            out.push_str(&format!("%{byte:02X}"));
        }
    }
    // An absolute path needs its scheme; others are relative to where the tool ran.
    if out.starts_with('/') {
        format!("file://{out}")
    } else {
        out
    }
}

fn location(sources: &Sources, place: Place) -> Option<Json> {
    let source = sources.get(place.source)?;
    let (from, to) = (
        source.line_col(place.span.start),
        source.line_col(place.span.end),
    );
    Some(json!({
        "artifactLocation": { "uri": address(&source.name) },
        "region": {
            "startLine": from.line, "startColumn": from.column,
            "endLine": to.line, "endColumn": to.column,
        },
    }))
}

fn level(severity: Severity) -> &'static str {
    match severity {
        Severity::Error => "error",
        Severity::Warning => "warning",
    }
}

fn result(diagnostic: &Diagnostic, sources: &Sources) -> Json {
    let mut text = diagnostic.title.clone();
    for help in &diagnostic.help {
        text.push_str(". ");
        text.push_str(help);
    }
    let mut labels = diagnostic.labels.iter();
    let main = labels
        .next()
        .and_then(|label| location(sources, label.place));
    let related: Vec<Json> = labels
        .filter_map(|label| {
            let place = location(sources, label.place)?;
            Some(json!({ "physicalLocation": place, "message": { "text": label.text } }))
        })
        .collect();
    let fixes: Vec<Json> = diagnostic
        .fixes
        .iter()
        .filter(|fix| fix.applicability == Applicability::Safe)
        .filter_map(|fix| {
            let source = fix.edits.first()?.0.source;
            let name = &sources.get(source)?.name;
            let replacements: Vec<Json> = fix
                .edits
                .iter()
                .filter_map(|(place, new)| {
                    let place = location(sources, *place)?;
                    Some(json!({ "deletedRegion": place["region"], "insertedContent": { "text": new } }))
                })
                .collect();
            Some(json!({
                "description": { "text": fix.title },
                "artifactChanges": [{ "artifactLocation": { "uri": address(name) }, "replacements": replacements }],
            }))
        })
        .collect();
    let mut out = json!({
        "ruleId": diagnostic.code,
        "level": level(diagnostic.severity),
        "message": { "text": text },
    });
    if let Some(at) = CODES.iter().position(|info| info.code == diagnostic.code) {
        out["ruleIndex"] = json!(at);
    }
    if let Some(main) = main {
        out["locations"] = json!([{ "physicalLocation": main }]);
    }
    if !related.is_empty() {
        out["relatedLocations"] = json!(related);
    }
    if !fixes.is_empty() {
        out["fixes"] = json!(fixes);
    }
    out
}

/// One document of one run.
pub(crate) fn document(
    diagnostics: &[Diagnostic],
    sources: &Sources,
    digest: Option<&str>,
    day: jiff::civil::Date,
) -> Json {
    let rules: Vec<Json> = CODES
        .iter()
        .map(|code| {
            json!({
                "id": code.code,
                "shortDescription": { "text": code.title },
                "fullDescription": { "text": format!("{} {}", code.what, code.why) },
                "help": { "text": format!("{}\ninstead: {}", code.example, code.instead) },
                "defaultConfiguration": { "level": level(code.severity) },
            })
        })
        .collect();
    let known = |diagnostic: &&Diagnostic| info(diagnostic.code).is_some();
    let results: Vec<Json> = diagnostics
        .iter()
        .filter(known)
        .map(|diagnostic| result(diagnostic, sources))
        .collect();
    json!({
        "$schema": SCHEMA,
        "version": "2.1.0",
        "runs": [{
            "tool": { "driver": {
                "name": "etchlore",
                "semanticVersion": env!("CARGO_PKG_VERSION"),
                "rules": rules,
            } },
            "columnKind": "unicodeCodePoints",
            "results": results,
            "properties": { "rules": digest, "seen": day.to_string() },
        }],
    })
}
