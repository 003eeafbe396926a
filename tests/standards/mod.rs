//! Rows of facts, decoded by the built binary: published standards and makers' documents in this folder, the invented demo in
//! `tests/demo/`. Each row names its source, or its file does.

use std::collections::BTreeMap;
use std::path::Path;

use serde::Deserialize;
use serde_json::Value;

use crate::harness::{etchlore, root, run_with};

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Table {
    source: Option<String>,
    how: Option<String>,
    rows: Vec<Row>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Row {
    mark: String,
    family: Option<String>,
    not: Option<String>,
    #[serde(default)]
    first: bool,
    written: Option<String>,
    #[serde(default)]
    fields: BTreeMap<String, BTreeMap<String, Value>>,
    seen: Option<String>,
    form: Option<String>,
    source: Option<String>,
    how: Option<String>,
    #[allow(dead_code)]
    note: Option<String>,
}

fn same(got: &Value, expected: &Value) -> bool {
    match (got.as_f64(), expected.as_f64()) {
        (Some(a), Some(b)) => (a - b).abs() <= 1e-9 * a.abs().max(b.abs()),
        _ => got == expected,
    }
}

/// What a row says against an answer; nothing where they agree.
fn fault(row: &Row, reading: &Value) -> Option<String> {
    let of = |list: &str, family: &str| -> Option<Value> {
        reading[list]
            .as_array()?
            .iter()
            .find(|c| c["family"] == family && c["probability"].as_f64() >= Some(1e-3))
            .cloned()
    };
    if let Some(not) = &row.not {
        // As it stands: another mark that it may have been misread from says nothing of this one.
        let claimed = of("candidates", not)
            .or_else(|| of("remarks", not))
            .filter(|claimed| {
                claimed["corrections"]
                    .as_array()
                    .is_none_or(|corrections| corrections.is_empty())
            });
        return claimed
            .map(|claimed| format!("must not be {not}, but is with {}", claimed["probability"]));
    }
    let family = row.family.as_deref()?;
    let names: Vec<String> = reading["candidates"]
        .as_array()?
        .iter()
        .map(|c| {
            format!(
                "{} {:.4}",
                c["family"],
                c["probability"].as_f64().unwrap_or(0.0)
            )
        })
        .collect();
    let Some(found) = of("candidates", family).or_else(|| of("remarks", family)) else {
        return Some(format!(
            "expected {family}, got none {} and {}",
            reading["none"],
            names.join(", ")
        ));
    };
    if row.first && reading["candidates"][0]["family"] != family {
        return Some(format!("{family} must be first, got {}", names.join(", ")));
    }
    if let Some(written) = &row.written
        && found["written"] != written.as_str()
    {
        return Some(format!("written {}, expected {written}", found["written"]));
    }
    for (name, expected) in &row.fields {
        let got = &found["fields"][name];
        for (key, value) in expected {
            if !same(&got[key], value) {
                return Some(format!("{name}.{key} is {}, expected {value}", got[key]));
            }
        }
    }
    None
}

/// Runs all tables of a folder; gives the number of rows.
fn run_tables(folder: &Path, rules: &[&str]) -> usize {
    let mut files: Vec<_> = std::fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .collect();
    files.retain(|file| file.extension().is_some_and(|ending| ending == "yaml"));
    files.sort();
    let mut faults = Vec::new();
    let mut count = 0;
    for file in files {
        let name = file.file_name().unwrap().to_string_lossy().into_owned();
        let table: Table = serde_yaml::from_str(&std::fs::read_to_string(&file).unwrap())
            .unwrap_or_else(|error| panic!("{name}: {error}"));
        // One run a day of reading and form, as both are options of the command.
        let mut runs: BTreeMap<(String, String), Vec<&Row>> = BTreeMap::new();
        for row in &table.rows {
            let how = row.how.as_deref().or(table.how.as_deref());
            assert!(
                row.source.is_some() || table.source.is_some(),
                "{name}: {} names no source",
                row.mark
            );
            assert!(
                matches!(
                    how,
                    Some("read" | "computed" | "memory" | "common practice" | "invented")
                ),
                "{name}: {} does not say how its value was got",
                row.mark
            );
            assert!(
                row.family.is_some() != row.not.is_some(),
                "{name}: {} expects nothing",
                row.mark
            );
            let key = (
                row.seen.clone().unwrap_or_else(|| "2026-11-25".to_owned()),
                row.form.clone().unwrap_or_else(|| "any".to_owned()),
            );
            runs.entry(key).or_default().push(row);
        }
        for ((seen, form), rows) in runs {
            let input: String = rows.iter().map(|row| format!("{}\n", row.mark)).collect();
            let mut arguments = vec![
                "decode", "--output", "jsonl", "--limit", "200", "--seen", &seen, "--form", &form,
            ];
            arguments.extend(rules);
            let run = run_with(etchlore(&arguments), input.as_bytes());
            let answers: Vec<Value> = run
                .out
                .lines()
                .map(|line| serde_json::from_str(line).unwrap())
                .collect();
            assert_eq!(answers.len(), rows.len(), "{name}: {}", run.err);
            for (row, answer) in rows.iter().zip(&answers) {
                count += 1;
                if let Some(fault) = fault(row, answer) {
                    faults.push(format!("{name}: {}: {fault}", row.mark));
                }
            }
        }
    }
    assert!(
        faults.is_empty(),
        "{} of {count} rows fail:\n{}",
        faults.len(),
        faults.join("\n")
    );
    count
}

#[test]
fn published_facts_hold() {
    let count = run_tables(&root().join("tests/standards"), &[]);
    assert!(count >= 150, "only {count} rows");
}

#[test]
fn the_demo_decodes() {
    let folder = root().join("tests/demo");
    run_tables(&folder, &["--rules", "rules-demo"]);
}
