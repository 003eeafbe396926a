//! What a run says at its end.

use std::collections::BTreeMap;

use jiff::civil::Date;
use serde_json::{Value as Json, json};

use super::answer::Status;
use super::tally::{SHOWN, Tally};
use crate::rules::Loaded;

/// Makers, functions and shapes that are told.
const LISTED: usize = 8;
/// Marks of a shape in the document.
const EXAMPLES: usize = 10;

/// A run that has ended.
pub(crate) struct Summary<'a> {
    pub(crate) total: &'a Tally,
    pub(crate) loaded: &'a Loaded,
    pub(crate) seen: Date,
    /// What was found out about the input.
    pub(crate) found: &'a str,
    /// The columns of the mark, and why these.
    pub(crate) marks: &'a str,
    pub(crate) warnings: &'a [String],
    /// The columns beside it that were compared.
    pub(crate) beside: Vec<&'a str>,
    pub(crate) width: usize,
}

fn times(count: u64, one: &str, many: &str) -> String {
    format!("{count} {}", if count == 1 { one } else { many })
}

/// Counts by name, largest first.
fn sorted(counts: BTreeMap<&str, u64>) -> Vec<(&str, u64)> {
    let mut counts: Vec<(&str, u64)> = counts.into_iter().collect();
    counts.sort_by(|a, b| b.1.cmp(&a.1).then(a.0.cmp(b.0)));
    counts
}

impl<'a> Summary<'a> {
    /// Rows by maker and by function.
    fn by(&self, function: bool) -> Vec<(&'a str, u64)> {
        let rules = self.loaded.rules.set();
        let mut counts: BTreeMap<&str, u64> = BTreeMap::new();
        for (family, count) in &self.total.families {
            let family = &rules.families[family.index()];
            let name = if function {
                family.function.as_deref()
            } else {
                family
                    .maker
                    .map(|maker| rules.makers[maker.index()].title.as_str())
            };
            *counts.entry(name.unwrap_or("not said")).or_default() += count;
        }
        sorted(counts)
    }

    /// What must be known of rows that are not as the others.
    fn oddities(&self) -> Vec<String> {
        let mut all = self.warnings.to_vec();
        let total = self.total;
        let mut note = |(count, first): (u64, Option<u64>), what: &str| {
            if let Some(first) = first {
                let rows = times(count, "row", "rows");
                all.push(format!("{rows} {what}, first row {first}"));
            }
        };
        let width = self.width;
        note(
            total.narrow,
            &format!(
                "with fewer than {width} cells: filled up, so that ours stand beneath their names"
            ),
        );
        note(
            total.wide,
            &format!(
                "with more than {width} cells: ours stand behind them, not beneath their names"
            ),
        );
        note(
            total.long,
            "longer than 1 MB: kept; is a quote never closed?",
        );
        note(
            total.broken,
            "that are no JSON object: kept as the text `etch_input`",
        );
        if total.blank > 0 {
            all.push(format!(
                "{} kept as they are, not counted as rows",
                times(total.blank, "empty line", "empty lines")
            ));
        }
        all
    }

    /// For people.
    pub(crate) fn text(&self) -> String {
        let total = self.total;
        let mut text = String::new();
        for line in self.oddities() {
            text += &format!("note: {line}\n");
        }
        for (row, finding) in &total.contradictions {
            text += &format!(
                "row {row}: {} says {}, the number says {}\n",
                finding.column, finding.says, finding.number_says
            );
        }
        if total.contradictions.len() >= SHOWN {
            text += "...; --claims FILE writes all contradictions\n";
        }
        text += &format!("read {}; {}\n", self.found, self.marks);
        let share = |count: u64| match (count, total.rows) {
            (0, _) | (_, 0) => String::new(),
            (_, rows) => format!(" ({:.0} %)", count as f64 * 100.0 / rows as f64),
        };
        let count = |status: Status| {
            let count = total.of(status);
            format!("{count}{} {}", share(count), status.word())
        };
        text += &format!(
            "{}: {}, {}, {}, {}\n",
            times(total.rows, "row", "rows"),
            count(Status::Decoded),
            count(Status::Ambiguous),
            count(Status::None),
            count(Status::Empty)
        );
        for (title, function) in [("makers", false), ("functions", true)] {
            text += &list(title, &self.by(function));
        }
        let shapes: Vec<(String, u64)> = total
            .undecoded
            .shapes()
            .iter()
            .map(|(shape, group)| {
                let example = group.examples().first().map_or("", |(_, mark)| *mark);
                let short: String = example.trim().chars().take(24).collect();
                (
                    format!("{shape} ({})", short.replace(['\n', '\r'], " ")),
                    group.count,
                )
            })
            .collect();
        let shapes: Vec<(&str, u64)> = shapes.iter().map(|(s, n)| (s.as_str(), *n)).collect();
        text += &list("not decoded", &shapes);
        if !self.beside.is_empty() {
            text += &format!(
                "compared with {}: {}\n",
                self.beside.join(", "),
                match total.contradicted {
                    0 => "no contradiction".to_owned(),
                    count => times(
                        count,
                        "row contradicts itself",
                        "rows contradict themselves"
                    ),
                }
            );
        }
        text
    }

    /// For programs.
    pub(crate) fn json(&self) -> Json {
        let total = self.total;
        let counts = |all: Vec<(&str, u64)>| -> Json {
            all.into_iter()
                .map(|(name, count)| json!({ "name": name, "rows": count }))
                .collect()
        };
        let shapes: Json = total
            .undecoded
            .shapes()
            .iter()
            .take(100)
            .map(|(shape, group)| {
                let examples: Vec<Json> = group
                    .examples()
                    .iter()
                    .take(EXAMPLES)
                    .map(|(row, mark)| json!({ "row": row, "mark": mark }))
                    .collect();
                json!({ "shape": shape, "rows": group.count, "examples": examples })
            })
            .collect();
        let contradictions: Json = total
            .contradictions
            .iter()
            .map(|(row, finding)| {
                json!({ "row": row, "column": finding.column, "says": finding.says, "number_says": finding.number_says })
            })
            .collect();
        json!({
            "etchlore": env!("CARGO_PKG_VERSION"),
            "rules": self.loaded.digest(),
            "seen": self.seen.to_string(),
            "input": self.found,
            "marks": self.marks,
            "rows": total.rows,
            "decoded": total.of(Status::Decoded),
            "ambiguous": total.of(Status::Ambiguous),
            "none": total.of(Status::None),
            "empty": total.of(Status::Empty),
            "empty_lines": total.blank,
            "makers": counts(self.by(false)),
            "functions": counts(self.by(true)),
            "undecoded": shapes,
            "contradicted": total.contradicted,
            "contradictions": contradictions,
            "notes": self.oddities(),
        })
    }
}

/// A title with counts, as far as they fit.
fn list(title: &str, counts: &[(&str, u64)]) -> String {
    if counts.is_empty() {
        return String::new();
    }
    let mut parts: Vec<String> = counts
        .iter()
        .take(LISTED)
        .map(|(name, count)| format!("{name} {count}"))
        .collect();
    let more = counts.len().saturating_sub(LISTED);
    if more > 0 {
        parts.push(format!("{more} more"));
    }
    format!("{title}: {}\n", parts.join(", "))
}
