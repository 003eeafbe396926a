//! Explanations and context -> probabilities, with the reasons.

mod answer;

pub use answer::{
    Alternative, Candidate, Context, Correction, Cost, Depth, Disagreement, Evidence, FieldAnswer, NextLook, Piece, Ranking,
    Remark, SlotSpan,
};
