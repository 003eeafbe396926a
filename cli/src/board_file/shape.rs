//! What belongs where in a board file: the one table that the reader, the JSON Schema and the start file go by.

use etchlore_engine::board::Grade;
use etchlore_engine::check::vocabulary::FUNCTIONS;

/// A key of a board file.
#[derive(Debug)]
pub(super) struct Key {
    pub(super) name: &'static str,
    /// For people.
    pub(super) what: &'static str,
    pub(super) kind: Kind,
    /// Whether a file without it is refused.
    pub(super) required: bool,
    /// A value for the start file.
    pub(super) example: &'static str,
}

/// What a value is.
#[derive(Debug)]
pub(super) enum Kind {
    /// Any scalar, as typed.
    Text,
    /// A day, month, week, year or a stretch of them.
    Date,
    /// A whole number within bounds.
    Count(u32, u32),
    /// Percent of a photo.
    Percent,
    /// One of some words.
    Word(Words),
    /// Keys with values.
    Map(&'static [Key]),
    /// At most so many.
    List(&'static Kind, usize),
    /// One, or a list of at most so many.
    Each(&'static Kind, usize),
}

/// Words to choose from.
#[derive(Debug, Clone, Copy)]
pub(super) enum Words {
    Grade,
    State,
    Function,
}

impl Words {
    /// All of them.
    pub(super) fn all(self) -> Vec<&'static str> {
        match self {
            Words::Grade => Grade::ALL.iter().map(|(_, word)| *word).collect(),
            Words::State => vec!["unmarked", "not examined"],
            Words::Function => {
                // The general ones as well: `memory` where only that is seen.
                let mut all: Vec<&str> = FUNCTIONS
                    .iter()
                    .flat_map(|word| {
                        let ends = word.match_indices('/').map(|(at, _)| &word[..at]);
                        ends.chain([*word]).collect::<Vec<_>>()
                    })
                    .collect();
                all.sort_unstable();
                all.dedup();
                all
            }
        }
    }

    /// What one of them is.
    pub(super) fn noun(self) -> &'static str {
        match self {
            Words::Grade => "grade",
            Words::State => "state of a part",
            Words::Function => "function",
        }
    }
}

const fn key(name: &'static str, what: &'static str, kind: Kind, example: &'static str) -> Key {
    Key {
        name,
        what,
        kind,
        required: false,
        example,
    }
}

const fn must(name: &'static str, what: &'static str, kind: Kind, example: &'static str) -> Key {
    Key {
        name,
        what,
        kind,
        required: true,
        example,
    }
}

const TEXTS: Kind = Kind::List(&Kind::Text, 1_000);

/// The most parts of a board; a longer list is a parts list.
pub(super) const MAX_PARTS: usize = 20_000;

/// The root of a file.
pub(super) const BOARD: Kind = Kind::Map(&[
    must("product", "what was taken apart", Kind::Text, ""),
    key("generation", "which generation of it", Kind::Text, "\"1\""),
    key(
        "seller",
        "the firm that sells it, by its name in the rules: it may have numbers of its own on parts of others",
        Kind::Text,
        "oslo_sonar",
    ),
    key(
        "seen",
        "day of reading: 2026-11-25; today where nothing is said",
        Kind::Date,
        "2026-11-25",
    ),
    key(
        "built",
        "when it was built, as far as known: 2026-02..2026-04, 2026-W12",
        Kind::Date,
        "2026-02..2026-04",
    ),
    key(
        "size",
        "width and height of the board",
        Kind::Text,
        "120 x 80 mm",
    ),
    key(
        "claims",
        "what the seller says of it; it is held against the parts",
        Kind::Map(CLAIMS),
        "",
    ),
    key(
        "photos",
        "photos of the board, beside this file or in folders under it",
        Kind::List(&Kind::Map(PHOTO), 1_000),
        "",
    ),
    key(
        "notes",
        "free words of the lab, not for clients",
        Kind::Text,
        "Lent until Christmas.",
    ),
    key(
        "parts",
        "one item for each part",
        Kind::List(&Kind::Map(PART), MAX_PARTS),
        "",
    ),
]);

const CLAIMS: &[Key] = &[
    key("storage", "what keeps its content", Kind::Text, "8 GB"),
    key("memory", "working memory", Kind::Text, "128 MB"),
    key(
        "bands",
        "radio bands, with commas between",
        Kind::Text,
        "433 MHz, 868 MHz",
    ),
];

const PHOTO: &[Key] = &[
    must(
        "name",
        "the name that parts call it by",
        Kind::Text,
        "board",
    ),
    must(
        "file",
        "where it lies, from the folder of this file",
        Kind::Text,
        "board.jpg",
    ),
];

const PART: &[Key] = &[
    must(
        "at",
        "designators or positions, with commas between; the first names the part",
        Kind::Text,
        "U1, U2",
    ),
    key(
        "on",
        "where it stands on a photo, in percent of its width and height from the upper left corner; a list in the order of the positions",
        Kind::Each(&Kind::Map(ON), 10_000),
        "",
    ),
    key(
        "quantity",
        "how many there are; as many as positions where nothing is said",
        Kind::Count(1, 1_000_000),
        "2",
    ),
    key(
        "inside",
        "the position of the module or can that it is inside of",
        Kind::Text,
        "",
    ),
    key("package", "package seen", Kind::Text, "SOIC-8"),
    key("pins", "terminals counted", Kind::Count(1, 100_000), "8"),
    key("body", "body measured", Kind::Text, "8 x 10 x 1.2 mm"),
    key(
        "logo",
        "logo seen, in words",
        Kind::Text,
        "a tooth over a wave",
    ),
    key("maker", "maker's name seen", Kind::Text, "Halvorsen"),
    key(
        "function",
        "function seen or followed on the board",
        Kind::Word(Words::Function),
        "memory/dram",
    ),
    key(
        "readings",
        "what was read: one item for each form, specimen and reader",
        Kind::List(&Kind::Map(READING), 10_000),
        "",
    ),
    key(
        "observed",
        "what was seen otherwise",
        Kind::Map(OBSERVED),
        "",
    ),
    key(
        "notes",
        "free words of the lab, not for clients",
        Kind::Text,
        "Under the shield.",
    ),
    key(
        "decision",
        "what the analyst decided",
        Kind::Map(DECISION),
        "",
    ),
];

const ON: &[Key] = &[
    key(
        "photo",
        "name of the photo, where there are several",
        Kind::Text,
        "board",
    ),
    must("x", "left edge", Kind::Percent, "22"),
    must("y", "upper edge", Kind::Percent, "18.5"),
    must("width", "its width", Kind::Percent, "14"),
    must("height", "its height", Kind::Percent, "12"),
];

/// One of the forms, and what goes with it. The forms are those of the rules, in their order.
const READING: &[Key] = &[
    key(
        "code",
        "an ordering code, from a list or a label",
        Kind::Text,
        "",
    ),
    key("mark", "a mark, wherever it stands", Kind::Text, ""),
    key(
        "top",
        "the top mark, ` | ` between lines; a text with `: `, `#` or a leading `{ [ * & % @` is put in single quotes",
        Kind::Text,
        "'HMS4D1G16A-F6 | 0914 K2Z7M'",
    ),
    key("bottom", "what stands on the underside", Kind::Text, ""),
    key("side", "what stands on a side", Kind::Text, ""),
    key("die", "what stands on a die", Kind::Text, ""),
    key("lid", "what stands on the lid of a module", Kind::Text, ""),
    key("label", "what stands on a label", Kind::Text, ""),
    key("matrix", "what a matrix code says", Kind::Text, ""),
    key("short", "a short code on a small package", Kind::Text, ""),
    key("any", "a form that nobody noted", Kind::Text, ""),
    key(
        "number",
        "which die of several, from 1",
        Kind::Count(1, 1_000),
        "",
    ),
    key(
        "specimen",
        "which specimen, from 1",
        Kind::Count(1, 1_000_000),
        "1",
    ),
    key("reader", "who read it", Kind::Text, "Ingrid Vold"),
    key(
        "photo",
        "the photo it was read from, beside this file",
        Kind::Text,
        "u1.jpg",
    ),
    key(
        "symbols",
        "symbols seen that are not in the lines: dot, e3, m",
        TEXTS,
        "[dot]",
    ),
];

const OBSERVED: &[Key] = &[
    key(
        "dies",
        "dies counted by X-ray or under the microscope",
        Kind::Count(1, 1_000),
        "2",
    ),
    key(
        "value",
        "a value measured, with its unit",
        Kind::Text,
        "10 kohm",
    ),
    key(
        "state",
        "unmarked, or not examined",
        Kind::Word(Words::State),
        "unmarked",
    ),
    key(
        "other",
        "anything else, a list: what a bus said, how it is connected",
        TEXTS,
        "[answers on the bus at 50]",
    ),
];

const DECISION: &[Key] = &[
    key(
        "is",
        "ordering code, as far as decided",
        Kind::Text,
        "HMS4D1G16A-FC6",
    ),
    key("family", "family of the rules", Kind::Text, "hm_sdram"),
    key("maker", "maker, by name", Kind::Text, "halvorsen"),
    must(
        "grade",
        "how sure: confirmed, probable, tentative, maker only, unknown",
        Kind::Word(Words::Grade),
        "confirmed",
    ),
    key(
        "basis",
        "on what: print, decap, purchase, measurement, document",
        Kind::Text,
        "decap",
    ),
    key("why", "why", Kind::Text, "two dies HM512 under the lid"),
    key("who", "who decided", Kind::Text, "Ingrid Vold"),
];
