//! A checked rule set as bytes, so that what never changes is checked once, when a program is built.
//!
//! The bytes are no format to keep: they are read by the version of this library that wrote them. They begin with a mark and a version; the layout
//! behind it follows the types of [`crate::model`] in their order (borsh).

use std::borrow::Cow;

use borsh::{BorshDeserialize, BorshSerialize};

use crate::model::{Family, Field, Maker, RuleSet};
use crate::source::Sources;

/// What the bytes begin with: a name, and a number that goes up with each change of the model.
const MARK: [u8; 8] = *b"lore\0\0\0\x01";

/// Why bytes are no stored rule set.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StoreError {
    message: String,
}

impl std::fmt::Display for StoreError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(&self.message)
    }
}

impl std::error::Error for StoreError {}

fn fault(why: impl std::fmt::Display) -> StoreError {
    StoreError {
        message: format!("no stored rule set of this version: {why}"),
    }
}

/// A rule set with the names of the texts that its places are in, by id.
///
/// # Errors
/// A number of the rules is not a number.
pub fn write(rules: &RuleSet, sources: &Sources) -> Result<Vec<u8>, StoreError> {
    let mut bytes = MARK.to_vec();
    let names: Vec<&str> = sources
        .iter()
        .map(|(_, source)| source.name.as_str())
        .collect();
    (names, &rules.makers, &rules.fields)
        .serialize(&mut bytes)
        .map_err(fault)?;
    // In two parts of about the same size, so that two threads can read them.
    let families: Vec<Vec<u8>> = rules
        .families
        .iter()
        .map(borsh::to_vec)
        .collect::<Result<_, _>>()
        .map_err(fault)?;
    let all: usize = families.iter().map(Vec::len).sum();
    let mut upto = 0;
    let half = families
        .iter()
        .take_while(|family| {
            upto += family.len();
            upto <= all / 2
        })
        .count();
    for part in [&families[..half], &families[half..]] {
        (part.len() as u32, part.concat())
            .serialize(&mut bytes)
            .map_err(fault)?;
    }
    Ok(bytes)
}

/// A part of the families: how many, and their bytes.
fn families((count, mut rest): (u32, &[u8])) -> Result<Vec<Family>, StoreError> {
    let families = (0..count)
        .map(|_| Family::deserialize(&mut rest))
        .collect::<Result<_, _>>()
        .map_err(fault)?;
    if rest.is_empty() {
        Ok(families)
    } else {
        Err(fault("something follows on the families"))
    }
}

/// Takes a number of families and their bytes from the front.
fn part<'b>(rest: &mut &'b [u8]) -> Result<(u32, &'b [u8]), StoreError> {
    let (count, length) = <(u32, u32)>::deserialize(rest).map_err(fault)?;
    let (part, after) = rest
        .split_at_checked(length as usize)
        .ok_or_else(|| fault("they end early"))?;
    *rest = after;
    Ok((count, part))
}

/// The rule set of such bytes, with its texts: `text` gives each by its name.
///
/// # Errors
/// The bytes are of another version or damaged, or a text is missing.
pub fn read(
    bytes: &[u8],
    text: impl Fn(&str) -> Option<Cow<'static, str>>,
) -> Result<(RuleSet, Sources), StoreError> {
    let mut rest = bytes
        .strip_prefix(&MARK)
        .ok_or_else(|| fault("they begin otherwise"))?;
    let (names, makers, fields) =
        <(Vec<String>, Vec<Maker>, Vec<Field>)>::deserialize(&mut rest).map_err(fault)?;
    let mut sources = Sources::default();
    for name in names {
        let text = text(&name).ok_or_else(|| fault(format_args!("{name} is not there")))?;
        sources.add(name, text, true);
    }
    let (first, second) = (part(&mut rest)?, part(&mut rest)?);
    if !rest.is_empty() {
        return Err(fault("something follows"));
    }
    let (first, second) = std::thread::scope(|scope| {
        let second = scope.spawn(|| families(second));
        (families(first), second.join())
    });
    let second = match second {
        Ok(second) => second,
        Err(panic) => std::panic::resume_unwind(panic),
    };
    let mut families = first?;
    families.extend(second?);
    let rules = RuleSet {
        makers,
        families,
        fields,
    };
    Ok((rules, sources))
}
