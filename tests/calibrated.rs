//! A small share of the calibration, with loose bounds: a change that spoils the ranking is noticed at once.

use crate::calibration::contested;
use crate::support;

#[test]
fn answers_are_right_about_as_often_as_they_say() {
    let found = contested(&support::rules(true, &[]), 2_000, 0.3);
    let (identities, fields) = (&found.identities, &found.fields);
    assert!(identities.cases() > 400, "{}", found.text);
    assert!(identities.error() < 0.08, "{}", found.text);
    assert!(fields.cases() > 200, "{}", found.text);
    assert!(fields.error() < 0.10, "{}", found.text);
}
