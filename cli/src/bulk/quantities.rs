//! Quantities and packages in the free text of a parts list.

use etchlore_engine::value::{Base, Value, same};

/// A quantity in a text, in every way that it can be meant.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Claim {
    /// As written.
    pub(crate) text: String,
    /// Number in a base unit; several where writers differ, as between Mb and MB.
    meant: Vec<(f64, Base)>,
    /// Half of its last digit, as a share of it.
    coarse: f64,
    /// A number of bits side by side.
    is_width: bool,
}

impl Claim {
    /// Whether it speaks of a field.
    pub(crate) fn is_about(&self, field: &str, base: Base) -> bool {
        if self.is_width || field == "width" {
            return self.is_width && field == "width";
        }
        self.meant
            .iter()
            .any(|(_, unit)| unit.factor(base).is_some())
    }

    /// Whether a value can be what it says.
    pub(crate) fn agrees(&self, value: &Value) -> bool {
        // Kb or KB of a program memory are bytes; of a memory as such either.
        let bytes = |base: Base| {
            base == Base::Byte && self.meant.iter().any(|(_, unit)| *unit == Base::Byte)
        };
        self.meant.iter().any(|(number, unit)| match value {
            Value::Quantity(quantity) if bytes(quantity.base) && *unit == Base::Bit => false,
            Value::Quantity(quantity) => {
                let factor = match (unit, quantity.base) {
                    (Base::Count, Base::Bit) => Some(1.0),
                    (unit, base) => unit.factor(base),
                };
                factor.is_some_and(|factor| self.near(number * factor, quantity.value))
            }
            Value::Range { min, max, base } => unit.factor(*base).is_some_and(|factor| {
                let number = number * factor;
                let end = |end: &Option<f64>| end.is_some_and(|end| self.near(number, end));
                end(min) || end(max)
            }),
            _ => true,
        })
    }

    /// Lists round, 1.8 for 1.85, and say of a negative voltage how large it is.
    fn near(&self, claimed: f64, value: f64) -> bool {
        let (a, b) = (claimed.abs(), value.abs());
        same(a, b) || (a - b).abs() <= self.coarse.clamp(0.02, 0.05) * a.max(b)
    }
}

/// Units as lists write them: power of ten, or of two for memory, to a base unit.
fn unit(word: &str) -> Vec<(f64, Base)> {
    let two = |n: i32| 2_f64.powi(n);
    // Written with a capital or not, by habit more than by meaning.
    let memory = |power: i32| vec![(two(power), Base::Bit), (two(power), Base::Byte)];
    match word {
        "Kbit" | "kbit" | "Kibit" => return vec![(two(10), Base::Bit)],
        "Mbit" | "MBit" | "Mibit" | "MBIT" => return vec![(two(20), Base::Bit)],
        "Gbit" | "GBit" | "Gibit" | "GBIT" => return vec![(two(30), Base::Bit)],
        "Kbyte" | "kbyte" | "KByte" | "kByte" | "KiB" => return vec![(two(10), Base::Byte)],
        "Mbyte" | "MByte" | "MiB" | "MBYTE" => return vec![(two(20), Base::Byte)],
        "Gbyte" | "GByte" | "GiB" | "GBYTE" => return vec![(two(30), Base::Byte)],
        "Kb" | "kb" | "KB" | "kB" => return memory(10),
        "Mb" | "MB" => return memory(20),
        "Gb" | "GB" => return memory(30),
        "M" | "Mohm" | "MΩ" | "MOHM" | "Meg" => return vec![(1e6, Base::Ohm)],
        "m" | "mohm" | "mΩ" => return vec![(1e-3, Base::Ohm)],
        _ => {}
    }
    let ten = |n: i32, base| vec![(10_f64.powi(n), base)];
    match word.to_uppercase().as_str() {
        "R" | "OHM" | "OHMS" | "Ω" => ten(0, Base::Ohm),
        "K" | "KOHM" | "KΩ" | "KOHMS" => ten(3, Base::Ohm),
        "PF" => ten(-12, Base::Farad),
        "NF" => ten(-9, Base::Farad),
        "UF" | "ΜF" => ten(-6, Base::Farad),
        "NH" => ten(-9, Base::Henry),
        "UH" | "ΜH" => ten(-6, Base::Henry),
        "MH" => ten(-3, Base::Henry),
        "KHZ" => ten(3, Base::Hertz),
        "MHZ" => ten(6, Base::Hertz),
        "GHZ" => ten(9, Base::Hertz),
        "V" | "VDC" => ten(0, Base::Volt),
        "KV" => ten(3, Base::Volt),
        "%" => ten(0, Base::Percent),
        _ => Vec::new(),
    }
}

/// The quantities of a text.
pub(crate) fn claims(text: &str) -> Vec<Claim> {
    // Micro and ohm have two signs each.
    let text: String = text
        .chars()
        .map(|c| match c {
            'µ' => 'μ',
            '\u{2126}' => 'Ω',
            other => other,
        })
        .collect();
    let chars: Vec<char> = text.chars().collect();
    let mut found = Vec::new();
    let mut at = 0;
    while at < chars.len() {
        let start = at;
        if !chars[at].is_ascii_digit() {
            at += 1;
            continue;
        }
        while at < chars.len()
            && (chars[at].is_ascii_digit()
                || (matches!(chars[at], '.' | ',')
                    && chars.get(at + 1).is_some_and(char::is_ascii_digit)))
        {
            at += 1;
        }
        let number: String = chars[start..at].iter().collect();
        let before = start.checked_sub(1).map(|before| chars[before]);
        // `x16`, `4Mx16`: side by side.
        if before.is_some_and(|c| matches!(c, 'x' | 'X' | '×')) && is_width(&number, &chars, at) {
            found.push(width(format!("x{number}"), &number));
            continue;
        }
        // Part of a word, or one end of a range.
        if before.is_some_and(|c| c.is_alphabetic() || matches!(c, '_' | '~' | '.')) {
            continue;
        }
        let mut from = at;
        if chars.get(from) == Some(&' ') || chars.get(from) == Some(&'-') {
            from += 1;
        }
        let mut end = from;
        while end < chars.len() && (chars[end].is_alphabetic() || chars[end] == '%') {
            end += 1;
        }
        let word: String = chars[from..end].iter().collect();
        let spaced = from > at;
        if spaced
            && word.eq_ignore_ascii_case("bit")
            && number.parse::<u32>().is_ok_and(|n| n <= 64)
        {
            found.push(width(format!("{number} bit"), &number));
            at = end;
            continue;
        }
        // `4K7`, `2R2`: the letter is the point.
        let mut number = number.replace(',', ".");
        let mut stop = end;
        if !spaced && word.chars().count() == 1 && matches!(word.as_str(), "R" | "K" | "k" | "M") {
            while stop < chars.len() && chars[stop].is_ascii_digit() {
                stop += 1;
            }
            if stop > end && !number.contains('.') {
                number = format!("{number}.{}", chars[end..stop].iter().collect::<String>());
            }
        }
        let follows = chars.get(stop).is_some_and(|c| c.is_alphanumeric());
        let (alone, range) = (word.chars().count() == 1, chars.get(stop) == Some(&'~'));
        let meant = unit(&word);
        // A letter that stands apart from its number is a word of its own.
        if meant.is_empty() || follows || range || (spaced && alone && word != "V" && word != "%") {
            continue;
        }
        if let Ok(value) = number.parse::<f64>() {
            let decimals = number.split_once('.').map_or(0, |(_, after)| after.len());
            let half = 0.5 * 10_f64.powi(-i32::try_from(decimals).unwrap_or(0));
            let text: String = chars[start..stop].iter().collect();
            found.push(Claim {
                text,
                meant: meant
                    .into_iter()
                    .map(|(scale, base)| (value * scale, base))
                    .collect(),
                coarse: if value == 0.0 {
                    0.0
                } else {
                    half * 1.0001 / value
                },
                is_width: false,
            });
        }
        at = stop.max(at);
    }
    found
}

fn is_width(number: &str, chars: &[char], at: usize) -> bool {
    matches!(number, "4" | "8" | "16" | "32" | "64")
        && chars
            .get(at)
            .is_none_or(|c| !c.is_alphanumeric() && *c != '.')
}

fn width(text: String, number: &str) -> Claim {
    Claim {
        text,
        meant: number
            .parse()
            .map(|n| (n, Base::Count))
            .into_iter()
            .collect(),
        coarse: 0.0,
        is_width: true,
    }
}

/// What a package's name says: how it is built, and with how many terminals.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Package {
    kind: &'static str,
    pub(crate) pins: Option<u32>,
}

impl Package {
    pub(crate) fn is_chip(&self) -> bool {
        self.kind.bytes().all(|byte| byte.is_ascii_digit())
    }

    /// Whether two names can be of one package.
    pub(crate) fn fits(&self, other: &Package) -> bool {
        let pins = match (self.pins, other.pins) {
            // A pad beneath is counted by some.
            (Some(a), Some(b)) => a.abs_diff(b) <= u32::from(self.kind == "QFN"),
            _ => true,
        };
        self.kind == other.kind && pins
    }
}

/// Kinds of packages that are called by several names: common practice, no source. Longer names first.
const KINDS: &[(&str, &[&str])] = &[
    ("TSSOP", &["TSSOP", "HTSSOP"]),
    ("MSOP", &["MSOP", "VSSOP", "MICROSO"]),
    ("SSOP", &["SSOP", "QSOP"]),
    ("TSOP", &["TSOP"]),
    ("SOIC", &["SOIC", "HSOIC", "SOP", "SO"]),
    ("DIP", &["PDIP", "CDIP", "CERDIP", "DIP", "DIL"]),
    ("QFP", &["LQFP", "TQFP", "PQFP", "HTQFP", "QFP"]),
    (
        "QFN",
        &[
            "VQFN", "WQFN", "HVQFN", "UQFN", "TQFN", "QFN", "MLF", "WSON", "VSON", "USON", "XSON",
            "SON", "VDFN", "UDFN", "TDFN", "DFN",
        ],
    ),
    (
        "BGA",
        &[
            "LFBGA", "TFBGA", "UFBGA", "VFBGA", "FCBGA", "FBGA", "PBGA", "BGA", "WLCSP", "CSP",
        ],
    ),
    ("PLCC", &["PLCC"]),
];

/// Chip sizes in hundredths of an inch: no other number of four digits is one.
const CHIPS: &[&str] = &[
    "01005", "0201", "0402", "0603", "0805", "1206", "1210", "1812", "2010", "2512",
];

/// What a text says of a package; absent where it names none for sure.
pub(crate) fn package(text: &str) -> Option<Package> {
    let upper = text.to_uppercase();
    let words: Vec<&str> = upper
        .split(|c: char| !c.is_ascii_alphanumeric())
        .filter(|word| !word.is_empty())
        .collect();
    for (at, word) in words.iter().enumerate() {
        let letters = word.trim_matches(|c: char| c.is_ascii_digit());
        if let Some((kind, _)) = KINDS.iter().find(|(_, names)| names.contains(&letters)) {
            let before = &word[..word.find(letters).unwrap_or(0)];
            let after = word.trim_start_matches(|c: char| c.is_ascii_digit());
            let after = &after[letters.len().min(after.len())..];
            let beside = |word: Option<&&str>| word.and_then(|word| word.parse::<u32>().ok());
            let pins = after
                .parse()
                .ok()
                .or_else(|| before.parse().ok())
                .or_else(|| beside(words.get(at + 1)))
                .or_else(|| beside(at.checked_sub(1).and_then(|at| words.get(at))))
                .filter(|pins| (3..=2000).contains(pins));
            return Some(Package { kind, pins });
        }
    }
    let chips: Vec<&&str> = CHIPS.iter().filter(|chip| words.contains(chip)).collect();
    match chips[..] {
        [chip] => Some(Package {
            kind: chip,
            pins: None,
        }),
        _ => None,
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::{claims, package};
    use etchlore_engine::value::{Base, Quantity, Value};

    fn says(text: &str, value: f64, base: Base) -> bool {
        let value = Value::Quantity(Quantity { value, base });
        claims(text).iter().any(|claim| claim.agrees(&value))
    }

    #[test]
    fn quantities_of_descriptions() {
        assert!(says("Serial NOR, 64 Mbit, SOIC", 67_108_864.0, Base::Bit));
        assert!(says("FLASH 8MB", 67_108_864.0, Base::Bit));
        assert!(says("FLASH 64Mb", 67_108_864.0, Base::Bit));
        assert!(!says("64 Mbit", 33_554_432.0, Base::Bit));
        assert!(says("32 Kb flash", 32_768.0, Base::Byte));
        assert!(!says("32 KB", 4_096.0, Base::Byte));
        assert!(says("CAP CER 10UF 10V", 1e-5, Base::Farad));
        assert!(says("RES 4K7 1%", 4_700.0, Base::Ohm));
        assert!(says("RES 4.7K", 4_700.0, Base::Ohm));
        assert!(says("100R Resistor", 100.0, Base::Ohm));
        assert!(says("0,1 µF", 1e-7, Base::Farad));
        assert!(says("IC SDRAM 4Mx16", 16.0, Base::Bit));
        assert!(says("LDO 3.3V 500mA", 3.3, Base::Volt));
        assert!(claims("see R12 and C0805 in drawing A4").is_empty());
        assert!(claims("").is_empty());
    }

    #[test]
    fn packages_have_many_names() {
        let same = [
            ("SOIC-8", "Package_SO:SOIC-8_3.9x4.9mm_P1.27mm"),
            ("LQFP-64", "T32 ref:LQFP64-05"),
            ("0805", "Capacitors_SMD:C_0805"),
            ("QFN-32", "QFN-32-1EP_5x5mm"),
            ("8-SOIC", "SO8"),
            ("SOIC-8", "SOIC"),
        ];
        for (a, b) in same {
            assert!(package(a).unwrap().fits(&package(b).unwrap()), "{a} {b}");
        }
        for (a, b) in [("SOIC-8", "SOIC-16"), ("SOIC-8", "DIP-8"), ("0805", "0603")] {
            assert!(!package(a).unwrap().fits(&package(b).unwrap()), "{a} {b}");
        }
        assert!(package("see note").is_none());
    }
}
