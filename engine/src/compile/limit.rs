//! The bounds of a program, in one place.

use crate::source::Place;

/// Bounds on what is compiled. Each has a name, a unit and a default that no honest rule set meets.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Limits {
    /// Spellings of one family: forms times the ways to print their optional parts.
    pub rows: usize,
    /// Different glyphs over all rules.
    pub glyphs: usize,
    /// Combinations of slot classes that one normalisation runs over.
    pub combinations: usize,
    /// Codes of one slot.
    pub codes: usize,
}

impl Limits {
    /// No bounds.
    pub(super) const NONE: Limits = Limits {
        rows: usize::MAX,
        glyphs: super::alphabet::MAX_GLYPHS,
        combinations: usize::MAX,
        codes: usize::MAX,
    };
}

impl Default for Limits {
    fn default() -> Self {
        Limits {
            rows: 512,
            glyphs: super::alphabet::MAX_GLYPHS,
            combinations: 200_000,
            codes: 100_000,
        }
    }
}

/// A bound that a rule set exceeds.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LimitExceeded {
    /// Which bound, in words.
    pub limit: &'static str,
    /// What it counts.
    pub unit: &'static str,
    /// Its value.
    pub bound: usize,
    /// What the rules have.
    pub actual: usize,
    /// The family, by name.
    pub family: String,
    /// Where.
    pub place: Place,
}

impl std::fmt::Display for LimitExceeded {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(
            f,
            "family `{}` is too large: {} {} {}, at most {} are possible",
            self.family, self.actual, self.unit, self.limit, self.bound
        )
    }
}

impl std::error::Error for LimitExceeded {}
