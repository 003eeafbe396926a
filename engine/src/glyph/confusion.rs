//! Which characters are taken for which, and how often.
//!
//! The shares are of a measurement on rendered text read by a general character recogniser: random strings of digits and
//! capitals in many Latin fonts, blurred and skewed (`zas97/ocr_weighted_levenshtein`, `distances.json`, counts recovered from
//! its published cost rule). No measurement on laser-etched packages is published, so the table is a stand-in and can be
//! replaced by a laboratory's own.

/// A pair of characters taken for each other, with the share of all confusions that it makes up.
pub(super) const PAIRS: &[(char, char, f64)] = &[
    ('0', 'O', 0.2244),
    ('5', 'S', 0.0984),
    ('1', 'I', 0.0753),
    ('8', 'B', 0.0638),
    ('O', 'Q', 0.0370),
    ('0', 'Q', 0.0239),
    ('4', 'A', 0.0212),
];

/// Characters of one look-alike class: what the index takes as the same. Pairs that the measurement has rarer than the list
/// above still belong together for the eye, and get a small common share.
pub const CLASSES: &[&str] = &["0OQD", "1IL", "8B", "5S", "2Z", "6G", "4A", "UV"];

/// Share of a pair within a class that [`PAIRS`] does not list.
pub(super) const OTHER_SHARE: f64 = 0.015;

/// How a reader errs.
#[derive(Debug, Clone, PartialEq)]
pub struct Confusions {
    /// Mean probability that a character is taken for one of its class.
    pub rate: f64,
    /// Pairs with their shares of all confusions.
    pub pairs: Vec<(char, char, f64)>,
}

impl Default for Confusions {
    fn default() -> Self {
        let mut pairs = PAIRS.to_vec();
        for class in CLASSES {
            let glyphs: Vec<char> = class.chars().collect();
            for (i, a) in glyphs.iter().enumerate() {
                for b in &glyphs[i + 1..] {
                    if !pairs
                        .iter()
                        .any(|(x, y, _)| (x, y) == (a, b) || (y, x) == (a, b))
                    {
                        pairs.push((*a, *b, OTHER_SHARE));
                    }
                }
            }
        }
        Confusions { rate: 0.01, pairs }
    }
}

impl Confusions {
    /// Probability that the printed `t` is read as `r`, for two different characters; both directions are alike.
    ///
    /// The mean over the 36 digits and capitals is [`Confusions::rate`], so a pair gets 36 / 2 times its share of it.
    #[must_use]
    pub fn probability(&self, t: char, r: char) -> f64 {
        let share = self
            .pairs
            .iter()
            .find(|(a, b, _)| (*a, *b) == (t, r) || (*b, *a) == (t, r))
            .map_or(0.0, |pair| pair.2);
        (18.0 * self.rate * share).min(0.25)
    }

    /// Probability that the printed `t` is read right as far as look-alikes go.
    #[must_use]
    pub fn right(&self, t: char) -> f64 {
        let wrong: f64 = self
            .pairs
            .iter()
            .filter(|(a, b, _)| *a == t || *b == t)
            .map(|pair| (18.0 * self.rate * pair.2).min(0.25))
            .sum();
        (1.0 - wrong).max(0.5)
    }
}
