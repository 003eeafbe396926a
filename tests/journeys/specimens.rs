//! Several specimens of one part.

use serde_json::Value;

use crate::harness::{etchlore, json, run, run_with};

/// The answer of the demo rules to some arguments.
fn answer(more: &[&str]) -> Value {
    let before = [
        "decode",
        "--output",
        "json",
        "--seen",
        "2012-06-01",
        "--rules",
        "rules-demo",
    ];
    json(&[&before, more].concat())["readings"][0].clone()
}

fn together(specimens: &[&str]) -> Value {
    answer(&[&["--specimens"], specimens].concat())
}

#[test]
fn what_one_specimen_hides_another_shows() {
    let reading = together(&[
        "HM_4D1G1_A-F6 | 0814 K2Z7",
        "HMS4D_G_6A-F6 | 0822 K3_1",
        "HMS_D1G16A-_6 | 0830 _2Z8",
    ]);
    let candidate = &reading["candidates"][0];
    assert_eq!(candidate["family"], "hm_sdram");
    assert_eq!(candidate["written"], "HMS4D1G16A-FC6");
    assert_eq!(candidate["fields"]["density"]["value"], 1_073_741_824_u64);
    assert_eq!(candidate["disagreements"].as_array().unwrap().len(), 0);
    // Dates and lots are each one's own.
    assert!(candidate["fields"].get("date").is_none());
    let specimens = reading["specimens"].as_array().unwrap();
    let own = |at: usize, field: &str| specimens[at]["fields"][field]["text"].clone();
    assert_eq!(specimens[1]["lines"], serde_json::json!([3, 4]));
    assert_eq!(own(0, "lot"), "K2Z7");
    assert_eq!(own(1, "lot"), "K3_1");
    assert_eq!(own(0, "date"), "2008-W14..2008-W16");
    assert_eq!(own(2, "date"), "2008-W30..2008-W32");
}

#[test]
fn the_same_specimen_twice_says_no_more_than_once() {
    let once = together(&["HMS4D1G1_A-F6"]);
    let twice = together(&["HMS4D1G1_A-F6", "HMS4D1G1_A-F6"]);
    let bits = |reading: &Value| reading["candidates"][0]["bits"].as_f64().unwrap();
    assert!(
        (bits(&once) - bits(&twice)).abs() < 1.0,
        "{} {}",
        bits(&once),
        bits(&twice)
    );
}

#[test]
fn one_specimen_is_a_reading() {
    let alone = together(&["HMS4D1G16A-F6 | 0814 K2Z7"]);
    let plain = answer(&["HMS4D1G16A-F6 | 0814 K2Z7"]);
    let bits = |reading: &Value| reading["candidates"][0]["bits"].as_f64().unwrap();
    assert!((bits(&alone) - bits(&plain)).abs() < 0.01);
}

#[test]
fn a_shared_slot_that_differs_is_a_finding() {
    let reading = together(&["HMS4D1G16A-F6 | 0814 K2Z7", "HMS4D1G16B-F6 | 0822 K3T1"]);
    let candidate = &reading["candidates"][0];
    assert_eq!(candidate["family"], "hm_sdram");
    let findings = candidate["disagreements"].to_string();
    assert!(findings.contains("revision"), "{findings}");
}

#[test]
fn a_stranger_among_them_is_named() {
    let reading = together(&["HMS4D1G16A-F6", "HMS4D1G16A-F6", "QWERTY77"]);
    let candidate = &reading["candidates"][0];
    assert_eq!(candidate["family"], "hm_sdram");
    let findings = candidate["disagreements"].to_string();
    assert!(findings.contains("specimen 3"), "{findings}");
    assert_eq!(reading["unexplained"][0]["text"], "QWERTY77");
}

#[test]
fn an_empty_line_ends_a_part() {
    let command = etchlore(&["decode", "--specimens", "--output", "jsonl"]);
    let parts = run_with(command, b"25Q128JVSQ\n25Q128JV_Q\n\nMEGA328P\n");
    assert_eq!(parts.status, 0);
    assert_eq!(parts.out.lines().count(), 2);
    let many: Vec<&str> = std::iter::once("decode")
        .chain(std::iter::once("--specimens"))
        .chain(std::iter::repeat_n("25Q128JVSQ", 30))
        .collect();
    assert_eq!(run(&many).status, 2);
}
