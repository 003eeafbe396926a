//! Compressed files, by their ending when written and by their first bytes when read.

use std::io::{self, Read, Write};
use std::path::Path;

use flate2::Compression;
use flate2::read::MultiGzDecoder;
use flate2::write::GzEncoder;

/// How a file is packed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Packing {
    None,
    Gzip,
    Zstd,
}

/// An output that may be packed.
pub(crate) enum Packed {
    Plain(Box<dyn Write>),
    Gzip(GzEncoder<Box<dyn Write>>),
    Zstd(zstd::Encoder<'static, Box<dyn Write>>),
}

impl Packing {
    pub(crate) fn of_ending(path: &Path) -> Packing {
        let ending = path.extension().map(|e| e.to_string_lossy().to_lowercase());
        match ending.as_deref() {
            Some("gz") => Packing::Gzip,
            Some("zst" | "zstd") => Packing::Zstd,
            _ => Packing::None,
        }
    }

    pub(crate) fn of_start(start: &[u8]) -> Packing {
        match start {
            [0x1f, 0x8b, ..] => Packing::Gzip,
            [0x28, 0xb5, 0x2f, 0xfd, ..] => Packing::Zstd,
            _ => Packing::None,
        }
    }

    /// Unpacks an input.
    pub(crate) fn read(self, input: Box<dyn Read + Send>) -> io::Result<Box<dyn Read + Send>> {
        Ok(match self {
            Packing::None => input,
            // Files joined end to end are one file to gzip, and so here.
            Packing::Gzip => Box::new(MultiGzDecoder::new(input)),
            Packing::Zstd => Box::new(zstd::Decoder::new(input)?),
        })
    }

    /// Packs an output.
    pub(crate) fn write(self, output: Box<dyn Write>) -> io::Result<Packed> {
        Ok(match self {
            Packing::None => Packed::Plain(output),
            Packing::Gzip => Packed::Gzip(GzEncoder::new(output, Compression::default())),
            Packing::Zstd => Packed::Zstd(zstd::Encoder::new(output, 3)?),
        })
    }
}

impl Packed {
    /// Writes what is still held.
    pub(crate) fn finish(self) -> io::Result<()> {
        match self {
            Packed::Plain(mut output) => output.flush(),
            Packed::Gzip(encoder) => encoder.finish()?.flush(),
            Packed::Zstd(encoder) => encoder.finish()?.flush(),
        }
    }
}

impl Write for Packed {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        match self {
            Packed::Plain(output) => output.write(bytes),
            Packed::Gzip(output) => output.write(bytes),
            Packed::Zstd(output) => output.write(bytes),
        }
    }

    fn flush(&mut self) -> io::Result<()> {
        match self {
            Packed::Plain(output) => output.flush(),
            Packed::Gzip(output) => output.flush(),
            Packed::Zstd(output) => output.flush(),
        }
    }
}
