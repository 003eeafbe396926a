//! Reading x program -> explanations.

mod reading;

pub use reading::{Line, MAX_GLYPHS, MAX_LINES, Mark, Notation, Reading, ReadingError, Seen, fold};
