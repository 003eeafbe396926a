//! `rules write FAMILY SLOT=CODE...`

use etchlore_engine::diagnostic::near;
use etchlore_engine::model::{Family, FormKind, SlotId};
use etchlore_engine::write::{Written, all, code_text, compose, sample};
use serde_json::{Value as Json, json};

use crate::args::{GlobalArgs, Output, WriteArgs};
use crate::console::Console;
use crate::failure::{Failure, Status};
use crate::present::wire;
use crate::rules::{family, load};

pub(crate) fn run(
    args: &WriteArgs,
    global: &GlobalArgs,
    console: &mut Console,
) -> Result<Status, Failure> {
    let loaded = load(global, console)?;
    let (_, family) = family(&loaded, &args.family)?;
    let forms = forms(family, args.form.as_deref())?;
    let written = if let Some(count) = args.sample {
        let mut random = numbers(args.seed);
        let mut members = Vec::new();
        // Each member is drawn from one of the rows of the form; one that can never be written gives none.
        for _ in 0..count {
            let form = forms[random(forms.len() as u64) as usize];
            members.extend(sample(loaded.rules.set(), family, form, &mut random));
        }
        members
    } else if args.all {
        let mut members = Vec::new();
        for form in &forms {
            let left = args.limit.saturating_sub(members.len());
            members.extend(all(family, *form, left).map_err(|_| {
                Failure::Usage(
                    format!("`{}` has more than {} members", family.name, args.limit),
                    "draw random ones with --sample N, or raise --limit".to_owned(),
                )
            })?);
        }
        members
    } else {
        vec![one(family, &forms, &args.codes)?]
    };
    for member in &written {
        for (slot, chosen) in family.slots.iter().zip(&member.codes) {
            let code = slot.codes.get(chosen.code.index());
            if code.is_some_and(|code| code.unlisted) {
                console.complain(&format!(
                    "warning: the list of `{}` is partial and does not have this code",
                    slot.name
                ));
            }
        }
    }
    match global.output {
        Output::Text | Output::Sarif => {
            for member in &written {
                console.line(&member.reading())?;
            }
        }
        Output::Jsonl => {
            for member in &written {
                console.line(&as_json(family, member).to_string())?;
            }
        }
        Output::Json => {
            let rows = written.iter().map(|member| as_json(family, member));
            let body = [
                ("family", json!(family.name)),
                ("written", rows.collect::<Json>()),
            ];
            console.line(&wire::with_head(Some(loaded.digest()), body.into())?)?;
        }
    }
    Ok(Status::Done)
}

fn as_json(family: &Family, member: &Written) -> Json {
    let mut codes = serde_json::Map::new();
    for slot in &member.printed {
        let model = &family.slots[slot.index()];
        if !model.literal {
            let chosen = &member.codes[slot.index()];
            let text =
                code_text(&model.codes[chosen.code.index()]).unwrap_or_else(|| chosen.text());
            codes.insert(model.name.clone(), json!(text));
        }
    }
    json!({
        "family": family.name,
        "form": family.forms[member.form].kind.word(),
        "reading": member.reading(),
        "lines": member.lines,
        "codes": codes,
    })
}

/// The rows that are asked for: those of the form named, else of the family's first form.
fn forms(family: &Family, named: Option<&str>) -> Result<Vec<usize>, Failure> {
    let mut kinds: Vec<FormKind> = family.forms.iter().map(|form| form.kind).collect();
    let kind = match named {
        None => kinds.first().copied(),
        Some(word) => FormKind::of_word(word).filter(|kind| kinds.contains(kind)),
    };
    let Some(kind) = kind else {
        kinds.dedup();
        let words: Vec<&str> = kinds.iter().map(|kind| kind.word()).collect();
        let named = named.unwrap_or("any");
        return Err(Failure::Usage(
            format!("`{}` has no form `{named}`", family.name),
            format!("its forms: {}", words.join(", ")),
        ));
    };
    let of_kind = family.forms.iter().enumerate();
    Ok(of_kind
        .filter(|(_, form)| form.kind == kind)
        .map(|(at, _)| at)
        .collect())
}

fn one(family: &Family, forms: &[usize], codes: &[String]) -> Result<Written, Failure> {
    let mut given: Vec<(SlotId, &str)> = Vec::new();
    for code in codes {
        let Some((name, code)) = code.split_once('=') else {
            return Err(Failure::Usage(
                format!("`{code}` gives no code"),
                "write it as SLOT=CODE, for example size=64".to_owned(),
            ));
        };
        given.push((slot(family, name)?, code));
    }
    let mut first = None;
    for form in forms {
        match compose(family, *form, &given) {
            Ok(written) => return Ok(written),
            Err(error) => {
                first.get_or_insert(error);
            }
        }
    }
    Err(first.map_or_else(
        || Failure::Usage("the family has no form".to_owned(), "write one".to_owned()),
        |error| Failure::Usage(error.to_string(), error.help()),
    ))
}

/// A slot by its name, or by the end of its name where it belongs to a group.
fn slot(family: &Family, name: &str) -> Result<SlotId, Failure> {
    let slots = || {
        let named = family.slots.iter().enumerate();
        named.filter(|(_, slot)| !slot.literal)
    };
    let whole = slots().find(|(_, slot)| slot.name == name);
    let mut ends = slots().filter(|(_, slot)| {
        slot.name
            .rsplit_once('.')
            .is_some_and(|(_, end)| end == name)
    });
    if let Some((at, _)) = whole.or_else(|| ends.next().filter(|_| ends.next().is_none())) {
        return Ok(SlotId::at(at));
    }
    let names: Vec<&str> = slots().map(|(_, slot)| slot.name.as_str()).collect();
    let near = near(name, names.iter().copied());
    let help = if near.is_empty() {
        format!("its slots: {}", names.join(", "))
    } else {
        format!("did you mean {}?", near.join(" or "))
    };
    Err(Failure::Usage(
        format!("`{}` has no slot `{name}`", family.name),
        help,
    ))
}

/// Numbers by a seed, the same on every machine.
fn numbers(seed: u64) -> impl FnMut(u64) -> u64 {
    let mut state = seed;
    move |bound| {
        // splitmix64, by S. Vigna; public domain.
        state = state.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = state;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        (z ^ (z >> 31)) % bound.max(1)
    }
}
