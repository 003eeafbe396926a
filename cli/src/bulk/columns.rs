//! Which columns there are, and which of them hold the mark.

use std::collections::HashSet;

use etchlore_engine::decode::{Effort, Notation, Reading, Scratch};
use etchlore_engine::diagnostic::near;
use etchlore_engine::rank::{Context, rank};

use super::look::{Role, like_a_number, role, uniform};
use crate::args::Header;
use crate::failure::Failure;
use crate::rules::Loaded;

/// Cells of a column that are looked at.
const CELLS: usize = 40;
/// The longest cell that is decoded for the choice, in bytes.
const LONGEST: usize = 60;
/// What a column must score to be taken for the mark's.
const ENOUGH: f64 = 0.12;

/// The beginning of a table.
pub(crate) struct Sample {
    /// Names given beside the rows, as keys are; absent where the first row may be a header.
    pub(crate) keys: Option<Vec<String>>,
    pub(crate) rows: Vec<Vec<String>>,
}

/// What was found.
#[derive(Debug)]
pub(crate) struct Chosen {
    /// Whether the first row is a header.
    pub(crate) header: bool,
    /// The names of the columns; empty without a header.
    pub(crate) names: Vec<String>,
    /// How many cells a row has.
    pub(crate) width: usize,
    /// The columns of the mark.
    pub(crate) marks: Vec<usize>,
    /// Why these, where they were not named.
    pub(crate) reason: Option<String>,
}

impl Chosen {
    /// A column for people.
    pub(crate) fn label(&self, column: usize) -> String {
        match self.names.get(column).map(|name| name.trim()) {
            Some(name) if !name.is_empty() => format!("column {} `{name}`", column + 1),
            _ => format!("column {}", column + 1),
        }
    }
}

/// Decodes cells quickly: for a choice, damage need not be looked for.
struct Trial<'a> {
    loaded: &'a Loaded,
    context: &'a Context,
    scratch: Scratch,
}

impl Trial<'_> {
    /// How much of a cell names a part, from 0 to 1.
    fn identity(&mut self, cell: &str) -> f64 {
        let cell = cell.trim();
        if cell.len() > LONGEST || !cell.bytes().any(|byte| byte.is_ascii_digit()) {
            return 0.0;
        }
        let notation = Notation {
            table: true,
            ..Notation::default()
        };
        let Ok(reading) = Reading::parse(cell, notation) else {
            return 0.0;
        };
        let decoder = self.loaded.rules.decoder().with(Effort::Quick);
        let ranking = rank(&decoder, &reading, self.context, &mut self.scratch);
        let Some(first) = ranking.candidates.first() else {
            return 0.0;
        };
        let family = &self.loaded.rules.set().families[first.family.index()];
        if family.is_marking() {
            return 0.0;
        }
        let all = cell.chars().filter(|c| c.is_alphanumeric()).count();
        let left: usize = ranking
            .unexplained
            .iter()
            .map(|piece| piece.text.chars().filter(|c| c.is_alphanumeric()).count())
            .sum();
        let read = all.saturating_sub(left);
        let covered = read as f64 / all.max(1) as f64;
        // Three characters are soon a value code of something, and so is a value in a description.
        let short = (read as f64 / 6.0).min(1.0);
        let value = family.maker.is_none()
            && family
                .function
                .as_ref()
                .is_some_and(|function| function.starts_with("passive/"));
        first.probability * covered.powi(3) * short * if value { 0.2 } else { 1.0 }
    }
}

/// Looks at a sample, and at what is asked for.
pub(crate) fn choose(
    mark: Option<&str>,
    header: Header,
    loaded: &Loaded,
    context: &Context,
    sample: &Sample,
) -> Result<Chosen, Failure> {
    let mut trial = Trial {
        loaded,
        context,
        scratch: Scratch::default(),
    };
    let rows = &sample.rows;
    let first: &[String] = rows.first().map_or(&[], Vec::as_slice);
    let names_it = |names: &[String]| mark.is_some_and(|mark| marks_named(mark, names).is_some());
    let is_header = match (&sample.keys, header) {
        (Some(_), _) | (_, Header::No) => false,
        (_, Header::Yes) => !rows.is_empty(),
        (_, Header::Auto) => {
            !rows.is_empty() && (names_it(first) || looks_like_header(first, &mut trial))
        }
    };
    let names: Vec<String> = match &sample.keys {
        Some(keys) => keys.clone(),
        None if is_header => first.to_vec(),
        None => Vec::new(),
    };
    let body = &rows[usize::from(is_header)..];
    let width = body.iter().map(Vec::len).fold(names.len(), usize::max);
    let mut chosen = Chosen {
        header: is_header,
        names,
        width,
        marks: Vec::new(),
        reason: None,
    };
    match mark {
        Some(mark) => chosen.marks = named(mark, &chosen.names, width)?,
        None if body.is_empty() => chosen.marks = vec![0],
        None => by_content(&mut chosen, body, &mut trial)?,
    }
    Ok(chosen)
}

/// Whether a first row names its columns.
fn looks_like_header(first: &[String], trial: &mut Trial<'_>) -> bool {
    if first.iter().any(|cell| role(cell).is_some()) {
        return true;
    }
    let number = |cell: &String| {
        let cell = cell.trim();
        !cell.is_empty() && cell.parse::<f64>().is_ok()
    };
    let part = |cell: &String, trial: &mut Trial<'_>| {
        like_a_number(cell) > 0.7 || trial.identity(cell) > 0.5
    };
    !first.iter().any(|cell| number(cell) || part(cell, trial))
}

/// Chooses by what the cells are, and by the names where those do not tell.
fn by_content(
    chosen: &mut Chosen,
    body: &[Vec<String>],
    trial: &mut Trial<'_>,
) -> Result<(), Failure> {
    let columns: Vec<Vec<&str>> = (0..chosen.width).map(|c| distinct(body, c)).collect();
    let decoded: Vec<f64> = columns
        .iter()
        .map(|cells| share(cells, |cell| trial.identity(cell)))
        .collect();
    let mut scores: Vec<(f64, usize)> = Vec::new();
    for (at, cells) in columns.iter().enumerate() {
        let filled = body
            .iter()
            .filter(|row| row.get(at).is_some_and(|cell| !cell.trim().is_empty()))
            .count() as f64
            / body.len() as f64;
        let like = share(cells, like_a_number);
        let name = chosen.names.get(at).and_then(|name| role(name));
        let derived = derived(body, at, chosen.width);
        // Few cells prove little.
        let proof = cells.len() as f64 / (cells.len() as f64 + 2.0);
        let content = 2.0 * decoded[at] * proof + like * (1.0 - 0.85 * uniform(cells)) - derived;
        // A name counts as far as the cells bear it out: names are moved and copied more easily than columns.
        let name = match name {
            Some(Role::Mark) => 0.5 * content.clamp(0.1, 1.0),
            Some(Role::Description) | None => 0.0,
            Some(_) => -0.2 * content.clamp(0.0, 1.0),
        };
        // A column that is mostly empty is a second source at best.
        scores.push(((content + name) * (0.1 + 0.9 * filled.sqrt()), at));
    }
    scores.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
    let Some((score, best)) = scores.first().copied() else {
        return Ok(());
    };
    if score < ENOUGH {
        let all: Vec<String> = (0..chosen.width.min(40)).map(|c| chosen.label(c)).collect();
        return Err(Failure::Usage(
            "no column looks like marks or part numbers".to_owned(),
            format!("name it: --mark COLUMN; there are {}", all.join(", ")),
        ));
    }
    let counted = |column: usize| {
        let cells = &columns[column];
        format!(
            "{:.0} of {}",
            decoded[column] * cells.len() as f64,
            cells.len()
        )
    };
    let mut reason = if decoded[best] > 0.02 {
        format!(
            "whole part numbers are about {} of its cells",
            counted(best)
        )
    } else {
        "its cells look like part numbers, though none decodes".to_owned()
    };
    if let Some((_, next)) = scores.get(1).filter(|(score, _)| *score > 0.0) {
        reason += &format!(", of {} {}", chosen.label(*next), counted(*next));
    }
    chosen.marks = vec![best];
    chosen.reason = Some(reason);
    Ok(())
}

/// Different cells of a column that hold something, spread over the sample.
fn distinct(body: &[Vec<String>], column: usize) -> Vec<&str> {
    let mut seen = HashSet::new();
    let all: Vec<&str> = body
        .iter()
        .filter_map(|row| row.get(column))
        .map(|cell| cell.trim())
        .filter(|cell| !cell.is_empty() && seen.insert(*cell))
        .collect();
    let step = all.len().div_ceil(CELLS).max(1);
    all.into_iter().step_by(step).collect()
}

fn share(cells: &[&str], mut of: impl FnMut(&str) -> f64) -> f64 {
    if cells.is_empty() {
        return 0.0;
    }
    cells.iter().map(|cell| of(cell)).sum::<f64>() / cells.len() as f64
}

/// How much a column repeats another with more around it, as order numbers of a shop do; from 0 to 1.
fn derived(body: &[Vec<String>], column: usize, width: usize) -> f64 {
    let plain = |row: &Vec<String>, column: usize| -> String {
        let cell = row.get(column).map_or("", String::as_str);
        cell.chars()
            .filter(|c| c.is_ascii_alphanumeric())
            .map(|c| c.to_ascii_uppercase())
            .collect()
    };
    let own: Vec<String> = body
        .iter()
        .take(200)
        .map(|row| plain(row, column))
        .collect();
    let filled = own.iter().filter(|cell| cell.len() > 5).count();
    // One such pair is chance: a part's name stands in its number.
    if filled < 3 {
        return 0.0;
    }
    (0..width)
        .filter(|other| *other != column)
        .map(|other| {
            let longer = body.iter().take(200).zip(&own).filter(|(row, own)| {
                let other = plain(row, other);
                other.len() > 5 && own.len() > other.len() && own.contains(&other)
            });
            longer.count() as f64 / filled as f64
        })
        .fold(0.0, f64::max)
}

fn marks_named(mark: &str, names: &[String]) -> Option<Vec<usize>> {
    if let Some(column) = column(mark, names) {
        return Some(vec![column]);
    }
    mark.split(',').map(|name| column(name, names)).collect()
}

/// The columns that `--mark` names.
fn named(mark: &str, names: &[String], width: usize) -> Result<Vec<usize>, Failure> {
    if let Some(columns) = marks_named(mark, names) {
        return Ok(columns);
    }
    mark.split(',')
        .map(|name| {
            let name = name.trim();
            let by_number = || {
                let number: usize = name.parse().ok()?;
                (1..=width).contains(&number).then(|| number - 1)
            };
            column(name, names).or_else(by_number).ok_or_else(|| {
                let near = near(name, names.iter().map(String::as_str));
                let help = if !near.is_empty() {
                    format!("did you mean {}?", near.join(" or "))
                } else if names.is_empty() {
                    format!("there is no header; give a number from 1 to {width}")
                } else {
                    let all: Vec<&str> = names.iter().map(String::as_str).take(40).collect();
                    format!("columns: {}; or a number from 1 to {width}", all.join(", "))
                };
                Failure::Usage(format!("no column is called `{name}`"), help)
            })
        })
        .collect()
}

fn column(name: &str, names: &[String]) -> Option<usize> {
    let same = |test: &dyn Fn(&str) -> bool| names.iter().position(|known| test(known));
    same(&|known| known == name)
        .or_else(|| same(&|known| known.trim().eq_ignore_ascii_case(name.trim())))
}
