//! Marks of one stem -> rows of places, each with a list of codes or an open shape.
//!
//! What is cheaper to say is chosen, in bits: a list of codes costs its codes and then little for each mark, an open shape costs nothing
//! itself and much for each mark; a mark that no row takes costs all of its characters.

use std::collections::{BTreeMap, BTreeSet, HashMap};

use super::cut::{Class, Mark, Run};

/// Bits of a character about which nothing is known.
pub(super) const CHARACTER: f64 = 5.3;
/// Bits of a family, of a row, of a place and of a code in a list, beside their characters.
pub(super) const FAMILY: f64 = 60.0;
const ROW: f64 = 20.0;
const PLACE: f64 = 12.0;
const CODE: f64 = 6.0;
/// The most codes that a drafted list has.
const MOST_CODES: usize = 40;
/// The most rows of a family.
const MOST_ROWS: usize = 8;
/// The most places of a row that may stay empty.
const MOST_OPTIONAL: usize = 4;
/// Lengths of a run that are tried cut in pieces.
const CUTS: std::ops::RangeInclusive<usize> = 2..=8;
/// Patterns of runs in one segment beyond which no order is seen in it, and the share that they must cover.
const PATTERNS: (usize, f64) = (4, 0.9);
/// Bits of cutting within a number: that numbers are read whole is usual.
const CUT_NUMBER: f64 = 25.0;
/// Different numbers of four digits from which it shows that two of them are weeks, and the last week.
const DATES: usize = 20;
const WEEKS: std::ops::RangeInclusive<&str> = "01"..="53";
/// With more marks than this, costs are judged by a sample.
const SAMPLE: usize = 1500;

/// What stands in a place.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Content {
    /// Always this.
    Constant(String),
    /// One of these, with the marks that have each, by text.
    Listed {
        codes: Vec<(String, usize)>,
        /// Some are met once, so there are probably more.
        partial: bool,
    },
    /// Any of a class.
    Open {
        class: Class,
        least: usize,
        most: usize,
    },
}

/// A place of a row.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Place {
    /// The run that it is cut from.
    pub(super) run: usize,
    /// Where in the run it begins and ends; the whole run where that has no fixed length.
    pub(super) part: Option<(usize, usize)>,
    pub(super) content: Content,
    /// Marks without it.
    pub(super) absent: usize,
    /// Whether its numbers look like weeks of a year, with the year beside them.
    pub(super) weeks: bool,
}

/// A row with its marks.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Row {
    /// The classes of its runs.
    pub(super) classes: Vec<Class>,
    pub(super) places: Vec<Place>,
    /// The marks, by place in the group, with the text of each run.
    pub(super) marks: Vec<(usize, Vec<Option<String>>)>,
}

/// How a group of marks is described.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct Fit {
    pub(super) cost: f64,
    pub(super) rows: Vec<Row>,
    /// Marks that no row takes, by place in the group.
    pub(super) left: Vec<usize>,
}

/// What a mark costs that nothing describes.
pub(super) fn bare(mark: &Mark) -> f64 {
    CHARACTER * mark.chars.len() as f64 + 10.0
}

/// Bits of telling apart alternatives met so often, in all.
pub(super) fn telling(counts: impl IntoIterator<Item = usize> + Clone) -> f64 {
    let all: usize = counts.clone().into_iter().sum();
    counts
        .into_iter()
        .filter(|n| *n > 0)
        .map(|n| n as f64 * (all as f64 / n as f64).log2())
        .sum()
}

/// What a group of one stem costs, judged by a sample of it; that its marks are of this group, among `all`, has its price too.
pub(super) fn cost(group: &[&Mark], stem: usize, least: usize, all: usize) -> f64 {
    let chosen = group.len() as f64 * (all as f64 / group.len() as f64).log2();
    if group.len() <= SAMPLE {
        return chosen + fit(group, stem, least, true).cost;
    }
    let step = group.len() as f64 / SAMPLE as f64;
    let sample: Vec<&Mark> = (0..SAMPLE)
        .map(|n| group[(n as f64 * step) as usize])
        .collect();
    chosen + fit(&sample, stem, least, true).cost * step
}

/// Describes marks that share their first `stem` characters.
///
/// Marks of the same boundaries and classes make a row; with `joined`, one that lacks single places of another row belongs to that.
pub(super) fn fit(group: &[&Mark], stem: usize, least: usize, joined: bool) -> Fit {
    let runs = tokens(group, stem);
    let mut by_classes: BTreeMap<Vec<Class>, Vec<usize>> = BTreeMap::new();
    for (at, runs) in runs.iter().enumerate() {
        let classes = runs.iter().map(|run| run.class).collect();
        by_classes.entry(classes).or_default().push(at);
    }
    let mut kinds: Vec<(Vec<Class>, Vec<usize>)> = by_classes.into_iter().collect();
    kinds.sort_by(|a, b| b.1.len().cmp(&a.1.len()).then_with(|| a.0.cmp(&b.0)));
    // A pattern that hardly any mark has is a slip of the list rather than a part of the family.
    let seldom = (group.len() / 200).max(if group.len() < 20 { 1 } else { 2 });
    let mut fit = Fit::default();
    for (classes, marks) in kinds {
        let texts = |at: &usize| -> (usize, Vec<Option<String>>) {
            let texts = runs[*at].iter().map(|run| Some(run.text.clone()));
            (*at, texts.collect())
        };
        let taken = joined
            && marks.len() >= seldom
            && fit
                .rows
                .iter_mut()
                .any(|row| join(row, &classes, &marks, &texts));
        if taken {
            continue;
        }
        if marks.len() >= least && fit.rows.len() < MOST_ROWS {
            fit.rows.push(Row {
                classes,
                places: Vec::new(),
                marks: marks.iter().map(texts).collect(),
            });
        } else {
            fit.left.extend(marks);
        }
    }
    fit.left.sort_unstable();
    fit.cost = FAMILY + CHARACTER * stem as f64;
    fit.cost += fit.left.iter().map(|at| bare(group[*at])).sum::<f64>();
    let sizes: Vec<usize> = fit.rows.iter().map(|row| row.marks.len()).collect();
    fit.cost += telling(sizes);
    for row in &mut fit.rows {
        fit.cost += ROW + places(row);
    }
    fit
}

/// Lays a pattern into a row: one may have runs that the other has not. Says whether that went.
fn join(
    row: &mut Row,
    classes: &[Class],
    marks: &[usize],
    texts: &dyn Fn(&usize) -> (usize, Vec<Option<String>>),
) -> bool {
    let (long, short) = if classes.len() > row.classes.len() {
        (classes, row.classes.as_slice())
    } else {
        (row.classes.as_slice(), classes)
    };
    let Some(missing) = missing(long, short) else {
        return false;
    };
    let spread = |texts: Vec<Option<String>>| {
        let mut texts = texts.into_iter();
        let all = missing.iter();
        all.map(|missing| {
            if *missing {
                None
            } else {
                texts.next().flatten()
            }
        })
        .collect::<Vec<_>>()
    };
    let longer = classes.len() > row.classes.len();
    let mut optional = vec![false; long.len()];
    let old = row.marks.iter().map(|(_, texts)| {
        if longer {
            spread(texts.clone())
        } else {
            texts.clone()
        }
    });
    let one_new = (!longer).then(|| spread(vec![Some(String::new()); short.len()]));
    for texts in old.chain(one_new) {
        for (at, text) in texts.iter().enumerate() {
            // A boundary goes with what stands behind it; it is lost only where that is there.
            let alone = !long[at].is_gap() || texts.get(at + 1).is_some_and(Option::is_some);
            optional[at] |= text.is_none() && alone;
        }
    }
    if !apart(long, &optional) {
        return false;
    }
    let new = marks.iter().map(texts);
    if longer {
        for (_, texts) in &mut row.marks {
            *texts = spread(std::mem::take(texts));
        }
        row.marks.extend(new);
        row.classes = classes.to_vec();
    } else {
        row.marks.extend(new.map(|(at, texts)| (at, spread(texts))));
    }
    true
}

/// Which runs of the longer pattern the shorter one has not: single ones, each with the boundary before it.
fn missing(long: &[Class], short: &[Class]) -> Option<Vec<bool>> {
    let mut missing = vec![false; long.len()];
    let mut next = 0;
    for (at, class) in long.iter().enumerate() {
        if short.get(next) == Some(class) {
            next += 1;
        } else {
            missing[at] = true;
        }
    }
    let whole = next == short.len();
    let single = missing.chunk_by(|a, b| a == b);
    let mut at = 0;
    for chunk in single {
        let these = &long[at..at + chunk.len()];
        at += chunk.len();
        let fits = match these {
            _ if !chunk[0] => true,
            [one] => one.has_codes(),
            [gap, one] => gap.is_gap() && one.has_codes(),
            _ => false,
        };
        if !fits {
            return None;
        }
    }
    (whole && missing.iter().any(|missing| *missing)).then_some(missing)
}

/// Whether runs of one class never touch, also where what stands between them is absent. (A row of its own may have such that do, as they
/// are of a fixed length in all its marks.)
fn apart(classes: &[Class], optional: &[bool]) -> bool {
    if optional
        .iter()
        .zip(classes)
        .filter(|(optional, class)| **optional && class.has_codes())
        .count()
        > MOST_OPTIONAL
    {
        return false;
    }
    for (at, class) in classes.iter().enumerate() {
        for (then, next) in classes.iter().enumerate().skip(at + 1) {
            if class.melts(*next) {
                return false;
            }
            if !optional[then] {
                break;
            }
        }
    }
    true
}

/// The runs of each mark; where no order is seen in those between two boundaries, they are one.
fn tokens(group: &[&Mark], stem: usize) -> Vec<Vec<Run>> {
    let all: Vec<Vec<Run>> = group.iter().map(|mark| mark.runs(stem)).collect();
    let mut by_gaps: HashMap<Vec<Class>, Vec<usize>> = HashMap::new();
    for (at, runs) in all.iter().enumerate() {
        let gaps = runs.iter().map(|run| run.class);
        let gaps = gaps.filter(|class| !class.has_codes()).collect();
        by_gaps.entry(gaps).or_default().push(at);
    }
    let mut tokens: Vec<Vec<Run>> = vec![Vec::new(); group.len()];
    for (gaps, members) in by_gaps {
        let segments: Vec<Vec<&[Run]>> = members
            .iter()
            .map(|at| all[*at].split(|run| !run.class.has_codes()).collect())
            .collect();
        for number in 0..=gaps.len() {
            let segment: Vec<&[Run]> = segments.iter().map(|of_mark| of_mark[number]).collect();
            let kept = ordered(&segment);
            for (at, runs) in members.iter().zip(&segment) {
                let peeled = kept.unwrap_or(runs.len()).min(runs.len());
                tokens[*at].extend_from_slice(&runs[..peeled]);
                let rest: String = runs[peeled..].iter().map(|run| run.text.as_str()).collect();
                if !rest.is_empty() {
                    tokens[*at].push(Run {
                        class: Class::Alnum,
                        text: rest,
                    });
                }
                if let Some(gap) = gaps.get(number) {
                    let (Class::Gap(sign) | Class::Sign(sign)) = gap else {
                        continue;
                    };
                    tokens[*at].push(Run {
                        class: *gap,
                        text: sign.to_string(),
                    });
                }
            }
        }
    }
    tokens
}

/// How many leading runs of a segment are kept, where an order is seen in no more; `None` for all.
fn ordered(segment: &[&[Run]]) -> Option<usize> {
    let mut patterns: HashMap<Vec<Class>, usize> = HashMap::new();
    for runs in segment {
        let classes = runs.iter().map(|run| run.class).collect();
        *patterns.entry(classes).or_default() += 1;
    }
    let mut counts: Vec<usize> = patterns.into_values().collect();
    counts.sort_unstable_by(|a, b| b.cmp(a));
    let covered: usize = counts.iter().take(PATTERNS.0).sum();
    if covered as f64 >= PATTERNS.1 * segment.len() as f64 {
        return None;
    }
    let mut kept = 0;
    loop {
        let mut these = segment.iter().map(|runs| runs.get(kept));
        let Some(first) = these.next().flatten() else {
            return Some(kept);
        };
        let same = |run: Option<&Run>| {
            run.is_some_and(|run| run.class == first.class && run.text.len() == first.text.len())
        };
        if !these.all(same) {
            return Some(kept);
        }
        kept += 1;
    }
}

/// Fills the places of a row, and says what they cost.
fn places(row: &mut Row) -> f64 {
    let mut cost = 0.0;
    for (run, class) in row.classes.iter().enumerate() {
        if !class.has_codes() {
            cost += CHARACTER;
            continue;
        }
        let values: Vec<Option<&str>> = row
            .marks
            .iter()
            .map(|(_, texts)| texts[run].as_deref())
            .collect();
        let (of_run, found) = best(*class, run, &values);
        cost += of_run;
        row.places.extend(found);
    }
    cost
}

/// The cheapest way to describe a run: as a whole, or cut at fixed places.
fn best(class: Class, run: usize, values: &[Option<&str>]) -> (f64, Vec<Place>) {
    let (whole, content) = describe(class, values);
    let absent = values.iter().filter(|value| value.is_none()).count();
    let place = |part, content| Place {
        run,
        part,
        content,
        absent,
        weeks: false,
    };
    let length = values.first().copied().flatten().map_or(0, str::len);
    let fixed = values
        .iter()
        .all(|value| value.is_some_and(|text| text.len() == length));
    if !fixed || !CUTS.contains(&length) || class == Class::Alnum {
        return (whole, vec![place(None, content)]);
    }
    if let Some(weeks) = weeks(class, values) {
        let mut cost = 0.0;
        let parts = [(0, 2), (2, 4)].into_iter().map(|(begin, end)| {
            let (of_part, content) = describe(class, &cut(values, begin, end));
            cost += of_part;
            Place {
                weeks: begin == weeks,
                ..place(Some((begin, end)), content)
            }
        });
        let parts = parts.collect();
        return (cost, parts);
    }
    // The cheapest way up to each place, with where its last piece begins.
    let mut upto: Vec<(f64, usize, Option<Content>)> = vec![(0.0, 0, None)];
    for end in 1..=length {
        let mut cheapest = (f64::INFINITY, 0, None);
        for (begin, (before, _, _)) in upto.iter().enumerate() {
            let (cost, content) = describe(class, &cut(values, begin, end));
            let within = begin > 0 && class == Class::Digits;
            let cost = cost + before + if within { CUT_NUMBER } else { 0.0 };
            if cost < cheapest.0 {
                cheapest = (cost, begin, Some(content));
            }
        }
        upto.push(cheapest);
    }
    let mut places = Vec::new();
    let mut end = length;
    while end > 0 {
        let (_, begin, content) = &upto[end];
        places.extend(
            content
                .clone()
                .map(|content| place(Some((*begin, end)), content)),
        );
        end = *begin;
    }
    places.reverse();
    (upto[length].0, places)
}

/// One part of all values.
fn cut<'v>(values: &[Option<&'v str>], begin: usize, end: usize) -> Vec<Option<&'v str>> {
    let part = |value: &Option<&'v str>| value.and_then(|text| text.get(begin..end));
    values.iter().map(part).collect()
}

/// Where the week stands in numbers that look like year and week, or week and year: too many for chance have no other week there.
fn weeks(class: Class, values: &[Option<&str>]) -> Option<usize> {
    let different: BTreeSet<&str> = values.iter().flatten().copied().collect();
    let of_four = different.iter().all(|text| text.len() == 4);
    if class != Class::Digits || !of_four || different.len() < DATES {
        return None;
    }
    let all = |at: usize| {
        let mut parts = different.iter().filter_map(|text| text.get(at..at + 2));
        parts.all(|part| WEEKS.contains(&part))
    };
    // Where both would do, the year stands first, which is usual.
    [2, 0].into_iter().find(|at| all(*at))
}

/// The cheapest content of one place.
fn describe(class: Class, values: &[Option<&str>]) -> (f64, Content) {
    let mut counts: BTreeMap<&str, usize> = BTreeMap::new();
    for value in values.iter().flatten() {
        *counts.entry(value).or_default() += 1;
    }
    let present: usize = counts.values().sum();
    let absent = values.len() - present;
    let presence = if absent > 0 {
        telling([present, absent])
    } else {
        0.0
    };
    let least = counts.keys().map(|text| text.len()).min().unwrap_or(0);
    let most = counts.keys().map(|text| text.len()).max().unwrap_or(0);
    let glyphs: usize = counts.iter().map(|(text, n)| text.len() * n).sum();
    let open = PLACE
        + presence
        + glyphs as f64 * class.size().log2()
        + present as f64 * ((most - least + 1) as f64).log2();
    let opened = Content::Open { class, least, most };
    if counts.len() > MOST_CODES {
        return (open, opened);
    }
    let texts: f64 = counts
        .keys()
        .map(|text| CHARACTER * text.len() as f64)
        .sum();
    if let (1, 0, Some(only)) = (counts.len(), absent, counts.keys().next()) {
        return (texts, Content::Constant((*only).to_owned()));
    }
    let listed = PLACE
        + presence
        + texts
        + CODE * counts.len() as f64
        + telling(counts.values().copied().collect::<Vec<_>>());
    if open < listed {
        return (open, opened);
    }
    let partial = counts.len() > 2 && counts.values().any(|n| *n == 1);
    let mut codes: Vec<(String, usize)> = counts
        .into_iter()
        .map(|(text, n)| (text.to_owned(), n))
        .collect();
    codes.sort_by_key(|(text, _)| text.len());
    (listed, Content::Listed { codes, partial })
}
