//! Rates of the stages on the embedded rules: load (parse, check, compile) and decode with ranking. Run with
//! `cargo bench -p etchlore-engine`; each figure is the best of five passes, and each pass checks its answers. With `-- FILE` also the marks of a file, one a
//! line, in short and without the search for damage, as a parts list is decoded; with `-- deep FILE` with it; with `-- spread FILE` how whole answers
//! of single marks spread, without the search for damage and with it.

#![allow(clippy::print_stdout, clippy::disallowed_methods, clippy::unwrap_used)]

use std::time::{Duration, Instant};

use etchlore_engine::compile::Limits;
use etchlore_engine::decode::{Effort, Notation, Reading, Scratch};
use etchlore_engine::glyph::Confusions;
use etchlore_engine::rank::{Context, Wanted, rank, rank_in_short};
use etchlore_engine::write::sample;
use etchlore_engine::{Rules, packs, store};

/// The allocator of the command line.
#[global_allocator]
static ALLOCATOR: mimalloc::MiMalloc = mimalloc::MiMalloc;

fn best(mut pass: impl FnMut()) -> Duration {
    (0..5)
        .map(|_| {
            let start = Instant::now();
            pass();
            start.elapsed()
        })
        .min()
        .unwrap_or_default()
}

fn main() {
    let bytes: usize = packs::PACKS.iter().map(|pack| pack.text.len()).sum();
    let checking = best(|| {
        assert!(!packs::checked().1.has_errors());
    });
    let (sources, checked) = packs::checked();
    let set = checked.rules;
    let bytes_stored = store::write(&set, &sources).unwrap();
    let text = |name: &str| packs::text(name).map(Into::into);
    let stored = best(|| {
        // With the families, which a run reads when it comes near to them.
        let (rules, _) = store::read(bytes_stored.clone(), text).unwrap();
        assert_eq!(rules.set().families.iter().len(), set.families.len());
        assert!(
            rules
                .set()
                .families
                .iter()
                .all(|family| !family.name.is_empty())
        );
    });
    let compiled = best(|| {
        Rules::compile(set.clone(), &Confusions::default(), &Limits::default()).unwrap();
    });
    let rules = Rules::compile(set, &Confusions::default(), &Limits::default()).unwrap();
    println!(
        "{} families, {bytes} bytes of rules",
        rules.set().families.len()
    );
    println!(
        "parse and check {checking:?}, read as stored {stored:?} ({} bytes), compile {compiled:?}",
        bytes_stored.len()
    );

    let words: Vec<String> = std::env::args()
        .skip(1)
        .filter(|word| word != "--bench")
        .collect();
    let asked = |mode: &str| words.iter().any(|word| word == mode);
    let file = words
        .iter()
        .find(|word| *word != "deep" && *word != "spread");
    if let Some(file) = file.filter(|_| asked("spread")) {
        return spread(&rules, &std::fs::read_to_string(file).unwrap());
    }
    if let Some(file) = file {
        return list(&rules, &std::fs::read_to_string(file).unwrap());
    }
    let mut source = fastrand::Rng::with_seed(1);
    let mut random = move |bound: u64| source.u64(..bound.max(1));
    let mut members = Vec::new();
    for family in rules
        .set()
        .families
        .iter()
        .filter(|family| !family.is_marking())
    {
        for form in 0..family.forms.len() {
            members.extend(
                (0..100)
                    .filter_map(|_| sample(rules.set(), family, form, &mut random))
                    .map(|written| written.reading()),
            );
        }
    }
    let one_line: Vec<String> = members
        .iter()
        .filter(|text| !text.contains(" | "))
        .cloned()
        .collect();
    let several: Vec<String> = members
        .iter()
        .filter(|text| text.contains(" | "))
        .cloned()
        .collect();
    let unread: Vec<String> = one_line
        .iter()
        .map(|text| {
            text.chars()
                .enumerate()
                .map(|(at, c)| {
                    if at == 3 && c.is_alphanumeric() {
                        '_'
                    } else {
                        c
                    }
                })
                .collect()
        })
        .collect();
    let context = Context::on(jiff::civil::date(2026, 11, 25));
    let mut exact = 0.0;
    for (name, texts) in [
        ("one line", &one_line),
        ("one line, one unread", &unread),
        ("several lines", &several),
    ] {
        let readings: Vec<Reading> = texts
            .iter()
            .filter_map(|text| Reading::parse(text, Notation::default()).ok())
            .collect();
        let mut scratch = Scratch::default();
        let took = best(|| {
            let known = readings
                .iter()
                .filter(|reading| rules.rank(reading, &context, &mut scratch).none < 0.5)
                .count();
            assert!(
                known * 10 > readings.len() * 8,
                "{known} of {}",
                readings.len()
            );
        });
        let rate = readings.len() as f64 / took.as_secs_f64();
        if exact == 0.0 {
            exact = rate;
        }
        println!(
            "{name:22} {rate:10.0} marks/s, {:.2} of the first",
            rate / exact
        );
    }
}

/// The marks of a list in short.
fn list(rules: &Rules, text: &str) {
    let notation = Notation {
        table: true,
        ..Notation::default()
    };
    let context = Context::on(jiff::civil::date(2026, 11, 25));
    let effort = if std::env::args().any(|word| word == "deep") {
        Effort::Enough
    } else {
        Effort::Quick
    };
    let decoder = rules.decoder().with(effort);
    let wanted = Wanted::all();
    let mut scratch = Scratch::default();
    let (mut marks, mut known, mut told) = (0_u32, 0_usize, 0.0);
    let took = best(|| {
        (marks, known, told) = (0, 0, 0.0);
        for line in text.lines() {
            let Ok(reading) = Reading::parse(line, notation) else {
                continue;
            };
            let answer = rank_in_short(&decoder, &reading, &context, &wanted, &mut scratch);
            marks += 1;
            known += usize::from(answer.none < 0.5);
            told += answer.candidates.first().map_or(0.0, |c| c.probability);
        }
    });
    println!(
        "{marks} marks, {known} known: {took:?}, {:.1} us a mark; all first candidates together {told:.6}",
        took.as_secs_f64() * 1e6 / f64::from(marks)
    );
}

/// How long whole answers take, mark by mark: the best of three of each, at the median and far out.
fn spread(rules: &Rules, text: &str) {
    let notation = Notation {
        table: true,
        ..Notation::default()
    };
    let context = Context::on(jiff::civil::date(2026, 11, 25));
    let (lines, readings): (Vec<&str>, Vec<Reading>) = text
        .lines()
        .filter_map(|line| Some((line, Reading::parse(line, notation).ok()?)))
        .unzip();
    let mut first = 0.0;
    for (name, effort) in [("first pass", Effort::Quick), ("deep", Effort::Deep)] {
        let decoder = rules.decoder().with(effort);
        let mut scratch = Scratch::default();
        let mut took = vec![Duration::MAX; readings.len()];
        let (mut stopped, mut told) = (0, 0.0);
        for _ in 0..3 {
            (stopped, told) = (0, 0.0);
            for (reading, took) in readings.iter().zip(&mut took) {
                let start = Instant::now();
                let answer = rank(&decoder, reading, &context, &mut scratch);
                *took = start.elapsed().min(*took);
                stopped += usize::from(answer.stopped.is_some());
                told += answer.candidates.first().map_or(0.0, |c| c.probability);
            }
        }
        let mut slowest: Vec<(&Duration, &&str)> = took.iter().zip(&lines).collect();
        slowest.sort_unstable();
        let slowest: Vec<&str> = slowest
            .iter()
            .rev()
            .take(8)
            .map(|(_, line)| **line)
            .collect();
        println!("slowest: {}", slowest.join(", "));
        took.sort_unstable();
        let at = |share: f64| {
            let place = (readings.len() as f64 * share) as usize;
            took[place.min(readings.len() - 1)].as_secs_f64() * 1e3
        };
        if first == 0.0 {
            first = at(0.5);
        }
        println!(
            "{name:10} median {:.3} ms, 99 % {:.3}, 99.9 % {:.3}, most {:.3}; 99.9 % is {:.0} first passes; {:.1} % stopped; all first candidates together {told:.6}",
            at(0.5),
            at(0.99),
            at(0.999),
            at(1.0),
            at(0.999) / first,
            stopped as f64 * 100.0 / readings.len() as f64
        );
    }
}
