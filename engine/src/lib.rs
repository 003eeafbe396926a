//! Rules for the marks on electronic components, and the decoder that ranks what a mark can be.
//!
//! ```text
//! text -> syntax -> check -> model -> compile -> program
//!                                                   | decode (a reading) -> explanations -> rank -> ranking
//! ```
//!
//! The engine opens no file, reads no clock and prints nothing: rule texts come in through [`source::Loader`], the day of
//! reading is a value of the context.

pub mod analyse;
pub mod check;
pub mod compile;
pub mod decode;
pub mod diagnostic;
pub mod glyph;
pub mod model;
#[cfg(feature = "packs")]
pub mod packs;
pub mod rank;
mod rules;
pub mod source;
pub mod syntax;
pub mod value;
pub mod write;

pub use rules::Rules;
