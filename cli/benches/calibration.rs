//! Prints how well the probabilities are calibrated: `cargo bench -p etchlore --bench calibration -- [FACTOR] [TABLE]`. FACTOR times the
//! cases; TABLE is one of contested, regret, drift, depth, junk, cost, specimens, standing, looks.

#![allow(
    clippy::unwrap_used,
    clippy::print_stdout,
    unreachable_pub,
    unused_imports,
    dead_code
)]

#[path = "../../tests/calibration/mod.rs"]
mod calibration;
#[path = "../../engine/tests/support/mod.rs"]
mod support;

fn main() {
    let words: Vec<String> = std::env::args()
        .skip(1)
        .filter(|word| !word.starts_with('-'))
        .collect();
    let times = words.iter().find_map(|word| word.parse::<f64>().ok());
    let only = words.iter().find(|word| word.parse::<f64>().is_err());
    let rules = support::rules(true, &[]);
    print!(
        "{}",
        calibration::run(
            &rules,
            &calibration::Sizes::full(times.unwrap_or(1.0)),
            only.map(String::as_str)
        )
    );
}
