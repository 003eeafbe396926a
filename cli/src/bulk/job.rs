//! A run from its arguments to its summary.

use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::mpsc::Sender;

use etchlore_engine::decode::{Effort, Notation};
use etchlore_engine::rank::Context;

use super::answer::Writing;
use super::ask::{Asker, Question};
use super::claims::Beside;
use super::columns::{Chosen, choose};
use super::input::{Input, Rows, unreadable};
use super::memo::Memo;
use super::output::{self, Outputs};
use super::progress::Progress;
use super::run::run;
use super::summary::Summary;
use super::tally::Tally;
use super::want::{self, Want};
use super::work::{Done, Layout, Worker};
use crate::args::{BulkArgs, GlobalArgs, Output};
use crate::commands::day_of_reading;
use crate::console::Console;
use crate::failure::{Failure, Status};
use crate::rules::{Loaded, load};
use crate::table::Batch;
use crate::table::open::Form;

/// Decodes a table.
pub(crate) fn bulk(
    args: &BulkArgs,
    global: &GlobalArgs,
    console: &mut Console,
) -> Result<Status, Failure> {
    if !(args.min_probability > 0.0 && args.min_probability <= 1.0) {
        return Err(Failure::Usage(
            format!(
                "--min-probability {} is no probability",
                args.min_probability
            ),
            "give a number above 0, at most 1".to_owned(),
        ));
    }
    let delimiter = args.delimiter.as_deref().map(delimiter).transpose()?;
    let context = Context::of_entries(day_of_reading(args.seen.as_deref())?);
    // Threads outlive any borrow where a run is interrupted; the process ends with the command anyway.
    let loaded: &'static Loaded = Box::leak(Box::new(load(global, console)?));
    loaded.rules.compile_all();
    let wants = Want::all(&args.fields, loaded.rules.set())?;
    // What form the output has decides what must be known of the input.
    let to_columns = |form: Form| form != Form::Lines;
    let output_form = output::form(args, global.output == Output::Jsonl, Form::Lines);
    let input = Input::open(&args.input, delimiter, to_columns(output_form))?;
    let output_form = output::form(args, global.output == Output::Jsonl, input.form);
    let chosen = choose(
        args.mark.as_deref(),
        args.header,
        loaded,
        &context,
        &input.sample,
    )?;
    let mut rows = input.rows;
    let mut outputs = Outputs::create(args, output_form)?;
    let dialect = output::dialect(args, input.form, input.dialect, output_form);
    let append = match (&rows, output_form) {
        (Rows::Text(_), Form::Text(_)) => dialect == input.dialect,
        (Rows::Lines(_), Form::Lines) => true,
        _ => false,
    };
    let columns = columns(&chosen);
    let own = want::names(&wants, &columns);
    let writing = match output_form {
        Form::Text(_) => Writing::Text(dialect),
        Form::Lines => Writing::Json(own.clone()),
        Form::Sheet => Writing::Sheet,
    };
    outputs.heads(&own)?;
    header(
        &mut rows,
        &mut outputs,
        &chosen,
        append,
        &writing,
        &columns,
        &own,
    )?;
    let body = &input.sample.rows[usize::from(chosen.header)..];
    let rules = loaded.rules.set();
    let beside = Beside::find(&chosen.names, body, &chosen.marks, rules, context.seen);
    let question: &'static Question = Box::leak(Box::new(Question {
        loaded,
        context,
        effort: if args.deep {
            Effort::Enough
        } else {
            Effort::Quick
        },
        notation: Notation {
            table: !args.doubt,
            ..Notation::default()
        },
        sure: args.min_probability,
        wants,
        writing,
        candidates: args.candidates.is_some(),
        compare: !beside.is_empty(),
        anew: !append,
    }));
    let mut wanted = chosen.marks.clone();
    wanted.sort_unstable();
    if let Rows::Text(rows) = &mut rows {
        rows.want(wanted);
    }
    let layout = Arc::new(Layout {
        names: columns,
        marks: chosen.marks.clone(),
        width: chosen.width,
        dialect: input.dialect,
        append,
        undecoded: args.undecoded.is_some(),
        beside,
    });
    let memo = Arc::new(Memo::new());
    let workers: Vec<_> = (0..jobs(args.jobs))
        .map(|_| {
            let mut worker =
                Worker::new(Asker::new(question), Arc::clone(&memo), Arc::clone(&layout));
            move |(first, batch): (u64, Batch)| worker.work(first, batch)
        })
        .collect();
    let stop = Arc::new(AtomicBool::new(false));
    listen(&stop);
    let repaired = Arc::new(AtomicBool::new(false));
    let (progress, tell) = Progress::new(input.size);
    let read = reader(
        args,
        rows,
        append,
        Arc::clone(&repaired),
        (input.read, tell),
    );
    let mut total = Tally::default();
    let done = run(
        read,
        workers,
        |done: Done| {
            outputs.write(&done)?;
            total.add(done.tally);
            progress.batch(total.rows);
            Ok(())
        },
        &stop,
    );
    progress.end();
    done?;
    if stop.load(Ordering::Relaxed) {
        return Err(interrupted(args, &outputs, total.rows));
    }
    if let Some(path) = &args.undecoded {
        total.undecoded.write(path)?;
    }
    outputs.finish()?;
    let mut warnings = input.warnings;
    if repaired.load(Ordering::Relaxed) {
        warnings.push(
            "some cells were no UTF-8; they were read as Windows-1252 and are written as UTF-8"
                .to_owned(),
        );
    }
    if chosen.names.len() != unique(&chosen.names) {
        warnings.push("some columns share a name; --mark takes numbers too".to_owned());
    }
    let summary = Summary {
        total: &total,
        loaded,
        seen: question.context.seen,
        found: &input.found,
        marks: &said(&chosen),
        warnings: &warnings,
        beside: layout.beside.names(),
        width: chosen.width,
    };
    let to_stream = args
        .out
        .as_deref()
        .is_none_or(|path| path == Path::new("-"));
    match (global.output, to_stream) {
        (Output::Json, false) => console.line(&format!("{:#}", summary.json()))?,
        (Output::Json, true) => console.complain(&format!("{:#}", summary.json())),
        _ => console.complain(&summary.text().trim_end()),
    }
    let open = total.of(super::answer::Status::None) + total.of(super::answer::Status::Ambiguous);
    Ok(if args.strict && open > 0 {
        Status::Findings
    } else {
        Status::Done
    })
}

/// The names of all columns of the input, each of its own: those without one are numbered.
fn columns(chosen: &Chosen) -> Vec<String> {
    let mut columns: Vec<String> = Vec::new();
    for at in 0..chosen.width {
        let name = match chosen.names.get(at) {
            Some(name) if !name.is_empty() => name.clone(),
            _ => format!("column_{}", at + 1),
        };
        let again = (2..).map(|n| format!("{name}_{n}"));
        let free = std::iter::once(name.clone())
            .chain(again)
            .find(|name| !columns.contains(name));
        columns.extend(free);
    }
    columns
}

fn unique(names: &[String]) -> usize {
    names.iter().collect::<std::collections::HashSet<_>>().len()
}

/// Which columns are the mark, and why.
fn said(chosen: &Chosen) -> String {
    let marks: Vec<String> = chosen
        .marks
        .iter()
        .map(|mark| chosen.label(*mark))
        .collect();
    let header = if chosen.header || !chosen.names.is_empty() {
        ""
    } else {
        "no header; "
    };
    let reason = chosen
        .reason
        .as_ref()
        .map_or(String::new(), |reason| format!(": {reason}"));
    format!("{header}the mark is {}{reason}", marks.join(" with "))
}

/// Writes the header of the table.
fn header(
    rows: &mut Rows,
    outputs: &mut Outputs<'_>,
    chosen: &Chosen,
    append: bool,
    writing: &Writing,
    columns: &[String],
    own: &[String],
) -> Result<(), Failure> {
    let named = chosen.header || !chosen.names.is_empty();
    if append {
        let (true, Rows::Text(rows), Writing::Text(dialect)) = (chosen.header, rows, writing)
        else {
            return Ok(());
        };
        let Some((bytes, span)) = rows.first()? else {
            return Ok(());
        };
        let end = span.end as usize;
        let mut line = bytes[..end].to_vec();
        let missing = chosen.width.saturating_sub(chosen.names.len());
        line.extend(std::iter::repeat_n(dialect.delimiter, missing));
        for name in own {
            line.push(dialect.delimiter);
            line.extend_from_slice(name.as_bytes());
        }
        line.extend_from_slice(&bytes[end..]);
        return outputs.bytes(&line);
    }
    if chosen.header {
        match rows {
            Rows::Text(rows) => drop(rows.first()?),
            Rows::Sheet(rows) => drop(rows.next()),
            Rows::Lines(_) => {}
        }
    }
    if !named {
        return Ok(());
    }
    let all: Vec<String> = columns.iter().chain(own).cloned().collect();
    outputs.names(&all, writing)
}

/// Reads batches and numbers their rows.
fn reader(
    args: &BulkArgs,
    mut rows: Rows,
    append: bool,
    repaired: Arc<AtomicBool>,
    (read, tell): (Arc<AtomicU64>, Sender<u64>),
) -> impl FnMut() -> Result<Option<(u64, Batch)>, Failure> + Send + 'static {
    let name = args.input.clone();
    let (mut row, mut given) = (1, 0_u64);
    move || {
        let batch = rows
            .next()
            .map_err(|error| unreadable(&name, &error.to_string()))?;
        let Some(batch) = batch else {
            repaired.store(rows.repaired(), Ordering::Relaxed);
            return Ok(None);
        };
        if matches!(batch, Batch::Piece(_)) && !append {
            return Err(Failure::Unreadable(
                format!(
                    "row {row} is longer than 1 MB and can only be copied, not rewritten in another form"
                ),
                "write the output in the form of the input; is a quote never closed there?"
                    .to_owned(),
            ));
        }
        let first = row;
        row += batch.rows();
        // Of what has been read, packed or not, the share that is not held back here.
        given += batch.size() as u64;
        let all = (given + rows.held() as u64).max(1);
        let place = read.load(Ordering::Relaxed) as f64 * given as f64 / all as f64;
        // Nobody listens any more where the run has ended.
        let _ = tell.send(place as u64);
        Ok(Some((first, batch)))
    }
}

/// Lets Ctrl-C, and a request to end, stop the run between two rows.
fn listen(stop: &Arc<AtomicBool>) {
    let stop = Arc::clone(stop);
    // Without a handler the signal ends the process at once, and the outputs are still the old ones.
    let _ = ctrlc::set_handler(move || {
        if stop.swap(true, Ordering::Relaxed) {
            std::process::exit(130);
        }
    });
}

fn interrupted(args: &BulkArgs, outputs: &Outputs<'_>, rows: u64) -> Failure {
    let kept = if outputs.to_stream() {
        "standard output holds the rows so far".to_owned()
    } else {
        let name = args.out.as_deref().unwrap_or(Path::new("-"));
        format!("{} is as it was before", name.display())
    };
    Failure::Interrupted(format!("{rows} rows were answered; {kept}"))
}

/// The threads of a run.
fn jobs(given: Option<usize>) -> usize {
    let machine = std::thread::available_parallelism().map_or(1, usize::from);
    given.unwrap_or(machine).clamp(1, 256)
}

fn delimiter(word: &str) -> Result<u8, Failure> {
    match word.as_bytes() {
        [one] if one.is_ascii() && !matches!(one, b'\n' | b'\r' | b'"') => Ok(*one),
        b"tab" | b"\\t" => Ok(b'\t'),
        _ => Err(Failure::Usage(
            format!("`{word}` cannot part cells"),
            "give one ASCII character, as `;`, or `tab`".to_owned(),
        )),
    }
}
