//! What a rule set makes of a corpus: by family, which entries were never met, and what nobody explains.

use std::collections::{BTreeMap, BTreeSet};

use jiff::civil::Date;

use super::corpus::{Corpus, Status, answer, reading};
use super::shape::shape;
use crate::Rules;
use crate::decode::{Effort, Scratch};
use crate::model::{CodeKind, Family, FamilyId, RowItem, SlotId, slots};
use crate::rank::Context;
use crate::source::Place;

/// Marks shown of a group.
const SHOWN: usize = 3;
/// A candidate below this probability does not count as one.
const CANDIDATE: f64 = 0.01;

/// What a rule set makes of a corpus.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Coverage {
    /// Marks, repeated ones counted.
    pub marks: usize,
    /// Those with a likely answer.
    pub decoded: usize,
    /// Those with several likely answers.
    pub ambiguous: usize,
    /// Those that no rule knows.
    pub none: usize,
    /// Those that are no reading.
    pub unreadable: usize,
    /// By family, in the order of the rule set; those that no mark names included.
    pub families: Vec<FamilyCoverage>,
    /// The marks that no rule knows, by shape, largest group first.
    pub undecoded: Vec<Group>,
}

/// One family.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FamilyCoverage {
    /// The family.
    pub family: FamilyId,
    /// Marks of which it is the likely answer, or that it explains as a remark.
    pub decoded: usize,
    /// Marks of which it is the first of several answers.
    pub first: usize,
    /// Marks of which it is another answer.
    pub rival: usize,
    /// What no decoded mark uses; empty for a family without any.
    pub unused: Vec<Unused>,
}

/// A part of a family that no mark of the corpus uses.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Unused {
    /// The slot; absent for an optional part of a row.
    pub slot: Option<String>,
    /// The code, or the names of the slots in the optional part.
    pub what: String,
    /// Where it is written.
    pub place: Place,
}

/// Marks of one shape.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Group {
    /// Their shape.
    pub shape: String,
    /// How many.
    pub marks: usize,
    /// Some of them.
    pub shown: Vec<String>,
}

/// What one mark says of families.
struct Said {
    status: Status,
    /// The family of the first answer.
    first: Option<FamilyId>,
    rivals: Vec<FamilyId>,
    /// Families that explain it, with the codes of theirs that it shows.
    used: Vec<(FamilyId, Vec<(usize, u32)>)>,
}

fn ask(rules: &Rules, mark: &str, today: Date, scratch: &mut Scratch) -> Said {
    let ranking = answer(rules, mark, Effort::Enough, &Context::on(today), scratch);
    let status = Status::of(ranking.as_ref());
    let mut said = Said {
        status,
        first: None,
        rivals: Vec::new(),
        used: Vec::new(),
    };
    let Some(ranking) = ranking else { return said };
    let mut candidates = ranking
        .candidates
        .iter()
        .filter(|c| c.probability >= CANDIDATE)
        .map(|c| c.family);
    said.first = candidates.next();
    said.rivals = candidates.collect();
    let mut explained: Vec<FamilyId> = ranking.remarks.iter().map(|r| r.family).collect();
    if status == Status::Decoded {
        explained.extend(said.first);
    }
    explained.sort_unstable();
    explained.dedup();
    for family in explained {
        let Some(reading) = reading(mark) else {
            continue;
        };
        let decoder = rules.decoder().only(family);
        let explanations = decoder.explain(&reading, today, scratch);
        let best = explanations
            .iter()
            .max_by(|a, b| a.bits().total_cmp(&b.bits()));
        said.used
            .push((family, best.map(|e| e.codes()).unwrap_or_default()));
    }
    said
}

/// Ranks every mark of a corpus, on `jobs` threads, as if read `today`.
#[must_use]
pub fn coverage(rules: &Rules, corpus: &Corpus, today: Date, jobs: usize) -> Coverage {
    let families = &rules.set().families;
    let mut of_families: Vec<FamilyCoverage> = (0..families.len())
        .map(|at| FamilyCoverage {
            family: FamilyId::at(at),
            decoded: 0,
            first: 0,
            rival: 0,
            unused: Vec::new(),
        })
        .collect();
    let mut used: Vec<BTreeSet<(usize, u32)>> = vec![BTreeSet::new(); families.len()];
    let mut none = Vec::new();
    let mut all = Coverage::default();
    let answers = corpus.ask(jobs, |mark, scratch| ask(rules, mark, today, scratch));
    for (of_corpus, said) in corpus.marks.iter().zip(answers) {
        let count = of_corpus.1;
        all.marks += count;
        match said.status {
            Status::Decoded => all.decoded += count,
            Status::Ambiguous => all.ambiguous += count,
            Status::Unreadable => all.unreadable += count,
            Status::None => {
                all.none += count;
                none.push(of_corpus);
            }
        }
        for (family, codes) in said.used {
            of_families[family.index()].decoded += count;
            used[family.index()].extend(codes);
        }
        if let (Status::Ambiguous, Some(first)) = (said.status, said.first) {
            of_families[first.index()].first += count;
        }
        for rival in said.rivals {
            of_families[rival.index()].rival += count;
        }
    }
    for ((family, used), covered) in families.iter().zip(&used).zip(&mut of_families) {
        if covered.decoded > 0 {
            covered.unused = unused(family, used);
        }
    }
    all.families = of_families;
    all.undecoded = by_shape(none);
    all
}

/// Groups marks of a corpus by their shape, the largest group first.
pub(super) fn by_shape<'c>(marks: impl IntoIterator<Item = &'c (String, usize)>) -> Vec<Group> {
    let mut groups: BTreeMap<String, Group> = BTreeMap::new();
    for (mark, count) in marks {
        let shape = shape(mark);
        let group = groups.entry(shape.clone()).or_insert_with(|| Group {
            shape,
            marks: 0,
            shown: Vec::new(),
        });
        group.marks += count;
        if group.shown.len() < SHOWN {
            group.shown.push(mark.clone());
        }
    }
    let mut groups: Vec<Group> = groups.into_values().collect();
    groups.sort_by(|a, b| b.marks.cmp(&a.marks).then_with(|| a.shape.cmp(&b.shape)));
    groups
}

fn unused(family: &Family, used: &BTreeSet<(usize, u32)>) -> Vec<Unused> {
    let mut found = Vec::new();
    for (at, slot) in family.slots.iter().enumerate() {
        // A slot of one code says nothing by it, and one that no mark shows is found by its rows.
        let shown = used.iter().any(|(of, _)| *of == at);
        if slot.literal || slot.codes.len() < 2 || !shown {
            continue;
        }
        for (code, model) in slot.codes.iter().enumerate() {
            if used.contains(&(at, code as u32)) || model.unlisted {
                continue;
            }
            let what = match &model.kind {
                CodeKind::Absent => "none".to_owned(),
                CodeKind::Listed(spelling) => spelling.text(),
                CodeKind::Open(_) => continue,
            };
            found.push(Unused {
                slot: Some(slot.name.clone()),
                what,
                place: model.place,
            });
        }
    }
    for form in &family.forms {
        let mut parts = Vec::new();
        optional_parts(&form.row.items, &mut parts);
        for part in parts {
            let slots: Vec<usize> = slots(part).into_iter().map(SlotId::index).collect();
            if slots
                .iter()
                .all(|slot| used.iter().all(|(of, _)| of != slot))
            {
                let names: Vec<&str> = slots
                    .iter()
                    .map(|slot| family.slots[*slot].name.as_str())
                    .collect();
                found.push(Unused {
                    slot: None,
                    what: format!("[ {} ]", names.join(" ")),
                    place: form.place,
                });
            }
        }
    }
    found
}

fn optional_parts<'r>(items: &'r [RowItem], found: &mut Vec<&'r [RowItem]>) {
    for item in items {
        if let RowItem::Optional(inner) = item {
            found.push(inner);
            optional_parts(inner, found);
        }
    }
}
