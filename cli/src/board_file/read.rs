//! YAML as typed -> a board, checked.

use std::collections::HashMap;
use std::path::{Component, Path, PathBuf};

use etchlore_engine::board::{Board, Claim, ClaimKind, Decision, Grade, Observed, Part, Sighting};
use etchlore_engine::decode::{Notation, Reading};
use etchlore_engine::diagnostic::near;
use etchlore_engine::model::FormKind;
use etchlore_engine::value::{Base, Interval, Quantity, Unit, Value};
use jiff::civil::Date;

use super::node::Map;
use super::place::Step;
use super::{BoardFile, OnPhoto, PartPage, Photo, Wrong, forms};

fn wrong<T>(path: &[Step], what: impl Into<String>, help: impl Into<String>) -> Result<T, Wrong> {
    Err(Wrong {
        path: path.to_vec(),
        what: what.into(),
        help: help.into(),
    })
}

fn stretch(given: &Map, key: &'static str) -> Result<Option<Interval>, Wrong> {
    let Some(text) = given.text(key) else {
        return Ok(None);
    };
    match Interval::parse_stretch(&text) {
        Some(interval) => Ok(Some(interval)),
        None => wrong(
            &[Step::Key(key)],
            format!("`{text}` is no date"),
            "write it as 2026-11-25, 2026-11, 2026-W47, 2026 or 2026-02..2026-04",
        ),
    }
}

pub(super) fn board(path: &Path, parsed: &Map, today: Date) -> Result<BoardFile, Wrong> {
    let folder = path.parent().unwrap_or(Path::new(""));
    let Some(product) = parsed.text("product") else {
        return wrong(
            &[Step::Key("product")],
            "the product has no name",
            "say what was taken apart",
        );
    };
    let seen = stretch(parsed, "seen")?.map_or(today, |interval| interval.to);
    let built = stretch(parsed, "built")?;
    let mut photos: Vec<Photo> = Vec::new();
    for (at, photo) in parsed.maps("photos").enumerate() {
        let here = [Step::Key("photos"), Step::Item(at)];
        let name = photo.raw("name").unwrap_or_default().to_owned();
        if photos.iter().any(|known| known.name == name) {
            return wrong(
                &with(&here, "name"),
                format!("two photos are called `{name}`"),
                "give each a name of its own",
            );
        }
        let file = beside(
            folder,
            photo.raw("file").unwrap_or_default(),
            &with(&here, "file"),
        )?;
        photos.push(Photo { name, file });
    }
    let mut names: HashMap<String, usize> = HashMap::new();
    for (at, part) in parsed.maps("parts").enumerate() {
        let at_text = part.raw("at").unwrap_or_default();
        let here = [Step::Key("parts"), Step::Item(at), Step::Key("at")];
        for name in positions(at_text) {
            if let Some(first) = names.insert(name.clone(), at) {
                return wrong(
                    &here,
                    format!("`{name}` stands twice: it is at part {} already", first + 1),
                    "one position holds one part; several specimens of it are readings of one part",
                );
            }
        }
        if positions(at_text).next().is_none() {
            return wrong(
                &here,
                "the part has no position",
                "give its designator, or where it stands",
            );
        }
    }
    let mut parts = Vec::new();
    let mut pages = Vec::new();
    for (at, part) in parsed.maps("parts").enumerate() {
        let (part, page) = one_part(folder, &photos, &names, at, part)?;
        parts.push(part);
        pages.push(page);
    }
    circles(&parts, &names)?;
    Ok(BoardFile {
        path: path.to_owned(),
        size: size(parsed)?,
        notes: parsed.text("notes"),
        board: Board {
            product,
            generation: parsed.text("generation"),
            seller: parsed.text("seller"),
            seen,
            built,
            claims: claims(parsed.map("claims"))?,
            parts,
        },
        photos,
        parts: pages,
    })
}

/// No module is inside of itself, not even by way of others.
fn circles(parts: &[Part], names: &HashMap<String, usize>) -> Result<(), Wrong> {
    let around = |at: usize| parts[at].inside.as_ref().and_then(|name| names.get(name));
    // Parts from which the way out is known to end.
    let mut ends = vec![false; parts.len()];
    for at in 0..parts.len() {
        let mut way = vec![at];
        while let Some(outer) = way.last().and_then(|last| around(*last)) {
            if ends[*outer] {
                break;
            }
            if way.contains(outer) {
                let way: Vec<&str> = way
                    .iter()
                    .chain([outer])
                    .map(|at| parts[*at].name())
                    .collect();
                return wrong(
                    &[Step::Key("parts"), Step::Item(at), Step::Key("inside")],
                    format!("these are inside of each other: {}", way.join(" in ")),
                    "one of them is the outermost: take its `inside` out",
                );
            }
            way.push(*outer);
        }
        for at in way {
            ends[at] = true;
        }
    }
    Ok(())
}

fn with(path: &[Step], key: &'static str) -> Vec<Step> {
    path.iter().cloned().chain([Step::Key(key)]).collect()
}

/// The positions in one text, `C1, C2`.
fn positions(text: &str) -> impl Iterator<Item = String> + '_ {
    text.split(',')
        .map(|one| one.trim().to_owned())
        .filter(|one| !one.is_empty())
}

/// Whether a photo lies beside a board file in this folder.
pub(super) fn is_beside(folder: &Path, name: &str) -> bool {
    beside(folder, name, &[]).is_ok()
}

/// A file beside the board file; nothing outside of its folder.
fn beside(folder: &Path, name: &str, here: &[Step]) -> Result<PathBuf, Wrong> {
    let named = Path::new(name);
    let inside = named
        .components()
        .all(|part| matches!(part, Component::Normal(_) | Component::CurDir));
    if !inside || name.is_empty() {
        return wrong(
            here,
            format!("`{name}` leads out of the folder of the board file"),
            "photos lie beside the board file or in folders under it",
        );
    }
    let full = folder.join(named);
    // A link could lead out as well.
    let real = full.canonicalize().ok();
    let root = if folder.as_os_str().is_empty() {
        Path::new(".")
    } else {
        folder
    };
    match (real, root.canonicalize()) {
        (Some(real), Ok(root)) if !real.starts_with(&root) => wrong(
            here,
            format!("`{name}` is a link that leads out of the folder of the board file"),
            "photos lie beside the board file or in folders under it",
        ),
        (Some(real), _) if real.is_file() => Ok(full),
        _ => wrong(
            here,
            format!("there is no photo `{name}` beside the board file"),
            "check the name, or take the line out",
        ),
    }
}

fn claims(claims: Option<&Map>) -> Result<Vec<Claim>, Wrong> {
    let mut found = Vec::new();
    let Some(claims) = claims else {
        return Ok(found);
    };
    let bands = claims.text("bands").unwrap_or_default();
    let bands: Vec<String> = positions(&bands).collect();
    let all = [
        (
            "storage",
            ClaimKind::Storage,
            claims.text("storage").into_iter().collect(),
        ),
        (
            "memory",
            ClaimKind::Memory,
            claims.text("memory").into_iter().collect(),
        ),
        ("bands", ClaimKind::Band, bands),
    ];
    for (key, kind, texts) in all {
        for text in texts {
            match Claim::parse(kind, &text) {
                Ok(claim) => found.push(claim),
                Err(why) => {
                    return wrong(
                        &[Step::Key("claims"), Step::Key(key)],
                        why,
                        "a claim is held against the parts; leave out what cannot be counted",
                    );
                }
            }
        }
    }
    Ok(found)
}

/// `120 x 80 mm` in metres.
fn measures(text: &str) -> Option<Vec<f64>> {
    let (numbers, unit) = text.trim().rsplit_once(' ')?;
    let unit = Unit::of(unit).filter(|unit| unit.base == Base::Metre)?;
    let all: Option<Vec<f64>> = numbers
        .split(['x', '×'])
        .map(|number| {
            unit.scale(number.trim())
                .filter(|n| n.is_finite() && *n > 0.0)
        })
        .collect();
    all.filter(|all| (1..=3).contains(&all.len()))
}

fn size(given: &Map) -> Result<Option<(f64, f64)>, Wrong> {
    let Some(text) = given.text("size") else {
        return Ok(None);
    };
    match measures(&text).as_deref() {
        Some([width, height]) => Ok(Some((*width, *height))),
        _ => wrong(
            &[Step::Key("size")],
            format!("`{text}` is no size of a board"),
            "write width and height as 120 x 80 mm",
        ),
    }
}

fn one_part(
    folder: &Path,
    photos: &[Photo],
    names: &HashMap<String, usize>,
    at: usize,
    part: &Map,
) -> Result<(Part, PartPage), Wrong> {
    let here = [Step::Key("parts"), Step::Item(at)];
    let positions: Vec<String> = positions(part.raw("at").unwrap_or_default()).collect();
    let quantity = part.count("quantity").unwrap_or(positions.len() as u32);
    if (quantity as usize) < positions.len() {
        return wrong(
            &with(&here, "quantity"),
            format!("{quantity} parts stand in {} positions", positions.len()),
            "count at least one a position",
        );
    }
    let inside = part.text("inside");
    if let Some(outer) = &inside {
        match names.get(outer) {
            None => {
                let others = names.iter().filter(|(_, of)| **of != at);
                let others = others.map(|(name, _)| name.as_str());
                let near = near(outer, others)
                    .first()
                    .map(|near| format!("did you mean `{near}`?"));
                return wrong(
                    &with(&here, "inside"),
                    format!("no part stands at `{outer}`"),
                    near.unwrap_or_else(|| "name the position of the module".to_owned()),
                );
            }
            Some(outer_at) if *outer_at == at => {
                return wrong(
                    &with(&here, "inside"),
                    "a part cannot be inside of itself",
                    "name the position of the module",
                );
            }
            Some(_) => {}
        }
    }
    let body = match part.text("body") {
        None => Vec::new(),
        Some(text) => match measures(&text) {
            Some(body) => body,
            None => {
                return wrong(
                    &with(&here, "body"),
                    format!("`{text}` is no measure of a body"),
                    "write it as 8 x 10 x 1.2 mm",
                );
            }
        },
    };
    let mut page = PartPage {
        on: part
            .maps("on")
            .enumerate()
            .map(|(number, place)| on(photos, &here, number, place))
            .collect::<Result<_, _>>()?,
        notes: part.text("notes"),
        ..PartPage::default()
    };
    let mut readings = Vec::new();
    for (number, reading) in part.maps("readings").enumerate() {
        let mut here = with(&here, "readings");
        here.push(Step::Item(number));
        let (sighting, typed) = sighting(&here, reading)?;
        let photo = reading
            .text("photo")
            .map(|name| beside(folder, &name, &with(&here, "photo")))
            .transpose()?;
        readings.push(sighting);
        page.typed.push(typed);
        page.photos.push(photo);
    }
    let part = Part {
        at: positions,
        quantity,
        inside,
        package: part.text("package"),
        pins: part.count("pins"),
        body,
        logo: part.text("logo"),
        maker: part.text("maker"),
        function: part.text("function"),
        readings,
        observed: observed(&with(&here, "observed"), part.map("observed"))?,
        decision: decision(part.map("decision")),
    };
    Ok((part, page))
}

fn on(photos: &[Photo], here: &[Step], number: usize, on: &Map) -> Result<OnPhoto, Wrong> {
    let mut here = with(here, "on");
    here.push(Step::Item(number));
    let photo = match (on.text("photo"), photos) {
        (Some(name), _) if photos.iter().any(|photo| photo.name == name) => name,
        (Some(name), _) => {
            return wrong(
                &with(&here, "photo"),
                format!("no photo is called `{name}`"),
                "photos are listed under `photos:` at the top",
            );
        }
        (None, [only]) => only.name.clone(),
        // Places on a drawn outline.
        (None, []) => String::new(),
        (None, _) => {
            return wrong(
                &here,
                "on which photo?",
                "several are listed: add `photo: NAME`",
            );
        }
    };
    Ok(OnPhoto {
        photo,
        x: on.number("x"),
        y: on.number("y"),
        width: on.number("width"),
        height: on.number("height"),
    })
}

fn sighting(here: &[Step], reading: &Map) -> Result<(Sighting, String), Wrong> {
    let mut given = forms().filter_map(|(word, _)| Some((word, reading.text(word)?)));
    let ((word, text), more) = match (given.next(), given.next()) {
        (Some(one), more) => (one, more),
        (None, _) => {
            let words: Vec<&str> = forms().map(|(word, _)| word).collect();
            return wrong(
                here,
                "this reading has no lines",
                format!("give them under one of: {}", words.join(", ")),
            );
        }
    };
    if let Some((other, _)) = more {
        return wrong(
            &with(here, other),
            format!("one reading is of one form; this has `{word}` and `{other}`"),
            "begin another item of `readings` with a dash",
        );
    }
    let mut lines = text;
    for symbol in reading.texts("symbols") {
        lines.push_str(&format!(" | {{:{}}}", symbol.trim_matches(':')));
    }
    let parsed = Reading::parse(&lines, Notation::default());
    let parsed = match parsed {
        Ok(parsed) => parsed,
        Err(error) => {
            return wrong(
                &with(here, word),
                format!("this is no reading: {error}"),
                "see `etchlore decode --help` for the notation",
            );
        }
    };
    let form = forms()
        .find(|(known, _)| *known == word)
        .and_then(|(_, form)| form);
    let number = reading.count("number");
    if number.is_some() && form != Some(FormKind::Die) {
        return wrong(
            &with(here, "number"),
            "only dies are numbered",
            "several packages of one part are told apart by `specimen`",
        );
    }
    let die = if form == Some(FormKind::Die) {
        number.unwrap_or(1)
    } else {
        0
    };
    let sighting = Sighting {
        reading: parsed.in_form(form),
        specimen: reading.count("specimen").unwrap_or(1),
        die,
        reader: reading.text("reader"),
    };
    Ok((sighting, format!("{word}: {lines}")))
}

fn observed(here: &[Step], given: Option<&Map>) -> Result<Observed, Wrong> {
    let Some(given) = given else {
        return Ok(Observed::default());
    };
    let state = given.text("state");
    let measured = match given.text("value") {
        None => None,
        Some(text) => match quantity(&text) {
            Some(value) => Some(value),
            None => {
                return wrong(
                    &with(here, "value"),
                    format!("`{text}` is no measured value"),
                    "write a number and a unit: 4.7 kohm, 100 nF, 3.3 V",
                );
            }
        },
    };
    Ok(Observed {
        dies: given.count("dies"),
        measured,
        unmarked: state.as_deref() == Some("unmarked"),
        not_examined: state.as_deref() == Some("not examined"),
        other: given.texts("other").map(str::to_owned).collect(),
    })
}

fn quantity(text: &str) -> Option<Value> {
    let split = text.find(|c: char| !c.is_ascii_digit() && c != '.' && c != '-')?;
    let (number, unit) = text.split_at(split);
    let unit = Unit::of(unit.trim())?;
    let value = unit.scale(number).filter(|value| value.is_finite())?;
    Some(Value::Quantity(Quantity {
        value,
        base: unit.base,
    }))
}

fn decision(given: Option<&Map>) -> Option<Decision> {
    let given = given?;
    Some(Decision {
        is: given.text("is"),
        family: given.text("family"),
        maker: given.text("maker"),
        // The table has let no other word pass.
        grade: Grade::of_word(given.raw("grade")?)?,
        basis: given.text("basis"),
        why: given.text("why"),
        who: given.text("who"),
    })
}
