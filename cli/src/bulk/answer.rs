//! What a mark is, as cells of a table.

use etchlore_engine::model::FamilyId;
use etchlore_engine::value::Value;
use serde_json::Value as Json;

use super::want::number;
use crate::table::dialect::Dialect;

/// What became of a row.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Status {
    Decoded,
    Ambiguous,
    None,
    Empty,
}

impl Status {
    pub(crate) fn word(self) -> &'static str {
        match self {
            Status::Decoded => "decoded",
            Status::Ambiguous => "ambiguous",
            Status::None => "none",
            Status::Empty => "empty",
        }
    }
}

/// A cell of ours.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Own {
    Empty,
    Text(String),
    Number(f64),
}

impl Own {
    pub(crate) fn text(text: &str) -> Own {
        if text.is_empty() {
            Own::Empty
        } else {
            Own::Text(text.to_owned())
        }
    }

    /// As text.
    pub(crate) fn show(&self) -> String {
        match self {
            Own::Empty => String::new(),
            Own::Text(text) => text.clone(),
            Own::Number(value) => number(*value),
        }
    }
}

/// The answer to a mark: what the row says is worked out once, however often the mark stands in the table.
#[derive(Debug)]
pub(crate) struct Answer {
    pub(crate) status: Status,
    /// The first candidate.
    pub(crate) family: Option<FamilyId>,
    /// All cells of ours; none where only their text is asked for.
    pub(crate) cells: Box<[Own]>,
    /// The same as they stand in a row of text; empty for a sheet.
    pub(crate) text: Box<[u8]>,
    /// What is to be said of the mark.
    pub(crate) note: Option<Box<str>>,
    /// What the columns beside the mark are held against; only where there are any.
    pub(crate) facts: Option<Box<Facts>>,
    /// All candidates as rows of the second table, without the row's number; only where asked for.
    pub(crate) candidates: Box<[Box<[u8]>]>,
}

impl Answer {
    pub(crate) fn with(self, facts: Option<Box<Facts>>) -> Answer {
        Answer { facts, ..self }
    }
}

/// What a number says that other columns may say too.
#[derive(Debug)]
pub(crate) struct Facts {
    pub(crate) family: FamilyId,
    pub(crate) values: Vec<(String, Value)>,
}

/// How cells of ours are written into a row.
#[derive(Debug, Clone)]
pub(crate) enum Writing {
    /// Delimited text.
    Text(Dialect),
    /// Members of an object, by these keys.
    Json(Vec<String>),
    /// Cells of a sheet, written later.
    Sheet,
}

impl Writing {
    /// Cells of ours as they stand behind a row.
    pub(crate) fn row(&self, cells: &[Own]) -> Vec<u8> {
        let mut row = Vec::new();
        match self {
            Writing::Text(dialect) => {
                for cell in cells {
                    row.push(dialect.delimiter);
                    put_cell(&mut row, cell, *dialect);
                }
            }
            Writing::Json(keys) => {
                for (key, cell) in keys.iter().zip(cells) {
                    row.push(b',');
                    put_json(&mut row, &Json::from(key.as_str()));
                    row.push(b':');
                    let value = match cell {
                        Own::Empty => Json::Null,
                        Own::Text(text) => Json::from(text.as_str()),
                        Own::Number(number) => json_number(*number),
                    };
                    put_json(&mut row, &value);
                }
            }
            Writing::Sheet => {}
        }
        row
    }
}

/// A number as JSON, whole ones without a point.
pub(crate) fn json_number(number: f64) -> Json {
    if number.fract() == 0.0 && number.abs() < 9e15 {
        Json::from(number as i64)
    } else {
        Json::from(number)
    }
}

/// Writes a JSON value.
pub(crate) fn put_json(row: &mut Vec<u8>, value: &Json) {
    // Writing to memory fails for no value.
    let _ = serde_json::to_writer(row, value);
}

/// Writes a cell of ours.
pub(crate) fn put_cell(row: &mut Vec<u8>, cell: &Own, dialect: Dialect) {
    match cell {
        Own::Empty => {}
        Own::Number(value) => row.extend_from_slice(number(*value).as_bytes()),
        // What a spreadsheet shows as text: the sign that says so is the spreadsheet's own.
        Own::Text(text) if is_formula(text) => put_text(row, &format!("'{text}"), dialect),
        Own::Text(text) => put_text(row, text, dialect),
    }
}

/// Writes a text as a cell, quoted where it must be.
pub(crate) fn put_text(row: &mut Vec<u8>, text: &str, dialect: Dialect) {
    let special = |byte: &u8| {
        *byte == dialect.delimiter || matches!(byte, b'\n' | b'\r') || Some(*byte) == dialect.quote
    };
    if !text.bytes().any(|byte| special(&byte)) {
        row.extend_from_slice(text.as_bytes());
        return;
    }
    let Some(quote) = dialect.quote else {
        // Where nothing quotes, a cell cannot hold what parts cells.
        row.extend(text.bytes().map(|b| if special(&b) { b' ' } else { b }));
        return;
    };
    row.push(quote);
    for byte in text.bytes() {
        if byte == quote {
            row.push(quote);
        }
        row.push(byte);
    }
    row.push(quote);
}

/// Whether a spreadsheet would run a text instead of showing it. Numbers and ranges of numbers begin with signs too, and are none.
pub(crate) fn is_formula(text: &str) -> bool {
    match text.as_bytes().first() {
        Some(b'=' | b'@' | b'\t' | b'\r' | b'\n') => true,
        Some(b'+' | b'-') => !text
            .bytes()
            .all(|byte| byte.is_ascii_digit() || matches!(byte, b'+' | b'-' | b'.' | b'e')),
        _ => false,
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::{Own, put_cell};
    use crate::table::dialect::Dialect;

    fn written(text: &str, quote: Option<u8>) -> String {
        let dialect = Dialect {
            delimiter: b';',
            quote,
        };
        let mut row = Vec::new();
        put_cell(&mut row, &Own::text(text), dialect);
        String::from_utf8(row).unwrap()
    }

    #[test]
    fn no_cell_of_ours_runs() {
        for (text, safe) in [
            ("=1+1", "'=1+1"),
            ("@SUM(A1)", "'@SUM(A1)"),
            ("+cmd|' /C calc'!A0", "'+cmd|' /C calc'!A0"),
            ("-2+3+cmd", "'-2+3+cmd"),
            ("\tx", "'\tx"),
            ("\r=1", "\"'\r=1\""),
            ("-40..85", "-40..85"),
            ("-5", "-5"),
            ("a=1", "a=1"),
        ] {
            assert_eq!(written(text, Some(b'"')), safe);
        }
    }

    #[test]
    fn cells_are_quoted_where_they_must() {
        assert_eq!(written("a;b", Some(b'"')), "\"a;b\"");
        assert_eq!(written("a\"b", Some(b'"')), "\"a\"\"b\"");
        assert_eq!(written("a,b", Some(b'"')), "a,b");
        assert_eq!(written("a;b\nc", None), "a b c");
    }
}
