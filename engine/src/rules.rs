//! The rules of a session: checked, compiled, ready to decode.

use crate::compile::{LimitExceeded, Limits, Program, compile};
use crate::decode::{Decoder, Reading, Scratch};
use crate::glyph::Confusions;
use crate::model::RuleSet;
use crate::rank::{Context, Ranking, rank};

/// Compiled rules. Immutable: compile once, share between threads, give each thread a [`Scratch`] of its own.
#[derive(Debug, Clone, Default)]
pub struct Rules {
    set: RuleSet,
    program: Program,
}

impl Rules {
    /// Compiles a checked rule set.
    ///
    /// # Errors
    /// The set exceeds one of `limits`.
    pub fn compile(
        set: RuleSet,
        confusions: &Confusions,
        limits: &Limits,
    ) -> Result<Rules, LimitExceeded> {
        let program = compile(&set, confusions, limits)?;
        Ok(Rules { set, program })
    }

    /// Rules whose program is there.
    pub(crate) fn of(set: RuleSet, program: Program) -> Rules {
        Rules { set, program }
    }

    /// Compiles all families now, where a stored rule set leaves them until they are asked for: a run of many readings asks for most, and its
    /// index is sharper where they are there from the start.
    pub fn compile_all(&self) {
        self.program.compile_all(&self.set);
    }

    /// The rule set.
    #[must_use]
    pub fn set(&self) -> &RuleSet {
        &self.set
    }

    /// A decoder of these rules.
    #[must_use]
    pub fn decoder(&self) -> Decoder<'_> {
        Decoder::new(&self.set, &self.program)
    }

    /// Ranks what a reading can be.
    pub fn rank(&self, reading: &Reading, context: &Context, scratch: &mut Scratch) -> Ranking {
        rank(&self.decoder(), reading, context, scratch)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::decode::Notation;

    fn packed() -> Result<Rules, String> {
        let (_, checked) = crate::packs::checked();
        let (confusions, limits) = (Confusions::default(), Limits::default());
        Rules::compile(checked.rules, &confusions, &limits).map_err(|error| format!("{error:?}"))
    }

    /// What is left out at once for what it can be worth at most is never worth it.
    #[test]
    fn a_damage_keeps_its_promise() -> Result<(), Box<dyn std::error::Error>> {
        let rules = packed()?;
        let mut dice = fastrand::Rng::with_seed(5);
        let mut found = 0;
        for (at, family) in rules.set().families.iter().enumerate().step_by(4) {
            let mut random = |bound: u64| dice.u64(..bound.max(1));
            let Some(written) = crate::write::sample(rules.set(), family, 0, &mut random) else {
                continue;
            };
            let mut text = written.reading();
            if at % 8 == 0
                && let Some((place, _)) = text.char_indices().nth(3)
                && text.as_bytes()[place].is_ascii_alphanumeric()
            {
                text.replace_range(place..=place, "_");
            }
            let reading = Reading::parse(&text, Notation::default())?;
            for least in [0.0, 12.0] {
                found += crate::decode::as_promised(&rules.decoder(), &reading, least);
            }
        }
        assert!(found > 500, "{found}");
        Ok(())
    }

    /// Where a table can end, the search for damage may say yes too often, but what a walk takes it never misses.
    #[test]
    fn damage_is_looked_for_wherever_a_walk_can_take_it() -> Result<(), Box<dyn std::error::Error>>
    {
        let rules = packed()?;
        let mut source = fastrand::Rng::with_seed(8);
        let mut random = move |bound: u64| source.u64(..bound.max(1));
        let mut all = [0; 3];
        let families = &rules.set().families;
        for (at, family) in families.iter().enumerate().step_by(3) {
            let Some(written) = crate::write::sample(rules.set(), family, 0, &mut random) else {
                continue;
            };
            let reading = Reading::parse(&written.reading(), Notation::default())?;
            // The family itself, and another.
            for other in [at, (at + 7) % families.len()] {
                let counts = crate::decode::compare(&rules.decoder(), &reading, other);
                for (sum, count) in all.iter_mut().zip(counts) {
                    *sum += count;
                }
            }
        }
        let [asked, taken, too_many] = all;
        assert!(taken > 10_000, "{taken} of {asked}");
        // Beside a run nothing or anything is taken; else few are too many.
        assert!(too_many * 4 < asked, "{too_many} of {asked}");
        Ok(())
    }
}
