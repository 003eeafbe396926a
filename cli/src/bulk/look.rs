//! What a column seems to hold, from its name and its cells alone.

use etchlore_engine::analyse::shape;

/// What a column is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Role {
    Mark,
    Maker,
    Description,
    Package,
    Date,
    Origin,
    /// A reference, a quantity, a price, a link: anything that is not of the part itself.
    Other,
}

/// Names of columns by role: common practice of parts lists, no source. A name of several words counts where all of them stand in the header.
const WORDS: &[(Role, &[&str])] = &[
    (
        Role::Mark,
        &[
            "mpn",
            "mark",
            "marking",
            "part number",
            "partnumber",
            "part no",
            "partno",
            "part marking",
            "topmark",
            "p n",
            "pn",
            "ordering code",
            "order code",
            "type number",
            "bestellnummer",
            "typ",
            "teilenummer",
        ],
    ),
    (
        Role::Maker,
        &[
            "manufacturer",
            "manufacturers",
            "manu",
            "mfr",
            "mfg",
            "maker",
            "brand",
            "hersteller",
            "vendor",
            "make",
        ],
    ),
    (
        Role::Description,
        &[
            "description",
            "desc",
            "comment",
            "note",
            "notes",
            "beschreibung",
            "value",
            "details",
        ],
    ),
    (
        Role::Package,
        &[
            "package",
            "footprint",
            "case",
            "housing",
            "bauform",
            "gehäuse",
        ],
    ),
    (
        Role::Date,
        &[
            "date code",
            "datecode",
            "dc",
            "d c",
            "date of manufacture",
            "week code",
        ],
    ),
    (
        Role::Origin,
        &["origin", "country", "coo", "made in", "ursprung"],
    ),
    (
        Role::Other,
        &[
            "qty",
            "quantity",
            "count",
            "menge",
            "reference",
            "references",
            "ref",
            "refdes",
            "designator",
            "pos",
            "position",
            "item",
            "line",
            "price",
            "cost",
            "url",
            "link",
            "datasheet",
            "library",
            "lib",
            "side",
            "rev",
            "bin",
            "stock",
            "supplier",
            "distributor",
        ],
    ),
];

/// The role that a column's name speaks for.
pub(crate) fn role(name: &str) -> Option<Role> {
    let words = words(name);
    // The most words decide: `manufacturer part number` is a number.
    WORDS
        .iter()
        .flat_map(|(role, names)| names.iter().map(move |known| (*role, *known)))
        .filter_map(|(role, known)| {
            let known: Vec<&str> = known.split(' ').collect();
            let all = words
                .windows(known.len())
                .any(|window| window.iter().zip(&known).all(|(a, b)| a == b));
            all.then_some((known.len() * 2 + usize::from(role == Role::Mark), role))
        })
        .max_by_key(|(words, _)| *words)
        .map(|(_, role)| role)
}

/// The words of a name: parted by anything but letters and digits, and where a small letter meets a capital.
pub(crate) fn words(name: &str) -> Vec<String> {
    let mut words = vec![String::new()];
    let mut before = ' ';
    for c in name.chars() {
        if !c.is_alphanumeric() || (before.is_lowercase() && c.is_uppercase()) {
            words.push(String::new());
        }
        // A number behind a name counts columns of one kind: `MPN2`.
        if c.is_alphabetic() {
            words
                .last_mut()
                .into_iter()
                .for_each(|word| word.extend(c.to_lowercase()));
        }
        before = c;
    }
    words.retain(|word| !word.is_empty());
    words
}

/// How much a cell looks like what a maker prints or lists, from 0 to 1.
pub(crate) fn like_a_number(cell: &str) -> f64 {
    let cell = cell.trim();
    let length = cell.chars().count();
    if !(3..=60).contains(&length) || cell.contains("://") || cell.contains("www.") {
        return 0.0;
    }
    let word = cell
        .split([' ', ',', ';'])
        .max_by_key(|word| word.len())
        .unwrap_or(cell);
    let words = cell.split_whitespace().count();
    let digits = word.chars().filter(char::is_ascii_digit).count();
    let letters = word.chars().filter(char::is_ascii_alphabetic).count();
    let small = word.chars().filter(char::is_ascii_lowercase).count();
    let other = word.chars().count() - digits - letters;
    if digits == 0 {
        return if words == 1 && small == 0 && letters > 3 {
            0.2
        } else {
            0.0
        };
    }
    if letters == 0 {
        return if digits >= 6 { 0.3 } else { 0.0 };
    }
    let mut like: f64 = match word.len() {
        0..=4 => 0.3,
        5..=6 => 0.6,
        7..=24 => 1.0,
        _ => 0.5,
    };
    if is_quantity(word) || is_reference(word) {
        like *= 0.15;
    }
    like *= match words {
        1 => 1.0,
        2 => 0.5,
        3 => 0.3,
        _ => 0.2,
    };
    if small * 2 > letters {
        like *= 0.5;
    }
    // Names of footprints and libraries.
    if word.contains(['_', ':']) {
        like *= 0.25;
    } else if word.contains('.') && !word.ends_with('.') && other > 1 {
        like *= 0.6;
    }
    like
}

/// `10uF`, `4.7K`, `16MHz`, `3.3V`.
fn is_quantity(word: &str) -> bool {
    let number = word
        .find(|c: char| !c.is_ascii_digit() && c != '.' && c != ',')
        .unwrap_or(word.len());
    let rest = word.len() - number;
    number > 0 && (1..=3).contains(&rest) && word[number..].chars().all(char::is_alphabetic)
}

/// `C12`, `IC3`, `R1-R4`: the name of a place on a board.
fn is_reference(word: &str) -> bool {
    let mut parts = word.split('-');
    parts.all(|part| {
        let letters = part
            .find(|c: char| !c.is_ascii_alphabetic())
            .unwrap_or(part.len());
        (1..=3).contains(&letters)
            && part.len() > letters
            && part.len() - letters <= 3
            && part[letters..].bytes().all(|b| b.is_ascii_digit())
    })
}

/// How much the cells of a column are of one make, from 0 to 1: numbers that one firm gives out in a row, not those of many makers.
pub(crate) fn uniform(cells: &[&str]) -> f64 {
    if cells.len() < 4 {
        return 0.0;
    }
    let mut shapes: Vec<String> = cells
        .iter()
        .map(|cell| {
            // Without the letters that begin a number: those are what makers differ in.
            shape(&format!("0{}", cell.trim())).replacen('#', "", 1)
        })
        .collect();
    shapes.sort_unstable();
    let most = shapes
        .chunk_by(|a, b| a == b)
        .map(<[String]>::len)
        .max()
        .unwrap_or(0);
    // The same end behind a dash marks whose number it is.
    let mut ends: Vec<&str> = cells
        .iter()
        .filter_map(|cell| cell.trim().rsplit_once('-'))
        .map(|(_, end)| end)
        .filter(|end| end.len() > 1 && end.bytes().all(|byte| byte.is_ascii_uppercase()))
        .collect();
    ends.sort_unstable();
    let same = ends
        .chunk_by(|a, b| a == b)
        .map(<[&str]>::len)
        .max()
        .unwrap_or(0);
    most.max(same) as f64 / cells.len() as f64
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::{Role, like_a_number, role, uniform};

    #[test]
    fn names_of_columns() {
        for (name, expected) in [
            ("Mfg_Part_No", Some(Role::Mark)),
            ("Manufacturer Part Number", Some(Role::Mark)),
            ("MPN2", Some(Role::Mark)),
            ("Part marking", Some(Role::Mark)),
            ("Mfr (as printed)", Some(Role::Maker)),
            ("DESCRIPTION", Some(Role::Description)),
            ("Date Code", Some(Role::Date)),
            ("Qty", Some(Role::Other)),
            ("QuantityPerBoard", Some(Role::Other)),
            ("Footprint", Some(Role::Package)),
            ("Country of origin", Some(Role::Origin)),
            ("Zorro", None),
        ] {
            assert_eq!(role(name), expected, "{name}");
        }
    }

    #[test]
    fn cells_that_look_like_numbers() {
        for cell in ["HMS4D1G16A-F6", "W25Q128JVSIQ", "LQR5-3V3D", "TVK864N-16QI"] {
            assert!(like_a_number(cell) > 0.8, "{cell}");
        }
        for cell in [
            "10uF",
            "C1, C2, C3",
            "memory, 1 Gbit?",
            "http://example.org/A12345",
            "12",
            "",
            "Capacitors_SMD:C_0805",
            "see drawing 5",
        ] {
            assert!(like_a_number(cell) < 0.5, "{cell} {}", like_a_number(cell));
        }
        assert!(
            uniform(&[
                "399-5089-1-ND",
                "718-1118-1-ND",
                "768-1007-1-ND",
                "296-1-1-ND"
            ]) > 0.9
        );
        assert!(uniform(&["HMS4D1G16A-F6", "LQR5-3V3D", "25Q128JVSQ", "SKH3W"]) <= 0.5);
    }
}
