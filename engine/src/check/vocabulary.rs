//! The vocabulary of fields and functions: one name for one thing in all families.

use crate::value::Base;

/// What a field holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FieldKind {
    /// Text.
    Text,
    /// A number or range in this base unit.
    Number(Base),
    /// A calendar interval.
    Dates,
}

/// A field of the vocabulary.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct FieldWord {
    /// Its name.
    pub name: &'static str,
    /// What it holds.
    pub kind: FieldKind,
    /// What it means.
    pub meaning: &'static str,
}

const fn text(name: &'static str, meaning: &'static str) -> FieldWord {
    FieldWord {
        name,
        kind: FieldKind::Text,
        meaning,
    }
}

const fn number(name: &'static str, base: Base, meaning: &'static str) -> FieldWord {
    FieldWord {
        name,
        kind: FieldKind::Number(base),
        meaning,
    }
}

/// All fields of the vocabulary.
pub const FIELDS: &[FieldWord] = &[
    number(
        "density",
        Base::Bit,
        "memory size of the package as a whole",
    ),
    number("die_density", Base::Bit, "memory size of one die"),
    number("dies", Base::Count, "number of dies in the package"),
    number("depth", Base::Count, "words at the package pins"),
    number("width", Base::Bit, "bits per word at the package pins"),
    number("channels", Base::Count, "memory channels"),
    number("ranks", Base::Count, "memory ranks"),
    number("data_rate", Base::Transfer, "transfers per second and pin"),
    number("clock", Base::Hertz, "highest clock frequency"),
    number("access_time", Base::Second, "read access time"),
    number("cycle_time", Base::Second, "cycle time"),
    number("flash", Base::Byte, "program memory inside"),
    number("ram", Base::Byte, "working memory inside"),
    number("eeprom", Base::Byte, "data memory inside"),
    text("core", "processor core or series"),
    text("logic_family", "logic family, as LVC or HC"),
    text("logic_function", "function number, as 00 or 245"),
    number("logic_cells", Base::Count, "size of programmable logic"),
    text("speed_grade", "the grade as the maker names it"),
    text("package", "package name"),
    number("pins", Base::Count, "terminals"),
    number("temperature", Base::Celsius, "operating range"),
    text(
        "qualification",
        "commercial, industrial, automotive, military or space grade",
    ),
    number("supply", Base::Volt, "supply voltage or range"),
    number("output_voltage", Base::Volt, "output voltage"),
    number("reference_voltage", Base::Volt, "reference voltage"),
    number(
        "zener_voltage",
        Base::Volt,
        "breakdown voltage of a Zener diode",
    ),
    number("output_current", Base::Ampere, "output current"),
    number("resistance", Base::Ohm, "resistance"),
    number("capacitance", Base::Farad, "capacitance"),
    number("inductance", Base::Henry, "inductance"),
    number("tolerance", Base::Percent, "tolerance of the value"),
    number("rated_voltage", Base::Volt, "working voltage of a passive"),
    text("temperature_characteristic", "as X7R or C0G"),
    number("frequency", Base::Hertz, "radio or crystal frequency"),
    text("band", "band name"),
    text("material", "material of a discrete semiconductor"),
    text("polarity", "polarity of a discrete semiconductor"),
    text("revision", "die or product revision"),
    text("lead_finish", "finish category"),
    text("compliance", "lead-free or halogen-free mark"),
    text("packing", "tray, tube, tape and reel"),
    FieldWord {
        name: "date",
        kind: FieldKind::Dates,
        meaning: "date coded",
    },
    text("date_of", "what the date is of"),
    text("lot", "lot number"),
    text("trace", "trace code"),
    text("serial", "the unit's own number"),
    text("brand", "whose name is printed"),
    text("maker_site", "design or main site"),
    text("wafer_site", "where the wafer was made"),
    text("wafer_country", "country of the wafer"),
    text("assembly_site", "where it was assembled"),
    text("assembly_country", "country of assembly"),
    text("rom_code", "program number of a mask part"),
    text("sample_status", "engineering or qualification sample"),
    text("approval", "radio approval id"),
    text("generation", "design generation"),
    text("variant", "variant"),
    text("interface", "bus or standard"),
    text("symbol", "printed symbol"),
    text("body", "body measures"),
    number("die_size", Base::Metre, "die measure"),
    number("quantity", Base::Count, "quantity of a label"),
    text("radiation", "radiation hardness level"),
    text("device_class", "class of a military part number"),
    text("case_outline", "case letter of a military part number"),
    text("moisture_level", "J-STD-020 level"),
    text("base", "the part number without package, grade and packing"),
    number("year", Base::Count, "year of a date code"),
    number("quarter", Base::Count, "quarter of a date code"),
    number("month", Base::Count, "month of a date code"),
    number("fortnight", Base::Count, "fortnight of a date code"),
    number("week", Base::Count, "week of a date code"),
    number("third", Base::Count, "ten days of a month"),
    number("day", Base::Count, "day of a date code"),
];

/// All functions of families.
pub const FUNCTIONS: &[&str] = &[
    "memory/dram",
    "memory/sram",
    "memory/nor",
    "memory/nand",
    "memory/eeprom",
    "memory/fram",
    "memory/stack",
    "memory/psram",
    "controller",
    "processor",
    "logic",
    "programmable",
    "analog/amplifier",
    "analog/converter",
    "analog/reference",
    "analog/switch",
    "power/linear",
    "power/switching",
    "power/manager",
    "radio/transceiver",
    "radio/front_end",
    "radio/module",
    "sensor",
    "clock",
    "interface",
    "discrete/diode",
    "discrete/transistor",
    "discrete/thyristor",
    "discrete/opto",
    "passive/resistor",
    "passive/capacitor",
    "passive/inductor",
    "passive/crystal",
    "passive/network",
    "module",
    "marking",
    "other",
];

/// A field of the vocabulary by name.
#[must_use]
pub fn field(name: &str) -> Option<&'static FieldWord> {
    FIELDS.iter().find(|field| field.name == name)
}
