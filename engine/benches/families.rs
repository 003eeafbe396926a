//! Marks a second over 10 to 10,000 families, beside general engines on the same families and marks, in one run.
//!
//! `cargo bench -p etchlore-engine --bench families -- [MARKS] [FAMILIES,...] [FOLDER]`. Families and marks are made by a seeded generator; with a folder,
//! `families_N.jsonl`, `marks_N.csv` and `truth_N.tsv` are read from it instead. Everything runs on one thread; figures are the best of three passes, in
//! time on a processor. A further word `ours` leaves the general engines out, `first` all but the first pass of ours; `once` makes one pass over a
//! kind of marks and no more, for tools that count instructions: `exact`, `alike`, `unread`, `junk`, which then is the only one.

#![allow(clippy::print_stdout, clippy::disallowed_methods, clippy::unwrap_used)]

use std::collections::HashMap;
use std::fmt::Write as _;
use std::time::{Duration, Instant};

use etchlore_engine::Rules;
use etchlore_engine::check::check;
use etchlore_engine::compile::Limits;
use etchlore_engine::decode::{Effort, Notation, Scratch};
use etchlore_engine::glyph::Confusions;
use etchlore_engine::rank::{Context, Wanted, rank_text_in_short};
use etchlore_engine::source::{LoadError, Loader, Sources};

#[global_allocator]
static ALLOCATOR: mimalloc::MiMalloc = mimalloc::MiMalloc;

struct Alone;

impl Loader for Alone {
    fn load(&self, _: &str, _: &str) -> Result<(String, String), LoadError> {
        Err(LoadError::NotFound)
    }
}

/// One place of a made family.
struct Segment {
    dash: bool,
    kind: Kind,
}

enum Kind {
    Digits(usize, usize),
    Table(Vec<String>),
    /// A table whose code may be missing.
    Suffix(Vec<String>),
}

struct Made {
    prefix: String,
    segments: Vec<Segment>,
}

/// What becomes of a mark.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Fate {
    Exact,
    Alike,
    Unread,
    Junk,
}

struct Mark {
    text: String,
    fate: Fate,
    /// Index of the family; none for junk.
    family: Option<usize>,
}

fn main() {
    let arguments: Vec<String> = std::env::args()
        .skip(1)
        .filter(|argument| argument != "--bench")
        .collect();
    let marks = arguments
        .first()
        .and_then(|word| word.parse().ok())
        .unwrap_or(100_000);
    let sizes: Vec<usize> = arguments.get(1).map_or_else(
        || vec![10, 100, 1_000, 10_000],
        |list| list.split(',').map(|word| word.parse().unwrap()).collect(),
    );
    println!("{marks} marks, one thread; thousand marks a second");
    for size in sizes {
        let (families, marks) = match arguments.get(2) {
            Some(folder) if std::path::Path::new(folder).is_dir() => read(folder, size, marks),
            _ => make(size, marks),
        };
        println!("{size} families");
        let first = arguments.iter().any(|word| word == "first");
        if let Some(at) = arguments.iter().position(|word| word == "once") {
            let kind = arguments.get(at + 1).map(String::as_str);
            once(&families, &marks, kind);
            continue;
        }
        ours(&families, &marks, first);
        if !first && !arguments.iter().any(|word| word == "ours") {
            peers(&families, &marks);
        }
    }
}

fn best(mut pass: impl FnMut()) -> Duration {
    (0..3)
        .map(|_| {
            // The system counts in ticks: long enough for many of them.
            let (start, began) = (processor(), Instant::now());
            let mut passes = 0;
            while passes == 0 || began.elapsed() < Duration::from_millis(200) {
                pass();
                passes += 1;
            }
            processor().checked_sub(start).unwrap() / passes
        })
        .min()
        .unwrap()
}

/// Time of this thread on a processor, where the system tells, so that what else runs beside counts little.
fn processor() -> Duration {
    static BEGAN: std::sync::OnceLock<Instant> = std::sync::OnceLock::new();
    let stat = std::fs::read_to_string("/proc/thread-self/schedstat").unwrap_or_default();
    let nanoseconds = stat.split_whitespace().next().and_then(|n| n.parse().ok());
    nanoseconds.map_or_else(
        || BEGAN.get_or_init(Instant::now).elapsed(),
        Duration::from_nanos,
    )
}

fn rate(count: usize, time: Duration) -> f64 {
    count as f64 / time.as_secs_f64() / 1e3
}

/// Resident memory in bytes, where the system tells.
fn resident() -> f64 {
    let statm = std::fs::read_to_string("/proc/self/statm").unwrap_or_default();
    let pages = statm.split_whitespace().nth(1);
    pages
        .and_then(|pages| pages.parse::<f64>().ok())
        .map_or(f64::NAN, |pages| pages * 4096.0)
}

/// What is asked of every mark.
const NOTATION: Notation = Notation {
    plain: false,
    certain: false,
    table: true,
};

fn context() -> Context {
    Context::on(jiff::civil::date(2026, 11, 25))
}

/// One pass over the marks of a kind, once what they need is there.
fn once(families: &[Made], marks: &[Mark], kind: Option<&str>) {
    let mut sources = Sources::default();
    let root = sources.add("made.lore", lore(families), false);
    let set = check(&mut sources, &[root], &Alone).rules;
    let rules = Rules::compile(set, &Confusions::default(), &Limits::default()).unwrap();
    let fate = match kind {
        Some("alike") => Fate::Alike,
        Some("unread") => Fate::Unread,
        Some("junk") => Fate::Junk,
        _ => Fate::Exact,
    };
    let some: Vec<&Mark> = marks.iter().filter(|mark| mark.fate == fate).collect();
    let decoder = rules.decoder().with(Effort::Quick);
    let mut scratch = Scratch::default();
    let mut pass = || {
        for mark in &some {
            rank_text_in_short(
                &decoder,
                &mark.text,
                NOTATION,
                &context(),
                &Wanted::all(),
                &mut scratch,
            )
            .unwrap();
        }
    };
    pass();
    counted(&mut pass);
    println!("  {} marks", some.len());
}

/// What a tool that counts is told to count.
#[inline(never)]
fn counted(pass: &mut dyn FnMut()) {
    pass();
}

fn ours(families: &[Made], marks: &[Mark], first_only: bool) {
    let text = lore(families);
    let mut sources = Sources::default();
    let root = sources.add("made.lore", text, false);
    let checking = Instant::now();
    let set = check(&mut sources, &[root], &Alone).rules;
    let checking = checking.elapsed();
    assert_eq!(set.families.len(), families.len());
    let before = resident();
    let compiling = Instant::now();
    let rules = Rules::compile(set, &Confusions::default(), &Limits::default()).unwrap();
    let compiling = compiling.elapsed();
    println!(
        "  compile {:.2} s (parse and check {:.2} s), {:.1} KB a family",
        compiling.as_secs_f64(),
        checking.as_secs_f64(),
        (resident() - before) / families.len() as f64 / 1e3
    );
    let context = context();
    let wanted = Wanted::all();
    let mut scratch = Scratch::default();
    for (name, effort) in [
        ("first pass", Effort::Quick),
        ("with damage", Effort::Enough),
    ] {
        // Over very many families a search for damage takes a second a mark.
        if effort == Effort::Enough && (first_only || families.len() > 1_000) {
            continue;
        }
        let decoder = rules.decoder().with(effort);
        for fate in [
            None,
            Some(Fate::Exact),
            Some(Fate::Alike),
            Some(Fate::Unread),
            Some(Fate::Junk),
        ] {
            let some: Vec<&Mark> = marks
                .iter()
                .filter(|mark| fate.is_none_or(|fate| mark.fate == fate))
                .take(if effort == Effort::Quick {
                    usize::MAX
                } else {
                    2_000
                })
                .collect();
            let (mut right, mut fields) = (0, 0);
            let time = best(|| {
                (right, fields) = (0, 0);
                for mark in &some {
                    let answer = rank_text_in_short(
                        &decoder,
                        &mark.text,
                        NOTATION,
                        &context,
                        &wanted,
                        &mut scratch,
                    )
                    .unwrap();
                    let first = answer
                        .candidates
                        .first()
                        .filter(|first| first.probability >= 0.5);
                    fields += first.map_or(0, |first| first.fields.len());
                    right += usize::from(first.map(|first| first.family.index()) == mark.family);
                }
            });
            println!(
                "  {name:12} {:8} {:9.1}   right {:.4}, fields a mark {:.1}",
                match fate {
                    None => "all",
                    Some(Fate::Exact) => "exact",
                    Some(Fate::Alike) => "alike",
                    Some(Fate::Unread) => "unread",
                    Some(Fate::Junk) => "junk",
                },
                rate(some.len(), time),
                right as f64 / some.len() as f64,
                fields as f64 / some.len() as f64
            );
        }
    }
}

/// The families as a rule file.
fn lore(families: &[Made]) -> String {
    let mut text = "lore 1\n".to_owned();
    for (index, family) in families.iter().enumerate() {
        write!(
            text,
            "\nfamily made_{index}   Made parts {}\n  function other\n  source \"made by the bench\"\n  code  \"{}\"",
            family.prefix, family.prefix
        )
        .unwrap();
        for (at, segment) in family.segments.iter().enumerate() {
            write!(text, "{} s{}", if segment.dash { " -" } else { "" }, at + 1).unwrap();
        }
        text += " ~ year week\n";
        for (at, segment) in family.segments.iter().enumerate() {
            let at = at + 1;
            match &segment.kind {
                Kind::Digits(low, high) if low == high => {
                    writeln!(text, "  s{at}  {low} digits").unwrap()
                }
                Kind::Digits(low, high) => writeln!(text, "  s{at}  {low}..{high} digits").unwrap(),
                Kind::Table(codes) | Kind::Suffix(codes) => {
                    writeln!(text, "  s{at}").unwrap();
                    if matches!(segment.kind, Kind::Suffix(_)) {
                        writeln!(text, "    none").unwrap();
                    }
                    for code in codes {
                        writeln!(text, "    \"{code}\"").unwrap();
                    }
                }
            }
        }
        text += "  year  2 digits\n  week  2 digits\n  date  year week\n";
    }
    text
}

/// A general engine's expression for a family: everything a group of its own.
fn expression(family: &Made) -> String {
    let mut text = format!("^(?P<prefix>{})", family.prefix);
    for (at, segment) in family.segments.iter().enumerate() {
        let dash = if segment.dash { "-" } else { "" };
        match &segment.kind {
            Kind::Digits(low, high) => {
                write!(text, "{dash}(?P<s{at}>[0-9]{{{low},{high}}})").unwrap()
            }
            Kind::Table(codes) => write!(text, "{dash}(?P<s{at}>{})", codes.join("|")).unwrap(),
            Kind::Suffix(codes) => {
                write!(text, "(?:{dash}(?P<s{at}>{}))?", codes.join("|")).unwrap();
            }
        }
    }
    text + " (?P<yy>[0-9]{2})(?P<ww>0[1-9]|[1-4][0-9]|5[0-3])$"
}

fn peers(families: &[Made], marks: &[Mark]) {
    let expressions: Vec<String> = families.iter().map(expression).collect();
    let each: Vec<regex::Regex> = expressions
        .iter()
        .map(|text| regex::Regex::new(text).unwrap())
        .collect();
    let report = |name: &str, count: usize, time: Duration, right: usize| {
        println!(
            "  {name:30} {:9.1}   right {:.4}",
            rate(count, time),
            right as f64 / count as f64
        );
    };
    let groups = |family: usize, text: &str| -> bool {
        each[family]
            .captures(text)
            .is_some_and(|captures| captures.iter().flatten().count() > 0)
    };
    // By prefix, the longest first.
    let mut by_prefix: HashMap<&str, Vec<usize>> = HashMap::new();
    for (index, family) in families.iter().enumerate() {
        by_prefix.entry(&family.prefix).or_default().push(index);
    }
    let dispatch = |text: &str| {
        (2..=5).rev().find_map(|length| {
            let of_prefix = by_prefix.get(text.get(..length)?)?;
            of_prefix
                .iter()
                .copied()
                .find(|family| groups(*family, text))
        })
    };
    let mut right = 0;
    let time = best(|| {
        right = marks
            .iter()
            .filter(|mark| dispatch(&mark.text) == mark.family)
            .count();
    });
    report("prefix dispatch and captures", marks.len(), time, right);
    let few = &marks[..marks.len().min(2_000)];
    if families.len() <= 1_000 {
        let set = regex::RegexSetBuilder::new(&expressions)
            .size_limit(1 << 30)
            .build()
            .unwrap();
        let time = best(|| {
            right = few
                .iter()
                .filter(|mark| {
                    let found = set.matches(&mark.text);
                    found.iter().find(|family| groups(*family, &mark.text)) == mark.family
                })
                .count();
        });
        report("regex set and captures", few.len(), time, right);
        let many = regex_automata::meta::Regex::builder()
            .configure(
                regex_automata::meta::Config::new()
                    .nfa_size_limit(Some(1 << 30))
                    .hybrid_cache_capacity(1 << 27),
            )
            .build_many(&expressions)
            .unwrap();
        // Captures of all expressions at once would take memory for every group in every state.
        let time = best(|| {
            right = few
                .iter()
                .filter(|mark| {
                    let found = many.find(mark.text.as_str());
                    let family = found.map(|found| found.pattern().as_usize());
                    family.filter(|family| groups(*family, &mark.text)) == mark.family
                })
                .count();
        });
        report("many expressions and captures", few.len(), time, right);
    }
}

const LETTERS: &[u8] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZ";
const BOTH: &[u8] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789";

fn some(random: &mut fastrand::Rng, from: &[u8], count: usize) -> String {
    (0..count)
        .map(|_| char::from(from[random.usize(..from.len())]))
        .collect()
}

fn codes(random: &mut fastrand::Rng) -> Vec<String> {
    let mut count = random.usize(3..=40);
    let fixed = random.f64() < 0.7;
    let length = if count <= 30 {
        [1, 2, 2, 3][random.usize(..4)]
    } else {
        random.usize(2..=3)
    };
    let from = [LETTERS, &BOTH[26..], BOTH, BOTH][random.usize(..4)];
    if length == 1 {
        count = count.min(from.len() - 2);
    }
    let mut codes: Vec<String> = Vec::new();
    while codes.len() < count {
        let length = if fixed { length } else { random.usize(1..=3) };
        let code = some(random, from, length);
        if !codes.contains(&code) {
            codes.push(code);
        }
    }
    codes
}

fn make(size: usize, count: usize) -> (Vec<Made>, Vec<Mark>) {
    let mut random = fastrand::Rng::with_seed(size as u64);
    let random = &mut random;
    let shared = format!("KX{}", some(random, LETTERS, 1));
    let mut families: Vec<Made> = Vec::new();
    let mut known = std::collections::HashSet::from([shared.clone()]);
    while families.len() < size {
        // A tenth of all begin alike.
        let prefix = if families.len() % 10 == 3 {
            shared.clone()
        } else {
            let (from, more) = (
                if random.f64() < 0.3 { BOTH } else { LETTERS },
                random.usize(1..=4),
            );
            some(random, LETTERS, 1) + &some(random, from, more)
        };
        if prefix != shared && !known.insert(prefix.clone()) {
            continue;
        }
        let last = random.usize(4..=8) - 1;
        let mut segments = Vec::new();
        for at in 0..=last {
            let dash = at > 0 && random.f64() < 0.3;
            let kind = if at == last && random.f64() < 0.5 {
                Kind::Suffix(codes(random))
            } else if random.f64() < 0.3 {
                let low = random.usize(1..=4);
                Kind::Digits(low, low + [0, 0, 0, 1, 2][random.usize(..5)])
            } else {
                Kind::Table(codes(random))
            };
            segments.push(Segment { dash, kind });
        }
        families.push(Made { prefix, segments });
    }
    let marks = (0..count).map(|_| mark(random, &families)).collect();
    (families, marks)
}

fn mark(random: &mut fastrand::Rng, families: &[Made]) -> Mark {
    const ALIKE: [(u8, u8); 6] = [
        (b'0', b'O'),
        (b'1', b'I'),
        (b'8', b'B'),
        (b'5', b'S'),
        (b'2', b'Z'),
        (b'6', b'G'),
    ];
    let fate = random.f64();
    if fate >= 0.8 {
        let length = random.usize(6..=30);
        let text = if random.f64() < 0.3 {
            let prefix = &families[random.usize(..families.len())].prefix;
            format!(
                "{prefix}{} 2{:03}",
                some(random, BOTH, length / 2 + 1),
                random.u32(..1000)
            )
        } else {
            some(random, BOTH, length)
        };
        return Mark {
            text,
            fate: Fate::Junk,
            family: None,
        };
    }
    let index = random.usize(..families.len());
    let mut text = families[index].prefix.clone();
    for segment in &families[index].segments {
        let dash = if segment.dash { "-" } else { "" };
        match &segment.kind {
            Kind::Digits(low, high) => {
                let count = random.usize(*low..=*high);
                text = text + dash + &some(random, &BOTH[26..], count);
            }
            Kind::Suffix(_) if random.bool() => {}
            Kind::Table(codes) | Kind::Suffix(codes) => {
                text = text + dash + &codes[random.usize(..codes.len())];
            }
        }
    }
    write!(text, " {:02}{:02}", random.u32(10..=26), random.u32(1..=52)).unwrap();
    let mut bytes = text.into_bytes();
    let other = |byte: u8| {
        ALIKE.iter().find_map(|(a, b)| match byte {
            _ if byte == *a => Some(*b),
            _ if byte == *b => Some(*a),
            _ => None,
        })
    };
    let places: Vec<usize> = (0..bytes.len())
        .filter(|at| {
            if fate < 0.75 {
                other(bytes[*at]).is_some()
            } else {
                bytes[*at].is_ascii_alphanumeric()
            }
        })
        .collect();
    let mut kind = Fate::Exact;
    if fate >= 0.6 && !places.is_empty() {
        let at = places[random.usize(..places.len())];
        (kind, bytes[at]) = if fate < 0.75 {
            (Fate::Alike, other(bytes[at]).unwrap_or(b'?'))
        } else {
            (Fate::Unread, b'?')
        };
    }
    Mark {
        text: String::from_utf8(bytes).unwrap(),
        fate: kind,
        family: Some(index),
    }
}

/// Families and marks that another generator made.
fn read(folder: &str, size: usize, count: usize) -> (Vec<Made>, Vec<Mark>) {
    let text = std::fs::read_to_string(format!("{folder}/families_{size}.jsonl")).unwrap();
    let families = text
        .lines()
        .map(|line| {
            let family: serde_yaml::Value = serde_yaml::from_str(line).unwrap();
            let segments = family["segments"].as_sequence().unwrap();
            let segments = segments.iter().map(|segment| {
                let codes = || {
                    let codes = segment["codes"].as_sequence().unwrap();
                    codes
                        .iter()
                        .map(|code| code.as_str().unwrap().to_owned())
                        .collect()
                };
                let number = |name: &str| usize::try_from(segment[name].as_u64().unwrap()).unwrap();
                Segment {
                    dash: segment["sep"].as_str() == Some("-"),
                    kind: match segment["kind"].as_str() {
                        Some("digits") => Kind::Digits(number("min"), number("max")),
                        Some("suffix") => Kind::Suffix(codes()),
                        _ => Kind::Table(codes()),
                    },
                }
            });
            Made {
                prefix: family["prefix"].as_str().unwrap().to_owned(),
                segments: segments.collect(),
            }
        })
        .collect();
    let truth = std::fs::read_to_string(format!("{folder}/truth_{size}.tsv")).unwrap();
    let mut table = csv::Reader::from_path(format!("{folder}/marks_{size}.csv")).unwrap();
    let marks = table
        .records()
        .zip(truth.lines())
        .take(count)
        .map(|(record, truth)| {
            let mut parts = truth.split('\t');
            let fate = match parts.next() {
                Some("exact") => Fate::Exact,
                Some("look") => Fate::Alike,
                Some("qmark") => Fate::Unread,
                _ => Fate::Junk,
            };
            Mark {
                text: record.unwrap()[2].to_owned(),
                fate,
                family: parts.next().and_then(|family| family.parse().ok()),
            }
        })
        .collect();
    (families, marks)
}
