//! Which character parts cells, and which quotes them.

use std::collections::BTreeMap;

use super::csv::each_record;

/// How a table is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Dialect {
    pub(crate) delimiter: u8,
    /// Absent where quotes are characters like any other.
    pub(crate) quote: Option<u8>,
}

impl Dialect {
    /// Its delimiter in words.
    pub(crate) fn name(self) -> String {
        match self.delimiter {
            b'\t' => "tabs".to_owned(),
            b',' => "commas".to_owned(),
            b';' => "semicolons".to_owned(),
            other => format!("`{}`", char::from(other)),
        }
    }
}

/// Rows of a sample that are looked at.
const ROWS: usize = 400;

/// The dialect in which a sample makes the most even table; `usual` is the delimiter of the file's ending.
pub(crate) fn sniff(sample: &[u8], whole: bool, usual: u8, given: Option<u8>) -> Dialect {
    let mut delimiters = vec![usual];
    delimiters.extend([b',', b'\t', b';', b'|'].iter().filter(|d| **d != usual));
    if let Some(given) = given {
        delimiters = vec![given];
    }
    let mut best = Dialect {
        delimiter: delimiters[0],
        quote: Some(b'"'),
    };
    let mut most = f64::NEG_INFINITY;
    for delimiter in delimiters {
        for quote in [Some(b'"'), None, Some(b'\'')] {
            // Text parted by tabs may quote nothing at all; other text is read by everybody with its double quotes.
            if quote.is_none() && delimiter != b'\t' {
                continue;
            }
            let dialect = Dialect { delimiter, quote };
            let score = evenness(sample, whole, dialect);
            // Ties go to what comes first: the usual delimiter, double quotes.
            if score > most + 1e-9 {
                (best, most) = (dialect, score);
            }
        }
    }
    best
}

/// How much a sample looks like a table in a dialect: the share of rows of the usual width, more for more columns, less for signs that the
/// quote was another one.
fn evenness(sample: &[u8], whole: bool, dialect: Dialect) -> f64 {
    let may_quote_nothing = dialect.delimiter == b'\t';
    let mut widths: BTreeMap<usize, usize> = BTreeMap::new();
    let (mut rows, mut odd, mut wrapped) = (0, 0_usize, 0_usize);
    let at = each_record(sample, whole, dialect, |record, cells, span| {
        *widths.entry(cells.len()).or_default() += 1;
        rows += 1;
        // The table ends inside a cell: where nothing need be quoted, the quote that begins it was most likely none.
        odd += 4 * usize::from(span.is_open() && may_quote_nothing);
        wrapped += wrapped_cells(record, dialect);
        rows < ROWS
    });
    if rows == 0 {
        return 0.0;
    }
    match dialect.quote {
        None => odd += wrapped,
        Some(b'\'') if wrapped * 2 < rows => return f64::NEG_INFINITY,
        Some(_) => {}
    }
    // So is one that swallows half of the sample.
    let unread = sample.len() - at;
    if may_quote_nothing && rows < ROWS && unread > sample.len() / 2 && unread > 4096 {
        odd += rows;
    }
    let (width, count) = widths
        .iter()
        .max_by_key(|(width, count)| (**count, **width))
        .map_or((1, 0), |(width, count)| (*width, *count));
    let wide = if width > 1 {
        1.0 + (width as f64).log2() / 20.0
    } else {
        0.4
    };
    (count as f64 * wide - odd as f64) / rows as f64
}

/// Cells of a record that begin with a quote, and where nothing quotes those that end with one too; as far as the delimiter tells.
fn wrapped_cells(record: &[u8], dialect: Dialect) -> usize {
    let quote = dialect.quote.unwrap_or(b'"');
    let wrapped = |cell: &&[u8]| {
        let ends = dialect.quote.is_some() || cell.last() == Some(&quote);
        cell.len() > 1 && cell.first() == Some(&quote) && ends
    };
    record
        .split(|byte| *byte == dialect.delimiter)
        .filter(wrapped)
        .count()
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::{Dialect, sniff};

    fn found(sample: &str) -> Dialect {
        sniff(sample.as_bytes(), true, b',', None)
    }

    #[test]
    fn delimiters_are_found_by_even_rows() {
        let plain = |delimiter| Dialect {
            delimiter,
            quote: Some(b'"'),
        };
        assert_eq!(found("a,b\n1,2\n"), plain(b','));
        assert_eq!(found("a;b;c\n1;2,5;3\n4;5,5;6,1\n"), plain(b';'));
        assert_eq!(found("a\tb\nx, y\tz\n"), plain(b'\t'));
        assert_eq!(found("a|b\n1|2\n3|4\n"), plain(b'|'));
        assert_eq!(
            found("only one column\n25Q128JVSQ\nSN74LVC1G08DBVR\n"),
            plain(b',')
        );
        assert_eq!(found("a,b\n\"x;y;z\",1\n\"p;q;r\",2\n"), plain(b','));
        assert_eq!(found(""), plain(b','));
    }

    #[test]
    fn quotes_that_are_inches_quote_nothing() {
        let text =
            "part\tnote\nA1\t\"long cable, 3 m\nB2\t5\" cable\nC3\t\"odd\nD4\tplain\nE5\tx\n";
        assert_eq!(found(text).quote, None);
        assert_eq!(found("a,b\n'x, y',1\n'z, w',2\n").quote, Some(b'\''));
        assert_eq!(found("a,b\n\"x, y\",1\n\"z \"\"w\",2\n").quote, Some(b'"'));
        assert_eq!(found("a,b\n3\" cable,1\n5\" cable,2\n").quote, Some(b'"'));
    }
}
