//! Questions about a rule set that need the decoder.

mod examples;
mod splits;

pub use examples::{ExampleTally, examples};
pub use splits::splits;
