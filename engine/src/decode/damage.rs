//! The search for damage: which rows a reading may be of once one damage is undone, and how.

use jiff::civil::Date;
use smallvec::SmallVec;

use super::Reading;
use super::begun::Begun;
use super::deep::{self, Edit};
use super::explain::{Decoder, Row, Scratch};
use super::explanation::Explanation;
use super::promise::Promise;
use super::reach::{Damaged, Reach, Rest};
use super::stream::{Doubt, Stream};
use super::walk::{Alive, Choice, Walker, Way};
use crate::compile::{Alphabet, LineProgram};
use crate::model::FamilyId;

/// Longest reading that is searched for damage, in glyphs.
const MAX_DAMAGED: usize = 80;
/// Most steps of all walks of one family.
const MAX_STEPS: u64 = 3_000;
/// What is found, before the codes are weighed.
pub(crate) struct Found<'a> {
    pub(crate) family: FamilyId,
    /// Stretches of the stream as it may have been.
    pub(crate) segments: &'a [(usize, usize)],
    pub(crate) choices: &'a [&'a Choice],
    pub(crate) edit: Option<Edit>,
    /// log2 of the most that P(codes, form, glyphs read | family) can be.
    pub(crate) bits: f64,
}

/// By how many bits it is likelier than what is passed over; below 0 it is not weighed.
pub(crate) type Worth<'a> = dyn Fn(&Found<'_>) -> f64 + 'a;

/// What an explanation of a family must come to beside one that takes the whole reading as one line.
pub(super) struct Least<'a> {
    /// log2 of the most that what was found can come to.
    pub(super) worth: &'a dyn Fn(&Found<'_>) -> f64,
    /// How far below the best of the family it may be.
    pub(super) within: f64,
    /// The best of the family.
    pub(super) best: std::cell::Cell<f64>,
}

/// A search for one damage.
#[derive(Clone, Copy)]
pub(super) struct Damage<'a> {
    pub(super) edit: Edit,
    /// log2 of the damage itself.
    pub(super) bits: f64,
    pub(super) worth: &'a Worth<'a>,
}

/// Damages, by their indices.
type Indices = SmallVec<[u32; 8]>;

/// A row that is searched for damage.
struct Tried {
    family: usize,
    row: usize,
    /// By line: the damages that it can have, and from where its rest can be read.
    lines: SmallVec<[(Indices, Vec<u128>); 2]>,
    /// The ways for its lines as they were read, once asked for.
    undamaged: Option<Vec<Vec<Way>>>,
}

/// Which damage which of the rows can have.
fn pairs(tried: &[Tried]) -> Vec<(u32, usize)> {
    let mut pairs: Vec<(u32, usize)> = Vec::new();
    for (at, tried) in tried.iter().enumerate() {
        let all = tried.lines.iter().flat_map(|(has, _)| has);
        pairs.extend(all.map(|index| (*index, at)));
    }
    pairs.sort_unstable();
    pairs.dedup();
    pairs
}

impl Decoder<'_> {
    /// Adds the explanations that take one damage more: a character misread as anything, dropped, doubled or swapped, an end cut off,
    /// the mark upside down. For the reading that was explained last.
    pub(crate) fn explain_damage(
        &self,
        reading: &Reading,
        seen: Date,
        scratch: &mut Scratch,
        worth: &Worth<'_>,
        found: &mut Vec<Explanation>,
    ) {
        self.search_damage(reading, seen, scratch, worth, true, found);
    }

    /// The same, perhaps without leaving out at once what its [`Promise`] says is not worth it.
    fn search_damage(
        &self,
        reading: &Reading,
        seen: Date,
        scratch: &mut Scratch,
        worth: &Worth<'_>,
        promised: bool,
        found: &mut Vec<Explanation>,
    ) {
        let stream = std::mem::take(&mut scratch.stream);
        let unread = stream
            .ticks
            .iter()
            .filter(|tick| !matches!(tick.doubt, Doubt::Read | Doubt::Certain))
            .count();
        if stream.len() > MAX_DAMAGED || unread * 3 > stream.len() {
            scratch.stopped = true;
            scratch.stream = stream;
            return;
        }
        let glyphs = stream.len();
        let mut taken: Vec<u32> = found
            .iter()
            .filter(|known| !known.cut && known.is_as_read(glyphs))
            .map(|known| known.family.0)
            .collect();
        taken.sort_unstable();
        taken.dedup();
        let alphabet = &self.program.alphabet;
        let damages: Vec<Damaged> = deep::edits(&stream, alphabet)
            .into_iter()
            .enumerate()
            .map(|(index, edit)| Damaged {
                index,
                edit,
                stream: deep::before(&stream, edit, alphabet),
            })
            .collect();
        // Lines that name the part are all there, and over one start there is room for one line.
        let alone = stream.starts.len() == 1;
        let begun = self.begun(&stream, &damages, alone, &taken, scratch);
        let promise = (alone && promised).then(|| Promise::of(&stream, &damages, worth, self));
        for rows in begun.families() {
            let mut tried = self.tried(rows, &stream, &damages, &begun, promise.as_ref(), scratch);
            // A bound for each family, so that no rule takes from another.
            scratch.steps = MAX_STEPS;
            for (index, at) in pairs(&tried) {
                if scratch.steps == 0 {
                    scratch.stopped = true;
                    break;
                }
                let damage = &damages[index as usize];
                let upto = found.len();
                let ways = self.damaged_ways(&mut tried[at], damage, &stream, worth, scratch);
                if let Some(ways) = ways {
                    let row = Row {
                        family: tried[at].family,
                        row: tried[at].row,
                        reading,
                        stream: &damage.stream,
                        seen,
                        damage: Some(Damage {
                            edit: damage.edit,
                            bits: damage.edit.bits(alphabet),
                            worth,
                        }),
                        least: None,
                    };
                    self.lay_out(&row, &ways, scratch, found);
                    damaged(found, upto, damage.edit, alphabet);
                }
            }
        }
        scratch.stream = stream;
    }

    /// The rows of one family that can have a damage.
    fn tried(
        &self,
        rows: &[(u32, u32)],
        stream: &Stream,
        damages: &[Damaged],
        begun: &Begun,
        promise: Option<&Promise<'_>>,
        scratch: &mut Scratch,
    ) -> Vec<Tried> {
        let mut tried = Vec::new();
        let family = rows[0].0;
        let program = self.compiled(family as usize);
        let promise = promise.map(|promise| (promise, promise.base(family)));
        let room = std::mem::take(&mut scratch.reach);
        let mut reach = Reach::new(program, stream, &self.program.alphabet, room);
        for (_, row_at) in rows {
            let row = &program.rows[*row_at as usize];
            if begun.alone && !self.program.names_once(family, *row_at) {
                continue;
            }
            let place = self.program.row(family, *row_at);
            // One damage is in one line; the others that name the part are there as read.
            let mut rests: Vec<Option<Rest>> = Vec::new();
            let (mut missing, mut only) = (0, None);
            let naming = |(number, line): (usize, &LineProgram)| {
                let rest = (line.names && !begun.alone).then(|| reach.rest(line));
                if rest.as_ref().is_some_and(|rest| !rest.there) {
                    (missing, only) = (missing + 1, Some(number));
                }
                rest
            };
            if row.lines.len() > 1 {
                rests.extend(row.lines.iter().enumerate().map(naming));
            }
            if missing > 1 {
                continue;
            }
            // Where no line that names the part is there as read, it is that one which has the damage.
            let only_naming = begun.alone || !begun.is_as_read(place);
            let mut lines = SmallVec::with_capacity(row.lines.len());
            for (number, line) in row.lines.iter().enumerate() {
                let mut has = Indices::new();
                let mut alive = Vec::new();
                let here = (!only_naming || line.names) && only.is_none_or(|only| only == number);
                let most = promise.map(|(promise, base)| (promise, promise.of_line(base, line)));
                let worth = |damage: &&Damaged| {
                    let most = most.as_ref();
                    most.is_none_or(|(promise, line)| promise.is_worth(line, damage))
                };
                let can_be = |damage: &&Damaged| begun.can_be(place, damage) && worth(damage);
                if here && damages.iter().any(|damage| can_be(&damage)) {
                    let known = rests.get_mut(number).and_then(Option::take);
                    let mut rest = known.unwrap_or_else(|| reach.rest(line));
                    // A line that names nothing and is there as read needs no damage.
                    if line.names || !reach.is_there(&rest) {
                        let can_have = damages.iter().filter(can_be).filter(|damage| {
                            matches!(damage.edit, Edit::Turned(_))
                                || reach.can_have(line, &mut rest, damage)
                        });
                        has.extend(can_have.map(|damage| damage.index as u32));
                    }
                    let places = has
                        .iter()
                        .map(|index| damages[*index as usize].edit.place());
                    if let Some(least) = places.min() {
                        alive = reach.alive(line, &mut rest, least);
                    }
                }
                lines.push((has, alive));
            }
            if lines
                .iter()
                .any(|(has, _): &(Indices, Vec<u128>)| !has.is_empty())
            {
                tried.push(Tried {
                    family: family as usize,
                    row: *row_at as usize,
                    lines,
                    undamaged: None,
                });
            }
        }
        scratch.reach = reach.leave();
        tried
    }

    /// The ways for the lines of a row, one of them with a damage; `None` if no line can have it.
    #[allow(clippy::too_many_arguments)]
    fn damaged_ways(
        &self,
        tried: &mut Tried,
        damage: &Damaged,
        stream: &Stream,
        worth: &Worth<'_>,
        scratch: &mut Scratch,
    ) -> Option<Vec<Vec<Way>>> {
        let Damaged {
            index,
            edit,
            stream: before,
        } = damage;
        let (index, edit) = (*index, *edit);
        let program = self.compiled(tried.family);
        let row = &program.rows[tried.row];
        let turned = matches!(edit, Edit::Turned(_));
        let place = edit.place();
        let torn = matches!(edit, Edit::EndCut(_) | Edit::StartCut(_))
            && stream.ticks.iter().all(|tick| tick.doubt != Doubt::Run);
        // A line that is laid alone is worth what it comes to itself: the damage, and check digits that hold, beside its codes.
        let checks = &self.rules.families[tried.family].checks;
        let beside = edit.bits(&self.program.alphabet)
            + checks
                .iter()
                .map(|check| f64::from(check.modulus).log2())
                .sum::<f64>();
        let most = |stretch: (usize, usize)| {
            worth(&Found {
                family: program.id,
                segments: &[stretch],
                choices: &[],
                edit: Some(edit),
                bits: beside,
            })
        };
        let alone = row.lines.len() == 1 || before.starts.len() == 1;
        let line_of = |at: usize| before.ticks.get(at).map_or(0, |tick| tick.line);
        let mut ways: Vec<Vec<Way>> = Vec::with_capacity(row.lines.len());
        for (line, (possible, alive)) in row.lines.iter().zip(&tried.lines) {
            let room = std::mem::take(&mut scratch.room);
            let mut walker = Walker::new(program, line, before, &self.program.alphabet)
                .within(room, Vec::new())
                .behind(Alive {
                    at: alive,
                    edit,
                    torn,
                    most: if alone { Some(&most) } else { None },
                });
            if possible.contains(&(index as u32)) {
                // A line of a form goes on in the next line at most.
                for start in before.starts.iter().filter(|start| {
                    turned || **start <= place && line_of(**start) + 1 >= line_of(place)
                }) {
                    walker.from(*start);
                }
                scratch.stopped |= walker.stopped;
                scratch.steps = scratch.steps.saturating_sub(walker.walked);
                walker.ways.retain(|way| edit.within((way.start, way.end)));
            }
            let (room, found) = walker.leave();
            scratch.room = room;
            ways.push(found);
        }
        if ways.iter().all(Vec::is_empty) {
            return None;
        }
        // The other lines are there as they were read.
        if row.lines.len() > 1 && !turned {
            let undamaged = tried
                .undamaged
                .get_or_insert_with(|| self.ways(tried.family, tried.row, stream, scratch));
            for (ways, plain) in ways.iter_mut().zip(undamaged) {
                ways.extend(plain.iter().filter_map(|way| edit.elsewhere(way)));
            }
        }
        Some(ways)
    }
}

/// Marks new explanations as taking a damage; its cost goes to the place that shows it.
fn damaged(found: &mut Vec<Explanation>, upto: usize, edit: Edit, alphabet: &Alphabet) {
    let place = edit.place();
    let mut at = upto;
    while at < found.len() {
        let explanation = &mut found[at];
        // A line that is cut between two codes is found without the search for damage.
        let within = match edit {
            Edit::EndCut(_) | Edit::StartCut(_) => explanation.choices.iter().any(|choice| {
                choice.code.is_some()
                    && choice.partial
                    && (choice.end == place || choice.start == place)
            }),
            _ => true,
        };
        let choice = explanation
            .choices
            .iter_mut()
            .filter(|choice| choice.start <= place && place <= choice.end)
            .max_by_key(|choice| (choice.end > place, choice.end > choice.start));
        match choice {
            Some(choice) if within => {
                choice.channel += edit.bits(alphabet);
                explanation.edit = Some(edit);
                explanation.segments = explanation
                    .segments
                    .iter()
                    .map(|stretch| edit.stretch(*stretch))
                    .collect();
                explanation.cut |= matches!(edit, Edit::EndCut(_) | Edit::StartCut(_));
                at += 1;
            }
            _ => {
                found.swap_remove(at);
            }
        }
    }
}

/// How many explanations a search for damage finds in a reading. Panics where it finds others without the bound on what a damage is worth.
#[cfg(test)]
pub(crate) fn as_promised(decoder: &Decoder<'_>, reading: &Reading, least: f64) -> usize {
    let found = |promised: bool| {
        let mut scratch = Scratch::default();
        decoder.fill(reading, &mut scratch);
        decoder.find_filled(&mut scratch);
        // As much for each glyph as a text that no rule knows.
        let worth = |found: &Found<'_>| {
            let origin = |stretch| found.edit.map_or(stretch, |edit| edit.stretch(stretch));
            let stretches = found.segments.iter().map(|stretch| origin(*stretch));
            let glyphs: usize = stretches.map(|(from, to)| to - from).sum();
            found.bits + 5.0 * glyphs as f64 - least
        };
        let mut all = Vec::new();
        decoder.search_damage(
            reading,
            Date::default(),
            &mut scratch,
            &worth,
            promised,
            &mut all,
        );
        (all, scratch.stopped)
    };
    let ((all, stopped), (with, _)) = (found(false), found(true));
    if !stopped {
        assert_eq!(format!("{with:?}"), format!("{all:?}"), "{reading:?}");
    }
    with.len()
}
