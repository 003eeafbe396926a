//! Two generations of one product: what was carried over, revised, replaced, what is new and what is gone.

use super::account::{Account, PartAccount, true_family};
use super::inventory::{function_of, sockets};
use super::{Board, Part};
use crate::model::{FamilyId, MakerId, RuleSet};
use crate::rank::{Candidate, Depth, FieldAnswer};

/// Fields that tell one specimen or batch from another, not one part from another.
const OF_BATCH: [&str; 12] = [
    "date",
    "date_of",
    "year",
    "lot",
    "trace",
    "serial",
    "control",
    "maker_site",
    "assembly_site",
    "assembly_country",
    "wafer_site",
    "wafer_country",
];

/// Fields that a mark seldom prints: that one side does not say them makes no other part.
const SELDOM_PRINTED: [&str; 4] = ["packing", "lead_finish", "compliance", "symbol"];

/// What became of a part.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Match {
    /// The same part, as far as read also of the same date and plant.
    CarriedOver,
    /// The same part with another date or from another plant.
    OtherBatch,
    /// Of the same family with another code: revision, density, grade.
    Revised,
    /// Another part of the same maker in its place.
    Replaced,
    /// A part of another maker in its place.
    OtherMaker,
    /// A part in the same position, of which one of the two is not known.
    NotKnown,
    /// Only on the newer board.
    New,
    /// Only on the older board.
    Gone,
}

impl Match {
    /// All kinds with their words.
    pub const ALL: [(Match, &'static str); 8] = [
        (Match::CarriedOver, "carried over"),
        (Match::OtherBatch, "other date or plant"),
        (Match::Revised, "revised"),
        (Match::Replaced, "replaced by the same maker"),
        (Match::OtherMaker, "other maker"),
        (Match::NotKnown, "not known"),
        (Match::New, "new"),
        (Match::Gone, "gone"),
    ];

    /// The words of the kind.
    #[must_use]
    pub fn word(self) -> &'static str {
        let row = Match::ALL.iter().find(|(kind, _)| *kind == self);
        row.map_or("", |(_, word)| word)
    }
}

/// What became of one part.
#[derive(Debug, Clone, PartialEq)]
pub struct Change {
    /// Of which kind.
    pub kind: Match,
    /// Its place on the older board.
    pub old: Option<usize>,
    /// Its place on the newer board.
    pub new: Option<usize>,
    /// Fields that differ.
    pub fields: Vec<FieldChange>,
    /// How many there were and are, where that differs.
    pub quantity: Option<(u32, u32)>,
}

/// A field that differs.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FieldChange {
    /// Its name.
    pub name: String,
    /// On the older board; empty where it is not said there.
    pub old: String,
    /// On the newer board; empty where it is not said there.
    pub new: String,
}

/// Two boards held against each other.
#[derive(Debug, Clone, PartialEq)]
pub struct Comparison {
    /// By kind, then in the order of the newer board; what is gone in that of the older.
    pub changes: Vec<Change>,
    /// Sockets of each maker on the older and the newer board, the greatest change first.
    pub makers: Vec<(Option<MakerId>, u32, u32)>,
}

/// One side.
struct Side<'a> {
    part: &'a Part,
    known: &'a PartAccount,
    lead: Option<&'a Candidate>,
    family: Option<FamilyId>,
    function: String,
    text: String,
}

fn sides<'a>(set: &RuleSet, board: &'a Board, account: &'a Account) -> Vec<Side<'a>> {
    let both = board.parts.iter().zip(&account.parts);
    both.map(|(part, known)| {
        let lead = known.identity();
        let lines = known.reading.iter().flat_map(|reading| &reading.lines);
        let text: Vec<&str> = lines.map(|line| line.text.as_str()).collect();
        Side {
            part,
            known,
            lead,
            family: lead.map(true_family),
            function: function_of(set, part, known),
            text: text.join("\n"),
        }
    })
    .collect()
}

/// Holds the parts of two boards against each other: by family and code first, then by family, by function and position.
#[must_use]
pub fn compare(
    set: &RuleSet,
    (old_board, old_account): (&Board, &Account),
    (new_board, new_account): (&Board, &Account),
) -> Comparison {
    let old = sides(set, old_board, old_account);
    let new = sides(set, new_board, new_account);
    let mut pairing = Pairing {
        of_old: vec![None; old.len()],
        of_new: vec![None; new.len()],
    };
    let same_place = |a: &Side<'_>, b: &Side<'_>| a.part.at.iter().any(|at| b.part.at.contains(at));
    let code = |side: &Side<'_>| side.lead.and_then(|lead| lead.written.clone());
    // The same part; in the same place if it can be.
    let same_code = |a: &Side<'_>, b: &Side<'_>| {
        a.family.is_some() && a.family == b.family && code(a).is_some() && code(a) == code(b)
    };
    let same_text = |a: &Side<'_>, b: &Side<'_>| {
        a.family.is_none() && b.family.is_none() && !a.text.is_empty() && a.text == b.text
    };
    let same = |a: &Side<'_>, b: &Side<'_>| same_code(a, b) || same_text(a, b);
    pairing.pair(&old, &new, &|a, b| same(a, b) && same_place(a, b));
    pairing.pair(&old, &new, &same);
    let same_family = |a: &Side<'_>, b: &Side<'_>| a.family.is_some() && a.family == b.family;
    pairing.pair(&old, &new, &|a, b| same_family(a, b) && same_place(a, b));
    pairing.nearest(&old, &new, &same_family);
    // Another part for the same job.
    let job = |a: &Side<'_>, b: &Side<'_>| !a.function.is_empty() && a.function == b.function;
    pairing.pair(&old, &new, &|a, b| job(a, b) && same_place(a, b));
    let one_unknown = |a: &Side<'_>, b: &Side<'_>| {
        (a.lead.is_none() || b.lead.is_none())
            && (a.function.is_empty() || b.function.is_empty() || a.function == b.function)
    };
    pairing.pair(&old, &new, &|a, b| one_unknown(a, b) && same_place(a, b));
    pairing.only_ones(&old, &new, &job);
    let mut changes: Vec<Change> = Vec::new();
    for (at, partner) in pairing.of_new.iter().enumerate() {
        changes.push(match partner {
            Some(was) => change(set, (&old[*was], *was), (&new[at], at)),
            None => Change {
                kind: Match::New,
                old: None,
                new: Some(at),
                fields: Vec::new(),
                quantity: None,
            },
        });
    }
    for (at, partner) in pairing.of_old.iter().enumerate() {
        if partner.is_none() {
            changes.push(Change {
                kind: Match::Gone,
                old: Some(at),
                new: None,
                fields: Vec::new(),
                quantity: None,
            });
        }
    }
    changes.sort_by_key(|change| change.kind);
    Comparison {
        changes,
        makers: makers(set, (old_board, old_account), (new_board, new_account)),
    }
}

/// Who is whose partner, by place on the other board.
struct Pairing {
    of_old: Vec<Option<usize>>,
    of_new: Vec<Option<usize>>,
}

type Fits<'f> = dyn Fn(&Side<'_>, &Side<'_>) -> bool + 'f;

impl Pairing {
    fn join(&mut self, old: usize, new: usize) {
        self.of_old[old] = Some(new);
        self.of_new[new] = Some(old);
    }

    /// Joins what fits, each with the first that is free.
    fn pair(&mut self, old: &[Side<'_>], new: &[Side<'_>], fits: &Fits<'_>) {
        for (at, here) in new.iter().enumerate() {
            if self.of_new[at].is_some() {
                continue;
            }
            let free =
                (0..old.len()).find(|was| self.of_old[*was].is_none() && fits(&old[*was], here));
            if let Some(was) = free {
                self.join(was, at);
            }
        }
    }

    /// Joins what fits, each with the free one that differs in the fewest fields.
    fn nearest(&mut self, old: &[Side<'_>], new: &[Side<'_>], fits: &Fits<'_>) {
        for (at, here) in new.iter().enumerate() {
            if self.of_new[at].is_some() {
                continue;
            }
            let free =
                (0..old.len()).filter(|was| self.of_old[*was].is_none() && fits(&old[*was], here));
            let best = free.min_by_key(|was| {
                let (a, b) = (old[*was].lead, here.lead);
                a.zip(b)
                    .map_or(usize::MAX, |(a, b)| part_fields(a, b).len())
            });
            if let Some(was) = best {
                self.join(was, at);
            }
        }
    }

    /// Joins what fits where there is no choice.
    fn only_ones(&mut self, old: &[Side<'_>], new: &[Side<'_>], fits: &Fits<'_>) {
        for (at, here) in new.iter().enumerate() {
            if self.of_new[at].is_some() {
                continue;
            }
            let mut free =
                (0..old.len()).filter(|was| self.of_old[*was].is_none() && fits(&old[*was], here));
            let (Some(was), None) = (free.next(), free.next()) else {
                continue;
            };
            let rivals = new
                .iter()
                .enumerate()
                .filter(|(other, side)| self.of_new[*other].is_none() && fits(&old[was], side));
            if rivals.count() == 1 {
                self.join(was, at);
            }
        }
    }
}

fn change(set: &RuleSet, (was, old): (&Side<'_>, usize), (is, new): (&Side<'_>, usize)) -> Change {
    let mut fields = Vec::new();
    let kind = match (was.lead, is.lead) {
        (Some(a), Some(b)) if was.family == is.family => {
            fields = part_fields(a, b);
            if fields.is_empty() {
                fields = batch_fields(was, is);
                if fields.is_empty() {
                    Match::CarriedOver
                } else {
                    Match::OtherBatch
                }
            } else {
                Match::Revised
            }
        }
        (Some(a), Some(b)) => {
            fields = differing(a, b, &|name| !OF_BATCH.contains(&name), false);
            if was.known.true_maker(set, a) == is.known.true_maker(set, b) {
                Match::Replaced
            } else {
                Match::OtherMaker
            }
        }
        (None, None) if !was.text.is_empty() && was.text == is.text => Match::CarriedOver,
        _ => Match::NotKnown,
    };
    let (before, now) = (was.part.quantity, is.part.quantity);
    Change {
        kind,
        old: Some(old),
        new: Some(new),
        fields,
        quantity: (before != now).then_some((before, now)),
    }
}

/// What makes two members of a family different parts.
fn part_fields(a: &Candidate, b: &Candidate) -> Vec<FieldChange> {
    let whole = a.known_to == Depth::OrderingCode && b.known_to == Depth::OrderingCode;
    differing(a, b, &|name| !OF_BATCH.contains(&name), whole)
}

/// Dates and plants, of the first specimen.
fn batch_fields(was: &Side<'_>, is: &Side<'_>) -> Vec<FieldChange> {
    let all = |side: &Side<'_>| -> Vec<FieldAnswer> {
        let own = side.known.own.first().map(|(_, one)| one.fields.clone());
        let lead = side
            .lead
            .map(|lead| lead.fields.clone())
            .unwrap_or_default();
        own.unwrap_or_default().into_iter().chain(lead).collect()
    };
    let wanted =
        |name: &str| name == "date" || name.ends_with("_site") || name.ends_with("_country");
    differing_fields(&all(was), &all(is), &wanted, false)
}

fn differing(
    a: &Candidate,
    b: &Candidate,
    wanted: &dyn Fn(&str) -> bool,
    one_sided: bool,
) -> Vec<FieldChange> {
    differing_fields(&a.fields, &b.fields, wanted, one_sided)
}

/// Fields that both have and that differ; with `one_sided` also those that only one of them has.
fn differing_fields(
    a: &[FieldAnswer],
    b: &[FieldAnswer],
    wanted: &dyn Fn(&str) -> bool,
    one_sided: bool,
) -> Vec<FieldChange> {
    let mut found: Vec<FieldChange> = Vec::new();
    let mut add = |name: &str, old: &str, new: &str| {
        if found.iter().all(|known| known.name != name) {
            found.push(FieldChange {
                name: name.to_owned(),
                old: old.to_owned(),
                new: new.to_owned(),
            });
        }
    };
    // The base repeats what the fields of its codes say.
    let wanted = |name: &str| name != "base" && wanted(name);
    for field in a.iter().filter(|field| wanted(&field.name)) {
        match b.iter().find(|other| other.field == field.field) {
            Some(other) => {
                let same = match (&field.value, &other.value) {
                    (Some(x), Some(y)) => x.agrees(y),
                    _ => field.text == other.text && field.code == other.code,
                };
                if !same {
                    add(&field.name, &field.text, &other.text);
                }
            }
            None if one_sided && !SELDOM_PRINTED.contains(&field.name.as_str()) => {
                add(&field.name, &field.text, "")
            }
            None => {}
        }
    }
    if one_sided {
        let printed = |name: &str| wanted(name) && !SELDOM_PRINTED.contains(&name);
        for field in b.iter().filter(|field| printed(&field.name)) {
            if a.iter().all(|other| other.field != field.field) {
                add(&field.name, "", &field.text);
            }
        }
    }
    found
}

fn makers(
    set: &RuleSet,
    old: (&Board, &Account),
    new: (&Board, &Account),
) -> Vec<(Option<MakerId>, u32, u32)> {
    let mut all: Vec<(Option<MakerId>, u32, u32)> = Vec::new();
    for one in sockets(set, old.0, old.1) {
        all.push((one.maker, one.sockets, 0));
    }
    for one in sockets(set, new.0, new.1) {
        match all.iter_mut().find(|(maker, ..)| *maker == one.maker) {
            Some((_, _, now)) => *now = one.sockets,
            None => all.push((one.maker, 0, one.sockets)),
        }
    }
    all.sort_by_key(|(maker, was, is)| (std::cmp::Reverse(was.abs_diff(*is)), *maker));
    all
}
