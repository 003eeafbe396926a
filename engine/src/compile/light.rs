//! A family for the light way (see `decode/light.rs`): what a walk and an answer in short touch, in few pieces of memory.
//!
//! Over thousands of families hardly anything is in the cache when it is asked for, and what a mark costs is how many lines of memory it
//! touches. A table with its tables inside has each spelling, weight, text and field elsewhere; here those of a family stand side by side,
//! numbers instead of pointers between them. It is made when a family is first asked, from the program and the model, and holds nothing of its own.

use std::ops::Range;

use super::alphabet::Alphabet;
use super::table::Spelled;
use super::{FamilyProgram, RowProgram};
use crate::glyph::Boundary;
use crate::model::{
    Code, CodeKind, DateRule, Family, FieldId, FormKind, OpenRule, RowItem, RuleSet, Standing,
};
use crate::value::{DatePart, Unit, Value};

/// A family without conditions.
#[derive(Debug, Clone, Default)]
pub(crate) struct LightFamily {
    /// By row of the family.
    pub(crate) rows: Vec<LightRow>,
    places: Vec<LightPlace>,
    entries: Vec<LightEntry>,
    strips: Vec<LightStrip>,
    sets: Vec<u128>,
    dated: Vec<LightDated>,
    pub(crate) telling: Telling,
}

/// A row of one line.
#[derive(Debug, Clone)]
pub(crate) struct LightRow {
    places: Range<u32>,
    dated: Range<u32>,
    /// log2 of its share among all forms.
    pub(crate) form: f64,
    /// Most glyphs that it can have.
    pub(crate) most: u32,
    pub(crate) kind: FormKind,
}

/// A place of a row whose slot is part of a date.
#[derive(Debug, Clone, Copy)]
pub(crate) struct LightDated {
    /// Which date rule of the family; those of one stand together.
    pub(crate) rule: u32,
    /// Which slot of the rule.
    pub(crate) number: u8,
    pub(crate) place: u16,
}

/// A place of a line with what can be printed there: all that a walk asks first, in one line of memory.
#[derive(Debug, Clone, Copy)]
#[repr(align(64))]
pub(crate) struct LightPlace {
    /// Classes that a spelling begins with; where there is one spelling and no strip, its classes and glyphs as an entry has them.
    first: [u64; 2],
    entries: u32,
    mask: u32,
    /// Among the entries, behind the others.
    empty: u32,
    strips: u32,
    empties: u32,
    open: u32,
    /// Bit n: some spelling has n glyphs; the highest also for those of more.
    pub(crate) lengths: u16,
    pub(crate) table: u16,
    pub(crate) slot: u16,
    pub(crate) before: Option<(Boundary, bool)>,
    /// Whether its slot names the part.
    pub(crate) names: bool,
    /// Whether this place and those behind it need glyphs.
    pub(crate) needs: bool,
    pub(crate) cased: bool,
    /// Whether it lists codes that an open strip leaves to them.
    pub(crate) lists: bool,
    /// Whether the calendar says how likely its codes are.
    pub(crate) dated: bool,
    /// Whether it has one spelling, which its glyphs say, and nothing else.
    only: bool,
}

/// A spelling with its weight.
#[derive(Debug, Clone, Copy)]
pub(crate) struct LightEntry {
    /// Look-alike classes of its first glyphs, one a byte from the lowest on; bytes beyond its end are full.
    classes: u64,
    /// Its first glyphs likewise; bytes beyond its end are nought.
    ids: u64,
    /// log2 of its share of the slot.
    pub(crate) alone: f64,
    /// Which spelling of the table.
    pub(crate) index: u32,
    /// The code and [`PLAIN`], [`UNLISTED`], [`LONG`].
    code: u32,
}

/// Glyphs that an entry holds.
pub(crate) const HELD: usize = 8;
/// Its glyphs say all: no boundary among them, their case no matter.
const PLAIN: u32 = 1 << 31;
const UNLISTED: u32 = 1 << 30;
/// It has more glyphs than are held.
const LONG: u32 = 1 << 29;

/// A one in every byte.
const EACH: u64 = 0x0101_0101_0101_0101;

/// The bytes beyond so many glyphs.
#[inline]
pub(crate) fn beyond(glyphs: usize) -> u64 {
    if glyphs >= HELD {
        0
    } else {
        !0 << (8 * glyphs)
    }
}

impl LightEntry {
    const EMPTY: LightEntry = LightEntry {
        classes: 0,
        ids: 0,
        alone: 0.0,
        index: u32::MAX,
        code: 0,
    };

    fn of(index: u32, spelled: &Spelled, cased: bool, alphabet: &Alphabet) -> LightEntry {
        let (mut classes, mut ids) = ([0xff; HELD], [0; HELD]);
        for (at, id) in spelled.ids.iter().take(HELD).enumerate() {
            (ids[at], classes[at]) = (*id, alphabet.class(*id));
        }
        let long = spelled.ids.len() > HELD;
        let plain = !cased && !spelled.has_boundaries() && !long;
        LightEntry {
            classes: u64::from_le_bytes(classes),
            ids: u64::from_le_bytes(ids),
            alone: 0.0,
            index,
            code: spelled.code | if plain { PLAIN } else { 0 } | if long { LONG } else { 0 },
        }
    }

    /// The code.
    #[inline]
    pub(crate) fn code(&self) -> u32 {
        self.code & (LONG - 1)
    }

    #[inline]
    pub(crate) fn unlisted(&self) -> bool {
        self.code & UNLISTED != 0
    }

    /// Its glyphs, one a byte from the lowest on, where these say all.
    #[inline]
    pub(crate) fn plain(&self) -> Option<u64> {
        (self.code & PLAIN != 0).then_some(self.ids)
    }

    #[inline]
    pub(crate) fn is_long(&self) -> bool {
        self.code & LONG != 0
    }

    /// How many of its glyphs are held.
    pub(crate) fn held(&self) -> usize {
        HELD - self.classes.leading_ones() as usize / 8
    }

    /// Whether glyphs of these classes, where `known` has full bytes, can be those held.
    pub(crate) fn looks(&self, classes: u64, known: u64) -> bool {
        (self.classes ^ classes) & known & !beyond(self.held()) == 0
    }

    /// A number by which spellings are in the order of their classes.
    pub(crate) fn order(&self) -> u64 {
        let ends = ((self.classes >> 7) & EACH) * 0xff;
        ((self.classes & !ends) + (EACH & !ends)).swap_bytes()
    }
}

/// An open strip with its weight.
#[derive(Debug, Clone)]
pub(crate) struct LightStrip {
    sets: Range<u32>,
    pub(crate) code: u32,
    /// Which strip of the table.
    pub(crate) index: u32,
    pub(crate) share: f64,
    pub(crate) alone: f64,
    pub(crate) unlisted: bool,
    pub(crate) free: bool,
    /// Whether some of its letters are small.
    pub(crate) lower: bool,
    /// Whether every place holds the ten digits and nothing else.
    pub(crate) digits: bool,
    /// Whether a date sums over what its unread places can be.
    pub(crate) summed: bool,
}

/// What a family says of its codes.
#[derive(Debug, Clone, Default)]
pub(crate) struct Telling {
    /// Whether each slot says its own and nothing is made of several.
    pub(crate) simple: bool,
    /// Whether no field is given by two slots.
    pub(crate) once: bool,
    pub(crate) slots: Vec<ToldSlot>,
    /// By date rule, its field and its first slot.
    pub(crate) dates: Vec<(FieldId, usize)>,
    codes: Vec<ToldCode>,
    fields: Vec<(FieldId, Told)>,
    texts: String,
    /// The ordering code, its optional parts in.
    pub(crate) written: Vec<Item>,
}

#[derive(Debug, Clone)]
pub(crate) struct ToldSlot {
    codes: u32,
    pub(crate) literal: bool,
    /// It has one code, a listed one: it is known without being read.
    pub(crate) only: bool,
    /// It may be absent.
    pub(crate) absent: bool,
    /// It says of packing and finish alone, which may stay open beside a known ordering code.
    pub(crate) minor: bool,
}

#[derive(Debug, Clone)]
pub(crate) struct ToldCode {
    text: Range<u32>,
    fields: Range<u32>,
    /// Whether the rule is documented, and the code stands for no other.
    pub(crate) simple: bool,
}

/// The value of a field.
#[derive(Debug, Clone)]
pub(crate) enum Told {
    /// A stretch of the texts.
    Text(Range<u32>),
    Value(Value),
    /// What was read.
    Read,
    /// What was read, as a number.
    Number(Option<Unit>),
    /// By the rule of the model with this number.
    Rule(u32),
}

/// An item of the ordering code.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Item {
    Slot(u16),
    Boundary(&'static str),
}

impl LightFamily {
    pub(crate) fn of(
        program: &FamilyProgram,
        family: &Family,
        rules: &RuleSet,
        alphabet: &Alphabet,
    ) -> LightFamily {
        let mut light = LightFamily {
            telling: Telling::of(family, rules),
            ..LightFamily::default()
        };
        let tables: Vec<LightPlace> = (0..)
            .zip(program.slot_of_tables())
            .map(|(table, slot)| light.add_table(program, table, slot, (family, rules), alphabet))
            .collect();
        let kinds = program.kinds.len();
        let kind_bits = if kinds == 1 {
            0.0
        } else {
            -(kinds as f64).log2()
        };
        for row in &program.rows {
            light.add_row(row, kind_bits, &tables);
        }
        light
    }

    /// What can be printed in a place of a table.
    fn add_table(
        &mut self,
        program: &FamilyProgram,
        number: usize,
        slot: usize,
        (family, rules): (&Family, &RuleSet),
        alphabet: &Alphabet,
    ) -> LightPlace {
        let table = &program.tables[number];
        let weights = &program.slots[slot];
        let entry = |index: u32, spelled: &Spelled| {
            let mut entry = LightEntry::of(index, spelled, table.cased, alphabet);
            if let Some(weight) = weights.codes.get(spelled.code as usize) {
                entry.alone = weight.alone;
                entry.code |= if weight.unlisted { UNLISTED } else { 0 };
            }
            entry
        };
        let from = self.entries.len();
        let (printed, nothing): (Vec<_>, Vec<_>) = (0..)
            .zip(&table.spelled)
            .map(|(index, spelled)| entry(index, spelled))
            .partition(|entry| entry.classes != !0);
        let only = match printed.as_slice() {
            [one] if table.open.is_empty() && nothing.is_empty() => one.plain().is_some(),
            _ => false,
        };
        let first = if only {
            [printed[0].classes, printed[0].ids]
        } else {
            [table.firsts as u64, (table.firsts >> 64) as u64]
        };
        // The one spelling needs no room to be found in.
        let room = if only {
            1
        } else {
            (printed.len() * 3 / 2 + 1).next_power_of_two()
        };
        self.entries.resize(from + room, LightEntry::EMPTY);
        for entry in printed {
            let mut at = home(entry.classes, room - 1);
            while self.entries[from + at].index != LightEntry::EMPTY.index {
                at = (at + 1) & (room - 1);
            }
            self.entries[from + at] = entry;
        }
        let empty = self.entries.len() as u32;
        let empties = nothing.len() as u32;
        self.entries.extend(nothing);
        let strips = self.strips.len() as u32;
        for (index, strip) in (0_u32..).zip(&table.open) {
            let sets = self.sets.len() as u32;
            self.sets.extend(&strip.sets);
            let weight = &weights.codes[strip.code as usize];
            self.strips.push(LightStrip {
                sets: sets..self.sets.len() as u32,
                code: strip.code,
                index,
                share: strip.share,
                alone: weight.alone,
                unlisted: weight.unlisted,
                free: strip.free,
                lower: strip.lower.contains(&true),
                digits: strip.sets.iter().all(|set| *set == DIGITS),
                summed: weights.dated
                    && family.slots[slot].codes[strip.code as usize]
                        .open_fields
                        .iter()
                        .any(|(field, _)| {
                            DatePart::of_field(&rules.fields[field.index()].name).is_some()
                        }),
            });
        }
        let many = u64::from(table.lengths >> (HELD + 1) != 0);
        LightPlace {
            first,
            entries: from as u32,
            mask: room as u32 - 1,
            empty,
            strips,
            empties,
            open: table.open.len() as u32,
            lengths: (table.lengths & ((2 << HELD) - 1) | many << (HELD + 1)) as u16,
            table: number as u16,
            slot: slot as u16,
            before: None,
            names: false,
            needs: false,
            cased: table.cased,
            lists: !table.listed.is_empty(),
            dated: weights.dated,
            only,
        }
    }

    fn add_row(&mut self, row: &RowProgram, kind_bits: f64, tables: &[LightPlace]) {
        let (from, dated) = (self.places.len() as u32, self.dated.len() as u32);
        let line = row.lines.first().filter(|_| row.light);
        if let Some(line) = line {
            let places = line.places.iter().zip(&line.rest);
            self.places.extend(places.map(|(place, rest)| LightPlace {
                before: place.before,
                names: row.naming[place.slot],
                needs: *rest > 0,
                ..tables[place.table]
            }));
            for (rule, of) in &line.dated {
                self.dated
                    .extend(of.iter().map(|(number, place)| LightDated {
                        rule: *rule,
                        number: *number,
                        place: *place as u16,
                    }));
            }
        }
        self.rows.push(LightRow {
            places: from..self.places.len() as u32,
            dated: dated..self.dated.len() as u32,
            form: row.of_kind + kind_bits,
            most: line.map_or(0, |line| u32::try_from(line.most).unwrap_or(u32::MAX)),
            kind: row.kind,
        });
    }

    #[inline]
    pub(crate) fn dated(&self, row: &LightRow) -> &[LightDated] {
        &self.dated[row.dated.start as usize..row.dated.end as usize]
    }

    #[inline]
    pub(crate) fn places(&self, row: &LightRow) -> &[LightPlace] {
        &self.places[row.places.start as usize..row.places.end as usize]
    }

    /// The spellings that print nothing.
    #[inline]
    pub(crate) fn empty(&self, place: &LightPlace) -> &[LightEntry] {
        &self.entries[place.empty as usize..][..place.empties as usize]
    }

    #[inline]
    pub(crate) fn strips(&self, place: &LightPlace) -> &[LightStrip] {
        &self.strips[place.strips as usize..][..place.open as usize]
    }

    /// All spellings, with gaps among them.
    pub(crate) fn all<'f>(&'f self, place: &LightPlace) -> impl Iterator<Item = &'f LightEntry> {
        let entries = &self.entries[place.entries as usize..][..=place.mask as usize];
        let there = |entry: &&LightEntry| entry.index != LightEntry::EMPTY.index;
        entries.iter().filter(there)
    }

    /// The one spelling of a place.
    #[inline]
    pub(crate) fn only(&self, place: &LightPlace) -> &LightEntry {
        &self.entries[place.entries as usize]
    }

    #[inline]
    pub(crate) fn sets(&self, strip: &LightStrip) -> &[u128] {
        &self.sets[strip.sets.start as usize..strip.sets.end as usize]
    }

    /// The spellings whose classes are these, as an entry has them.
    #[inline]
    pub(crate) fn of_classes<'f>(
        &'f self,
        place: &LightPlace,
        classes: u64,
    ) -> impl Iterator<Item = &'f LightEntry> {
        let mask = place.mask as usize;
        let entries = &self.entries[place.entries as usize..][..=mask];
        let mut at = home(classes, mask);
        std::iter::from_fn(move || {
            loop {
                let found = &entries[at];
                if found.index == LightEntry::EMPTY.index {
                    return None;
                }
                at = (at + 1) & mask;
                if found.classes == classes {
                    return Some(found);
                }
            }
        })
    }
}

impl LightPlace {
    /// The length of its one spelling, if it has no other and glyphs of these classes, where `known` has full bytes, can be it.
    #[inline]
    pub(crate) fn only(&self, classes: u64, known: u64) -> Option<Option<usize>> {
        self.only.then(|| {
            let length = self.lengths.trailing_zeros() as usize;
            let other = (classes ^ self.first[0]) & known & !beyond(length);
            (other == 0).then_some(length)
        })
    }

    /// Whether a spelling can begin with a glyph of a class.
    #[inline]
    pub(crate) fn begins(&self, class: u8) -> bool {
        let [low, high] = self.first;
        let half = if class < 64 { low } else { high };
        half >> (class & 63) & 1 == 1
    }
}

/// A place for the ten digits.
const DIGITS: u128 = 0x3ff;

/// Where classes are looked for first.
fn home(classes: u64, mask: usize) -> usize {
    (classes.wrapping_mul(0x9e37_79b9_7f4a_7c15) >> 32) as usize & mask
}

impl Telling {
    fn of(family: &Family, rules: &RuleSet) -> Telling {
        let documented =
            |standing: Option<Standing>| standing.unwrap_or_default() == Standing::Documented;
        let form = family.forms.iter().find(|form| form.kind == FormKind::Code);
        let mut telling = Telling {
            simple: form.is_some()
                && family.base.is_none()
                && family.derived.is_empty()
                && family.matrices.is_empty()
                && documented(family.provenance.standing)
                && family.dates.iter().all(|rule| rule.of.is_none()),
            ..Telling::default()
        };
        if !telling.simple {
            return telling;
        }
        if let Some(form) = form {
            telling.items(&form.row.items);
        }
        let first = |rule: &DateRule| rule.slots.first().map_or(0, |slot| slot.index());
        let dates = family.dates.iter().map(|rule| (rule.field, first(rule)));
        telling.dates = dates.collect();
        let minor = |(field, _): &(FieldId, Value)| {
            let name = rules.fields[field.index()].name.as_str();
            matches!(name, "packing" | "lead_finish" | "compliance")
        };
        for (number, slot) in family.slots.iter().enumerate() {
            let dated = family
                .dates
                .iter()
                .any(|rule| rule.slots.iter().any(|slot| slot.index() == number));
            let only = slot.codes.len() == 1 && !matches!(slot.codes[0].kind, CodeKind::Open(_));
            telling.simple &= !(dated && only);
            telling.slots.push(ToldSlot {
                codes: telling.codes.len() as u32,
                literal: slot.literal,
                only,
                absent: slot.codes.iter().any(|code| code.kind == CodeKind::Absent),
                minor: slot.codes.iter().flat_map(|code| &code.fields).all(minor),
            });
            for code in &slot.codes {
                let standing = code.provenance.standing.or(family.provenance.standing);
                let simple = code.stands.is_none() && documented(standing);
                telling.add(code, simple, dated, rules);
            }
        }
        telling.once = telling.says_once();
        telling
    }

    fn says_once(&self) -> bool {
        let mut by: Vec<(FieldId, usize)> = Vec::new();
        for (slot, told) in self.slots.iter().enumerate() {
            let next = self.slots.get(slot + 1).map(|next| next.codes as usize);
            let codes = &self.codes[told.codes as usize..next.unwrap_or(self.codes.len())];
            for (field, _) in codes.iter().flat_map(|code| self.fields(code)) {
                match by.iter().find(|(known, _)| known == field) {
                    Some((_, other)) if *other != slot => return false,
                    Some(_) => {}
                    None => by.push((*field, slot)),
                }
            }
        }
        true
    }

    fn items(&mut self, items: &[RowItem]) {
        for item in items {
            match item {
                RowItem::Slot(slot) => self.written.push(Item::Slot(slot.index() as u16)),
                RowItem::Boundary { boundary, .. } => {
                    self.written.push(Item::Boundary(boundary.text()));
                }
                RowItem::Break => self.written.push(Item::Boundary(" ")),
                RowItem::Optional(inner) => self.items(inner),
            }
        }
    }

    fn text(&mut self, text: &str) -> Range<u32> {
        let from = self.texts.len() as u32;
        self.texts.push_str(text);
        from..self.texts.len() as u32
    }

    fn add(&mut self, code: &Code, simple: bool, dated: bool, rules: &RuleSet) {
        let text = match &code.kind {
            CodeKind::Listed(spelling) => self.text(&spelling.text()),
            CodeKind::Absent | CodeKind::Open(_) => 0..0,
        };
        let from = self.fields.len() as u32;
        // The parts of a date are said by the date.
        let says = |field: &FieldId| {
            !(dated && DatePart::of_field(&rules.fields[field.index()].name).is_some())
        };
        for (field, value) in code.fields.iter().filter(|(field, _)| says(field)) {
            let told = match value.clone().in_base(rules.fields[field.index()].base) {
                Value::Text(value) => Told::Text(self.text(&value)),
                value => Told::Value(value),
            };
            self.fields.push((*field, told));
        }
        for (number, (field, rule)) in (0..).zip(&code.open_fields) {
            if says(field) {
                let told = match rule {
                    OpenRule::Text => Told::Read,
                    OpenRule::Number(unit) => Told::Number(*unit),
                    _ => Told::Rule(number),
                };
                self.fields.push((*field, told));
            }
        }
        self.codes.push(ToldCode {
            text,
            fields: from..self.fields.len() as u32,
            simple,
        });
    }

    #[inline]
    pub(crate) fn code(&self, slot: &ToldSlot, code: u32) -> &ToldCode {
        &self.codes[(slot.codes + code) as usize]
    }

    #[inline]
    pub(crate) fn fields(&self, code: &ToldCode) -> &[(FieldId, Told)] {
        &self.fields[code.fields.start as usize..code.fields.end as usize]
    }

    /// A code as the rule lists it; nothing for an open one.
    #[inline]
    pub(crate) fn listed(&self, code: &ToldCode) -> &str {
        self.stretch(&code.text)
    }

    #[inline]
    pub(crate) fn stretch(&self, stretch: &Range<u32>) -> &str {
        &self.texts[stretch.start as usize..stretch.end as usize]
    }
}
