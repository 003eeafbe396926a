//! What the engine's tests share: the embedded and the demo rules, loaded without the command line.

pub(crate) mod lore;
pub(crate) mod reference;

use std::path::{Path, PathBuf};

use etchlore_engine::Rules;
use etchlore_engine::analyse;
use etchlore_engine::check::{Checked, check};
use etchlore_engine::compile::Limits;
use etchlore_engine::diagnostic::Diagnostic;
use etchlore_engine::glyph::Confusions;
use etchlore_engine::packs;
use etchlore_engine::source::{LoadError, Loader, Sources};
use jiff::civil::date;

/// Serves embedded packs by name and files beside the file that names them.
pub(crate) struct Files;

impl Loader for Files {
    fn load(&self, from: &str, path: &str) -> Result<(String, String), LoadError> {
        if path.starts_with("builtin/") || from.starts_with("builtin/") {
            let pack = packs::find(from, path).ok_or(LoadError::NotFound)?;
            return Ok((pack.name.to_owned(), pack.text.to_owned()));
        }
        let mut full = PathBuf::new();
        for part in Path::new(from)
            .parent()
            .unwrap_or(Path::new(""))
            .join(path)
            .components()
        {
            match part {
                std::path::Component::ParentDir => {
                    full.pop();
                }
                part => full.push(part),
            }
        }
        let text = std::fs::read_to_string(&full).map_err(|_| LoadError::NotFound)?;
        Ok((full.display().to_string(), text))
    }
}

pub(crate) fn lore_files(folder: &Path, found: &mut Vec<PathBuf>) {
    let mut entries: Vec<PathBuf> = std::fs::read_dir(folder)
        .into_iter()
        .flatten()
        .flatten()
        .map(|entry| entry.path())
        .collect();
    entries.sort();
    for entry in entries {
        if entry.is_dir() {
            lore_files(&entry, found);
        } else if entry.extension().is_some_and(|ending| ending == "lore") {
            found.push(entry);
        }
    }
}

/// The root of the repository.
pub(crate) fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .parent()
        .map(Path::to_path_buf)
        .unwrap_or_default()
}

/// The texts of the embedded packs, with `demo` those of `rules-demo/` too, and `more` besides.
pub(crate) fn checked(demo: bool, more: &[(&str, &str)]) -> (Sources, Checked) {
    let mut sources = Sources::default();
    let mut roots = packs::add(&mut sources, |_| true);
    if demo {
        let mut files = Vec::new();
        lore_files(&root().join("rules-demo"), &mut files);
        for file in files {
            let text = std::fs::read_to_string(&file).unwrap_or_default();
            roots.push(sources.add(file.display().to_string(), text, false));
        }
    }
    for (name, text) in more {
        roots.push(sources.add(*name, (*text).to_owned(), false));
    }
    let checked = check(&mut sources, &roots, &Files);
    (sources, checked)
}

/// The same, compiled.
pub(crate) fn rules(demo: bool, more: &[(&str, &str)]) -> Rules {
    let (sources, checked) = checked(demo, more);
    let errors: Vec<String> = checked
        .diagnostics
        .iter()
        .filter(|d| d.severity == etchlore_engine::diagnostic::Severity::Error)
        .map(|d| d.plain(&sources))
        .collect();
    assert!(errors.is_empty(), "{}", errors.join("\n"));
    Rules::compile(checked.rules, &Confusions::default(), &Limits::default())
        .expect("the rules compile")
}

/// All that is said of the text of a rule file: by syntax and check, then, where it has no error, by compiling and trying it; of one in a folder
/// `overlap` the overlaps too.
pub(crate) fn said(path: &Path, text: &str) -> (Sources, Vec<Diagnostic>) {
    let mut sources = Sources::default();
    let root = sources.add(path.display().to_string(), text.to_owned(), false);
    let checked = check(&mut sources, &[root], &Files);
    let mut all = checked.diagnostics.clone();
    if !checked.has_errors() {
        match Rules::compile(checked.rules, &Confusions::default(), &Limits::default()) {
            Ok(rules) => {
                let today = date(2026, 11, 25);
                all.extend(analyse::splits(&rules));
                all.extend(analyse::old_reviews(rules.set(), today, 8));
                let folder = path.parent();
                if folder.is_some_and(|folder| folder.ends_with("overlap")) {
                    let looking = analyse::overlaps::Looking::default();
                    let confusions = Confusions::default();
                    let found =
                        analyse::overlaps::overlaps(rules.set(), &confusions, looking, &|_| true);
                    all.extend(found.diagnostics(rules.set()));
                }
                all.extend(analyse::examples(&rules, today, &|_| true).1);
            }
            Err(limit) => all.push(Diagnostic::new("too-large", limit.place, limit.to_string())),
        }
    }
    (sources, all)
}
