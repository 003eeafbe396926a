//! Tables of one JSON object a line.

use std::io;

use memchr::memchr;
use serde_json::{Map, Value};

use super::csv::{Kind, Records, Span};
use super::text::TextInput;
use super::{BATCH, Batch};

/// The longest line that is read, in bytes.
pub(crate) const MAX_LINE: usize = 64 << 20;

/// Lines of a stream, in batches.
pub(crate) struct JsonRows {
    input: TextInput,
    buffer: Vec<u8>,
}

impl JsonRows {
    /// Rows of an input of which `sample` has been read already.
    pub(crate) fn new(input: TextInput, sample: Vec<u8>) -> JsonRows {
        JsonRows {
            input,
            buffer: sample,
        }
    }

    pub(crate) fn repaired(&self) -> bool {
        self.input.repaired()
    }

    /// Bytes of text read and not yet given.
    pub(crate) fn held(&self) -> usize {
        self.buffer.len()
    }

    pub(crate) fn next(&mut self) -> io::Result<Option<Batch>> {
        loop {
            if self.buffer.len() < BATCH && !self.input.ended() {
                let wanted = BATCH - self.buffer.len();
                self.input.fill(&mut self.buffer, wanted)?;
            }
            let (spans, at) = lines(&self.buffer, self.input.ended(), 2 * BATCH);
            if !spans.is_empty() {
                let rest = self.buffer.split_off(at);
                let bytes = std::mem::replace(&mut self.buffer, rest);
                return Ok(Some(Batch::Lines(Records { bytes, spans })));
            }
            if self.input.ended() {
                return Ok(None);
            }
            if self.buffer.len() > MAX_LINE {
                return Err(io::Error::other(format!(
                    "a line is longer than {} MB, which is no row of JSON lines",
                    MAX_LINE >> 20
                )));
            }
            let more = self.buffer.len().max(BATCH);
            self.input.fill(&mut self.buffer, more)?;
        }
    }
}

/// The lines of a text up to about `most` bytes, and where the next begins.
pub(crate) fn lines(text: &[u8], whole: bool, most: usize) -> (Vec<Span>, usize) {
    let mut spans = Vec::new();
    let mut at = 0;
    while at < text.len() && at < most {
        let next = match memchr(b'\n', &text[at..]) {
            Some(found) => at + found + 1,
            None if whole => text.len(),
            None => break,
        };
        let line = &text[at..next];
        let blank = line.iter().all(u8::is_ascii_whitespace);
        let end = next
            - line
                .iter()
                .rev()
                .take_while(|byte| matches!(byte, b'\n' | b'\r'))
                .count();
        let short = |at: usize| u32::try_from(at).unwrap_or(u32::MAX);
        spans.push(Span {
            start: short(at),
            end: short(end.max(at)),
            next: short(next),
            kind: if blank { Kind::Blank } else { Kind::Plain },
        });
        at = next;
    }
    (spans, at)
}

/// The object of a line; absent where it is none.
pub(crate) fn object(line: &[u8]) -> Option<Map<String, Value>> {
    let line = line.strip_prefix(b"\xef\xbb\xbf").unwrap_or(line);
    match serde_json::from_slice(line) {
        Ok(Value::Object(object)) => Some(object),
        _ => None,
    }
}

/// A value as a cell's text; a list of texts is lines.
pub(crate) fn text(value: &Value) -> String {
    match value {
        Value::Null => String::new(),
        Value::String(text) => text.clone(),
        Value::Array(all) if all.iter().all(Value::is_string) => {
            let lines: Vec<&str> = all.iter().filter_map(Value::as_str).collect();
            lines.join("\n")
        }
        other => other.to_string(),
    }
}

/// The keys of all lines, in the order of their first use.
pub(crate) fn keys(text: &[u8], whole: bool, rows: usize, keys: &mut Vec<String>) {
    let (spans, _) = lines(text, whole, usize::MAX);
    for span in spans.iter().filter(|span| !span.is_blank()).take(rows) {
        let Some(object) = object(&text[span.start as usize..span.end as usize]) else {
            continue;
        };
        for key in object.keys() {
            if !keys.contains(key) {
                keys.push(key.clone());
            }
        }
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::{lines, object, text};

    #[test]
    fn lines_keep_their_ends() {
        let (spans, at) = lines(b"{\"a\":1}\r\n\n{\"b\":2}", true, 100);
        let all: Vec<(u32, u32, u32, bool)> = spans
            .iter()
            .map(|s| (s.start, s.end, s.next, s.is_blank()))
            .collect();
        assert_eq!(
            all,
            [(0, 7, 9, false), (9, 9, 10, true), (10, 17, 17, false)]
        );
        assert_eq!(at, 17);
        assert_eq!(lines(b"{\"a\":1}", false, 100).1, 0);
    }

    #[test]
    fn values_are_texts() {
        let all = object(br#"{"a":"x","b":["l1","l2"],"c":1.5,"d":null,"e":{"f":1}}"#).unwrap();
        let texts: Vec<String> = all.values().map(text).collect();
        assert_eq!(texts, ["x", "l1\nl2", "1.5", "", "{\"f\":1}"]);
        assert!(object(b"[1]").is_none() && object(b"{").is_none());
    }
}
