//! What a damage can be worth at most, before any place of a line is looked at.

use smallvec::SmallVec;

use super::damage::{Found, Worth};
use super::explain::Decoder;
use super::reach::Damaged;
use super::stream::{Doubt, Stream};
use super::walk::cost;
use crate::compile::LineProgram;
use crate::model::FamilyId;

/// What the damages of a reading of one start can be worth: it has room for one line.
pub(super) struct Promise<'a> {
    decoder: &'a Decoder<'a>,
    worth: &'a Worth<'a>,
    /// By damage: what it comes to at most, and its kind.
    damages: Vec<(f64, usize)>,
    /// By kind: glyphs that were not read, and whether there are unread runs.
    kinds: SmallVec<[(usize, bool); 4]>,
    /// Stretches that a line can take, with what may stand behind them.
    stretches: SmallVec<[((usize, usize), f64); 4]>,
    /// What it costs at least to cut a line off.
    cut: f64,
}

/// By kind of damage, what a line comes to at most.
pub(super) type ByKind = SmallVec<[f64; 4]>;

impl<'a> Promise<'a> {
    pub(super) fn of(
        stream: &Stream,
        damages: &[Damaged],
        worth: &'a Worth<'a>,
        decoder: &'a Decoder<'a>,
    ) -> Promise<'a> {
        let alphabet = &decoder.program.alphabet;
        let mut kinds: SmallVec<[(usize, bool); 4]> = SmallVec::new();
        let of_damage = |damage: &Damaged| {
            let doubtful = |doubt: Doubt| matches!(doubt, Doubt::Unread | Doubt::OneOf);
            let ticks = &damage.stream.ticks;
            let unread = ticks.iter().filter(|tick| doubtful(tick.doubt)).count();
            let run = ticks.iter().any(|tick| tick.doubt == Doubt::Run);
            let kind = kinds.iter().position(|kind| *kind == (unread, run));
            let kind = kind.unwrap_or_else(|| {
                kinds.push((unread, run));
                kinds.len() - 1
            });
            (damage.edit.most(stream, alphabet), kind)
        };
        let damages = damages.iter().map(of_damage).collect();
        let stops = (1..=stream.len()).filter(|stop| stream.stops[*stop]);
        Promise {
            decoder,
            worth,
            damages,
            kinds,
            stretches: stops
                .map(|stop| ((0, stop), stream.after(0, stop)))
                .collect(),
            cut: cost::cut(stream.len() + 1),
        }
    }

    /// What speaks for a family beside codes and damage.
    pub(super) fn base(&self, family: u32) -> f64 {
        let id = FamilyId(family);
        let checks = &self.decoder.rules.families[id.index()].checks;
        let checks = checks.iter().map(|check| f64::from(check.modulus).log2());
        let checks = checks.sum::<f64>();
        let stretches = self.stretches.iter().map(|(stretch, after)| {
            (self.worth)(&Found {
                family: id,
                segments: &[*stretch],
                choices: &[],
                edit: None,
                bits: checks + after,
            })
        });
        // Sums are rounded otherwise than where they are weighed.
        stretches.fold(f64::NEG_INFINITY, f64::max) + 1e-6
    }

    /// What a line of a family, of which `base` is known, comes to at most.
    pub(super) fn of_line(&self, base: f64, line: &LineProgram) -> ByKind {
        let kinds = self.kinds.iter();
        let most = kinds.map(|(unread, run)| base + line.ceiling.with(*unread, *run, self.cut));
        most.collect()
    }

    /// Whether a damage of such a line can be worth it.
    pub(super) fn is_worth(&self, line: &ByKind, damage: &Damaged) -> bool {
        let (most, kind) = self.damages[damage.index];
        line[kind] + most >= 0.0
    }
}
