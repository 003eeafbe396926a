//! Prints how well the probabilities are calibrated: `cargo bench -p etchlore --bench calibration`. With a number as argument, that
//! many times the cases.

#![allow(clippy::unwrap_used, clippy::print_stdout, unreachable_pub, dead_code)]

#[path = "../../tests/calibration/mod.rs"]
mod calibration;
#[path = "../../engine/tests/support/mod.rs"]
mod support;

fn main() {
    let times = std::env::args()
        .skip(1)
        .find_map(|word| word.parse::<f64>().ok());
    let rules = support::rules(true, &[]);
    print!(
        "{}",
        calibration::run(&rules, &calibration::Sizes::full(times.unwrap_or(1.0)))
    );
}
