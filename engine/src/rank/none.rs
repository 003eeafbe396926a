//! How likely a text is if no rule knows it: a character model of part numbers, mixed with plain chance.
//!
//! `data/none.bin` holds minus log2 of P(glyph | the two before it) in sixteenths of a bit, over digits, capitals, "anything
//! else" and the end of a token. It was trained by `examples/train_none.rs` on some 4,000 real part numbers of open libraries (KiCad symbols
//! 6.0.10, CC-BY-SA 4.0; avr-libc; coreboot, flashrom and u-boot chip tables; probe-rs targets), of which only these counts remain.
//! Part numbers of the embedded families are left out: this is what text looks like that no rule knows.
//!
//! `data/words.bin` is the same of words, trained on the American list of SCOWL 2020.12.07 (Debian package wamerican) without the words
//! that the calibration asks; it counts for tokens of letters alone.

use smallvec::SmallVec;

use crate::decode::{Choice, Doubt, Explanation, Gap, Stream, Tick};
use crate::glyph::Boundary;

const SYMBOLS: usize = 38;
const END: usize = 37;
type Table = [u8; SYMBOLS * SYMBOLS * SYMBOLS];
static TABLE: &Table = include_bytes!("../../data/none.bin");
static WORDS: &Table = include_bytes!("../../data/words.bin");

/// Share of marks that look like nothing in particular.
const CHANCE: f64 = 0.15;
/// What words count for, beside the model and chance, where a token is letters alone. A belief, no source; the three are not made to sum to 1.
const WORD: f64 = 0.1;
/// Letters from which on a token can be a word: shorter ones are rather codes.
const WORD_LETTERS: usize = 5;
/// log2 probability of one glyph by chance, over the printable ones.
const CHANCE_GLYPH: f64 = -5.5;
/// Probability by chance that a token ends.
const CHANCE_END: f64 = 0.125;

/// log2 P(text | no rule knows it), by glyph and by token.
#[derive(Debug, Default)]
pub(crate) struct Background {
    /// By glyph, of the character model.
    glyph: SmallVec<[f64; 32]>,
    /// The same of all glyphs before each.
    upto: SmallVec<[f64; 32]>,
    /// By glyph, of plain chance, with that the token goes on; empty where all were read.
    chance: Vec<f64>,
    tokens: SmallVec<[Token; 4]>,
}

/// Glyphs between spaces.
#[derive(Debug, Clone, Copy)]
struct Token {
    start: usize,
    end: usize,
    /// What the end and the mixture with chance add to the glyphs of the character model.
    rest: f64,
    /// log2 of the probability of the end by the character model.
    ending: f64,
}

/// The two symbols before one, where they are known.
type Context = (Option<usize>, Option<usize>);

fn symbol(id: u8) -> usize {
    usize::from(id.min(36))
}

impl Background {
    pub(crate) fn read(stream: &Stream) -> Background {
        let mut background = Background {
            glyph: SmallVec::with_capacity(stream.len()),
            upto: SmallVec::with_capacity(stream.len() + 1),
            chance: Vec::new(),
            tokens: SmallVec::new(),
        };
        let read = |tick: &Tick| tick.doubt == Doubt::Read;
        let all_read = stream.ticks.iter().all(read);
        let begins = |tick: &Tick| matches!(tick.gap, Gap::Line | Gap::Within(Boundary::Space));
        let mut at = 0;
        while at < stream.len() {
            let start = at;
            let mut end = at + 1;
            while end < stream.len() && !begins(&stream.ticks[end]) {
                end += 1;
            }
            let (model, chance, context) = background.add(&stream.ticks[start..end], all_read);
            let ending = if stream.ticks[end - 1].doubt == Doubt::Run {
                0.0
            } else {
                probability(TABLE, context, END)
            };
            let by_model = (1.0 - CHANCE).log2() + model + ending;
            let by_chance = CHANCE.log2() + chance + CHANCE_END.log2();
            let mut sum = log2_sum(by_model, by_chance);
            if let Some(bits) = word(&stream.ticks[start..end]) {
                sum = log2_sum(sum, WORD.log2() + bits);
            }
            background.tokens.push(Token {
                start,
                end,
                rest: sum - model,
                ending,
            });
            at = end;
        }
        background.sum_up();
        background
    }

    fn sum_up(&mut self) {
        self.upto.clear();
        let mut sum = 0.0;
        for bits in &self.glyph {
            self.upto.push(sum);
            sum += bits;
        }
        self.upto.push(sum);
    }

    /// Of some glyphs, of the character model alone.
    fn sum(&self, from: usize, to: usize) -> f64 {
        self.upto[to] - self.upto[from]
    }

    /// Adds the glyphs of a token; gives log2 of their probability by the character model and by chance, and the last two.
    fn add(&mut self, ticks: &[Tick], all_read: bool) -> (f64, f64, Context) {
        let going_on = (1.0 - CHANCE_END).log2();
        let (mut model, mut chance) = (0.0, 0.0);
        if all_read {
            let (mut a, mut b) = (END, END);
            for tick in ticks {
                let next = symbol(tick.id);
                let bits = -f64::from(TABLE[(a * SYMBOLS + b) * SYMBOLS + next]) / 16.0;
                self.glyph.push(bits);
                model += bits;
                chance += CHANCE_GLYPH + going_on;
                (a, b) = (b, next);
            }
            return (model, chance, (Some(a), Some(b)));
        }
        let mut context: Context = (Some(END), Some(END));
        for tick in ticks {
            let (bits, by_chance) = match tick.doubt {
                Doubt::Unread | Doubt::Run => (0.0, 0.0),
                Doubt::OneOf => {
                    let ids = (0..127_u8).filter(|id| tick.set() >> id & 1 == 1);
                    let sum: f64 = ids
                        .map(|id| probability(TABLE, context, symbol(id)).exp2())
                        .sum();
                    (
                        sum.log2(),
                        CHANCE_GLYPH + f64::from(tick.set().count_ones()).log2(),
                    )
                }
                Doubt::Read | Doubt::Certain | Doubt::Other => {
                    (probability(TABLE, context, symbol(tick.id)), CHANCE_GLYPH)
                }
            };
            let by_chance = by_chance
                + if tick.doubt == Doubt::Run {
                    0.0
                } else {
                    going_on
                };
            self.glyph.push(bits);
            self.chance.push(by_chance);
            model += bits;
            chance += by_chance;
            let shown = matches!(tick.doubt, Doubt::Read | Doubt::Certain);
            context = (context.1, shown.then(|| symbol(tick.id)));
        }
        (model, chance, context)
    }

    /// By glyph, of the character model alone.
    pub(crate) fn glyph(&self, at: usize) -> f64 {
        self.glyph.get(at).copied().unwrap_or(0.0)
    }

    /// By glyph, of plain chance, with that the token goes on.
    fn by_chance(&self, at: usize) -> f64 {
        let all = CHANCE_GLYPH + (1.0 - CHANCE_END).log2();
        self.chance.get(at).copied().unwrap_or(all)
    }

    /// Of the glyphs of one place of an explanation.
    pub(crate) fn of(&self, explanation: &Explanation, choice: &Choice) -> f64 {
        let (start, end) = explanation.origin((choice.start, choice.end));
        (start..end).map(|at| self.glyph(at)).sum()
    }

    /// Of a stretch that stands in a place which takes any text: what chance explains better than the character model, it explains there as well.
    pub(crate) fn free(&self, from: usize, to: usize) -> f64 {
        self.tokens
            .iter()
            .map(|token| {
                let (from, to) = (token.start.max(from), token.end.min(to));
                if from >= to {
                    return 0.0;
                }
                let model = self.sum(from, to);
                let chance: f64 = (from..to).map(|at| self.by_chance(at)).sum();
                log2_sum(model, (CHANCE / (1.0 - CHANCE)).log2() + chance).min(0.0)
            })
            .sum()
    }

    /// The same of one place of an explanation.
    pub(crate) fn free_of(&self, explanation: &Explanation, choice: &Choice) -> f64 {
        let (start, end) = explanation.origin((choice.start, choice.end));
        self.free(start, end)
    }

    /// What the ends and mixtures of the whole tokens of a stretch add.
    pub(crate) fn ends(&self, start: usize, end: usize) -> f64 {
        self.tokens
            .iter()
            .filter(|token| token.start >= start && token.end <= end)
            .map(|token| token.rest)
            .sum()
    }

    /// Takes into account that another specimen of an unknown part shows the same text: a token from one of `starts` on that is like one
    /// before that start costs, half of the time, only what it shows anew.
    pub(crate) fn repeat(&mut self, stream: &Stream, starts: &[usize]) {
        for at in 0..self.tokens.len() {
            let token = self.tokens[at];
            let from = starts.iter().rev().find(|start| **start <= token.start);
            let Some(from) = from.filter(|from| **from > 0) else {
                continue;
            };
            let like = self.tokens[..at]
                .iter()
                .filter(|before| before.end <= *from)
                .filter_map(|before| {
                    again(stream, (before.start, before.end), (token.start, token.end))
                })
                .min_by_key(|new| new.iter().filter(|new| **new).count());
            let Some(new) = like else { continue };
            let mut fresh = token.rest;
            let mut model = 0.0;
            for (place, new) in (token.start..token.end).zip(new) {
                fresh += self.glyph[place];
                if !new {
                    self.glyph[place] = 0.0;
                    if self.chance.is_empty() {
                        let all = CHANCE_GLYPH + (1.0 - CHANCE_END).log2();
                        self.chance = vec![all; self.glyph.len()];
                    }
                    self.chance[place] = 0.0;
                }
                model += self.glyph[place];
            }
            let text = log2_sum(fresh, model) - 1.0;
            self.tokens[at].rest = text - model;
            self.tokens[at].ending = 0.0;
        }
        self.sum_up();
    }

    /// log2 probability of a stretch. Of a token that lies in it only in part, what its text is less likely for that part: the rest of it
    /// is text that no rule knows, and a token is by chance as a whole or not at all.
    pub(crate) fn stretch(&self, start: usize, end: usize) -> f64 {
        let mut sum = 0.0;
        for token in &self.tokens {
            let (from, to) = (token.start.max(start), token.end.min(end));
            if from >= to {
                continue;
            }
            sum += token.rest + self.sum(from, to);
            if to - from == token.end - token.start {
                continue;
            }
            let glyphs = self.sum(token.start, from) + self.sum(to, token.end);
            let left = (token.start..from).chain(to..token.end);
            let chance: f64 = left.map(|at| self.by_chance(at)).sum();
            let (ending, by_chance) = if to < token.end {
                (token.ending, CHANCE_END.log2())
            } else {
                (0.0, 0.0)
            };
            // `rest` is that of the whole token; what is left over is text by itself.
            let left = log2_sum(
                (1.0 - CHANCE).log2() + glyphs + ending,
                CHANCE.log2() + chance + by_chance,
            );
            sum += glyphs - left;
        }
        sum
    }
}

/// Which glyphs of a token are not those of another, if it is like it: as long, and three of four read alike where both were read.
fn again(stream: &Stream, first: (usize, usize), second: (usize, usize)) -> Option<Vec<bool>> {
    let (first, second) = (
        &stream.ticks[first.0..first.1],
        &stream.ticks[second.0..second.1],
    );
    let read = |tick: &Tick| matches!(tick.doubt, Doubt::Read | Doubt::Certain);
    let new: Vec<bool> = first
        .iter()
        .zip(second)
        .map(|(a, b)| !(read(a) && read(b) && a.id == b.id))
        .collect();
    let both = first.iter().zip(second).filter(|(a, b)| read(a) && read(b));
    let other = both.clone().filter(|(a, b)| a.id != b.id).count();
    let both = both.count();
    (first.len() == second.len() && both > 0 && other * 4 <= both).then_some(new)
}

/// log2 of the probability of a token among words; `None` where it is none.
fn word(ticks: &[Tick]) -> Option<f64> {
    let letter = |tick: &Tick| tick.doubt == Doubt::Read && (10..36).contains(&tick.id);
    if ticks.len() < WORD_LETTERS || !ticks.iter().all(letter) {
        return None;
    }
    let mut context = (Some(END), Some(END));
    let mut bits = 0.0;
    for tick in ticks {
        let next = symbol(tick.id);
        bits += probability(WORDS, context, next);
        context = (context.1, Some(next));
    }
    Some(bits + probability(WORDS, context, END))
}

/// log2 P(next | two before); an unknown one before is averaged roughly by leaving it at the start of a token.
fn probability(table: &Table, context: Context, next: usize) -> f64 {
    match context {
        (_, None) => (1.0 / 37.0_f64).log2(),
        (a, Some(b)) => -f64::from(table[(a.unwrap_or(END) * SYMBOLS + b) * SYMBOLS + next]) / 16.0,
    }
}

/// log2(2^a + 2^b)
#[inline]
pub(crate) fn log2_sum(a: f64, b: f64) -> f64 {
    let (high, low) = if a > b { (a, b) } else { (b, a) };
    // So far below it is lost in rounding.
    if low < high - 54.0 {
        high
    } else {
        high + (1.0 + (low - high).exp2()).log2()
    }
}
