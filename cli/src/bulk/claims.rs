//! What the columns beside a number claim, held against what the number says.
//!
//! A contradiction is told only where both sides speak of the same thing and no reading of the words lets them agree: a column that says
//! more, less or something else is no contradiction.

use etchlore_engine::model::{Family, MakerMarkKind, RuleSet};
use etchlore_engine::value::{Base, Calendar, Interval, Value, show};
use jiff::civil::Date;

use super::answer::Facts;
use super::look::{Role, role};
use super::quantities::{Claim, claims, package};

/// A contradiction.
#[derive(Debug, Clone)]
pub(crate) struct Finding {
    /// The column.
    pub(crate) column: String,
    /// What it says.
    pub(crate) says: String,
    /// What the number says.
    pub(crate) number_says: String,
}

/// The columns beside the mark that say something of the part.
#[derive(Debug, Default)]
pub(crate) struct Beside {
    columns: Vec<(usize, Role, String)>,
    /// How four digits of the date columns are to be read.
    order: Order,
}

/// What comes first in a date of four digits.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
enum Order {
    /// Not told.
    #[default]
    Either,
    Year,
    Week,
}

/// The sizes of memory that one part may have; a description that gives one of them is right.
const MEMORIES: &[&str] = &["density", "die_density", "flash", "ram", "eeprom"];

/// Other fields that a description may give, with how their unit is told from others.
const DESCRIBED: &[(&str, Base)] = &[
    ("resistance", Base::Ohm),
    ("capacitance", Base::Farad),
    ("inductance", Base::Henry),
    ("frequency", Base::Hertz),
    ("tolerance", Base::Percent),
    ("output_voltage", Base::Volt),
    ("zener_voltage", Base::Volt),
    ("reference_voltage", Base::Volt),
    ("rated_voltage", Base::Volt),
    ("width", Base::Count),
];

impl Beside {
    /// Finds them by their names; a column whose name says nothing is a maker's where most of its cells name one.
    pub(crate) fn find(
        names: &[String],
        body: &[Vec<String>],
        marks: &[usize],
        rules: &RuleSet,
        seen: Date,
    ) -> Beside {
        let mut order = Order::Either;
        let width = body.iter().map(Vec::len).max().unwrap_or(0);
        let mut columns = Vec::new();
        for column in (0..width).filter(|column| !marks.contains(column)) {
            let name = names.get(column).map_or("", String::as_str);
            let cells: Vec<&str> = body
                .iter()
                .filter_map(|row| row.get(column))
                .map(|cell| cell.trim())
                .filter(|cell| !cell.is_empty())
                .collect();
            let known = cells
                .iter()
                .filter(|cell| makers(rules, cell).next().is_some())
                .count();
            let role = match role(name) {
                Some(role @ (Role::Maker | Role::Description | Role::Package)) => Some(role),
                Some(role @ (Role::Date | Role::Origin)) => Some(role),
                _ if cells.len() > 2 && known * 2 > cells.len() => Some(Role::Maker),
                _ => None,
            };
            if role == Some(Role::Date) {
                order = order_of(&cells, seen);
            }
            if let Some(role) = role {
                let name = match name.trim() {
                    "" => format!("column {}", column + 1),
                    name => name.to_owned(),
                };
                columns.push((column, role, name));
            }
        }
        Beside { columns, order }
    }

    pub(crate) fn is_empty(&self) -> bool {
        self.columns.is_empty()
    }

    /// The names of the columns, for people.
    pub(crate) fn names(&self) -> Vec<&str> {
        self.columns
            .iter()
            .map(|(_, _, name)| name.as_str())
            .collect()
    }

    /// The contradictions of a row.
    pub(crate) fn compare<'r>(
        &self,
        rules: &RuleSet,
        facts: &Facts,
        seen: Date,
        text: impl Fn(usize) -> std::borrow::Cow<'r, str>,
    ) -> Vec<Finding> {
        let family = &rules.families[facts.family.index()];
        let mut found = Vec::new();
        for (column, role, name) in &self.columns {
            let cell = text(*column);
            let cell = cell.trim();
            if cell.is_empty() || cell.len() > 2_000 {
                continue;
            }
            let against = match role {
                Role::Maker => maker(rules, family, cell),
                Role::Description => described(facts, cell),
                Role::Package => packaged(facts, cell),
                Role::Date => dated(facts, family, seen, cell, self.order),
                Role::Origin => origin(facts, cell),
                Role::Mark | Role::Other => None,
            };
            found.extend(against.map(|(says, number_says)| Finding {
                column: name.clone(),
                says,
                number_says,
            }));
        }
        found
    }
}

type Against = Option<(String, String)>;

/// The letters and digits of a text, as capitals.
fn plain(text: &str) -> String {
    text.chars()
        .filter(|c| c.is_alphanumeric())
        .flat_map(char::to_uppercase)
        .collect()
}

/// Words that are part of many makers' names and tell none apart.
const COMMON: &[&str] = &[
    "INC",
    "CORP",
    "CORPORATION",
    "LTD",
    "LIMITED",
    "CO",
    "COMPANY",
    "GMBH",
    "AG",
    "AS",
    "SA",
    "NV",
    "BV",
    "PLC",
    "LLC",
    "KK",
    "SEMICONDUCTOR",
    "SEMICONDUCTORS",
    "SEMI",
    "TECHNOLOGY",
    "TECHNOLOGIES",
    "ELECTRONICS",
    "ELECTRONIC",
    "INTERNATIONAL",
    "INTEGRATED",
    "MICROELECTRONICS",
    "SYSTEMS",
    "COMPONENTS",
    "MEMORY",
    "DEVICES",
    "INDUSTRIES",
    "GROUP",
    "THE",
    "OF",
    "AND",
];

/// All names of a maker, the names of its plants apart.
fn names_of(rules: &RuleSet, maker: usize) -> impl Iterator<Item = &str> {
    let maker = &rules.makers[maker];
    let marks = maker
        .marks
        .iter()
        .filter(|mark| !matches!(mark.kind, MakerMarkKind::Site | MakerMarkKind::Logo))
        .map(|mark| mark.text.as_str());
    marks.chain([maker.name.as_str(), maker.title.as_str()])
}

/// The words that tell a name from others; all words where none does.
fn telling(name: &str) -> Vec<String> {
    let words: Vec<String> = name
        .split(|c: char| !c.is_alphanumeric())
        .filter(|word| !word.is_empty())
        .map(|word| word.to_uppercase())
        .collect();
    let own: Vec<String> = words
        .iter()
        .filter(|word| !COMMON.contains(&word.as_str()))
        .cloned()
        .collect();
    if own.is_empty() { words } else { own }
}

/// Whether a cell is a maker's name: its telling words, its name in one word, or its initials.
fn is_called(cell: &str, name: &str) -> bool {
    let (cell_plain, name_plain) = (plain(cell), plain(name));
    if cell_plain == name_plain {
        return true;
    }
    let (words, own) = (telling(cell), telling(name));
    let all_in = |some: &[String], all: &[String]| {
        !some.is_empty() && some.iter().all(|word| word.len() > 1 && all.contains(word))
    };
    if all_in(&own, &words) || all_in(&words, &own) {
        return true;
    }
    let initials: String = name
        .split(|c: char| !c.is_alphanumeric())
        .filter_map(|word| word.chars().next())
        .flat_map(char::to_uppercase)
        .collect();
    initials.len() > 1 && words.first().is_some_and(|word| *word == initials)
}

/// The makers that a cell names.
fn makers<'a>(rules: &'a RuleSet, cell: &'a str) -> impl Iterator<Item = usize> + 'a {
    (0..rules.makers.len())
        .filter(move |maker| names_of(rules, *maker).any(|name| is_called(cell, name)))
}

fn maker(rules: &RuleSet, family: &Family, cell: &str) -> Against {
    let own = family.maker?.index();
    let mut named = makers(rules, cell).peekable();
    // A name that no rule knows may be a shop, a brand, a firm that made to order.
    named.peek()?;
    let sources = family
        .second_source
        .as_ref()
        .and_then(|(first, _)| rules.families[first.index()].maker);
    let related = |other: usize| {
        other == own
            || sources.is_some_and(|source| source.index() == other)
            || names_of(rules, other)
                .any(|name| names_of(rules, own).any(|mine| is_called(name, mine)))
    };
    if named.any(related) {
        return None;
    }
    Some((cell.to_owned(), rules.makers[own].title.clone()))
}

fn described(facts: &Facts, cell: &str) -> Against {
    let all = claims(cell);
    let of = |name: &str| {
        let value = facts.values.iter().find(|(field, _)| field == name);
        value.map(|(_, value)| value)
    };
    let memories: Vec<&Value> = MEMORIES.iter().filter_map(|name| of(name)).collect();
    let found = against(&all, "density", Base::Bit, &memories);
    if found.is_some() {
        return found;
    }
    for (name, base) in DESCRIBED {
        let Some(value) = of(name) else { continue };
        let count = all
            .iter()
            .filter(|claim| claim.is_about(name, *base))
            .count();
        // One voltage of several may be any.
        if *base == Base::Volt && count > 1 && *name != "rated_voltage" {
            continue;
        }
        let found = against(&all, name, *base, &[value]);
        if found.is_some() {
            return found;
        }
    }
    packaged_in_words(facts, cell)
}

/// Claims about a field none of which agrees with any of its values.
fn against(all: &[Claim], name: &str, base: Base, values: &[&Value]) -> Against {
    let about: Vec<&Claim> = all
        .iter()
        .filter(|claim| claim.is_about(name, base))
        .collect();
    let agrees = |claim: &&Claim| values.iter().any(|value| claim.agrees(value));
    let first = values.first()?;
    if about.is_empty() || about.iter().any(agrees) {
        return None;
    }
    let says: Vec<&str> = about.iter().map(|claim| claim.text.as_str()).collect();
    Some((says.join(", "), said(first)))
}

/// A value for people, with what it is of where the unit does not tell.
fn said(value: &Value) -> String {
    match value {
        Value::Quantity(quantity) => show(quantity.value, quantity.base),
        other => other.show(),
    }
}

/// The size of a chip part among the words of a description.
fn packaged_in_words(facts: &Facts, cell: &str) -> Against {
    let own = value_text(facts, "package").and_then(package)?;
    if !own.is_chip() {
        return None;
    }
    let words = cell.split(|c: char| !c.is_ascii_alphanumeric());
    let sizes: Vec<&str> = words
        .filter(|word| package(word).is_some_and(|size| size.is_chip()))
        .collect();
    match sizes[..] {
        [size] if package(size).is_some_and(|size| !size.fits(&own)) => {
            Some((size.to_owned(), value_text(facts, "package")?.to_owned()))
        }
        _ => None,
    }
}

fn value_text<'f>(facts: &'f Facts, name: &str) -> Option<&'f str> {
    facts.values.iter().find_map(|(field, value)| match value {
        Value::Text(text) if field == name => Some(text.as_str()),
        _ => None,
    })
}

fn packaged(facts: &Facts, cell: &str) -> Against {
    let own = value_text(facts, "package")?;
    let (mut known, claimed) = (package(own)?, package(cell)?);
    let pins = facts.values.iter().find_map(|(field, value)| match value {
        Value::Quantity(pins) if field == "pins" => Some(pins.value as u32),
        _ => None,
    });
    known.pins = known.pins.or(pins);
    (!known.fits(&claimed)).then(|| (cell.to_owned(), own.to_owned()))
}

/// How most dates of a column can be read, where one way reads clearly more of them.
fn order_of(cells: &[&str], seen: Date) -> Order {
    let read = |order: Order| {
        let fits = |cell: &&&str| is_four(cell) && !dates(cell, seen, order).is_empty();
        cells.iter().filter(fits).count()
    };
    let (year, week) = (read(Order::Year), read(Order::Week));
    if year * 4 > week * 5 {
        Order::Year
    } else if week * 4 > year * 5 {
        Order::Week
    } else {
        Order::Either
    }
}

fn is_four(cell: &str) -> bool {
    cell.len() == 4 && cell.bytes().all(|byte| byte.is_ascii_digit())
}

/// What a date column can mean: `2315` is a week of 2023 or, less often, week 23 of a year.
fn dates(cell: &str, seen: Date, order: Order) -> Vec<Interval> {
    if !is_four(cell) {
        return Interval::parse(cell).into_iter().collect();
    }
    let pair = |at: usize| cell[at..at + 2].parse::<i16>().unwrap_or(0);
    let week = |year: i16, week: i16| {
        let year = if year > seen.year() % 100 {
            1900 + year
        } else {
            2000 + year
        };
        // Some makers count a week 53 in every year; none dated parts so before the seventies.
        let calendar = Calendar::Iso;
        calendar
            .week(year, week)
            .or_else(|| calendar.week(year, week - 1).filter(|_| week == 53))
            .filter(|dates| dates.from.year() >= 1970)
    };
    let first = (order != Order::Week).then(|| week(pair(0), pair(2)));
    let second = (order != Order::Year).then(|| week(pair(2), pair(0)));
    [first, second].into_iter().flatten().flatten().collect()
}

fn dated(facts: &Facts, family: &Family, seen: Date, cell: &str, order: Order) -> Against {
    let claimed = dates(cell, seen, order);
    if claimed.is_empty() {
        return is_four(cell).then(|| (cell.to_owned(), "no year has such a week".to_owned()));
    }
    let own = facts.values.iter().find_map(|(field, value)| match value {
        Value::Dates(dates) if field == "date" => Some(*dates),
        _ => None,
    });
    if let Some(own) = own {
        let meets = |one: &Interval| one.from <= own.to && own.from <= one.to;
        return (!claimed.iter().any(meets)).then(|| (cell.to_owned(), own.show()));
    }
    let late = claimed.iter().all(|one| one.from > seen);
    if late {
        return Some((cell.to_owned(), format!("the day of reading is {seen}")));
    }
    let before = |since: Date| claimed.iter().all(|one| one.to < since);
    let after = |until: Date| claimed.iter().all(|one| one.from > until);
    if let Some(since) = family.window.since.filter(|since| before(*since)) {
        return Some((cell.to_owned(), format!("made since {since}")));
    }
    let until = family.window.until.filter(|until| after(*until))?;
    Some((cell.to_owned(), format!("made until {until}")))
}

/// Countries as lists write them: ISO 3166 codes and usual names.
const COUNTRIES: &[&[&str]] = &[
    &["CN", "CHINA", "PRC"],
    &["TW", "TAIWAN", "ROC"],
    &["MY", "MALAYSIA"],
    &["PH", "PHILIPPINES"],
    &["TH", "THAILAND"],
    &["KR", "KOREA", "SOUTHKOREA", "REPUBLICOFKOREA"],
    &["JP", "JAPAN"],
    &["US", "USA", "UNITEDSTATES"],
    &["DE", "GERMANY"],
    &["SG", "SINGAPORE"],
    &["MX", "MEXICO"],
    &["ID", "INDONESIA"],
    &["PT", "PORTUGAL"],
    &["IE", "IRELAND"],
    &["IT", "ITALY"],
    &["FR", "FRANCE"],
    &["GB", "UK", "UNITEDKINGDOM", "SCOTLAND"],
    &["MT", "MALTA"],
    &["MA", "MOROCCO"],
    &["VN", "VIETNAM"],
    &["IN", "INDIA"],
    &["AT", "AUSTRIA"],
    &["NO", "NORWAY"],
    &["SE", "SWEDEN"],
    &["NL", "NETHERLANDS"],
    &["HK", "HONGKONG"],
    &["IL", "ISRAEL"],
    &["CR", "COSTARICA"],
];

fn country(text: &str) -> Option<usize> {
    let text = plain(text);
    let text = text.strip_prefix("MADEIN").unwrap_or(&text);
    COUNTRIES.iter().position(|names| names.contains(&text))
}

fn origin(facts: &Facts, cell: &str) -> Against {
    let own = value_text(facts, "assembly_country")?;
    let (known, claimed) = (country(own)?, country(cell)?);
    (known != claimed).then(|| (cell.to_owned(), own.to_owned()))
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::{Order, country, dates, is_called, order_of};
    use jiff::civil::date;

    #[test]
    fn makers_are_called_many_names() {
        for (cell, name) in [
            ("HALVORSEN MEMORY", "Halvorsen Memory AS"),
            ("Halvorsen", "Halvorsen Memory AS"),
            ("TI", "Texas Instruments"),
            ("TEXAS INSTRUMENTS INC.", "Texas Instruments"),
            ("Microchip ", "Microchip Technology"),
            ("OSLO SONAR", "Oslo Sonar"),
        ] {
            assert!(is_called(cell, name), "{cell} {name}");
        }
        for (cell, name) in [
            ("Lindqvist Memory", "Halvorsen Memory AS"),
            ("Memory", "Halvorsen Memory AS"),
            ("Any", "Texas Instruments"),
            ("Vishay Semiconductors", "onsemi Semiconductor"),
        ] {
            assert!(!is_called(cell, name), "{cell} {name}");
        }
    }

    #[test]
    fn dates_have_two_readings() {
        let seen = date(2026, 11, 25);
        let read = |cell, order| -> Vec<String> {
            let all = dates(cell, seen, order).into_iter();
            all.map(|dates| dates.show()).collect()
        };
        assert_eq!(read("2315", Order::Either), ["2023-W15", "2015-W23"]);
        assert_eq!(read("2315", Order::Year), ["2023-W15"]);
        assert!(read("2360", Order::Either).is_empty());
        assert_eq!(read("2023-W45", Order::Year), ["2023-W45"]);
        assert!(read("soon", Order::Either).is_empty());
        let column = ["2315", "2248", "2135", "1951"];
        assert_eq!(order_of(&column, seen), Order::Year);
        let column = ["1523", "4822", "3521", "5119"];
        assert_eq!(order_of(&column, seen), Order::Week);
        assert_eq!(country("Made in China"), country("CN"));
        assert!(country("somewhere").is_none());
    }
}
