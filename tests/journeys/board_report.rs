//! `board report`: what each edition holds, the same bytes everywhere, hostile texts, nothing half written.

use std::path::Path;

use crate::harness::{Run, etchlore, root, run_with};

/// What the lab keeps to itself, planted all over one board.
const INTERNAL: [(&str, &str); 22] = [
    ("notes of the board", "lent by a fisherman of Sortvik"),
    ("notes of a part", "smells of burnt flux"),
    ("name of a photo", "bench-of-ingrid"),
    ("file of a photo", "hold-14.svg"),
    ("photo of a reading", "closeup-u1.svg"),
    ("reader", "Ingrid Vold"),
    ("another reader", "Aksel Brun"),
    ("who decided", "Tuva Lie"),
    ("why it was decided", "the ribbon ties two of its pins"),
    ("basis of a decision", "bought from a breaker"),
    ("house number that stands alone", "20418"),
    ("house number beside a mark", "20461"),
    ("where a house number is known from", "buoy 3"),
    ("rule of the lab", "oslo_house"),
    ("title of a rule of the lab", "House numbers of Oslo Sonar"),
    ("file of a rule of the lab", "memory.lore"),
    ("source of a rule of the lab", "Ordering guide OG-114"),
    ("serial number", "00A41F"),
    ("lot", "M7Q2"),
    ("scribble that nothing explains", "QX99"),
    ("family that the lab decided for", "hm_sdram"),
    ("what was observed", "answers at 0x5A"),
];

const BOARD: &str = r#"product: Lantern of Sortvik
generation: "1"
seller: oslo_sonar
seen: 2014-11-20
built: 2014-06..2014-08
notes: lent by a fisherman of Sortvik
photos:
  - {name: bench-of-ingrid, file: hold-14.svg}
claims:
  memory: 64 MB
parts:
  - at: U1, U2
    on: [{x: 10, y: 10, width: 20, height: 20}, {x: 40, y: 10, width: 20, height: 20}]
    notes: smells of burnt flux
    readings:
      - top: HMS4D1G16B-F6 | 1409 M7Q2P | QX99
        reader: Ingrid Vold
        photo: closeup-u1.svg
      - top: HMS4D1G16B-F6 | 1409 M7Q2P
        reader: Aksel Brun
    observed:
      other: [answers at 0x5A]
    decision:
      is: HMS4D1G16B-FC6
      family: hm_sdram
      grade: probable
      basis: bought from a breaker
      why: the ribbon ties two of its pins
      who: Tuva Lie
  - at: U3
    readings:
      - top: OS-20418-B
  - at: M1
    readings:
      - lid: "{:e3} | BREVIK | BRV868L-A2 | S/N 00A41F5 | EEC | OS-20461-A"
"#;

const DRAWING: &str = "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 10 10\"><rect width=\"10\" height=\"10\"/></svg>";

fn folder(board: &str) -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("board.yaml"), board).unwrap();
    for photo in ["hold-14.svg", "closeup-u1.svg"] {
        std::fs::write(folder.path().join(photo), DRAWING).unwrap();
    }
    folder
}

fn report(folder: &Path, to: &str, more: &[&str]) -> Run {
    let rules = root().join("rules-demo");
    let mut arguments = vec!["board", "report", "board.yaml", "-o", to];
    arguments.extend(["--rules", rules.to_str().unwrap()]);
    arguments.extend(more);
    let mut command = etchlore(&arguments);
    command.current_dir(folder);
    run_with(command, b"")
}

/// A report as text.
fn written(folder: &Path, to: &str, more: &[&str]) -> String {
    let run = report(folder, to, more);
    assert_eq!(run.status, 0, "{}", run.err);
    assert_eq!(run.out, "");
    std::fs::read_to_string(folder.join(to)).unwrap()
}

/// The text without its tags and with characters instead of their names: what a reader or a search sees, and all attributes beside.
fn plain(page: &str) -> String {
    let mut text = String::new();
    let mut tag = false;
    for c in page.chars() {
        match c {
            '<' => tag = true,
            '>' => tag = false,
            c if !tag => text.push(c),
            _ => {}
        }
    }
    text.replace("&quot;", "\"")
        .replace("&lt;", "<")
        .replace("&gt;", ">")
        .replace("&amp;", "&")
}

#[test]
fn the_lab_sees_everything_and_a_client_nothing_internal() {
    let folder = folder(BOARD);
    let internal = written(folder.path(), "internal.html", &[]);
    for (what, string) in INTERNAL {
        assert!(
            internal.contains(string) || plain(&internal).contains(string),
            "the internal edition lacks the {what}: {string}"
        );
    }
    for to in ["client.html", "client.md", "client.csv"] {
        let client = written(folder.path(), to, &["--edition", "client"]);
        for (what, string) in INTERNAL {
            assert!(
                !client.contains(string) && !plain(&client).contains(string),
                "{to} holds the {what}: {string}"
            );
        }
        // What the lab found out is there.
        for found in ["HMS4D1G16B-FC6", "HMS4D51216A-FC6", "BRV868L-A2"] {
            assert!(client.contains(found), "{to} lacks {found}");
        }
    }
    // Not even against an older board with the same strings.
    std::fs::write(
        folder.path().join("old.yaml"),
        BOARD
            .replace("HMS4D1G16B", "HMS4D1G16A")
            .replace("1409", "1309"),
    )
    .unwrap();
    let client = written(
        folder.path(),
        "against.html",
        &["--edition", "client", "--against", "old.yaml"],
    );
    assert!(client.contains("What changed"));
    for (what, string) in INTERNAL {
        assert!(
            !plain(&client).contains(string),
            "the comparison holds the {what}"
        );
    }
}

#[test]
fn a_photo_for_clients_is_asked_for() {
    let folder = folder(BOARD);
    let client = written(folder.path(), "a.html", &["--edition", "client"]);
    assert!(!client.contains("data:image"));
    let client = written(
        folder.path(),
        "b.html",
        &["--edition", "client", "--with-photos"],
    );
    assert!(client.contains("data:image/svg+xml"));
    let internal = written(folder.path(), "c.html", &[]);
    assert!(internal.contains("data:image/svg+xml"));
}

#[test]
fn the_same_board_gives_the_same_bytes_in_another_place() {
    let (here, there) = (folder(BOARD), folder(BOARD));
    for to in ["r.html", "r.md", "r.csv"] {
        let one = written(here.path(), to, &[]);
        let rules = root().join("rules-demo");
        let board = there.path().join("board.yaml");
        let far = there.path().join(to);
        let mut command = etchlore(&[
            "board",
            "report",
            board.to_str().unwrap(),
            "--rules",
            rules.to_str().unwrap(),
            "-o",
            far.to_str().unwrap(),
        ]);
        // Another day, zone, language, terminal; the day of reading stands in the file.
        command
            .current_dir(root().join("engine"))
            .env("ETCHLORE_TODAY", "2031-02-03")
            .env("TZ", "Pacific/Chatham")
            .env("LANG", "tr_TR.UTF-8")
            .env("LC_ALL", "tr_TR.UTF-8")
            .env("COLUMNS", "31")
            .env("NO_COLOR", "1");
        let run = run_with(command, b"");
        assert_eq!(run.status, 0, "{}", run.err);
        assert_eq!(one, std::fs::read_to_string(far).unwrap(), "{to}");
    }
}

#[test]
fn texts_of_a_board_stay_texts() {
    let hostile = "<script>alert(1)</script><img src=x onerror=alert(2)>\\\"'&amp;`";
    let board = format!(
        "product: \"{hostile}\"\nseen: 2014-11-20\nnotes: \"{hostile}\"\nparts:\n  - at: \"U1<b>\"\n    package: \"{hostile}\"\n    logo: \"=cmd|x!A1\"\n    notes: \"| a | b |\\n# title\"\n    readings:\n      - top: HMS4D1G16B-F6\n        reader: \"{hostile}\"\n  - at: \"=SUM(A1)\"\n    package: \"@X\"\n    readings:\n      - top: \"+WQ{{lt}}99\"\n",
    )
    .replace("{lt}", "");
    let folder = folder(&board);
    let page = written(folder.path(), "r.html", &[]);
    assert_eq!(page.matches("<script").count(), 1, "only our own script");
    assert!(!page.contains("<img"));
    assert!(page.contains("&lt;script&gt;alert(1)"));
    assert!(page.contains("default-src 'none'"));
    // Nothing that a browser would fetch.
    for fetched in ["http://", "https://", "src=\"//", "@import", "url("] {
        assert!(!page.contains(fetched), "{fetched}");
    }
    let markdown = written(folder.path(), "r.md", &[]);
    assert!(markdown.contains("\\<script"));
    for (at, _) in markdown.match_indices('<') {
        assert!(
            markdown[..at].ends_with('\\'),
            "a tag in Markdown: {}",
            &markdown[at..at + 9]
        );
    }
    assert!(!markdown.lines().any(|line| line.starts_with("# title")));
    let table = written(folder.path(), "r.csv", &[]);
    let mut reader = csv::Reader::from_reader(table.as_bytes());
    let rows: Vec<csv::StringRecord> = reader.records().map(Result::unwrap).collect();
    assert_eq!(rows.len(), 2);
    for cell in rows.iter().flatten() {
        assert!(
            !cell.starts_with(['=', '+', '-', '@']),
            "a spreadsheet would run {cell}"
        );
    }
}

#[test]
fn every_link_of_a_page_leads_somewhere_once() {
    let folder = tempfile::tempdir().unwrap();
    let boards = root().join("rules-demo/boards");
    for name in [
        "havlod-1.yaml",
        "havlod-2.yaml",
        "havlod-1.svg",
        "havlod-2.svg",
    ] {
        std::fs::copy(boards.join(name), folder.path().join(name)).unwrap();
    }
    std::fs::copy(
        boards.join("havlod-2.yaml"),
        folder.path().join("board.yaml"),
    )
    .unwrap();
    for edition in ["internal", "client"] {
        let page = written(
            folder.path(),
            "r.html",
            &["--edition", edition, "--against", "havlod-1.yaml"],
        );
        let values = |name: &str| -> Vec<&str> {
            let begin = format!(" {name}=\"");
            let all = page.match_indices(&begin);
            all.map(|(at, _)| page[at + begin.len()..].split('"').next().unwrap())
                .collect()
        };
        let mut ids = values("id");
        let before = ids.len();
        ids.sort_unstable();
        ids.dedup();
        assert_eq!(ids.len(), before, "an id stands twice");
        let links = values("href");
        assert!(links.len() > 100);
        for link in links {
            let target = link
                .strip_prefix('#')
                .unwrap_or_else(|| panic!("{link} leads outside"));
            assert!(ids.binary_search(&target).is_ok(), "{link} leads nowhere");
        }
        // Every position of every part with a place is on the picture, and leads to the row of its part.
        assert_eq!(page.matches("class=\"place\"").count(), 26);
        for label in values("aria-labelledby") {
            assert!(ids.binary_search(&label).is_ok(), "{label} names nothing");
        }
    }
}

#[test]
fn a_report_is_there_whole_or_not_at_all() {
    let folder = folder(BOARD);
    let names = |folder: &Path| {
        let mut names: Vec<_> = std::fs::read_dir(folder)
            .unwrap()
            .map(|entry| entry.unwrap().file_name())
            .collect();
        names.sort();
        names
    };
    let before = names(folder.path());
    // No such form, no such folder, no such older board, a photo that is none.
    let run = report(folder.path(), "r.pdf", &[]);
    assert_eq!(run.status, 2, "{}", run.err);
    assert!(run.err.contains(".html, .md or .csv"), "{}", run.err);
    assert_ne!(report(folder.path(), "nowhere/r.html", &[]).status, 0);
    assert_ne!(
        report(folder.path(), "r.html", &["--against", "older.yaml"]).status,
        0
    );
    assert_eq!(names(folder.path()), before);
    std::fs::write(folder.path().join("hold-14.svg"), "not a picture").unwrap();
    let run = report(folder.path(), "r.html", &[]);
    assert_ne!(run.status, 0);
    assert!(
        run.err.contains("hold-14.svg") && run.err.contains("PNG, JPEG or SVG"),
        "{}",
        run.err
    );
    assert_eq!(names(folder.path()), before);
    // An older report stays where a new one fails.
    std::fs::write(folder.path().join("r.html"), "older").unwrap();
    assert_ne!(report(folder.path(), "r.html", &[]).status, 0);
    assert_eq!(
        std::fs::read_to_string(folder.path().join("r.html")).unwrap(),
        "older"
    );
}

#[test]
fn the_demo_board_as_a_table_of_cost_inputs_and_as_markdown() {
    let folder = tempfile::tempdir().unwrap();
    let boards = root().join("rules-demo/boards");
    std::fs::copy(
        boards.join("havlod-2.svg"),
        folder.path().join("havlod-2.svg"),
    )
    .unwrap();
    std::fs::copy(
        boards.join("havlod-2.yaml"),
        folder.path().join("board.yaml"),
    )
    .unwrap();
    insta::assert_snapshot!("cost", written(folder.path(), "r.csv", &[]));
    let page = written(folder.path(), "r.md", &["--edition", "client"]);
    let page: String = page
        .lines()
        .filter(|line| !line.contains("sha256:"))
        .map(|line| format!("{line}\n"))
        .collect();
    insta::assert_snapshot!("client-markdown", page);
}
