//! From what a list leaves undecoded to rules that explain it: bulk, draft, check, fill in, bulk again.

use std::fmt::Write;
use std::path::Path;

use crate::harness::{etchlore, json, run, run_with};

/// A parts list of an invented maker that no rule knows, with rows that some rule or none knows.
fn list() -> String {
    let mut text = String::from("quantity;mark;place\n");
    let (sizes, kinds) = (["64", "128", "256"], ["D", "S"]);
    for n in 0..240_usize {
        let (size, kind) = (sizes[n % 3], kinds[n / 3 % 2]);
        let lot = 1000 + n * 7919 % 9000;
        let _ = writeln!(text, "1;ZQKV{kind}{size}-K{lot};U{n}");
    }
    for n in 0..12 {
        let _ = writeln!(text, "2;25Q128JVSQ;V{n}");
    }
    text.push_str("1;QQ;W1\n1;9#9;W2\n");
    text
}

fn path(folder: &Path, name: &str) -> String {
    folder.join(name).to_str().unwrap().to_owned()
}

#[test]
fn a_list_becomes_rules_that_decode_it() {
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| path(folder.path(), name);
    std::fs::write(at("list.csv"), list()).unwrap();
    let bulk = run(&[
        "bulk",
        &at("list.csv"),
        "-o",
        &at("out.csv"),
        "--mark",
        "mark",
        "--undecoded",
        &at("undecoded.tsv"),
    ]);
    assert_eq!(bulk.status, 0, "{}", bulk.err);

    let draft = run(&[
        "rules",
        "draft",
        &at("undecoded.tsv"),
        "-o",
        &at("zqkv.lore"),
    ]);
    assert_eq!((draft.status, draft.out.as_str()), (0, ""), "{}", draft.err);
    for said in [
        "240  zqkv  begin with ZQKV, 240 different",
        "2  remain",
        "`etchlore rules check",
    ] {
        assert!(draft.err.contains(said), "{said}: {}", draft.err);
    }
    let rules = std::fs::read_to_string(at("zqkv.lore")).unwrap();
    let piped = run(&["rules", "draft", &at("undecoded.tsv")]);
    assert_eq!(piped.out.trim_end(), rules.trim_end());

    // The check names what is to be filled in, and nothing else; the layout is the canonical one.
    let check = json(&["rules", "check", &at("zqkv.lore"), "--output", "json"]);
    assert_eq!(check["errors"], 0);
    assert_eq!(check["warnings"], 1, "{check}");
    assert_eq!(check["diagnostics"][0]["code"], "missing-source");
    let text = run(&["rules", "check", &at("zqkv.lore")]);
    assert!(
        text.out
            .contains("the source of `zqkv` is yet to be filled in")
            && text.out.contains("or what was looked at"),
        "{}",
        text.out
    );
    assert_eq!(
        run(&["rules", "format", "--check", &at("zqkv.lore")]).status,
        0
    );

    // Filled in, it is a rule as any other.
    let filled = rules
        .replace("source      \"?\"", "source      \"240 parts of one list\"")
        .replace(
            "place2      # what do these mean?",
            "place2      gives density Mbit",
        )
        .replace("    64        # 80 marks", "    64        64")
        .replace("    128       # 80 marks", "    128       128")
        .replace("    256       # 80 marks", "    256       256");
    assert_ne!(filled, rules);
    std::fs::write(at("zqkv.lore"), &filled).unwrap();
    let check = run(&["rules", "check", &at("zqkv.lore")]);
    assert!(
        check.out.contains("0 errors, 0 warnings"),
        "{}{filled}",
        check.out
    );
    let again = run(&[
        "bulk",
        &at("list.csv"),
        "--rules",
        &at("zqkv.lore"),
        "--mark",
        "mark",
        "--fields",
        "density:Mbit",
        "-o",
        &at("again.csv"),
    ]);
    assert_eq!(again.status, 0, "{}", again.err);
    let table = std::fs::read_to_string(at("again.csv")).unwrap();
    let decoded = table.lines().filter(|line| line.contains(";zqkv;"));
    assert_eq!(decoded.clone().count(), 240);
    for line in decoded {
        let size = line.split(['D', 'S', '-']).nth(1).unwrap();
        assert!(line.trim_end().ends_with(&format!(";{size}")), "{line}");
    }
    // And there is nothing more to draft.
    let rest = run(&[
        "rules",
        "draft",
        &at("undecoded.tsv"),
        "--rules",
        &at("zqkv.lore"),
    ]);
    assert_eq!(rest.status, 1);
    assert!(
        rest.err.contains("240  are decoded already"),
        "{}",
        rest.err
    );
}

#[test]
fn draft_reads_lists_of_all_kinds() {
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| path(folder.path(), name);
    let marks: Vec<String> = (0..30)
        .map(|n| format!("ZQKV{}K{}", n % 3, 1000 + n * 251))
        .collect();
    std::fs::write(at("plain.txt"), marks.join("\r\n")).unwrap();
    let rows: String = marks.iter().map(|mark| format!("7,{mark}\n")).collect();
    std::fs::write(at("table.csv"), format!("quantity,part\n{rows}")).unwrap();
    std::fs::write(
        at("named.tsv"),
        format!("a\tb\n{}", rows.replace(',', "\t")),
    )
    .unwrap();
    let wide: Vec<u8> = marks
        .join("\n")
        .encode_utf16()
        .flat_map(u16::to_le_bytes)
        .collect();
    std::fs::write(at("wide.txt"), [b"\xff\xfe".as_slice(), &wide].concat()).unwrap();
    let windows = [
        b"\xb5\xe9 no UTF-8\n".as_slice(),
        marks.join("\n").as_bytes(),
    ]
    .concat();
    std::fs::write(at("windows.txt"), windows).unwrap();
    for (arguments, more) in [
        (vec!["plain.txt"], 0),
        (vec!["table.csv"], 0),
        (vec!["named.tsv", "--column", "b"], 0),
        (vec!["wide.txt"], 0),
        (vec!["windows.txt"], 1),
    ] {
        let file = at(arguments[0]);
        let mut all = vec!["rules", "draft", "--output", "json", &file];
        all.extend(&arguments[1..]);
        let found = json(&all);
        assert_eq!(found["marks"], 30 + more, "{arguments:?}");
        assert_eq!(found["families"][0]["marks"], 30, "{arguments:?}: {found}");
        assert_eq!(found["families"][0]["stem"], "ZQKV");
    }
    // Several lists are one.
    let two = json(&[
        "rules",
        "draft",
        "--output",
        "json",
        &at("plain.txt"),
        &at("table.csv"),
    ]);
    assert_eq!(two["families"][0]["marks"], 60);
    assert_eq!(two["families"][0]["different"], 30);
}

#[test]
fn draft_writes_whole_or_not_at_all() {
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| path(folder.path(), name);
    std::fs::write(at("kept.lore"), "lore 1\n").unwrap();
    for (input, said) in [
        ("", "nothing to draft: no marks are left"),
        ("QX77\n", "nothing drafted: fewer than 5 different marks"),
    ] {
        let arguments = ["rules", "draft", "-", "-o", &at("kept.lore")];
        let run = run_with(etchlore(&arguments), input.as_bytes());
        assert_eq!(run.status, 1, "{}", run.err);
        assert!(run.err.contains(said), "{}", run.err);
        assert_eq!(
            std::fs::read_to_string(at("kept.lore")).unwrap(),
            "lore 1\n"
        );
    }
    let gone = run(&["rules", "draft", &at("none.txt")]);
    assert_eq!(gone.status, 3);
    assert!(gone.err.contains("none.txt cannot be read"), "{}", gone.err);
    let marks: String = (0..30)
        .map(|n| format!("ZQKV{}K{}\n", n % 3, 1000 + n * 251))
        .collect();
    let arguments = ["rules", "draft", "-", "-o", &at("no/such/folder.lore")];
    let nowhere = run_with(etchlore(&arguments), marks.as_bytes());
    assert_eq!(nowhere.status, 3, "{}", nowhere.err);
}
