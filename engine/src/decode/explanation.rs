//! One way to explain a reading by a family, as the search found it.

use smallvec::SmallVec;

use super::assign::{Branch, CONFLICT};
use super::deep::{self, Edit};
use super::explain::Decoder;
use super::stream::Stream;
use super::walk::{Choice, How};
use crate::model::FamilyId;

/// One way to explain a stretch of a reading by a family.
#[derive(Debug, Clone)]
pub struct Explanation {
    pub(crate) family: FamilyId,
    pub(crate) row: usize,
    /// Stretches of the stream that are explained, in the order of the form's lines.
    pub(crate) segments: SmallVec<[(usize, usize); 2]>,
    pub(crate) choices: Vec<Choice>,
    pub(crate) branch: Branch,
    /// log2 cost of boundaries, order, missing lines.
    pub(crate) layout: f64,
    /// Slots that stand twice with different codes.
    pub(crate) conflicts: Vec<usize>,
    /// Check digits that fail.
    pub(crate) failed: Vec<usize>,
    pub(crate) checks: f64,
    /// The end of some line is missing.
    pub(crate) cut: bool,
    /// The damage beyond look-alikes that it takes; then `choices` are places of the stream as it may have been before.
    pub(crate) edit: Option<Edit>,
}

impl Explanation {
    /// The stream that it explains: as read, or as it may have been before the damage.
    pub(crate) fn over<'s>(
        &self,
        stream: &'s Stream,
        decoder: &Decoder<'_>,
    ) -> std::borrow::Cow<'s, Stream> {
        deep::over(self.edit, stream, &decoder.program.alphabet)
    }

    /// A stretch of the stream that it explains, in places of the reading.
    pub(crate) fn origin(&self, stretch: (usize, usize)) -> (usize, usize) {
        self.edit.map_or(stretch, |edit| edit.stretch(stretch))
    }

    /// Where it cuts the reading: slot, first glyph and glyph after the last of each place that is printed.
    #[must_use]
    pub fn cut_at(&self) -> Vec<(usize, usize, usize)> {
        self.choices
            .iter()
            .filter(|c| c.end > c.start)
            .map(|c| {
                let (start, end) = self.origin((c.start, c.end));
                (c.slot, start, end)
            })
            .collect()
    }

    /// The stretches of the reading in places that take any text: first glyph and glyph after the last. What they say is not in [`Explanation::bits`],
    /// as they are as likely as under no rule.
    #[must_use]
    pub fn any_text(&self) -> Vec<(usize, usize)> {
        let free = self.choices.iter().filter(|choice| choice.free);
        free.map(|choice| self.origin((choice.start, choice.end)))
            .collect()
    }

    /// The codes that it sees, by slot, those of which nothing is printed included.
    #[must_use]
    pub fn codes(&self) -> Vec<(usize, u32)> {
        let mut codes: Vec<(usize, u32)> = self
            .choices
            .iter()
            .filter_map(|choice| choice.code.map(|code| (choice.slot, code)))
            .collect();
        codes.sort_unstable();
        codes.dedup();
        codes
    }

    /// The codes that it sees, with where an open one was read as a whole: what its answer hangs on.
    pub(crate) fn codes_as_read(&self) -> Vec<(usize, u32, Option<(usize, usize)>)> {
        self.choices
            .iter()
            .filter_map(|choice| {
                let code = choice.code?;
                let whole = matches!(choice.how, How::Open(_)) && choice.doubt == 0.0;
                let at = whole.then(|| self.origin((choice.start, choice.end)));
                Some((choice.slot, code, at))
            })
            .collect()
    }

    /// Notes that a slot stands twice and differs.
    pub(crate) fn conflict(&mut self, slot: usize) {
        if !self.conflicts.contains(&slot) {
            self.conflicts.push(slot);
            self.branch.breach += CONFLICT;
        }
    }

    /// How many glyphs of the reading it explains.
    #[must_use]
    pub fn covered(&self) -> usize {
        self.segments.iter().map(|(from, to)| to - from).sum()
    }

    /// Whether it takes the reading as it stands: nothing corrected, cut off or at odds with the rule, `glyphs` glyphs in all.
    #[must_use]
    pub fn is_exact(&self, glyphs: usize) -> bool {
        !self.cut
            && self.edit.is_none()
            && self.covered() == glyphs
            && self
                .choices
                .iter()
                .all(|choice| choice.fixes == 0 && choice.code.is_some())
            && self.branch.broken.is_empty()
            && self.conflicts.is_empty()
            && self.failed.is_empty()
            && !self.branch.dates.iter().any(|(_, date)| date.future)
    }

    /// Whether it takes every character as it was read, all `glyphs` of them, be the end cut off or not.
    #[must_use]
    pub fn is_as_read(&self, glyphs: usize) -> bool {
        self.edit.is_none()
            && self.covered() == glyphs
            && self.choices.iter().all(|choice| choice.fixes == 0)
    }

    /// The family that explains.
    #[must_use]
    pub fn family(&self) -> FamilyId {
        self.family
    }

    /// log2 of P(codes, form, glyphs read | family).
    #[must_use]
    pub fn bits(&self) -> f64 {
        self.branch.total()
            + self.layout
            + self.checks
            + self
                .choices
                .iter()
                .map(|choice| choice.channel)
                .sum::<f64>()
    }
}
