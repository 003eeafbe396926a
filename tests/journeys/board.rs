//! A whole board: the findings planted in the demo, what the parts say of each other, and what changed. All invented.

use std::collections::BTreeSet;

use serde_json::{Value, json as data};

use crate::harness::{etchlore, json, run, run_with};

const FIRST: &str = "rules-demo/boards/havlod-1.yaml";
const SECOND: &str = "rules-demo/boards/havlod-2.yaml";

/// What is planted: board, kind of finding, parts.
const PLANTED: &[(&str, &str, &[&str])] = &[
    (FIRST, "claim-over", &["U1"]),
    (FIRST, "claim-thousands", &["U2"]),
    (FIRST, "claim-band", &[]),
    (FIRST, "unread", &["U9"]),
    (SECOND, "claim-bits-for-bytes", &["U2", "U8", "U9"]),
    (SECOND, "claim-short", &["U1", "U9", "U12"]),
    (SECOND, "claim-open", &["M4"]),
    (SECOND, "date-after-seen", &["S1"]),
    (SECOND, "date-after-build", &["U6"]),
    (SECOND, "date-old", &["U7"]),
    (SECOND, "lot-two-dates", &["U4"]),
    (SECOND, "forms-differ", &["M3"]),
    (SECOND, "specimens-differ", &["U10"]),
    (SECOND, "readers-differ", &["S2"]),
    (SECOND, "package-differs", &["U2"]),
    (SECOND, "pins-differ", &["U3"]),
    (SECOND, "measured-differs", &["C1"]),
    (SECOND, "contents-differ", &["U9"]),
    (SECOND, "die-other-maker", &["U8"]),
    (SECOND, "die-differs", &["U12"]),
    (SECOND, "die-older", &["U1"]),
    (SECOND, "identities-differ", &["M2"]),
    (SECOND, "rule-broken", &["U14"]),
    (SECOND, "decision-differs", &["U15"]),
    (SECOND, "ambiguous", &["R2"]),
    (SECOND, "unknown", &["U16"]),
];

fn show(board: &str) -> Value {
    json(&[
        "board",
        "show",
        board,
        "--rules",
        "rules-demo",
        "--output",
        "json",
    ])
}

fn findings(shown: &Value) -> BTreeSet<(String, Vec<String>)> {
    let parts = |one: &Value| -> Vec<String> {
        let names = one["parts"].as_array().unwrap().iter();
        names
            .map(|name| name.as_str().unwrap().to_owned())
            .collect()
    };
    let all = shown["findings"].as_array().unwrap().iter();
    all.map(|one| (one["kind"].as_str().unwrap().to_owned(), parts(one)))
        .collect()
}

fn finding<'v>(shown: &'v Value, kind: &str) -> &'v Value {
    let mut all = shown["findings"].as_array().unwrap().iter();
    all.find(|one| one["kind"] == kind)
        .unwrap_or_else(|| panic!("no {kind} in {:#}", shown["findings"]))
}

fn part<'v>(shown: &'v Value, at: &str) -> &'v Value {
    let mut all = shown["parts"].as_array().unwrap().iter();
    all.find(|one| {
        one["at"]
            .as_str()
            .unwrap()
            .split(", ")
            .any(|place| place == at)
    })
    .unwrap()
}

#[test]
fn the_demo_boards_give_exactly_the_findings_planted_in_them() {
    for board in [FIRST, SECOND] {
        let planted: BTreeSet<(String, Vec<String>)> = PLANTED
            .iter()
            .filter(|(of, ..)| *of == board)
            .map(|(_, kind, parts)| {
                let parts = parts.iter().map(|part| (*part).to_owned());
                ((*kind).to_owned(), parts.collect())
            })
            .collect();
        let found = findings(&show(board));
        let missed: Vec<_> = planted.difference(&found).collect();
        let extra: Vec<_> = found.difference(&planted).collect();
        assert!(
            missed.is_empty() && extra.is_empty(),
            "{board}: missed {missed:?}, extra {extra:?}"
        );
    }
    let kinds: BTreeSet<&str> = PLANTED.iter().map(|(_, kind, _)| *kind).collect();
    let known: BTreeSet<&str> = etchlore_engine::board::FindingKind::ALL
        .iter()
        .map(|(_, word, _)| *word)
        .collect();
    assert_eq!(kinds, known, "every kind is planted once");
}

#[test]
fn a_slip_of_bits_for_bytes_names_its_cause() {
    let shown = show(SECOND);
    let found = finding(&shown, "claim-bits-for-bytes");
    assert_eq!(
        found["text"],
        "storage of 256 MB is claimed; counted: 256 Mbit (32 Mbyte) in U2, U8, U9"
    );
    assert_eq!(
        found["why"],
        "the claim is eight times that: it reads as if the 256 Mbit of the parts were bytes"
    );
}

#[test]
fn a_die_of_an_older_mask_is_explained_and_not_flagged_as_wrong() {
    let shown = show(SECOND);
    let found = finding(&shown, "die-older");
    assert_eq!(found["weight"], "note");
    assert_eq!(found["parts"], data!(["U1"]));
    // 2009 and 2007 are near enough to be no news.
    let first = show(FIRST);
    assert_eq!(part(&first, "U1")["dies"][0]["fit"], "confirms the mark");
}

#[test]
fn a_house_number_resolves_with_its_evidence_and_revision() {
    let shown = show(FIRST);
    let house = part(&shown, "U7");
    assert_eq!(house["written"], "TVK864N-16QI");
    assert_eq!(house["maker"], "Tannvik Mikro AS");
    assert_eq!(
        house["stands_for"],
        "20455 stands for 8 and 16-bit microcontrollers TVK, Tannvik Mikro AS TVK864N-16QI, revision A (observed: hull unit 2011)"
    );
    // The socket counts for who made the part, not for whose number it has.
    let makers = shown["makers"].as_array().unwrap();
    let tannvik = makers.iter().find(|one| one["maker"] == "Tannvik Mikro AS");
    assert_eq!(tannvik.unwrap()["parts"], data!(["U3", "U7"]));
    assert!(makers.iter().all(|one| one["maker"] != "Oslo Sonar AS"));
}

#[test]
fn two_identities_on_one_can_are_both_answered() {
    let shown = show(SECOND);
    let module = part(&shown, "M1");
    assert_eq!(module["written"], "BRV868L-A2");
    let other = &module["also"][0]["candidates"][0];
    assert_eq!(other["family"], "oslo_house");
    assert_eq!(other["stands_for"]["written"], "BRV868L-A2");
    // They agree on M1, and do not on M2.
    assert_eq!(finding(&shown, "identities-differ")["parts"], data!(["M2"]));
}

#[test]
fn a_stack_lists_its_contents() {
    let shown = show(SECOND);
    assert_eq!(
        part(&shown, "U9")["inside"],
        "1 of 512 Mbit memory die, Halvorsen Memory AS; 1 of 64 Mbit flash die, Halvorsen Memory AS"
    );
}

#[test]
fn the_others_dates_settle_a_year_of_one_digit() {
    let shown = show(FIRST);
    let micro = part(&shown, "U3");
    assert_eq!(micro["dates"], data!(["2009-10"]));
    assert!(micro["around"]["dates"].as_u64().unwrap() >= 2);
    // Alone, the digit can be of two decades.
    let alone = board(
        "product: x\nseen: 2010-01-20\nparts:\n  - {at: U3, readings: [{top: 864N | 16QI | 9X0K}]}\n",
    );
    let date = &part(&alone, "U3")["reading"]["candidates"][0]["fields"]["date"];
    assert!(
        date["alternatives"]
            .as_array()
            .is_some_and(|all| !all.is_empty()),
        "{date:#}"
    );
}

/// A part speaks for others and never for itself: with nobody else on the board nothing changes.
#[test]
fn a_part_does_not_hear_itself() {
    for lines in [
        "864N | 16QI | 9X0K",
        "55CN138A | KD31B",
        "4R7",
        "OS-20461-A",
    ] {
        let text = format!(
            "product: x\nseen: 2014-11-20\nparts:\n  - at: U1\n    readings: [{{any: '{lines}'}}]\n"
        );
        let shown = board(&text);
        let one = part(&shown, "U1");
        assert!(one.get("around").is_none());
        let first = &one["reading"]["candidates"][0];
        let decoded = json(&[
            "decode",
            "--rules",
            "rules-demo",
            "--seen",
            "2014-11-20",
            "--output",
            "json",
            lines,
        ]);
        assert_eq!(first, &decoded["readings"][0]["candidates"][0], "{lines}");
    }
}

/// A board in a file of its own.
fn board(text: &str) -> Value {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("board.yaml");
    std::fs::write(&path, text).unwrap();
    show(path.to_str().unwrap())
}

#[test]
fn what_is_inside_a_module_is_held_against_its_rules_and_counted_once() {
    let module = |inside: &str| {
        board(&format!(
            "product: x\nseen: 2015-01-01\nclaims: {{memory: 64 MB}}\nparts:\n  - at: U1\n    readings: [{{top: HMPD5N6-BM | 1107 QQ71}}]\n{inside}"
        ))
    };
    let die = |at: &str, lines: &str| {
        format!("  - at: {at}\n    inside: U1\n    readings: [{{any: '{lines}'}}]\n")
    };
    let fits = module(&(die("D1", "HM5116B{:m}G") + &die("D2", "HN64A{:dot}2009")));
    assert!(findings(&fits).is_empty(), "{:#}", fits["findings"]);
    let wrong = module(&die("D1", "SKH3W"));
    assert_eq!(finding(&wrong, "contents-differ")["parts"], data!(["U1"]));
}

#[test]
fn two_generations_are_compared_part_by_part() {
    let run = run(&["board", "compare", FIRST, SECOND, "--rules", "rules-demo"]);
    assert_eq!(run.status, 0, "{}", run.err);
    insta::assert_snapshot!(run.out);
    let found = json(&[
        "board",
        "compare",
        FIRST,
        SECOND,
        "--rules",
        "rules-demo",
        "--output",
        "json",
    ]);
    let kind = |at: &str| -> String {
        let side = |one: &Value, side: &str| {
            one[side]["at"]
                .as_str()
                .is_some_and(|places| places.split(", ").any(|place| place == at))
        };
        let mut all = found["changes"].as_array().unwrap().iter();
        let one = all.find(|one| side(one, "new") || one["new"].is_null() && side(one, "old"));
        one.unwrap()["kind"].as_str().unwrap().to_owned()
    };
    let planted = [
        ("X1", "carried over"),
        ("U3", "other date or plant"),
        ("U1", "revised"),
        ("S2", "replaced by the same maker"),
        ("U2", "other maker"),
        ("U9", "not known"),
        ("M1", "new"),
    ];
    for (at, expected) in planted {
        assert_eq!(kind(at), expected, "{at}");
    }
    let gone: Vec<&Value> = found["changes"]
        .as_array()
        .unwrap()
        .iter()
        .filter(|one| one["kind"] == "gone")
        .map(|one| &one["old"]["at"])
        .collect();
    assert_eq!(gone, ["U7"]);
    let makers = found["makers"].as_array().unwrap();
    let brevik = makers
        .iter()
        .find(|one| one["maker"] == "Brevik Radio ASA")
        .unwrap();
    assert_eq!((&brevik["old"], &brevik["new"]), (&data!(0), &data!(4)));
}

#[test]
fn a_board_against_itself_is_all_carried_over() {
    for file in [FIRST, SECOND] {
        let found = json(&[
            "board",
            "compare",
            file,
            file,
            "--rules",
            "rules-demo",
            "--output",
            "json",
        ]);
        for change in found["changes"].as_array().unwrap() {
            let unread =
                change["new"]["title"] == "not read" || change["new"]["title"] == "no mark";
            let kind = if unread { "not known" } else { "carried over" };
            assert_eq!(change["kind"], kind, "{change:#}");
            assert_eq!(change["old"]["at"], change["new"]["at"]);
        }
    }
}

#[test]
fn the_account_as_text() {
    let run = run(&["board", "show", FIRST, "--rules", "rules-demo"]);
    assert_eq!(run.status, 0, "{}", run.err);
    insta::assert_snapshot!(run.out);
}

#[test]
fn strict_tells_by_its_status() {
    let status = |arguments: &[&str]| run(arguments).status;
    assert_eq!(
        status(&["board", "show", FIRST, "--rules", "rules-demo", "--strict"]),
        1
    );
    assert_eq!(
        status(&[
            "board",
            "compare",
            FIRST,
            SECOND,
            "--rules",
            "rules-demo",
            "--strict"
        ]),
        1
    );
}

#[test]
fn the_same_board_gives_the_same_answer_on_any_number_of_threads() {
    let out = |jobs: &str| {
        let arguments = [
            "board",
            "show",
            SECOND,
            "--rules",
            "rules-demo",
            "--output",
            "json",
            "--jobs",
            jobs,
        ];
        run_with(etchlore(&arguments), b"").out
    };
    assert_eq!(out("1"), out("7"));
}
