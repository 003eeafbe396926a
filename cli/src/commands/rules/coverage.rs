//! `rules coverage --corpus FILE`

use etchlore_engine::analyse::{Coverage, FamilyCoverage, coverage};
use serde_json::{Value as Json, json};

use crate::args::{CoverageArgs, GlobalArgs, Output};
use crate::commands::{day_of_reading, jobs};
use crate::console::{Console, Label};
use crate::corpus;
use crate::failure::{Failure, Status};
use crate::present::wire;
use crate::rules::{Loaded, load};

/// Unused parts of a family that are shown in text.
const SHOWN: usize = 12;

pub(crate) fn run(
    args: &CoverageArgs,
    global: &GlobalArgs,
    console: &mut Console,
) -> Result<Status, Failure> {
    let today = day_of_reading(args.corpus.seen.as_deref())?;
    let corpus = corpus::read(&args.corpus.corpus, args.corpus.column.as_deref())?;
    let loaded = load(global, console)?;
    let found = coverage(&loaded.rules, &corpus, today, jobs(args.corpus.jobs));
    match global.output {
        Output::Text | Output::Sarif => text(args, &loaded, &found, console)?,
        Output::Jsonl => {
            for family in &found.families {
                console.line(&of_family(&loaded, family).to_string())?;
            }
        }
        Output::Json => {
            let families = found
                .families
                .iter()
                .map(|family| of_family(&loaded, family));
            let groups: Json = found
                .undecoded
                .iter()
                .map(|group| json!({ "shape": group.shape, "marks": group.marks, "shown": group.shown }))
                .collect();
            let body = [
                ("seen", json!(today.to_string())),
                ("marks", json!(found.marks)),
                ("decoded", json!(found.decoded)),
                ("ambiguous", json!(found.ambiguous)),
                ("none", json!(found.none)),
                ("unreadable", json!(found.unreadable)),
                ("families", families.collect()),
                ("undecoded", groups),
            ];
            console.line(&wire::with_head(Some(loaded.digest()), body.into())?)?;
        }
    }
    Ok(Status::Done)
}

fn of_family(loaded: &Loaded, found: &FamilyCoverage) -> Json {
    let unused: Json = found
        .unused
        .iter()
        .map(|unused| {
            json!({
                "slot": unused.slot, "what": unused.what,
                "rule": loaded.sources.file_line(unused.place),
            })
        })
        .collect();
    json!({
        "family": loaded.rules.set().families[found.family.index()].name,
        "decoded": found.decoded, "first": found.first, "rival": found.rival, "unused": unused,
    })
}

fn text(
    args: &CoverageArgs,
    loaded: &Loaded,
    found: &Coverage,
    console: &mut Console,
) -> Result<(), Failure> {
    let share = |n: usize| 100.0 * n as f64 / found.marks.max(1) as f64;
    console.line(&format!("{} marks", found.marks))?;
    for (word, count) in [
        ("decoded", found.decoded),
        ("ambiguous", found.ambiguous),
        ("none", found.none),
        ("unreadable", found.unreadable),
    ] {
        if count > 0 || word != "unreadable" {
            console.line(&format!("  {word:10} {count:>8}  {:5.1} %", share(count)))?;
        }
    }
    let families = &loaded.rules.set().families;
    let mut met: Vec<&FamilyCoverage> = found
        .families
        .iter()
        .filter(|family| family.decoded + family.first + family.rival > 0)
        .collect();
    met.sort_by(|a, b| b.decoded.cmp(&a.decoded).then(b.first.cmp(&a.first)));
    let widest = met
        .iter()
        .map(|family| families[family.family.index()].name.len())
        .max()
        .unwrap_or(0);
    console.line("")?;
    let head = format!(
        "{:widest$}  {:>8} {:>8} {:>8}",
        "family", "decoded", "first", "rival"
    );
    console.line(&console.paint(Label::Head, &head))?;
    for family in &met {
        let name = &families[family.family.index()].name;
        console.line(&format!(
            "{name:widest$}  {:>8} {:>8} {:>8}",
            family.decoded, family.first, family.rival
        ))?;
        if args.unused && !family.unused.is_empty() {
            let mut parts: Vec<String> = family
                .unused
                .iter()
                .take(SHOWN)
                .map(|unused| match &unused.slot {
                    Some(slot) => format!("{slot} {}", unused.what),
                    None => unused.what.clone(),
                })
                .collect();
            if family.unused.len() > SHOWN {
                parts.push(format!("and {} more", family.unused.len() - SHOWN));
            }
            let line = format!("  never met: {}", parts.join(", "));
            console.line(&console.paint(Label::Faint, &line))?;
        }
    }
    let of_own = |family: &&FamilyCoverage| {
        let model = &families[family.family.index()];
        !model.forms.is_empty() && family.decoded + family.first + family.rival == 0
    };
    let silent = found.families.iter().filter(of_own).count();
    if silent > 0 {
        console.line(&format!("{silent} more families meet no mark"))?;
    }
    if !found.undecoded.is_empty() {
        console.line("")?;
        let head = format!("no rule explains {} marks, by shape", found.none);
        console.line(&console.paint(Label::Head, &head))?;
        for group in found.undecoded.iter().take(args.groups) {
            console.line(&format!(
                "{:>8}  {:24}  {}",
                group.marks,
                group.shape,
                group.shown.join(", ")
            ))?;
        }
        if found.undecoded.len() > args.groups {
            let rest = found.undecoded.len() - args.groups;
            console.line(&format!("{:>8}  more shapes; --groups N shows more", rest))?;
        }
    }
    Ok(())
}
