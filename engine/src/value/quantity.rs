//! Numbers with a unit, kept in the base unit of their dimension.

/// The unit a quantity is kept and reported in. Bit and byte share a dimension (factor 8); a field says which it uses.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
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

/// A number in its base unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Quantity {
    /// The number, in `base`.
    pub value: f64,
    /// Its unit.
    pub base: Base,
}

/// How a condition compares.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
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
