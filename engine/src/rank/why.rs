//! Why a family does not lead: how far it got, what stopped it, and what member it could have been.

use super::answer::{Context, Correction};
use super::posterior::rank;
use crate::decode::{Decoder, Effort, Reading, Scratch, Seen, furthest};
use crate::glyph::Glyph;
use crate::model::{FamilyId, FormKind};

/// Most characters listed as wanted.
const MOST_WANTED: usize = 36;

/// How a family takes a reading.
#[derive(Debug, Clone)]
pub struct Why {
    /// The family.
    pub family: FamilyId,
    /// Where it stopped; `None` where it reads the text as it stands.
    pub stop: Option<Stop>,
    /// The nearest member: the ordering code as far as known.
    pub nearest: Option<String>,
    /// What must have been misread for that member.
    pub corrections: Vec<Correction>,
    /// Its probability if only this family and none were possible.
    pub alone: f64,
}

/// Where a family stopped.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Stop {
    /// The form that got furthest.
    pub form: FormKind,
    /// Line of the reading, from 0.
    pub line: usize,
    /// Characters that were read before it.
    pub read: usize,
    /// The character that stopped it, as in the line typed, in Unicode scalar values; empty at the end of a line.
    pub span: (u32, u32),
    /// That character; `None` at the end of the line.
    pub found: Option<String>,
    /// The characters that the family would have taken there.
    pub wanted: Vec<Glyph>,
    /// The form could have ended there.
    pub ended: bool,
    /// The slots that wanted them.
    pub slots: Vec<String>,
}

impl Stop {
    /// What would have been taken, in few words: `0-9` for a run, symbols as they are typed.
    #[must_use]
    pub fn wanted_text(&self) -> String {
        let chars: Vec<char> = self
            .wanted
            .iter()
            .filter_map(|glyph| match glyph {
                Glyph::Char(c) => Some(*c),
                Glyph::Symbol(_) => None,
            })
            .collect();
        let mut words: Vec<String> = Vec::new();
        for run in chars.chunk_by(|a, b| u32::from(*a) + 1 == u32::from(*b)) {
            match run {
                [first, .., last] if run.len() > 2 => words.push(format!("{first}-{last}")),
                _ => words.extend(run.iter().map(char::to_string)),
            }
        }
        words.extend(self.wanted.iter().filter_map(|glyph| match glyph {
            Glyph::Symbol(name) => Some(format!("{{:{name}}}")),
            Glyph::Char(_) => None,
        }));
        if self.ended {
            words.push("the end".to_owned());
        }
        words.join(" ")
    }
}

/// Says how a family takes a reading.
pub fn why(
    decoder: &Decoder<'_>,
    family: FamilyId,
    reading: &Reading,
    context: &Context,
    scratch: &mut Scratch,
) -> Why {
    let only = decoder.only(family);
    let explanations = only.explain(reading, context.seen, scratch);
    let stream = std::mem::take(&mut scratch.stream);
    let as_read = explanations.iter().any(|e| e.is_exact(stream.len()));
    let (program, model) = decoder.family(family);
    let alphabet = &decoder.program.alphabet;
    let stopped = furthest(program, &stream, alphabet, reading.form);
    let stop = stopped.filter(|_| !as_read).map(|stopped| {
        let here = stream.ticks.get(stopped.at);
        let before = stopped
            .at
            .checked_sub(1)
            .and_then(|at| stream.ticks.get(at));
        // What stands in the next line did not stop it: its own line ended, unless it had only begun.
        let begun = stopped.at > stopped.start;
        let before = before.filter(|_| begun);
        let here = here.filter(|tick| before.is_none_or(|before| before.line == tick.line));
        let (line, span) = match (here, before) {
            (Some(tick), _) => (usize::from(tick.line), tick.span),
            (None, Some(tick)) => (usize::from(tick.line), (tick.span.1, tick.span.1)),
            (None, None) => (0, (0, 0)),
        };
        let found = here.and_then(|tick| {
            reading.lines[usize::from(tick.line)]
                .marks
                .iter()
                .find(|mark| mark.span == tick.span)
                .map(|mark| match &mark.seen {
                    Seen::Glyph(Glyph::Char(c)) | Seen::Certain(Glyph::Char(c)) => c.to_string(),
                    Seen::Glyph(Glyph::Symbol(name)) | Seen::Certain(Glyph::Symbol(name)) => {
                        format!(":{name}:")
                    }
                    _ => "_".to_owned(),
                })
        });
        Stop {
            form: program.rows[stopped.row].kind,
            line,
            read: stopped.at - stopped.start,
            span,
            found,
            wanted: (0..crate::compile::OTHER)
                .filter(|id| stopped.wanted >> id & 1 == 1)
                .filter_map(|id| decoder.program.alphabet.glyph(id).cloned())
                .take(MOST_WANTED)
                .collect(),
            ended: stopped.ended,
            slots: stopped
                .slots
                .iter()
                .map(|slot| model.slots[*slot].name.clone())
                .collect(),
        }
    });
    scratch.stream = stream;
    let effort = if as_read { Effort::Quick } else { Effort::Deep };
    let ranking = rank(&only.with(effort), reading, context, scratch);
    let mut why = Why {
        family,
        stop,
        nearest: None,
        corrections: Vec::new(),
        alone: 0.0,
    };
    if let Some(candidate) = ranking.candidates.into_iter().next() {
        why.alone = candidate.probability;
        why.nearest = candidate.written;
        why.corrections = candidate.corrections;
    } else if let Some(stop) = &why.stop
        && stop.read > 0
    {
        // More than one damage away: what it is up to where it stopped.
        let mut cut = reading.clone();
        cut.lines.drain(..stop.line);
        cut.lines.truncate(1);
        if let Some(line) = cut.lines.first_mut() {
            line.marks.retain(|mark| mark.span.1 <= stop.span.0);
            if let Some(last) = line.marks.last().cloned() {
                line.marks.push(crate::decode::Mark {
                    seen: Seen::Run,
                    span: (last.span.1, last.span.1),
                    before: crate::glyph::Boundary::None,
                });
            }
        }
        let ranking = rank(&only.with(Effort::Quick), &cut, context, scratch);
        why.nearest = ranking
            .candidates
            .into_iter()
            .next()
            .and_then(|candidate| candidate.written);
    }
    why
}
