//! Is the engine as often right as it says? Marks of known origin, damaged by channels that are not the engine's own and mixed with
//! junk whose share it is not told, against the exact posterior of a reader who knows all that.
//!
//! `cargo bench -p etchlore --bench calibration` prints the tables; the tests here run a small share of the same and hold the bounds
//! loosely, so that a change that spoils the ranking is noticed at once.

mod damage;
mod further;
mod sample;
mod tables;
mod truth;

pub(crate) use tables::{Sizes, contested, run};
