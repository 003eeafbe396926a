//! `confirm`

use std::path::Path;

use etchlore_engine::board::{Grade, account};
use etchlore_engine::decode::{Notation, Reading, Scratch};
use jiff::civil::Date;

use crate::args::{ConfirmArgs, GlobalArgs, Output};
use crate::board_file;
use crate::casebook::{self, Case};
use crate::commands::{day_of_reading, jobs};
use crate::console::Console;
use crate::failure::{Failure, Status};
use crate::rules::{Loaded, casebook, family, load};

pub(crate) fn run(
    args: &ConfirmArgs,
    global: &GlobalArgs,
    console: &mut Console,
) -> Result<Status, Failure> {
    let seen = day_of_reading(args.seen.as_deref())?;
    let path = casebook(global)?;
    match &args.board {
        Some(board) => of_board(args, board, &path, seen, global, console),
        None => of_marking(args, &path, seen, global, console),
    }
}

/// What became of a decision of a board.
enum Taken {
    Appended,
    /// It stands in the casebook already.
    Known,
    /// Why it is no case.
    Left(String),
}

/// Appends what a board decides as confirmed.
fn of_board(
    args: &ConfirmArgs,
    board: &Path,
    path: &Path,
    seen: Date,
    global: &GlobalArgs,
    console: &mut Console,
) -> Result<Status, Failure> {
    let file = board_file::read(board, seen)?;
    let loaded = load(global, console)?;
    let account = account(&loaded.rules.decoder(), &file.board, jobs(None));
    let mut known = if path.exists() {
        casebook::cases(path)?
    } else {
        Vec::new()
    };
    let mut done: Vec<(String, Taken)> = Vec::new();
    for (part, is) in file.board.parts.iter().zip(&account.parts) {
        if let Some(only) = &args.part
            && !part.at.contains(only)
        {
            continue;
        }
        let Some(decision) = &part.decision else {
            if args.part.is_some() {
                done.push((
                    part.name().to_owned(),
                    Taken::Left("nothing was decided".to_owned()),
                ));
            }
            continue;
        };
        let read = part.readings.iter().find(|one| one.die == 0);
        let of_rules = is.ranking.candidates.first().map(|lead| {
            loaded.rules.set().families[lead.family.index()]
                .name
                .clone()
        });
        let taken = match (read, decision.family.clone().or(of_rules)) {
            _ if decision.grade != Grade::Confirmed => {
                Taken::Left(format!("decided as {} only", decision.grade.word()))
            }
            (None, _) => Taken::Left("no mark of it was read".to_owned()),
            (_, None) => Taken::Left(
                "the decision names no family, and no rule explains the mark".to_owned(),
            ),
            (Some(read), Some(of)) => {
                family(&loaded, &of)?;
                let lines: Vec<&str> = read.reading.lines.iter().map(|l| l.text.as_str()).collect();
                let evidence: Vec<&str> = [&decision.basis, &decision.why]
                    .into_iter()
                    .flatten()
                    .map(String::as_str)
                    .collect();
                let case = Case {
                    marking: lines.join(" | "),
                    family: of,
                    ordering_code: decision.is.clone().unwrap_or_default(),
                    seen: file.board.seen.to_string(),
                    place: format!("{}, {}", product(&file.board), part.name()),
                    who: decision.who.clone().unwrap_or_default(),
                    evidence: evidence.join(": "),
                }
                .on_one_line();
                if known.contains(&case) {
                    Taken::Known
                } else {
                    casebook::append(path, &case)?;
                    known.push(case);
                    Taken::Appended
                }
            }
        };
        done.push((part.name().to_owned(), taken));
    }
    if let (Some(only), true) = (&args.part, done.is_empty()) {
        return Err(Failure::Usage(
            format!("no part of the board stands at `{only}`"),
            "positions are those under `at:` in the board file".to_owned(),
        ));
    }
    tell(&done, &loaded, path, global, console)
}

fn product(board: &etchlore_engine::board::Board) -> String {
    match &board.generation {
        Some(generation) => format!("{} {generation}", board.product),
        None => board.product.clone(),
    }
}

fn tell(
    done: &[(String, Taken)],
    loaded: &Loaded,
    path: &Path,
    global: &GlobalArgs,
    console: &mut Console,
) -> Result<Status, Failure> {
    let words = |taken: &Taken| match taken {
        Taken::Appended => "appended".to_owned(),
        Taken::Known => "in the casebook already".to_owned(),
        Taken::Left(why) => format!("left: {why}"),
    };
    if global.output != Output::Text {
        let parts: Vec<serde_json::Value> = done
            .iter()
            .map(|(name, taken)| {
                serde_json::json!({
                    "part": name, "appended": matches!(taken, Taken::Appended), "what": words(taken),
                })
            })
            .collect();
        let document = serde_json::json!({
            "etchlore": env!("CARGO_PKG_VERSION"),
            "rules": loaded.digest(),
            "casebook": path.display().to_string(),
            "parts": parts,
        });
        console.line(&document.to_string())?;
        return Ok(Status::Done);
    }
    for (name, taken) in done {
        console.line(&format!("{name}: {}", words(taken)))?;
    }
    let count = done
        .iter()
        .filter(|(_, taken)| matches!(taken, Taken::Appended))
        .count();
    console.line(&format!("{}: {count} appended", path.display()))?;
    Ok(Status::Done)
}

/// Appends one case as typed.
fn of_marking(
    args: &ConfirmArgs,
    path: &Path,
    seen: Date,
    global: &GlobalArgs,
    console: &mut Console,
) -> Result<Status, Failure> {
    let (Some(marking), Some(of), Some(evidence)) = (&args.marking, &args.family, &args.evidence)
    else {
        return Err(Failure::Usage(
            "a case is a marking, its family and the evidence".to_owned(),
            "or name a board file with --board".to_owned(),
        ));
    };
    let loaded = load(global, console)?;
    let (id, _) = family(&loaded, of)?;
    let reading = Reading::parse(marking, Notation::default()).map_err(|error| {
        Failure::Usage(
            format!("this is no reading: {error}"),
            "see `etchlore decode --help` for the notation".to_owned(),
        )
    })?;
    let decoder = loaded.rules.decoder().only(id);
    let explained = !decoder
        .explain(&reading, seen, &mut Scratch::default())
        .is_empty();
    if !explained {
        console.complain(&format!(
            "warning: the rules of {} do not read `{}`; the case is kept\n  help: `etchlore decode --why {} ...` says what stops them",
            of, marking, of
        ));
    }
    casebook::append(
        path,
        &Case {
            marking: marking.clone(),
            family: of.clone(),
            ordering_code: args.ordering_code.clone(),
            seen: seen.to_string(),
            place: args.place.clone(),
            who: args.who.clone(),
            evidence: evidence.clone(),
        },
    )?;
    let count = casebook::counts(path)?.get(of).copied().unwrap_or(0);
    if global.output != Output::Text {
        let document = serde_json::json!({
            "etchlore": env!("CARGO_PKG_VERSION"),
            "rules": loaded.digest(),
            "seen": seen.to_string(),
            "casebook": path.display().to_string(),
            "family": of,
            "read_by_the_rules": explained,
            "cases": count,
        });
        console.line(&document.to_string())?;
        return Ok(Status::Done);
    }
    console.line(&format!(
        "{}: {} of {}",
        path.display(),
        match count {
            1 => "the first case".to_owned(),
            many => format!("{many} cases"),
        },
        of
    ))?;
    Ok(Status::Done)
}
