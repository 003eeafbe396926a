//! The search for damage: which rows a reading may be of once one damage is undone, and how.

use jiff::civil::Date;
use smallvec::SmallVec;

use super::Reading;
use super::deep::{self, Edit};
use super::explain::{Decoder, Row, Scratch};
use super::explanation::Explanation;
use super::reach::{Damaged, Reach};
use super::stream::{Doubt, Stream};
use super::walk::{Alive, Choice, Walker, Way};
use crate::compile::{Alphabet, LineRef, Step};
use crate::model::FamilyId;

/// Longest reading that is searched for damage, in glyphs.
const MAX_DAMAGED: usize = 80;
/// Most steps of all walks of one family.
const MAX_STEPS: u64 = 3_000;

/// Glyphs of a beginning that a damage can lie in.
const BEGINNING: usize = 3;

/// The bit of rows that can begin as the reading does.
const AS_READ: u32 = 63;

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
        let damages: Vec<Damaged> = deep::edits(&stream, &self.program.alphabet)
            .into_iter()
            .enumerate()
            .map(|(index, edit)| Damaged {
                index,
                edit,
                stream: deep::before(&stream, edit, &self.program.alphabet),
            })
            .collect();
        let (mut possible, mut tried) = self.possible(&stream, &damages, &taken, scratch);
        possible.sort_unstable_by_key(|(index, at)| (tried[*at].family, *index, *at));
        let mut family = None;
        for (index, at) in possible {
            // A bound for each family, so that no rule takes from another.
            if family != Some(tried[at].family) {
                family = Some(tried[at].family);
                scratch.steps = MAX_STEPS;
            }
            if scratch.steps == 0 {
                scratch.stopped = true;
                continue;
            }
            let Damaged {
                edit,
                stream: before,
                ..
            } = &damages[index];
            let edit = *edit;
            let Some(ways) =
                self.damaged_ways(&mut tried[at], index, edit, &stream, before, worth, scratch)
            else {
                continue;
            };
            let upto = found.len();
            let row = Row {
                family: tried[at].family,
                row: tried[at].row,
                reading,
                stream: before,
                seen,
                damage: Some(Damage {
                    edit,
                    bits: edit.bits(&self.program.alphabet),
                    worth,
                }),
                least: None,
            };
            self.lay_out(&row, &ways, scratch, found);
            damaged(found, upto, edit, &self.program.alphabet);
        }
        scratch.stream = stream;
    }

    /// Which damage which row can have, by their indices, and the rows; without families whose parts are there as read.
    fn possible(
        &self,
        stream: &Stream,
        damages: &[Damaged],
        taken: &[u32],
        scratch: &mut Scratch,
    ) -> (Vec<(usize, usize)>, Vec<Tried>) {
        // Lines that name the part are all there, and over one start there is room for one line.
        let alone = stream.starts.len() == 1;
        // The rows that can begin so: as read (the highest bit), or by what a damage makes of the beginning, a bit each.
        let mut begins: Vec<u64> = vec![0; self.program.rows()];
        let mut rows: Vec<(u32, u32)> = Vec::new();
        let mut note = |family: u32, row: u32, bit: u32| {
            // A part that is there as read is hardly the same part damaged.
            if taken.binary_search(&family).is_ok() {
                return;
            }
            let mask = &mut begins[self.program.row(family, row)];
            if *mask == 0 {
                rows.push((family, row));
            }
            *mask |= 1 << bit;
        };
        // Behind a beginning all of which was read well.
        self.find_rows(stream, BEGINNING, scratch);
        let as_read = scratch.rows.clone();
        for (family, row) in &as_read {
            note(*family, *row, AS_READ);
        }
        let mut early: Vec<Option<u32>> = vec![None; damages.len()];
        let mut endings: SmallVec<[(usize, Vec<(u32, u32)>); 8]> = SmallVec::new();
        let mut bit = 0;
        for damage in damages {
            let turned = matches!(damage.edit, Edit::Turned(_));
            let (from, behind) = damage.edit.range(stream.len());
            let beginning = |start: &usize| (*start..start + BEGINNING).contains(&from);
            if !turned && !stream.starts.iter().any(beginning) {
                continue;
            }
            early[damage.index] = Some(bit);
            if turned || !self.indexed() {
                self.find_rows(&damage.stream, BEGINNING - 1, scratch);
                for (family, row) in &scratch.rows {
                    note(*family, *row, bit);
                }
            } else {
                let at = match endings.iter().position(|(known, _)| *known == behind) {
                    Some(at) => at,
                    None => {
                        let ending = self.ending(stream, behind, &mut scratch.found);
                        endings.push((behind, ending));
                        endings.len() - 1
                    }
                };
                let ending = &endings[at].1;
                // Anything may begin where a beginning was cut off.
                if matches!(damage.edit, Edit::StartCut(_)) {
                    let as_read = as_read.iter().filter(|_| !alone);
                    for (family, row) in ending.iter().chain(as_read) {
                        note(*family, *row, bit);
                    }
                } else {
                    self.find_rows(&damage.stream, BEGINNING - 1, scratch);
                    for row in &scratch.rows {
                        let known = |rows: &[(u32, u32)]| rows.binary_search(row).is_ok();
                        if known(ending) || !alone && known(&as_read) {
                            note(row.0, row.1, bit);
                        }
                    }
                }
            }
            // More than there are bits for share the last.
            bit = (bit + 1).min(AS_READ - 1);
        }
        rows.sort_unstable();
        let mut possible: Vec<(usize, usize)> = Vec::new();
        let mut tried: Vec<Tried> = Vec::new();
        let mut ends = std::mem::take(&mut scratch.ends);
        for family in rows.chunk_by(|a, b| a.0 == b.0) {
            let program = self.compiled(family[0].0 as usize);
            let mut reach = Reach::new(program, stream, &self.program.alphabet, ends);
            for (family, row_at) in family {
                let (family, row_at) = (*family, *row_at);
                let row = &program.rows[row_at as usize];
                let mask = begins[self.program.row(family, row_at)];
                if alone && !self.program.names_once(family, row_at) {
                    continue;
                }
                // Where no line that names the part is there as read, it is that one which has the damage.
                let only_naming = alone || mask >> AS_READ & 1 == 0;
                let can_begin =
                    |damage: &&Damaged| mask >> early[damage.index].unwrap_or(AS_READ) & 1 == 1;
                let mut lines = SmallVec::with_capacity(row.lines.len());
                for line in &row.lines {
                    if only_naming && !line.names {
                        lines.push((Indices::new(), Vec::new()));
                        continue;
                    }
                    let mut rest = reach.rest(line);
                    let mut has = Indices::new();
                    // A line that names nothing and is there as read needs no damage.
                    if line.names || !reach.is_there(&rest) {
                        for damage in damages.iter().filter(can_begin) {
                            if matches!(damage.edit, Edit::Turned(_))
                                || reach.can_have(line, &mut rest, damage)
                            {
                                has.push(damage.index as u32);
                            }
                        }
                    }
                    let alive = if has.is_empty() {
                        Vec::new()
                    } else {
                        reach.alive(line, &mut rest)
                    };
                    lines.push((has, alive));
                }
                let mut any: Indices = lines.iter().flat_map(|(has, _)| has).copied().collect();
                if any.is_empty() {
                    continue;
                }
                any.sort_unstable();
                any.dedup();
                possible.extend(any.into_iter().map(|index| (index as usize, tried.len())));
                tried.push(Tried {
                    family: family as usize,
                    row: row_at as usize,
                    lines,
                    undamaged: None,
                });
            }
            ends = reach.leave();
        }
        scratch.ends = ends;
        (possible, tried)
    }

    /// The rows with one line that names the part of which that can end as the reading does from a place on, sorted: behind a damage of its
    /// beginning a line is never cut off.
    fn ending(&self, stream: &Stream, behind: usize, found: &mut Vec<LineRef>) -> Vec<(u32, u32)> {
        found.clear();
        for stop in (behind.max(1)..=stream.len()).filter(|stop| stream.stops[*stop]) {
            let step = |depth: usize| {
                Some(match (stop - behind).checked_sub(depth + 1) {
                    None => Step::Run,
                    Some(left) => stream.ticks[behind + left].step(),
                })
            };
            self.program.backward.lines(
                usize::MAX,
                (self.rules, self.program),
                &step,
                &|_| false,
                found,
            );
        }
        let mut rows: Vec<(u32, u32)> = found
            .iter()
            .filter(|line| self.program.names_once(line.family, line.row))
            .map(|line| (line.family, line.row))
            .collect();
        rows.sort_unstable();
        rows.dedup();
        rows
    }

    /// The ways for the lines of a row, one of them with a damage; `None` if no line can have it.
    #[allow(clippy::too_many_arguments)]
    fn damaged_ways(
        &self,
        tried: &mut Tried,
        index: usize,
        edit: Edit,
        stream: &Stream,
        before: &Stream,
        worth: &Worth<'_>,
        scratch: &mut Scratch,
    ) -> Option<Vec<Vec<Way>>> {
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
