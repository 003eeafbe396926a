//! What a part has to do with others: house numbers, contents, revisions, second sources. All of the invented demo.

use serde_json::{Value, json as data};

use crate::harness::{json, run};

fn first(form: &str, lines: &[&str]) -> Value {
    let mut arguments = vec![
        "decode",
        "--output",
        "json",
        "--rules",
        "rules-demo",
        "--seen",
        "2016-06-30",
        "--form",
        form,
    ];
    arguments.extend(lines);
    json(&arguments)["readings"][0]["candidates"][0].clone()
}

#[test]
fn a_house_number_resolves_with_its_evidence_and_revision() {
    let found = first("top", &["OS-20417-B"]);
    assert_eq!(found["family"], "oslo_house");
    assert_eq!(found["maker"], "Oslo Sonar AS");
    let stands = &found["stands_for"];
    assert_eq!(stands["code"], "20417");
    assert_eq!(stands["family"], "hm_sdram");
    assert_eq!(stands["maker"], "Halvorsen Memory AS");
    assert_eq!(stands["written"], "HMS4D1G16A-FC6");
    assert_eq!(stands["standing"], "observed");
    assert_eq!(stands["source"], "hull unit 2009");
    assert_eq!(found["fields"]["revision"]["text"], "B");
    assert_eq!(found["fields"]["density"]["text"], "1 Gbit");
    // What is inside the part meant is inside the one in hand.
    assert_eq!(
        found["contains"],
        data!([{ "count": 2, "family": "hm_die_512", "title": "512 Mbit memory die" }])
    );
}

#[test]
fn a_code_that_stands_for_a_family_alone_says_so() {
    let stands = first("top", &["OS-20512-A"])["stands_for"].clone();
    assert_eq!(stands["family"], "sk_depth");
    assert!(stands.get("written").is_none());
    // The entry says nothing of its own: what the family says holds.
    assert_eq!(stands["source"], "Lab list of house numbers, started 2009");
}

#[test]
fn contents_hold_only_under_their_condition() {
    let count = |mark: &str| {
        first("code", &[mark])["contains"].as_array().map(|all| {
            all.iter()
                .map(|one| one["count"].as_u64().unwrap())
                .sum::<u64>()
        })
    };
    assert_eq!(count("HMS4D51216B-FC6"), Some(1));
    assert_eq!(count("HMS4D1G16B-FC6"), Some(2));
    assert_eq!(count("HMS4D25616B-FC6"), None);
    // Another interface: the rule says nothing of its dies.
    assert_eq!(count("HMS4S51216B-FC6"), None);
    // A stack holds two kinds.
    assert_eq!(count("HMPD1N6-BM"), Some(3));
}

#[test]
fn contents_are_as_sure_as_the_code_they_hang_on() {
    let found = first("code", &["HMS4D__16B-FC6"]);
    assert_eq!(found["family"], "hm_sdram");
    // Of the sizes with two characters 1G has dies that a rule names, 2G has none.
    let inside = &found["contains"][0];
    assert_eq!(inside["count"], 2);
    let sure = inside["probability"].as_f64().unwrap();
    assert!(
        (sure - found["fields"]["density"]["probability"].as_f64().unwrap()).abs() < 0.02,
        "{found}"
    );
}

#[test]
fn a_revision_names_those_before_it() {
    let found = first("code", &["HMS4D1G16C-FC6"]);
    assert_eq!(
        found["succeeds"],
        data!([{ "slot": "revision", "code": "C", "before": ["B", "A"] }])
    );
    assert!(first("code", &["HMS4D1G16A-FC6"]).get("succeeds").is_none());
}

#[test]
fn a_second_source_names_the_first() {
    assert_eq!(first("code", &["LQF64BLSI"])["second_source"], "hm_flash");
}

#[test]
fn relations_in_text() {
    let done = run(&[
        "decode",
        "--rules",
        "rules-demo",
        "--seen",
        "2016-06-30",
        "--form",
        "top",
        "OS-20417-B",
    ]);
    assert!(
        done.out.contains(
            "  is     20417 stands for Mobile SDRAM, Halvorsen Memory AS, HMS4D1G16A-FC6\n"
        ),
        "{}",
        done.out
    );
    assert!(
        done.out.contains("(observed; hull unit 2009)"),
        "{}",
        done.out
    );
    assert!(
        done.out
            .contains("  inside 2 of 512 Mbit memory die, Halvorsen Memory AS\n"),
        "{}",
        done.out
    );
}
