//! The files that a run writes.

use std::io::Write;
use std::path::Path;

use super::answer::{Own, Writing, put_text};
use super::work::Done;
use crate::args::BulkArgs;
use crate::failure::Failure;
use crate::table::Cell;
use crate::table::dialect::Dialect;
use crate::table::open::Form;
use crate::table::sheet::SheetWriter;
use crate::table::whole::Whole;

/// How the table is to be written.
pub(crate) fn form(args: &BulkArgs, lines: bool, input: Form) -> Form {
    let ending = args.out.as_deref().filter(|path| *path != Path::new("-"));
    match ending.map(|path| (Form::of_ending(path), path)) {
        Some((Some(form), _)) => form,
        _ if lines => Form::Lines,
        Some((None, _)) if input == Form::Sheet => Form::Text(b','),
        None if input == Form::Sheet => Form::Text(b','),
        _ => input,
    }
}

/// How its text is parted: as the input, unless the ending asks for something else.
pub(crate) fn dialect(args: &BulkArgs, input: Form, own: Dialect, output: Form) -> Dialect {
    let Form::Text(usual) = output else {
        return own;
    };
    let Form::Text(_) = input else {
        return Dialect {
            delimiter: usual,
            quote: Some(b'"'),
        };
    };
    let ending = |path: &Path| Form::of_ending(path);
    let asked = args.out.as_deref().and_then(ending);
    let same = asked.is_none() || asked == ending(&args.input);
    let fits = (usual == b'\t') == (own.delimiter == b'\t');
    if same || fits {
        own
    } else {
        Dialect {
            delimiter: usual,
            quote: Some(b'"'),
        }
    }
}

/// The table in the making.
enum Table {
    Bytes(Whole),
    Sheet(Box<SheetWriter>, Whole),
}

/// All files of a run.
pub(crate) struct Outputs<'a> {
    args: &'a BulkArgs,
    table: Table,
    candidates: Option<Whole>,
    claims: Option<Whole>,
}

impl<'a> Outputs<'a> {
    pub(crate) fn create(args: &'a BulkArgs, form: Form) -> Result<Outputs<'a>, Failure> {
        let create = |path: &Path| Whole::create(path).map_err(|error| unwritable(path, &error));
        let table = match args.out.as_deref() {
            None => Whole::stdout()?,
            Some(path) if path == Path::new("-") => Whole::stdout()?,
            Some(path) => create(path)?,
        };
        let side = |path: &Option<std::path::PathBuf>| path.as_deref().map(create).transpose();
        Ok(Outputs {
            args,
            table: match form {
                Form::Sheet => {
                    let sheet = SheetWriter::new().map_err(|error| full(args, &error))?;
                    Table::Sheet(Box::new(sheet), table)
                }
                _ => Table::Bytes(table),
            },
            candidates: side(&args.candidates)?,
            claims: side(&args.claims)?,
        })
    }

    /// Whether what is written can still be taken back.
    pub(crate) fn to_stream(&self) -> bool {
        self.args
            .out
            .as_deref()
            .is_none_or(|path| path == Path::new("-"))
    }

    /// Writes the names of the second tables' columns.
    pub(crate) fn heads(&mut self, names: &[String]) -> Result<(), Failure> {
        if let Some(table) = &mut self.candidates {
            let names: Vec<&str> = names[1..]
                .iter()
                .map(|name| name.trim_start_matches("etch_"))
                .collect();
            let head = format!("row,rank,{}\n", names.join(","));
            table
                .write_all(head.as_bytes())
                .map_err(|error| self.failed_side(&error))?;
        }
        if let Some(table) = &mut self.claims {
            table
                .write_all(b"row,column,mark,says,number_says\n")
                .map_err(|error| self.failed_side(&error))?;
        }
        Ok(())
    }

    /// Writes the bytes of a header that stays as it is.
    pub(crate) fn bytes(&mut self, bytes: &[u8]) -> Result<(), Failure> {
        match &mut self.table {
            Table::Bytes(table) => table
                .write_all(bytes)
                .map_err(|error| failed(self.args, error)),
            Table::Sheet(..) => Ok(()),
        }
    }

    /// Writes a header of names.
    pub(crate) fn names(&mut self, names: &[String], writing: &Writing) -> Result<(), Failure> {
        match (&mut self.table, writing) {
            (Table::Sheet(sheet, _), _) => {
                let cells: Vec<Cell> = names.iter().cloned().map(Cell::Text).collect();
                sheet.row(&cells).map_err(|error| full(self.args, &error))
            }
            (Table::Bytes(table), Writing::Text(dialect)) => {
                let mut line = Vec::new();
                for (at, name) in names.iter().enumerate() {
                    if at > 0 {
                        line.push(dialect.delimiter);
                    }
                    put_text(&mut line, name, *dialect);
                }
                line.push(b'\n');
                table
                    .write_all(&line)
                    .map_err(|error| failed(self.args, error))
            }
            (Table::Bytes(_), _) => Ok(()),
        }
    }

    /// Writes what became of a batch.
    pub(crate) fn write(&mut self, done: &Done) -> Result<(), Failure> {
        match &mut self.table {
            Table::Bytes(table) => table
                .write_all(&done.bytes)
                .map_err(|error| failed(self.args, error))?,
            Table::Sheet(sheet, _) => {
                for row in &done.rows {
                    sheet.row(row).map_err(|error| full(self.args, &error))?;
                }
            }
        }
        for (table, bytes) in [
            (&mut self.candidates, &done.candidates),
            (&mut self.claims, &done.claims),
        ] {
            if let Some(table) = table {
                table
                    .write_all(bytes)
                    .map_err(|error| Failure::from_write("a second table", &error))?;
            }
        }
        Ok(())
    }

    fn failed_side(&self, error: &std::io::Error) -> Failure {
        Failure::from_write("a second table", error)
    }

    /// Puts every file in its place, the table last: where it is new, all are.
    pub(crate) fn finish(self) -> Result<(), Failure> {
        for table in [self.candidates, self.claims].into_iter().flatten() {
            table
                .finish()
                .map_err(|error| Failure::from_write("a second table", &error))?;
        }
        let args = self.args;
        let whole = match self.table {
            Table::Bytes(whole) => whole,
            Table::Sheet(sheet, mut whole) => {
                let bytes = sheet.finish().map_err(|error| full(args, &error))?;
                whole
                    .write_all(&bytes)
                    .map_err(|error| failed(args, error))?;
                whole
            }
        };
        whole.finish().map_err(|error| failed(args, error))
    }
}

fn failed(args: &BulkArgs, error: std::io::Error) -> Failure {
    match &args.out {
        Some(path) if path != Path::new("-") => unwritable(path, &error),
        _ => Failure::from(error),
    }
}

fn full(args: &BulkArgs, error: &str) -> Failure {
    let name = args.out.as_deref().unwrap_or(Path::new("-"));
    Failure::Unreadable(
        format!("{} cannot hold the table: {error}", name.display()),
        "text has no such limits: -o with a name that ends in .csv, .tsv or .jsonl".to_owned(),
    )
}

pub(crate) fn unwritable(path: &Path, error: &std::io::Error) -> Failure {
    Failure::from_write(&path.display().to_string(), error)
}

/// Cells of a row, and ours behind it, as cells of a sheet.
pub(crate) fn sheet_row(mut cells: Vec<Cell>, own: &[Own]) -> Vec<Cell> {
    cells.extend(own.iter().map(|own| match own {
        Own::Empty => Cell::Empty,
        Own::Text(text) => Cell::Text(text.clone()),
        Own::Number(number) => Cell::Number(*number),
    }));
    cells
}
