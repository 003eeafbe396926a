//! What a choice was taken for, as glyphs and text.

use super::explain::Decoder;
use super::stream::{Doubt, Stream, Tick};
use super::walk::{Choice, How, likeliest};
use smallvec::SmallVec;

use crate::compile::{OTHER, OpenStrip, bits};
use crate::glyph::Glyph;
use crate::model::Spelling;

/// Digits and capitals by id.
const ALNUM: &[u8; 36] = b"0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ";

impl Decoder<'_> {
    /// The glyphs that a choice was taken for; `None` where some were not read.
    pub(crate) fn string(
        &self,
        family: usize,
        choice: &Choice,
        stream: &Stream,
    ) -> Option<Vec<Glyph>> {
        self.glyphs(family, choice, stream)
            .into_iter()
            .map(|mut glyphs| {
                if glyphs.len() == 1 {
                    glyphs.pop()
                } else {
                    None
                }
            })
            .collect()
    }

    /// The text of an open code of which every glyph was read as one that belongs.
    pub(crate) fn text(&self, family: usize, choice: &Choice, stream: &Stream) -> Option<String> {
        let How::Open(index) = choice.how else {
            return None;
        };
        let strip = &self.compiled(family).tables[choice.table].open[index as usize];
        let ticks = &stream.ticks[choice.start..choice.end];
        let mut text = String::with_capacity(ticks.len());
        self.push_open(strip, ticks, &mut text).then_some(text)
    }

    /// Adds what stands in a strip to a text, if every glyph of it was read as one that belongs.
    pub(crate) fn push_open(&self, strip: &OpenStrip, ticks: &[Tick], text: &mut String) -> bool {
        let belongs = |(tick, set): (&Tick, &u128)| {
            matches!(tick.doubt, Doubt::Read | Doubt::Certain) && set >> tick.id & 1 == 1
        };
        let sets = strip.sets.as_slice();
        ticks.iter().zip(sets).all(belongs)
            && self.push_taken(sets, Some(&strip.lower), ticks, text)
    }

    /// Adds what a strip is taken for, `_` for what was not read; false where a glyph is no character. `lower`: which of its letters are
    /// small, if some are.
    pub(crate) fn push_taken(
        &self,
        sets: &[u128],
        lower: Option<&Vec<bool>>,
        ticks: &[Tick],
        text: &mut String,
    ) -> bool {
        if ticks.len() != sets.len() {
            return false;
        }
        for (at, (tick, set)) in ticks.iter().zip(sets).enumerate() {
            if lower.is_none()
                && tick.doubt == Doubt::Read
                && set >> tick.id & 1 == 1
                && let Some(c) = ALNUM.get(usize::from(tick.id))
            {
                text.push(char::from(*c));
                continue;
            }
            let id = if tick.doubt == Doubt::Unread {
                match bits(*set).collect::<SmallVec<[usize; 2]>>().as_slice() {
                    [only] => u8::try_from(*only).ok(),
                    _ => {
                        text.push('_');
                        continue;
                    }
                }
            } else if set >> tick.id & 1 == 1 {
                Some(tick.id)
            } else {
                likeliest(*set, tick.id, &self.program.alphabet)
            };
            match id.and_then(|id| self.program.alphabet.glyph(id)) {
                Some(Glyph::Char(c)) => {
                    let small = lower.is_some_and(|lower| lower[at]);
                    text.push(if small { c.to_ascii_lowercase() } else { *c });
                }
                _ => return false,
            }
        }
        true
    }

    /// For each glyph of a choice what it can be.
    pub(crate) fn glyphs(
        &self,
        family: usize,
        choice: &Choice,
        stream: &Stream,
    ) -> Vec<Vec<Glyph>> {
        let program = self.compiled(family);
        let model = &self.rules.families[family];
        let alphabet = &self.program.alphabet;
        let Some(code) = choice.code else {
            return Vec::new();
        };
        match choice.how {
            How::Hidden => Vec::new(),
            How::Spelled(_) => match &model.slots[choice.slot].codes[code as usize].kind {
                crate::model::CodeKind::Listed(spelling) => spelling
                    .glyphs
                    .iter()
                    .map(|glyph| vec![glyph.clone()])
                    .collect(),
                _ => Vec::new(),
            },
            How::Open(index) => {
                let strip = &program.tables[choice.table].open[index as usize];
                let ticks = &stream.ticks[choice.start..choice.end];
                if ticks.len() != strip.sets.len()
                    || ticks.iter().any(|tick| tick.doubt == Doubt::Run)
                {
                    return strip
                        .sets
                        .iter()
                        .map(|set| self.members(*set, false))
                        .collect();
                }
                ticks
                    .iter()
                    .zip(&strip.sets)
                    .zip(&strip.lower)
                    .map(|((tick, set), lower)| match tick.doubt {
                        Doubt::Read | Doubt::Certain => {
                            let id = if set >> tick.id & 1 == 1 {
                                Some(tick.id)
                            } else {
                                likeliest(*set, tick.id, alphabet)
                            };
                            match id {
                                Some(OTHER) | None => vec![Glyph::Char('\u{fffd}')],
                                Some(id) => vec![self.cased(id, *lower)],
                            }
                        }
                        Doubt::Other => self.members(set & !tick.set(), *lower),
                        _ => self.members(set & tick.set(), *lower),
                    })
                    .collect()
            }
        }
    }

    /// A choice as text; `_` for what was not read.
    pub(crate) fn told(&self, family: usize, choice: &Choice, stream: &Stream) -> String {
        let glyphs = self.glyphs(family, choice, stream);
        let one = glyphs.iter().map(|can| match can.as_slice() {
            [only] => only.clone(),
            _ => Glyph::Char('_'),
        });
        Spelling::of_glyphs(one.collect()).text()
    }

    /// The glyph of a tick.
    pub(crate) fn glyph(&self, tick: &Tick) -> Glyph {
        self.cased(tick.id, tick.lower)
    }

    fn cased(&self, id: u8, lower: bool) -> Glyph {
        match self.program.alphabet.glyph(id) {
            Some(Glyph::Char(c)) if lower => Glyph::Char(c.to_ascii_lowercase()),
            Some(glyph) => glyph.clone(),
            None => Glyph::Char('\u{fffd}'),
        }
    }

    fn members(&self, set: u128, lower: bool) -> Vec<Glyph> {
        (0..OTHER)
            .filter(|id| set >> id & 1 == 1)
            .filter(|id| self.program.alphabet.glyph(*id).is_some())
            .map(|id| self.cased(id, lower))
            .collect()
    }
}
