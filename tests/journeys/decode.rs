//! `decode` on real marks.

use serde_json::Value;

use crate::harness::{etchlore, json, run, run_with};

fn reading(mark: &str) -> Value {
    json(&["decode", "--output", "json", mark])["readings"][0].clone()
}

fn first(mark: &str) -> Value {
    reading(mark)["candidates"][0].clone()
}

#[test]
fn the_answer_for_people() {
    let run = run(&[
        "decode",
        "--no-builtin",
        "--rules",
        "rules-demo",
        "--seen",
        "2020-01-01",
        "HMQ16BLNI | 1402 AAB7P",
    ]);
    assert_eq!(run.status, 0);
    insta::assert_snapshot!(run.out);
}

#[test]
fn a_narrow_terminal_stays_readable() {
    let mut command = etchlore(&[
        "decode",
        "--no-builtin",
        "--rules",
        "rules-demo",
        "HMS4D1GI6A-F6",
    ]);
    command.env("COLUMNS", "40");
    let run = run_with(command, b"");
    let widest = run
        .out
        .lines()
        .map(|line| line.chars().count())
        .max()
        .unwrap();
    assert!(widest <= 48, "a line of {widest} characters:\n{}", run.out);
    insta::assert_snapshot!(run.out);
}

#[test]
fn colour_only_where_it_is_wanted() {
    let escape = '\u{1b}';
    assert!(
        !run(&["decode", "25Q128JVSQ"]).out.contains(escape),
        "piped output has no colour"
    );
    assert!(
        run(&["decode", "--color", "always", "25Q128JVSQ"])
            .out
            .contains(escape)
    );
    let mut command = etchlore(&["decode", "25Q128JVSQ"]);
    command.env("NO_COLOR", "1");
    assert!(!run_with(command, b"").out.contains(escape));
}

/// One string with several legitimate readings gives them all, ranked.
#[test]
fn ambiguous_marks_give_all_their_readings() {
    for (mark, families) in [
        ("1321", &["date_yyww", "date_wwyy", "resistor_4digit"][..]),
        (
            "104",
            &["resistor_3digit", "capacitor_3digit", "inductor_3digit"],
        ),
        ("01C", &["resistor_eia96"]),
        ("A1015", &["japanese_type"]),
    ] {
        let reading = reading(mark);
        let named: Vec<&str> = reading["candidates"]
            .as_array()
            .unwrap()
            .iter()
            .map(|c| c["family"].as_str().unwrap())
            .collect();
        for family in families {
            assert!(
                named.contains(family),
                "{mark}: {family} is missing among {named:?}"
            );
        }
        let ps: Vec<f64> = reading["candidates"]
            .as_array()
            .unwrap()
            .iter()
            .map(|c| c["probability"].as_f64().unwrap())
            .collect();
        assert!(
            ps.windows(2).all(|pair| pair[0] >= pair[1]),
            "{mark}: not ranked"
        );
    }
}

#[test]
fn of_two_lines_only_the_date_is_known() {
    let reading = reading("QZWX77 | 1834");
    assert!(reading["none"].as_f64().unwrap() > 0.9);
    let remark = &reading["remarks"][0];
    assert_eq!(remark["family"], "date_yyww");
    assert_eq!(remark["fields"]["date"]["from"], "2018-08-20");
    assert_eq!(remark["line"], 2);
}

/// Printed marks that differ from the ordering code.
#[test]
fn printed_marks_give_their_ordering_code() {
    for (mark, family, written) in [
        ("25Q128JVSQ", "winbond_w25q", "W25Q128JVSIQ"),
        ("25Q64JVSIQ", "winbond_w25q", "W25Q64JVSSIQ"),
        ("C00F", "ti_gate_marks", "SN74LVC1G00DBV"),
    ] {
        let first = first(mark);
        assert_eq!(first["family"], family, "{mark}");
        assert_eq!(first["written"], written, "{mark}");
    }
    let mega = first("MEGA328P");
    assert_eq!(mega["family"], "atmega_classic");
    assert_eq!(mega["known_to"], "base part");
    assert!(mega["written"].as_str().unwrap().starts_with("ATMEGA328P"));
    let gate = first("LC00A");
    assert_eq!(gate["family"], "ti_sn74");
    assert_eq!(gate["fields"]["logic_family"]["text"], "LVC");
}

#[test]
fn misread_characters_are_corrected_and_named() {
    for (mark, read, taken) in [
        ("W25QI28JVSIQ", "I", "1"),
        ("W25Q12BJVSIQ", "B", "8"),
        ("W25QO1JVSIQ", "O", "0"),
    ] {
        let first = first(mark);
        assert!(first["probability"].as_f64().unwrap() > 0.9, "{mark}");
        let correction = &first["corrections"][0];
        assert_eq!(correction["read"], read, "{mark}");
        assert_eq!(correction["as"], taken, "{mark}");
        assert_eq!(correction["slot"], "density", "{mark}");
    }
}

#[test]
fn a_certain_character_is_not_corrected_but_disagrees() {
    let first = first("W25Q12{B}JVSIQ");
    assert_eq!(first["family"], "winbond_w25q");
    assert!(first["corrections"].as_array().unwrap().is_empty());
    assert_eq!(first["disagreements"].as_array().unwrap().len(), 1);
    let certain = json(&["decode", "--certain", "--output", "json", "W25Q12BJVSIQ"]);
    assert_eq!(
        certain["readings"][0]["candidates"][0]["disagreements"]
            .as_array()
            .unwrap()
            .len(),
        1
    );
}

#[test]
fn a_combination_that_is_not_made_is_shown_as_a_disagreement() {
    let first = first("MT40A1G16WE-062E:E");
    assert_eq!(first["family"], "micron_ddr4");
    let text = first["disagreements"][0]["text"].as_str().unwrap();
    assert!(text.contains("not made"), "{text}");
}

#[test]
fn random_text_is_none() {
    for mark in [
        "XKJDHGFQ",
        "QWERTY",
        "7XQ9ZK",
        "HELLO WORLD",
        "GF43XWPM",
        "ZZTOP99X",
        "JJJJJJJJ",
        "9QX7ZK4W2",
    ] {
        assert!(
            reading(mark)["none"].as_f64().unwrap() > 0.9,
            "{mark}: {}",
            reading(mark)["none"]
        );
    }
}

#[test]
fn unread_characters_and_runs() {
    assert_eq!(first("25Q_28JVSQ")["written"], "W25Q128JVSIQ");
    assert_eq!(first("..28JVSQ")["family"], "winbond_w25q");
    let cut = first("W25Q128J..");
    assert_eq!(cut["family"], "winbond_w25q");
    assert_eq!(cut["known_to"], "base part");
}

#[test]
fn the_day_of_reading_decides_decades() {
    let early = json(&["decode", "--output", "json", "--seen", "2009-06-01", "834"]);
    let date = |answer: &Value| {
        answer["readings"][0]["candidates"]
            .as_array()
            .unwrap()
            .iter()
            .find(|c| c["family"] == "date_yww")
            .unwrap()["fields"]["date"]["text"]
            .clone()
    };
    assert_eq!(date(&early), "2008-W34");
    let late = json(&["decode", "--output", "json", "--seen", "2020-06-01", "834"]);
    assert_eq!(date(&late), "2018-W34");
}

#[test]
fn standard_input_is_one_package_a_line() {
    let run = run_with(
        etchlore(&["decode", "--brief"]),
        b"25Q128JVSQ\nC00F\r\nXKJDHGFQ\n",
    );
    let lines: Vec<&str> = run.out.lines().collect();
    assert_eq!(lines.len(), 3);
    assert!(
        lines[0].contains("winbond_w25q")
            && lines[1].contains("ti_gate_marks")
            && lines[2].contains("none"),
        "{}",
        run.out
    );
}

#[test]
fn strict_tells_undecoded_input_by_its_status() {
    assert_eq!(run(&["decode", "--strict", "25Q128JVSQ"]).status, 0);
    assert_eq!(run(&["decode", "--strict", "XKJDHGFQ"]).status, 1);
}

#[test]
fn without_the_embedded_families_nothing_is_known() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("own.lore");
    std::fs::write(&file, "lore 1\nuse builtin/dates yyww\nfamily own_part   An own part\n  source \"bench notes\"\n  code  QX  7  -  1823\n        head  tail  -  yyww\n  tail  digit\n  example QX7-1823  seen 2020\n").unwrap();
    let run = run(&[
        "decode",
        "--no-builtin",
        "--rules",
        file.to_str().unwrap(),
        "--brief",
        "QX7-1823",
    ]);
    assert!(run.out.contains("own_part"), "{}{}", run.out, run.err);
    let other = json(&[
        "decode",
        "--no-builtin",
        "--rules",
        file.to_str().unwrap(),
        "--output",
        "json",
        "25Q128JVSQ",
    ]);
    assert_eq!(other["readings"][0]["none"], 1);
}

/// What is known beside the reading moves the ranking, and is one line of the evidence.
#[test]
fn context_is_evidence() {
    let p = |arguments: &[&str], family: &str| {
        let all = [&["decode", "--output", "json", "--limit", "20"], arguments].concat();
        let answer = json(&all);
        let candidates = answer["readings"][0]["candidates"]
            .as_array()
            .unwrap()
            .clone();
        candidates
            .iter()
            .find(|c| c["family"] == family)
            .map_or(0.0, |c| c["probability"].as_f64().unwrap())
    };
    for (arguments, mark, family) in [
        (
            ["--function", "passive/capacitor"],
            "104",
            "capacitor_3digit",
        ),
        (["--function", "passive/inductor"], "104", "inductor_3digit"),
        (["--maker", "Winbond"], "25Q_2_JVSQ", "winbond_w25q"),
        (["--pins", "3"], "2N3904", "jedec_type"),
        (["--seen", "2008-12-31"], "834", "date_yww"),
    ] {
        let (with, without) = (
            p(&[arguments[0], arguments[1], mark], family),
            p(&[mark], family),
        );
        assert!(
            with >= without,
            "{arguments:?} {mark}: {with} against {without}"
        );
    }
    assert!(
        p(
            &["--function", "passive/capacitor", "104"],
            "capacitor_3digit"
        ) > 0.5
    );
    let answer = json(&[
        "decode",
        "--output",
        "json",
        "--maker",
        "Winbond",
        "25Q128JVSQ",
    ]);
    let evidence = answer["readings"][0]["candidates"][0]["evidence"]
        .as_array()
        .unwrap()
        .clone();
    assert!(
        evidence
            .iter()
            .any(|e| e["slot"] == "context" && e["bits"].as_f64().unwrap() > 0.0)
    );
}

#[test]
fn damage_beyond_look_alikes_is_found_and_said() {
    // The mark is the one of the data sheet (winbond.lore names it); the damage is made here.
    for (mark, read, taken) in [("25Q12XJVSQ", "X", "8"), ("25Q1228JVSQ", "22", "2")] {
        let answer = json(&["decode", "--deep", "--output", "json", mark])["readings"][0].clone();
        let candidate = &answer["candidates"][0];
        assert_eq!(candidate["family"], "winbond_w25q", "{mark}: {answer}");
        let correction = &candidate["corrections"][0];
        assert_eq!(candidate["written"], "W25Q128JVSIQ", "{mark}");
        assert_eq!(correction["read"], read, "{mark}: {correction}");
        assert_eq!(correction["as"], taken, "{mark}: {correction}");
        assert!(correction["bits"].as_f64() < Some(0.0), "{mark}");
    }
    // One character of the density missing, or one misread: the family stands, the density is open.
    let open = json(&["decode", "--deep", "--output", "json", "25Q18JVSQ"]);
    assert_eq!(
        open["readings"][0]["candidates"][0]["family"],
        "winbond_w25q"
    );
    let swapped = json(&["decode", "--deep", "--output", "json", "25Q218JVSQ"]);
    assert_eq!(
        swapped["readings"][0]["candidates"][0]["written"],
        "W25Q128JVSIQ"
    );
}

#[test]
fn why_says_where_a_family_stopped() {
    let schema: Value = serde_json::from_str(include_str!("../schema/decode.schema.json")).unwrap();
    let why = |mark: &str, family: &str| {
        let document = json(&["decode", "--output", "json", "--why", family, mark]);
        let faults: Vec<String> = jsonschema::validator_for(&schema)
            .unwrap()
            .iter_errors(&document)
            .map(|error| error.to_string())
            .collect();
        assert!(faults.is_empty(), "{faults:?}");
        document["readings"][0]["why"].clone()
    };
    let stopped = why("25Q12XJVSQ", "winbond_w25q");
    assert_eq!(stopped["reads"], false);
    assert_eq!(stopped["stop"]["found"], "X");
    assert_eq!(stopped["stop"]["span"], serde_json::json!([5, 6]));
    assert_eq!(stopped["stop"]["wanted"], serde_json::json!(["8"]));
    assert_eq!(stopped["stop"]["slots"], serde_json::json!(["density"]));
    assert_eq!(stopped["nearest"], "W25Q128JVSIQ");
    let read = why("25Q128JVSQ", "winbond_w25q");
    assert_eq!(read["reads"], true);
    assert!(read.get("stop").is_none());
    // Another maker's: it shares the first two characters only.
    let other = why("25Q128JVSQ", "macronix_mx25");
    assert_eq!(other["stop"]["read"], 2);
    let run = run(&["decode", "--why", "winbond_w25", "25Q128JVSQ"]);
    assert_eq!(run.status, 2);
    assert!(
        run.err.contains("did you mean winbond_w25") && run.err.contains("winbond_w25q"),
        "{}",
        run.err
    );
}

#[test]
fn why_takes_readings_of_any_length() {
    let long = "25Q128JVSQ".repeat(30);
    for mark in [long.as_str(), "_", "..", "25Q | 128 | JVSQ"] {
        let document = json(&["decode", "--output", "json", "--why", "winbond_w25q", mark]);
        assert_eq!(
            document["readings"][0]["why"]["family"], "winbond_w25q",
            "{mark}"
        );
    }
}

/// The embedded rules stored in the program are those that it carries as text: beside a rule of the lab they are checked anew.
#[test]
fn stored_rules_answer_as_the_texts_do() {
    let folder = tempfile::tempdir().unwrap();
    let own = "lore 1\n\nfamily own   Parts of our own\n  function other\n  source \"our list\"\n  code  \"@@@@@@@@\" 8 digits\n";
    let own = own.replace(
        "\"@@@@@@@@\" 8 digits",
        "\"ZQZQZQZQ\" number\n  number  8 digits",
    );
    std::fs::write(folder.path().join("own.lore"), own).unwrap();
    let rules = folder.path().to_str().unwrap();
    let marks = [
        "NE555",
        "25Q128JVSQ",
        "SN74LVC1G08DBVR",
        "MT41K256M16TW-107:P",
        "STM32F103C8T6",
        "4R7",
        "01B",
        "ATMEGA328P-PU | 1402",
        "5962-8953801PA",
        "W25Q64FVSSIG",
        "K4B4G1646D-BCK0",
        "ZZTOP",
    ];
    let answers = |more: &[&str]| -> Vec<Value> {
        let words = ["decode", "--output", "json", "--seen", "2026-01-01"];
        let one = |mark: &&str| -> Value {
            let all: Vec<&str> = words.iter().chain(more).chain([mark]).copied().collect();
            json(&all)["readings"][0].clone()
        };
        marks.iter().map(one).collect()
    };
    let (stored, anew) = (answers(&[]), answers(&["--rules", rules]));
    assert!(stored.iter().all(|reading| reading["none"].is_number()));
    assert_eq!(stored, anew);
}

/// Three digits behind a number that no rule knows are its ending, not a chip resistor: a part that bears a value bears little else. Common practice,
/// no source.
#[test]
fn a_value_behind_other_text_is_hardly_the_part() {
    assert_eq!(first("118")["family"], "resistor_3digit");
    let behind = reading("QZX9306D 118");
    assert!(behind["none"].as_f64().unwrap() > 0.8, "{behind}");
}
