//! Bytes of a table into UTF-8.
//!
//! UTF-8 stays as it is, byte for byte. A byte that belongs to no UTF-8 character is read as Windows-1252, one by one: so a table in
//! that encoding is read right without being told, and a table with one broken cell loses nothing else. UTF-16 is told by its
//! byte-order mark or by its zero bytes.

use std::io::{self, Read};

use encoding_rs::{CoderResult, Decoder, UTF_16BE, UTF_16LE, WINDOWS_1252};

/// How the bytes of a table are read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Encoding {
    /// UTF-8, and Windows-1252 where it is not.
    Utf8,
    Utf16Le,
    Utf16Be,
}

impl Encoding {
    /// The encoding of a table that begins so.
    pub(crate) fn of(start: &[u8]) -> Encoding {
        match start {
            [0xff, 0xfe, ..] => return Encoding::Utf16Le,
            [0xfe, 0xff, ..] => return Encoding::Utf16Be,
            _ => {}
        }
        // Text of mostly Latin letters has a zero in every other byte; a table that merely holds zeros has them anywhere.
        let start = &start[..start.len().min(4096) & !1];
        let zeros = |offset: usize| {
            start
                .iter()
                .skip(offset)
                .step_by(2)
                .filter(|byte| **byte == 0)
                .count()
        };
        let (even, odd, pairs) = (zeros(0), zeros(1), start.len() / 2);
        if pairs >= 2 && odd * 10 >= pairs * 7 && even * 50 <= pairs {
            Encoding::Utf16Le
        } else if pairs >= 2 && even * 10 >= pairs * 7 && odd * 50 <= pairs {
            Encoding::Utf16Be
        } else {
            Encoding::Utf8
        }
    }

    /// Its name for people.
    pub(crate) fn name(self) -> &'static str {
        match self {
            Encoding::Utf8 => "UTF-8",
            Encoding::Utf16Le | Encoding::Utf16Be => "UTF-16",
        }
    }
}

/// A stream of bytes read as text.
pub(crate) struct TextInput {
    input: Box<dyn Read + Send>,
    /// Bytes read and not yet text.
    pending: Vec<u8>,
    utf16: Option<Decoder>,
    ended: bool,
    /// Whether some byte was read as Windows-1252, or some half of a UTF-16 pair was replaced.
    repaired: bool,
}

impl TextInput {
    /// Begins to read; the first bytes tell the encoding.
    pub(crate) fn new(mut input: Box<dyn Read + Send>) -> io::Result<(TextInput, Encoding)> {
        let mut pending = vec![0; 4096];
        let mut length = 0;
        while length < pending.len() {
            match read_some(&mut *input, &mut pending[length..])? {
                0 => break,
                read => length += read,
            }
        }
        pending.truncate(length);
        let encoding = Encoding::of(&pending);
        let utf16 = match encoding {
            Encoding::Utf8 => None,
            // The mark that tells the encoding is no part of the text.
            Encoding::Utf16Le => Some(UTF_16LE.new_decoder_with_bom_removal()),
            Encoding::Utf16Be => Some(UTF_16BE.new_decoder_with_bom_removal()),
        };
        let text = TextInput {
            input,
            pending,
            utf16,
            ended: false,
            repaired: false,
        };
        Ok((text, encoding))
    }

    /// Whether all has been read.
    pub(crate) fn ended(&self) -> bool {
        self.ended
    }

    /// Whether some bytes were not of the encoding and were read otherwise.
    pub(crate) fn repaired(&self) -> bool {
        self.repaired
    }

    /// Appends about `wanted` bytes of text, always whole characters; fewer at the end of the input.
    pub(crate) fn fill(&mut self, text: &mut Vec<u8>, wanted: usize) -> io::Result<()> {
        let goal = text.len() + wanted;
        while text.len() < goal && !self.ended {
            match self.utf16 {
                None => self.fill_utf8(text, goal)?,
                Some(_) => self.fill_utf16(text)?,
            }
        }
        Ok(())
    }

    fn fill_utf8(&mut self, text: &mut Vec<u8>, goal: usize) -> io::Result<()> {
        let from = text.len();
        text.append(&mut self.pending);
        let held = text.len();
        // Read in place: most tables are copied without a byte being touched.
        text.resize(goal.max(held + 1), 0);
        let read = read_some(&mut *self.input, &mut text[held..])?;
        text.truncate(held + read);
        self.ended = read == 0;
        let mut checked = from;
        loop {
            let Err(error) = std::str::from_utf8(&text[checked..]) else {
                return Ok(());
            };
            let at = checked + error.valid_up_to();
            if error.error_len().is_none() && !self.ended {
                self.pending = text.split_off(at);
                return Ok(());
            }
            // One pass over what remains, since such bytes seldom come alone.
            self.repaired = true;
            let rest = text.split_off(at);
            let mut chunks = rest.utf8_chunks().peekable();
            while let Some(chunk) = chunks.next() {
                text.extend_from_slice(chunk.valid().as_bytes());
                let broken = chunk.invalid();
                let cut_off = chunks.peek().is_none()
                    && !self.ended
                    && std::str::from_utf8(broken).is_err_and(|e| e.error_len().is_none());
                if cut_off {
                    self.pending = broken.to_vec();
                } else {
                    let (read_as, _) = WINDOWS_1252.decode_without_bom_handling(broken);
                    text.extend_from_slice(read_as.as_bytes());
                }
            }
            checked = text.len();
        }
    }

    fn fill_utf16(&mut self, text: &mut Vec<u8>) -> io::Result<()> {
        if self.pending.is_empty() {
            self.pending.resize(64 << 10, 0);
            let read = read_some(&mut *self.input, &mut self.pending)?;
            self.pending.truncate(read);
            self.ended = read == 0;
        }
        let Some(decoder) = &mut self.utf16 else {
            return Ok(());
        };
        let from = text.len();
        let room = decoder
            .max_utf8_buffer_length(self.pending.len())
            .unwrap_or(4 * self.pending.len() + 16);
        text.resize(from + room, 0);
        let (result, _, written, replaced) =
            decoder.decode_to_utf8(&self.pending, &mut text[from..], self.ended);
        debug_assert!(matches!(result, CoderResult::InputEmpty));
        text.truncate(from + written);
        self.repaired |= replaced;
        self.pending.clear();
        Ok(())
    }
}

fn read_some(input: &mut dyn Read, buffer: &mut [u8]) -> io::Result<usize> {
    loop {
        match input.read(buffer) {
            Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
            other => return other,
        }
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::{Encoding, TextInput};

    /// Gives one byte at a time, so that every character is cut somewhere.
    struct Slow(Vec<u8>, usize);

    impl std::io::Read for Slow {
        fn read(&mut self, buffer: &mut [u8]) -> std::io::Result<usize> {
            let Some(byte) = self.0.get(self.1) else {
                return Ok(0);
            };
            self.1 += 1;
            buffer[0] = *byte;
            Ok(1)
        }
    }

    fn read(bytes: &[u8]) -> (String, Encoding, bool) {
        let long: Vec<u8> = [vec![b'.'; 5000], bytes.to_vec()].concat();
        let mut all = Vec::new();
        let (mut slow, _) = TextInput::new(Box::new(Slow(long, 0))).unwrap();
        while !slow.ended() {
            slow.fill(&mut all, 3).unwrap();
        }
        let late = String::from_utf8(all).unwrap()[5000..].to_owned();
        let mut all = Vec::new();
        let (mut quick, encoding) =
            TextInput::new(Box::new(std::io::Cursor::new(bytes.to_vec()))).unwrap();
        while !quick.ended() {
            quick.fill(&mut all, 1 << 16).unwrap();
        }
        let text = String::from_utf8(all).unwrap();
        if encoding == Encoding::Utf8 {
            assert_eq!(text, late, "cutting changes nothing");
        }
        (text, encoding, quick.repaired())
    }

    #[test]
    fn what_is_utf8_stays() {
        for text in ["", "a", "Ω 4.7 µF\r\n", "\u{feff}a,b\0c\n", "𝄞"] {
            assert_eq!(
                read(text.as_bytes()),
                (text.to_owned(), Encoding::Utf8, false)
            );
        }
    }

    #[test]
    fn what_is_not_is_windows_1252() {
        assert_eq!(read(b"4.7 \xb5F, \x80 2").0, "4.7 µF, € 2");
        // Beside true UTF-8 too, and cut off at the end.
        assert_eq!(read("é\u{b5}".as_bytes()).0, "éµ");
        assert_eq!(read(b"\xc3\xa9 \xe9").0, "é é");
        assert_eq!(read(b"a\xe2\x82").0, "aâ‚");
        assert!(read(b"a\xe2\x82").2);
    }

    #[test]
    fn utf16_is_told_by_its_mark_or_its_zeros() {
        let text = "Mark;Menge\r\n25Q128JVSQ;3 µ\r\n";
        let le: Vec<u8> = text.encode_utf16().flat_map(u16::to_le_bytes).collect();
        let be: Vec<u8> = text.encode_utf16().flat_map(u16::to_be_bytes).collect();
        assert_eq!(read(&le), (text.to_owned(), Encoding::Utf16Le, false));
        assert_eq!(read(&be), (text.to_owned(), Encoding::Utf16Be, false));
        let marked = [&[0xff, 0xfe], le.as_slice()].concat();
        assert_eq!(read(&marked), (text.to_owned(), Encoding::Utf16Le, false));
        let marked = [&[0xfe, 0xff], be.as_slice()].concat();
        assert_eq!(read(&marked).0, text);
        // Zeros in a table are data.
        assert_eq!(read(b"a,\0,\0\0b\n").0, "a,\0,\0\0b\n");
    }
}
