//! Questions about a rule set that need the decoder.

mod examples;
mod shape;
mod splits;

pub use examples::{ExampleTally, examples};
pub use shape::shape;
pub use splits::splits;
