//! The casebook of a lab: confirmed cases, one line each, appended and never changed, so that several people's merge.

use std::collections::BTreeMap;
use std::io::Write;
use std::path::Path;

use crate::failure::Failure;

/// First line of a casebook.
const HEAD: &str = "marking\tfamily\tordering_code\tseen\tplace\twho\tevidence";

/// One confirmed case.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Case {
    pub(crate) marking: String,
    pub(crate) family: String,
    pub(crate) ordering_code: String,
    pub(crate) seen: String,
    pub(crate) place: String,
    pub(crate) who: String,
    pub(crate) evidence: String,
}

/// How many cases confirm each family.
pub(crate) fn counts(path: &Path) -> Result<BTreeMap<String, usize>, Failure> {
    let mut counts = BTreeMap::new();
    for case in cases(path)? {
        *counts.entry(case.family).or_default() += 1;
    }
    Ok(counts)
}

/// All cases, in their order.
pub(crate) fn cases(path: &Path) -> Result<Vec<Case>, Failure> {
    let text = std::fs::read_to_string(path).map_err(|error| {
        Failure::Unreadable(
            format!("the casebook {} cannot be read: {error}", path.display()),
            "check `casebook:` in etchlore.yaml".to_owned(),
        )
    })?;
    let mut cases = Vec::new();
    for (number, line) in (1..).zip(text.lines()) {
        if line.trim().is_empty() || line.starts_with('#') || line == HEAD {
            continue;
        }
        let fields: Vec<&str> = line.split('\t').collect();
        if fields.len() != HEAD.split('\t').count() || fields[1].is_empty() {
            return Err(Failure::Unreadable(
                format!(
                    "{}:{number}: this is no case: {} fields where {} belong",
                    path.display(),
                    fields.len(),
                    HEAD.split('\t').count()
                ),
                format!(
                    "a case is one line with tabs between: {}",
                    HEAD.replace('\t', ", ")
                ),
            ));
        }
        let mut fields = fields.into_iter().map(str::to_owned);
        let mut next = || fields.next().unwrap_or_default();
        cases.push(Case {
            marking: next(),
            family: next(),
            ordering_code: next(),
            seen: next(),
            place: next(),
            who: next(),
            evidence: next(),
        });
    }
    Ok(cases)
}

impl Case {
    /// The same as it stands in a casebook: on one line.
    pub(crate) fn on_one_line(self) -> Case {
        let plain = |text: String| text.replace(['\t', '\n', '\r'], " ");
        Case {
            marking: plain(self.marking),
            family: plain(self.family),
            ordering_code: plain(self.ordering_code),
            seen: plain(self.seen),
            place: plain(self.place),
            who: plain(self.who),
            evidence: plain(self.evidence),
        }
    }
}

/// Appends a case; a casebook that is not there yet begins with its head.
pub(crate) fn append(path: &Path, case: &Case) -> Result<(), Failure> {
    let unwritable = |error: std::io::Error| {
        Failure::Unreadable(
            format!("the casebook {} cannot be written: {error}", path.display()),
            "check that the folder is there and may be written".to_owned(),
        )
    };
    let case = case.clone().on_one_line();
    let fields = [
        &case.marking,
        &case.family,
        &case.ordering_code,
        &case.seen,
        &case.place,
        &case.who,
        &case.evidence,
    ];
    let mut lines = String::new();
    let begun = std::fs::read(path).unwrap_or_default();
    if begun.is_empty() {
        lines.push_str(HEAD);
        lines.push('\n');
    } else if !begun.ends_with(b"\n") {
        lines.push('\n');
    }
    lines.push_str(&fields.map(String::as_str).join("\t"));
    lines.push('\n');
    // One write, so that a case is there as a whole or not at all.
    std::fs::OpenOptions::new()
        .create(true)
        .append(true)
        .open(path)
        .and_then(|mut file| file.write_all(lines.as_bytes()))
        .map_err(unwritable)
}
