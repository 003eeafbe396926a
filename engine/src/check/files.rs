//! Files, what they use, and what they declare.

use std::collections::{HashMap, HashSet};

use super::cx::{Cx, File, Item};
use crate::diagnostic::Diagnostic;
use crate::model::{FamilyId, Maker, MakerId, MakerMark, MakerMarkKind, Provenance, Window};
use crate::source::SourceId;
use crate::syntax::ast::{LineKind, Word};
use crate::syntax::{Parsed, parse};

/// The newest edition of the language known here.
const EDITION: &str = "1";

/// All declarations, by file and node, in a fixed order.
#[derive(Default)]
pub(super) struct Declared {
    pub(super) families: Vec<(usize, usize)>,
    pub(super) makers: Vec<(usize, usize)>,
    pub(super) family_ids: HashMap<String, FamilyId>,
    pub(super) maker_ids: HashMap<String, MakerId>,
    pub(super) family_names: Vec<String>,
}

/// Parses the roots and all that they use.
pub(super) fn load(cx: &mut Cx<'_>, roots: &[SourceId]) {
    let mut parsed = parse_all(cx, roots);
    for root in roots {
        load_one(cx, *root, &mut parsed, &mut Vec::new());
    }
}

/// Parses texts in two threads, each about half of the bytes: a text says nothing of another.
fn parse_all(cx: &Cx<'_>, roots: &[SourceId]) -> HashMap<SourceId, Parsed> {
    let sources = &*cx.sources;
    let all: usize = roots.iter().map(|id| sources.text(*id).len()).sum();
    let mut bytes = 0;
    let half = roots.iter().take_while(|id| {
        bytes += sources.text(**id).len();
        bytes <= all / 2
    });
    let (first, second) = roots.split_at(half.count());
    let of = |ids: &[SourceId]| -> Vec<(SourceId, Parsed)> {
        ids.iter()
            .map(|id| (*id, parse(*id, sources.text(*id))))
            .collect()
    };
    std::thread::scope(|scope| {
        let other = scope.spawn(|| of(second));
        let mut found = of(first);
        match other.join() {
            Ok(rest) => found.extend(rest),
            Err(panic) => std::panic::resume_unwind(panic),
        }
        found.into_iter().collect()
    })
}

/// Parses one text, if it is not parsed yet, and what it uses; gives its index in `cx.files`.
fn load_one(
    cx: &mut Cx<'_>,
    id: SourceId,
    ready: &mut HashMap<SourceId, Parsed>,
    open: &mut Vec<SourceId>,
) -> usize {
    if let Some(known) = cx.files.iter().position(|file| file.id == id) {
        return known;
    }
    let parsed = match ready.remove(&id) {
        Some(parsed) => parsed,
        None => parse(id, cx.sources.text(id)),
    };
    cx.diagnostics.extend(parsed.diagnostics);
    let index = cx.files.len();
    cx.files.push(File {
        id,
        tree: std::rc::Rc::new(parsed.tree),
        scope: HashMap::new(),
    });
    open.push(id);
    let uses: Vec<(Word, crate::source::Span)> = cx.files[index]
        .tree
        .top
        .iter()
        .filter_map(|node| {
            let node = &cx.files[index].tree.nodes[*node];
            match &node.kind {
                LineKind::Use { path, .. } => Some((path.clone(), node.content)),
                _ => None,
            }
        })
        .collect();
    for (path, _) in uses {
        let place = cx.place(index, path.span);
        let from = cx
            .sources
            .get(id)
            .map(|source| source.name.clone())
            .unwrap_or_default();
        match cx.loader.load(&from, &path.text) {
            Ok((name, text)) => {
                let builtin = name.starts_with("builtin/");
                let used = cx
                    .sources
                    .find(&name)
                    .unwrap_or_else(|| cx.sources.add(name, text, builtin));
                if open.contains(&used) {
                    let title = format!(
                        "`{}` uses this file, so that they use each other in a circle",
                        path.text
                    );
                    cx.note(
                        Diagnostic::new("use-cycle", place, title)
                            .help("move what both need to a third file"),
                    );
                } else {
                    load_one(cx, used, ready, open);
                }
            }
            Err(why) => {
                let title = format!("`{}` cannot be loaded: {why}", path.text);
                cx.note(Diagnostic::new("file-missing", place, title).help("paths are relative to the file that names them and stay inside the rule set; `builtin/NAME` is an embedded pack"));
            }
        }
    }
    open.pop();
    index
}

/// Gives every declaration its id, and every file its names.
pub(super) fn declare(cx: &mut Cx<'_>) -> Declared {
    let mut declared = Declared::default();
    let own = own_families(cx);
    for file in 0..cx.files.len() {
        let embedded = embedded(cx, file);
        let top = cx.files[file].tree.top.clone();
        let mut edition = false;
        for node in top {
            let kind = cx.files[file].tree.nodes[node].kind.clone();
            let (name, item) = match &kind {
                LineKind::Lore(number) => {
                    edition = true;
                    if number.text != EDITION {
                        let place = cx.place(file, number.span);
                        let title =
                            format!("edition {} of the language is not known here", number.text);
                        cx.note(
                            Diagnostic::new("unknown-edition", place, title)
                                .help(format!("this program reads `lore {EDITION}`")),
                        );
                    }
                    continue;
                }
                LineKind::Maker(name, _) => {
                    let id = MakerId::at(declared.makers.len());
                    declared.makers.push((file, node));
                    declared.maker_ids.entry(name.text.clone()).or_insert(id);
                    (name, Item::Maker(id))
                }
                // A lab that writes its own family of that name has replaced the embedded one.
                LineKind::Family(name, _) if embedded && own.contains(&name.text) => continue,
                LineKind::Family(name, _) => {
                    let id = FamilyId::at(declared.families.len());
                    declared.families.push((file, node));
                    declared.family_names.push(name.text.clone());
                    if let Some(first) = declared.family_ids.get(&name.text) {
                        let (f, n) = declared.families[first.index()];
                        let first = cx.place(f, cx.files[f].tree.nodes[n].content);
                        twice(cx, file, name, first);
                    } else {
                        declared.family_ids.insert(name.text.clone(), id);
                    }
                    (name, Item::Family(id))
                }
                LineKind::Table(name, ..) => (name, Item::Table(file, node)),
                LineKind::Group(name, _) => (name, Item::Group(file, node)),
                _ => continue,
            };
            let before = cx.files[file].scope.insert(name.text.clone(), item);
            if let Some(Item::Table(f, n) | Item::Group(f, n)) = before {
                let first = cx.place(f, cx.files[f].tree.nodes[n].content);
                twice(cx, file, name, first);
            }
        }
        let _ = edition;
    }
    bring_in(cx);
    declared
}

/// Whether a file is an embedded pack.
fn embedded(cx: &Cx<'_>, file: usize) -> bool {
    cx.sources
        .get(cx.files[file].id)
        .is_some_and(|source| source.builtin)
}

/// Names of the families that files outside the embedded packs declare.
fn own_families(cx: &Cx<'_>) -> HashSet<String> {
    let mut names = HashSet::new();
    for (at, file) in cx.files.iter().enumerate() {
        if embedded(cx, at) {
            continue;
        }
        for node in &file.tree.top {
            if let LineKind::Family(name, _) = &file.tree.nodes[*node].kind {
                names.insert(name.text.clone());
            }
        }
    }
    names
}

fn twice(cx: &mut Cx<'_>, file: usize, name: &Word, first: crate::source::Place) {
    let place = cx.place(file, name.span);
    let title = format!("`{}` is declared twice", name.text);
    cx.note(
        Diagnostic::new("twice-declared", place, title)
            .also(first, "first here")
            .help("rename one of them"),
    );
}

/// Brings used names into each file.
fn bring_in(cx: &mut Cx<'_>) {
    // A file's own names only, so that a name comes from where it is declared.
    let own: Vec<HashMap<String, Item>> = cx.files.iter().map(|file| file.scope.clone()).collect();
    for file in 0..cx.files.len() {
        let uses: Vec<(Word, Vec<Word>)> = cx.files[file]
            .tree
            .top
            .iter()
            .filter_map(|node| match &cx.files[file].tree.nodes[*node].kind {
                LineKind::Use { path, names } => Some((path.clone(), names.clone())),
                _ => None,
            })
            .collect();
        for (path, names) in uses {
            let from = cx
                .sources
                .get(cx.files[file].id)
                .map(|source| source.name.clone())
                .unwrap_or_default();
            let Ok((name, _)) = cx.loader.load(&from, &path.text) else {
                continue;
            };
            let Some(used) = cx
                .sources
                .find(&name)
                .and_then(|id| cx.files.iter().position(|f| f.id == id))
            else {
                continue;
            };
            if names.is_empty() {
                for (name, item) in &own[used] {
                    cx.files[file].scope.entry(name.clone()).or_insert(*item);
                }
            }
            for name in &names {
                match own[used].get(&name.text) {
                    Some(item) => {
                        cx.files[file]
                            .scope
                            .entry(name.text.clone())
                            .or_insert(*item);
                    }
                    None => {
                        let known: Vec<&str> = own[used].keys().map(String::as_str).collect();
                        cx.unknown(file, name, "name of that file", known);
                    }
                }
            }
        }
    }
}

/// The makers.
pub(super) fn makers(cx: &mut Cx<'_>, declared: &Declared) -> Vec<Maker> {
    let mut makers = Vec::with_capacity(declared.makers.len());
    for (file, node) in &declared.makers {
        let line = cx.files[*file].tree.nodes[*node].clone();
        let LineKind::Maker(name, title) = &line.kind else {
            continue;
        };
        let mut maker = Maker {
            name: name.text.clone(),
            title: if title.text.is_empty() {
                name.text.clone()
            } else {
                title.text.clone()
            },
            country: None,
            marks: Vec::new(),
            place: cx.place(*file, name.span),
            provenance: Provenance::default(),
        };
        for child in &line.children {
            match cx.files[*file].tree.nodes[*child].kind.clone() {
                LineKind::Clauses(clauses) => {
                    let mut window = Window::default();
                    cx.provenance(*file, &clauses, &mut maker.provenance, &mut window);
                }
                LineKind::MakerFact(word, text, clauses) => {
                    let kind = match word.text.as_str() {
                        "brand" => MakerMarkKind::Brand,
                        "logo" => MakerMarkKind::Logo,
                        "was" => MakerMarkKind::Was,
                        "became" => MakerMarkKind::Became,
                        "site" => MakerMarkKind::Site,
                        _ => {
                            maker.country = Some(text.text);
                            continue;
                        }
                    };
                    let mut window = Window::default();
                    cx.provenance(*file, &clauses, &mut Provenance::default(), &mut window);
                    maker.marks.push(MakerMark {
                        kind,
                        text: text.text,
                        window,
                    });
                }
                _ => {}
            }
        }
        makers.push(maker);
    }
    makers
}
