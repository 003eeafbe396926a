//! Model -> one program for all families: an index (which lines can it be) and, for each family, tables by form and the
//! weights of its codes.

mod alphabet;
mod cond;
mod draw;
mod index;
mod light;
mod limit;
mod outline;
mod row;
mod table;

use std::sync::OnceLock;
use std::sync::atomic::{AtomicU64, Ordering};

use rustc_hash::FxHashMap;

pub use alphabet::{Alphabet, OTHER};
pub(crate) use cond::CondProgram;
pub(crate) use draw::{Group, SlotWeights};
pub(crate) use index::{Index, LineRef, Step, bits};
pub(crate) use light::{
    HELD, Item, LightDated, LightEntry, LightFamily, LightPlace, LightRow, LightStrip, Told, beyond,
};
pub use limit::{LimitExceeded, Limits};
pub(crate) use outline::Outline;
pub(crate) use row::Place;
pub(crate) use table::{ANY, OpenStrip, Spelled, Table, Torn, key};

use crate::glyph::Confusions;
use crate::model::{CodeKind, Cond, Family, FamilyId, FormKind, RuleSet, slots};
use crate::value::DatePart;

/// All families, ready to decode. Immutable; share it between threads.
#[derive(Debug, Clone, Default)]
pub struct Program {
    /// Which of the programs compiled so far, from 1 on: what is kept between readings belongs to one.
    pub(crate) number: u64,
    pub(crate) alphabet: Alphabet,
    /// Each compiled when it is first asked for, if not before.
    families: Vec<OnceLock<Box<FamilyProgram>>>,
    outlines: Vec<Outline>,
    pub(crate) index: Index,
    /// The same by the last glyphs.
    pub(crate) backward: Index,
    /// By family, how many rows those before it have; all rows last.
    first_row: Vec<usize>,
    /// By row among all, whether it can be taken the light way.
    light: Vec<bool>,
    /// By row, whether one line of it names the part, and no other.
    names_once: Vec<bool>,
    /// By row, the most glyphs of a line of it that names the part.
    most: Vec<u32>,
    /// By field, the part of a date that it is.
    pub(crate) date_parts: Vec<Option<DatePart>>,
}

impl Program {
    /// A program of families that are compiled when they are asked for. Their limits were kept when they were stored.
    pub(crate) fn later(rules: &RuleSet, alphabet: Alphabet, outlines: Vec<Outline>) -> Program {
        let families = outlines.iter().map(|_| OnceLock::new()).collect();
        Program::of(rules, alphabet, families, outlines)
    }

    fn of(
        rules: &RuleSet,
        alphabet: Alphabet,
        families: Vec<OnceLock<Box<FamilyProgram>>>,
        outlines: Vec<Outline>,
    ) -> Program {
        let rows = || outlines.iter().flat_map(|outline| &outline.rows);
        let mut first_row = vec![0];
        for outline in &outlines {
            first_row.push(first_row.last().copied().unwrap_or(0) + outline.rows.len());
        }
        Program {
            number: COMPILED.fetch_add(1, Ordering::Relaxed) + 1,
            index: Index::of(&outlines, false),
            backward: Index::of(&outlines, true),
            light: rows().map(|row| row.light).collect(),
            names_once: rows().map(outline::RowOutline::names_once).collect(),
            most: rows().map(|row| row.most).collect(),
            first_row,
            date_parts: rules
                .fields
                .iter()
                .map(|field| DatePart::of_field(&field.name))
                .collect(),
            alphabet,
            families,
            outlines,
        }
    }

    /// A family, compiled by now.
    pub(crate) fn family(&self, rules: &RuleSet, at: usize) -> &FamilyProgram {
        self.families[at].get_or_init(|| {
            let family = &rules.families[at];
            let program = compile_family(FamilyId::at(at), family, &self.alphabet, &Limits::NONE);
            Box::new(program.expect("without limits none is exceeded"))
        })
    }

    /// A family, if it is compiled.
    fn compiled(&self, at: usize) -> Option<&FamilyProgram> {
        self.families[at].get().map(Box::as_ref)
    }

    /// Compiles what is not yet, for a run of many readings.
    pub(crate) fn compile_all(&self, rules: &RuleSet) {
        let every_other = |first: usize| {
            for at in (first..self.families.len()).step_by(2) {
                self.family(rules, at);
            }
        };
        std::thread::scope(|scope| {
            scope.spawn(|| every_other(1));
            every_other(0);
        });
    }

    /// What the store keeps of it.
    pub(crate) fn outlines(&self, rules: &RuleSet) -> Vec<Outline> {
        (0..self.families.len())
            .map(|at| Outline::with_glyphs(self.family(rules, at), &self.alphabet))
            .collect()
    }

    /// All rows, with their families.
    pub(crate) fn all_rows(&self) -> impl Iterator<Item = (u32, u32)> {
        let of_family = |(family, outline): (u32, &Outline)| {
            let rows = outline.rows.len() as u32;
            (0..rows).map(move |row| (family, row))
        };
        (0..).zip(&self.outlines).flat_map(of_family)
    }

    /// Whether one line of a row names the part, and no other.
    pub(crate) fn names_once(&self, family: u32, row: u32) -> bool {
        self.names_once[self.row(family, row)]
    }

    /// The most glyphs of a line of a row that names the part.
    pub(crate) fn most(&self, family: u32, row: u32) -> usize {
        self.most[self.row(family, row)] as usize
    }

    /// How many rows all families have.
    pub(crate) fn rows(&self) -> usize {
        self.first_row.last().copied().unwrap_or(0)
    }

    /// Whether a row can be taken the light way.
    pub(crate) fn is_light(&self, family: u32, row: u32) -> bool {
        self.light[self.row(family, row)]
    }

    /// The number of a row among all.
    pub(crate) fn row(&self, family: u32, row: u32) -> usize {
        self.first_row[family as usize] + row as usize
    }
}

/// Programs compiled so far.
static COMPILED: AtomicU64 = AtomicU64::new(0);

/// One family, ready to decode.
#[derive(Debug, Clone)]
pub(crate) struct FamilyProgram {
    pub(crate) id: FamilyId,
    pub(crate) conds: Vec<CondProgram>,
    pub(crate) slots: Vec<SlotWeights>,
    pub(crate) tables: Vec<Table>,
    pub(crate) rows: Vec<RowProgram>,
    pub(crate) groups: Vec<Group>,
    /// Condition of each `never` or `seldom`.
    pub(crate) nevers: Vec<u32>,
    /// Kinds of forms the family has.
    pub(crate) kinds: Vec<FormKind>,
    /// Whether no condition ties its slots: each is drawn by itself, or as part of one date.
    pub(crate) plain: bool,
    /// The same for the light way, once asked for.
    light: OnceLock<Box<LightFamily>>,
}

impl FamilyProgram {
    /// The family for the light way, which its rows say that it can take.
    pub(crate) fn light(
        &self,
        family: &Family,
        rules: &RuleSet,
        alphabet: &Alphabet,
    ) -> &LightFamily {
        self.light
            .get_or_init(|| Box::new(LightFamily::of(self, family, rules, alphabet)))
    }

    /// The slot of each table.
    fn slot_of_tables(&self) -> Vec<usize> {
        let mut slots = vec![0; self.tables.len()];
        let lines = self.rows.iter().flat_map(|row| &row.lines);
        for place in lines.flat_map(|line| &line.places) {
            slots[place.table] = place.slot;
        }
        slots
    }
}

/// One way to print a form.
#[derive(Debug, Clone)]
pub(crate) struct RowProgram {
    pub(crate) kind: FormKind,
    pub(crate) guard: Option<u32>,
    /// Weight of its form times the share of this way to print it.
    pub(crate) weight: f64,
    /// log2 of its share among the rows of its kind, were there no guards.
    pub(crate) of_kind: f64,
    /// The slots that the guards of rows of its kind ask for; where there are none, the share hangs on nothing.
    pub(crate) asks: Vec<usize>,
    /// Whether some row of its kind has a guard.
    pub(crate) guarded: bool,
    pub(crate) lines: Vec<LineProgram>,
    /// Slots that name the part: one of them must be seen.
    pub(crate) naming: Vec<bool>,
    /// Whether it can be taken the light way: one line, no slot twice, of an identity without conditions and check digits.
    pub(crate) light: bool,
}

impl RowProgram {
    /// Whether it is one line in which no slot stands twice.
    fn once(&self) -> bool {
        let [line] = self.lines.as_slice() else {
            return false;
        };
        let places = &line.places;
        let again =
            |(at, place): (usize, &Place)| places[..at].iter().any(|p| p.slot == place.slot);
        !places.iter().enumerate().any(again)
    }
}

/// One line of a row.
#[derive(Debug, Clone)]
pub(crate) struct LineProgram {
    pub(crate) places: Vec<Place>,
    /// Whether it names the part: it has a slot that does.
    pub(crate) names: bool,
    /// Whether only symbols can stand here, which readers often leave out.
    pub(crate) symbols: bool,
    /// Least glyphs that the places from each on need.
    pub(crate) rest: Vec<usize>,
    /// Most glyphs that it can have.
    pub(crate) most: usize,
    /// Whether some boundary must be there.
    pub(crate) hard: bool,
    /// By date rule of the family, the number of each slot in it that the line has, and its place.
    pub(crate) dated: Vec<(u32, Vec<(u8, usize)>)>,
    /// What its codes come to at most.
    pub(crate) ceiling: Ceiling,
}

/// log2 of the most that the codes of a line come to.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Ceiling {
    whole: Most,
    /// The same of a line cut off between two places.
    cut: Option<Most>,
    /// What one glyph that was not read adds at most: the choice of an open place.
    unread: f64,
}

/// The most that codes come to.
#[derive(Debug, Clone, Copy, Default)]
struct Most {
    /// Where each glyph was read.
    read: f64,
    /// Where any number of them was not.
    run: f64,
}

impl Ceiling {
    /// Of a line of which so many glyphs were not read, and with `run` any number more; `cut` is what it costs to cut it off.
    pub(crate) fn with(&self, unread: usize, run: bool, cut: f64) -> f64 {
        let unread = self.unread * unread as f64;
        let most = |of: Most| unread + if run { of.run } else { of.read };
        let whole = most(self.whole);
        self.cut.map_or(whole, |of| whole.max(most(of) + cut))
    }

    fn of(line: &LineProgram, tables: &[Table], slots: &[SlotWeights]) -> Ceiling {
        let mut ceiling = Ceiling::default();
        for (at, place) in line.places.iter().enumerate() {
            let whole = ceiling.whole;
            if at > 0 && line.rest[at] > 0 {
                let cut = ceiling.cut.get_or_insert(whole);
                cut.read = cut.read.max(whole.read);
                cut.run = cut.run.max(whole.run);
            }
            let (table, weights) = (&tables[place.table], &slots[place.slot]);
            let sizes = table.open.iter().flat_map(|strip| &strip.sizes);
            ceiling.unread = sizes.fold(ceiling.unread, |most, size| most.max(size.log2()));
            // A slot that stands twice is drawn once.
            let again = |other: &Place| other.slot == place.slot;
            if line.places[..at].iter().any(again) {
                continue;
            }
            let of = |code: u32| weights.codes[code as usize].ceiling;
            let listed = table.spelled.iter().map(|spelled| of(spelled.code));
            let listed = listed.fold(f64::NEG_INFINITY, f64::max);
            // Dates sum over what was not read, which then counts without its share.
            let strips = |run: bool| {
                let strips = table.open.iter().map(|strip| {
                    of(strip.code)
                        + match (weights.dated, run) {
                            (false, false) => strip.share,
                            (true, true) => strip.sizes.iter().map(|size| size.log2()).sum(),
                            (false, true) | (true, false) => 0.0,
                        }
                });
                strips.fold(listed, f64::max)
            };
            ceiling.whole.read += strips(false);
            ceiling.whole.run += strips(true);
        }
        ceiling
    }
}

/// The conditions of one family, numbered, equal ones once.
#[derive(Default)]
struct Conds {
    programs: Vec<CondProgram>,
}

impl Conds {
    fn number(&mut self, cond: &Cond) -> u32 {
        let program = CondProgram::of(cond);
        let at = self
            .programs
            .iter()
            .position(|known| *known == program)
            .unwrap_or_else(|| {
                self.programs.push(program);
                self.programs.len() - 1
            });
        u32::try_from(at).unwrap_or(u32::MAX)
    }
}

/// Compiles a checked rule set.
///
/// # Errors
/// A family or the whole set exceeds one of `limits`.
pub fn compile(
    rules: &RuleSet,
    confusions: &Confusions,
    limits: &Limits,
) -> Result<Program, LimitExceeded> {
    let mut alphabet = Alphabet::new(confusions);
    for family in &rules.families {
        add_glyphs(family, &mut alphabet, limits)?;
    }
    // Families know nothing of each other here: two threads, each every other one, so that long packs do not fall to one.
    let every_other = |first: usize| -> Result<Vec<FamilyProgram>, LimitExceeded> {
        let mine = rules.families.iter().enumerate().skip(first).step_by(2);
        mine.map(|(index, family)| compile_family(FamilyId::at(index), family, &alphabet, limits))
            .collect()
    };
    let (even, odd) = std::thread::scope(|scope| {
        let odd = scope.spawn(|| every_other(1));
        let even = every_other(0);
        (even, odd.join())
    });
    let odd = match odd {
        Ok(odd) => odd,
        Err(panic) => std::panic::resume_unwind(panic),
    };
    let (even, mut odd) = (even?, odd?.into_iter());
    let mut families = Vec::with_capacity(rules.families.len());
    for next in even {
        families.push(next);
        families.extend(odd.next());
    }
    let outlines = families.iter().map(Outline::of).collect();
    let families = families
        .into_iter()
        .map(|family| OnceLock::from(Box::new(family)));
    Ok(Program::of(rules, alphabet, families.collect(), outlines))
}

fn exceeded(
    family: &Family,
    limit: &'static str,
    unit: &'static str,
    bound: usize,
    actual: usize,
) -> LimitExceeded {
    LimitExceeded {
        limit,
        unit,
        bound,
        actual,
        family: family.name.clone(),
        place: family.place,
    }
}

fn add_glyphs(
    family: &Family,
    alphabet: &mut Alphabet,
    limits: &Limits,
) -> Result<(), LimitExceeded> {
    let mut full = false;
    let mut add = |glyph: &crate::glyph::Glyph| full |= alphabet.add(glyph).is_none();
    for code in family.slots.iter().flat_map(|slot| &slot.codes) {
        match &code.kind {
            CodeKind::Absent => {}
            CodeKind::Listed(spelling) => spelling.glyphs.iter().for_each(&mut add),
            CodeKind::Open(strips) => {
                strips
                    .iter()
                    .flat_map(|strip| &strip.places)
                    .flat_map(|place| &place.set.others)
                    .for_each(&mut add);
            }
        }
        code.prints
            .iter()
            .filter_map(|print| print.spelling.as_ref())
            .flat_map(|s| &s.glyphs)
            .for_each(&mut add);
    }
    if full {
        return Err(exceeded(
            family,
            "over all rules",
            "different glyphs",
            limits.glyphs,
            limits.glyphs + 1,
        ));
    }
    Ok(())
}

fn compile_family(
    id: FamilyId,
    family: &Family,
    alphabet: &Alphabet,
    limits: &Limits,
) -> Result<FamilyProgram, LimitExceeded> {
    let mut conds = Conds::default();
    if let Some(slot) = family
        .slots
        .iter()
        .find(|slot| slot.codes.len() > limits.codes)
    {
        return Err(exceeded(
            family,
            "in one slot",
            "codes",
            limits.codes,
            slot.codes.len(),
        ));
    }
    let guards: Vec<Vec<Option<u32>>> = family
        .slots
        .iter()
        .map(|slot| {
            slot.codes
                .iter()
                .map(|code| code.guard.as_ref().map(|guard| conds.number(guard)))
                .collect()
        })
        .collect();
    let nevers: Vec<u32> = family
        .nevers
        .iter()
        .map(|never| conds.number(&never.cond))
        .collect();

    let mut tables: Vec<Table> = Vec::new();
    let mut table_of: FxHashMap<(usize, Option<FormKind>), usize> = FxHashMap::default();
    let mut rows = Vec::new();
    for kind_row in &family.forms {
        let guard = kind_row.guard.as_ref().map(|guard| conds.number(guard));
        let Some(spreads) = row::spread(&kind_row.row.items, limits.rows) else {
            return Err(exceeded(
                family,
                "to print one form",
                "ways",
                limits.rows,
                limits.rows + 1,
            ));
        };
        for spread in spreads {
            let mut lines = Vec::with_capacity(spread.lines.len());
            for line in &spread.lines {
                let mut places = Vec::with_capacity(line.len());
                for (slot, before) in line {
                    let model = &family.slots[*slot];
                    let printed_otherwise = model.codes.iter().any(|code| {
                        code.prints
                            .iter()
                            .any(|print| print.forms.contains(&kind_row.kind))
                    });
                    let key = (*slot, printed_otherwise.then_some(kind_row.kind));
                    let table = *table_of.entry(key).or_insert_with(|| {
                        tables.push(Table::of(model, kind_row.kind, alphabet, |cond| {
                            conds.number(cond)
                        }));
                        tables.len() - 1
                    });
                    places.push(Place {
                        slot: *slot,
                        before: *before,
                        table,
                    });
                }
                lines.push(line_program(family, places, &tables));
            }
            let printed = spread.lines.iter().flatten().map(|(slot, _)| *slot);
            let naming = naming(family, printed.collect());
            for line in &mut lines {
                line.names = line.places.iter().any(|place| naming[place.slot]);
            }
            rows.push(RowProgram {
                naming,
                kind: kind_row.kind,
                guard,
                weight: kind_row.weight * spread.share,
                of_kind: 0.0,
                asks: Vec::new(),
                guarded: false,
                light: false,
                lines,
            });
        }
        if rows.len() > limits.rows {
            return Err(exceeded(
                family,
                "over all its forms",
                "spellings",
                limits.rows,
                rows.len(),
            ));
        }
    }

    let mut slots: Vec<SlotWeights> = family
        .slots
        .iter()
        .zip(&guards)
        .enumerate()
        .map(|(index, (slot, guards))| {
            let codes = draw::weigh(slot, guards);
            let (classes, class_of) = draw::classes(index, &codes, &conds.programs);
            SlotWeights {
                codes,
                classes,
                class_of,
                dated: family
                    .dates
                    .iter()
                    .any(|date| date.slots.iter().any(|slot| slot.index() == index)),
            }
        })
        .collect();
    let groups = draw::groups(family, &slots, &conds.programs, &nevers);
    draw::ceilings(&mut slots, &groups);
    for line in rows.iter_mut().flat_map(|row| &mut row.lines) {
        line.ceiling = Ceiling::of(line, &tables, &slots);
    }
    for group in &groups {
        let combinations: usize = group.slots.iter().fold(1, |product, slot| {
            product.saturating_mul(slots[*slot].classes.len().max(1))
        });
        if group.slots.len() > 1 && group.date.is_none() && combinations > limits.combinations {
            let unit = "combinations of codes";
            return Err(exceeded(
                family,
                "tied together by guards or `never`",
                unit,
                limits.combinations,
                combinations,
            ));
        }
    }
    let dated = |group: &Group| {
        group.date.is_some_and(|date| {
            let of_date =
                |slot: &usize| family.dates[date].slots.iter().any(|s| s.index() == *slot);
            group.slots.iter().all(of_date)
        })
    };
    let plain = conds.programs.is_empty()
        && groups
            .iter()
            .all(|group| dated(group) || group.date.is_none() && group.slots.len() == 1);
    for at in 0..rows.len() {
        let alike = rows.iter().filter(|row| row.kind == rows[at].kind);
        let (mut all, mut guards) = (0.0, Vec::new());
        for row in alike {
            all += row.weight;
            guards.extend(row.guard);
        }
        let asked = |guard: &u32| conds.programs[*guard as usize].slots();
        let mut asks: Vec<usize> = guards.iter().flat_map(asked).collect();
        asks.sort_unstable();
        asks.dedup();
        let light = plain && !family.is_marking() && family.checks.is_empty();
        rows[at].light = light && rows[at].once();
        rows[at].guarded = !guards.is_empty();
        rows[at].asks = asks;
        rows[at].of_kind = (rows[at].weight / all).log2();
    }
    let mut kinds: Vec<FormKind> = family.forms.iter().map(|form| form.kind).collect();
    kinds.sort_unstable();
    kinds.dedup();
    Ok(FamilyProgram {
        id,
        conds: conds.programs,
        slots,
        tables,
        rows,
        groups,
        nevers,
        kinds,
        plain,
        light: OnceLock::new(),
    })
}

/// The slots of a row that name the part: those of `base`, else all that are neither a date, a specimen's own, nor always the
/// same symbol.
fn naming(family: &Family, printed: Vec<usize>) -> Vec<bool> {
    let mut naming = vec![false; family.slots.len()];
    if let Some(base) = &family.base {
        for slot in slots(&base.items) {
            naming[slot.index()] = true;
        }
        if printed.iter().any(|slot| naming[*slot]) {
            return naming;
        }
        naming.fill(false);
    }
    for index in printed {
        let slot = &family.slots[index];
        let dated = !family.is_marking()
            && family
                .dates
                .iter()
                .any(|date| date.slots.iter().any(|s| s.index() == index));
        let symbol = slot.literal
            && slot.codes.iter().all(|code| match &code.kind {
                CodeKind::Listed(s) => s
                    .glyphs
                    .iter()
                    .all(|g| matches!(g, crate::glyph::Glyph::Symbol(_))),
                _ => true,
            });
        naming[index] = !slot.each && !dated && !symbol;
    }
    naming
}

fn line_program(family: &Family, places: Vec<Place>, tables: &[Table]) -> LineProgram {
    let of_rule = |rule: &crate::model::DateRule| -> Vec<(u8, usize)> {
        let place_of = |slot| places.iter().position(|place| place.slot == slot);
        let slots = (0..).zip(&rule.slots);
        slots
            .filter_map(|(number, slot)| Some((number, place_of(slot.index())?)))
            .collect()
    };
    let dated = (0..)
        .zip(family.dates.iter().map(of_rule))
        .filter(|(_, places)| !places.is_empty())
        .collect();
    let symbols = places.iter().all(|place| {
        let table = &tables[place.table];
        table.open.is_empty()
            && table
                .spelled
                .iter()
                .all(|spelled| spelled.ids.iter().all(|id| *id >= 36))
    });
    let mut rest = vec![0; places.len() + 1];
    let mut most: usize = 0;
    for (at, place) in places.iter().enumerate().rev() {
        let table = &tables[place.table];
        rest[at] = rest[at + 1] + table.min;
        most = most.saturating_add(table.max);
    }
    let hard = places
        .iter()
        .any(|place| place.before.is_some_and(|(_, hard)| hard));
    LineProgram {
        places,
        names: false,
        symbols,
        rest,
        most,
        hard,
        dated,
        ceiling: Ceiling::default(),
    }
}
