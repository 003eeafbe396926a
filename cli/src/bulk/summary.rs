//! What a run says at its end.

use std::io::Write;
use std::path::Path;

use super::answer::{Own, Status, put_cell};
use super::job::unwritable;
use super::tally::Tally;
use crate::console::Console;
use crate::failure::Failure;
use crate::rules::Loaded;
use crate::table::dialect::Dialect;
use crate::table::whole::Whole;

/// The summary for people.
pub(crate) fn text(total: &Tally, _loaded: &Loaded, console: &mut Console) {
    let line = format!(
        "{} rows: {} decoded, {} ambiguous, {} none, {} empty",
        total.rows,
        total.of(Status::Decoded),
        total.of(Status::Ambiguous),
        total.of(Status::None),
        total.of(Status::Empty)
    );
    console.complain(&line);
}

/// Writes what was not decoded: one line an example, the most frequent shape first.
pub(crate) fn undecoded(path: &Path, total: &Tally) -> Result<(), Failure> {
    let failed = |error: std::io::Error| unwritable(path, &error);
    let tabs = Dialect {
        delimiter: b'\t',
        quote: None,
    };
    let mut table = Whole::create(path).map_err(failed)?;
    let mut bytes = b"count\tshape\trow\tmark\n".to_vec();
    for (shape, group) in total.shapes() {
        for (row, mark) in &group.examples {
            for cell in [
                Own::Number(group.count as f64),
                Own::text(shape),
                Own::Number(*row as f64),
            ] {
                put_cell(&mut bytes, &cell, tabs);
                bytes.push(b'\t');
            }
            put_cell(&mut bytes, &Own::text(mark), tabs);
            bytes.push(b'\n');
        }
    }
    table.write_all(&bytes).map_err(failed)?;
    table.finish().map_err(failed)
}
