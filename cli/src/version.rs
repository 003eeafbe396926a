//! A version of a rule set: a path, or `REV:PATH` of the git repository around the current folder.

use std::path::{Component, Path, PathBuf};
use std::process::{Command, Stdio};

use tempfile::TempDir;

use crate::failure::Failure;

/// What a rule set is made of.
const ENDINGS: &[&str] = &["lore", "csv", "tsv", "yaml"];

/// A version that can be loaded from `path`, while this lives.
pub(crate) struct Version {
    pub(crate) path: PathBuf,
    /// As it was named, and the folder that stands for it.
    unpacked: Option<(String, TempDir)>,
}

impl Version {
    /// Finds a version; one of git is unpacked.
    pub(crate) fn find(named: &str) -> Result<Version, Failure> {
        let path = Path::new(named);
        if path.exists() || !named.contains(':') {
            return Ok(Version {
                path: path.to_path_buf(),
                unpacked: None,
            });
        }
        let folder = TempDir::new()?;
        let path = unpack(named, folder.path())?;
        Ok(Version {
            path,
            unpacked: Some((named.to_owned(), folder)),
        })
    }

    /// A place in a file as people know it: not by the folder that it was unpacked to.
    pub(crate) fn shown(&self, place: &str) -> String {
        let Some((named, folder)) = &self.unpacked else {
            return place.to_owned();
        };
        let folder = folder.path().display().to_string();
        match place.strip_prefix(&folder) {
            Some(rest) if named.ends_with(['/', ':']) => {
                format!("{named}{}", rest.trim_start_matches('/'))
            }
            // A single file is named whole already.
            Some(rest) => match rest.split_once(".lore:") {
                Some((_, line)) if named.ends_with(".lore") => format!("{named}:{line}"),
                _ => format!("{named}{rest}"),
            },
            None => place.to_owned(),
        }
    }
}

fn git(arguments: &[&str]) -> Result<Vec<u8>, Failure> {
    let run = Command::new("git")
        .args(arguments)
        .stdin(Stdio::null())
        .output();
    let run = run.map_err(|error| {
        Failure::Unreadable(
            format!("git cannot be run: {error}"),
            "install git, or name two folders".to_owned(),
        )
    })?;
    if run.status.success() {
        return Ok(run.stdout);
    }
    let said = String::from_utf8_lossy(&run.stderr);
    let said = said.trim().trim_start_matches("fatal: ");
    Err(Failure::Unreadable(
        format!("git: {said}"),
        "write a revision and a path in it, as HEAD~1:rules or v3:./rules; a path alone must exist"
            .to_owned(),
    ))
}

/// Writes the files of `REV:PATH` beneath a folder.
fn unpack(named: &str, folder: &Path) -> Result<PathBuf, Failure> {
    // A name that begins with a dash would be an option of git.
    if named.starts_with('-') {
        return Err(Failure::Usage(
            format!("`{named}` is no version"),
            "write REV:PATH".to_owned(),
        ));
    }
    let kind = git(&["cat-file", "-t", named])?;
    if kind.starts_with(b"blob") {
        let name = named.rsplit(['/', ':']).next().unwrap_or("rules.lore");
        let path = folder.join(name);
        std::fs::write(&path, git(&["cat-file", "blob", named])?)?;
        return Ok(path);
    }
    let listed = git(&["ls-tree", "-r", "-z", named])?;
    for entry in listed.split(|byte| *byte == 0) {
        let entry = String::from_utf8_lossy(entry);
        let Some((about, name)) = entry.split_once('\t') else {
            continue;
        };
        let mut about = about.split(' ');
        let (kind, id) = (about.nth(1), about.next());
        let path = Path::new(name);
        let wanted = path
            .extension()
            .and_then(|ending| ending.to_str())
            .is_some_and(|ending| ENDINGS.contains(&ending));
        let inside = path
            .components()
            .all(|part| matches!(part, Component::Normal(_)));
        if let (Some("blob"), Some(id), true, true) = (kind, id, wanted, inside) {
            let place = folder.join(path);
            if let Some(parent) = place.parent() {
                std::fs::create_dir_all(parent)?;
            }
            std::fs::write(&place, git(&["cat-file", "blob", id])?)?;
        }
    }
    Ok(folder.to_path_buf())
}
