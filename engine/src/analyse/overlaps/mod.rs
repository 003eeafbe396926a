//! Strings that two families both claim, exactly: by automata of all their forms.
//!
//! Two marks are the same string when their glyphs are, so boundaries and line breaks count for nothing. A line with the whole base part is
//! a string by itself too, as the other lines of its form may not have been read. A family of function
//! `marking` is a remark beside an identity and no rival of it; the two kinds are compared among themselves.

mod automaton;
mod language;
mod letters;

use num_bigint::BigUint;
use rustc_hash::FxHashMap;

use crate::diagnostic::Diagnostic;
use crate::glyph::Confusions;
use crate::model::{Accept, Family, FamilyId, Form, RowItem, RuleSet};
use crate::source::Place;
use automaton::{EMPTY, Mask, State, Store, TooLarge};
use language::Workshop;
use letters::Letters;

/// States that one family may need.
const STATES_OF_FAMILY: usize = 2_000_000;

/// The lint that accepts an overlap in a rule.
pub const LINT: &str = "overlap";

/// What to look for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Looking {
    /// Codes that no list has, as far as the shape of a partial table lets them be, count too.
    pub unlisted: bool,
    /// Also two forms of one family.
    pub forms: bool,
    /// Also pairs one look-alike apart, which takes longer than all the rest.
    pub near: bool,
}

/// Strings that two families share.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Overlap {
    /// The one; the form is by index in its family.
    pub one: (FamilyId, usize),
    /// The other; the same family with another form where two forms of one share strings.
    pub other: (FamilyId, usize),
    /// A shortest string that both claim, in the notation of readings.
    pub witness: String,
    /// How many strings both claim.
    pub shared: BigUint,
    /// How many strings each has.
    pub sizes: (BigUint, BigUint),
    /// Where a rule accepts it, with the reason.
    pub accepted: Option<(Place, Option<String>)>,
}

impl Overlap {
    /// The shares of the two that both claim.
    #[must_use]
    pub fn shares(&self) -> (f64, f64) {
        (
            share(&self.shared, &self.sizes.0),
            share(&self.shared, &self.sizes.1),
        )
    }

    /// Whether all strings of one are strings of the other: which.
    #[must_use]
    pub fn swallowed(&self) -> Option<FamilyId> {
        if self.shared == self.sizes.0 {
            Some(self.one.0)
        } else if self.shared == self.sizes.1 {
            Some(self.other.0)
        } else {
            None
        }
    }
}

fn share(part: &BigUint, whole: &BigUint) -> f64 {
    let digits = u64::try_from((part * 1_000_000_000_u64) / whole.max(&BigUint::from(1_u8)));
    digits.map_or(1.0, |digits| digits as f64 / 1e9)
}

/// Two families without a common string, of which one mark is the other's when one character is taken for a look-alike.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Near {
    /// The one with a string of it.
    pub one: (FamilyId, String),
    /// The other with a string of it.
    pub other: (FamilyId, String),
}

/// What was found.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Overlaps {
    /// Families compared.
    pub families: usize,
    /// Pairs with a common string.
    pub overlaps: Vec<Overlap>,
    /// Pairs one look-alike apart, where they were asked for.
    pub near: Vec<Near>,
    /// Families whose strings are too many kinds to compare.
    pub too_large: Vec<FamilyId>,
    /// Accepted overlaps that are none.
    pub idle: Vec<(FamilyId, Accept)>,
}

impl Overlaps {
    /// What is to be said of them: open overlaps, and accepted ones that are none.
    #[must_use]
    pub fn diagnostics(&self, rules: &RuleSet) -> Vec<Diagnostic> {
        let family = |id: FamilyId| &rules.families[id.index()];
        let mut found = Vec::new();
        for overlap in self.overlaps.iter().filter(|o| o.accepted.is_none()) {
            let (one, other) = (family(overlap.one.0), family(overlap.other.0));
            let title = if overlap.one.0 == overlap.other.0 {
                format!("two forms of `{}` both claim {}", one.name, overlap.witness)
            } else {
                format!(
                    "`{}` and `{}` both claim {}",
                    one.name, other.name, overlap.witness
                )
            };
            let mut fault = Diagnostic::new(LINT, one.place, title);
            if overlap.one.0 != overlap.other.0 {
                fault = fault.also(other.place, "the other");
            }
            if let Some(all) = overlap.swallowed() {
                fault = fault.here(format!(
                    "every string of `{}` is one of both",
                    family(all).name
                ));
            }
            found.push(fault.help(format!(
                "a guard or a `never` in one of them, or `accept overlap {}  note \"why\"` in `{}`",
                other.name, one.name
            )));
        }
        for (id, accept) in &self.idle {
            let title = format!(
                "`{}` shares no string with {}, so this accepts nothing",
                family(*id).name,
                accept.about.join(", ")
            );
            let fault = Diagnostic::new("idle-accept", accept.place, title);
            found.push(fault.help("remove the line"));
        }
        found
    }
}

/// A family with its automata.
struct Side {
    id: FamilyId,
    marking: bool,
    whole: State,
    /// Form by index, with its strings.
    forms: Vec<(usize, State)>,
    /// The characters at its beginning and second, and the same with look-alikes, for cheap rejection.
    starts: (Mask, Mask),
    near_starts: (Mask, Mask),
    size: BigUint,
}

/// Compares all families with a form for which `wanted` holds of at least one of two.
pub fn overlaps(
    rules: &RuleSet,
    confusions: &Confusions,
    looking: Looking,
    wanted: &dyn Fn(&Family) -> bool,
) -> Overlaps {
    let mut shop = Workshop {
        store: Store::new(),
        letters: Letters::default(),
        rules,
        unlisted: looking.unlisted,
    };
    let mut found = Overlaps::default();
    let alike = Letters::alike(confusions);
    let replace = |mask: Mask| replaced(&alike, mask);
    let mut sides: Vec<Side> = Vec::new();
    for (at, family) in rules.families.iter().enumerate() {
        let id = FamilyId::at(at);
        shop.store.allow(STATES_OF_FAMILY);
        match side(&mut shop, id, family, &replace) {
            Ok(Some(side)) => sides.push(side),
            Ok(None) => {}
            Err(TooLarge) => found.too_large.push(id),
        }
    }
    found.families = sides.len();
    let mut near_of: FxHashMap<State, State> = FxHashMap::default();
    for (at, one) in sides.iter().enumerate() {
        let of_one = &rules.families[one.id.index()];
        if looking.forms && wanted(of_one) {
            forms_of_one(&mut shop, one, of_one, &mut found);
        }
        for other in &sides[at + 1..] {
            let of_other = &rules.families[other.id.index()];
            if one.marking != other.marking || !(wanted(of_one) || wanted(of_other)) {
                continue;
            }
            shop.store.allow(STATES_OF_FAMILY);
            let compared =
                compare(&mut shop, one, other, (of_one, of_other), &mut found).and_then(|shared| {
                    if shared || !looking.near {
                        return Ok(());
                    }
                    near(&mut shop, one, other, &replace, &mut near_of, &mut found)
                });
            if compared.is_err() && !found.too_large.contains(&other.id) {
                found.too_large.push(other.id);
            }
        }
    }
    for (at, family) in rules.families.iter().enumerate().filter(|(_, f)| wanted(f)) {
        for accept in family.accepts.iter().filter(|accept| accept.lint == LINT) {
            let used = found.overlaps.iter().any(|overlap| {
                let place = overlap.accepted.as_ref().map(|(place, _)| *place);
                place == Some(accept.place) || accepts(accept, family, overlap, rules)
            });
            if !used {
                found.idle.push((FamilyId::at(at), accept.clone()));
            }
        }
    }
    found
}

/// Whether an accepting line speaks of an overlap.
fn accepts(accept: &Accept, family: &Family, overlap: &Overlap, rules: &RuleSet) -> bool {
    let name = |id: FamilyId| &rules.families[id.index()].name;
    let (one, other) = (name(overlap.one.0), name(overlap.other.0));
    (*one == family.name && accept.about.contains(other))
        || (*other == family.name && accept.about.contains(one))
}

fn replaced(alike: &[Mask], mask: Mask) -> Mask {
    let mut all = 0;
    for (at, looks) in alike.iter().enumerate() {
        let small = if at >= 10 { 1 << (at + 26) } else { 0 };
        if mask & (1 << at | small) != 0 {
            all |= looks;
        }
    }
    all
}

fn side(
    shop: &mut Workshop<'_>,
    id: FamilyId,
    family: &Family,
    replace: &dyn Fn(Mask) -> Mask,
) -> Result<Option<Side>, TooLarge> {
    let mut forms = Vec::new();
    for (at, form) in family.forms.iter().enumerate() {
        if names_the_part(family, form) {
            let state = shop.form(family, form)?;
            if state != EMPTY {
                forms.push((at, state));
            }
        }
    }
    let states: Vec<State> = forms.iter().map(|(_, state)| *state).collect();
    let whole = shop.store.union_of(&states)?;
    if whole == EMPTY {
        return Ok(None);
    }
    let starts = (shop.store.firsts(whole), shop.store.seconds(whole));
    let near_starts = (starts.0 | replace(starts.0), starts.1 | replace(starts.1));
    Ok(Some(Side {
        id,
        marking: family.is_marking(),
        whole,
        forms,
        starts,
        near_starts,
        size: shop.store.count(whole, &Letters::size),
    }))
}

/// A row of dates and serials alone names no part, and is read only beside one that does.
fn names_the_part(family: &Family, form: &Form) -> bool {
    fn names(items: &[RowItem], family: &Family) -> bool {
        items.iter().any(|item| match item {
            RowItem::Slot(slot) => {
                let dated = family.dates.iter().any(|date| date.slots.contains(slot));
                !family.slots[slot.index()].each && !dated
            }
            RowItem::Optional(inner) => names(inner, family),
            _ => false,
        })
    }
    family.is_marking() || names(&form.row.items, family)
}

fn forms_of_one(shop: &mut Workshop<'_>, side: &Side, family: &Family, found: &mut Overlaps) {
    for (at, (form, state)) in side.forms.iter().enumerate() {
        for (other, of_other) in &side.forms[at + 1..] {
            shop.store.allow(STATES_OF_FAMILY);
            let Ok(shared) = shop.store.meet(*state, *of_other) else {
                continue;
            };
            if shared != EMPTY {
                let string = shop.store.shortest_string(shared);
                let mut hard = shop.hard_boundaries(family, &family.forms[*form], &string);
                hard.extend(shop.hard_boundaries(family, &family.forms[*other], &string));
                let overlap = Overlap {
                    one: (side.id, *form),
                    other: (side.id, *other),
                    witness: shop.letters.text(&string, &hard),
                    shared: shop.store.count(shared, &Letters::size),
                    sizes: (
                        shop.store.count(*state, &Letters::size),
                        shop.store.count(*of_other, &Letters::size),
                    ),
                    accepted: accepted(family, &family.name),
                };
                found.overlaps.push(overlap);
            }
        }
    }
}

fn accepted(family: &Family, other: &str) -> Option<(Place, Option<String>)> {
    let mut lines = family.accepts.iter();
    let line = lines.find(|accept| accept.lint == LINT && accept.about.iter().any(|a| a == other));
    line.map(|accept| (accept.place, accept.note.clone()))
}

/// Whether two families share a string; then it is noted.
fn compare(
    shop: &mut Workshop<'_>,
    one: &Side,
    other: &Side,
    families: (&Family, &Family),
    found: &mut Overlaps,
) -> Result<bool, TooLarge> {
    let apart = one.starts.0 & other.starts.0 == 0 || one.starts.1 & other.starts.1 == 0;
    let short = shop
        .store
        .lengths(one.whole)
        .0
        .min(shop.store.lengths(other.whole).0);
    // A string of one character has no second one to be told by.
    if apart && short > 1 || one.starts.0 & other.starts.0 == 0 {
        return Ok(false);
    }
    let shared = shop.store.meet(one.whole, other.whole)?;
    if shared == EMPTY {
        return Ok(false);
    }
    let string = shop.store.shortest_string(shared);
    let form_of = |side: &Side| {
        let mut forms = side.forms.iter();
        let form = forms.find(|(_, state)| shop.store.has(*state, &string));
        form.map_or(0, |(form, _)| *form)
    };
    let (form_of_one, form_of_other) = (form_of(one), form_of(other));
    let mut hard = shop.hard_boundaries(families.0, &families.0.forms[form_of_one], &string);
    hard.extend(shop.hard_boundaries(families.1, &families.1.forms[form_of_other], &string));
    found.overlaps.push(Overlap {
        one: (one.id, form_of_one),
        other: (other.id, form_of_other),
        witness: shop.letters.text(&string, &hard),
        shared: shop.store.count(shared, &Letters::size),
        sizes: (one.size.clone(), other.size.clone()),
        accepted: accepted(families.0, &families.1.name)
            .or_else(|| accepted(families.1, &families.0.name)),
    });
    Ok(true)
}

/// Notes two families of which a string of one is a string of the other when one character is taken for a look-alike.
fn near(
    shop: &mut Workshop<'_>,
    one: &Side,
    other: &Side,
    replace: &dyn Fn(Mask) -> Mask,
    known: &mut FxHashMap<State, State>,
    found: &mut Overlaps,
) -> Result<(), TooLarge> {
    let apart = one.near_starts.0 & other.starts.0 == 0
        || one.near_starts.1 & other.starts.1 == 0
        || shop.store.apart(one.whole, other.whole);
    let short = shop
        .store
        .lengths(one.whole)
        .0
        .min(shop.store.lengths(other.whole).0);
    if apart && short > 1 {
        return Ok(());
    }
    let misread = shop.store.replaced(one.whole, replace, known)?;
    let shared = shop.store.meet(misread, other.whole)?;
    if shared == EMPTY {
        return Ok(());
    }
    let read = shop.store.shortest_string(shared);
    let printed = (0..read.len()).find_map(|at| {
        let looks = replace(1 << read[at]);
        (0..128_u32)
            .filter(|c| looks & (1 << c) != 0)
            .find_map(|c| {
                let mut printed = read.clone();
                printed[at] = c;
                shop.store.has(one.whole, &printed).then_some(printed)
            })
    });
    if let Some(printed) = printed {
        found.near.push(Near {
            one: (one.id, shop.letters.text(&printed, &[])),
            other: (other.id, shop.letters.text(&read, &[])),
        });
    }
    Ok(())
}
