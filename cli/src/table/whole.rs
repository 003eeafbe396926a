//! Output files that appear whole or not at all: written beside their place under another name, and renamed when all is said.

use std::fs::File;
use std::io::{self, Write};
use std::path::{Path, PathBuf};

use tempfile::{Builder, TempPath};

use super::pack::{Packed, Packing};

/// An output that is being written.
pub(crate) struct Whole {
    writer: Packed,
    /// The file under its other name, and where it belongs; absent for a stream or a device.
    waiting: Option<(TempPath, PathBuf)>,
}

impl Whole {
    /// Standard output.
    pub(crate) fn stdout() -> io::Result<Whole> {
        Ok(Whole {
            writer: Packing::None.write(Box::new(io::stdout()))?,
            waiting: None,
        })
    }

    /// A file, packed as its ending says. What stands there stays until [`Whole::finish`].
    pub(crate) fn create(path: &Path) -> io::Result<Whole> {
        let packing = Packing::of_ending(path);
        // A link is written through, not replaced.
        let place = std::fs::canonicalize(path).unwrap_or_else(|_| path.to_path_buf());
        let about = std::fs::metadata(&place).ok();
        if about.as_ref().is_some_and(|about| !about.is_file()) {
            let device = File::options().write(true).open(&place)?;
            return Ok(Whole {
                writer: packing.write(Box::new(device))?,
                waiting: None,
            });
        }
        let folder = match place.parent() {
            Some(folder) if !folder.as_os_str().is_empty() => folder,
            _ => Path::new("."),
        };
        let mut builder = Builder::new();
        builder.prefix(".etchlore-").suffix(".part");
        #[cfg(unix)]
        {
            use std::os::unix::fs::PermissionsExt;
            // As the file that is replaced; a new one as any other program would make it.
            let mode = about.map_or(0o666, |about| about.permissions().mode() & 0o777);
            builder.permissions(std::fs::Permissions::from_mode(mode));
        }
        let (file, waiting) = builder.tempfile_in(folder)?.into_parts();
        Ok(Whole {
            writer: packing.write(Box::new(file))?,
            waiting: Some((waiting, place)),
        })
    }

    /// Ends the output and puts it in its place.
    pub(crate) fn finish(self) -> io::Result<()> {
        self.writer.finish()?;
        match self.waiting {
            Some((file, place)) => file.persist(place).map_err(|error| error.error),
            None => Ok(()),
        }
    }
}

impl Write for Whole {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.writer.write(bytes)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.writer.flush()
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::Whole;
    use std::io::Write;

    #[test]
    fn nothing_is_seen_before_the_end() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("out.csv");
        std::fs::write(&path, "old").unwrap();
        let mut whole = Whole::create(&path).unwrap();
        whole.write_all(b"new").unwrap();
        assert_eq!(std::fs::read(&path).unwrap(), b"old");
        drop(whole);
        assert_eq!(std::fs::read(&path).unwrap(), b"old");
        assert_eq!(
            std::fs::read_dir(folder.path()).unwrap().count(),
            1,
            "no rest"
        );
        let mut whole = Whole::create(&path).unwrap();
        whole.write_all(b"new").unwrap();
        whole.finish().unwrap();
        assert_eq!(std::fs::read(&path).unwrap(), b"new");
    }
}
