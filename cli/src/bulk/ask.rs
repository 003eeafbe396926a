//! One mark of a table to its answer.

use std::panic::{AssertUnwindSafe, catch_unwind};

use etchlore_engine::decode::{Decoder, Effort, MAX_LINES, Notation, Reading, Scratch};
use etchlore_engine::rank::{Context, Ranking, Wanted, rank, rank_in_short, rank_text_in_short};

use super::answer::{Answer, Facts, Own, Status, Writing, put_cell};
use super::want::Want;
use crate::rules::Loaded;
use crate::table::dialect::Dialect;

/// Said of a mark without a glyph.
const NOTHING: &str = "nothing in it can be read";

/// The longest mark that is read, in bytes.
pub(crate) const MAX_MARK: usize = 4_096;

/// The table of candidates is always written so.
pub(crate) const CANDIDATES: Dialect = Dialect {
    delimiter: b',',
    quote: Some(b'"'),
};

/// What does not change from row to row.
pub(crate) struct Question<'a> {
    pub(crate) loaded: &'a Loaded,
    pub(crate) context: Context,
    pub(crate) notation: Notation,
    /// Whether marks are searched for damage beyond look-alikes.
    pub(crate) effort: Effort,
    /// How sure `decoded` is.
    pub(crate) sure: f64,
    pub(crate) wants: Vec<Want>,
    pub(crate) writing: Writing,
    /// Whether all candidates are kept.
    pub(crate) candidates: bool,
    /// Whether columns beside the mark are held against what it says.
    pub(crate) compare: bool,
    /// Whether rows are written anew, so that our cells are asked for one by one.
    pub(crate) anew: bool,
}

impl Question<'_> {
    /// Whether an answer's cells are needed beside their text: rows are written anew, or some get a note of their own.
    fn by_cell(&self) -> bool {
        self.anew || self.wants.iter().any(Want::is_note)
    }
}

/// A question with the memory to answer it; one a thread.
pub(crate) struct Asker<'a> {
    pub(crate) question: &'a Question<'a>,
    wanted: Wanted,
    scratch: Scratch,
}

/// What a reading came to, before it is written as cells.
struct Part {
    status: Status,
    ranking: Ranking,
}

impl<'a> Asker<'a> {
    pub(crate) fn new(question: &'a Question<'a>) -> Asker<'a> {
        let wanted = if question.compare {
            Wanted::all()
        } else {
            Wanted::some(question.wants.iter().filter_map(Want::field))
        };
        Asker {
            question,
            wanted,
            scratch: Scratch::default(),
        }
    }

    /// The answer to the lines of a package, as they stand in the table.
    pub(crate) fn answer(&mut self, cells: &[&str]) -> Answer {
        let lines: Vec<&str> = cells
            .iter()
            .flat_map(|cell| cell.split(['\n', '\r']))
            .map(str::trim)
            .filter(|line| !line.is_empty())
            .collect();
        if lines.is_empty() {
            return self.bare(Status::Empty, None);
        }
        let length: usize = lines.iter().map(|line| line.len()).sum();
        if length > MAX_MARK {
            let note = format!("the mark is {length} bytes long; at most {MAX_MARK} are read");
            return self.bare(Status::None, Some(note));
        }
        if let [cell] = cells
            && let Some(parts) = self.several(cell)
        {
            return self.say(&parts);
        }
        match self.read(&lines) {
            Ok(part) if part.status != Status::Decoded && cells.len() == 1 => {
                match self.stripped(cells[0], &part) {
                    Some(parts) => self.say(&parts),
                    None => self.say(&[part]),
                }
            }
            Ok(part) => self.say(&[part]),
            Err(note) => self.bare(Status::None, Some(note)),
        }
    }

    /// Several parts of one cell, where at least two of its pieces each name one.
    fn several(&mut self, cell: &str) -> Option<Vec<Part>> {
        let pieces = pieces(cell);
        if pieces.len() < 2 {
            return None;
        }
        let parts = self.identities(&pieces);
        (parts.len() > 1).then_some(parts)
    }

    /// The pieces that name a part for sure.
    fn identities(&mut self, pieces: &[&str]) -> Vec<Part> {
        let mut parts = Vec::new();
        for piece in pieces {
            if let Ok(part) = self.read(&[piece])
                && part.status == Status::Decoded
                && self.is_identity(&part)
            {
                parts.push(part);
            }
        }
        parts
    }

    fn is_identity(&self, part: &Part) -> bool {
        let rules = self.question.loaded.rules.set();
        part.ranking
            .candidates
            .first()
            .is_some_and(|first| !rules.families[first.family.index()].is_marking())
    }

    /// A cell that does not decode as it stands, without what is beside the number: other pieces, a quantity, a maker's name.
    fn stripped(&mut self, cell: &str, whole: &Part) -> Option<Vec<Part>> {
        let pieces = pieces(cell);
        let words: Vec<&str> = if pieces.len() > 1 {
            pieces
        } else {
            cell.split_whitespace()
                .filter(|word| word.len() > 4 && has_both(word))
                .collect()
        };
        let trimmed = words
            .iter()
            .map(|word| word.trim_matches(['(', ')', '"', '.']));
        let words: Vec<&str> = trimmed.filter(|word| !word.is_empty()).collect();
        if words.is_empty() || words == [cell.trim()] {
            return None;
        }
        let parts = self.identities(&words);
        let first = whole.ranking.candidates.first();
        let better = first.is_none_or(|first| first.probability < self.question.sure);
        (better && !parts.is_empty()).then_some(parts)
    }

    /// Ranks what some lines are.
    fn read(&mut self, lines: &[&str]) -> Result<Part, String> {
        let notation = self.question.notation;
        let ranking = match lines {
            [line] if !self.question.candidates => {
                self.rank(|decoder, context, wanted, scratch| {
                    rank_text_in_short(decoder, line, notation, context, wanted, scratch)
                })?
            }
            _ => {
                let reading = self.reading(lines)?;
                let whole = self.question.candidates;
                self.rank(|decoder, context, wanted, scratch| {
                    Ok(if whole {
                        rank(decoder, &reading, context, scratch)
                    } else {
                        rank_in_short(decoder, &reading, context, wanted, scratch)
                    })
                })?
            }
        };
        match ranking {
            Ok(ranking) => Ok(Part {
                status: self.status(&ranking),
                ranking,
            }),
            // A line of nothing but dashes.
            Err(_) if notation.table => Err(NOTHING.to_owned()),
            Err(error) => Err(error.to_string()),
        }
    }

    /// Some lines as one reading.
    fn reading(&self, lines: &[&str]) -> Result<Reading, String> {
        let mut reading = Reading {
            lines: Vec::new(),
            form: None,
        };
        for line in lines {
            match Reading::parse(line, self.question.notation) {
                Ok(read) => reading.lines.extend(read.lines),
                // A line of nothing but dashes.
                Err(error) if !self.question.notation.table => return Err(error.to_string()),
                Err(_) => {}
            }
        }
        reading.lines.truncate(MAX_LINES);
        if reading.lines.iter().all(|line| line.marks.is_empty()) {
            return Err(NOTHING.to_owned());
        }
        Ok(reading)
    }

    /// Asks the decoder: one mark that it fails on must not cost the other rows.
    fn rank<R>(
        &mut self,
        ask: impl FnOnce(&Decoder<'_>, &Context, &Wanted, &mut Scratch) -> R,
    ) -> Result<R, String> {
        let decoder = self.question.loaded.rules.decoder();
        let decoder = decoder.with(self.question.effort);
        let (context, wanted) = (&self.question.context, &self.wanted);
        let scratch = &mut self.scratch;
        let ranked = catch_unwind(AssertUnwindSafe(|| ask(&decoder, context, wanted, scratch)));
        ranked.map_err(|_| {
            self.scratch = Scratch::default();
            "the decoder failed on this mark: please report it".to_owned()
        })
    }

    fn status(&self, ranking: &Ranking) -> Status {
        let first = ranking.candidates.first();
        if first.is_some_and(|first| first.probability >= self.question.sure) {
            Status::Decoded
        } else if ranking.none >= 0.5 || first.is_none() {
            Status::None
        } else {
            Status::Ambiguous
        }
    }

    /// An answer without candidates.
    pub(crate) fn bare(&self, status: Status, note: Option<String>) -> Answer {
        let mut cells = vec![Own::Empty; 5 + self.question.wants.len()];
        cells[0] = Own::text(status.word());
        self.answer_of(status, None, cells, note, Vec::new())
    }

    fn say(&self, parts: &[Part]) -> Answer {
        let each: Vec<Vec<Own>> = parts.iter().map(|part| self.cells(part)).collect();
        let cells = each.into_iter().reduce(joined).unwrap_or_default();
        let status = parts
            .iter()
            .map(|part| part.status)
            .max()
            .unwrap_or(Status::None);
        let first = parts
            .first()
            .filter(|_| status < Status::None)
            .and_then(|part| part.ranking.candidates.first());
        let facts = match (parts, first) {
            ([_], Some(candidate)) if self.question.compare && status == Status::Decoded => {
                Some(self.facts(candidate))
            }
            _ => None,
        };
        let mut rows = Vec::new();
        if self.question.candidates {
            for part in parts {
                rows.extend(self.candidates(&part.ranking));
            }
        }
        let note = parts.iter().find_map(|part| part.ranking.stopped.clone());
        self.answer_of(
            status,
            first.map(|candidate| candidate.family),
            cells,
            note,
            rows,
        )
        .with(facts)
    }

    fn answer_of(
        &self,
        status: Status,
        family: Option<etchlore_engine::model::FamilyId>,
        cells: Vec<Own>,
        note: Option<String>,
        candidates: Vec<Box<[u8]>>,
    ) -> Answer {
        Answer {
            status,
            family,
            text: self.question.writing.row(&cells).into(),
            cells: if self.question.by_cell() {
                cells.into()
            } else {
                Box::default()
            },
            note: note.map(String::into_boxed_str),
            facts: None,
            candidates: candidates.into(),
        }
    }

    /// What a candidate says for sure.
    fn facts(&self, candidate: &etchlore_engine::rank::Candidate) -> Box<Facts> {
        let rules = self.question.loaded.rules.set();
        let sure = candidate
            .fields
            .iter()
            .filter(|field| !field.unknown && field.probability.is_none_or(|p| p > 0.95));
        let values = sure
            .filter_map(|field| {
                let name = &rules.fields[field.field.index()].name;
                Some((name.clone(), field.value.clone()?))
            })
            .collect();
        Box::new(Facts {
            family: candidate.family,
            values,
        })
    }

    /// The cells of one reading.
    fn cells(&self, part: &Part) -> Vec<Own> {
        let mut cells = vec![Own::text(part.status.word())];
        let first = part.ranking.candidates.first();
        let Some(candidate) = first.filter(|_| part.status < Status::None) else {
            cells.resize(5 + self.question.wants.len(), Own::Empty);
            return cells;
        };
        self.identity(candidate, &part.ranking, &mut cells);
        cells
    }

    fn identity(
        &self,
        candidate: &etchlore_engine::rank::Candidate,
        ranking: &Ranking,
        cells: &mut Vec<Own>,
    ) {
        let rules = self.question.loaded.rules.set();
        let family = &rules.families[candidate.family.index()];
        let maker = family
            .maker
            .map_or("", |maker| rules.makers[maker.index()].title.as_str());
        cells.push(Own::text(&family.name));
        cells.push(Own::text(maker));
        cells.push(Own::Number(short(candidate.probability)));
        cells.push(Own::text(candidate.written.as_deref().unwrap_or("")));
        let wants = self.question.wants.iter();
        cells.extend(wants.map(|want| want.of_candidate(rules, candidate, ranking)));
    }

    /// Rows of the table of candidates, without the row's number.
    fn candidates(&self, ranking: &Ranking) -> Vec<Box<[u8]>> {
        let mut rows = Vec::new();
        for (place, candidate) in ranking.candidates.iter().enumerate() {
            let mut cells = vec![Own::Number((place + 1) as f64)];
            self.identity(candidate, ranking, &mut cells);
            let mut row = Vec::new();
            for cell in &cells {
                row.push(CANDIDATES.delimiter);
                put_cell(&mut row, cell, CANDIDATES);
            }
            rows.push(row.into());
        }
        rows
    }
}

/// The pieces of a cell that may be parts of their own.
fn pieces(cell: &str) -> Vec<&str> {
    let mut pieces: Vec<&str> = vec![cell];
    for sign in [",", ";", "\n", "\r", " / ", " or ", "|"] {
        pieces = pieces.iter().flat_map(|piece| piece.split(sign)).collect();
    }
    let trimmed = pieces.into_iter().map(str::trim);
    trimmed
        .filter(|piece| piece.len() > 3 && has_both(piece))
        .collect()
}

/// Whether there are letters and digits in it.
fn has_both(text: &str) -> bool {
    text.bytes().any(|byte| byte.is_ascii_digit())
        && text.bytes().any(|byte| byte.is_ascii_alphabetic())
}

/// Several parts of one cell, side by side; what they share is said once.
fn joined(mut a: Vec<Own>, b: Vec<Own>) -> Vec<Own> {
    for (at, (one, other)) in a.iter_mut().zip(b).enumerate() {
        match (&*one, &other) {
            (same, _) if *same == other => {}
            // How sure all of them are: as sure as the least.
            (Own::Number(p), Own::Number(q)) if at == 3 => *one = Own::Number(p.min(*q)),
            (_, Own::Empty) => {}
            (Own::Empty, _) => *one = other,
            (known, _) => *one = Own::Text(format!("{}; {}", known.show(), other.show())),
        }
    }
    a
}

/// A probability as it stands in a cell: what is not certain is not written as 1.
pub(crate) fn short(probability: f64) -> f64 {
    let rounded = (probability * 1e6).round() / 1e6;
    if rounded >= 1.0 && probability < 1.0 {
        0.999_999
    } else {
        rounded
    }
}
