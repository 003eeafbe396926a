//! Near names for "did you mean".

/// Longest name that is compared, in bytes: what is longer is no misspelt name, and dear to compare.
const LONGEST: usize = 63;

/// Up to three of `names` that differ from `name` by few letters, nearest first.
pub fn near<'a>(name: &str, names: impl IntoIterator<Item = &'a str>) -> Vec<&'a str> {
    within(name, names, (name.chars().count() / 3).clamp(1, 3))
}

/// Up to three of `names` at most `bound` letters away, nearest first.
pub(crate) fn within<'a>(
    name: &str,
    names: impl IntoIterator<Item = &'a str>,
    bound: usize,
) -> Vec<&'a str> {
    if name.len() > LONGEST {
        return Vec::new();
    }
    // Letters inserted, dropped, changed or swapped with their neighbour.
    let mut found: Vec<(usize, &str)> = names
        .into_iter()
        .filter(|other| other.len().abs_diff(name.len()) <= bound + 1)
        .map(|other| (strsim::osa_distance(name, other), other))
        .filter(|(d, _)| *d <= bound)
        .collect();
    found.sort_unstable();
    found.dedup();
    found.truncate(3);
    found.into_iter().map(|(_, name)| name).collect()
}

#[cfg(test)]
mod tests {
    use super::near;

    #[test]
    fn near_names_come_nearest_first() {
        assert_eq!(
            near("densty", ["density", "depth", "die_density"]),
            ["density"]
        );
        assert_eq!(near("widht", ["width", "weight"]), ["width"]);
        assert!(near("package", ["pins", "lot"]).is_empty());
    }
}
