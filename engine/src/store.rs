//! A checked rule set as bytes, so that what never changes is checked once, when a program is built.
//!
//! The bytes are no format to keep: they are read by the version of this library that wrote them. They begin with a mark, a version and a checksum.
//! A head follows, with what every run needs: the names of the texts, makers, fields, the glyphs, and the families in outline. Behind it come the
//! families, each by itself, laid out as the types of [`crate::model`] are (borsh): they are read and compiled when a reading comes near to them.

use std::borrow::Cow;

use borsh::{BorshDeserialize, BorshSerialize};

use crate::compile::{Alphabet, Limits, Outline, Program, compile};
use crate::glyph::{Confusions, Glyph};
use crate::model::{Families, Field, Maker, RuleSet};
use crate::rules::Rules;
use crate::source::Sources;

/// What the bytes begin with: a name, and a number that goes up with each change of the layout.
const MARK: [u8; 8] = *b"lore\0\0\0\x02";

/// What every run needs.
#[derive(BorshSerialize, BorshDeserialize)]
struct Head {
    /// Names of the texts that places are in, by id.
    texts: Vec<String>,
    makers: Vec<Maker>,
    fields: Vec<Field>,
    /// Beside digits and capitals.
    glyphs: Vec<Glyph>,
    outlines: Vec<Outline>,
    /// How many bytes each family has.
    lengths: Vec<u32>,
}

/// Why bytes are no stored rule set, or rules cannot be stored.
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
/// A number of the rules is not a number, or the rules exceed the usual limits.
pub fn write(rules: &RuleSet, sources: &Sources) -> Result<Vec<u8>, StoreError> {
    let program =
        compile(rules, &Confusions::default(), &Limits::default()).map_err(|limit| StoreError {
            message: limit.to_string(),
        })?;
    let families: Vec<Vec<u8>> = rules
        .families
        .iter()
        .map(borsh::to_vec)
        .collect::<Result<_, _>>()
        .map_err(fault)?;
    let head = Head {
        texts: sources
            .iter()
            .map(|(_, source)| source.name.clone())
            .collect(),
        makers: rules.makers.clone(),
        fields: rules.fields.clone(),
        glyphs: program.alphabet.added().to_vec(),
        outlines: program.outlines(rules),
        lengths: families.iter().map(|family| family.len() as u32).collect(),
    };
    let mut content = borsh::to_vec(&head).map_err(fault)?;
    content.extend(families.concat());
    Ok([
        &MARK[..],
        &crc32fast::hash(&content).to_le_bytes(),
        &content,
    ]
    .concat())
}

/// The rules of such bytes for readers that err as the embedded table of look-alikes says, with their texts: `text` gives each by its name.
///
/// # Errors
/// The bytes are of another version or damaged, or a text is missing.
pub fn read(
    bytes: impl Into<Cow<'static, [u8]>>,
    text: impl Fn(&str) -> Option<Cow<'static, str>>,
) -> Result<(Rules, Sources), StoreError> {
    let bytes = bytes.into();
    let (sum, content) = bytes
        .strip_prefix(&MARK)
        .and_then(<[u8]>::split_first_chunk::<4>)
        .ok_or_else(|| fault("they begin otherwise"))?;
    if u32::from_le_bytes(*sum) != crc32fast::hash(content) {
        return Err(fault("they are damaged"));
    }
    let mut rest = content;
    let head = Head::deserialize(&mut rest).map_err(fault)?;
    let mut sources = Sources::default();
    for name in head.texts {
        let text = text(&name).ok_or_else(|| fault(format_args!("{name} is not there")))?;
        sources.add(name, text, true);
    }
    let start = bytes.len() - rest.len();
    let mut end = start;
    let ends: Vec<usize> = head
        .lengths
        .iter()
        .map(|length| {
            end += *length as usize;
            end
        })
        .collect();
    if end != bytes.len() || ends.len() != head.outlines.len() {
        return Err(fault("its families are others"));
    }
    let mut alphabet = Alphabet::new(&Confusions::default());
    for glyph in &head.glyphs {
        alphabet
            .add(glyph)
            .ok_or_else(|| fault("there are too many glyphs"))?;
    }
    let rules = RuleSet {
        makers: head.makers,
        families: Families::stored(bytes, start, ends),
        fields: head.fields,
    };
    let program = Program::later(&rules, alphabet, head.outlines);
    Ok((Rules::of(rules, program), sources))
}
