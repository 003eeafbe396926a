//! Explanations and context -> probabilities, with the reasons.
//!
//! ```text
//! odds(family) = prior x sum over explanations of P(codes, form, glyphs | family) / P(same text | none)
//! odds(none)   = 1 + what siblings of known families, that no rule describes, would explain
//! ```
//!
//! Priors are absolute odds against none, so that rules that have nothing to do with a reading change no figure of it.

mod answer;
mod cases;
mod context;
mod describe;
mod detail;
mod fields;
mod light;
mod look;
mod none;
mod posterior;
mod relations;
mod specimens;
mod why;

pub use answer::{
    Alternative, Candidate, Clash, Content, Context, Correction, Cost, Depth, Disagreement,
    Evidence, FieldAnswer, NextLook, Piece, Ranking, Relations, Remark, SlotSpan, StandsFor,
    Succession,
};
pub use cases::confirmed;
pub use detail::Wanted;
pub use posterior::{PRIOR, rank, rank_in_short, rank_text_in_short};
pub use specimens::{MAX_SPECIMENS, Specimen, Specimens, rank_specimens};
pub use why::{Stop, Why, why};
