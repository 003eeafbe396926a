//! Reading x program -> explanations.

mod assign;
mod begun;
mod damage;
mod dates;
mod deep;
mod explain;
mod explanation;
mod light;
mod plain;
mod promise;
mod reach;
mod reading;
mod stream;
mod told;
mod trace;
mod walk;

pub(crate) use assign::{CONFLICT, Known, NEVER};
pub(crate) use damage::Found;
#[cfg(test)]
pub(crate) use damage::as_promised;
pub(crate) use dates::{DateRead, FUTURE};
pub(crate) use deep::Edit;
pub(crate) use explain::CONTRADICTED;
pub use explain::{Decoder, Effort, Scratch};
pub use explanation::Explanation;
pub(crate) use light::{Belief, Leaf, Odds, Pick, Room};
#[cfg(test)]
pub(crate) use reach::compare;
pub use reading::{Line, MAX_GLYPHS, MAX_LINES, Mark, Notation, Reading, ReadingError, Seen, fold};
pub(crate) use stream::{Doubt, Gap, Stream, Tick};
pub(crate) use trace::furthest;
pub(crate) use walk::{Choice, How, likeliest, strangest, taken};
