//! Rules for the marks on electronic components, and the decoder that ranks what a mark can be.
//!
//! ```text
//! text -> syntax -> check -> model -> compile -> program
//!                                                   | decode (a reading) -> explanations -> rank -> ranking
//! ```
//!
//! The engine opens no file, reads no clock and prints nothing: rule texts come in through [`source::Loader`], the day of
//! reading is a value of the context.
//!
//! Two nouns carry it: [`Rules`], compiled once and shared between threads, and [`rank::Ranking`], the answer to one reading.
//!
//! ```
//! use etchlore_engine::check::check;
//! use etchlore_engine::decode::{Notation, Reading, Scratch};
//! use etchlore_engine::rank::Context;
//! use etchlore_engine::source::{LoadError, Loader, Sources};
//! use etchlore_engine::Rules;
//!
//! struct NoFiles;
//! impl Loader for NoFiles {
//!     fn load(&self, _from: &str, _path: &str) -> Result<(String, String), LoadError> {
//!         Err(LoadError::NotFound)
//!     }
//! }
//!
//! let text = "lore 1
//! family hm_flash   Serial flash
//!   source  \"an invented guide\"
//!   code    HMF     64    -  S
//!           series  size  -  package
//!   size    gives density Mbit
//!     64    64
//!     128   128
//!   package gives package
//!     S     \"SOIC-8\"
//!   example HMF64-S  density 64 Mbit
//! ";
//! let mut sources = Sources::default();
//! let root = sources.add("flash.lore", text, false);
//! let checked = check(&mut sources, &[root], &NoFiles);
//! assert!(checked.diagnostics.is_empty());
//!
//! let rules = Rules::compile(checked.rules, &Default::default(), &Default::default()).unwrap();
//! // The reader has taken the 6 for a G, and lost the dash.
//! let reading = Reading::parse("HMFG4S", Notation::default()).unwrap();
//! let day = jiff::civil::date(2026, 11, 25);
//! let ranking = rules.rank(&reading, &Context::on(day), &mut Scratch::default());
//! let best = &ranking.candidates[0];
//! assert_eq!(best.written.as_deref(), Some("HMF64-S"));
//! assert_eq!(best.corrections[0].taken, "6");
//! ```

pub mod analyse;
pub mod board;
pub mod check;
pub mod compile;
pub mod decode;
pub mod diagnostic;
pub mod format;
pub mod glyph;
pub mod model;
#[cfg(feature = "packs")]
pub mod packs;
pub mod rank;
mod rules;
pub mod source;
pub mod store;
pub mod syntax;
pub mod value;
pub mod write;

pub use rules::Rules;
