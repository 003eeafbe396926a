//! Which rows a reading may be of as far as its beginning tells, as read or with a damage undone there.

use smallvec::SmallVec;

use super::deep::Edit;
use super::explain::{Decoder, Scratch};
use super::reach::Damaged;
use super::stream::Stream;
use crate::compile::{LineRef, Step};

/// Glyphs of a beginning that a damage can lie in.
const BEGINNING: usize = 3;

/// The last start that is told from those behind it.
const LAST_START: u32 = 63;
/// The bit of rows that can begin as the reading does.
const AS_READ: u32 = 63;

/// The rows that the beginning of a reading leaves.
pub(super) struct Begun {
    /// Whether the reading has one start.
    pub(super) alone: bool,
    /// Sorted, once all are noted.
    rows: Vec<(u32, u32)>,
    /// By row of the program how it can begin: as read (the highest bit), or by what a damage makes of the beginning, a bit each.
    begins: Vec<u64>,
    /// By row of the program, the starts at which one of its lines begins as read; those behind `LAST_START` share its bit. Nothing where there is one.
    starts: Vec<u64>,
    /// By damage, its bit, where it is in a beginning.
    early: Vec<Option<u32>>,
    /// By damage, the starts whose beginnings it leaves alone.
    elsewhere: Vec<u64>,
}

impl Begun {
    fn note(&mut self, family: u32, row: u32, place: usize, bit: u32) {
        if self.begins[place] == 0 {
            self.rows.push((family, row));
        }
        self.begins[place] |= 1 << bit;
    }

    /// Whether a row, by its place in the program, begins as read somewhere.
    pub(super) fn is_as_read(&self, place: usize) -> bool {
        self.begins[place] >> AS_READ & 1 == 1
    }

    /// Whether a row, by its place in the program, can begin so that it has a damage.
    pub(super) fn can_be(&self, place: usize, damage: &Damaged) -> bool {
        let as_begun = self.early[damage.index].unwrap_or(AS_READ);
        // Beside a line that begins as read elsewhere the damage may be in the beginning of another.
        let beside = self.starts.get(place).copied().unwrap_or(0);
        self.begins[place] >> as_begun & 1 == 1
            || as_begun != AS_READ && beside & self.elsewhere[damage.index] != 0
    }

    /// The rows by family.
    pub(super) fn families(&self) -> impl Iterator<Item = &[(u32, u32)]> {
        self.rows.chunk_by(|a, b| a.0 == b.0)
    }
}

/// Rows that can end so.
struct Ending {
    rows: Vec<(u32, u32)>,
    /// The same by row of the program.
    bits: Vec<u64>,
}

impl Ending {
    fn has(&self, row: usize) -> bool {
        self.bits[row / 64] >> (row % 64) & 1 == 1
    }
}

impl Decoder<'_> {
    /// The rows that the beginning of a reading leaves, without families whose parts are there as read.
    pub(super) fn begun(
        &self,
        stream: &Stream,
        damages: &[Damaged],
        alone: bool,
        taken: &[u32],
        scratch: &mut Scratch,
    ) -> Begun {
        let all = self.program.rows();
        let mut begun = Begun {
            alone,
            rows: Vec::new(),
            begins: vec![0; all],
            starts: vec![0; if alone { 0 } else { all }],
            early: vec![None; damages.len()],
            elsewhere: vec![!0; damages.len()],
        };
        // Behind a beginning all of which was read well.
        self.find_rows(stream, BEGINNING, scratch);
        // A part that is there as read is hardly the same part damaged.
        let free = |family: u32| taken.binary_search(&family).is_err();
        let place = |family: u32, row: u32| self.program.row(family, row);
        for (family, row) in scratch.rows.iter().filter(|(family, _)| free(*family)) {
            begun.note(*family, *row, place(*family, *row), AS_READ);
        }
        for begin in scratch.begins.iter().filter(|_| !alone) {
            begun.starts[place(begin.line.family, begin.line.row)] |=
                1 << begin.start.min(LAST_START);
        }
        let mut endings: SmallVec<[(usize, Ending); 8]> = SmallVec::new();
        let mut bit = 0;
        for damage in damages {
            let turned = matches!(damage.edit, Edit::Turned(_));
            let (from, behind) = damage.edit.range(stream.len());
            // What is missing at the end of one line is not in the beginning of the next.
            let least = usize::from(matches!(damage.edit, Edit::Dropped(_) | Edit::EndCut(_)));
            let beginning = |start: &&usize| (**start + least..**start + BEGINNING).contains(&from);
            let beginnings = || stream.starts.iter().filter(beginning);
            if !turned && beginnings().next().is_none() {
                continue;
            }
            begun.early[damage.index] = Some(bit);
            for (number, _) in (0..LAST_START)
                .zip(&stream.starts)
                .filter(|(_, s)| beginning(s))
            {
                begun.elsewhere[damage.index] &= !(1 << number);
            }
            if turned || !self.indexed() {
                self.find_rows(&damage.stream, BEGINNING - 1, scratch);
                for (family, row) in scratch.rows.iter().filter(|(family, _)| free(*family)) {
                    begun.note(*family, *row, place(*family, *row), bit);
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
                    for (family, row) in ending.rows.iter().filter(|(family, _)| free(*family)) {
                        begun.note(*family, *row, place(*family, *row), bit);
                    }
                } else {
                    for start in beginnings() {
                        self.lines_at(&damage.stream, *start, BEGINNING - 1, &mut scratch.found);
                        for line in scratch.found.iter().filter(|line| free(line.family)) {
                            let row = place(line.family, line.row);
                            if ending.has(row) || !alone && begun.starts[row] != 0 {
                                begun.note(line.family, line.row, row, bit);
                            }
                        }
                    }
                }
            }
            // More than there are bits for share the last.
            bit = (bit + 1).min(AS_READ - 1);
        }
        begun.rows.sort_unstable();
        begun
    }

    /// The rows with one line that names the part of which that can end as the reading does from a place on: behind a damage of its
    /// beginning a line is never cut off.
    fn ending(&self, stream: &Stream, behind: usize, found: &mut Vec<LineRef>) -> Ending {
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
        let mut ending = Ending {
            rows: Vec::new(),
            bits: vec![0; self.program.rows().div_ceil(64)],
        };
        for line in found {
            let row = self.program.row(line.family, line.row);
            if self.program.names_once(line.family, line.row) && !ending.has(row) {
                ending.bits[row / 64] |= 1 << (row % 64);
                ending.rows.push((line.family, line.row));
            }
        }
        ending
    }
}
