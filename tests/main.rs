//! What a user or a standard would check, on the built binary.

#![allow(clippy::unwrap_used)]

// A fresh folder, the built binary, its output.
mod harness;
// The commands as a user types them: answers, files, wrong use.
mod journeys;
// The promised JSON, against a schema.
mod schema;
// Facts from published sources and the demo's readings, row by row.
mod standards;
// The house rules: layers, lengths, forgotten files, the pages' own examples.
mod tidy;
