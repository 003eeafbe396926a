//! A made board of many parts, shown and compared: seconds of wall and of processor beside those of a board of one part.
//!
//! `cargo bench -p etchlore --bench board -- [PARTS] [FOLDER]`. The parts are those of the invented demo by a seeded generator, a twentieth of
//! them with marks that no rule explains; with FOLDER the two board files are kept there. The answer is asserted once.

#![allow(clippy::unwrap_used, clippy::print_stdout)]

use std::fmt::Write;
use std::path::Path;
use std::process::Command;
use std::time::Instant;

const RUNS: usize = 5;

fn main() {
    let arguments: Vec<String> = std::env::args()
        .skip(1)
        .filter(|argument| argument != "--bench")
        .collect();
    let parts: usize = arguments
        .first()
        .and_then(|word| word.parse().ok())
        .unwrap_or(2_000);
    let folder = tempfile::tempdir().unwrap();
    let folder = arguments
        .get(1)
        .map_or(folder.path(), |kept| Path::new(kept.as_str()));
    let file = |name: &str, parts: usize, seed: u64| {
        let path = folder.join(name);
        std::fs::write(&path, board(parts, seed)).unwrap();
        path.to_str().unwrap().to_owned()
    };
    let (one, old, new) = (
        file("one.yaml", 1, 1),
        file("old.yaml", parts, 2),
        file("new.yaml", parts, 3),
    );
    println!("{parts} parts; medians of {RUNS}");
    for (title, arguments) in [
        ("one part shown", vec!["show", &one]),
        ("shown", vec!["show", &old]),
        ("two compared", vec!["compare", &old, &new]),
    ] {
        println!("  {title:16}{:6.2} s wall", measure(&arguments));
    }
    let shown = run(&["show", &old]);
    assert!(shown.contains(&format!("{parts} parts in {parts} places")));
}

fn run(arguments: &[&str]) -> String {
    let rules = Path::new(env!("CARGO_MANIFEST_DIR")).join("../rules-demo");
    let output = Command::new(env!("CARGO_BIN_EXE_etchlore"))
        .arg("board")
        .args(arguments)
        .arg("--rules")
        .arg(rules)
        .output()
        .unwrap();
    assert!(
        output.status.success(),
        "{}",
        String::from_utf8_lossy(&output.stderr)
    );
    String::from_utf8(output.stdout).unwrap()
}

/// Median of the wall time.
fn measure(arguments: &[&str]) -> f64 {
    let mut times: Vec<f64> = (0..RUNS)
        .map(|_| {
            let start = Instant::now();
            run(arguments);
            start.elapsed().as_secs_f64()
        })
        .collect();
    times.sort_by(f64::total_cmp);
    times[RUNS / 2]
}

/// A board file with marks of the demo's families.
fn board(parts: usize, seed: u64) -> String {
    let mut random = fastrand::Rng::with_seed(seed);
    let mut text = "product: made\nseen: 2014-11-20\nbuilt: 2014-06..2014-08\nclaims: {memory: 1 GB, storage: 1 GB}\nparts:\n".to_owned();
    for at in 1..=parts {
        let mut pick = |from: &str| {
            let all: Vec<char> = from.chars().collect();
            all[random.usize(..all.len())]
        };
        let (a, b, c) = (pick("0123"), pick("123456789"), pick("ABCEFGHKMNPRTXYZ"));
        let (d, e) = (pick("123456789"), pick("ACEFHKMNRTXY"));
        let year = pick("1234");
        let mark = match at % 20 {
            0 => format!("any: ZQ{b}{d}-WEN{a}{c}"),
            1 | 11 => format!(
                "top: HMS4D1G16{}-F6 | 1{year}{a}{b} {c}{d}{e}{b}",
                pick("ABC")
            ),
            2 | 12 => format!("top: HMQ64{}LSI | 1{year}{a}{b} {e}{d}{c}{b}M", pick("ABC")),
            3 => format!("top: 864N | 16QI | {}{b}{c}{d}", pick("0123456789")),
            4 | 14 => format!(
                "top: 55CN138A | {}{}{d}{c}{b}",
                pick("EFGHJK"),
                pick("ABCDEFGHJ")
            ),
            5 | 15 => format!(
                "top: LQR{}3V3 | {}1{year}{a}{b}{d}",
                pick("15"),
                pick("WXYZ")
            ),
            6 | 16 => format!("code: VKX{b}{d}M000-12I"),
            7 => format!(
                "top: SKP{}B | 1{year}{b}{}",
                ["2", "10", "30"][random.usize(..3)],
                pick2(d)
            ),
            8 => format!(
                "top: OS-{}-{c}",
                ["20417", "20418", "20455", "20461", "20470"][random.usize(..5)]
            ),
            9 | 19 => format!("top: vk{b}n{d}J63"),
            10 => format!("lid: \"BREVIK | BRV868L-A{} | GCH\"", pick("1234")),
            13 => format!("top: SKH3W | D{}{}", a, b),
            17 => "code: TVK16128LB-20MH".to_owned(),
            _ => format!("top: HMPD5N6-BM | 1{year}{a}{b} {c}{c}{b}{d}"),
        };
        let _ = writeln!(text, "  - at: P{at}\n    readings: [{{{mark}}}]");
    }
    text
}

fn pick2(digit: char) -> char {
    match digit {
        '1'..='3' => 'a',
        '4'..='6' => 'b',
        _ => 'c',
    }
}
