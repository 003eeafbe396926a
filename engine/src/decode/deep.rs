//! Damage beyond look-alikes: the stream as it may have been before a character was misread, dropped, doubled or swapped, an end cut
//! off, or a short mark read upside down. One such edit at a time; the search itself is the same lattice.

use std::borrow::Cow;

use super::stream::{Doubt, Gap, Stream, Tick};
use super::walk::Way;
use crate::compile::{Alphabet, OTHER};
use crate::glyph::Boundary;

/// log2 cost of a line whose end is missing within a code.
const END_CUT: f64 = -7.0;
/// log2 cost of a line whose beginning is: reading begins there, so it is missed more seldom.
const START_CUT: f64 = -10.0;
/// log2 cost of a mark read upside down.
const TURNED: f64 = -6.0;
/// Longest mark that is tried upside down, in glyphs.
const MAX_TURNED: usize = 4;

/// Pairs of characters of which each is the other, turned by half a circle. By geometry, no source.
const TURNS: &[(char, char)] = &[
    ('0', '0'),
    ('1', '1'),
    ('8', '8'),
    ('6', '9'),
    ('O', 'O'),
    ('I', 'I'),
    ('H', 'H'),
    ('N', 'N'),
    ('S', 'S'),
    ('X', 'X'),
    ('Z', 'Z'),
    ('M', 'W'),
];

/// One damage, by glyph of the reading.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Edit {
    /// The glyph at this place is another that looks nothing like it.
    Other(usize),
    /// A glyph is missing after the one before this place.
    Dropped(usize),
    /// The first glyph of the token at this place is missing.
    First(usize),
    /// The glyph at this place was read twice.
    Doubled(usize),
    /// The glyph at this place and the next changed places.
    Swapped(usize),
    /// The line that ends before this place goes on.
    EndCut(usize),
    /// The line that begins at this place began earlier.
    StartCut(usize),
    /// The mark, of so many glyphs, was read upside down.
    Turned(usize),
}

impl Edit {
    /// The place in the reading of a place in the stream as it may have been.
    pub(crate) fn origin(self, at: usize) -> usize {
        match self {
            Edit::Other(_) | Edit::Swapped(_) => at,
            Edit::Dropped(place)
            | Edit::First(place)
            | Edit::EndCut(place)
            | Edit::StartCut(place) => at - usize::from(at > place),
            // `place` itself is the glyph that was left out of the stream.
            Edit::Doubled(place) => at + usize::from(at >= place),
            Edit::Turned(length) => length - at.min(length),
        }
    }

    /// A stretch of the stream as it may have been, in places of the reading.
    pub(crate) fn stretch(self, (from, to): (usize, usize)) -> (usize, usize) {
        let (a, b) = (self.origin(from), self.origin(to));
        // A doubled glyph at the end of a stretch belongs to it.
        match self {
            Edit::Doubled(place) if to == place => (a, place + 1),
            _ => (a.min(b), a.max(b)),
        }
    }

    /// The same damage in a stream that has so many glyphs before this one; `None` where it is a damage of the whole.
    pub(crate) fn moved(self, by: usize) -> Option<Edit> {
        Some(match self {
            Edit::Other(at) => Edit::Other(at + by),
            Edit::Dropped(at) => Edit::Dropped(at + by),
            Edit::First(at) => Edit::First(at + by),
            Edit::Doubled(at) => Edit::Doubled(at + by),
            Edit::Swapped(at) => Edit::Swapped(at + by),
            Edit::EndCut(at) => Edit::EndCut(at + by),
            Edit::StartCut(at) => Edit::StartCut(at + by),
            Edit::Turned(_) => return None,
        })
    }

    /// How many glyphs the stream as it may have been has more than the reading.
    pub(crate) fn growth(self) -> isize {
        match self {
            Edit::Dropped(_) | Edit::First(_) | Edit::EndCut(_) | Edit::StartCut(_) => 1,
            Edit::Doubled(_) => -1,
            Edit::Other(_) | Edit::Swapped(_) | Edit::Turned(_) => 0,
        }
    }

    /// Whether a stretch of the stream as it may have been shows this damage; else it is explained without it.
    pub(crate) fn within(self, (from, to): (usize, usize)) -> bool {
        match self {
            Edit::Other(place)
            | Edit::Dropped(place)
            | Edit::First(place)
            | Edit::EndCut(place)
            | Edit::StartCut(place) => from <= place && place < to,
            Edit::Doubled(place) => from < place && place <= to,
            Edit::Swapped(place) => from <= place && place + 1 < to,
            Edit::Turned(_) => true,
        }
    }

    /// The place in the reading of a place of the stream as it may have been that lies behind the damage; `None` before and in it.
    pub(crate) fn behind(self, at: usize) -> Option<usize> {
        let (first, read) = match self {
            Edit::Other(place) => (place + 1, at),
            Edit::Swapped(place) => (place + 2, at),
            Edit::Dropped(place)
            | Edit::First(place)
            | Edit::EndCut(place)
            | Edit::StartCut(place) => (place + 1, at.saturating_sub(1)),
            Edit::Doubled(place) => (place, at + 1),
            Edit::Turned(_) => return None,
        };
        (at >= first).then_some(read)
    }

    /// A way through the stream as it was read, in places of the stream as it may have been; `None` if it touches the damage.
    pub(crate) fn elsewhere(self, way: &Way) -> Option<Way> {
        let (from, to) = match self {
            Edit::Other(place) => (place, place + 1),
            Edit::Swapped(place) => (place, place + 2),
            Edit::Doubled(place) => (place - 1, place + 1),
            // What ends or begins where something is missing can do without it.
            Edit::Dropped(place)
            | Edit::First(place)
            | Edit::EndCut(place)
            | Edit::StartCut(place) => (place, place),
            Edit::Turned(length) => (0, length),
        };
        if way.end <= from {
            return Some(way.clone());
        }
        if way.start < to {
            return None;
        }
        let moved = |at: usize| match self {
            Edit::Dropped(_) | Edit::First(_) | Edit::EndCut(_) | Edit::StartCut(_) => at + 1,
            Edit::Doubled(_) => at - 1,
            _ => at,
        };
        let mut way = way.clone();
        way.start = moved(way.start);
        way.end = moved(way.end);
        for choice in &mut way.choices {
            choice.start = moved(choice.start);
            choice.end = moved(choice.end);
        }
        Some(way)
    }

    /// The glyphs of the reading that it is about, the last excluded.
    pub(crate) fn range(self, length: usize) -> (usize, usize) {
        match self {
            Edit::Other(at) => (at, at + 1),
            Edit::Dropped(at) | Edit::First(at) | Edit::EndCut(at) | Edit::StartCut(at) => (at, at),
            Edit::Doubled(at) => (at - 1, at + 1),
            Edit::Swapped(at) => (at, at + 2),
            Edit::Turned(_) => (0, length),
        }
    }

    /// The glyph of the edited stream whose place carries the cost.
    pub(crate) fn place(self) -> usize {
        match self {
            Edit::Other(place)
            | Edit::Dropped(place)
            | Edit::First(place)
            | Edit::Swapped(place)
            | Edit::EndCut(place)
            | Edit::StartCut(place) => place,
            Edit::Doubled(place) => place - 1,
            Edit::Turned(_) => 0,
        }
    }

    /// log2 of the most that it comes to with what the glyphs themselves cost.
    pub(crate) fn most(self, stream: &Stream, alphabet: &Alphabet) -> f64 {
        match self {
            // Any glyph that is read as this one.
            Edit::Other(at) => stream.ticks.get(at).map_or(0.0, |tick| {
                let all: f64 = (0..=OTHER)
                    .map(|id| alphabet.strange(id, tick.id).exp2())
                    .sum();
                all.log2()
            }),
            _ => self.bits(alphabet),
        }
    }

    /// log2 of its probability, beside what the glyphs themselves cost.
    pub(crate) fn bits(self, alphabet: &Alphabet) -> f64 {
        match self {
            Edit::Other(_) => 0.0,
            Edit::Dropped(_) | Edit::First(_) => alphabet.dropped,
            Edit::Doubled(_) => alphabet.doubled,
            Edit::Swapped(_) => alphabet.swapped,
            Edit::EndCut(_) => END_CUT,
            Edit::StartCut(_) => START_CUT,
            Edit::Turned(_) => TURNED,
        }
    }
}

/// All single damages that a reading can have, likelier kinds first.
pub(crate) fn edits(stream: &Stream, alphabet: &Alphabet) -> Vec<Edit> {
    let ticks = &stream.ticks;
    let mut edits = Vec::new();
    let same_line = |a: usize, b: usize| {
        ticks
            .get(a)
            .zip(ticks.get(b))
            .is_some_and(|(a, b)| a.line == b.line)
    };
    let free = |at: usize| ticks[at].doubt == Doubt::Read;
    let run = |at: usize| ticks.get(at).is_some_and(|tick| tick.doubt == Doubt::Run);
    edits.extend((0..ticks.len()).filter(|at| free(*at)).map(Edit::Other));
    for (at, tick) in ticks.iter().enumerate() {
        let alone = starts(tick);
        // Beside an unread run a missing glyph lies in it.
        if alone && !run(at) {
            edits.push(Edit::First(at));
        }
        if !run(at) && !run(at + 1) {
            edits.push(Edit::Dropped(at + 1));
        }
    }
    for at in 1..ticks.len() {
        let joined = matches!(ticks[at].gap, Gap::Within(Boundary::None)) && free(at);
        if joined && free(at - 1) && ticks[at].id == ticks[at - 1].id {
            edits.push(Edit::Doubled(at));
        }
        if joined && free(at - 1) && ticks[at].id != ticks[at - 1].id {
            edits.push(Edit::Swapped(at - 1));
        }
    }
    for (at, tick) in ticks.iter().enumerate() {
        if !same_line(at, at + 1) && !run(at) {
            edits.push(Edit::EndCut(at + 1));
        }
        if tick.gap == Gap::Line && !run(at) {
            edits.push(Edit::StartCut(at));
        }
    }
    if ticks.len() <= MAX_TURNED && stream.capitals.len() == 1 && turned(stream, alphabet).is_some()
    {
        edits.push(Edit::Turned(ticks.len()));
    }
    edits
}

/// The stream as it may have been before the damage.
pub(crate) fn before(stream: &Stream, edit: Edit, alphabet: &Alphabet) -> Stream {
    let mut edited = Stream {
        ticks: stream.ticks.clone(),
        capitals: stream.capitals.clone(),
        doubtful: true,
        ..Stream::default()
    };
    match edit {
        Edit::Other(at) => edited.ticks[at].doubt = Doubt::Other,
        Edit::Dropped(at) => insert(&mut edited.ticks, at, Doubt::Unread, false),
        Edit::First(at) => insert(&mut edited.ticks, at, Doubt::Unread, true),
        Edit::EndCut(at) => insert(&mut edited.ticks, at, Doubt::Run, false),
        Edit::StartCut(at) => insert(&mut edited.ticks, at, Doubt::Run, true),
        Edit::Doubled(at) => {
            edited.ticks.remove(at);
        }
        Edit::Swapped(at) => {
            let (a, b) = (edited.ticks[at].gap, edited.ticks[at + 1].gap);
            edited.ticks.swap(at, at + 1);
            edited.ticks[at].gap = a;
            edited.ticks[at + 1].gap = b;
        }
        Edit::Turned(_) => {
            if let Some(ticks) = turned(stream, alphabet) {
                edited.ticks = ticks;
            }
        }
    }
    edited.mark_gaps();
    edited
}

/// Puts something that was not read into the stream: after the glyph before `at`, or as the first of the token that begins there.
fn insert(ticks: &mut Vec<Tick>, at: usize, doubt: Doubt, first: bool) {
    let Some(near) = ticks
        .get(if first { at } else { at.saturating_sub(1) })
        .copied()
    else {
        return;
    };
    let place = if first { near.span.0 } else { near.span.1 };
    let tick = Tick {
        id: OTHER,
        class: OTHER,
        doubt,
        lower: false,
        gap: if first {
            near.gap
        } else {
            Gap::Within(Boundary::None)
        },
        span: (place, place),
        ..near
    };
    if first {
        ticks[at].gap = Gap::Within(Boundary::None);
    }
    ticks.insert(at, tick);
}

fn starts(tick: &Tick) -> bool {
    matches!(tick.gap, Gap::Line | Gap::Within(Boundary::Space))
}

/// The glyphs of a mark read from the other side; `None` where some has no such form.
fn turned(stream: &Stream, alphabet: &Alphabet) -> Option<Vec<Tick>> {
    let id = |c: char| alphabet.id(&crate::glyph::Glyph::Char(c));
    let mut ticks = Vec::with_capacity(stream.len());
    let mut changed = false;
    for (at, tick) in stream.ticks.iter().rev().enumerate() {
        if tick.doubt != Doubt::Read {
            return None;
        }
        let other = TURNS.iter().find_map(|(a, b)| {
            if id(*a) == tick.id {
                Some(id(*b))
            } else {
                (id(*b) == tick.id).then(|| id(*a))
            }
        })?;
        changed |= other != stream.ticks[at].id;
        ticks.push(Tick {
            id: other,
            class: alphabet.class(other),
            gap: if at == 0 {
                Gap::Line
            } else {
                stream.ticks[stream.len() - at].gap
            },
            ..*tick
        });
    }
    changed.then_some(ticks)
}

/// The stream that an explanation explains.
pub(crate) fn over<'s>(
    edit: Option<Edit>,
    stream: &'s Stream,
    alphabet: &Alphabet,
) -> Cow<'s, Stream> {
    match edit {
        None => Cow::Borrowed(stream),
        Some(edit) => Cow::Owned(before(stream, edit, alphabet)),
    }
}
