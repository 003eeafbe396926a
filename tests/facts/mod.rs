//! What others state of real parts, held against what the rules say: `facts.tsv`, one fact a row, and `errata.tsv`, what is wrong there.
//! `cargo test -p etchlore --test etchlore_tests stated_facts -- --nocapture` prints the counts.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;

use serde_json::Value;

use crate::harness::{etchlore, root, run_with};

/// A candidate below this is no answer.
const SURE: f64 = 0.5;

/// By field: how many facts are right at least. More are welcome, and then the figure is raised.
const LEAST: &[(&str, usize)] = &[
    ("capacitance", 19),
    ("data_rate", 38),
    ("density", 308),
    ("eeprom", 50),
    ("flash", 833),
    ("inductance", 0),
    ("output_voltage", 301),
    ("pins", 574),
    ("ram", 520),
    ("resistance", 69),
    ("width", 29),
    ("zener_voltage", 25),
];

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Verdict {
    Right,
    Wrong,
    Unknown,
}

#[derive(Debug)]
struct Fact<'a> {
    source: &'a str,
    part: &'a str,
    field: &'a str,
    value: f64,
    unit: &'a str,
}

/// The rows of a table beneath its comments, without the head, and the head's names.
fn rows<'a>(text: &'a str, head: &str) -> Vec<Vec<&'a str>> {
    let mut lines = text.lines().filter(|line| !line.starts_with('#'));
    assert_eq!(lines.next(), Some(head), "the head of a table");
    let columns = head.split('\t').count();
    lines
        .map(|line| {
            let cells: Vec<&str> = line.split('\t').collect();
            assert_eq!(cells.len(), columns, "{line}");
            cells
        })
        .collect()
}

/// Whether two values of a field are the same: rates are rounded to whole MT/s by some, voltages to a digit less.
fn same(field: &str, a: f64, b: f64) -> bool {
    let room = match field {
        "data_rate" => 1e6,
        "output_voltage" | "zener_voltage" => 0.005 * b.abs(),
        _ => 1e-6 * b.abs(),
    };
    (a - b).abs() <= room
}

/// The value of a field of the first candidate, if that is sure enough.
fn answer(reading: &Value, fact: &Fact<'_>) -> Option<f64> {
    let first = reading["candidates"].get(0)?;
    if first["probability"].as_f64()? < SURE {
        return None;
    }
    let field = &first["fields"][fact.field];
    let value = field["value"].as_f64().or_else(|| field["max"].as_f64())?;
    Some(match (field["unit"].as_str(), fact.unit) {
        (Some("bit"), "byte") => value / 8.0,
        (Some("byte"), "bit") => value * 8.0,
        _ => value,
    })
}

#[test]
fn stated_facts() {
    let folder = root().join("tests/facts");
    let facts = std::fs::read_to_string(folder.join("facts.tsv")).unwrap();
    let facts: Vec<Fact<'_>> = rows(&facts, "source\tpart\tfield\tvalue\tunit")
        .into_iter()
        .map(|cells| Fact {
            source: cells[0],
            part: cells[1],
            field: cells[2],
            value: cells[3].parse().unwrap(),
            unit: cells[4],
        })
        .collect();
    let errata = std::fs::read_to_string(folder.join("errata.tsv")).unwrap();
    // By part and field: what is stated, what is so, and whether a row was met.
    let mut wrong_there: BTreeMap<(&str, &str), (f64, f64, bool)> = BTreeMap::new();
    // What is so where a source was read wrong, and what was read.
    let mut misread: Vec<(Fact<'_>, f64)> = Vec::new();
    for cells in rows(
        &errata,
        "part\tfield\tstated\tis\treason\tdocument\thow\tfault",
    ) {
        let [part, field, stated, is, reason, document, how, fault] = cells[..] else {
            unreachable!("as many cells as the head has");
        };
        assert!(matches!(how, "read" | "source" | "memory"), "{part}: {how}");
        assert!(!reason.is_empty() && !document.is_empty(), "{part}");
        let (stated, is) = (stated.parse().unwrap(), is.parse().unwrap());
        match fault {
            "theirs" => {
                let entry = (stated, is, false);
                assert!(wrong_there.insert((part, field), entry).is_none(), "{part}");
            }
            "ours" => misread.push((
                Fact {
                    source: "errata",
                    part,
                    field,
                    value: is,
                    unit: "",
                },
                stated,
            )),
            _ => panic!("{part}: {fault}"),
        }
    }

    let parts: BTreeSet<&str> = facts
        .iter()
        .chain(misread.iter().map(|(fact, _)| fact))
        .map(|fact| fact.part)
        .collect();
    let input: String = parts.iter().map(|part| format!("{part}\n")).collect();
    let arguments = ["decode", "--plain", "--output", "jsonl", "--limit", "1"];
    let run = run_with(etchlore(&arguments), input.as_bytes());
    let answers: Vec<Value> = run
        .out
        .lines()
        .map(|line| serde_json::from_str(line).unwrap())
        .collect();
    assert_eq!(answers.len(), parts.len(), "{}", run.err);
    let answers: BTreeMap<&str, &Value> = parts.iter().copied().zip(&answers).collect();

    let mut counts: BTreeMap<&str, [usize; 4]> = BTreeMap::new();
    let mut families: BTreeSet<&str> = BTreeSet::new();
    let mut sources: BTreeMap<&str, usize> = BTreeMap::new();
    let mut faults = Vec::new();
    for fact in &facts {
        let reading = answers[fact.part];
        let got = answer(reading, fact);
        let mut stated = fact.value;
        let erratum = wrong_there.get_mut(&(fact.part, fact.field));
        let mut corrected = false;
        if let Some((there, is, met)) = erratum
            && same(fact.field, *there, stated)
        {
            (stated, *met, corrected) = (*is, true, true);
        }
        let verdict = match got {
            None => Verdict::Unknown,
            Some(got) if same(fact.field, got, stated) => Verdict::Right,
            Some(_) => Verdict::Wrong,
        };
        let count = counts.entry(fact.field).or_default();
        match verdict {
            Verdict::Right if corrected => count[3] += 1,
            Verdict::Right => count[0] += 1,
            Verdict::Wrong => count[1] += 1,
            Verdict::Unknown => count[2] += 1,
        }
        if verdict != Verdict::Unknown {
            families.extend(reading["candidates"][0]["family"].as_str());
            *sources.entry(fact.source).or_default() += 1;
        }
        if verdict == Verdict::Wrong {
            faults.push(format!(
                "{} {}: {:?} by {}, but {} states {stated}",
                fact.part,
                fact.field,
                got.unwrap_or_default(),
                reading["candidates"][0]["family"],
                fact.source
            ));
        }
    }
    for (so, read) in &misread {
        let (part, field) = (so.part, so.field);
        if facts
            .iter()
            .any(|fact| fact.part == part && fact.field == field && same(field, fact.value, *read))
        {
            faults.push(format!("{part} {field}: {read} is a misreading"));
        }
        let got = answer(answers[part], so);
        if got.is_none_or(|got| !same(field, got, so.value)) {
            faults.push(format!(
                "{part} {field}: {got:?}, but it is {} for the erratum",
                so.value
            ));
        }
    }
    for ((part, field), (_, _, met)) in &wrong_there {
        if !met {
            faults.push(format!("{part} {field}: an erratum of nothing stated"));
        }
    }
    let mut table = format!(
        "{} facts on {} parts, answered by {} families\n{:<16} {:>6} {:>6} {:>8} {:>8}\n",
        facts.len(),
        parts.len(),
        families.len(),
        "field",
        "right",
        "wrong",
        "unknown",
        "errata"
    );
    for (field, [right, wrong, unknown, corrected]) in &counts {
        let _ = writeln!(
            table,
            "{field:<16} {right:>6} {wrong:>6} {unknown:>8} {corrected:>8}"
        );
        let least = LEAST.iter().find(|(name, _)| name == field);
        match least {
            None => faults.push(format!("{field} has no least count")),
            Some((_, least)) if right < least => {
                faults.push(format!("{field}: {right} right, there were {least}"));
            }
            Some(_) => {}
        }
    }
    #[allow(clippy::print_stdout)]
    {
        println!("{table}answered by source: {sources:?}");
    }
    let right: usize = counts.values().map(|count| count[0]).sum();
    assert!(right >= 1_500, "only {right} facts are right:\n{table}");
    assert!(families.len() >= 25, "only {families:?}");
    assert!(
        faults.is_empty(),
        "{table}{} faults:\n{}",
        faults.len(),
        faults.join("\n")
    );
}
