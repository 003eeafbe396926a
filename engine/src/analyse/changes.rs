//! What decodes differently between two versions of a rule set, mark by mark, grouped by the edits that are the cause.

use std::collections::{BTreeMap, BTreeSet};

use jiff::civil::Date;

use super::corpus::{Corpus, Status, answer, in_short, reading};
use super::edits::{Edit, Part, code_name, edits};
use crate::Rules;
use crate::decode::{Effort, Scratch};
use crate::model::FamilyId;
use crate::rank::{Context, FieldAnswer, Ranking};

/// Probabilities in short that differ by less are the same.
const SAME: f64 = 1e-9;
/// The name under which what disagrees is compared beside the fields.
const ODD: &str = "disagreement";
/// A remark below this probability is none.
const REMARK: f64 = 0.5;

/// How two versions are compared.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Comparing {
    /// Day of reading.
    pub today: Date,
    /// A probability that moves by more is a change.
    pub threshold: f64,
    /// Threads.
    pub jobs: usize,
    /// How hard marks are read.
    pub effort: Effort,
    /// Whether something beside the rules differs too (priors, misreadings), so that every mark may.
    pub settings_differ: bool,
}

/// The outcome.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Changes {
    /// Marks compared, repeated ones counted.
    pub marks: usize,
    /// All edits that can matter, also those of which no mark takes notice.
    pub edits: Vec<Edit>,
    /// The marks whose answer differs, in the order of the corpus.
    pub changed: Vec<Change>,
    /// The causes, that of most marks first.
    pub causes: Vec<Cause>,
}

/// Marks with one cause.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Cause {
    /// Edits, by index; none where something beside the rules is the cause.
    pub edits: Vec<usize>,
    /// Marks, by index in `changed`.
    pub changed: Vec<usize>,
}

/// One mark whose answer differs.
#[derive(Debug, Clone, PartialEq)]
pub struct Change {
    /// The mark.
    pub mark: String,
    /// How often it stands in the corpus.
    pub count: usize,
    /// The answer by the old rules.
    pub old: Answer,
    /// The answer by the new rules.
    pub new: Answer,
    /// Fields that differ: name, old text, new text; absent where there is none.
    pub fields: Vec<(String, Option<String>, Option<String>)>,
}

/// What an answer amounts to.
#[derive(Debug, Clone, PartialEq)]
pub struct Answer {
    /// Status.
    pub status: Status,
    /// The likeliest family, unless no rule knows the mark.
    pub family: Option<String>,
    /// Its probability, or that of none.
    pub probability: f64,
}

/// Ranks each mark by both versions.
#[must_use]
pub fn changes(old: &Rules, new: &Rules, corpus: &Corpus, how: &Comparing) -> Changes {
    let edits = edits(old.set(), new.set());
    let marks = corpus.marks.iter().map(|(_, count)| count).sum();
    let mut found = Changes {
        marks,
        edits,
        ..Changes::default()
    };
    if found.edits.is_empty() && !how.settings_differ {
        return found;
    }
    let touched = Touched::new(old, new, &found.edits, how);
    let context = Context::on(how.today);
    let compared = corpus.ask(how.jobs, |mark, scratch| {
        if !touched.concerns(mark, &context, scratch) {
            return None;
        }
        let before = answer(old, mark, how.effort, &context, scratch);
        let after = answer(new, mark, how.effort, &context, scratch);
        let change = differ(old, new, mark, before.as_ref(), after.as_ref(), how)?;
        let (a, b) = (before.as_ref(), after.as_ref());
        let why = causes(old, new, mark, &change, a, b, &found.edits, how, scratch);
        Some((change, why))
    });
    let mut causes: BTreeMap<Vec<usize>, Vec<usize>> = BTreeMap::new();
    for ((_, count), compared) in corpus.marks.iter().zip(compared) {
        if let Some((change, why)) = compared {
            causes.entry(why).or_default().push(found.changed.len());
            found.changed.push(Change {
                count: *count,
                ..change
            });
        }
    }
    found.causes = causes
        .into_iter()
        .map(|(edits, changed)| Cause { edits, changed })
        .collect();
    found
        .causes
        .sort_by_key(|cause| std::cmp::Reverse(cause.changed.len()));
    found
}

/// Which marks the edits can concern.
struct Touched<'r> {
    all: bool,
    effort: Effort,
    versions: [(&'r Rules, BTreeSet<FamilyId>); 2],
}

impl<'r> Touched<'r> {
    fn new(old: &'r Rules, new: &'r Rules, edits: &[Edit], how: &Comparing) -> Touched<'r> {
        let edited: BTreeSet<&str> = edits.iter().map(|edit| edit.family.as_str()).collect();
        let of = |rules: &'r Rules| {
            let families = &rules.set().families;
            // A family whose codes stand for parts of an edited one says what that says.
            let touched = (0..families.len()).map(FamilyId::at).filter(|id| {
                let name = |id: &FamilyId| families[id.index()].name.as_str();
                reach(rules, *id).iter().any(|id| edited.contains(name(id)))
            });
            (rules, touched.collect())
        };
        Touched {
            all: how.settings_differ,
            effort: how.effort,
            versions: [of(old), of(new)],
        }
    }

    /// Whether an answer to a mark can differ: a family edited is among those that explain it, or a figure moves. An answer in short knows
    /// both, and costs a small part of a whole one.
    fn concerns(&self, mark: &str, context: &Context, scratch: &mut Scratch) -> bool {
        if self.all {
            return true;
        }
        let mut first: Option<(Option<String>, f64, f64)> = None;
        for (rules, touched) in &self.versions {
            let Some(ranking) = in_short(rules, mark, self.effort, context, scratch) else {
                return false;
            };
            if explaining(&ranking).any(|id| touched.contains(&id)) {
                return true;
            }
            let best = ranking.candidates.first();
            let name = best.map(|best| rules.set().families[best.family.index()].name.clone());
            let probability = best.map_or(0.0, |best| best.probability);
            match &first {
                None => first = Some((name, probability, ranking.none)),
                Some((of_old, old, none)) => {
                    return *of_old != name
                        || (old - probability).abs() > SAME
                        || (none - ranking.none).abs() > SAME;
                }
            }
        }
        false
    }
}

/// The families that have a part in an answer.
fn explaining(ranking: &Ranking) -> impl Iterator<Item = FamilyId> + '_ {
    let named = ranking.candidates.iter().map(|c| c.family);
    let named = named.chain(ranking.remarks.iter().map(|r| r.family));
    named.chain(ranking.others.iter().map(|(family, _)| *family))
}

/// A family, and those that its codes stand for, and so on.
fn reach(rules: &Rules, family: FamilyId) -> BTreeSet<FamilyId> {
    let mut reached = BTreeSet::new();
    let mut next = vec![family];
    while let Some(id) = next.pop() {
        if reached.insert(id) {
            let slots = &rules.set().families[id.index()].slots;
            let codes = slots.iter().flat_map(|slot| &slot.codes);
            next.extend(codes.filter_map(|code| Some(code.stands.as_ref()?.family)));
        }
    }
    reached
}

fn amount(rules: &Rules, ranking: Option<&Ranking>) -> Answer {
    let status = Status::of(ranking);
    let first = ranking.and_then(|ranking| ranking.candidates.first());
    match (status, first) {
        (Status::Decoded | Status::Ambiguous, Some(first)) => Answer {
            status,
            family: Some(rules.set().families[first.family.index()].name.clone()),
            probability: first.probability,
        },
        _ => Answer {
            status,
            family: None,
            probability: ranking.map_or(0.0, |ranking| ranking.none),
        },
    }
}

fn of_fields(prefix: &str, fields: &[FieldAnswer], all: &mut BTreeMap<String, String>) {
    for field in fields {
        let text = if field.unknown {
            format!("code {}, not listed", field.code.as_deref().unwrap_or("?"))
        } else {
            field.text.clone()
        };
        all.insert(format!("{prefix}{}", field.name), text);
    }
}

fn fields(rules: &Rules, ranking: Option<&Ranking>) -> BTreeMap<String, String> {
    let mut all = BTreeMap::new();
    let Some(ranking) = ranking else { return all };
    if Status::of(Some(ranking)) != Status::None
        && let Some(first) = ranking.candidates.first()
    {
        of_fields("", &first.fields, &mut all);
        let odd: Vec<&str> = first
            .disagreements
            .iter()
            .map(|d| d.text.as_str())
            .collect();
        if !odd.is_empty() {
            all.insert(ODD.to_owned(), odd.join("; "));
        }
    }
    for remark in ranking.remarks.iter().filter(|r| r.probability >= REMARK) {
        let family = &rules.set().families[remark.family.index()].name;
        of_fields(&format!("{family}: "), &remark.fields, &mut all);
    }
    all
}

fn differ(
    old: &Rules,
    new: &Rules,
    mark: &str,
    before: Option<&Ranking>,
    after: Option<&Ranking>,
    how: &Comparing,
) -> Option<Change> {
    let (a, b) = (amount(old, before), amount(new, after));
    let (of_a, of_b) = (fields(old, before), fields(new, after));
    let names: BTreeSet<&String> = of_a.keys().chain(of_b.keys()).collect();
    let fields: Vec<(String, Option<String>, Option<String>)> = names
        .into_iter()
        .filter(|name| of_a.get(*name) != of_b.get(*name))
        .map(|name| {
            (
                name.clone(),
                of_a.get(name).cloned(),
                of_b.get(name).cloned(),
            )
        })
        .collect();
    let moved = (a.probability - b.probability).abs() > how.threshold;
    (a.family != b.family || !fields.is_empty() || moved).then(|| Change {
        mark: mark.to_owned(),
        count: 1,
        old: a,
        new: b,
        fields,
    })
}

/// What the likeliest explanation of a mark by one family shows: its slots with the names of their codes.
fn shown(
    rules: &Rules,
    family: &str,
    mark: &str,
    today: Date,
    scratch: &mut Scratch,
) -> Vec<(String, String)> {
    let set = rules.set();
    let at = set.families.iter().position(|f| f.name == family);
    let (Some(at), Some(reading)) = (at, reading(mark)) else {
        return Vec::new();
    };
    let decoder = rules.decoder().only(FamilyId::at(at));
    let explanations = decoder.explain(&reading, today, scratch);
    let best = explanations
        .iter()
        .max_by(|a, b| a.bits().total_cmp(&b.bits()));
    best.map(|best| best.codes())
        .unwrap_or_default()
        .into_iter()
        .map(|(slot, code)| {
            let slot = &set.families[at].slots[slot];
            (slot.name.clone(), code_name(&slot.codes[code as usize]))
        })
        .collect()
}

/// The edits that can have made a change: those of codes that the mark shows or of fields that differ, else those of slots that it shows,
/// else all of the families concerned.
#[allow(clippy::too_many_arguments)]
fn causes(
    old: &Rules,
    new: &Rules,
    mark: &str,
    change: &Change,
    before: Option<&Ranking>,
    after: Option<&Ranking>,
    edits: &[Edit],
    how: &Comparing,
    scratch: &mut Scratch,
) -> Vec<usize> {
    let mut families: BTreeSet<&str> = BTreeSet::new();
    for (rules, ranking) in [(old, before), (new, after)] {
        let Some(ranking) = ranking else { continue };
        let named = explaining(ranking).flat_map(|id| reach(rules, id));
        families.extend(named.map(|id| rules.set().families[id.index()].name.as_str()));
    }
    let concerned: Vec<usize> = (0..edits.len())
        .filter(|at| families.contains(edits[*at].family.as_str()))
        .collect();
    let mut shows: BTreeMap<&str, Vec<(String, String)>> = BTreeMap::new();
    for at in &concerned {
        let family = edits[*at].family.as_str();
        shows.entry(family).or_insert_with(|| {
            let mut all = shown(old, family, mark, how.today, scratch);
            all.extend(shown(new, family, mark, how.today, scratch));
            all
        });
    }
    let moved = (change.old.probability - change.new.probability).abs() > how.threshold
        || change.old.family != change.new.family;
    let differs = |field: &str| {
        change
            .fields
            .iter()
            .any(|(name, ..)| name == field || name.ends_with(&format!(": {field}")))
    };
    let exact = |edit: &Edit| {
        let shown = &shows[edit.family.as_str()];
        match &edit.part {
            Part::Whole => true,
            Part::Code(slot, code) => shown.iter().any(|(s, c)| s == slot && c == code),
            Part::Field(field) => differs(field),
            Part::Never | Part::Check => differs(ODD),
            Part::Head | Part::Form(_) | Part::Slot(_) => false,
        }
    };
    let near = |edit: &Edit| {
        let shown = &shows[edit.family.as_str()];
        match &edit.part {
            Part::Code(slot, _) | Part::Slot(slot) => shown.iter().any(|(s, _)| s == slot),
            Part::Head | Part::Never | Part::Check | Part::Form(_) => moved,
            _ => false,
        }
    };
    let tier = |fits: &dyn Fn(&Edit) -> bool| -> Vec<usize> {
        let all = concerned.iter().copied();
        all.filter(|at| fits(&edits[*at])).collect()
    };
    let found = tier(&exact);
    if !found.is_empty() {
        return found;
    }
    let found = tier(&near);
    if found.is_empty() { concerned } else { found }
}
