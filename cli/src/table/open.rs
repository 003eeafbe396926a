//! Opens an input: file or stream, packed or not, and finds out what kind of table it holds.

use std::fs::File;
use std::io::{self, Cursor, Read};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

use super::pack::Packing;

/// What a table is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Form {
    /// Cells parted by a delimiter; by the ending: usually commas, or tabs.
    Text(u8),
    /// One JSON object a line.
    Lines,
    /// A spreadsheet.
    Sheet,
}

impl Form {
    /// What the ending of a file says.
    pub(crate) fn of_ending(path: &Path) -> Option<Form> {
        let mut name = PathBuf::from(path.file_name()?);
        if Packing::of_ending(&name) != Packing::None {
            name.set_extension("");
        }
        let ending = name.extension()?.to_string_lossy().to_lowercase();
        match ending.as_str() {
            "csv" => Some(Form::Text(b',')),
            "tsv" | "tab" => Some(Form::Text(b'\t')),
            "jsonl" | "ndjson" => Some(Form::Lines),
            "xlsx" | "xlsm" => Some(Form::Sheet),
            _ => None,
        }
    }

    /// What the first bytes say; the ending only breaks ties.
    fn of_start(start: &[u8], ending: Option<Form>) -> Form {
        if start.starts_with(b"PK\x03\x04") {
            return Form::Sheet;
        }
        let text = start.strip_prefix(b"\xef\xbb\xbf").unwrap_or(start);
        let object = text
            .iter()
            .find(|byte| !byte.is_ascii_whitespace())
            .is_some_and(|byte| *byte == b'{');
        match ending {
            Some(Form::Lines) => Form::Lines,
            Some(Form::Text(delimiter)) => Form::Text(delimiter),
            _ if object => Form::Lines,
            _ => Form::Text(b','),
        }
    }
}

/// An input, unpacked.
pub(crate) struct Opened {
    pub(crate) input: Box<dyn Read + Send>,
    pub(crate) form: Form,
    /// Its size as it lies on the disk, where that is known.
    pub(crate) size: Option<u64>,
    /// How much of that has been read.
    pub(crate) read: Arc<AtomicU64>,
}

/// Counts what is read, before it is unpacked: the only size that is known beforehand.
struct Counted {
    input: Box<dyn Read + Send>,
    read: Arc<AtomicU64>,
}

impl Read for Counted {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let read = self.input.read(buffer)?;
        self.read.fetch_add(read as u64, Ordering::Relaxed);
        Ok(read)
    }
}

/// Opens a file, or standard input for `-`.
pub(crate) fn open(path: &Path) -> io::Result<Opened> {
    let (input, size): (Box<dyn Read + Send>, _) = if path == Path::new("-") {
        (Box::new(io::stdin()), None)
    } else {
        let file = File::open(path)?;
        let about = file.metadata()?;
        if about.is_dir() {
            return Err(io::Error::other("it is a folder"));
        }
        (Box::new(file), about.is_file().then_some(about.len()))
    };
    let read = Arc::new(AtomicU64::new(0));
    let counted = Counted {
        input,
        read: Arc::clone(&read),
    };
    let (start, input) = look(Box::new(counted), 4)?;
    let unpacked = Packing::of_start(&start).read(input)?;
    let (start, input) = look(unpacked, 4096)?;
    Ok(Opened {
        form: Form::of_start(&start, Form::of_ending(path)),
        input,
        size,
        read,
    })
}

/// The first bytes of a stream, and the stream with them.
fn look(
    mut input: Box<dyn Read + Send>,
    bytes: u64,
) -> io::Result<(Vec<u8>, Box<dyn Read + Send>)> {
    let mut start = Vec::new();
    input.by_ref().take(bytes).read_to_end(&mut start)?;
    let again = Cursor::new(start.clone()).chain(input);
    Ok((start, Box::new(again)))
}
