//! A checked rule set as bytes, so that what never changes is checked once, when a program is built.
//!
//! The bytes are no format to keep: they are read by the version of this library that wrote them. They begin with a mark and a version; the layout
//! behind it follows the types of [`crate::model`] in their order (borsh).

use std::borrow::Cow;

use borsh::{BorshDeserialize, BorshSerialize};

use crate::model::RuleSet;
use crate::source::{SourceId, Sources};

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
    names.serialize(&mut bytes).map_err(fault)?;
    rules.serialize(&mut bytes).map_err(fault)?;
    Ok(bytes)
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
    let names = Vec::<String>::deserialize(&mut rest).map_err(fault)?;
    let mut sources = Sources::default();
    for name in names {
        let text = text(&name).ok_or_else(|| fault(format_args!("{name} is not there")))?;
        let _: SourceId = sources.add(name, text, true);
    }
    let rules = RuleSet::deserialize(&mut rest).map_err(fault)?;
    if rest.is_empty() {
        Ok((rules, sources))
    } else {
        Err(fault("something follows"))
    }
}
