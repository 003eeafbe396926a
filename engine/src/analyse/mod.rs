//! Questions about a rule set that need the decoder.

mod changes;
mod corpus;
mod coverage;
mod draft;
mod edits;
mod examples;
pub mod overlaps;
mod reviews;
mod shape;
mod splits;

pub use changes::{Answer, Cause, Change, Changes, Comparing, changes};
pub use corpus::{Corpus, DECODED, Status, UNDECODED};
pub use coverage::{Coverage, FamilyCoverage, Group, Unused, coverage};
pub use draft::{Draft, Drafted, Drafting, draft};
pub use edits::{Edit, Part, edits};
pub use examples::{ExampleTally, examples};
pub use reviews::old_reviews;
pub use shape::shape;
pub use splits::splits;
