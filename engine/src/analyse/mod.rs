//! Questions about a rule set that need the decoder.

mod examples;

pub use examples::{ExampleTally, examples};
