//! A parts list through `bulk`, beside a plain copy of the same file by the csv crate: seconds of wall and of processor, peak memory.
//!
//! `cargo bench -p etchlore --bench bulk -- [ROWS] [FAMILIES]`. Rules and marks are made by a seeded generator. The same process does both in turn, as
//! children, so that the two are measured alike; the ratio is the figure to look at.

#![allow(clippy::unwrap_used, clippy::print_stdout)]

use std::io::Write;
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::Instant;

const RUNS: usize = 3;

fn main() {
    let arguments: Vec<String> = std::env::args()
        .skip(1)
        .filter(|argument| argument != "--bench")
        .collect();
    if let [copy, from, to] = arguments.as_slice()
        && copy == "copy"
    {
        return plain_copy(from, to);
    }
    let number = |at: usize, usual: usize| {
        arguments
            .get(at)
            .and_then(|word| word.parse().ok())
            .unwrap_or(usual)
    };
    let (rows, families) = (number(0, 100_000), number(1, 1_000));
    let folder = tempfile::tempdir().unwrap();
    let path = |name: &str| folder.path().join(name).to_str().unwrap().to_owned();
    let (rules, list, repeated, out) = (
        path("made.lore"),
        path("list.csv"),
        path("repeated.csv"),
        path("out.csv"),
    );
    let prefixes = write_rules(&rules, families);
    write_list(&list, &prefixes, rows, rows);
    write_list(&repeated, &prefixes, rows, rows / 10);
    let own = std::env::current_exe().unwrap();
    let bulk = env!("CARGO_BIN_EXE_etchlore");
    println!("{rows} rows, {families} families; medians of {RUNS}");
    for (title, list) in [
        ("all marks distinct", &list),
        ("each ten times on average", &repeated),
    ] {
        let size = std::fs::metadata(list).unwrap().len() as f64 / 1e6;
        let floor = measure(&[own.to_str().unwrap(), "copy", list, &out]);
        println!("{title}, {size:.0} MB");
        println!(
            "  plain copy      {:6.2} s wall {:6.2} s processor",
            floor.0, floor.1
        );
        for jobs in ["1", "2"] {
            let run = measure(&[
                bulk,
                "bulk",
                list,
                "-o",
                &out,
                "--mark",
                "mark",
                "--jobs",
                jobs,
                "--no-builtin",
                "--rules",
                &rules,
                "--fields",
                "density,width,package",
            ]);
            let answered = std::fs::read_to_string(&out).unwrap();
            assert_eq!(answered.lines().count(), rows + 1);
            assert!(
                answered
                    .lines()
                    .filter(|line| line.contains(",decoded,"))
                    .count()
                    * 2
                    > rows
            );
            println!(
                "  bulk, {jobs} threads {:6.2} s wall {:6.2} s processor: {:.2} and {:.2} times the copy",
                run.0,
                run.1,
                run.0 / floor.0,
                run.1 / floor.1
            );
        }
    }
}

fn plain_copy(from: &str, to: &str) {
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .from_path(from)
        .unwrap();
    let mut writer = csv::WriterBuilder::new()
        .flexible(true)
        .from_path(to)
        .unwrap();
    let mut record = csv::ByteRecord::new();
    while reader.read_byte_record(&mut record).unwrap() {
        writer.write_byte_record(&record).unwrap();
    }
    writer.flush().unwrap();
}

/// Median seconds of wall and processor.
fn measure(command: &[&str]) -> (f64, f64) {
    let mut walls = Vec::new();
    let mut cores = Vec::new();
    for _ in 0..RUNS {
        let (began, before) = (Instant::now(), children());
        let run = Command::new(command[0])
            .args(&command[1..])
            .env("ETCHLORE_TODAY", "2026-11-25")
            .env_remove("ETCHLORE_RULES")
            .stderr(Stdio::piped())
            .output()
            .unwrap();
        assert!(
            run.status.success(),
            "{}",
            String::from_utf8_lossy(&run.stderr)
        );
        walls.push(began.elapsed().as_secs_f64());
        cores.push(children() - before);
    }
    walls.sort_by(f64::total_cmp);
    cores.sort_by(f64::total_cmp);
    (walls[RUNS / 2], cores[RUNS / 2])
}

/// Processor seconds of the children that have ended, where the system tells.
fn children() -> f64 {
    let Ok(stat) = std::fs::read_to_string("/proc/self/stat") else {
        return f64::NAN;
    };
    let behind = stat.rsplit(')').next().unwrap_or("");
    let fields: Vec<&str> = behind.split_whitespace().collect();
    let ticks: f64 = fields[13..15]
        .iter()
        .filter_map(|field| field.parse::<f64>().ok())
        .sum();
    ticks / 100.0
}

/// Rules of invented families; gives what each family's marks begin with.
fn write_rules(path: &str, families: usize) -> Vec<String> {
    let mut random = fastrand::Rng::with_seed(17);
    let mut text = "lore 1\n".to_owned();
    let mut prefixes: Vec<String> = Vec::new();
    while prefixes.len() < families {
        let length = random.usize(3..6);
        let prefix: String = (0..length).map(|_| random.uppercase()).collect();
        if prefixes.contains(&prefix) {
            continue;
        }
        let name = format!("made_{}", prefixes.len());
        text += &format!(
            "\nfamily {name}   Made parts {prefix}\n  function memory/dram\n  source \"made by the bench\"\n\
             \x20 code    {prefix}     64    16     A         -  F\n\
             \x20         series  size  width  revision  -  package\n\
             \x20 size    gives density Mbit\n    64   64\n    128  128\n    256  256\n    1G   1024\n\
             \x20 width   2 digits  gives width bit\n\
             \x20 revision    letter\n\
             \x20 package gives package\n    F    \"FBGA-60\"\n    TS   \"TSOP-54\"\n    Q    \"QFN-32\"\n\
             \x20 example {prefix}6416A-F\n"
        );
        prefixes.push(prefix);
    }
    std::fs::write(path, text).unwrap();
    prefixes
}

/// A list of about 95 bytes a row, `different` marks in it.
fn write_list(path: impl AsRef<Path>, prefixes: &[String], rows: usize, different: usize) {
    let mut random = fastrand::Rng::with_seed(23);
    let mut out = std::io::BufWriter::new(std::fs::File::create(path).unwrap());
    writeln!(out, "ref,qty,mark,note,bin,price").unwrap();
    let notes = [
        "fit side A, reflow only",
        "check polarity",
        "alt. source ok",
        "hand place",
        "MSL3 bake before use",
    ];
    let mark = |number: usize| {
        let mut random = fastrand::Rng::with_seed(number as u64);
        let prefix = &prefixes[random.usize(..prefixes.len())];
        let size = ["64", "128", "256", "1G"][random.usize(..4)];
        let package = ["F", "TS", "Q"][random.usize(..3)];
        let width = random.u32(10..100);
        let letter = random.uppercase();
        // Four in five name a part; every mark is one of its own by the lot behind it.
        let junk = if number % 5 == 4 { "X-" } else { "" };
        format!("{junk}{prefix}{size}{width}{letter}-{package} {number}")
    };
    for row in 0..rows {
        let number = if different == rows {
            row
        } else {
            random.usize(..different.max(1))
        };
        writeln!(
            out,
            "U{row},{},{},\"{} / {}\",{}-{:02}-{:04},{:.4}",
            random.u32(1..5000),
            mark(number),
            notes[random.usize(..5)],
            notes[random.usize(..5)],
            random.uppercase(),
            random.u32(1..40),
            random.u32(1000..10_000),
            random.f64() * 40.0
        )
        .unwrap();
    }
    out.flush().unwrap();
}
