//! YAML -> values by the table of [`shape`](super::shape), or what is wrong and where.
//!
//! Each value is asked for as the table wants it, so that a text stays as typed. What is wrong is said in our own words: the YAML
//! reader tells the place, and its own sentences come through only where a text is no YAML.

use std::cell::{Cell, RefCell};
use std::fmt;

use etchlore_engine::diagnostic::near;
use serde::de::{DeserializeSeed, Deserializer, Error, MapAccess, SeqAccess, Unexpected, Visitor};

use super::MAX_TEXT;
use super::place::{self, At};
use super::shape::{BOARD, Key, Kind};

/// What one value takes of [`MAX_UNFOLDED`] beside its text.
const VALUE: usize = 64;
/// How much a file may unfold to, in bytes: aliases can name one text many times.
const MAX_UNFOLDED: usize = 256 << 20;

/// A value as typed.
#[derive(Debug, Clone)]
pub(super) enum Node {
    Text(String),
    Count(u32),
    Number(f64),
    List(Vec<Node>),
    Map(Map),
}

/// Keys with values, by the table.
#[derive(Debug, Clone)]
pub(super) struct Map {
    keys: &'static [Key],
    /// By key of the table.
    values: Vec<Option<Node>>,
}

impl Map {
    fn get(&self, name: &str) -> Option<&Node> {
        let at = self.keys.iter().position(|key| key.name == name);
        debug_assert!(at.is_some(), "the table has no key {name}");
        self.values.get(at?)?.as_ref()
    }

    /// A text as typed, without spaces around it.
    pub(super) fn raw(&self, name: &str) -> Option<&str> {
        match self.get(name)? {
            Node::Text(text) => Some(text.trim()),
            _ => None,
        }
    }

    /// A text that holds something.
    pub(super) fn text(&self, name: &str) -> Option<String> {
        self.raw(name)
            .filter(|text| !text.is_empty())
            .map(str::to_owned)
    }

    pub(super) fn count(&self, name: &str) -> Option<u32> {
        match self.get(name)? {
            Node::Count(count) => Some(*count),
            _ => None,
        }
    }

    pub(super) fn number(&self, name: &str) -> f64 {
        match self.get(name) {
            Some(Node::Number(number)) => *number,
            _ => 0.0,
        }
    }

    pub(super) fn map(&self, name: &str) -> Option<&Map> {
        match self.get(name)? {
            Node::Map(map) => Some(map),
            _ => None,
        }
    }

    fn list(&self, name: &str) -> &[Node] {
        match self.get(name) {
            Some(Node::List(list)) => list,
            _ => &[],
        }
    }

    pub(super) fn maps(&self, name: &str) -> impl Iterator<Item = &Map> {
        self.list(name).iter().filter_map(|node| match node {
            Node::Map(map) => Some(map),
            _ => None,
        })
    }

    pub(super) fn texts(&self, name: &str) -> impl Iterator<Item = &str> {
        self.list(name).iter().filter_map(|node| match node {
            Node::Text(text) => Some(text.trim()),
            _ => None,
        })
    }
}

/// What is wrong with a text: where, what, what to do.
pub(super) type Fault = (At, String, String);

/// Reads the text of a board file.
pub(super) fn parse(text: &str) -> Result<Map, Fault> {
    let reader = Reader {
        left: Cell::new(MAX_UNFOLDED),
        said: RefCell::new(None),
        wanted: Cell::new(None),
    };
    if let Some(at) = too_deep(text) {
        let (_, what, help) = PLAIN[DEEP];
        return Err((Some(at), what.to_owned(), help.to_owned()));
    }
    let mut documents = serde_yaml::Deserializer::from_str(text);
    let root = Seed {
        name: "",
        kind: &BOARD,
        reader: &reader,
    };
    let empty = || {
        (
            Some((1, 1)),
            "the file is empty".to_owned(),
            "`etchlore board new -o FILE` writes a start file".to_owned(),
        )
    };
    let Some(document) = documents.next() else {
        return Err(empty());
    };
    let node = match root.deserialize(document) {
        Ok(node) => node,
        Err(error) if error.to_string().starts_with("EOF while parsing") => return Err(empty()),
        Err(error) => return Err(reader.fault(text, &error)),
    };
    if let Some(second) = documents.next() {
        let said = "a second document begins here";
        let help = "one file holds one board: take out the line `---`, or make two files";
        return Err((place::first(second), said.to_owned(), help.to_owned()));
    }
    match node {
        Some(Node::Map(map)) => Ok(map),
        _ => Err(empty()),
    }
}

/// What reading a file keeps.
struct Reader {
    /// How much may still be unfolded.
    left: Cell<usize>,
    /// What was found to be wrong.
    said: RefCell<Option<(String, String)>>,
    /// What was asked for, where the YAML reader found something else.
    wanted: Cell<Option<(&'static str, &'static Kind)>>,
}

impl Reader {
    /// Notes what is wrong; the place comes with the error.
    fn say<E: Error>(&self, what: impl Into<String>, help: impl Into<String>) -> E {
        *self.said.borrow_mut() = Some((what.into(), help.into()));
        E::custom("said")
    }

    fn take<E: Error>(&self, bytes: usize) -> Result<(), E> {
        match self.left.get().checked_sub(bytes + VALUE) {
            Some(left) => {
                self.left.set(left);
                Ok(())
            }
            None => Err(self.say(
                format!(
                    "aliases unfold this file to more than {} MB",
                    MAX_UNFOLDED >> 20
                ),
                "write the parts out instead of naming them by `*`",
            )),
        }
    }

    fn fault(self, text: &str, error: &serde_yaml::Error) -> Fault {
        let at = error.location().map(|at| (at.line(), at.column()));
        if let Some((what, help)) = self.said.into_inner() {
            return (at, what, help);
        }
        let own = error.to_string();
        if let (Some((_, found)), Some((name, kind))) =
            (own.split_once("invalid type: "), self.wanted.get())
        {
            let found = match found {
                _ if found.starts_with("sequence") => "a list",
                _ if found.starts_with("map") => "keys with values",
                _ if found.starts_with("unit") => "nothing",
                _ => "a text",
            };
            let (what, help) = kind.wanted(name);
            return (at, format!("{found} here, but {what}"), help);
        }
        yaml(text, at, &own)
    }
}

impl Kind {
    /// What belongs here, and how it is written.
    fn wanted(&self, name: &str) -> (String, String) {
        let here = match name {
            "" => "here".to_owned(),
            name => format!("under `{name}`"),
        };
        match self {
            Kind::List(item, _) => (
                format!("{here} belongs a list"),
                match item {
                    Kind::Map(keys) => format!("begin each item with a dash: `- {}: ...`", keys[0].name),
                    _ => format!("begin each item with a dash, or write `{name}: [one, two]`"),
                },
            ),
            Kind::Map(keys) if name.is_empty() => (
                "a board file begins with keys".to_owned(),
                format!("begin with `{}: ...`; `etchlore board new` writes a start file", keys[0].name),
            ),
            Kind::Each(item, _) => item.wanted(name),
            Kind::Map(keys) => (
                format!("{here} belong keys with values"),
                format!(
                    "keys here: {}",
                    keys.iter().map(|key| key.name).collect::<Vec<_>>().join(", ")
                ),
            ),
            Kind::Count(from, to) => (
                format!("{here} belongs one number"),
                format!("write a whole number from {from} to {to}"),
            ),
            Kind::Percent => (
                format!("{here} belongs one number"),
                "places count in percent of the photo's width and height, from its upper left corner".to_owned(),
            ),
            Kind::Text | Kind::Date | Kind::Word(_) => (
                format!("{here} belongs one text"),
                "write it behind the colon, in single quotes where it begins with `{`, `[` or `-`; lines of a mark are parted by ` | `".to_owned(),
            ),
        }
    }
}

/// Brackets that may stand open at once; a board file needs six.
const MAX_OPEN: usize = 64;

/// Where too many brackets stand open. The YAML reader looks at all of them with each word, so that a file of brackets alone would
/// take it hours.
fn too_deep(text: &str) -> Option<(usize, usize)> {
    let mut open = 0_usize;
    let mut before = '\n';
    for (line, typed) in text.split('\n').enumerate() {
        for (column, c) in typed.chars().enumerate() {
            match c {
                // Brackets within a text are none.
                '[' | '{' if matches!(before, '\n' | ':' | ',' | '[' | '{' | '-' | '?') => {
                    open += 1
                }
                ']' | '}' => open = open.saturating_sub(1),
                _ => {}
            }
            if open > MAX_OPEN {
                return Some((line + 1, column + 1));
            }
            if !c.is_whitespace() {
                before = c;
            }
        }
        before = '\n';
    }
    None
}

/// The entry of [`PLAIN`] for too many levels.
const DEEP: usize = 0;

/// What the YAML reader says, in plain words.
const PLAIN: &[(&str, &str, &str)] = &[
    (
        "recursion limit",
        "more levels than a board file has",
        "a part has keys, and readings with keys: nothing lies deeper",
    ),
    (
        "cannot start any token",
        "no text begins with this character",
        "put the text in single quotes; indent with spaces, not with tabs",
    ),
    (
        "mapping values are not allowed",
        "a second `: ` on this line",
        "put a text with `: ` in single quotes; begin a new line for a new key",
    ),
    (
        "did not find expected key",
        "this line does not stand beneath the one it belongs to",
        "keys of one part begin in the same column; a text that begins with a quote ends with it",
    ),
    (
        "did not find expected '-' indicator",
        "this line does not stand beneath the list it belongs to",
        "items of one list begin with a dash in the same column",
    ),
    (
        "could not find expected ':'",
        "a key without its colon",
        "write `key: value`; put a text of several lines in single quotes",
    ),
    (
        "found unexpected end of stream",
        "the quote that opens here is not closed",
        "close it; within single quotes a single quote is written twice",
    ),
    (
        "found unexpected document indicator",
        "`---` within a quoted text",
        "close the quote before this line",
    ),
    (
        "did not find expected ',' or",
        "the bracket that opens here is not closed",
        "close it, or put a text that begins with `[` or `{` in single quotes",
    ),
    (
        "did not find expected node content",
        "a value is missing here",
        "put a text with `{`, `[`, `]`, `}` or `,` in single quotes",
    ),
    (
        "control characters are not allowed",
        "a control character",
        "take it out; texts of a board file are printed characters",
    ),
    (
        "alphabetic or numeric",
        "no name behind `*` or `&`",
        "put a text that begins with `*` or `&` in single quotes",
    ),
    (
        "unknown anchor",
        "`*` names something that is not in the file",
        "put a text that begins with `*` in single quotes",
    ),
    (
        "block sequence entries are not allowed",
        "a dash where no list can begin",
        "begin the list on a line of its own; put a text that begins with `- ` in single quotes",
    ),
    (
        "unknown escape character",
        "no such escape in double quotes",
        "use single quotes: a backslash stands for itself there",
    ),
    (
        "tab character",
        "a tab among the spaces that indent",
        "indent with spaces",
    ),
    (
        "nesting",
        "more levels than a board file has",
        "a part has keys, and readings with keys: nothing lies deeper",
    ),
    (
        "repetition limit",
        "aliases unfold this file to far more than it holds",
        "write the parts out instead of naming them by `*`",
    ),
];

/// The last place that a message of the YAML reader names: where it began what it could not end.
fn begun(own: &str) -> At {
    let (_, place) = own.rsplit_once(" at line ")?;
    let (line, rest) = place.split_once(" column ")?;
    let column: String = rest.chars().take_while(char::is_ascii_digit).collect();
    Some((line.parse().ok()?, column.parse().ok()?))
}

/// The first character of a text that no board file holds.
fn control(text: &str) -> At {
    let strange = |c: char| c.is_control() && c != '\t' && c != '\r';
    text.split('\n').enumerate().find_map(|(line, typed)| {
        let column = typed.chars().position(strange)?;
        Some((line + 1, column + 1))
    })
}

fn yaml(text: &str, at: At, own: &str) -> Fault {
    let before: String = at
        .and_then(|(line, column)| {
            let typed = text.lines().nth(line - 1)?;
            Some(typed.chars().take(column).collect())
        })
        .unwrap_or_default();
    if before.ends_with('\t') {
        let what = "a tab, where a board file has spaces";
        return (at, what.to_owned(), "indent with spaces".to_owned());
    }
    if own.contains("expected key") && before.trim_end().contains(['\'', '"']) {
        return (
            at,
            "the text goes on behind its closing quote".to_owned(),
            "put the whole of it in single quotes, and write a single quote within it twice"
                .to_owned(),
        );
    }
    let Some((said, what, help)) = PLAIN.iter().find(|(said, _, _)| own.contains(said)) else {
        let end = own.find(" at line ").unwrap_or(own.len());
        return (
            at,
            format!("this is no YAML: {}", &own[..end]),
            "put a text with `: `, `#` or a leading `{`, `[`, `*`, `&`, `%` in single quotes"
                .to_owned(),
        );
    };
    let at = match *said {
        "control characters are not allowed" => control(text).or(at),
        "could not find expected ':'"
        | "found unexpected end of stream"
        | "did not find expected ',' or" => begun(own).or(at),
        _ => at,
    };
    (at, (*what).to_owned(), (*help).to_owned())
}

/// Asks for one value.
#[derive(Clone, Copy)]
struct Seed<'r> {
    name: &'static str,
    kind: &'static Kind,
    reader: &'r Reader,
}

impl<'de> DeserializeSeed<'de> for Seed<'_> {
    type Value = Option<Node>;

    fn deserialize<D: Deserializer<'de>>(self, deserializer: D) -> Result<Self::Value, D::Error> {
        // A key without a value says nothing.
        deserializer.deserialize_option(self)
    }
}

impl<'de> Visitor<'de> for Seed<'_> {
    type Value = Option<Node>;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.reader.wanted.set(Some((self.name, self.kind)));
        f.write_str("something else")
    }

    fn visit_none<E: Error>(self) -> Result<Self::Value, E> {
        Ok(None)
    }

    fn visit_unit<E: Error>(self) -> Result<Self::Value, E> {
        Ok(None)
    }

    fn visit_some<D: Deserializer<'de>>(self, deserializer: D) -> Result<Self::Value, D::Error> {
        match self.kind {
            Kind::Map(_) => deserializer.deserialize_map(self),
            Kind::List(..) => deserializer.deserialize_seq(self),
            Kind::Each(..) => deserializer.deserialize_any(self),
            _ => deserializer.deserialize_str(self),
        }
    }

    fn visit_str<E: Error>(self, text: &str) -> Result<Self::Value, E> {
        if let Kind::Each(..) = self.kind {
            return Err(E::invalid_type(Unexpected::Str(text), &self));
        }
        let reader = self.reader;
        if text.len() > MAX_TEXT {
            return Err(reader.say(
                format!(
                    "a text of {} bytes; at most {MAX_TEXT} are kept",
                    text.len()
                ),
                "long texts and pictures stand in files of their own beside the board file",
            ));
        }
        reader.take(text.len())?;
        let name = self.name;
        let typed = text.trim();
        Ok(Some(match self.kind {
            Kind::Count(from, to) => match typed.parse::<u32>() {
                Ok(count) if (*from..=*to).contains(&count) => Node::Count(count),
                Err(_) if typed.is_empty() => return Ok(None),
                _ => {
                    return Err(reader.say(
                        format!("`{typed}` cannot be under `{name}`"),
                        format!("write a whole number from {from} to {to}"),
                    ));
                }
            },
            Kind::Percent => match typed.parse::<f64>() {
                Ok(number) if (0.0..=100.0).contains(&number) => Node::Number(number),
                _ => {
                    return Err(reader.say(
                        format!("`{typed}` is no percentage of a photo"),
                        "places count in percent of the photo's width and height, from its upper left corner: 0 to 100",
                    ));
                }
            },
            Kind::Word(words) if !typed.is_empty() => {
                let all = words.all();
                if !all.contains(&typed) {
                    let near = near(typed, all.iter().copied());
                    return Err(reader.say(
                        format!("`{typed}` is no {}", words.noun()),
                        match near.first() {
                            Some(near) => format!("did you mean `{near}`?"),
                            None => format!("write one of: {}", all.join(", ")),
                        },
                    ));
                }
                Node::Text(typed.to_owned())
            }
            _ => Node::Text(text.to_owned()),
        }))
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut list: A) -> Result<Self::Value, A::Error> {
        let (Kind::List(kind, most) | Kind::Each(kind, most)) = self.kind else {
            return Ok(None);
        };
        let mut items = Vec::new();
        while let Some(node) = list.next_element_seed(Item {
            seed: Seed { kind, ..self },
            before: items.len(),
            most: *most,
        })? {
            self.reader.take(0)?;
            items.push(node);
        }
        Ok(Some(Node::List(items)))
    }

    fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<Self::Value, A::Error> {
        if let Kind::Each(kind, _) = self.kind {
            let one = Seed { kind, ..self }.visit_map(map)?;
            return Ok(one.map(|one| Node::List(vec![one])));
        }
        let Kind::Map(keys) = self.kind else {
            return Ok(None);
        };
        let reader = self.reader;
        reader.take(keys.len() * size_of::<Option<Node>>())?;
        let mut values: Vec<Option<Node>> = keys.iter().map(|_| None).collect();
        let mut met = vec![false; keys.len()];
        while let Some(at) = map.next_key_seed(Name {
            keys,
            met: &mut met,
            reader,
        })? {
            values[at] = map.next_value_seed(Seed {
                name: keys[at].name,
                kind: &keys[at].kind,
                reader,
            })?;
        }
        if let Some((key, _)) = keys
            .iter()
            .zip(&values)
            .find(|(key, value)| key.required && value.is_none())
        {
            return Err(reader.say(
                format!("`{}` is missing", key.name),
                format!("add `{}: ...`: {}", key.name, key.what),
            ));
        }
        Ok(Some(Node::Map(Map { keys, values })))
    }
}

/// An item of a list of bounded length.
struct Item<'r> {
    seed: Seed<'r>,
    /// How many stand before it.
    before: usize,
    most: usize,
}

impl<'de> DeserializeSeed<'de> for Item<'_> {
    type Value = Node;

    fn deserialize<D: Deserializer<'de>>(self, deserializer: D) -> Result<Node, D::Error> {
        let Item { seed, before, most } = self;
        if before >= most {
            return Err(seed.reader.say(
                format!("more than {most} items under `{}`", seed.name),
                if seed.name == "parts" {
                    "a board has fewer; `etchlore bulk` decodes long lists"
                } else {
                    "a board file has fewer"
                },
            ));
        }
        match seed.deserialize(deserializer)? {
            Some(node) => Ok(node),
            None => Err(seed.reader.say(
                format!("item {} under `{}` is empty", before + 1, seed.name),
                "write something behind the dash, or take it out",
            )),
        }
    }
}

/// A key, found in the table.
struct Name<'k, 'r> {
    keys: &'static [Key],
    met: &'k mut [bool],
    reader: &'r Reader,
}

impl<'de> DeserializeSeed<'de> for Name<'_, '_> {
    type Value = usize;

    fn deserialize<D: Deserializer<'de>>(self, deserializer: D) -> Result<usize, D::Error> {
        deserializer.deserialize_str(self)
    }
}

impl<'de> Visitor<'de> for Name<'_, '_> {
    type Value = usize;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.reader.wanted.set(Some(("", &Kind::Text)));
        f.write_str("a key")
    }

    fn visit_str<E: Error>(self, text: &str) -> Result<usize, E> {
        let names = || self.keys.iter().map(|key| key.name);
        let Some(at) = names().position(|name| name == text) else {
            let short: String = text.chars().take(60).collect();
            let help = match near(&short, names()).first() {
                Some(near) => format!("did you mean `{near}`?"),
                None => format!("keys here: {}", names().collect::<Vec<_>>().join(", ")),
            };
            return Err(self
                .reader
                .say(format!("no key is called `{short}` here"), help));
        };
        if std::mem::replace(&mut self.met[at], true) {
            return Err(self.reader.say(
                format!("`{text}` stands twice"),
                "keep one of the two; what belongs to another part begins with a dash",
            ));
        }
        Ok(at)
    }
}
