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
