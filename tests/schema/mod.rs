//! The promised JSON, against the schema beside this file.

use serde_json::Value;

use crate::harness::{etchlore, json, run_with};

fn validators() -> (jsonschema::Validator, jsonschema::Validator) {
    let schema: Value = serde_json::from_str(include_str!("decode.schema.json")).unwrap();
    let mut line = schema.clone();
    line["$ref"] = Value::from("#/$defs/reading");
    line.as_object_mut().unwrap().remove("required");
    line.as_object_mut().unwrap().remove("properties");
    line.as_object_mut().unwrap().remove("additionalProperties");
    line.as_object_mut().unwrap().remove("type");
    (
        jsonschema::validator_for(&schema).unwrap(),
        jsonschema::validator_for(&line).unwrap(),
    )
}

fn faults(validator: &jsonschema::Validator, document: &Value) -> Vec<String> {
    validator
        .iter_errors(document)
        .map(|error| format!("{} at {}", error, error.instance_path()))
        .collect()
}

const MARKS: &[&str] = &[
    "25Q128JVSQ",
    "W25Q128JVSIQ | 1823",
    "2315",
    "104",
    "01C",
    "A1015",
    "QZWX77 | 1834",
    "W25QI28JVSIQ",
    "W25Q12{B}JVSIQ",
    "25Q_28JVSQ",
    "..28JVSQ",
    "W25Q1..IQ",
    "MEGA328P",
    "C00F",
    "XKJDHGFQ",
    "{:logo} | MEGA48PA | MMH",
    "MT40A1G16WE-062E:E",
];

#[test]
fn decode_obeys_its_schema() {
    let (document, _) = validators();
    for mark in MARKS {
        let answer = json(&["decode", "--output", "json", mark]);
        let faults = faults(&document, &answer);
        assert!(faults.is_empty(), "{mark}: {}", faults.join("; "));
    }
    let answer = json(&[
        "decode",
        "--output",
        "json",
        "--form",
        "top",
        "25Q128JVSQ",
        "1823",
    ]);
    assert!(faults(&document, &answer).is_empty());
    assert_eq!(answer["readings"][0]["lines"].as_array().unwrap().len(), 2);
    assert_eq!(answer["readings"][0]["form"], "top");
    let answer = json(&[
        "decode",
        "--output",
        "json",
        "--specimens",
        "25Q128JVSQ | 1823",
        "25Q1_8JVSQ | 1824",
    ]);
    let faults = faults(&document, &answer);
    assert!(faults.is_empty(), "{}", faults.join("; "));
}

#[test]
fn json_lines_answer_every_line() {
    let (_, line) = validators();
    let input = MARKS.join("\n") + "\n\n{B8\n" + &"X".repeat(10_000) + "\n";
    let run = run_with(etchlore(&["decode", "--output", "jsonl"]), input.as_bytes());
    let answers: Vec<Value> = run
        .out
        .lines()
        .map(|line| serde_json::from_str(line).unwrap())
        .collect();
    assert_eq!(
        answers.len(),
        MARKS.len() + 3,
        "one answer a line, also where nothing can be read"
    );
    for answer in &answers {
        let faults = faults(&line, answer);
        assert!(faults.is_empty(), "{answer}: {}", faults.join("; "));
    }
}

#[test]
fn probabilities_of_candidates_none_and_rest_sum_to_one() {
    for mark in MARKS {
        for limit in ["1", "5"] {
            let answer = json(&["decode", "--output", "json", "--limit", limit, mark]);
            let reading = &answer["readings"][0];
            let mut sum = reading["none"].as_f64().unwrap() + reading["rest"].as_f64().unwrap();
            sum += reading["candidates"]
                .as_array()
                .unwrap()
                .iter()
                .map(|c| c["probability"].as_f64().unwrap())
                .sum::<f64>();
            assert!((sum - 1.0).abs() < 1e-9, "{mark}: {sum}");
        }
    }
}

/// Every span lies in its line and is the slot's own text.
#[test]
fn spans_count_characters_of_the_line_as_typed() {
    for mark in MARKS {
        let answer = json(&["decode", "--output", "json", mark]);
        let reading = &answer["readings"][0];
        for candidate in reading["candidates"].as_array().unwrap() {
            for (name, field) in candidate["fields"].as_object().unwrap() {
                let Some(span) = field.get("span") else {
                    continue;
                };
                let line = field["line"].as_u64().unwrap() as usize;
                let text = reading["lines"][line - 1].as_str().unwrap();
                let (from, to) = (
                    span[0].as_u64().unwrap() as usize,
                    span[1].as_u64().unwrap() as usize,
                );
                assert!(
                    from < to && to <= text.chars().count(),
                    "{mark} {name}: {from}..{to} in {text}"
                );
            }
        }
    }
}
