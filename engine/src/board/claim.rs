//! What a seller says of a product, in a form that can be held against its parts.

use crate::value::{Base, Unit};

/// One claim.
#[derive(Debug, Clone, PartialEq)]
pub struct Claim {
    /// Of what.
    pub kind: ClaimKind,
    /// As written.
    pub text: String,
    /// How much.
    pub amount: Amount,
}

/// What claims can be about.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ClaimKind {
    /// Memory that keeps its contents: NOR, NAND, EEPROM, FRAM.
    Storage,
    /// Working memory: DRAM, SRAM, PSRAM.
    Memory,
    /// A radio band.
    Band,
}

impl ClaimKind {
    /// The word of the kind.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            ClaimKind::Storage => "storage",
            ClaimKind::Memory => "memory",
            ClaimKind::Band => "band",
        }
    }
}

/// How much is claimed.
#[derive(Debug, Clone, PartialEq)]
pub enum Amount {
    /// An amount of memory in bits, by both habits of counting.
    Bits {
        /// With prefixes that are powers of 1,024.
        binary: f64,
        /// With prefixes that are powers of 1,000.
        decimal: f64,
        /// Whether the claim counts bytes.
        bytes: bool,
    },
    /// A frequency in hertz.
    Hertz(f64),
    /// A band by its name.
    Name(String),
}

impl Claim {
    /// A claim as written: `128 MB`, `64 Mbit`, `8 GiB`, `868 MHz`, `band 8`.
    ///
    /// # Errors
    /// What is wrong with it, and what to write.
    pub fn parse(kind: ClaimKind, text: &str) -> Result<Claim, String> {
        let split = text
            .find(|c: char| !c.is_ascii_digit() && c != '.')
            .unwrap_or(text.len());
        let (number, word) = (&text[..split], text[split..].trim());
        let value: Option<f64> = number.parse().ok().filter(|value: &f64| value.is_finite());
        let amount = match (kind, value) {
            (ClaimKind::Band, Some(value)) => match Unit::of(word) {
                Some(unit) if unit.base == Base::Hertz => unit
                    .scale(number)
                    .filter(|_| value > 0.0)
                    .map(Amount::Hertz),
                _ => Some(Amount::Name(text.to_owned())),
            },
            (ClaimKind::Band, None) => Some(Amount::Name(text.to_owned())),
            (_, Some(value)) => memory(word).filter(|_| value > 0.0).map(|(power, bytes)| {
                let bits = value * if bytes { 8.0 } else { 1.0 };
                Amount::Bits {
                    binary: bits * 1024_f64.powi(power),
                    decimal: bits * 1000_f64.powi(power),
                    bytes,
                }
            }),
            (_, None) => None,
        };
        let amount = amount.ok_or_else(|| {
            format!("`{text}` is no amount of memory: write it as 128 MB, 8 GiB or 512 Mbit")
        })?;
        Ok(Claim {
            kind,
            text: text.to_owned(),
            amount,
        })
    }
}

/// Power of the prefix, and whether bytes are counted. Sellers write B for bytes and b or bit for bits.
fn memory(word: &str) -> Option<(i32, bool)> {
    const PREFIXES: [(&str, i32); 6] = [("K", 1), ("k", 1), ("M", 2), ("G", 3), ("T", 4), ("", 0)];
    PREFIXES.iter().find_map(|(prefix, power)| {
        let rest = word.strip_prefix(prefix)?;
        let unit = match rest.strip_prefix('i') {
            Some(unit) if *power > 0 => unit,
            _ => rest,
        };
        match unit {
            "B" | "byte" | "bytes" | "Byte" | "Bytes" => Some((*power, true)),
            "b" | "bit" | "bits" => Some((*power, false)),
            _ => None,
        }
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn bits(text: &str) -> Option<(f64, f64, bool)> {
        match Claim::parse(ClaimKind::Memory, text).ok()?.amount {
            Amount::Bits {
                binary,
                decimal,
                bytes,
            } => Some((binary, decimal, bytes)),
            _ => None,
        }
    }

    #[test]
    fn bytes_and_bits_are_told_apart() {
        assert_eq!(bits("1 KB"), Some((8192.0, 8000.0, true)));
        assert_eq!(bits("1 Kbit"), Some((1024.0, 1000.0, false)));
        assert_eq!(bits("2MiB"), Some((16_777_216.0, 16_000_000.0, true)));
        assert_eq!(bits("8 bit"), Some((8.0, 8.0, false)));
        assert_eq!(bits("8 bytes"), Some((64.0, 64.0, true)));
        for bad in ["", "MB", "12", "12 furlongs", "-1 MB", "0 MB", "1 Mit"] {
            assert_eq!(bits(bad), None, "{bad}");
        }
    }

    #[test]
    fn a_band_is_a_frequency_or_a_name() {
        let amount = |text| Claim::parse(ClaimKind::Band, text).map(|claim| claim.amount);
        assert_eq!(amount("868 MHz"), Ok(Amount::Hertz(868e6)));
        assert_eq!(amount("band 8"), Ok(Amount::Name("band 8".to_owned())));
    }
}
