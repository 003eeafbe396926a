//! Which columns there are, and which of them hold the mark.

use etchlore_engine::diagnostic::near;
use etchlore_engine::rank::Context;

use crate::args::{BulkArgs, Header};
use crate::failure::Failure;
use crate::rules::Loaded;
use crate::table::csv::{Cells, Found, Walker};
use crate::table::dialect::Dialect;

/// Rows of the sample that are looked at.
const ROWS: usize = 1_000;

/// What was found.
#[derive(Debug)]
pub(crate) struct Chosen {
    /// Whether the first row is a header.
    pub(crate) header: bool,
    /// The names in it.
    pub(crate) names: Vec<String>,
    /// How many cells a row has.
    pub(crate) width: usize,
    /// The columns of the mark.
    pub(crate) marks: Vec<usize>,
}

/// Looks at a sample, and at what is asked for.
pub(crate) fn choose(
    args: &BulkArgs,
    _loaded: &Loaded,
    _context: &Context,
    sample: &[u8],
    whole: bool,
    dialect: Dialect,
) -> Result<Chosen, Failure> {
    let rows = rows(sample, whole, dialect);
    let header = args.header != Header::No;
    let names = match rows.first() {
        Some(first) if header => first.clone(),
        _ => Vec::new(),
    };
    let width = rows.iter().map(Vec::len).max().unwrap_or(0);
    let marks = match &args.mark {
        Some(mark) => named(mark, &names, width)?,
        None => vec![0],
    };
    Ok(Chosen {
        header: header && !rows.is_empty(),
        names,
        width,
        marks,
    })
}

/// The rows of a sample.
fn rows(sample: &[u8], whole: bool, dialect: Dialect) -> Vec<Vec<String>> {
    let mut walker = Walker::new(dialect);
    let mut cells = Cells::new(dialect);
    let mut rows = Vec::new();
    let mut at = 0;
    while rows.len() < ROWS {
        let Found::Record(span) = walker.next(sample, at, whole) else {
            break;
        };
        at = span.next as usize;
        if span.is_blank() {
            continue;
        }
        let record = &sample[span.start as usize..span.end as usize];
        let record = record.strip_prefix(b"\xef\xbb\xbf").unwrap_or(record);
        cells.split(record, span.kind);
        rows.push(
            (0..cells.len())
                .map(|cell| cells.text(record, cell).to_owned())
                .collect(),
        );
    }
    rows
}

/// The columns that `--mark` names.
fn named(mark: &str, names: &[String], width: usize) -> Result<Vec<usize>, Failure> {
    if let Some(column) = column(mark, names, width) {
        return Ok(vec![column]);
    }
    mark.split(',')
        .map(|name| {
            let name = name.trim();
            column(name, names, width).ok_or_else(|| {
                let near = near(name, names.iter().map(String::as_str));
                let help = if near.is_empty() {
                    let all: Vec<&str> = names.iter().map(String::as_str).take(40).collect();
                    format!("columns: {}; or a number from 1 to {width}", all.join(", "))
                } else {
                    format!("did you mean {}?", near.join(" or "))
                };
                Failure::Usage(format!("no column is called `{name}`"), help)
            })
        })
        .collect()
}

fn column(name: &str, names: &[String], width: usize) -> Option<usize> {
    let same = |test: &dyn Fn(&str) -> bool| names.iter().position(|known| test(known));
    same(&|known| known == name)
        .or_else(|| same(&|known| known.trim().eq_ignore_ascii_case(name.trim())))
        .or_else(|| {
            let number: usize = name.trim().parse().ok()?;
            (1..=width).contains(&number).then(|| number - 1)
        })
}
