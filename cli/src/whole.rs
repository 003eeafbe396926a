//! Files written whole or not at all.

use std::path::Path;

use crate::failure::Failure;

/// Replaces a file: the text is written beside it, then takes its name and permissions.
pub(crate) fn replace(path: &Path, text: &str) -> Result<(), Failure> {
    let fault = |error: std::io::Error| {
        Failure::Unreadable(
            format!("{} cannot be written: {error}", path.display()),
            "check that the file and its folder may be written".to_owned(),
        )
    };
    // A link stays a link.
    let target = std::fs::canonicalize(path).map_err(fault)?;
    let mut name = std::ffi::OsString::from(".");
    name.push(target.file_name().unwrap_or_default());
    name.push(format!(".{}.new", std::process::id()));
    let beside = target.with_file_name(name);
    let done = std::fs::write(&beside, text)
        .and_then(|()| std::fs::metadata(&target))
        .and_then(|about| std::fs::set_permissions(&beside, about.permissions()))
        .and_then(|()| std::fs::rename(&beside, &target));
    done.map_err(|error| {
        let _ = std::fs::remove_file(&beside);
        fault(error)
    })
}
