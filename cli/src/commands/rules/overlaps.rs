//! `rules overlaps PATH...`

use etchlore_engine::analyse::overlaps::{Looking, Near, Overlap, Overlaps, overlaps};
use etchlore_engine::model::{Family, FamilyId};
use serde_json::{Value as Json, json};

use crate::args::{GlobalArgs, Output, OverlapsArgs};
use crate::commands::day_of_reading;
use crate::console::{Console, Label};
use crate::failure::{Failure, Status};
use crate::present::{sarif, wire};
use crate::rules::{Loaded, load};

pub(crate) fn run(
    args: &OverlapsArgs,
    global: &GlobalArgs,
    console: &mut Console,
) -> Result<Status, Failure> {
    let mut of_run = global.clone();
    of_run.rules.extend(args.paths.iter().cloned());
    let loaded = load(&of_run, console)?;
    let looking = Looking {
        unlisted: args.unlisted,
        forms: args.forms,
        near: args.near,
    };
    let wanted = |family: &Family| args.paths.is_empty() || !family.builtin;
    let found = overlaps(loaded.rules.set(), &loaded.confusions, looking, &wanted);
    match global.output {
        Output::Sarif => {
            let said = found.diagnostics(loaded.rules.set());
            let day = day_of_reading(None)?;
            let document = sarif::document(&said, &loaded.sources, Some(loaded.digest()), day);
            console.line(&document.to_string())?;
        }
        Output::Text => text(args, &loaded, &found, console)?,
        Output::Jsonl => {
            for overlap in &found.overlaps {
                console.line(&of_overlap(&loaded, overlap).to_string())?;
            }
        }
        Output::Json => {
            let overlaps = found.overlaps.iter().map(|o| of_overlap(&loaded, o));
            let near = found.near.iter().map(|near| of_near(&loaded, near));
            let idle = found.idle.iter().map(|(family, accept)| {
                json!({
                    "family": name(&loaded, *family), "about": accept.about,
                    "rule": loaded.sources.file_line(accept.place),
                })
            });
            let too_large = found.too_large.iter().map(|id| name(&loaded, *id));
            let body = [
                ("families", json!(found.families)),
                ("overlaps", overlaps.collect::<Json>()),
                ("near", near.collect()),
                ("idle", idle.collect()),
                ("too_large", too_large.collect()),
            ];
            console.line(&wire::with_head(Some(loaded.digest()), body.into())?)?;
        }
    }
    let open = found.overlaps.iter().any(|o| o.accepted.is_none());
    Ok(if open || !found.idle.is_empty() {
        Status::Findings
    } else {
        Status::Done
    })
}

fn name(loaded: &Loaded, id: FamilyId) -> &str {
    &loaded.rules.set().families[id.index()].name
}

fn form(loaded: &Loaded, (id, form): (FamilyId, usize)) -> &'static str {
    let forms = &loaded.rules.set().families[id.index()].forms;
    forms.get(form).map_or("", |form| form.kind.word())
}

fn of_overlap(loaded: &Loaded, overlap: &Overlap) -> Json {
    let (one, other) = overlap.shares();
    let side = |at: (FamilyId, usize), size: String, share: f64| {
        let family = &loaded.rules.set().families[at.0.index()];
        json!({
            "family": family.name, "form": form(loaded, at), "strings": size, "share": share,
            "rule": loaded.sources.file_line(family.place),
        })
    };
    json!({
        "witness": overlap.witness,
        "shared": overlap.shared.to_string(),
        "families": [
            side(overlap.one, overlap.sizes.0.to_string(), one),
            side(overlap.other, overlap.sizes.1.to_string(), other),
        ],
        "swallowed": overlap.swallowed().map(|id| name(loaded, id)),
        "accepted": overlap.accepted.as_ref().map(|(place, note)| {
            json!({ "rule": loaded.sources.file_line(*place), "note": note })
        }),
    })
}

fn of_near(loaded: &Loaded, near: &Near) -> Json {
    let side = |(id, string): &(FamilyId, String)| json!({ "family": name(loaded, *id), "string": string });
    json!([side(&near.one), side(&near.other)])
}

/// A count with commas, or as a power of ten where it is long.
fn count(digits: &str) -> String {
    if digits.len() > 15 {
        return format!("{}.{}e{}", &digits[..1], &digits[1..2], digits.len() - 1);
    }
    let mut out = String::new();
    for (at, digit) in digits.chars().enumerate() {
        if at > 0 && (digits.len() - at).is_multiple_of(3) {
            out.push(',');
        }
        out.push(digit);
    }
    out
}

fn percent(share: f64) -> String {
    if share < 0.0001 {
        "under 0.01 %".to_owned()
    } else {
        format!("{:.2} %", 100.0 * share)
    }
}

fn text(
    args: &OverlapsArgs,
    loaded: &Loaded,
    found: &Overlaps,
    console: &mut Console,
) -> Result<(), Failure> {
    let mut open = 0;
    for overlap in &found.overlaps {
        open += usize::from(overlap.accepted.is_none());
        if overlap.accepted.is_some() && !args.accepted {
            continue;
        }
        let (one, other) = (name(loaded, overlap.one.0), name(loaded, overlap.other.0));
        let head = console.paint(Label::Head, &format!("{one}, {other}"));
        console.line(&format!("{head}: {}", overlap.witness))?;
        let (share_one, share_other) = overlap.shares();
        let shared = count(&overlap.shared.to_string());
        console.line(&format!("  {shared} strings are common"))?;
        for (at, size, share) in [
            (overlap.one, &overlap.sizes.0, share_one),
            (overlap.other, &overlap.sizes.1, share_other),
        ] {
            let family = &loaded.rules.set().families[at.0.index()];
            let place = console.paint(Label::Faint, &loaded.sources.file_line(family.place));
            console.line(&format!(
                "  {} of the {} of {} (form {})  {place}",
                percent(share),
                count(&size.to_string()),
                family.name,
                form(loaded, at),
            ))?;
        }
        if let Some((_, note)) = &overlap.accepted {
            let note = note.as_deref().unwrap_or("without a reason");
            console.line(&format!("  accepted: {note}"))?;
        }
        console.line("")?;
    }
    if args.near {
        for near in &found.near {
            let ((one, printed), (other, read)) = (&near.one, &near.other);
            console.line(&format!(
                "{} and {} are a look-alike apart: {printed}, {read}",
                name(loaded, *one),
                name(loaded, *other),
            ))?;
        }
    }
    for (family, accept) in &found.idle {
        console.line(&format!(
            "{}: `{}` accepts an overlap with {} that is none",
            loaded.sources.file_line(accept.place),
            name(loaded, *family),
            accept.about.join(" "),
        ))?;
    }
    for id in &found.too_large {
        console.complain(&format!(
            "warning: `{}` has too many kinds of strings and was not compared with all",
            name(loaded, *id)
        ));
    }
    let near = match found.near.len() {
        _ if !args.near => String::new(),
        1 => "; 1 pair is a look-alike apart".to_owned(),
        pairs => format!("; {pairs} pairs are a look-alike apart"),
    };
    console.line(&format!(
        "{} families, {} overlaps, {open} of them not accepted{near}",
        found.families,
        found.overlaps.len(),
    ))
}
