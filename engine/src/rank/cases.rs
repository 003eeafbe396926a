//! What confirmed cases say of the next one.

/// Cases of one family beyond which more say nothing.
const MOST: usize = 10;

/// By how much a family that a lab has confirmed so often is likelier to be met there again: one case doubles its odds, ten or more
/// make them eleven times what they were. A stated belief: a lab meets few products and meets their parts again; it is capped, so
/// that no count makes a family certain.
#[must_use]
pub fn confirmed(cases: usize) -> f64 {
    1.0 + cases.min(MOST) as f64
}
