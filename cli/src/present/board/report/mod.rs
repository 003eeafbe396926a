//! An account as a page in words, of one edition.
//!
//! ```text
//! Account, BoardFile -> page() -> Page -> HTML, Markdown, CSV
//! ```
//!
//! What an edition leaves out is left out here: the forms of the page know of none.

pub(crate) mod edition;
pub(crate) mod image;
mod part;

use std::collections::BTreeSet;
use std::path::Path;

use etchlore_engine::board::{
    Account, Comparison, Match, State, Weight, blocks, questions, sockets,
};
use etchlore_engine::model::{FamilyId, RuleSet};
use etchlore_engine::value::Interval;
use jiff::civil::Date;

use super::view::{PartView, maker_name};
use crate::board_file::BoardFile;
use crate::present::wire::standing;
use crate::rules::Loaded;
pub(crate) use edition::Edition;
use image::Image;
pub(crate) use part::{Entry, Seg};

/// What every report says.
pub(crate) const CAUTIONS: [&str; 3] = [
    "A decoding is a hypothesis from print, not proof of identity or authenticity. Confirm with the maker's document before a part is substituted, above all in equipment whose failure can hurt someone.",
    "Opening products can injure: lithium cells must not be bent, pierced or shorted, mains capacitors hold charge, acid decapsulation is for trained people in a fume hood, and parts are sensitive to static discharge.",
    "Local codes and qualified practice come first.",
];

/// A report in words.
#[derive(Debug)]
pub(crate) struct Page {
    pub(crate) edition: Edition,
    pub(crate) product: String,
    pub(crate) generation: Option<String>,
    pub(crate) seller: Option<String>,
    pub(crate) built: Option<Interval>,
    pub(crate) seen: Date,
    /// Of the rules.
    pub(crate) digest: String,
    /// What the seller says.
    pub(crate) claims: Vec<String>,
    pub(crate) notes: Option<String>,
    pub(crate) places: u32,
    /// How many parts are in each state.
    pub(crate) states: Vec<(State, usize)>,
    pub(crate) pictures: Vec<Picture>,
    pub(crate) findings: Vec<FindingEntry>,
    pub(crate) parts: Vec<Entry>,
    pub(crate) blocks: Vec<(String, Vec<usize>)>,
    /// Makers with their sockets and parts.
    pub(crate) makers: Vec<(String, u32, Vec<usize>)>,
    pub(crate) questions: Vec<Asked>,
    pub(crate) compared: Option<Compared>,
    pub(crate) rules: Vec<RuleUsed>,
    /// Rules of the lab that are used and not named.
    pub(crate) unnamed: usize,
}

/// The board as seen, or its outline.
#[derive(Debug)]
pub(crate) struct Picture {
    pub(crate) title: String,
    pub(crate) image: Option<Image>,
    /// Width by height, in millimetres where measured.
    pub(crate) size: (f64, f64),
    pub(crate) places: Vec<Place>,
}

/// Where a part stands on a picture.
#[derive(Debug)]
pub(crate) struct Place {
    pub(crate) part: usize,
    /// Which of its places, from 0.
    pub(crate) number: usize,
    /// Its position there.
    pub(crate) name: String,
    /// X, y, width and height in percent.
    pub(crate) at: [f64; 4],
}

/// A finding in words.
#[derive(Debug)]
pub(crate) struct FindingEntry {
    pub(crate) weight: Weight,
    pub(crate) kind: &'static str,
    pub(crate) parts: Vec<usize>,
    pub(crate) text: String,
    pub(crate) why: Option<String>,
}

/// Something to look at next.
#[derive(Debug)]
pub(crate) struct Asked {
    pub(crate) part: usize,
    pub(crate) text: String,
    pub(crate) bits: f64,
    pub(crate) cost: &'static str,
}

/// What changed since an older board.
#[derive(Debug)]
pub(crate) struct Compared {
    pub(crate) old: String,
    /// Kind, name of the part, its place on this board, what.
    pub(crate) changes: Vec<(Match, String, Option<usize>, String)>,
    /// Makers with sockets before and now.
    pub(crate) makers: Vec<(String, u32, u32)>,
}

/// A rule that an answer rests on.
#[derive(Debug)]
pub(crate) struct RuleUsed {
    pub(crate) name: String,
    pub(crate) title: String,
    pub(crate) place: String,
    pub(crate) standing: &'static str,
    pub(crate) source: Option<String>,
    pub(crate) reviewed: Option<String>,
}

/// One board with its account.
pub(crate) type Side<'a> = (&'a BoardFile, &'a Account);

impl Page {
    /// The name of the board.
    pub(crate) fn title(&self) -> String {
        name_of(&self.product, self.generation.as_deref())
    }

    /// When it was built, for people.
    pub(crate) fn built_text(&self) -> Option<String> {
        self.built.map(|built| built.show())
    }
}

fn name_of(product: &str, generation: Option<&str>) -> String {
    match generation {
        Some(generation) => format!("{product}, generation {generation}"),
        None => product.to_owned(),
    }
}

/// The words of a weight as a heading.
pub(crate) fn weight_title(weight: Weight) -> &'static str {
    match weight {
        Weight::Conflict => "Does not fit",
        Weight::Open => "Open",
        Weight::Note => "Explained",
    }
}

/// The function of a block as a heading.
pub(crate) fn function_title(function: &str) -> &str {
    if function.is_empty() {
        "function not known"
    } else {
        function
    }
}

/// Parts in the words of an edition.
fn views(set: &RuleSet, edition: Edition, (file, account): Side<'_>) -> Vec<PartView> {
    let all = super::view::parts(set, &file.board, account);
    let both = all.into_iter().zip(&account.parts);
    both.map(|(view, known)| edition.part(set, view, known.lead()))
        .collect()
}

/// The page of a board; `images` are its photos, by their place in the file.
pub(crate) fn page(
    loaded: &Loaded,
    edition: Edition,
    (file, account): Side<'_>,
    against: Option<(Side<'_>, &Comparison)>,
    images: Vec<Image>,
) -> Page {
    let set = loaded.rules.set();
    let board = &file.board;
    let views = views(set, edition, (file, account));
    let compared = against.map(|(old, found)| compared(set, edition, old, &views, found));
    let rules = rules_used(account);
    let (named, unnamed): (Vec<FamilyId>, Vec<FamilyId>) = rules
        .into_iter()
        .partition(|id| !edition.is_client() || set.families[id.index()].builtin);
    let states = [
        State::Decided,
        State::Identified,
        State::Ambiguous,
        State::Unknown,
        State::Unread,
    ];
    let states = states.map(|state| {
        (
            state,
            views.iter().filter(|view| view.state == state).count(),
        )
    });
    let seller = board.seller.as_ref().map(|name| {
        let known = set.makers.iter().find(|maker| maker.name == *name);
        known.map_or_else(|| name.clone(), |maker| maker.title.clone())
    });
    let claims = board.claims.iter();
    Page {
        edition,
        product: board.product.clone(),
        generation: board.generation.clone(),
        seller,
        built: board.built,
        seen: board.seen,
        digest: loaded.digest().to_owned(),
        claims: claims
            .map(|claim| format!("{} {}", claim.kind.word(), claim.text))
            .collect(),
        notes: edition.inside(file.notes.clone()),
        places: views.iter().map(|view| view.quantity).sum(),
        states: states.into_iter().filter(|(_, count)| *count > 0).collect(),
        pictures: pictures(edition, file, images),
        findings: account
            .findings
            .iter()
            .map(|finding| {
                let name = match finding.parts.first() {
                    Some(at) => board.parts[*at].name(),
                    None => "board",
                };
                let (text, why) = edition.finding(finding, name);
                FindingEntry {
                    weight: finding.kind.weight(),
                    kind: finding.kind.word(),
                    parts: finding.parts.clone(),
                    text,
                    why,
                }
            })
            .collect(),
        blocks: blocks(set, board, account)
            .into_iter()
            .map(|block| (block.function, block.parts))
            .collect(),
        makers: sockets(set, board, account)
            .into_iter()
            .map(|one| (maker_name(set, one.maker), one.sockets, one.parts))
            .collect(),
        questions: asked(edition, account),
        parts: views
            .into_iter()
            .enumerate()
            .map(|(at, view)| part::entry(loaded, edition, (file, account), at, view))
            .collect(),
        compared,
        rules: named.into_iter().map(|id| rule(loaded, id)).collect(),
        unnamed: unnamed.len(),
    }
}

fn asked(edition: Edition, account: &Account) -> Vec<Asked> {
    let mut all: Vec<Asked> = Vec::new();
    for one in questions(account) {
        let text = edition.question(&one.text, one.cost);
        // Without their particulars several are the same.
        if all
            .iter()
            .all(|known| known.part != one.part || known.text != text)
        {
            all.push(Asked {
                part: one.part,
                text,
                bits: one.bits,
                cost: one.cost.word(),
            });
        }
    }
    all
}

/// The families that answers rest on, in the order of the rules.
fn rules_used(account: &Account) -> BTreeSet<FamilyId> {
    let mut used = BTreeSet::new();
    for known in &account.parts {
        let also = known
            .also
            .iter()
            .filter_map(|also| also.ranking.candidates.first());
        let dies = known
            .dies
            .iter()
            .filter_map(|die| die.ranking.candidates.first());
        for lead in known.lead().into_iter().chain(also).chain(dies) {
            used.insert(lead.family);
            used.extend(
                lead.relations
                    .stands_for
                    .as_ref()
                    .map(|stands| stands.family),
            );
            used.extend(lead.relations.contains.iter().map(|content| content.family));
        }
    }
    used
}

fn rule(loaded: &Loaded, id: FamilyId) -> RuleUsed {
    let family = &loaded.rules.set().families[id.index()];
    RuleUsed {
        name: family.name.clone(),
        title: family.title.clone(),
        place: loaded.rule_place(family.place),
        standing: standing(family.provenance.standing.unwrap_or_default()),
        source: family.provenance.source.clone(),
        reviewed: family.provenance.reviewed.map(|day| day.to_string()),
    }
}

fn compared(
    set: &RuleSet,
    edition: Edition,
    old: Side<'_>,
    new: &[PartView],
    found: &Comparison,
) -> Compared {
    let was = views(set, edition, old);
    let board = &old.0.board;
    let changes = found.changes.iter().map(|change| {
        let view = change.new.map(|at| &new[at]);
        let view = view.or(change.old.map(|at| &was[at]));
        let name = view.map_or_else(String::new, |view| view.name.clone());
        let words = super::changes::words(&was, new, &edition.change(change));
        (change.kind, name, change.new, words)
    });
    let makers = found.makers.iter();
    Compared {
        old: name_of(&board.product, board.generation.as_deref()),
        changes: changes.collect(),
        makers: makers
            .map(|(maker, was, is)| (maker_name(set, *maker), *was, *is))
            .collect(),
    }
}

/// Shape of a board that nobody measured.
const USUAL: (f64, f64) = (150.0, 100.0);

fn pictures(edition: Edition, file: &BoardFile, images: Vec<Image>) -> Vec<Picture> {
    let size = file
        .size
        .map_or(USUAL, |(width, height)| (width * 1e3, height * 1e3));
    let places = |photo: &str| -> Vec<Place> {
        let all = file.parts.iter().zip(&file.board.parts).enumerate();
        all.flat_map(|(part, (page, of))| {
            let here = page.on.iter().enumerate();
            here.filter(|(_, on)| on.photo == photo)
                .map(move |(number, on)| Place {
                    part,
                    number,
                    name: of
                        .at
                        .get(number)
                        .map_or(of.name(), String::as_str)
                        .to_owned(),
                    at: [on.x, on.y, on.width, on.height],
                })
        })
        .collect()
    };
    let mut images = images.into_iter();
    let mut all: Vec<Picture> = Vec::new();
    for (number, photo) in file.photos.iter().enumerate() {
        // What a photo is called may say whose it is.
        let title = match edition {
            Edition::Internal => format!("{} ({})", photo.name, relative(file, &photo.file)),
            Edition::Client => format!("view {}", number + 1),
        };
        all.push(Picture {
            title,
            image: images.next(),
            size,
            places: places(&photo.name),
        });
    }
    if all.is_empty() {
        all.push(Picture {
            title: "outline".to_owned(),
            image: None,
            size,
            places: places(""),
        });
    }
    all.retain(|picture| picture.image.is_some() || !picture.places.is_empty());
    all
}

/// A file by its way from the board file's folder, with the separators of every machine.
fn relative(file: &BoardFile, path: &Path) -> String {
    let folder = file.path.parent().unwrap_or(Path::new(""));
    let inner = path.strip_prefix(folder).unwrap_or(path);
    let parts: Vec<_> = inner
        .components()
        .map(|part| part.as_os_str().to_string_lossy())
        .collect();
    parts.join("/")
}
