//! Finds rule files and the embedded packs, checks and compiles them.

use std::borrow::Cow;
use std::collections::BTreeMap;
use std::mem::ManuallyDrop;
use std::path::{Component, Path, PathBuf};
use std::sync::OnceLock;

use etchlore_engine::check::{Checked, check};
use etchlore_engine::compile::Limits;
use etchlore_engine::diagnostic::{CODES, Diagnostic, info, near};
use etchlore_engine::glyph::Confusions;
use etchlore_engine::model::{Family, FamilyId, RuleSet};
use etchlore_engine::rank::confirmed;
use etchlore_engine::source::{LoadError, Loader, Place, SourceId, Sources};
use etchlore_engine::{Rules, diagnostic::Severity, packs, store};
use serde::Deserialize;
use sha2::{Digest, Sha256};

use crate::args::GlobalArgs;
use crate::casebook;
use crate::console::Console;
use crate::failure::Failure;
use crate::present;

/// The embedded rules, checked; `build.rs` writes them.
const STORED: &[u8] = include_bytes!(concat!(env!("OUT_DIR"), "/packs"));

/// The casebook of a rule set, where its `etchlore.yaml` names none.
const CASEBOOK: &str = "casebook.tsv";

/// What `etchlore.yaml` at the root of a rule set says.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(deny_unknown_fields, default)]
struct SetFile {
    name: Option<String>,
    version: Option<serde_yaml::Value>,
    /// Embedded packs to use, by name; all where nothing is said.
    builtin: Option<Vec<String>>,
    /// How much likelier than usual families are met in this lab, by name.
    priors: BTreeMap<String, f64>,
    /// A table of misreadings, beside this file.
    confusions: Option<PathBuf>,
    /// The casebook, beside this file; `casebook.tsv` where nothing is said.
    casebook: Option<PathBuf>,
    /// How bad lints are, by code.
    lints: BTreeMap<String, LintLevel>,
    /// Years after which a review is old; never where nothing is said.
    review_years: Option<u16>,
}

/// How bad a lint is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
enum LintLevel {
    /// It is not said.
    Off,
    Warning,
    Error,
}

/// What a lab says beside its rules.
#[derive(Debug, Clone, Default)]
pub(crate) struct Settings {
    lints: BTreeMap<String, LintLevel>,
    /// Years after which a review is old.
    pub(crate) review_years: Option<u16>,
    /// Factors of families, by name, with the file that says so.
    priors: Vec<(String, f64, PathBuf)>,
    confusions: Option<(PathBuf, String)>,
    /// Where the rule sets lie.
    folders: Vec<PathBuf>,
}

/// Checked and compiled rules with their texts.
pub(crate) struct Loaded {
    pub(crate) sources: Sources,
    /// Until the run ends, and with it: to give their memory back piece by piece would only take time.
    pub(crate) rules: ManuallyDrop<Rules>,
    digest: OnceLock<String>,
    /// How readers err: the lab's own table, or the embedded one.
    pub(crate) confusions: Confusions,
    settings: Settings,
}

impl Loaded {
    fn of(sources: Sources, rules: Rules, confusions: Confusions, settings: Settings) -> Loaded {
        Loaded {
            digest: OnceLock::new(),
            sources,
            rules: ManuallyDrop::new(rules),
            confusions,
            settings,
        }
    }

    /// `sha256:...` over the names and texts of all rule files.
    pub(crate) fn digest(&self) -> &str {
        self.digest
            .get_or_init(|| digest(&self.sources, &self.settings))
    }

    /// `file:line` of a rule, the file named from the folder of its rule set: the same wherever that lies.
    pub(crate) fn rule_place(&self, place: Place) -> String {
        within(&self.settings.folders, &self.sources.file_line(place))
    }
}

/// A name of a rule file from the folder of its rule set.
fn within(folders: &[PathBuf], name: &str) -> String {
    let inner = folders
        .iter()
        .filter(|folder| !folder.as_os_str().is_empty())
        .find_map(|folder| Path::new(name).strip_prefix(folder).ok());
    // Separators as on every machine.
    inner.map_or_else(
        || name.to_owned(),
        |inner| {
            let parts = inner.components().map(|part| part.as_os_str());
            let parts: Vec<_> = parts.map(|part| part.to_string_lossy()).collect();
            parts.join("/")
        },
    )
}

/// Rule texts found, with what the check says.
pub(crate) struct Texts {
    pub(crate) sources: Sources,
    pub(crate) checked: Checked,
    /// The files asked for, not what they use.
    pub(crate) roots: Vec<SourceId>,
    pub(crate) settings: Settings,
}

/// Serves `use` and `from`: embedded packs by name, files beside the file that names them.
struct Files {
    /// The folders that rule sets must not leave.
    roots: Vec<PathBuf>,
}

impl Loader for Files {
    fn load(&self, from: &str, path: &str) -> Result<(String, String), LoadError> {
        if path.starts_with("builtin/") || from.starts_with("builtin/") {
            return packs::Embedded.load(from, path);
        }
        let named = Path::new(path);
        if named.is_absolute() {
            return Err(LoadError::Outside);
        }
        let full = plain_path(
            &Path::new(from)
                .parent()
                .unwrap_or(Path::new(""))
                .join(named),
        );
        let from_full = plain_path(Path::new(from));
        let root = self.roots.iter().find(|root| from_full.starts_with(root));
        if root.is_none_or(|root| !full.starts_with(root)) {
            return Err(LoadError::Outside);
        }
        match read_text(&full) {
            Ok(text) => Ok((full.display().to_string(), text)),
            Err(Failure::Unreadable(why, _)) if full.exists() => Err(LoadError::Unreadable(why)),
            Err(_) => Err(LoadError::NotFound),
        }
    }
}

/// A path without `.` and `..`, as far as its own words tell.
fn plain_path(path: &Path) -> PathBuf {
    let mut plain = PathBuf::new();
    for part in path.components() {
        match part {
            Component::CurDir => {}
            Component::ParentDir if plain.file_name().is_some() => {
                plain.pop();
            }
            part => plain.push(part),
        }
    }
    plain
}

pub(crate) fn read_text(path: &Path) -> Result<String, Failure> {
    let bytes = std::fs::read(path).map_err(|error| {
        let what = format!("{} cannot be read: {error}", path.display());
        Failure::Unreadable(
            what,
            "check the path after --rules, and that it may be read".to_owned(),
        )
    })?;
    String::from_utf8(bytes).map_err(|error| {
        let bytes = error.as_bytes();
        let upto = error.utf8_error().valid_up_to();
        let line = bytes[..upto].iter().filter(|byte| **byte == b'\n').count() + 1;
        let what = format!(
            "{} is no UTF-8 text: line {line} has a byte that no character begins with",
            path.display()
        );
        Failure::Unreadable(what, "save the file as UTF-8".to_owned())
    })
}

/// All rule files of a path: itself, or those in a folder, by name.
fn rule_files(path: &Path, files: &mut Vec<PathBuf>) -> Result<(), Failure> {
    let unreadable = |error: std::io::Error| {
        Failure::Unreadable(
            format!("{} cannot be read: {error}", path.display()),
            "name a rule file or a folder of rule files".to_owned(),
        )
    };
    let about = std::fs::metadata(path).map_err(unreadable)?;
    if !about.is_dir() {
        files.push(plain_path(path));
        return Ok(());
    }
    let mut inside: Vec<PathBuf> = std::fs::read_dir(path)
        .map_err(unreadable)?
        .map(|entry| entry.map(|e| e.path()))
        .collect::<Result<_, _>>()
        .map_err(unreadable)?;
    inside.sort();
    for entry in inside {
        let hidden = entry
            .file_name()
            .is_some_and(|name| name.to_string_lossy().starts_with('.'));
        if entry.is_dir() && !hidden {
            rule_files(&entry, files)?;
        } else if entry.extension().is_some_and(|ending| ending == "lore") {
            files.push(plain_path(&entry));
        }
    }
    Ok(())
}

/// All rule files of some paths, each once.
pub(crate) fn files_of(paths: &[PathBuf]) -> Result<Vec<PathBuf>, Failure> {
    let mut files = Vec::new();
    for path in paths {
        let before = files.len();
        rule_files(path, &mut files)?;
        if files.len() == before {
            return Err(no_rules(path));
        }
    }
    let mut seen = std::collections::BTreeSet::new();
    files.retain(|file| seen.insert(file.clone()));
    Ok(files)
}

fn no_rules(path: &Path) -> Failure {
    Failure::Unreadable(
        format!("{} holds no rule file", path.display()),
        "rule files end in .lore".to_owned(),
    )
}

fn set_file(path: &Path) -> Result<Option<SetFile>, Failure> {
    let file = if path.is_dir() {
        path.join("etchlore.yaml")
    } else {
        return Ok(None);
    };
    if !file.exists() {
        return Ok(None);
    }
    let text = read_text(&file)?;
    serde_yaml::from_str(&text).map(Some).map_err(|error| {
        Failure::Unreadable(
            format!("{}: {error}", file.display()),
            "keys: name, version, builtin (a list of embedded packs), priors (factors by family), confusions and casebook (files), lints (off, warning or error by code), review_years"
                .to_owned(),
        )
    })
}

/// The rule paths of a run: options first, then `ETCHLORE_RULES`.
fn paths(global: &GlobalArgs) -> Vec<PathBuf> {
    if !global.rules.is_empty() {
        return global.rules.clone();
    }
    std::env::var_os("ETCHLORE_RULES")
        .map(|paths| {
            std::env::split_paths(&paths)
                .filter(|p| !p.as_os_str().is_empty())
                .collect()
        })
        .unwrap_or_default()
}

/// Reads and checks these paths alone, with the texts in `instead` for what their files hold.
pub(crate) fn texts_with(
    global: &GlobalArgs,
    only: &[PathBuf],
    instead: &BTreeMap<PathBuf, String>,
) -> Result<Texts, Failure> {
    texts_of(global, Some(only), instead)
}

/// Reads and checks the rules of a run, or with `only` these paths alone.
pub(crate) fn texts(global: &GlobalArgs, only: Option<&[PathBuf]>) -> Result<Texts, Failure> {
    texts_of(global, only, &BTreeMap::new())
}

fn texts_of(
    global: &GlobalArgs,
    only: Option<&[PathBuf]>,
    instead: &BTreeMap<PathBuf, String>,
) -> Result<Texts, Failure> {
    let paths = match only {
        Some(paths) => paths.to_vec(),
        None => paths(global),
    };
    let mut files = Vec::new();
    let mut builtin: Option<Vec<String>> = None;
    let mut folders = Vec::new();
    let mut settings = Settings::default();
    for path in &paths {
        rule_files(path, &mut files)?;
        if path.is_dir() && only.is_none() {
            settings.read(path)?;
        }
        if let Some(set) = set_file(path)? {
            let _ = (&set.name, &set.version);
            for (code, level) in &set.lints {
                settings.level(path, code, *level)?;
            }
            settings.review_years = set.review_years.or(settings.review_years);
            if let Some(packs) = set.builtin {
                builtin.get_or_insert_default().extend(packs);
            }
        }
        let folder = if path.is_dir() {
            path.clone()
        } else {
            path.parent().map(Path::to_path_buf).unwrap_or_default()
        };
        folders.push(plain_path(&folder));
    }
    if let (Some(path), true) = (paths.first(), files.is_empty()) {
        return Err(no_rules(path));
    }
    let mut sources = Sources::default();
    let mut roots = Vec::new();
    let with_builtin = only.is_none() && !global.no_builtin;
    if with_builtin {
        roots = packs::add(&mut sources, |stem| {
            builtin.as_ref().is_none_or(|wanted| {
                let mut wanted = wanted.iter();
                wanted.any(|name| name.trim_start_matches("builtin/") == stem)
            })
        });
    }
    files.dedup();
    for file in &files {
        let name = file.display().to_string();
        if sources.find(&name).is_none() {
            let text = match instead.get(file) {
                Some(text) => text.clone(),
                None => read_text(file)?,
            };
            roots.push(sources.add(name, text, false));
        }
    }
    settings.folders = folders.clone();
    let checked = check(&mut sources, &roots, &Files { roots: folders });
    Ok(Texts {
        sources,
        checked,
        roots,
        settings,
    })
}

impl Settings {
    /// Sets the level of a lint.
    fn level(&mut self, folder: &Path, code: &str, level: LintLevel) -> Result<(), Failure> {
        let file = folder.join("etchlore.yaml");
        let fault = |what: String, help: String| {
            Err(Failure::Unreadable(
                format!("{}: {what}", file.display()),
                help,
            ))
        };
        match info(code) {
            None => {
                let near = near(code, CODES.iter().map(|info| info.code));
                let help = match near.first() {
                    Some(near) => format!("did you mean `{near}`?"),
                    None => "`etchlore rules about` lists all codes".to_owned(),
                };
                fault(format!("no lint is called `{code}`"), help)
            }
            Some(info) if info.severity == Severity::Error => fault(
                format!("`{code}` is an error, whose level stays"),
                "only warnings have levels".to_owned(),
            ),
            Some(_) => {
                self.lints.insert(code.to_owned(), level);
                Ok(())
            }
        }
    }

    /// Gives lints the levels that the lab has set.
    pub(crate) fn weigh_lints(&self, found: &mut Vec<Diagnostic>) {
        found.retain_mut(|fault| match self.lints.get(fault.code) {
            Some(LintLevel::Off) => false,
            Some(LintLevel::Warning) => {
                fault.severity = Severity::Warning;
                true
            }
            Some(LintLevel::Error) => {
                fault.severity = Severity::Error;
                true
            }
            None => true,
        });
    }

    /// Adds what the folder of a rule set says.
    fn read(&mut self, folder: &Path) -> Result<(), Failure> {
        let file = folder.join("etchlore.yaml");
        let set = set_file(folder)?.unwrap_or_default();
        for (family, factor) in set.priors {
            if !(factor.is_finite() && factor > 0.0) {
                return Err(Failure::Unreadable(
                    format!("{}: the prior of {family} is {factor}", file.display()),
                    "write how much likelier than usual it is: 10, or 0.1".to_owned(),
                ));
            }
            self.priors.push((family, factor, file.clone()));
        }
        if let Some(table) = set.confusions {
            let table = folder.join(table);
            let text = read_text(&table)?;
            self.confusions = Some((table, text));
        }
        let cases = folder.join(set.casebook.clone().unwrap_or_else(|| CASEBOOK.into()));
        if set.casebook.is_some() || cases.exists() {
            for (family, count) in casebook::counts(&cases)? {
                self.priors.push((family, confirmed(count), cases.clone()));
            }
        }
        Ok(())
    }

    /// Weighs the families; a name that no family has is said.
    fn weigh(&self, rules: &mut RuleSet, console: &mut Console) {
        for (name, factor, file) in &self.priors {
            match rules
                .families
                .iter_mut()
                .find(|family| family.name == *name)
            {
                Some(family) => family.weight *= factor,
                None => console.complain(&format!(
                    "warning: {} names the family `{name}`, which no rule loaded has",
                    file.display()
                )),
            }
        }
    }

    fn confusions(&self) -> Result<Confusions, Failure> {
        let Some((file, text)) = &self.confusions else {
            return Ok(Confusions::default());
        };
        Confusions::parse(text).map_err(|error| {
            Failure::Unreadable(
                format!("{}:{}: {}", file.display(), error.line, error.message),
                "`etchlore confusions PAIRS` writes such a table".to_owned(),
            )
        })
    }
}

/// The casebook that a run appends to.
pub(crate) fn casebook(global: &GlobalArgs) -> Result<PathBuf, Failure> {
    let Some(folder) = paths(global).into_iter().find(|path| path.is_dir()) else {
        return Err(Failure::Usage(
            "no folder of rules is named, and the casebook lies in it".to_owned(),
            "name the lab's folder with --rules".to_owned(),
        ));
    };
    let set = set_file(&folder)?.unwrap_or_default();
    Ok(folder.join(set.casebook.unwrap_or_else(|| CASEBOOK.into())))
}

/// Loads the rules of a run; errors in them are shown and end it.
pub(crate) fn load(global: &GlobalArgs, console: &mut Console) -> Result<Loaded, Failure> {
    if let Some((rules, sources)) = stored(global) {
        let (settings, confusions) = (Settings::default(), Confusions::default());
        return Ok(Loaded::of(sources, rules, confusions, settings));
    }
    let Texts {
        sources,
        mut checked,
        roots,
        settings,
    } = texts(global, None)?;
    if global.no_builtin {
        keep_own(&mut checked, &sources, &roots);
    }
    settings.weigh(&mut checked.rules, console);
    compile(sources, checked, &settings, console)
}

/// The embedded rules as they were checked when the program was built, for a run that loads nothing else.
fn stored(global: &GlobalArgs) -> Option<(Rules, Sources)> {
    if global.no_builtin || !paths(global).is_empty() {
        return None;
    }
    let text = |name: &str| packs::text(name).map(Cow::Borrowed);
    // What cannot be read is checked again.
    store::read(STORED, text).ok()
}

/// With `--no-builtin`, embedded families that came in through `use` stay inactive.
fn keep_own(checked: &mut Checked, sources: &Sources, roots: &[SourceId]) {
    let _ = (sources, roots);
    for family in checked
        .rules
        .families
        .iter_mut()
        .filter(|family| family.builtin)
    {
        family.forms.clear();
        family.examples.clear();
        family.refusals.clear();
    }
}

/// Compiles checked rules; errors in them are shown and end the run.
pub(crate) fn compile(
    sources: Sources,
    checked: Checked,
    settings: &Settings,
    console: &mut Console,
) -> Result<Loaded, Failure> {
    let errors: Vec<&Diagnostic> = checked
        .diagnostics
        .iter()
        .filter(|diagnostic| diagnostic.severity == Severity::Error)
        .collect();
    if !errors.is_empty() {
        for error in errors.iter().copied() {
            let text = present::diagnostics::text(error, &sources, console.width(), false);
            console.complain(&text);
        }
        return Err(Failure::BrokenRules(errors.len()));
    }
    let confusions = settings.confusions()?;
    match Rules::compile(checked.rules, &confusions, &Limits::default()) {
        Ok(rules) => Ok(Loaded::of(sources, rules, confusions, settings.clone())),
        Err(limit) => {
            let fault = Diagnostic::new("too-large", limit.place, limit.to_string())
                .help("split the family, or make its guards fewer");
            console.complain(&present::diagnostics::text(
                &fault,
                &sources,
                console.width(),
                false,
            ));
            Err(Failure::BrokenRules(1))
        }
    }
}

/// A digest of all rule texts and of what weighs them, so that an answer can be given again; the same wherever the rules lie.
fn digest(sources: &Sources, settings: &Settings) -> String {
    let names: Vec<(String, &str)> = sources
        .iter()
        .map(|(_, source)| {
            let name = within(&settings.folders, &source.name);
            (name, &*source.text)
        })
        .collect();
    let mut all: Vec<(&str, &str)> = names
        .iter()
        .map(|(name, text)| (name.as_str(), *text))
        .collect();
    let priors: Vec<(String, String)> = settings
        .priors
        .iter()
        .map(|(family, factor, _)| (format!("prior {family}"), factor.to_string()))
        .collect();
    all.extend(
        priors
            .iter()
            .map(|(name, factor)| (name.as_str(), factor.as_str())),
    );
    all.extend(
        settings
            .confusions
            .iter()
            .map(|(_, table)| ("confusions", table.as_str())),
    );
    all.sort_unstable();
    let mut hash = Sha256::new();
    for (name, text) in all {
        for part in [name, text] {
            hash.update((part.len() as u64).to_le_bytes());
            hash.update(part.as_bytes());
        }
    }
    let hex: String = hash
        .finalize()
        .iter()
        .map(|byte| format!("{byte:02x}"))
        .collect();
    format!("sha256:{hex}")
}

/// The family of a name, or the names near it.
pub(crate) fn family<'l>(
    loaded: &'l Loaded,
    name: &str,
) -> Result<(FamilyId, &'l Family), Failure> {
    let families = &loaded.rules.set().families;
    if let Some(at) = families.iter().position(|family| family.name == name) {
        return Ok((FamilyId::at(at), &families[at]));
    }
    let near = near(name, families.iter().map(|family| family.name.as_str()));
    let help = if near.is_empty() {
        "`etchlore rules list` lists all families".to_owned()
    } else {
        format!("did you mean {}?", near.join(" or "))
    };
    Err(Failure::Usage(
        format!("no family is called `{name}`"),
        help,
    ))
}
