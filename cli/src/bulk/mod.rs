//! A table through the decoder: rows in, the same rows out with the answers beside them.
//!
//! ```text
//! table --run--> batches --(threads) work: cells -> ask (memo, decoder) -> answer -> row--> in order --> table
//!                                          cells -> claims -> findings                  tally -> summary
//! ```
//!
//! Does not know: how tables are packed, encoded and parted into records (`table`), rules (`engine`).

mod answer;
mod ask;
mod claims;
mod columns;
mod input;
mod job;
mod look;
mod memo;
mod output;
mod progress;
mod quantities;
mod run;
mod summary;
mod tally;
pub(crate) mod undecoded;
mod want;
mod work;

pub(crate) use columns::{Sample, choose};
pub(crate) use input::{Input, unreadable};
pub(crate) use job::bulk;
pub(crate) use look::words;
