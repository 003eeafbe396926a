//! Two versions of all embedded packs compared over made markings: seconds of wall.
//!
//! `cargo bench -p etchlore-engine --bench changes -- [MARKS] [JOBS]`. The marks are members of all families by a seeded generator, one in ten of
//! no family. Versions: the same; one value edited; all packages of one name edited; the weights of many families edited. What is found is counted.

#![allow(clippy::unwrap_used, clippy::print_stdout, clippy::disallowed_methods)]

use std::time::Instant;

use etchlore_engine::Rules;
use etchlore_engine::analyse::{Comparing, Corpus, changes};
use etchlore_engine::check::check;
use etchlore_engine::decode::Effort;
use etchlore_engine::packs;
use etchlore_engine::source::Sources;
use etchlore_engine::write::sample;
use jiff::civil::date;

#[global_allocator]
static ALLOCATOR: mimalloc::MiMalloc = mimalloc::MiMalloc;

/// All packs, their texts edited.
fn version(edit: &mut dyn FnMut(&str) -> String) -> Rules {
    let mut sources = Sources::default();
    let rules = packs::PACKS.iter().filter(|p| p.path.ends_with(".lore"));
    let roots: Vec<_> = rules
        .map(|pack| sources.add(pack.name, edit(pack.text), true))
        .collect();
    let checked = check(&mut sources, &roots, &packs::Embedded);
    assert!(!checked.has_errors());
    Rules::compile(checked.rules, &Default::default(), &Default::default()).unwrap()
}

fn main() {
    let numbers: Vec<usize> = std::env::args()
        .skip(1)
        .filter_map(|word| word.parse().ok())
        .collect();
    let count = numbers.first().copied().unwrap_or(20_000);
    let jobs = numbers.get(1).copied().unwrap_or(1);
    let old = version(&mut str::to_owned);
    let mut random = fastrand::Rng::with_seed(1);
    let set = old.set();
    let mut marks: Vec<String> = Vec::new();
    while marks.len() < count {
        if marks.len() % 10 == 9 {
            let length = random.usize(4..12);
            marks.push((0..length).map(|_| random.alphanumeric()).collect());
            continue;
        }
        let family = &set.families[random.usize(..set.families.len())];
        if family.forms.is_empty() {
            continue;
        }
        let form = random.usize(..family.forms.len());
        let mut draw = |bound: u64| random.u64(..bound.max(1));
        marks.extend(sample(set, family, form, &mut draw).map(|member| member.lines.join(" | ")));
    }
    let corpus = Corpus::of(&marks);
    let mut once = true;
    let versions = [
        ("the same", version(&mut str::to_owned)),
        (
            "one value edited",
            version(&mut |text| {
                let edited = text.replacen("\"SOIC-8\"", "\"SOIC-08\"", usize::from(once));
                once &= edited == text;
                edited
            }),
        ),
        (
            "all SOIC-8 edited",
            version(&mut |text| text.replace("\"SOIC-8\"", "\"SOIC-08\"")),
        ),
        (
            "weights edited",
            version(&mut |text| text.replace("\n  source ", "\n  weight 0.9\n  source ")),
        ),
    ];
    println!("{count} marks, {jobs} threads");
    for (title, new) in &versions {
        let start = Instant::now();
        let found = changes(
            &old,
            new,
            &corpus,
            &Comparing {
                today: date(2026, 11, 25),
                threshold: 0.05,
                jobs,
                effort: Effort::Quick,
                settings_differ: false,
            },
        );
        println!(
            "  {title:20}{:6.2} s, {} edits, {} marks differ",
            start.elapsed().as_secs_f64(),
            found.edits.len(),
            found.changed.len()
        );
    }
}
