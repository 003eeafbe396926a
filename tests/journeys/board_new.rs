//! Start files of boards: from nothing, from a table of readings; the schema for editors; cases confirmed from a board.

use std::path::Path;

use serde_json::Value;

use crate::harness::{Run, etchlore, json, root, run, run_with};
use crate::journeys::board_files::broken;

fn in_folder(folder: &Path, arguments: &[&str]) -> Run {
    let mut command = etchlore(arguments);
    command.current_dir(folder);
    run_with(command, b"")
}

fn show(folder: &Path, file: &str) -> Value {
    let rules = root().join("rules-demo");
    let run = in_folder(
        folder,
        &[
            "board",
            "show",
            file,
            "--rules",
            rules.to_str().unwrap(),
            "--output",
            "json",
        ],
    );
    serde_json::from_str(&run.out).unwrap_or_else(|error| panic!("{error}: {}", run.err))
}

#[test]
fn a_start_file_reads_back_once_the_product_is_named() {
    let folder = tempfile::tempdir().unwrap();
    let run = in_folder(folder.path(), &["board", "new", "-o", "new.yaml"]);
    assert_eq!(run.status, 0, "{}", run.err);
    let path = folder.path().join("new.yaml");
    let text = std::fs::read_to_string(&path).unwrap();
    assert_ne!(
        in_folder(folder.path(), &["board", "show", "new.yaml"]).status,
        0
    );
    std::fs::write(&path, text.replacen("product:", "product: Sounder", 1)).unwrap();
    assert_eq!(
        show(folder.path(), "new.yaml")["board"]["product"],
        "Sounder"
    );
    // With all its keys, but for the photos, which are not there.
    let all: String = text
        .replacen("product:", "product: Sounder", 1)
        .lines()
        .skip_while(|line| !line.starts_with("product"))
        .filter(|line| !line.starts_with("# ") || line.starts_with("#  "))
        .filter(|line| {
            let key = line.trim_start_matches(['#', ' ', '-']);
            !["photo", "name:", "file:"]
                .iter()
                .any(|of_photos| key.starts_with(of_photos))
        })
        .map(|line| line.strip_prefix('#').unwrap_or(line).to_owned() + "\n")
        .collect();
    std::fs::write(&path, &all).unwrap();
    let shown = show(folder.path(), "new.yaml");
    assert_eq!(shown["parts"].as_array().unwrap().len(), 1, "{all}");
    // What is there is not written over.
    let again = in_folder(folder.path(), &["board", "new", "-o", "new.yaml"]);
    assert_eq!(again.status, 2);
    assert_eq!(std::fs::read_to_string(&path).unwrap(), all);
    assert_eq!(
        in_folder(
            folder.path(),
            &["board", "new", "-o", "new.yaml", "--force"]
        )
        .status,
        0
    );
    assert_eq!(std::fs::read_to_string(&path).unwrap(), text);
}

/// Marks as they stand on parts come back exactly, whatever they mean to YAML or to a table.
#[test]
fn a_table_of_readings_keeps_every_mark_as_typed() {
    let mut marks: Vec<String> = [
        "0814",
        "1E3",
        "~",
        "yes",
        "null",
        "0x1F",
        "12:30:45",
        "2014-05-01",
        "{:e3}",
        "# 7",
        "a: b",
        "- x",
        "'a'",
        "\"b\"",
        "&a",
        "*b",
        "%C",
        "@d",
        "!e",
        "[f]",
        "é7",
        "🔧1",
        "a | b",
        "1_000",
        "=1+1",
        "..",
        "\\",
        "a # b",
        "K8'",
        "<<",
        "? q",
        "|",
        ">",
        ".5",
    ]
    .map(str::to_owned)
    .into();
    let mut random = fastrand::Rng::with_seed(11);
    let letters: Vec<char> = "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-/.:#'\"&*!%@`,[]~=+_ "
        .chars()
        .collect();
    while marks.len() < 1_000 {
        let text: String = (0..random.usize(1..14))
            .map(|_| letters[random.usize(..letters.len())])
            .collect();
        let text = text.trim().to_owned();
        if text.chars().any(char::is_alphanumeric) {
            marks.push(text);
        }
    }
    let folder = tempfile::tempdir().unwrap();
    let mut table = csv::Writer::from_path(folder.path().join("seen.csv")).unwrap();
    table.write_record(["at", "mark", "Bin"]).unwrap();
    for (at, mark) in marks.iter().enumerate() {
        table
            .write_record([&format!("P{at}"), mark, &format!("bin {at}")])
            .unwrap();
    }
    table.flush().unwrap();
    let run = in_folder(
        folder.path(),
        &["board", "new", "seen.csv", "-o", "seen.yaml"],
    );
    assert_eq!(run.status, 0, "{}", run.err);
    let text = std::fs::read_to_string(folder.path().join("seen.yaml")).unwrap();
    // An independent reader of the file.
    let file: serde_yaml::Value = serde_yaml::from_str(&text).unwrap();
    let parts = file["parts"].as_sequence().unwrap();
    assert_eq!(parts.len(), marks.len());
    for (at, (part, mark)) in parts.iter().zip(&marks).enumerate() {
        let notes = part["notes"].as_str().unwrap();
        assert!(notes.contains(&format!("bin {at}")), "{notes}");
        let read = part["readings"][0]["any"].as_str();
        // What is no reading is kept as it is among the notes.
        assert!(
            read == Some(mark) || notes.contains(mark.as_str()),
            "{mark:?}: {part:?}"
        );
    }
    let read = parts
        .iter()
        .filter(|part| part["readings"][0]["any"].is_string())
        .count();
    assert!(read > 900, "{read}");
    assert_eq!(
        show(folder.path(), "seen.yaml")["parts"]
            .as_array()
            .unwrap()
            .len(),
        marks.len()
    );
}

#[test]
fn a_messy_list_becomes_a_board_and_loses_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let list = root().join("rules-demo/lists/sounder.csv");
    let run = in_folder(
        folder.path(),
        &["board", "new", list.to_str().unwrap(), "-o", "sounder.yaml"],
    );
    assert_eq!(run.status, 0, "{}", run.err);
    let text = std::fs::read_to_string(folder.path().join("sounder.yaml")).unwrap();
    let bytes = std::fs::read(&list).unwrap();
    let mut table = csv::ReaderBuilder::new()
        .delimiter(b';')
        .flexible(true)
        .from_reader(bytes.as_slice());
    let mut cells = 0;
    for row in table.byte_records() {
        for cell in row.unwrap().iter() {
            let cell = String::from_utf8_lossy(cell).trim().to_owned();
            for line in cell.lines().filter(|line| !line.is_empty()) {
                assert!(
                    text.contains(&line.replace('\'', "''")),
                    "{line:?} is lost in\n{text}"
                );
                cells += 1;
            }
        }
    }
    assert!(cells > 60);
}

#[test]
fn the_schema_takes_good_boards_and_sees_what_it_can_of_broken_ones() {
    let schema = json(&["board", "schema"]);
    let check = jsonschema::validator_for(&schema).unwrap();
    let data = |bytes: &[u8]| -> Option<Value> {
        let yaml: serde_yaml::Value = serde_yaml::from_slice(bytes).ok()?;
        serde_json::to_value(yaml).ok()
    };
    for name in ["havlod-1.yaml", "havlod-2.yaml"] {
        let bytes = std::fs::read(root().join("rules-demo/boards").join(name)).unwrap();
        let errors: Vec<String> = check
            .iter_errors(&data(&bytes).unwrap())
            .map(|error| format!("{} at {}", error, error.instance_path()))
            .collect();
        assert!(errors.is_empty(), "{name}: {errors:?}");
    }
    let mut seen = 0;
    for (name, bytes, visible) in broken() {
        if !visible {
            continue;
        }
        let Some(data) = data(&bytes) else { continue };
        assert!(!check.is_valid(&data), "{name} is valid by the schema");
        seen += 1;
    }
    assert!(seen > 20, "{seen}");
}

#[test]
fn what_a_board_confirms_goes_into_the_casebook_once_and_moves_what_is_ambiguous() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("lab.lore"), LAB).unwrap();
    std::fs::write(folder.path().join("board.yaml"), BOARD).unwrap();
    let confirm = |more: &[&str]| {
        let mut arguments = vec![
            "confirm",
            "--rules",
            ".",
            "--no-builtin",
            "--board",
            "board.yaml",
        ];
        arguments.extend(more);
        in_folder(folder.path(), &arguments)
    };
    let shown = || -> f64 {
        let run = in_folder(
            folder.path(),
            &[
                "board",
                "show",
                "board.yaml",
                "--rules",
                ".",
                "--no-builtin",
                "--output",
                "json",
            ],
        );
        let shown: Value = serde_json::from_str(&run.out).unwrap();
        let candidates = shown["parts"][1]["reading"]["candidates"]
            .as_array()
            .unwrap();
        let one = candidates
            .iter()
            .find(|one| one["family"] == "lab_a")
            .unwrap();
        one["probability"].as_f64().unwrap()
    };
    let before = shown();
    let run = confirm(&[]);
    assert_eq!(run.status, 0, "{}", run.err);
    assert_eq!(
        run.out,
        "U1: appended\nU3: left: decided as probable only\n./casebook.tsv: 1 appended\n"
    );
    let cases = std::fs::read_to_string(folder.path().join("casebook.tsv")).unwrap();
    assert_eq!(
        cases.lines().nth(1),
        Some("QA417\tlab_a\tQA417\t2014-11-20\tSounder 2, U1\tIngrid Vold\tdecap: mask A7")
    );
    assert!(shown() > before + 0.05, "{before} {}", shown());
    assert_eq!(
        confirm(&["--part", "U1"]).out,
        "U1: in the casebook already\n./casebook.tsv: 0 appended\n"
    );
    assert_eq!(
        std::fs::read_to_string(folder.path().join("casebook.tsv")).unwrap(),
        cases
    );
    assert_eq!(confirm(&["--part", "U9"]).status, 2);
}

/// Two families that explain one mark equally well.
const LAB: &str = "lore 1

family lab_a   First
  function    logic
  source      \"an invented list\"

  code        QA      417
              series  number
  number      3 digits

  example     QA417

family lab_b   Second
  function    sensor
  source      \"an invented list\"

  code        QA      417
              series  number
  number      3 digits

  example     QA417
";

const BOARD: &str = "product: Sounder
generation: 2
seen: 2014-11-20
parts:
  - at: U1
    readings: [{top: QA417}]
    decision: {is: QA417, family: lab_a, grade: confirmed, basis: decap, why: mask A7, who: Ingrid Vold}
  - at: U2
    readings: [{top: QA420}]
  - at: U3
    readings: [{top: QA421}]
    decision: {is: QA421, family: lab_b, grade: probable}
";

#[test]
fn confirm_wants_a_marking_or_a_board() {
    assert_eq!(run(&["confirm", "--rules", "rules-demo"]).status, 2);
    assert_eq!(
        run(&[
            "confirm",
            "X",
            "--family",
            "hm_sdram",
            "--evidence",
            "x",
            "--board",
            "y.yaml"
        ])
        .status,
        2
    );
}
