//! Spreadsheets. The whole sheet is in memory when read; written rows are not.

use std::io::{Cursor, Read};

use calamine::{Data, Reader, Xlsx};
use rust_xlsxwriter::{Format, Workbook, XlsxError};

use super::Cell;

/// The most rows that a sheet has.
pub(crate) const MAX_ROWS: u64 = 1_048_576;
/// The most columns.
const MAX_COLUMNS: usize = 16_384;
/// The most characters of a cell.
const MAX_TEXT: usize = 32_767;

/// The first sheet of a workbook that holds something, its name, and how many others hold something too.
pub(crate) fn read(
    mut input: Box<dyn Read + Send>,
) -> Result<(String, Vec<Vec<Cell>>, usize), String> {
    let mut bytes = Vec::new();
    input
        .read_to_end(&mut bytes)
        .map_err(|error| error.to_string())?;
    let mut book: Xlsx<_> =
        Xlsx::new(Cursor::new(bytes)).map_err(|error| format!("it is no workbook: {error}"))?;
    let names = book.sheet_names();
    let mut found = None;
    let mut others = 0;
    for name in names {
        let range = book
            .worksheet_range(&name)
            .map_err(|error| format!("sheet `{name}`: {error}"))?;
        if range.is_empty() {
            continue;
        }
        if found.is_some() {
            others += 1;
            continue;
        }
        // The range begins at its first cell; the sheet may begin before.
        let (top, left) = range.start().unwrap_or((0, 0));
        let mut rows: Vec<Vec<Cell>> = vec![Vec::new(); top as usize];
        for row in range.rows() {
            let mut cells = vec![Cell::Empty; left as usize];
            cells.extend(row.iter().map(cell));
            while cells.last() == Some(&Cell::Empty) {
                cells.pop();
            }
            rows.push(cells);
        }
        found = Some((name, rows));
    }
    let (name, rows) = found.unwrap_or_default();
    Ok((name, rows, others))
}

fn cell(data: &Data) -> Cell {
    match data {
        Data::Empty => Cell::Empty,
        Data::String(text) => Cell::Text(text.clone()),
        Data::Int(number) => Cell::Number(*number as f64),
        Data::Float(number) => Cell::Number(*number),
        Data::Bool(bool) => Cell::Bool(*bool),
        Data::DateTime(time) => {
            let (year, month, day, hour, minute, second, _) = time.to_ymd_hms_milli();
            let date = format!("{year:04}-{month:02}-{day:02}");
            let serial = time.as_f64();
            if serial.fract() == 0.0 {
                Cell::Date(serial, false, date)
            } else {
                Cell::Date(
                    serial,
                    true,
                    format!("{date} {hour:02}:{minute:02}:{second:02}"),
                )
            }
        }
        Data::DateTimeIso(text) | Data::DurationIso(text) => Cell::Text(text.clone()),
        Data::Error(error) => Cell::Text(error.to_string()),
    }
}

/// A sheet that is being written.
pub(crate) struct SheetWriter {
    book: Workbook,
    date: Format,
    time: Format,
    row: u32,
}

impl SheetWriter {
    pub(crate) fn new() -> Result<SheetWriter, String> {
        let mut book = Workbook::new();
        book.add_worksheet_with_constant_memory()
            .map_err(|error| error.to_string())?;
        Ok(SheetWriter {
            book,
            date: Format::new().set_num_format("yyyy-mm-dd"),
            time: Format::new().set_num_format("yyyy-mm-dd hh:mm:ss"),
            row: 0,
        })
    }

    /// Writes a row. Text is written as text: no cell is taken for a formula.
    pub(crate) fn row(&mut self, cells: &[Cell]) -> Result<(), String> {
        let number = u64::from(self.row) + 1;
        if number > MAX_ROWS {
            return Err(format!(
                "a sheet has at most {MAX_ROWS} rows: write csv instead"
            ));
        }
        if cells.len() > MAX_COLUMNS {
            return Err(format!(
                "a sheet has at most {MAX_COLUMNS} columns, and row {number} has {}: write csv instead",
                cells.len()
            ));
        }
        let failed = |error: XlsxError| error.to_string();
        let sheet = self.book.worksheet_from_index(0).map_err(failed)?;
        for (at, cell) in cells.iter().enumerate() {
            let column = at as u16;
            match cell {
                Cell::Empty => {}
                Cell::Text(text) if text.is_empty() => {}
                Cell::Text(text) => {
                    let length = text.chars().count();
                    if length > MAX_TEXT {
                        return Err(format!(
                            "a cell of a sheet holds {MAX_TEXT} characters, and row {number}, column {} has {length}: write csv instead",
                            at + 1
                        ));
                    }
                    sheet.write_string(self.row, column, text).map_err(failed)?;
                }
                Cell::Number(value) if value.is_finite() => {
                    sheet
                        .write_number(self.row, column, *value)
                        .map_err(failed)?;
                }
                Cell::Number(value) => {
                    sheet
                        .write_string(self.row, column, value.to_string())
                        .map_err(failed)?;
                }
                Cell::Bool(value) => {
                    sheet
                        .write_boolean(self.row, column, *value)
                        .map_err(failed)?;
                }
                Cell::Date(serial, with_time, _) => {
                    let format = if *with_time { &self.time } else { &self.date };
                    sheet
                        .write_number_with_format(self.row, column, *serial, format)
                        .map_err(failed)?;
                }
            }
        }
        self.row += 1;
        Ok(())
    }

    /// The workbook as a file's bytes.
    pub(crate) fn finish(mut self) -> Result<Vec<u8>, String> {
        self.book
            .save_to_buffer()
            .map_err(|error| error.to_string())
    }
}
