//! Files written whole or not at all.

use std::io::Write;
use std::path::Path;

use crate::failure::Failure;
use crate::table::whole::Whole;

/// Replaces a file: the text is written beside it, then takes its name and permissions. A link stays a link.
pub(crate) fn replace(path: &Path, text: &str) -> Result<(), Failure> {
    let done = Whole::create(path).and_then(|mut file| {
        file.write_all(text.as_bytes())?;
        file.finish()
    });
    done.map_err(|error| {
        Failure::Unreadable(
            format!("{} cannot be written: {error}", path.display()),
            "check that the file and its folder may be written".to_owned(),
        )
    })
}
