//! The engine as a library user sees it, in one binary.

#![allow(clippy::unwrap_used, clippy::disallowed_methods)]

// What an edit changes, and what a corpus covers.
mod changes;
// Families drafted from marks.
mod draft;
// The formatter changes the looks of a rule file and nothing else.
mod format;
// Every lint has its mend.
mod mends;
// Strings that two families claim.
mod overlaps;
// What holds for every family, the reference decoder included.
mod properties;
// What each stage says of rule texts.
mod stages;
// Checked rules as bytes.
mod store;
// Rules to test with, and the reference decoder.
mod support;
// Codes to string and back.
mod writing;
