//! How a reader errs: which characters are taken for which, which are dropped, doubled or swapped, and how often.
//!
//! The channel is data. The embedded table (`data/misreads.tsv`, with its source) is of a measurement on synthetic text; a laboratory
//! replaces it by counts of its own, which [`Confusions::estimate`] makes from pairs of what was read and what was true.

use std::fmt::Write;

/// Characters of one look-alike class of the embedded table: what the first pass takes as the same at first sight.
const CLASSES: &[&str] = &["0OQD", "1IL", "8B", "5S", "2Z", "6G", "4A", "UV"];

static MISREADS: &str = include_str!("../../data/misreads.tsv");

/// Digits and capitals: what confusions are counted over.
const SIDE: usize = 36;
/// Probability that two characters of one class are taken for each other, where a measurement has the pair rarer: for the eye they
/// belong together all the same. A stated belief.
const ALIKE_AT_LEAST: f64 = 0.0027;
/// Probability that a character is taken for one that no table lists. A stated belief.
const OTHER: f64 = 0.002;
/// From this probability on a listed pair is a look-alike, which the first pass searches.
const ALIKE_FROM: f64 = 0.005;
/// The most characters that become one class.
const MAX_CLASS: usize = 6;
/// How many characters of a laboratory's own reading weigh as much as the embedded table, for each character.
const STRENGTH: f64 = 100.0;

/// How a reader errs, as probabilities for one printed character.
#[derive(Debug, Clone, PartialEq)]
pub struct Confusions {
    /// P(read | true), by true and read character, without the diagonal.
    pairs: Vec<f64>,
    /// Classes of look-alikes.
    pub classes: Vec<String>,
    /// It is taken for a character that the table does not list.
    pub other: f64,
    /// It is left out.
    pub dropped: f64,
    /// It is read twice.
    pub doubled: f64,
    /// It changes places with the next.
    pub swapped: f64,
}

/// Why a table of misreads cannot be used.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct MisreadsError {
    /// Line of the table, from 1.
    pub line: usize,
    /// What is wrong and what to do.
    pub message: String,
}

impl std::fmt::Display for MisreadsError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "line {}: {}", self.line, self.message)
    }
}

impl std::error::Error for MisreadsError {}

/// Counts of a table: what was read for each true character, and what became of characters in general.
#[derive(Debug, Clone, PartialEq)]
struct Counts {
    pairs: Vec<f64>,
    right: Vec<f64>,
    any_right: f64,
    dropped: f64,
    doubled: f64,
    swapped: f64,
}

impl Default for Counts {
    fn default() -> Self {
        Counts {
            pairs: vec![0.0; SIDE * SIDE],
            right: vec![0.0; SIDE],
            any_right: 0.0,
            dropped: 0.0,
            doubled: 0.0,
            swapped: 0.0,
        }
    }
}

fn index(c: char) -> Option<usize> {
    match c {
        '0'..='9' => Some(c as usize - '0' as usize),
        'A'..='Z' => Some(c as usize - 'A' as usize + 10),
        'a'..='z' => Some(c as usize - 'a' as usize + 10),
        _ => None,
    }
}

fn character(index: usize) -> char {
    char::from_digit(index as u32, 36).map_or('?', |c| c.to_ascii_uppercase())
}

impl Counts {
    fn parse(text: &str) -> Result<Counts, MisreadsError> {
        let mut counts = Counts::default();
        let mut header = false;
        for (number, line) in text.lines().enumerate() {
            let line = line.trim_end_matches('\r');
            if line.trim().is_empty() || line.starts_with('#') {
                continue;
            }
            let error = |message: String| MisreadsError {
                line: number + 1,
                message,
            };
            let cells: Vec<&str> = line.split('\t').map(str::trim).collect();
            let [truth, read, count] = cells[..] else {
                return Err(error(format!(
                    "a row has three cells parted by tabs: true, read, count; here are {}",
                    cells.len()
                )));
            };
            if !header {
                if (truth, read, count) != ("true", "read", "count") {
                    return Err(error(
                        "the first row names the columns: true, read, count".to_owned(),
                    ));
                }
                header = true;
                continue;
            }
            let count: f64 = count
                .parse()
                .ok()
                .filter(|count: &f64| count.is_finite() && *count >= 0.0)
                .ok_or_else(|| error(format!("`{count}` is no count; write a number from 0 on")))?;
            let one = |cell: &str| {
                let mut chars = cell.chars();
                let first = chars.next().and_then(index);
                first.filter(|_| chars.next().is_none())
            };
            match (truth, read, one(truth), one(read)) {
                ("*", "right", ..) => counts.any_right += count,
                ("*", "dropped", ..) => counts.dropped += count,
                ("*", "doubled", ..) => counts.doubled += count,
                ("*", "swapped", ..) => counts.swapped += count,
                (_, _, Some(t), Some(r)) if t == r => counts.right[t] += count,
                (_, _, Some(t), Some(r)) => counts.pairs[t * SIDE + r] += count,
                _ => {
                    return Err(error(format!(
                        "`{truth}` read as `{read}` is no row of this table; write a digit or letter in both, or `*` and one of right, dropped, doubled, swapped"
                    )));
                }
            }
        }
        if !header {
            return Err(MisreadsError {
                line: 1,
                message: "the table is empty; its first row names the columns: true, read, count"
                    .to_owned(),
            });
        }
        Ok(counts)
    }

    /// Characters of each kind that were to be read.
    fn of_each(&self) -> Vec<f64> {
        (0..SIDE)
            .map(|t| {
                let wrong: f64 = self.pairs[t * SIDE..(t + 1) * SIDE].iter().sum();
                self.right[t] + wrong + self.any_right / SIDE as f64
            })
            .collect()
    }

    fn text(&self, note: &str) -> String {
        let mut text = String::new();
        for line in note.lines() {
            let _ = writeln!(text, "# {line}");
        }
        text.push_str("true\tread\tcount\n");
        for (word, count) in [
            ("right", self.any_right),
            ("dropped", self.dropped),
            ("doubled", self.doubled),
            ("swapped", self.swapped),
        ] {
            let _ = writeln!(text, "*\t{word}\t{count}");
        }
        for t in 0..SIDE {
            for r in 0..SIDE {
                let count = if t == r {
                    self.right[t]
                } else {
                    self.pairs[t * SIDE + r]
                };
                if count > 0.0 {
                    let _ = writeln!(text, "{}\t{}\t{count}", character(t), character(r));
                }
            }
        }
        text
    }
}

impl Default for Confusions {
    fn default() -> Self {
        // The embedded table is checked by a test.
        let counts = Counts::parse(MISREADS).unwrap_or_default();
        let each = counts.of_each();
        let all: f64 = each.iter().sum::<f64>().max(1.0);
        let mut pairs = vec![0.0; SIDE * SIDE];
        for (t, each) in each.iter().enumerate() {
            for r in 0..SIDE {
                pairs[t * SIDE + r] = counts.pairs[t * SIDE + r] / each.max(1.0);
            }
        }
        let mut confusions = Confusions {
            pairs,
            classes: CLASSES.iter().map(|class| (*class).to_owned()).collect(),
            other: OTHER,
            dropped: counts.dropped / all,
            doubled: counts.doubled / all,
            swapped: counts.swapped / all,
        };
        confusions.lift();
        confusions
    }
}

impl Confusions {
    /// Reads a laboratory's table: tab-separated, columns `true`, `read`, `count`, `#` begins a comment. A row is a digit or letter and
    /// what it was read as (itself where it was read right); `*` with `right`, `dropped`, `doubled` or `swapped` counts characters of
    /// any kind. Few counts move the embedded table a little, many replace it.
    ///
    /// # Errors
    /// A row that is none of these, with its line.
    pub fn parse(text: &str) -> Result<Confusions, MisreadsError> {
        Ok(Confusions::of_counts(&Counts::parse(text)?))
    }

    fn of_counts(counts: &Counts) -> Confusions {
        let mut confusions = Confusions::default();
        let each = counts.of_each();
        for (t, each) in each.iter().enumerate() {
            for r in 0..SIDE {
                let p = &mut confusions.pairs[t * SIDE + r];
                *p = (counts.pairs[t * SIDE + r] + STRENGTH * *p) / (each + STRENGTH);
            }
        }
        let all: f64 = each.iter().sum();
        let weight = STRENGTH * SIDE as f64;
        for (p, count) in [
            (&mut confusions.dropped, counts.dropped),
            (&mut confusions.doubled, counts.doubled),
            (&mut confusions.swapped, counts.swapped),
        ] {
            *p = (count + weight * *p) / (all + weight);
        }
        confusions.join();
        confusions.lift();
        confusions
    }

    /// The table of misreads that pairs of (read, true) show, as [`Confusions::parse`] reads it, and how many characters were compared.
    /// Each pair is laid side by side with as few errors as possible; what is neither digit nor letter is left out.
    #[must_use]
    pub fn estimate<S: AsRef<str>>(pairs: &[(S, S)], note: &str) -> (String, usize) {
        let mut counts = Counts::default();
        let mut compared = 0;
        for (read, truth) in pairs {
            let plain = |text: &str| text.chars().filter_map(index).collect::<Vec<usize>>();
            let (read, truth) = (plain(read.as_ref()), plain(truth.as_ref()));
            compared += truth.len();
            count_pair(&read, &truth, &mut counts);
        }
        (counts.text(note), compared)
    }

    /// Joins classes by pairs that are misread often.
    fn join(&mut self) {
        for t in 0..SIDE {
            for r in t + 1..SIDE {
                let p = self.pairs[t * SIDE + r].max(self.pairs[r * SIDE + t]);
                if p < ALIKE_FROM {
                    continue;
                }
                let at = |classes: &[String], c: usize| {
                    classes
                        .iter()
                        .position(|class| class.contains(character(c)))
                };
                let (a, b) = (at(&self.classes, t), at(&self.classes, r));
                match (a, b) {
                    (Some(a), Some(b)) if a == b => {}
                    (Some(a), Some(b))
                        if self.classes[a].len() + self.classes[b].len() <= MAX_CLASS =>
                    {
                        let joined = self.classes[a.max(b)].clone();
                        self.classes[a.min(b)].push_str(&joined);
                        self.classes.remove(a.max(b));
                    }
                    (Some(a), None) if self.classes[a].len() < MAX_CLASS => {
                        self.classes[a].push(character(r));
                    }
                    (None, Some(b)) if self.classes[b].len() < MAX_CLASS => {
                        self.classes[b].push(character(t));
                    }
                    (None, None) => self
                        .classes
                        .push([character(t), character(r)].iter().collect()),
                    _ => {}
                }
            }
        }
    }

    /// Gives the pairs of a class their least probability.
    fn lift(&mut self) {
        for class in &self.classes {
            for (t, r) in class
                .chars()
                .flat_map(|t| class.chars().map(move |r| (t, r)))
            {
                if let (Some(t), Some(r), true) = (index(t), index(r), t != r) {
                    let p = &mut self.pairs[t * SIDE + r];
                    *p = p.max(ALIKE_AT_LEAST);
                }
            }
        }
    }

    /// Whether two different characters are look-alikes: one class has both.
    #[must_use]
    pub fn alike(&self, t: char, r: char) -> bool {
        t != r
            && self
                .classes
                .iter()
                .any(|class| class.contains(t) && class.contains(r))
    }

    /// Probability that the printed `t` is read as `r`, for two different digits or capitals, as far as the table lists them.
    #[must_use]
    pub fn probability(&self, t: char, r: char) -> f64 {
        match (index(t), index(r)) {
            (Some(t), Some(r)) if t != r => self.pairs[t * SIDE + r],
            _ => 0.0,
        }
    }

    /// The same with what the table does not list: an even share of [`Confusions::other`].
    #[must_use]
    pub fn any(&self, t: char, r: char) -> f64 {
        self.probability(t, r) + self.other / SIDE as f64
    }

    /// Probability that the printed `t` is read right, in its place.
    #[must_use]
    pub fn right(&self, t: char) -> f64 {
        let wrong: f64 = index(t).map_or(0.0, |t| {
            self.pairs[t * SIDE..(t + 1) * SIDE].iter().sum::<f64>()
        });
        (1.0 - wrong - self.other - self.dropped - self.doubled - self.swapped).max(0.5)
    }
}

/// Counts what became of each true character, along the alignment with the fewest errors.
fn count_pair(read: &[usize], truth: &[usize], counts: &mut Counts) {
    let (n, m) = (truth.len(), read.len());
    let mut cost = vec![vec![0_u32; m + 1]; n + 1];
    for t in 0..=n {
        for r in 0..=m {
            if t == 0 || r == 0 {
                cost[t][r] = (t + r) as u32;
                continue;
            }
            let same = u32::from(truth[t - 1] != read[r - 1]);
            let mut best = (cost[t - 1][r - 1] + same)
                .min(cost[t - 1][r] + 1)
                .min(cost[t][r - 1] + 1);
            if t > 1 && r > 1 && truth[t - 1] == read[r - 2] && truth[t - 2] == read[r - 1] {
                best = best.min(cost[t - 2][r - 2] + 1);
            }
            cost[t][r] = best;
        }
    }
    let (mut t, mut r) = (n, m);
    while t > 0 || r > 0 {
        let here = cost[t][r];
        if t > 0 && r > 0 {
            let same = truth[t - 1] == read[r - 1];
            if cost[t - 1][r - 1] + u32::from(!same) == here {
                if same {
                    counts.right[truth[t - 1]] += 1.0;
                } else {
                    counts.pairs[truth[t - 1] * SIDE + read[r - 1]] += 1.0;
                }
                (t, r) = (t - 1, r - 1);
                continue;
            }
            if t > 1
                && r > 1
                && truth[t - 1] == read[r - 2]
                && truth[t - 2] == read[r - 1]
                && cost[t - 2][r - 2] + 1 == here
            {
                counts.swapped += 1.0;
                (t, r) = (t - 2, r - 2);
                continue;
            }
        }
        if t > 0 && cost[t - 1][r] + 1 == here {
            counts.dropped += 1.0;
            t -= 1;
        } else {
            // What was read without being there is a character read twice, as far as one can tell.
            counts.doubled += 1.0;
            r -= 1;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_embedded_table_is_whole() {
        let counts = Counts::parse(MISREADS);
        assert!(counts.is_ok(), "{counts:?}");
        let confusions = Confusions::default();
        let wrong: f64 = (0..SIDE)
            .map(|t| {
                confusions.pairs[t * SIDE..(t + 1) * SIDE]
                    .iter()
                    .sum::<f64>()
            })
            .sum::<f64>()
            / SIDE as f64;
        // Somewhat below one in a hundred: the rest is misread as what looks nothing like it.
        assert!((0.008..0.013).contains(&wrong), "{wrong}");
        assert!(confusions.probability('0', 'O') > confusions.probability('5', 'S'));
    }

    #[test]
    fn an_estimate_finds_what_was_planted() {
        // 1 is read as 7 one time in ten, X dropped one time in twenty.
        let mut pairs = Vec::new();
        for i in 0..2_000 {
            let truth = "A1X2".to_owned();
            let mut read = if i % 10 == 0 { "A7" } else { "A1" }.to_owned();
            if i % 20 != 3 {
                read.push('X');
            }
            read.push('2');
            pairs.push((read, truth));
        }
        let (text, compared) = Confusions::estimate(&pairs, "planted");
        assert_eq!(compared, 8_000);
        let confusions = Confusions::parse(&text).unwrap_or_default();
        assert!((confusions.probability('1', '7') - 0.1).abs() < 0.01);
        assert!((confusions.dropped - 0.0125).abs() < 0.004);
        assert!(confusions.alike('1', '7') && !Confusions::default().alike('1', '7'));
    }

    #[test]
    fn a_broken_table_names_its_line() {
        let error = Confusions::parse("true\tread\tcount\n0\tO\tmany\n").err();
        assert_eq!(error.map(|error| error.line), Some(2));
        assert!(Confusions::parse("").is_err());
        assert!(Confusions::parse("true\tread\tcount\n0\t%\t3\n").is_err());
    }
}
