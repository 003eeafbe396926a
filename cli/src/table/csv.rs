//! Records of a text table, found and copied as they came.
//!
//! Most records hold no quote, and then lines are records and delimiters part cells: those are found by `memchr` alone. A record with a
//! quote goes through `csv-core`. A test holds the two to one answer.

use std::io;

use csv_core::{ReadFieldResult, ReadRecordResult, Reader, ReaderBuilder};
use memchr::{memchr, memchr_iter, memchr2, memchr3};

use super::dialect::Dialect;
use super::text::TextInput;
use super::{BATCH, Batch, MAX_CELL, MAX_RECORD};

/// What a record needs to be taken apart.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Kind {
    /// An empty line; copied, and no row.
    Blank,
    /// Without a quote.
    Plain,
    /// With quotes.
    Quoted,
    /// The table ends inside its quotes.
    Open,
}

/// A record in a buffer.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Span {
    pub(crate) start: u32,
    /// Behind its last byte, without what ends the line.
    pub(crate) end: u32,
    /// Where the next begins.
    pub(crate) next: u32,
    pub(crate) kind: Kind,
}

impl Span {
    pub(crate) fn is_blank(self) -> bool {
        self.kind == Kind::Blank
    }

    pub(crate) fn is_open(self) -> bool {
        self.kind == Kind::Open
    }
}

/// Records that travel together.
#[derive(Debug, Default)]
pub(crate) struct Records {
    pub(crate) bytes: Vec<u8>,
    pub(crate) spans: Vec<Span>,
}

/// The end of a record that was too long to be held.
#[derive(Debug)]
pub(crate) struct Tail {
    /// Its cells as far as asked for, by column: absent where longer than can be read.
    pub(crate) cells: Vec<(usize, Option<String>)>,
    pub(crate) width: usize,
    /// The bytes that end its line.
    pub(crate) terminator: Vec<u8>,
    /// Its length.
    pub(crate) bytes: u64,
    pub(crate) open: bool,
}

/// What a walk finds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Found {
    Record(Span),
    /// The record goes on behind the buffer.
    Incomplete,
    /// Nothing is left.
    End,
}

/// Walks from record to record.
pub(crate) struct Walker {
    core: Reader,
    delimiter: u8,
    quote: Option<u8>,
    /// The next quote at or behind the place last walked to; behind the buffer where there is none.
    quote_at: Option<usize>,
}

pub(crate) fn core(dialect: Dialect) -> Reader {
    ReaderBuilder::new()
        .delimiter(dialect.delimiter)
        .quote(dialect.quote.unwrap_or(b'"'))
        .quoting(dialect.quote.is_some())
        .build()
}

impl Walker {
    pub(crate) fn new(dialect: Dialect) -> Walker {
        Walker {
            core: core(dialect),
            delimiter: dialect.delimiter,
            quote: dialect.quote,
            quote_at: None,
        }
    }

    /// Forgets the buffer.
    pub(crate) fn rewind(&mut self) {
        self.quote_at = None;
    }

    /// The record that begins at `at`; `whole` says that nothing follows the buffer. Places must not go back within one buffer.
    pub(crate) fn next(&mut self, text: &[u8], at: usize, whole: bool) -> Found {
        if at >= text.len() {
            return if whole { Found::End } else { Found::Incomplete };
        }
        let quote_at = match (self.quote_at, self.quote) {
            (Some(known), _) if known >= at => known,
            (_, Some(quote)) => memchr(quote, &text[at..]).map_or(usize::MAX, |found| at + found),
            (_, None) => usize::MAX,
        };
        self.quote_at = Some(quote_at);
        let line = memchr2(b'\n', b'\r', &text[at..]).map_or(text.len(), |found| at + found);
        if quote_at < line {
            return self.quoted(text, at, whole);
        }
        let Some(next) = behind(text, line, whole) else {
            return Found::Incomplete;
        };
        let kind = if line == at { Kind::Blank } else { Kind::Plain };
        Found::Record(span(at, line, next, kind))
    }

    fn quoted(&mut self, text: &[u8], at: usize, whole: bool) -> Found {
        if let Some(line) = self
            .quote
            .and_then(|quote| even(text, at, self.delimiter, quote))
            && let Some(next) = behind(text, line, whole)
        {
            return Found::Record(span(at, line, next, Kind::Quoted));
        }
        let (mut output, mut ends) = ([0; 1024], [0; 64]);
        self.core.reset();
        let mut read = at;
        loop {
            let (result, consumed, _, _) =
                self.core.read_record(&text[read..], &mut output, &mut ends);
            read += consumed;
            match result {
                ReadRecordResult::OutputFull | ReadRecordResult::OutputEndsFull => {}
                ReadRecordResult::Record => {
                    let line = read - 1;
                    return match behind(text, line, whole) {
                        Some(next) => Found::Record(span(at, line, next, Kind::Quoted)),
                        None => Found::Incomplete,
                    };
                }
                ReadRecordResult::InputEmpty | ReadRecordResult::End if !whole => {
                    return Found::Incomplete;
                }
                ReadRecordResult::InputEmpty | ReadRecordResult::End => {
                    let kind = if in_quotes(&mut self.core) {
                        Kind::Open
                    } else {
                        Kind::Quoted
                    };
                    return Found::Record(span(at, text.len(), text.len(), kind));
                }
            }
        }
    }
}

/// Where the line of a record ends whose quotes all stand as they should: around whole cells, doubled within. Others are for `csv-core`.
fn even(text: &[u8], at: usize, delimiter: u8, quote: u8) -> Option<usize> {
    let mut from = at;
    loop {
        let found = from + memchr3(b'\n', b'\r', quote, &text[from..])?;
        if text[found] != quote {
            return Some(found);
        }
        if found > at && text[found - 1] != delimiter {
            return None;
        }
        let mut inside = found + 1;
        let close = loop {
            let close = inside + memchr(quote, &text[inside..])?;
            if text.get(close + 1) != Some(&quote) {
                break close;
            }
            inside = close + 2;
        };
        match text.get(close + 1) {
            Some(byte) if *byte == delimiter || matches!(byte, b'\n' | b'\r') => from = close + 1,
            _ => return None,
        }
    }
}

/// Whether a line's end is a character of the cell: then the record stands within quotes. The record is over after that.
fn in_quotes(core: &mut Reader) -> bool {
    let (mut output, mut ends) = ([0; 8], [0; 8]);
    let (result, ..) = core.read_record(b"\n", &mut output, &mut ends);
    !matches!(result, ReadRecordResult::Record | ReadRecordResult::End)
}

/// Behind the bytes that end a line at `line`: `\n`, `\r\n` or `\r`; unknown where the buffer ends between the two.
fn behind(text: &[u8], line: usize, whole: bool) -> Option<usize> {
    match (text.get(line), text.get(line + 1)) {
        (Some(b'\r'), Some(b'\n')) => Some(line + 2),
        (Some(b'\r'), None) if !whole => None,
        (Some(_), _) => Some(line + 1),
        (None, _) => whole.then_some(line),
    }
}

fn span(start: usize, end: usize, next: usize, kind: Kind) -> Span {
    // Buffers are far smaller than 4 GB.
    let short = |at: usize| u32::try_from(at).unwrap_or(u32::MAX);
    Span {
        start: short(start),
        end: short(end),
        next: short(next),
        kind,
    }
}

/// The cells of one record.
pub(crate) struct Cells {
    core: Reader,
    delimiter: u8,
    /// Unescaped text of a record with quotes.
    text: Vec<u8>,
    /// Where each cell ends: in `text` or, without quotes, in the record.
    ends: Vec<usize>,
    plain: bool,
}

impl Cells {
    pub(crate) fn new(dialect: Dialect) -> Cells {
        Cells {
            core: core(dialect),
            delimiter: dialect.delimiter,
            text: Vec::new(),
            ends: Vec::new(),
            plain: true,
        }
    }

    /// Takes a record apart.
    pub(crate) fn split(&mut self, record: &[u8], kind: Kind) {
        self.ends.clear();
        self.plain = kind == Kind::Plain;
        match kind {
            Kind::Blank => {}
            Kind::Plain => {
                self.ends.extend(memchr_iter(self.delimiter, record));
                self.ends.push(record.len());
            }
            Kind::Quoted | Kind::Open => self.unquote(record),
        }
    }

    fn unquote(&mut self, record: &[u8]) {
        self.core.reset();
        // Unescaping makes nothing longer.
        self.text.resize(record.len() + 1, 0);
        self.ends.resize(record.len() + 2, 0);
        let (_, _, written, cells) = self
            .core
            .read_record(record, &mut self.text, &mut self.ends);
        // Told that nothing follows, it ends the record.
        let (_, _, more, last) =
            self.core
                .read_record(&[], &mut self.text[written..], &mut self.ends[cells..]);
        self.text.truncate(written + more);
        self.ends.truncate(cells + last);
    }

    pub(crate) fn len(&self) -> usize {
        self.ends.len()
    }

    /// A cell of the record last taken apart; empty where it has none.
    pub(crate) fn get<'c>(&'c self, record: &'c [u8], cell: usize) -> &'c [u8] {
        let Some(end) = self.ends.get(cell).copied() else {
            return &[];
        };
        let before = cell.checked_sub(1).map(|before| self.ends[before]);
        if self.plain {
            &record[before.map_or(0, |end| end + 1)..end]
        } else {
            &self.text[before.unwrap_or(0)..end]
        }
    }

    /// A cell as text.
    pub(crate) fn text<'c>(&'c self, record: &'c [u8], cell: usize) -> &'c str {
        // All text is UTF-8 by now, and a delimiter is ASCII.
        std::str::from_utf8(self.get(record, cell)).unwrap_or("")
    }
}

/// Records of a stream, in batches.
pub(crate) struct CsvRows {
    input: TextInput,
    dialect: Dialect,
    walker: Walker,
    /// Text read and not yet given.
    buffer: Vec<u8>,
    /// Columns whose cells are wanted of a record that streams through.
    wanted: Vec<usize>,
    long: Option<Long>,
    tail: Option<Tail>,
}

/// A record that streams through.
struct Long {
    core: Reader,
    column: usize,
    cell: Vec<u8>,
    cut: bool,
    cells: Vec<(usize, Option<String>)>,
    bytes: u64,
}

impl CsvRows {
    /// Rows of an input of which `sample` has been read already.
    pub(crate) fn new(input: TextInput, sample: Vec<u8>, dialect: Dialect) -> CsvRows {
        CsvRows {
            input,
            dialect,
            walker: Walker::new(dialect),
            buffer: sample,
            wanted: Vec::new(),
            long: None,
            tail: None,
        }
    }

    /// Which cells are wanted of records that stream through.
    pub(crate) fn want(&mut self, columns: Vec<usize>) {
        self.wanted = columns;
    }

    pub(crate) fn repaired(&self) -> bool {
        self.input.repaired()
    }

    /// Takes the first record that is no empty line, with the empty lines before it, out of the stream.
    pub(crate) fn first(&mut self) -> io::Result<Option<(Vec<u8>, Span)>> {
        let mut at = 0;
        loop {
            match self.walker.next(&self.buffer, at, self.input.ended()) {
                Found::Record(span) if span.is_blank() => at = span.next as usize,
                Found::Record(span) => {
                    let rest = self.buffer.split_off(span.next as usize);
                    self.walker.rewind();
                    return Ok(Some((std::mem::replace(&mut self.buffer, rest), span)));
                }
                Found::End => return Ok(None),
                Found::Incomplete if self.buffer.len() - at > MAX_RECORD => return Ok(None),
                Found::Incomplete => {
                    self.walker.rewind();
                    self.input.fill(&mut self.buffer, BATCH)?;
                }
            }
        }
    }

    /// Bytes of text read and not yet given.
    pub(crate) fn held(&self) -> usize {
        self.buffer.len()
    }

    /// The next batch, built in `spare`'s memory.
    pub(crate) fn next(&mut self, mut spare: Vec<u8>) -> io::Result<Option<Batch>> {
        if let Some(tail) = self.tail.take() {
            return Ok(Some(Batch::Tail(tail)));
        }
        if let Some(long) = self.long.take() {
            return self.go_on(long).map(Some);
        }
        loop {
            if self.buffer.len() < BATCH && !self.input.ended() {
                let wanted = BATCH - self.buffer.len();
                self.input.fill(&mut self.buffer, wanted)?;
            }
            let whole = self.input.ended();
            let mut spans = Vec::with_capacity(BATCH / 64);
            let mut at = 0;
            self.walker.rewind();
            let stop = loop {
                if at >= 2 * BATCH {
                    break Found::End;
                }
                match self.walker.next(&self.buffer, at, whole) {
                    Found::Record(span) => {
                        at = span.next as usize;
                        spans.push(span);
                    }
                    other => break other,
                }
            };
            if !spans.is_empty() {
                spare.clear();
                spare.extend_from_slice(&self.buffer[at..]);
                let bytes = std::mem::replace(&mut self.buffer, spare);
                let mut records = Records { bytes, spans };
                records.bytes.truncate(at);
                return Ok(Some(Batch::Records(records)));
            }
            if stop == Found::End {
                return Ok(None);
            }
            if self.buffer.len() >= MAX_RECORD {
                let long = Long {
                    core: core(self.dialect),
                    column: 0,
                    cell: Vec::new(),
                    cut: false,
                    cells: Vec::new(),
                    bytes: 0,
                };
                return self.go_on(long).map(Some);
            }
            let more = self.buffer.len().max(BATCH);
            self.input.fill(&mut self.buffer, more)?;
        }
    }

    /// Goes on with a record that streams through: a piece of it, or its end.
    fn go_on(&mut self, mut long: Long) -> io::Result<Batch> {
        if self.buffer.is_empty() {
            self.input.fill(&mut self.buffer, BATCH)?;
        }
        let mut at = 0;
        let mut output = [0; 4096];
        loop {
            if at == self.buffer.len() && !self.input.ended() {
                let piece = std::mem::take(&mut self.buffer);
                long.bytes += piece.len() as u64;
                self.long = Some(long);
                return Ok(Batch::Piece(piece));
            }
            if at == self.buffer.len() {
                let open = in_quotes(&mut long.core);
                self.keep(&mut long);
                return self.end(long, at, true, open);
            }
            let (result, read, written) = long.core.read_field(&self.buffer[at..], &mut output);
            at += read;
            if long.cell.len() + written > MAX_CELL {
                long.cut = true;
            } else {
                long.cell.extend_from_slice(&output[..written]);
            }
            let last = match result {
                ReadFieldResult::InputEmpty | ReadFieldResult::OutputFull => continue,
                ReadFieldResult::Field { record_end } => record_end,
                ReadFieldResult::End => true,
            };
            self.keep(&mut long);
            if last {
                return self.end(long, at, false, false);
            }
        }
    }

    /// Keeps a cell of a record that streams through, if it is wanted.
    fn keep(&self, long: &mut Long) {
        if self.wanted.contains(&long.column) {
            let text = (!long.cut).then(|| String::from_utf8_lossy(&long.cell).into_owned());
            long.cells.push((long.column, text));
        }
        long.cell.clear();
        long.cut = false;
        long.column += 1;
    }

    fn end(&mut self, long: Long, at: usize, over: bool, open: bool) -> io::Result<Batch> {
        let mut line = if over { at } else { at - 1 };
        // The two bytes that end a line may lie apart.
        if self.buffer.len() < line + 2 {
            self.input.fill(&mut self.buffer, 2)?;
        }
        let next = behind(&self.buffer, line, true).unwrap_or(line);
        if over {
            line = self.buffer.len();
        }
        let rest = self.buffer.split_off(next.max(line.min(self.buffer.len())));
        let mut piece = std::mem::replace(&mut self.buffer, rest);
        let terminator = piece.split_off(line.min(piece.len()));
        let tail = Tail {
            cells: long.cells,
            width: long.column,
            terminator,
            bytes: long.bytes + piece.len() as u64,
            open,
        };
        // The last piece goes first; the tail waits for the next call.
        self.tail = Some(tail);
        Ok(Batch::Piece(piece))
    }
}

/// Takes apart the records of a text in memory, empty lines left out, as long as `take` wants more; gives where it ended.
pub(crate) fn each_record(
    text: &[u8],
    whole: bool,
    dialect: Dialect,
    mut take: impl FnMut(&[u8], &Cells, Span) -> bool,
) -> usize {
    let mut walker = Walker::new(dialect);
    let mut cells = Cells::new(dialect);
    let mut at = 0;
    while let Found::Record(span) = walker.next(text, at, whole) {
        at = span.next as usize;
        if span.is_blank() {
            continue;
        }
        let record = &text[span.start as usize..span.end as usize];
        let record = record.strip_prefix(b"\xef\xbb\xbf").unwrap_or(record);
        cells.split(record, span.kind);
        if !take(record, &cells, span) {
            break;
        }
    }
    at
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::{Batch, Cells, CsvRows, Found, Walker};
    use crate::table::dialect::Dialect;
    use crate::table::text::TextInput;
    use csv_core::{ReadRecordResult, Reader};

    const COMMAS: Dialect = Dialect {
        delimiter: b',',
        quote: Some(b'"'),
    };

    /// The cells of all records, by `csv-core` alone.
    fn reference(text: &[u8]) -> Vec<Vec<Vec<u8>>> {
        let mut core = Reader::new();
        let (mut at, mut all) = (0, Vec::new());
        let (mut output, mut ends) = (vec![0; text.len() + 1], vec![0; text.len() + 2]);
        let (mut wrote, mut cells) = (0, 0);
        loop {
            let (result, read, written, ended) =
                core.read_record(&text[at..], &mut output[wrote..], &mut ends[cells..]);
            at += read;
            wrote += written;
            cells += ended;
            match result {
                ReadRecordResult::Record => {
                    let mut from = 0;
                    let record = ends[..cells]
                        .iter()
                        .map(|end| output[std::mem::replace(&mut from, *end)..*end].to_vec())
                        .collect();
                    all.push(record);
                    (wrote, cells) = (0, 0);
                }
                ReadRecordResult::End => return all,
                _ => {}
            }
        }
    }

    fn walked(text: &[u8]) -> Vec<Vec<Vec<u8>>> {
        let (mut walker, mut cells) = (Walker::new(COMMAS), Cells::new(COMMAS));
        let (mut at, mut all) = (0, Vec::new());
        while let Found::Record(span) = walker.next(text, at, true) {
            assert_eq!(span.start as usize, at, "nothing is passed over");
            at = span.next as usize;
            if !span.is_blank() {
                let record = &text[span.start as usize..span.end as usize];
                cells.split(record, span.kind);
                all.push(
                    (0..cells.len())
                        .map(|cell| cells.get(record, cell).to_vec())
                        .collect(),
                );
            }
        }
        assert_eq!(at, text.len());
        all
    }

    /// Any text of the characters that matter.
    fn random(random: &mut fastrand::Rng) -> Vec<u8> {
        let length = random.usize(..40);
        (0..length)
            .map(|_| *random.choice(b"ab,,\"\"\n\n\r\0 ;").unwrap())
            .collect()
    }

    #[test]
    fn records_are_those_of_csv_core() {
        let mut source = fastrand::Rng::with_seed(5);
        for _ in 0..200_000 {
            let text = random(&mut source);
            assert_eq!(
                walked(&text),
                reference(&text),
                "{:?}",
                String::from_utf8_lossy(&text)
            );
        }
    }

    #[test]
    fn batches_give_every_byte() {
        let mut source = fastrand::Rng::with_seed(7);
        for round in 0..40 {
            let mut text: Vec<u8> = (0..source.usize(1..40_000))
                .flat_map(|_| random(&mut source))
                .collect();
            if round % 2 == 0 {
                // A cell far longer than what is held of a record, among others.
                let long = vec![b'x'; source.usize(1_000_000..3_000_000)];
                text.splice(
                    0..0,
                    [b"a,b\n1,\"".as_slice(), &long, b"\",2\r\n3,4\n"].concat(),
                );
            }
            let input = Box::new(std::io::Cursor::new(text.clone()));
            let (input, _) = TextInput::new(input).unwrap();
            let mut rows = CsvRows::new(input, Vec::new(), COMMAS);
            rows.want(vec![0, 2]);
            let (mut all, mut count) = (Vec::new(), 0);
            while let Some(batch) = rows.next(Vec::new()).unwrap() {
                match batch {
                    Batch::Records(records) => {
                        count += records.spans.iter().filter(|s| !s.is_blank()).count();
                        all.extend(records.bytes);
                    }
                    Batch::Piece(piece) => {
                        assert!(piece.len() < 4 << 20);
                        all.extend(piece);
                    }
                    Batch::Tail(tail) => {
                        if count == 1 {
                            assert_eq!(tail.width, 3);
                            let cells = [(0, Some("1".to_owned())), (2, Some("2".to_owned()))];
                            assert_eq!(tail.cells, cells);
                            assert_eq!(tail.terminator, b"\r\n");
                        }
                        count += 1;
                        all.extend(tail.terminator);
                    }
                    Batch::Lines(_) | Batch::Cells(_) => panic!("no text"),
                }
            }
            assert_eq!(count, walked(&text).len());
            assert!(all == text);
        }
    }
}
