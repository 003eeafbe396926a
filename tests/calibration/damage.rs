//! Channels that are not the engine's: other rates, other confusion tables; at most one damage a mark, besides unread characters.

use super::sample::{Mark, Piece};

/// Kinds of damage.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub(crate) enum Kind {
    Intact,
    LookAlike,
    Other,
    Unread,
    Dropped,
    Doubled,
    Swapped,
    /// Damages of whole lines: no channel has them, they are asked for by name.
    LineMissing,
    LinesSwapped,
}

impl Kind {
    pub(crate) const ALL: [Kind; 7] = [
        Kind::Intact,
        Kind::LookAlike,
        Kind::Other,
        Kind::Unread,
        Kind::Dropped,
        Kind::Doubled,
        Kind::Swapped,
    ];
    /// Those of a mark of several lines.
    pub(crate) const LINES: [Kind; 2] = [Kind::LineMissing, Kind::LinesSwapped];

    pub(crate) fn name(self) -> &'static str {
        match self {
            Kind::Intact => "undamaged",
            Kind::LookAlike => "one look-alike",
            Kind::Other => "one other misread",
            Kind::Unread => "one unread",
            Kind::Dropped => "one dropped",
            Kind::Doubled => "one doubled",
            Kind::Swapped => "two swapped",
            Kind::LineMissing => "one line missing",
            Kind::LinesSwapped => "two lines swapped",
        }
    }
}

/// Which characters look alike.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Alike {
    /// Even over classes of the eye, more of them than the engine's.
    Eye,
    /// Even over pairs that segments and worn strokes confuse.
    Worn,
}

const EYE: &[&str] = &[
    "0ODQ", "1ILJ7", "8B3", "5S", "2Z", "6G", "4A", "UV", "CG", "MN", "EF",
];
const WORN: &[&str] = &[
    "08", "0O", "1I", "5S6", "8B", "38", "2Z", "17", "PR", "OQ", "69",
];

/// A channel: how likely each damage is for one character.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Channel {
    pub(crate) name: &'static str,
    pub(crate) alike: Alike,
    pub(crate) look_alike: f64,
    pub(crate) other: f64,
    pub(crate) dropped: f64,
    pub(crate) doubled: f64,
    pub(crate) swapped: f64,
    /// Independent of the rest.
    pub(crate) unread: f64,
    /// The whole reading is typed in capitals.
    pub(crate) capitals: f64,
}

/// Two error rates, two tables: neither is the engine's.
pub(crate) const CHANNELS: [Channel; 4] = [
    careful("careful reader, eye", Alike::Eye),
    careful("careful reader, worn", Alike::Worn),
    hasty("hasty reader, eye", Alike::Eye),
    hasty("hasty reader, worn", Alike::Worn),
];

const fn careful(name: &'static str, alike: Alike) -> Channel {
    Channel {
        name,
        alike,
        look_alike: 0.004,
        other: 0.001,
        dropped: 0.0007,
        doubled: 0.0002,
        swapped: 0.0003,
        unread: 0.01,
        capitals: 0.35,
    }
}

const fn hasty(name: &'static str, alike: Alike) -> Channel {
    Channel {
        name,
        alike,
        look_alike: 0.02,
        other: 0.004,
        dropped: 0.003,
        doubled: 0.0008,
        swapped: 0.001,
        unread: 0.04,
        capitals: 0.65,
    }
}

impl Alike {
    /// The characters that `c` is taken for, each alike.
    pub(crate) fn of(self, c: char) -> Vec<char> {
        let classes = match self {
            Alike::Eye => EYE,
            Alike::Worn => WORN,
        };
        let up = c.to_ascii_uppercase();
        let mut found: Vec<char> = classes
            .iter()
            .filter(|class| class.contains(up))
            .flat_map(|class| class.chars())
            .filter(|other| *other != up)
            .collect();
        found.sort_unstable();
        found.dedup();
        found
    }
}

/// A damaged mark: what is read.
#[derive(Debug, Clone)]
pub(crate) struct Damaged {
    pub(crate) lines: Vec<Vec<Piece>>,
    pub(crate) kind: Kind,
    /// Glyph of the printed mark that was damaged, over all lines; the first of two.
    pub(crate) place: Option<usize>,
}

impl Damaged {
    pub(crate) fn text(&self) -> String {
        text(&self.lines)
    }
}

pub(crate) fn text(lines: &[Vec<Piece>]) -> String {
    let lines: Vec<String> = lines
        .iter()
        .map(|line| line.iter().map(|piece| piece.0.as_str()).collect())
        .collect();
    lines.join(" | ")
}

impl Channel {
    /// log2 weight of a damage, by kind, for one place.
    pub(crate) fn rate(&self, kind: Kind) -> f64 {
        match kind {
            Kind::LookAlike => self.look_alike,
            Kind::Other => self.other,
            Kind::Dropped => self.dropped,
            Kind::Doubled => self.doubled,
            Kind::Swapped => self.swapped,
            Kind::Intact | Kind::Unread | Kind::LineMissing | Kind::LinesSwapped => 0.0,
        }
    }

    /// Probability that a mark of so many characters has none of the damages.
    pub(crate) fn intact(&self, length: usize) -> f64 {
        let each = self.look_alike + self.other + self.dropped + self.doubled + self.swapped;
        (1.0 - each * length as f64).max(0.2)
    }

    /// A kind by its rate; `None` for one that cannot meet this mark.
    pub(crate) fn draw(&self, mark: &Mark, rng: &mut fastrand::Rng) -> Damaged {
        loop {
            let kinds = [
                Kind::LookAlike,
                Kind::Other,
                Kind::Dropped,
                Kind::Doubled,
                Kind::Swapped,
            ];
            let intact = self.intact(mark.length());
            let kind = if rng.f64() < intact {
                Kind::Intact
            } else {
                let sum: f64 = kinds.iter().map(|kind| self.rate(*kind)).sum();
                let mut at = sum * rng.f64();
                let mut chosen = Kind::LookAlike;
                for kind in kinds {
                    chosen = kind;
                    at -= self.rate(kind);
                    if at < 0.0 {
                        break;
                    }
                }
                chosen
            };
            if let Some(mut damaged) = self.apply(mark, kind, rng) {
                let capitals = rng.f64() < self.capitals;
                for line in &mut damaged.lines {
                    if capitals {
                        for piece in line.iter_mut().filter(|piece| piece.1.is_some()) {
                            piece.0 = piece.0.to_ascii_uppercase();
                            piece.1 = piece.1.map(|c| c.to_ascii_uppercase());
                        }
                    }
                    for piece in line.iter_mut().filter(|piece| piece.1.is_some()) {
                        if rng.f64() < self.unread {
                            *piece = ("_".to_owned(), None);
                        }
                    }
                }
                return damaged;
            }
        }
    }

    /// One damage of a kind, at a place by lot; `None` where the place cannot have it.
    pub(crate) fn apply(
        &self,
        mark: &Mark,
        kind: Kind,
        rng: &mut fastrand::Rng,
    ) -> Option<Damaged> {
        let mut lines = mark.lines.clone();
        let places = mark.places();
        if kind == Kind::Intact {
            return Some(Damaged {
                lines,
                kind,
                place: None,
            });
        }
        if Kind::LINES.contains(&kind) {
            let last = lines.len().checked_sub(1).filter(|last| *last > 0)?;
            if kind == Kind::LineMissing {
                lines.remove(rng.usize(..=last));
            } else {
                let upper = rng.usize(..last);
                lines.swap(upper, upper + 1);
            }
            return Some(Damaged {
                lines,
                kind,
                place: None,
            });
        }
        let n = rng.usize(..places.len().max(1));
        let (l, p) = *places.get(n)?;
        let c = lines[l][p].1?;
        let one = |c: char| (c.to_string(), Some(c));
        match kind {
            Kind::LookAlike => {
                let others = self.alike.of(c);
                if others.is_empty() {
                    return None;
                }
                lines[l][p] = one(others[rng.usize(..others.len())]);
            }
            Kind::Other => loop {
                let other = char::from_digit(rng.u32(..36), 36)?.to_ascii_uppercase();
                if other != c.to_ascii_uppercase() {
                    lines[l][p] = one(other);
                    break;
                }
            },
            Kind::Unread => lines[l][p] = ("_".to_owned(), None),
            Kind::Dropped => {
                if places.len() < 2 {
                    return None;
                }
                lines[l].remove(p);
            }
            Kind::Doubled => lines[l].insert(p, one(c)),
            Kind::Swapped => {
                let next = lines[l].get(p + 1)?.1?;
                if next == c {
                    return None;
                }
                lines[l].swap(p, p + 1);
            }
            Kind::Intact | Kind::LineMissing | Kind::LinesSwapped => {}
        }
        lines.retain(|line| !line.is_empty());
        Some(Damaged {
            lines,
            kind,
            place: Some(n),
        })
    }
}
