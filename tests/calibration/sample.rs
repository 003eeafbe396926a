//! Marks of known origin: members of all families under a skewed law of codes, and junk of four kinds.

use std::collections::HashMap;

use etchlore_engine::Rules;
use etchlore_engine::model::{CodeKind, Family, Standing};
use etchlore_engine::write::{Written, sample, write};

/// One printed character of a line, or what stands between: `None` for text that no damage touches (boundaries, symbols, escapes).
pub(crate) type Piece = (String, Option<char>);

/// A mark as printed.
#[derive(Debug, Clone)]
pub(crate) struct Mark {
    /// The family; `None` for junk.
    pub(crate) family: Option<usize>,
    pub(crate) written: Option<Written>,
    pub(crate) lines: Vec<Vec<Piece>>,
}

impl Mark {
    /// The places of characters that damage can meet: line and piece.
    pub(crate) fn places(&self) -> Vec<(usize, usize)> {
        let of_line = |(l, line): (usize, &Vec<Piece>)| {
            line.iter()
                .enumerate()
                .filter(|(_, piece)| piece.1.is_some())
                .map(move |(p, _)| (l, p))
                .collect::<Vec<_>>()
        };
        self.lines.iter().enumerate().flat_map(of_line).collect()
    }

    pub(crate) fn length(&self) -> usize {
        self.places().len()
    }
}

/// Cuts a line in the notation of readings into pieces.
pub(crate) fn pieces(line: &str) -> Vec<Piece> {
    let mut found = Vec::new();
    let mut chars = line.chars().peekable();
    while let Some(c) = chars.next() {
        let mut text = c.to_string();
        if c == '{' {
            text.extend(chars.by_ref().take_while(|c| *c != '}'));
            text.push('}');
        } else if c == '\\' {
            text.extend(chars.next());
        }
        let plain = (text.len() == 1 && c.is_ascii_alphanumeric()).then_some(c);
        found.push((text, plain));
    }
    found
}

/// Draws members.
pub(crate) struct Law<'r> {
    rules: &'r Rules,
    seed: u64,
    /// Families by prior, cumulated.
    priors: Vec<(usize, f64)>,
    /// Mean of the tilt, by family: what it is divided by.
    means: HashMap<usize, f64>,
}

/// Prior of a family among all, unscaled.
pub(crate) fn prior(family: &Family) -> f64 {
    let standing = match family.provenance.standing.unwrap_or_default() {
        Standing::Documented => 1.0,
        Standing::Observed => 0.5,
        Standing::Supposed => 0.1,
    };
    family.weight * standing
}

fn mix(mut x: u64) -> u64 {
    x = (x ^ (x >> 31)).wrapping_mul(0x9e37_79b9_7f4a_7c15);
    x = (x ^ (x >> 29)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    x ^ (x >> 32)
}

impl<'r> Law<'r> {
    pub(crate) fn new(rules: &'r Rules, seed: u64, rng: &mut fastrand::Rng) -> Law<'r> {
        let mut law = Law {
            rules,
            seed,
            priors: Vec::new(),
            means: HashMap::new(),
        };
        for (index, family) in rules.set().families.iter().enumerate() {
            let mut sum = 0.0;
            let mut drawn = 0;
            for _ in 0..300 {
                if let Some(written) = law.plain(index, rng) {
                    sum += law.tilt_of(index, &written);
                    drawn += 1;
                }
            }
            if drawn > 200 {
                law.means.insert(index, sum / f64::from(drawn));
                law.priors.push((index, prior(family)));
            }
        }
        law
    }

    /// Probability of a family among members.
    pub(crate) fn share(&self, family: usize) -> f64 {
        let sum: f64 = self.priors.iter().map(|(_, p)| p).sum();
        self.priors
            .iter()
            .find(|(f, _)| *f == family)
            .map_or(0.0, |(_, p)| p / sum)
    }

    /// How much likelier the law makes a code of a slot than the rule says: from 1/16 to 1, by lot.
    fn skew(&self, family: usize, slot: usize, code: u32) -> f64 {
        let slot_model = &self.rules.set().families[family].slots[slot];
        let dated = self.rules.set().families[family]
            .dates
            .iter()
            .any(|date| date.slots.iter().any(|s| s.index() == slot));
        let listed = !matches!(slot_model.codes[code as usize].kind, CodeKind::Open(_));
        if dated || !listed || slot_model.codes.len() < 2 {
            return 1.0;
        }
        let lot =
            mix(self.seed ^ mix(family as u64 * 1_000_003 + slot as u64 * 1_009 + u64::from(code)));
        2.0_f64.powf(-4.0 * (lot >> 11) as f64 / (1_u64 << 53) as f64)
    }

    /// Skew of the codes of an explanation over its mean.
    pub(crate) fn tilt(&self, family: usize, codes: &[(usize, u32)]) -> f64 {
        let Some(mean) = self.means.get(&family) else {
            return 0.0;
        };
        codes
            .iter()
            .map(|(slot, code)| self.skew(family, *slot, *code))
            .product::<f64>()
            / mean
    }

    fn tilt_of(&self, family: usize, written: &Written) -> f64 {
        let mut slots: Vec<usize> = written.printed.iter().map(|slot| slot.index()).collect();
        slots.sort_unstable();
        slots.dedup();
        slots
            .iter()
            .map(|slot| self.skew(family, *slot, written.codes[*slot].code.0))
            .product()
    }

    /// A member by the weights of the rule alone: codes, then a kind of form, then a form of it.
    fn plain(&self, family: usize, rng: &mut fastrand::Rng) -> Option<Written> {
        let model = &self.rules.set().families[family];
        let open = model.forms.iter().position(|form| form.guard.is_none());
        let mut random = |bound: u64| rng.u64(..bound.max(1));
        let codes = sample(self.rules.set(), model, open.unwrap_or(0), &mut random)?.codes;
        let mut kinds: Vec<_> = model.forms.iter().map(|form| form.kind).collect();
        kinds.sort_unstable();
        kinds.dedup();
        let kind = kinds[random(kinds.len() as u64) as usize];
        let mut forms: Vec<(Written, f64)> = Vec::new();
        for (at, form) in model
            .forms
            .iter()
            .enumerate()
            .filter(|(_, f)| f.kind == kind)
        {
            let mut optional = || random(2) == 1;
            if let Ok(written) = write(model, at, &codes, &mut optional)
                && !written.lines.is_empty()
            {
                forms.push((written, form.weight));
            }
        }
        let sum: f64 = forms.iter().map(|(_, weight)| weight).sum();
        let mut at = sum * random(1 << 40) as f64 / (1_u64 << 40) as f64;
        for (written, weight) in forms {
            at -= weight;
            if at < 0.0 {
                return Some(written);
            }
        }
        None
    }

    /// A member of some family, or of this one.
    pub(crate) fn member(&self, of: Option<usize>, rng: &mut fastrand::Rng) -> Mark {
        loop {
            let family = of.unwrap_or_else(|| {
                let sum: f64 = self.priors.iter().map(|(_, p)| p).sum();
                let mut at = sum * rng.f64();
                for (family, p) in &self.priors {
                    at -= p;
                    if at < 0.0 {
                        return *family;
                    }
                }
                self.priors[0].0
            });
            for _ in 0..2_000 {
                let Some(written) = self.plain(family, rng) else {
                    continue;
                };
                if rng.f64() < self.tilt_of(family, &written) {
                    let lines = written.lines.iter().map(|line| pieces(line)).collect();
                    return Mark {
                        family: Some(family),
                        written: Some(written),
                        lines,
                    };
                }
            }
            // A family that the law makes all but impossible.
            if of.is_some() {
                return Mark {
                    family: of,
                    written: None,
                    lines: Vec::new(),
                };
            }
        }
    }

    pub(crate) fn families(&self) -> Vec<usize> {
        self.priors.iter().map(|(family, _)| *family).collect()
    }
}

/// Text that no rule knows.
pub(crate) struct Junk {
    pub(crate) words: Vec<String>,
    pub(crate) strangers: Vec<String>,
}

/// Kinds of junk.
pub(crate) const JUNK: [&str; 4] = ["words", "strangers", "random 8-16", "random 1-7"];

/// Their shares of all junk.
const SHARES: [f64; 4] = [0.3, 0.4, 0.2, 0.1];

impl Junk {
    /// The lists beside this file; strangers that a family explains as they stand are none.
    pub(crate) fn load(rules: &Rules) -> Junk {
        let list = |text: &str| -> Vec<String> {
            text.lines()
                .filter(|line| !line.starts_with('#') && !line.is_empty())
                .map(str::to_owned)
                .collect()
        };
        let strangers = list(include_str!("strangers.txt"))
            .into_iter()
            .filter(|number| !super::truth::covered(rules, number))
            .collect();
        Junk {
            words: list(include_str!("words.txt")),
            strangers,
        }
    }

    /// A kind by its share.
    pub(crate) fn kind(rng: &mut fastrand::Rng) -> usize {
        let mut at = rng.f64();
        for (kind, share) in SHARES.iter().enumerate() {
            at -= share;
            if at < 0.0 {
                return kind;
            }
        }
        0
    }

    pub(crate) fn draw(&self, kind: usize, rng: &mut fastrand::Rng) -> Mark {
        let random = |length: usize, rng: &mut fastrand::Rng| -> String {
            (0..length)
                .map(|_| {
                    char::from_digit(rng.u32(..36), 36).map_or('0', |c| c.to_ascii_uppercase())
                })
                .collect()
        };
        let text = match kind {
            0 => self.words[rng.usize(..self.words.len())].clone(),
            1 => self.strangers[rng.usize(..self.strangers.len())].clone(),
            2 => random(rng.usize(8..=16), rng),
            _ => random(rng.usize(1..=7), rng),
        };
        let lines = vec![
            text.chars()
                .map(|c| (c.to_string(), c.is_ascii_alphanumeric().then_some(c)))
                .collect(),
        ];
        Mark {
            family: None,
            written: None,
            lines,
        }
    }

    /// P(text | junk), all kinds alike; `_` is any character.
    pub(crate) fn probability(&self, text: &str) -> f64 {
        let n = text.chars().count();
        let read = text.chars().filter(|c| *c != '_').count();
        let plain = text
            .chars()
            .all(|c| c.is_ascii_digit() || c.is_ascii_uppercase() || c == '_');
        let chance = if plain {
            36.0_f64.powi(-(read as i32))
        } else {
            0.0
        };
        let fits = |one: &String| {
            one.chars().count() == n
                && one
                    .chars()
                    .zip(text.chars())
                    .all(|(a, b)| b == '_' || a == b)
        };
        let of = |list: &[String]| {
            list.iter().filter(|one| fits(one)).count() as f64 / list.len() as f64
        };
        let long = if (8..=16).contains(&n) {
            chance / 9.0
        } else {
            0.0
        };
        let short = if (1..=7).contains(&n) {
            chance / 7.0
        } else {
            0.0
        };
        SHARES[0] * of(&self.words)
            + SHARES[1] * of(&self.strangers)
            + SHARES[2] * long
            + SHARES[3] * short
    }
}
