//! YAML as typed -> a board, checked.

use std::collections::HashMap;
use std::path::{Component, Path, PathBuf};

use etchlore_engine::board::{Board, Claim, ClaimKind, Decision, Grade, Observed, Part, Sighting};
use etchlore_engine::check::vocabulary::FUNCTIONS;
use etchlore_engine::decode::{Notation, Reading};
use etchlore_engine::diagnostic::near;
use etchlore_engine::model::FormKind;
use etchlore_engine::value::{Base, Interval, Quantity, Unit, Value};
use jiff::civil::Date;
use serde::{Deserialize, Deserializer};

use super::place::{At, Step};
use super::{BoardFile, MAX_TEXT, OnPhoto, PartPage, Photo, Wrong, forms};

/// Words for how sure a decision is.
const GRADES: &str = "confirmed, probable, tentative, maker only or unknown";

/// A text as typed, of bounded length.
#[derive(Debug, Clone)]
struct Text(String);

impl<'de> Deserialize<'de> for Text {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Text, D::Error> {
        let text = String::deserialize(deserializer)?;
        if text.len() > MAX_TEXT {
            return Err(serde::de::Error::custom(format!(
                "a text of {} bytes; at most {MAX_TEXT} are kept",
                text.len()
            )));
        }
        Ok(Text(text.trim().to_owned()))
    }
}

/// A file as typed.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Parsed {
    product: Text,
    generation: Option<Text>,
    seller: Option<Text>,
    seen: Option<Text>,
    built: Option<Text>,
    size: Option<Text>,
    #[serde(default)]
    claims: Claims,
    #[serde(default)]
    photos: Vec<ParsedPhoto>,
    notes: Option<Text>,
    #[serde(default)]
    parts: Vec<ParsedPart>,
}

#[derive(Debug, Clone, Default, Deserialize)]
#[serde(deny_unknown_fields)]
struct Claims {
    storage: Option<Text>,
    memory: Option<Text>,
    bands: Option<Text>,
}

#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
struct ParsedPhoto {
    name: Text,
    file: Text,
}

#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
struct ParsedPart {
    at: Text,
    on: Option<ParsedOn>,
    quantity: Option<u32>,
    inside: Option<Text>,
    package: Option<Text>,
    pins: Option<u32>,
    body: Option<Text>,
    logo: Option<Text>,
    maker: Option<Text>,
    function: Option<Text>,
    #[serde(default)]
    readings: Vec<ParsedReading>,
    #[serde(default)]
    observed: ParsedObserved,
    notes: Option<Text>,
    decision: Option<ParsedDecision>,
}

#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
struct ParsedOn {
    photo: Option<Text>,
    x: f64,
    y: f64,
    width: f64,
    height: f64,
}

#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
struct ParsedReading {
    code: Option<Text>,
    mark: Option<Text>,
    top: Option<Text>,
    bottom: Option<Text>,
    side: Option<Text>,
    die: Option<Text>,
    lid: Option<Text>,
    label: Option<Text>,
    matrix: Option<Text>,
    short: Option<Text>,
    any: Option<Text>,
    number: Option<u32>,
    specimen: Option<u32>,
    reader: Option<Text>,
    photo: Option<Text>,
    #[serde(default)]
    symbols: Vec<Text>,
}

#[derive(Debug, Clone, Default, Deserialize)]
#[serde(deny_unknown_fields)]
struct ParsedObserved {
    dies: Option<u32>,
    value: Option<Text>,
    state: Option<Text>,
    #[serde(default)]
    other: Vec<Text>,
}

#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
struct ParsedDecision {
    is: Option<Text>,
    family: Option<Text>,
    maker: Option<Text>,
    grade: Text,
    basis: Option<Text>,
    why: Option<Text>,
    who: Option<Text>,
}

/// Reads the YAML; else says where, what, and what to do.
pub(super) fn parse(text: &str) -> Result<Parsed, (At, String, String)> {
    serde_yaml::from_str(text).map_err(|error| {
        let at = error.location().map(|at| (at.line(), at.column()));
        let mut what = error.to_string();
        if let Some(end) = what.rfind(" at line ") {
            what.truncate(end);
        }
        let help = help(&what);
        (at, what, help)
    })
}

/// What to do about an error of the YAML reader.
fn help(what: &str) -> String {
    if let Some((_, rest)) = what.split_once("unknown field `") {
        let (name, known) = rest.split_once('`').unwrap_or((rest, ""));
        let known: Vec<&str> = known.split('`').skip(1).step_by(2).collect();
        return match near(name, known.iter().copied()).first() {
            Some(near) => format!("did you mean `{near}`?"),
            None => format!("keys here: {}", known.join(", ")),
        };
    }
    if what.contains("missing field") {
        return "add it; `etchlore board new` writes a start file with all keys".to_owned();
    }
    if what.contains("repetition limit") || what.contains("recursion limit") {
        return "write the parts out: aliases and nesting are kept within bounds".to_owned();
    }
    if what.contains("at most") {
        return "long texts and pictures stand in files of their own beside the board file"
            .to_owned();
    }
    if what.contains("invalid type") {
        return "see `etchlore board schema` for what belongs where".to_owned();
    }
    "indent with spaces, and put a text with `: `, `#` or a leading `{`, `[`, `*`, `&`, `%` in single quotes".to_owned()
}

fn wrong<T>(path: &[Step], what: impl Into<String>, help: impl Into<String>) -> Result<T, Wrong> {
    Err(Wrong {
        path: path.to_vec(),
        what: what.into(),
        help: help.into(),
    })
}

fn text(given: &Option<Text>) -> Option<String> {
    given
        .as_ref()
        .map(|text| text.0.clone())
        .filter(|text| !text.is_empty())
}

fn stretch(given: &Option<Text>, key: &'static str) -> Result<Option<Interval>, Wrong> {
    let Some(text) = text(given) else {
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

pub(super) fn board(path: &Path, parsed: Parsed, today: Date) -> Result<BoardFile, Wrong> {
    let folder = path.parent().unwrap_or(Path::new(""));
    if parsed.product.0.is_empty() {
        return wrong(
            &[Step::Key("product")],
            "the product has no name",
            "say what was taken apart",
        );
    }
    let seen = stretch(&parsed.seen, "seen")?.map_or(today, |interval| interval.to);
    let built = stretch(&parsed.built, "built")?;
    let mut photos: Vec<Photo> = Vec::new();
    for (at, photo) in parsed.photos.iter().enumerate() {
        let here = [Step::Key("photos"), Step::Item(at)];
        let name = photo.name.0.clone();
        if photos.iter().any(|known| known.name == name) {
            return wrong(
                &with(&here, "name"),
                format!("two photos are called `{name}`"),
                "give each a name of its own",
            );
        }
        let file = beside(folder, &photo.file.0, &with(&here, "file"))?;
        photos.push(Photo { name, file });
    }
    let mut names: HashMap<String, usize> = HashMap::new();
    for (at, part) in parsed.parts.iter().enumerate() {
        let here = [Step::Key("parts"), Step::Item(at), Step::Key("at")];
        for name in positions(&part.at.0) {
            if let Some(first) = names.insert(name.clone(), at) {
                return wrong(
                    &here,
                    format!("`{name}` stands twice: it is at part {} already", first + 1),
                    "one position holds one part; several specimens of it are readings of one part",
                );
            }
        }
        if positions(&part.at.0).next().is_none() {
            return wrong(
                &here,
                "the part has no position",
                "give its designator, or where it stands",
            );
        }
    }
    let mut parts = Vec::new();
    let mut pages = Vec::new();
    for (at, part) in parsed.parts.iter().enumerate() {
        let (part, page) = one_part(folder, &photos, &names, at, part)?;
        parts.push(part);
        pages.push(page);
    }
    Ok(BoardFile {
        path: path.to_owned(),
        size: size(&parsed.size)?,
        notes: text(&parsed.notes),
        board: Board {
            product: parsed.product.0.clone(),
            generation: text(&parsed.generation),
            seller: text(&parsed.seller),
            seen,
            built,
            claims: claims(&parsed.claims)?,
            parts,
        },
        photos,
        parts: pages,
    })
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

fn claims(claims: &Claims) -> Result<Vec<Claim>, Wrong> {
    let mut found = Vec::new();
    let bands: Vec<String> = claims
        .bands
        .iter()
        .flat_map(|t| positions(&t.0).collect::<Vec<_>>())
        .collect();
    let all = [
        (
            "storage",
            ClaimKind::Storage,
            text(&claims.storage).into_iter().collect(),
        ),
        (
            "memory",
            ClaimKind::Memory,
            text(&claims.memory).into_iter().collect(),
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

fn size(given: &Option<Text>) -> Result<Option<(f64, f64)>, Wrong> {
    let Some(text) = text(given) else {
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
    part: &ParsedPart,
) -> Result<(Part, PartPage), Wrong> {
    let here = [Step::Key("parts"), Step::Item(at)];
    let positions: Vec<String> = positions(&part.at.0).collect();
    let quantity = part.quantity.unwrap_or(positions.len() as u32);
    if (quantity as usize) < positions.len() {
        return wrong(
            &with(&here, "quantity"),
            format!("{quantity} parts stand in {} positions", positions.len()),
            "count at least one a position",
        );
    }
    let inside = text(&part.inside);
    if let Some(outer) = &inside {
        match names.get(outer) {
            None => {
                let near = near(outer, names.keys().map(String::as_str))
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
    if let Some(function) = text(&part.function)
        && !FUNCTIONS
            .iter()
            .any(|word| *word == function || word.starts_with(&format!("{function}/")))
    {
        let near = near(&function, FUNCTIONS.iter().copied())
            .first()
            .map(|near| format!("did you mean `{near}`?"));
        return wrong(
            &with(&here, "function"),
            format!("no function is called `{function}`"),
            near.unwrap_or_else(|| format!("functions: {}", FUNCTIONS.join(" "))),
        );
    }
    let body = match text(&part.body) {
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
        on: on(photos, &here, part.on.as_ref())?,
        notes: text(&part.notes),
        ..PartPage::default()
    };
    let mut readings = Vec::new();
    for (number, reading) in part.readings.iter().enumerate() {
        let mut here = with(&here, "readings");
        here.push(Step::Item(number));
        let (sighting, typed) = sighting(&here, reading)?;
        let photo = text(&reading.photo)
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
        package: text(&part.package),
        pins: part.pins,
        body,
        logo: text(&part.logo),
        maker: text(&part.maker),
        function: text(&part.function),
        readings,
        observed: observed(&with(&here, "observed"), &part.observed)?,
        decision: decision(&with(&here, "decision"), part.decision.as_ref())?,
    };
    Ok((part, page))
}

fn on(photos: &[Photo], here: &[Step], on: Option<&ParsedOn>) -> Result<Option<OnPhoto>, Wrong> {
    let Some(on) = on else { return Ok(None) };
    let here = with(here, "on");
    let numbers = [
        ("x", on.x),
        ("y", on.y),
        ("width", on.width),
        ("height", on.height),
    ];
    if let Some((key, number)) = numbers.iter().find(|(_, n)| !(0.0..=100.0).contains(n)) {
        return wrong(
            &with(&here, key),
            format!("{number} is no percentage of a photo"),
            "places count in percent of the photo's width and height, from its upper left corner",
        );
    }
    let photo = match (text(&on.photo), photos) {
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
    Ok(Some(OnPhoto {
        photo,
        x: on.x,
        y: on.y,
        width: on.width,
        height: on.height,
    }))
}

fn sighting(here: &[Step], reading: &ParsedReading) -> Result<(Sighting, String), Wrong> {
    let given = [
        ("code", &reading.code),
        ("mark", &reading.mark),
        ("top", &reading.top),
        ("bottom", &reading.bottom),
        ("side", &reading.side),
        ("die", &reading.die),
        ("lid", &reading.lid),
        ("label", &reading.label),
        ("matrix", &reading.matrix),
        ("short", &reading.short),
        ("any", &reading.any),
    ];
    let mut given = given
        .into_iter()
        .filter_map(|(word, text)| Some((word, text.as_ref()?)));
    let ((word, text), more) = match (given.next(), given.next()) {
        (Some(one), more) => (one, more),
        (None, _) => {
            let words: Vec<&str> = forms().map(|(word, _)| word).collect();
            return wrong(
                here,
                "nothing was read here",
                format!("give the lines under one of: {}", words.join(", ")),
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
    let mut lines = text.0.clone();
    for symbol in &reading.symbols {
        lines.push_str(&format!(" | {{:{}}}", symbol.0.trim_matches(':')));
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
    if reading.number.is_some() && form != Some(FormKind::Die) {
        return wrong(
            &with(here, "number"),
            "only dies are numbered",
            "several packages of one part are told apart by `specimen`",
        );
    }
    for (key, number) in [("number", reading.number), ("specimen", reading.specimen)] {
        if number == Some(0) {
            return wrong(
                &with(here, key),
                format!("`{key}` counts from 1"),
                "the first is 1",
            );
        }
    }
    let die = if form == Some(FormKind::Die) {
        reading.number.unwrap_or(1)
    } else {
        0
    };
    let sighting = Sighting {
        reading: parsed.in_form(form),
        specimen: reading.specimen.unwrap_or(1),
        die,
        reader: self::text(&reading.reader),
    };
    Ok((sighting, format!("{word}: {lines}")))
}

fn observed(here: &[Step], given: &ParsedObserved) -> Result<Observed, Wrong> {
    let state = text(&given.state);
    let known = ["unmarked", "not examined"];
    if let Some(state) = state
        .as_ref()
        .filter(|state| !known.contains(&state.as_str()))
    {
        return wrong(
            &with(here, "state"),
            format!("`{state}` is no state of a part"),
            "write `unmarked` or `not examined`, or put it under `other`",
        );
    }
    let measured = match text(&given.value) {
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
        dies: given.dies,
        measured,
        unmarked: state.as_deref() == Some("unmarked"),
        not_examined: state.as_deref() == Some("not examined"),
        other: given.other.iter().map(|text| text.0.clone()).collect(),
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

fn decision(here: &[Step], given: Option<&ParsedDecision>) -> Result<Option<Decision>, Wrong> {
    let Some(given) = given else { return Ok(None) };
    let Some(grade) = Grade::of_word(&given.grade.0) else {
        return wrong(
            &with(here, "grade"),
            format!("`{}` is no grade", given.grade.0),
            format!("grades: {GRADES}"),
        );
    };
    Ok(Some(Decision {
        is: text(&given.is),
        family: text(&given.family),
        maker: text(&given.maker),
        grade,
        basis: text(&given.basis),
        why: text(&given.why),
        who: text(&given.who),
    }))
}
