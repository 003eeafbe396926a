//! Numbers with a unit, kept in the base unit of their dimension.

use std::io::{ErrorKind, Read, Write};

use borsh::{BorshDeserialize, BorshSerialize};

/// The unit a quantity is kept and reported in. Bit and byte share a dimension (factor 8); a field says which it uses.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, BorshSerialize, BorshDeserialize,
)]
pub enum Base {
    /// A plain count.
    Count,
    /// Bits.
    Bit,
    /// Bytes of eight bits.
    Byte,
    /// Ohms.
    Ohm,
    /// Farads.
    Farad,
    /// Henries.
    Henry,
    /// Volts.
    Volt,
    /// Amperes.
    Ampere,
    /// Watts.
    Watt,
    /// Hertz.
    Hertz,
    /// Transfers per second.
    Transfer,
    /// Seconds.
    Second,
    /// Metres.
    Metre,
    /// Degrees Celsius.
    Celsius,
    /// Percent.
    Percent,
}

impl Base {
    /// The symbol of the unit, as in answers; empty for a count.
    #[must_use]
    pub fn symbol(self) -> &'static str {
        match self {
            Base::Count => "",
            Base::Bit => "bit",
            Base::Byte => "byte",
            Base::Ohm => "ohm",
            Base::Farad => "F",
            Base::Henry => "H",
            Base::Volt => "V",
            Base::Ampere => "A",
            Base::Watt => "W",
            Base::Hertz => "Hz",
            Base::Transfer => "T/s",
            Base::Second => "s",
            Base::Metre => "m",
            Base::Celsius => "degC",
            Base::Percent => "%",
        }
    }

    /// What it measures, for messages.
    #[must_use]
    pub fn dimension(self) -> &'static str {
        match self {
            Base::Count => "a count",
            Base::Bit | Base::Byte => "a memory size",
            Base::Ohm => "a resistance",
            Base::Farad => "a capacitance",
            Base::Henry => "an inductance",
            Base::Volt => "a voltage",
            Base::Ampere => "a current",
            Base::Watt => "a power",
            Base::Hertz => "a frequency",
            Base::Transfer => "a data rate",
            Base::Second => "a time",
            Base::Metre => "a length",
            Base::Celsius => "a temperature",
            Base::Percent => "a percentage",
        }
    }

    /// The factor from this unit to `to`, where they share a dimension.
    #[must_use]
    pub fn factor(self, to: Base) -> Option<f64> {
        match (self, to) {
            (a, b) if a == b => Some(1.0),
            (Base::Bit, Base::Byte) => Some(0.125),
            (Base::Byte, Base::Bit) => Some(8.0),
            _ => None,
        }
    }
}

/// A unit as written in a rule: a base and the factor to it, as a power of ten and of two.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Unit {
    /// As written: `Mbit`, `kohm`.
    pub symbol: &'static str,
    /// Base unit it counts in.
    pub base: Base,
    /// Power of ten to the base unit.
    pub ten: i8,
    /// Power of two to the base unit (JEDEC memory prefixes).
    pub two: u8,
}

// By its symbol and base: what a unit is stands in the list.
impl BorshSerialize for Unit {
    fn serialize<W: Write>(&self, writer: &mut W) -> std::io::Result<()> {
        (self.symbol, self.base).serialize(writer)
    }
}

impl BorshDeserialize for Unit {
    fn deserialize_reader<R: Read>(reader: &mut R) -> std::io::Result<Unit> {
        let (symbol, base) = <(String, Base)>::deserialize_reader(reader)?;
        let same = |unit: &&Unit| unit.symbol == symbol && unit.base == base;
        let base_unit = Unit::base(base);
        let mut known = Unit::ALL.iter().chain(std::iter::once(&base_unit));
        let unit = known.find(same).copied();
        unit.ok_or_else(|| std::io::Error::new(ErrorKind::InvalidData, "no such unit"))
    }
}

const fn unit(symbol: &'static str, base: Base, ten: i8, two: u8) -> Unit {
    Unit {
        symbol,
        base,
        ten,
        two,
    }
}

impl Unit {
    /// The closed list. Memory prefixes are powers of 1024 (JEDEC JESD100B.01), all others decimal.
    pub const ALL: &'static [Unit] = &[
        unit("bit", Base::Bit, 0, 0),
        unit("Kbit", Base::Bit, 0, 10),
        unit("Mbit", Base::Bit, 0, 20),
        unit("Gbit", Base::Bit, 0, 30),
        unit("Tbit", Base::Bit, 0, 40),
        unit("byte", Base::Byte, 0, 0),
        unit("Kbyte", Base::Byte, 0, 10),
        unit("Mbyte", Base::Byte, 0, 20),
        unit("Gbyte", Base::Byte, 0, 30),
        unit("Tbyte", Base::Byte, 0, 40),
        unit("mohm", Base::Ohm, -3, 0),
        unit("ohm", Base::Ohm, 0, 0),
        unit("kohm", Base::Ohm, 3, 0),
        unit("Mohm", Base::Ohm, 6, 0),
        unit("Gohm", Base::Ohm, 9, 0),
        unit("Tohm", Base::Ohm, 12, 0),
        unit("F", Base::Farad, 0, 0),
        unit("mF", Base::Farad, -3, 0),
        unit("uF", Base::Farad, -6, 0),
        unit("nF", Base::Farad, -9, 0),
        unit("pF", Base::Farad, -12, 0),
        unit("H", Base::Henry, 0, 0),
        unit("mH", Base::Henry, -3, 0),
        unit("uH", Base::Henry, -6, 0),
        unit("nH", Base::Henry, -9, 0),
        unit("V", Base::Volt, 0, 0),
        unit("mV", Base::Volt, -3, 0),
        unit("kV", Base::Volt, 3, 0),
        unit("A", Base::Ampere, 0, 0),
        unit("mA", Base::Ampere, -3, 0),
        unit("uA", Base::Ampere, -6, 0),
        unit("W", Base::Watt, 0, 0),
        unit("mW", Base::Watt, -3, 0),
        unit("Hz", Base::Hertz, 0, 0),
        unit("kHz", Base::Hertz, 3, 0),
        unit("MHz", Base::Hertz, 6, 0),
        unit("GHz", Base::Hertz, 9, 0),
        unit("T/s", Base::Transfer, 0, 0),
        unit("MT/s", Base::Transfer, 6, 0),
        unit("GT/s", Base::Transfer, 9, 0),
        unit("s", Base::Second, 0, 0),
        unit("ms", Base::Second, -3, 0),
        unit("us", Base::Second, -6, 0),
        unit("ns", Base::Second, -9, 0),
        unit("ps", Base::Second, -12, 0),
        unit("m", Base::Metre, 0, 0),
        unit("mm", Base::Metre, -3, 0),
        unit("um", Base::Metre, -6, 0),
        unit("degC", Base::Celsius, 0, 0),
        unit("%", Base::Percent, 0, 0),
    ];

    /// The unit of a word.
    #[must_use]
    pub fn of(word: &str) -> Option<Unit> {
        Unit::ALL.iter().copied().find(|unit| unit.symbol == word)
    }

    /// The base unit of a dimension as a unit.
    #[must_use]
    pub fn base(base: Base) -> Unit {
        Unit::ALL
            .iter()
            .copied()
            .find(|unit| unit.base == base && unit.ten == 0 && unit.two == 0)
            .unwrap_or(unit("", base, 0, 0))
    }

    /// A decimal number in this unit as a number in the base unit, rounded once: `0.833` ns is the number nearest to 8.33e-10.
    #[must_use]
    pub fn scale(self, number: &str) -> Option<f64> {
        let decimal: f64 = if self.ten == 0 {
            number.parse()
        } else {
            format!("{number}e{}", self.ten).parse()
        }
        .ok()?;
        Some(decimal * f64::from(2.0_f32).powi(i32::from(self.two)))
    }
}

/// A number in its base unit.
#[derive(Debug, Clone, Copy, PartialEq, BorshSerialize, BorshDeserialize)]
pub struct Quantity {
    /// The number, in `base`.
    pub value: f64,
    /// Its unit.
    pub base: Base,
}

/// How a condition compares.
#[derive(Debug, Clone, Copy, PartialEq, Eq, BorshSerialize, BorshDeserialize)]
pub enum Comparison {
    /// `<`
    Less,
    /// `<=`
    AtMost,
    /// `=`
    Equal,
    /// `>=`
    AtLeast,
    /// `>`
    Greater,
}

/// Whether two numbers are the same but for rounding.
#[must_use]
pub fn same(a: f64, b: f64) -> bool {
    (a - b).abs() <= 1e-9 * a.abs().max(b.abs())
}

/// A number with at most six significant digits, without trailing zeros.
fn digits(value: f64) -> String {
    let rounded: f64 = format!("{value:.5e}").parse().unwrap_or(value);
    format!("{rounded}")
}

/// A number in its base unit for people: `1 Gbit`, `4.7 kohm`, `100 nF`, `64 Mi`.
#[must_use]
pub fn show(value: f64, base: Base) -> String {
    match base {
        Base::Count if value >= 1_073_741_824.0 && (value / 1_073_741_824.0).fract() == 0.0 => {
            format!("{} Gi", digits(value / 1_073_741_824.0))
        }
        Base::Count if value >= 1_048_576.0 && (value / 1_048_576.0).fract() == 0.0 => {
            format!("{} Mi", digits(value / 1_048_576.0))
        }
        Base::Count
            if value >= 1024.0
                && (value / 1024.0).fract() == 0.0
                && (value / 1024.0).log2().fract() == 0.0 =>
        {
            format!("{} Ki", digits(value / 1024.0))
        }
        Base::Count => digits(value),
        Base::Percent => format!("{} %", digits(value)),
        Base::Celsius => format!("{} degC", digits(value)),
        _ => {
            let units: Vec<&Unit> = Unit::ALL
                .iter()
                .filter(|unit| unit.base == base && unit.symbol != "GT/s")
                .collect();
            let scale =
                |unit: &Unit| 10_f64.powi(i32::from(unit.ten)) * 2_f64.powi(i32::from(unit.two));
            let fits = |unit: &&&Unit| {
                let scaled = value.abs() / scale(unit);
                scaled >= 0.9999999 && (unit.two == 0 || (scaled * 8.0).fract() == 0.0)
            };
            let unit = units
                .iter()
                .filter(fits)
                .max_by(|a, b| scale(a).total_cmp(&scale(b)))
                .or_else(|| units.iter().find(|unit| unit.ten == 0 && unit.two == 0))
                .copied();
            let Some(unit) = unit else {
                return digits(value);
            };
            let tiny = units
                .iter()
                .min_by(|a, b| scale(a).total_cmp(&scale(b)))
                .copied();
            let unit = if value != 0.0 && value.abs() < scale(unit) {
                tiny.unwrap_or(unit)
            } else {
                unit
            };
            format!("{} {}", digits(value / scale(unit)), unit.symbol)
        }
    }
}

/// A range for people: `0 to 70 degC`, `at least 2.7 V`, `plus or minus 5 %`.
#[must_use]
pub fn show_range(min: Option<f64>, max: Option<f64>, base: Base) -> String {
    match (min, max) {
        (Some(min), Some(max)) if min == -max && base == Base::Percent => {
            format!("plus or minus {}", show(max, base))
        }
        (Some(min), Some(max)) => {
            let (low, high) = (show(min, base), show(max, base));
            match (low.split_once(' '), high.split_once(' ')) {
                (Some((number, a)), Some((_, b))) if a == b => format!("{number} to {high}"),
                _ if min == 0.0 => format!("0 to {high}"),
                _ => format!("{low} to {high}"),
            }
        }
        (Some(min), None) => format!("at least {}", show(min, base)),
        (None, Some(max)) => format!("at most {}", show(max, base)),
        (None, None) => "any".to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::{Base, Unit, show, show_range};

    #[test]
    fn numbers_are_rounded_once() {
        assert_eq!(
            Unit::of("ns").and_then(|unit| unit.scale("0.833")),
            Some(8.33e-10)
        );
        assert_eq!(
            Unit::of("Gbit").and_then(|unit| unit.scale("1")),
            Some(1_073_741_824.0)
        );
        assert_eq!(
            Unit::of("pF").and_then(|unit| unit.scale("100000")),
            Some(1e-7)
        );
    }

    #[test]
    fn quantities_are_shown_with_a_fitting_prefix() {
        for (value, base, text) in [
            (1_073_741_824.0, Base::Bit, "1 Gbit"),
            (134_217_728.0, Base::Bit, "128 Mbit"),
            (524_288.0, Base::Bit, "512 Kbit"),
            (32_768.0, Base::Byte, "32 Kbyte"),
            (4_700.0, Base::Ohm, "4.7 kohm"),
            (0.47, Base::Ohm, "470 mohm"),
            (1e-7, Base::Farad, "100 nF"),
            (3.2e9, Base::Transfer, "3200 MT/s"),
            (67_108_864.0, Base::Count, "64 Mi"),
            (16.0, Base::Bit, "16 bit"),
            (0.0, Base::Ohm, "0 ohm"),
        ] {
            assert_eq!(show(value, base), text);
        }
        assert_eq!(
            show_range(Some(0.0), Some(70.0), Base::Celsius),
            "0 to 70 degC"
        );
        assert_eq!(
            show_range(Some(-5.0), Some(5.0), Base::Percent),
            "plus or minus 5 %"
        );
        assert_eq!(show_range(Some(2.7), None, Base::Volt), "at least 2.7 V");
    }
}
