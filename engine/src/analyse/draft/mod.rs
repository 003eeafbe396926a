//! Marks that no rule explains -> families for a keeper to finish.
//!
//! ```text
//! corpus -> (what is decoded drops out) -> cut into runs -> stems -> rows of places -> text -> tried on the same marks
//! ```
//!
//! `cut.rs` parts a mark into runs, `stems.rs` finds which marks belong together, `fit.rs` what their places hold, `write.rs` makes
//! text of it. What a draft explains is not what it was made from, but what the decoder says of it.

mod cut;
mod fit;
mod stems;
mod write;

use std::collections::{BTreeMap, BTreeSet, HashSet};

use jiff::civil::Date;

use super::corpus::{Corpus, Status, in_short};
use super::coverage::{Group, by_shape};
use super::splits::splits;
use crate::Rules;
use crate::check::check;
use crate::compile::Limits;
use crate::decode::Effort;
use crate::format::format;
use crate::glyph::Confusions;
use crate::rank::Context;
use crate::source::{LoadError, Loader, Sources};

/// As lists are decoded: they are typed, and damage beyond look-alikes takes what no rule covers for its neighbours.
const EFFORT: Effort = Effort::Quick;

/// How families are drafted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Drafting {
    /// Day of reading.
    pub today: Date,
    /// Threads.
    pub jobs: usize,
    /// Different marks that a family has at the least.
    pub least: usize,
}

/// Drafted families, and what is left.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Draft {
    /// The rule text; empty where no family could be drafted.
    pub text: String,
    /// Its families, in the order of the text: that of most marks first.
    pub families: Vec<Drafted>,
    /// Marks, repeated ones counted.
    pub marks: usize,
    /// Those that the rules decode already.
    pub decoded: usize,
    /// Those of which the rules know several answers.
    pub ambiguous: usize,
    /// Those that are no reading.
    pub unreadable: usize,
    /// What neither the rules nor the draft explain, by shape, largest group first.
    pub remaining: Vec<Group>,
}

/// One drafted family.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Drafted {
    /// Its name.
    pub name: String,
    /// What all its marks begin with.
    pub stem: String,
    /// Marks that it explains, repeated ones counted.
    pub marks: usize,
    /// Different ones.
    pub different: usize,
    /// Those among `marks` of which the answer is not sure, as the family says too little about them.
    pub doubtful: usize,
}

/// What a drafted text is headed by.
const HEAD: &str = "lore 1
# Drafted from marks that no rule explains. To finish a family: say its maker, its function and its source; name its places; and say
# what they mean, the field behind the name of a place (`gives density Mbit`), the value behind each code. Then give the
# examples the fields that you know of those marks. `etchlore rules check` says what is missing.
";

/// Drafts rules for the marks of a corpus that these rules do not explain.
#[must_use]
pub fn draft(rules: &Rules, corpus: &Corpus, how: &Drafting) -> Draft {
    let mut draft = Draft::default();
    let context = Context::on(how.today);
    let known = corpus.ask(how.jobs, |mark, scratch| {
        Status::of(in_short(rules, mark, EFFORT, &context, scratch).as_ref())
    });
    let mut marks = Vec::new();
    let mut open: Vec<usize> = Vec::new();
    for (at, ((text, times), status)) in corpus.marks.iter().zip(known).enumerate() {
        draft.marks += times;
        match status {
            Status::Decoded => draft.decoded += times,
            Status::Ambiguous => draft.ambiguous += times,
            Status::Unreadable => draft.unreadable += times,
            Status::None => {
                open.push(at);
                marks.extend(cut::cut(at, text, *times));
            }
        }
    }
    let least = how.least.max(2);
    // What differs in case or spaces alone is one mark.
    let mut known = HashSet::new();
    marks.retain(|mark| known.insert(mark.chars.clone()));
    let mut groups = stems::groups(&marks, least);
    let times =
        |group: &stems::Group<'_>| -> usize { group.marks.iter().map(|mark| mark.times).sum() };
    groups.sort_by_key(|group| (std::cmp::Reverse(times(group)), group.marks[0].at));
    let mut names: HashSet<String> = rules
        .set()
        .families
        .iter()
        .map(|family| family.name.clone())
        .collect();
    let mut written: Vec<write::Written> = Vec::new();
    groups.retain(|group| !group.fit.rows.is_empty());
    for group in &groups {
        let of_group = write::family(group, &|name| names.contains(name));
        names.insert(of_group.name.clone());
        written.push(of_group);
    }
    let rules = tried(&mut groups, &mut written, least);
    // Families that explain too little by the decoder's own account are left out. The others do not depend on them.
    let explained = explained(rules.as_ref(), corpus, &open, how);
    let mut by_family: BTreeMap<usize, Drafted> = BTreeMap::new();
    for (at, found) in open.iter().zip(&explained) {
        let Some((family, status)) = found else {
            continue;
        };
        let of_family = by_family.entry(*family).or_insert_with(|| Drafted {
            name: written[*family].name.clone(),
            stem: written[*family].stem.clone(),
            marks: 0,
            different: 0,
            doubtful: 0,
        });
        let times = corpus.marks[*at].1;
        of_family.marks += times;
        of_family.different += 1;
        if *status != Status::Decoded {
            of_family.doubtful += times;
        }
    }
    by_family.retain(|_, family| family.different >= least);
    let left = open
        .iter()
        .zip(&explained)
        .filter(|(_, found)| found.is_none_or(|(family, _)| !by_family.contains_key(&family)));
    draft.remaining = by_shape(left.map(|(at, _)| &corpus.marks[*at]));
    if !by_family.is_empty() {
        let texts = by_family.keys().map(|at| written[*at].text.as_str());
        let text: Vec<&str> = std::iter::once(HEAD).chain(texts).collect();
        draft.text = format(&text.join("\n")).text;
    }
    draft.families = by_family.into_values().collect();
    draft
}

/// A draft names no other file.
struct NoFiles;

impl Loader for NoFiles {
    fn load(&self, _from: &str, _path: &str) -> Result<(String, String), LoadError> {
        Err(LoadError::NotFound)
    }
}

/// The drafted rules, compiled. A family in which one text could be cut in two ways gets its places without any that may be empty, or else
/// goes.
fn tried(
    groups: &mut [stems::Group<'_>],
    written: &mut Vec<write::Written>,
    least: usize,
) -> Option<Rules> {
    let (rules, doubtful) = compiled(written)?;
    if doubtful.is_empty() {
        return Some(rules);
    }
    for at in &doubtful {
        let group = &mut groups[*at];
        group.fit = fit::fit(&group.marks, group.stem, least, false);
        let name = written[*at].name.clone();
        written[*at] = write::family(group, &|_| false);
        written[*at].rename(&name);
    }
    let (rules, doubtful) = compiled(written)?;
    if doubtful.is_empty() {
        return Some(rules);
    }
    let mut at = 0;
    written.retain(|_| {
        at += 1;
        !doubtful.contains(&(at - 1))
    });
    compiled(written).map(|(rules, _)| rules)
}

/// Compiles drafted families, and says which of them can cut one text in two ways; `None` where the text is broken.
fn compiled(written: &[write::Written]) -> Option<(Rules, BTreeSet<usize>)> {
    let text: Vec<&str> = std::iter::once(HEAD)
        .chain(written.iter().map(|family| family.text.as_str()))
        .collect();
    let mut sources = Sources::default();
    let root = sources.add("draft.lore", text.join("\n"), false);
    let checked = check(&mut sources, &[root], &NoFiles);
    if checked.has_errors() {
        return None;
    }
    let rules = Rules::compile(checked.rules, &Confusions::default(), &Limits::default()).ok()?;
    let starts: Vec<u32> = rules
        .set()
        .families
        .iter()
        .map(|family| family.place.span.start)
        .collect();
    let doubtful = splits(&rules)
        .iter()
        .filter_map(|fault| fault.place())
        .filter_map(|place| {
            starts
                .partition_point(|start| *start <= place.span.start)
                .checked_sub(1)
        })
        .collect();
    Some((rules, doubtful))
}

/// Which family each open mark is of, by the drafted rules alone, and how surely.
fn explained(
    rules: Option<&Rules>,
    corpus: &Corpus,
    open: &[usize],
    how: &Drafting,
) -> Vec<Option<(usize, Status)>> {
    let Some(rules) = rules else {
        return vec![None; open.len()];
    };
    // They are different already, so gathering keeps their order.
    let marks = open.iter().map(|at| (&corpus.marks[*at].0, 1));
    let context = Context::on(how.today);
    Corpus::counted(marks).ask(how.jobs, |mark, scratch| {
        let ranking = in_short(rules, mark, EFFORT, &context, scratch)?;
        let status = Status::of(Some(&ranking));
        let first = ranking.candidates.first()?;
        (status != Status::None).then_some((first.family.index(), status))
    })
}
