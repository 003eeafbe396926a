//! What a user or a standard would check, on the built binary.

#![allow(clippy::unwrap_used)]

// Whether answers are right as often as they say.
mod calibrated;
#[allow(dead_code, unused_imports)]
mod calibration;
// What others state of real parts.
mod facts;
// A fresh folder, the built binary, its output.
mod harness;
// The commands as a user types them: answers, files, wrong use.
mod journeys;
// The promised JSON, against a schema.
mod schema;
// The reference decoder, and rule sets for it.
#[path = "../engine/tests/support/mod.rs"]
#[allow(dead_code)]
mod support;
// Facts from published sources and the demo's readings, row by row.
mod standards;
// The house rules: layers, lengths, forgotten files, the pages' own examples.
mod tidy;
