//! A run from its arguments to its summary.

use std::io::Write;
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use etchlore_engine::decode::Notation;
use etchlore_engine::rank::Context;

use super::answer::{Status, Writing};
use super::ask::{Asker, Question};
use super::columns::{self, Chosen};
use super::memo::Memo;
use super::run::run;
use super::summary;
use super::tally::Tally;
use super::want::{self, Want};
use super::work::{Done, Worker};
use crate::args::{BulkArgs, GlobalArgs, Header};
use crate::commands::day_of_reading;
use crate::console::Console;
use crate::failure::Failure;
use crate::rules::{Loaded, load};
use crate::table::csv::CsvRows;
use crate::table::dialect::{Dialect, sniff};
use crate::table::open::{Form, Opened, open};
use crate::table::text::TextInput;
use crate::table::whole::Whole;
use crate::table::{Batch, SAMPLE};

/// The outputs of a run.
struct Outputs {
    table: Whole,
    candidates: Option<Whole>,
}

/// Decodes a table.
pub(crate) fn bulk(
    args: &BulkArgs,
    global: &GlobalArgs,
    console: &mut Console,
) -> Result<crate::failure::Status, Failure> {
    if !(args.min_probability > 0.0 && args.min_probability <= 1.0) {
        return Err(Failure::Usage(
            format!(
                "--min-probability {} is no probability",
                args.min_probability
            ),
            "give a number above 0, at most 1".to_owned(),
        ));
    }
    let context = Context::on(day_of_reading(args.seen.as_deref())?);
    // Threads outlive the borrow that a scope could give them where a run is interrupted; the process ends with the command anyway.
    let loaded: &'static Loaded = Box::leak(Box::new(load(global, console)?));
    let wants = Want::all(&args.fields, loaded.rules.set())?;
    let opened = open(&args.input).map_err(|error| unreadable(&args.input, &error))?;
    text_table(args, console, loaded, context, wants, opened)
}

fn text_table(
    args: &BulkArgs,
    console: &mut Console,
    loaded: &'static Loaded,
    context: Context,
    wants: Vec<Want>,
    opened: Opened,
) -> Result<crate::failure::Status, Failure> {
    let Form::Text(usual) = opened.form else {
        return Err(Failure::Unreadable("".to_owned(), "".to_owned()));
    };
    let failed = |error: std::io::Error| unreadable(&args.input, &error);
    let (mut input, encoding) = TextInput::new(opened.input).map_err(failed)?;
    let mut sample = Vec::new();
    input.fill(&mut sample, SAMPLE).map_err(failed)?;
    let given = args.delimiter.as_deref().map(delimiter).transpose()?;
    let dialect = sniff(&sample, input.ended(), usual, given);
    let chosen = columns::choose(args, loaded, &context, &sample, input.ended(), dialect)?;
    let mut rows = CsvRows::new(input, sample, dialect);
    rows.want(chosen.marks.clone());
    let writing = Writing::Text(dialect);
    let question: &'static Question = Box::leak(Box::new(Question {
        loaded,
        context,
        notation: Notation {
            table: !args.doubt,
            ..Notation::default()
        },
        sure: args.min_probability,
        writing,
        candidates: args.candidates.is_some(),
        wants,
    }));
    let mut outputs = Outputs::create(args)?;
    let names = want::names(&question.wants, &chosen.names);
    if chosen.header {
        outputs.header(&mut rows, dialect, &names, &chosen)?;
    }
    if let Some(table) = &mut outputs.candidates {
        let mut head = "row,rank".to_owned();
        for name in &names[1..] {
            head.push(',');
            head.push_str(name.trim_start_matches("etch_"));
        }
        head.push('\n');
        table.write_all(head.as_bytes())?;
    }
    let stop = Arc::new(AtomicBool::new(false));
    let jobs = jobs(args.jobs);
    let memo = Arc::new(Memo::new());
    let workers: Vec<_> = (0..jobs)
        .map(|_| {
            let mut worker = Worker::new(
                Asker::new(question),
                Arc::clone(&memo),
                dialect,
                chosen.marks.clone(),
                chosen.width,
                args.undecoded.is_some(),
            );
            move |(first, batch): (u64, Batch)| worker.work(first, batch)
        })
        .collect();
    let input_name = args.input.clone();
    let mut row = 1;
    let read = move || -> Result<Option<(u64, Batch)>, Failure> {
        let batch = rows
            .next(Vec::new())
            .map_err(|error| unreadable(&input_name, &error))?;
        Ok(batch.map(|batch| {
            let first = row;
            row += match &batch {
                Batch::Records(records) => {
                    records.spans.iter().filter(|span| !span.is_blank()).count() as u64
                }
                Batch::Piece(_) => 0,
                Batch::Tail(_) => 1,
            };
            (first, batch)
        }))
    };
    let mut total = Tally::default();
    let done = run(
        read,
        workers,
        |done: Done| {
            outputs.table.write_all(&done.bytes)?;
            if let Some(table) = &mut outputs.candidates {
                table.write_all(&done.candidates)?;
            }
            total.add(done.tally);
            Ok(())
        },
        &stop,
    );
    done?;
    if stop.load(Ordering::Relaxed) {
        return Err(Failure::Interrupted(format!("after row {}", total.rows)));
    }
    let _ = encoding;
    outputs.finish()?;
    if let Some(path) = &args.undecoded {
        summary::undecoded(path, &total)?;
    }
    summary::text(&total, loaded, console);
    let open = total.of(Status::None) + total.of(Status::Ambiguous);
    Ok(if args.strict && open > 0 {
        crate::failure::Status::Findings
    } else {
        crate::failure::Status::Done
    })
}

impl Outputs {
    fn create(args: &BulkArgs) -> Result<Outputs, Failure> {
        let create = |path: &Path| Whole::create(path).map_err(|error| unwritable(path, &error));
        let table = match args.out.as_deref() {
            None => Whole::stdout()?,
            Some(path) if path == Path::new("-") => Whole::stdout()?,
            Some(path) => create(path)?,
        };
        Ok(Outputs {
            table,
            candidates: args.candidates.as_deref().map(create).transpose()?,
        })
    }

    /// Writes the header with our names behind it.
    fn header(
        &mut self,
        rows: &mut CsvRows,
        dialect: Dialect,
        names: &[String],
        chosen: &Chosen,
    ) -> Result<(), Failure> {
        let Some((bytes, span)) = rows.first()? else {
            return Ok(());
        };
        let mut line = bytes[..span.end as usize].to_vec();
        let missing = chosen.width.saturating_sub(chosen.names.len());
        line.extend(std::iter::repeat_n(dialect.delimiter, missing));
        for name in names {
            line.push(dialect.delimiter);
            line.extend_from_slice(name.as_bytes());
        }
        line.extend_from_slice(&bytes[span.end as usize..]);
        self.table.write_all(&line)?;
        Ok(())
    }

    fn finish(self) -> Result<(), Failure> {
        if let Some(candidates) = self.candidates {
            candidates.finish()?;
        }
        self.table.finish()?;
        Ok(())
    }
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

pub(crate) fn unreadable(path: &Path, error: &std::io::Error) -> Failure {
    Failure::Unreadable(
        format!("{} cannot be read: {error}", path.display()),
        "check that it is there, whole, and a table: csv, tsv, jsonl, xlsx, also .gz or .zst; `-` is standard input".to_owned(),
    )
}

pub(crate) fn unwritable(path: &Path, error: &std::io::Error) -> Failure {
    Failure::Unreadable(
        format!("{} cannot be written: {error}", path.display()),
        "check that its folder is there and may be written to".to_owned(),
    )
}
