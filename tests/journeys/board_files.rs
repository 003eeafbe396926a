//! Board files that are broken: each is refused with its place, its line, and what to do.

use std::io::Read;
use std::path::Path;
use std::process::Stdio;
use std::time::{Duration, Instant};

use crate::harness::etchlore;

/// How long one broken file may take: a hang is a failure, a slow machine is not.
const PATIENCE: Duration = Duration::from_secs(60);

/// A part with something under it, in a board.
fn part(text: &str) -> String {
    format!("product: Sounder\nparts:\n  - at: U1\n    {text}\n")
}

/// Broken files by name; whether a schema can see what is wrong.
pub(crate) fn broken() -> Vec<(&'static str, Vec<u8>, bool)> {
    let mut files: Vec<(&str, Vec<u8>, bool)> = Vec::new();
    let mut add = |name, text: String, seen| files.push((name, text.into_bytes(), seen));
    // Types.
    add("list-at-root", "- at: U1\n- at: U2\n".into(), true);
    add("text-at-root", "a sounder\n".into(), true);
    add("product-is-a-list", "product: [a, b]\n".into(), true);
    add(
        "product-is-a-map",
        "product: {name: Sounder}\n".into(),
        true,
    );
    add(
        "parts-is-a-text",
        "product: Sounder\nparts: U1, U2\n".into(),
        true,
    );
    add(
        "parts-is-a-map",
        "product: Sounder\nparts:\n  U1: {package: SOIC-8}\n".into(),
        true,
    );
    add(
        "part-is-a-text",
        "product: Sounder\nparts:\n  - U1\n".into(),
        true,
    );
    add("readings-is-a-text", part("readings: HMS4D1G16A"), true);
    add(
        "mark-is-a-map",
        part("readings:\n      - top: {B8}52"),
        true,
    );
    add(
        "mark-is-symbols",
        part("readings:\n      - top: {:e3}"),
        true,
    );
    add(
        "claims-is-a-text",
        "product: Sounder\nclaims: 8 GB\n".into(),
        true,
    );
    add("pins-is-a-word", part("pins: eight"), true);
    add("pins-negative", part("pins: -8"), true);
    add("pins-by-half", part("pins: 8.5"), true);
    add("quantity-0", part("quantity: 0"), true);
    add(
        "quantity-huge",
        part("quantity: 99999999999999999999"),
        true,
    );
    add(
        "quantity-few",
        "product: Sounder\nparts:\n  - at: C1, C2, C3\n    quantity: 2\n".into(),
        false,
    );
    add(
        "percent-above",
        part("on: {x: 10, y: 101, width: 5, height: 5}"),
        true,
    );
    add(
        "percent-nan",
        part("on: {x: .nan, y: 1, width: 5, height: 5}"),
        true,
    );
    add(
        "percent-inf",
        part("on: {x: 1, y: 1, width: .inf, height: 5}"),
        true,
    );
    add(
        "place-without-width",
        part("on: {x: 1, y: 1, height: 5}"),
        true,
    );
    // Keys.
    add("unknown-key-near", part("pakage: SOIC-8"), true);
    add("unknown-key-far", part("zzz: 1"), true);
    add("missing-product", "generation: 2\nparts: []\n".into(), true);
    add("empty-product", "product: ''\n".into(), true);
    add(
        "duplicate-key",
        part("pins: 8\n    package: SOIC-8\n    pins: 8"),
        false,
    );
    add(
        "missing-position",
        "product: Sounder\nparts:\n  - package: SOIC-8\n".into(),
        true,
    );
    add(
        "empty-position",
        "product: Sounder\nparts:\n  - at: ' , '\n".into(),
        false,
    );
    add(
        "empty-part",
        "product: Sounder\nparts:\n  - at: U1\n  -\n".into(),
        true,
    );
    add("missing-grade", part("decision: {family: hm_sdram}"), true);
    // Values.
    add(
        "bad-date",
        "product: Sounder\nseen: 20. January\n".into(),
        false,
    );
    add(
        "date-not-there",
        "product: Sounder\nbuilt: 2026-02-30\n".into(),
        false,
    );
    add(
        "bad-claim",
        "product: Sounder\nclaims: {memory: lots}\n".into(),
        false,
    );
    add("bad-function", part("function: memory/drum"), true);
    add("bad-grade", part("decision: {grade: certain}"), true);
    add("bad-state", part("observed: {state: scratched}"), true);
    add("bad-value", part("observed: {value: 10 spoons}"), false);
    add("bad-body", part("body: big"), false);
    add("bad-size", "product: Sounder\nsize: large\n".into(), false);
    add(
        "two-forms",
        part("readings:\n      - top: A1015\n        die: HM512"),
        true,
    );
    add(
        "no-form",
        part("readings:\n      - reader: Ingrid Vold"),
        true,
    );
    add(
        "bad-notation",
        part("readings:\n      - top: 'A{B8'"),
        false,
    );
    add(
        "many-lines",
        part(&format!(
            "readings:\n      - top: {}",
            vec!["A1"; 17].join(" | ")
        )),
        false,
    );
    add(
        "number-of-no-die",
        part("readings:\n      - top: A1015\n        number: 2"),
        false,
    );
    add(
        "specimen-0",
        part("readings:\n      - top: A1015\n        specimen: 0"),
        true,
    );
    // Positions.
    add(
        "duplicate-designator",
        "product: Sounder\nparts:\n  - at: U1\n  - at: U2, U3\n  - at: U4, U2\n".into(),
        false,
    );
    add("inside-nothing", part("inside: M1"), false);
    add(
        "inside-near",
        "product: Sounder\nparts:\n  - at: MOD1\n  - at: U2\n    inside: MOD2\n".into(),
        false,
    );
    add("inside-itself", part("inside: U1"), false);
    add(
        "inside-a-circle",
        "product: Sounder\nparts:\n  - {at: U0, inside: U1}\n  - {at: U1, inside: U2}\n  - {at: U2, inside: U3}\n  - {at: U3, inside: U1}\n".into(),
        false,
    );
    // Photos.
    let photo =
        |file: &str| format!("product: Sounder\nphotos:\n  - {{name: board, file: {file}}}\n");
    add("photo-missing", photo("none.jpg"), false);
    add("photo-above", photo("../secret.jpg"), false);
    add("photo-absolute", photo("/etc/hostname"), false);
    add("photo-by-a-link", photo("link.jpg"), false);
    add("photo-is-a-folder", photo("folder"), false);
    add(
        "photo-of-a-reading",
        part("readings:\n      - top: A1015\n        photo: ../../u1.jpg"),
        false,
    );
    add(
        "photo-twice",
        "product: Sounder\nphotos:\n  - {name: board, file: real.jpg}\n  - {name: board, file: real.jpg}\n".into(),
        false,
    );
    add(
        "photo-unknown",
        format!(
            "{}parts:\n  - at: U1\n    on: {{photo: bord, x: 1, y: 1, width: 1, height: 1}}\n",
            photo("real.jpg")
        ),
        false,
    );
    // YAML.
    add("empty", String::new(), true);
    add("only-comments", "# to be written\n".into(), true);
    add(
        "two-documents",
        "product: Sounder\n---\nproduct: Another\n".into(),
        false,
    );
    add(
        "tab",
        "product: Sounder\nparts:\n\t- at: U1\n".into(),
        false,
    );
    add(
        "second-colon",
        "product: Sounder: main board\n".into(),
        false,
    );
    add("open-quote", part("notes: 'found at Kaldvik"), false);
    add("open-bracket", part("on: {x: 1, y: 1"), false);
    add(
        "quote-and-more",
        part("readings:\n      - top: '25Q' 128"),
        false,
    );
    add("percent-sign", part("logo: %"), false);
    add("at-sign", part("logo: @home"), false);
    add("star", part("logo: *"), false);
    add("star-name", part("logo: *star"), false);
    add("escape", part("logo: \"\\q\""), false);
    add(
        "indentation",
        "product: Sounder\nparts:\n  - at: U1\n   package: SOIC-8\n".into(),
        false,
    );
    add(
        "no-colon",
        "product: Sounder\npackage\nseen: 2026\n".into(),
        false,
    );
    add("control-character", "product: Sounder\u{7}\n".into(), false);
    add(
        "wide-characters",
        part("logo: 電子部品\n    maker: {電子: 部品}"),
        false,
    );
    add(
        "long-line",
        format!(
            "product: Sounder\nclaims: {{storage: 1 GB, memory: 2 GB, {}oops: 3}}\n",
            " ".repeat(300)
        ),
        true,
    );
    // Size.
    add(
        "text-of-10-mb",
        format!("product: Sounder\nnotes: {}\n", "long ".repeat(2_000_000)),
        false,
    );
    let mut laughs = "product: Sounder\nnotes: &a ha\n".to_owned() + "parts:\n";
    laughs.push_str(
        "  - at: U1\n    observed:\n      other: &b [ha, ha, ha, ha, ha, ha, ha, ha, ha, ha]\n",
    );
    for at in 2..20_000 {
        laughs.push_str(&format!(
            "  - {{at: U{at}, observed: {{other: *b}}, notes: *a}}\n"
        ));
    }
    laughs.push_str("  - {at: U1}\n");
    add("aliases-many", laughs, false);
    let mut laughs = "product: Sounder\na0: &a0 [ha, ha, ha, ha, ha, ha, ha, ha, ha]\n".to_owned();
    for at in 1..12 {
        let before = format!("*a{}", at - 1);
        laughs.push_str(&format!("a{at}: &a{at} [{}]\n", vec![before; 9].join(", ")));
    }
    add("aliases-explode", laughs, false);
    let text = format!("&long '{}'", "x".repeat(60_000));
    let mut laughs = format!(
        "product: Sounder\nnotes: {text}\nparts:\n  - at: U1\n    observed:\n      other: &many [{}]\n",
        vec!["*long"; 900].join(", ")
    );
    for at in 2..2_000 {
        laughs.push_str(&format!("  - {{at: U{at}, observed: {{other: *many}}}}\n"));
    }
    add("aliases-of-long-text", laughs, false);
    add(
        "alias-of-itself",
        "product: Sounder\nparts: &a\n  - *a\n".into(),
        false,
    );
    add(
        "deep-brackets",
        format!("product: Sounder\nparts: {}\n", "[".repeat(1_000_000)),
        false,
    );
    add(
        "deep-by-lines",
        format!("product: Sounder\nparts:\n{}", "  [\n".repeat(200_000)),
        false,
    );
    add(
        "deep-maps",
        format!(
            "product: Sounder\nclaims: {}1{}\n",
            "{a: ".repeat(500),
            "}".repeat(500)
        ),
        false,
    );
    add(
        "deep-dashes",
        format!("product: Sounder\nparts:\n  {}1\n", "- ".repeat(20_000)),
        false,
    );
    let mut many = "product: Sounder\nparts:\n".to_owned();
    for at in 1..=100_000 {
        many.push_str(&format!("  - at: U{at}\n    readings: [{{top: A1015}}]\n"));
    }
    add("100000-parts", many, false);
    // Bytes.
    let sixteen = |little: bool, mark: bool| {
        let text = if mark {
            "\u{feff}product: Sounder\n"
        } else {
            "product: Sounder\n"
        };
        let units = text.encode_utf16();
        units
            .flat_map(|u| {
                if little {
                    u.to_le_bytes()
                } else {
                    u.to_be_bytes()
                }
            })
            .collect::<Vec<u8>>()
    };
    files.push(("utf-16-le", sixteen(true, true), false));
    files.push(("utf-16-be", sixteen(false, true), false));
    files.push(("utf-16-without-mark", sixteen(true, false), false));
    files.push((
        "latin-1",
        b"product: Sounder\nnotes: f\xfcr Kaldvik\n".to_vec(),
        false,
    ));
    files.push(("zeros", vec![0; 4_096], false));
    files.push((
        "picture",
        b"\xff\xd8\xff\xe0\x00\x10JFIF\x00\x01".to_vec(),
        false,
    ));
    files.push(("33-mb", vec![b'#'; 33 << 20], false));
    files
}

/// A folder with what broken files name.
fn folder() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    let lab = folder.path().join("lab");
    std::fs::create_dir_all(lab.join("folder")).unwrap();
    std::fs::write(lab.join("real.jpg"), b"a photo").unwrap();
    std::fs::write(folder.path().join("secret.jpg"), b"another").unwrap();
    #[cfg(unix)]
    std::os::unix::fs::symlink("../secret.jpg", lab.join("link.jpg")).unwrap();
    folder
}

/// Shows a board file, within the time allowed.
fn show(lab: &Path, file: &str) -> (Option<i32>, String) {
    let mut child = etchlore(&["board", "show", file])
        .current_dir(lab)
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let mut messages = child.stderr.take().unwrap();
    let reader = std::thread::spawn(move || {
        let mut text = String::new();
        messages.read_to_string(&mut text).unwrap();
        text
    });
    let begun = Instant::now();
    let status = loop {
        match child.try_wait().unwrap() {
            Some(status) => break status.code(),
            None if begun.elapsed() > PATIENCE => {
                child.kill().unwrap();
                child.wait().unwrap();
                break None;
            }
            None => std::thread::sleep(Duration::from_millis(5)),
        }
    };
    (status, reader.join().unwrap())
}

#[cfg(unix)]
#[test]
fn broken_board_files_say_where_and_what_to_do() {
    let folder = folder();
    let lab = folder.path().join("lab");
    let mut faults = Vec::new();
    let mut all = String::new();
    for (name, bytes, _) in broken() {
        let file = format!("{name}.yaml");
        std::fs::write(lab.join(&file), &bytes).unwrap();
        let (status, said) = show(&lab, &file);
        all.push_str(&format!("{said}\n"));
        let mut fault = |what: &str| faults.push(format!("{name}: {what}: {said}"));
        if status != Some(3) {
            fault(&format!("status {status:?}"));
        }
        if !said.contains("\n  help: ") {
            fault("no help");
        }
        for word in [
            "panicked", "Parsed", "struct", "expected", "u32", "f64", "serde", "sequence",
        ] {
            if said.contains(word) {
                fault(&format!("says `{word}`"));
            }
        }
        if name == "33-mb" {
            continue;
        }
        // `file:line:column`, and that column of that line above the caret.
        let place: Vec<usize> = said
            .strip_prefix(&format!("error: {file}:"))
            .unwrap_or_default()
            .split(':')
            .take(2)
            .filter_map(|number| number.parse().ok())
            .collect();
        let [line, column] = place[..] else {
            fault("no place");
            continue;
        };
        if name.starts_with("utf-16") || name == "zeros" || name == "picture" {
            continue;
        }
        let text = String::from_utf8_lossy(&bytes);
        let typed: Vec<char> = text
            .lines()
            .nth(line - 1)
            .unwrap_or_default()
            .chars()
            .collect();
        let shown = said.lines().nth(2).unwrap_or_default();
        let caret = said.lines().nth(3).unwrap_or_default();
        let width: usize = caret.find('^').unwrap_or(0);
        let mut at = 0;
        let under = shown.chars().find(|c| {
            let here = at == width;
            at += unicode_width::UnicodeWidthChar::width(*c).unwrap_or(0);
            here
        });
        let meant = typed
            .get(column - 1)
            .copied()
            .map(|c| if c.is_control() { ' ' } else { c });
        if under.filter(|c| *c != ' ') != meant.filter(|c| *c != ' ') {
            fault(&format!(
                "the caret is under {under:?}, the place is at {meant:?}"
            ));
        }
    }
    assert!(faults.is_empty(), "{}", faults.join("\n"));
    insta::assert_snapshot!(all);
}
