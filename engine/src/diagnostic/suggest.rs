//! Near names for "did you mean".

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
    let mut found: Vec<(usize, &str)> = names
        .into_iter()
        .filter(|other| other.len().abs_diff(name.len()) <= bound + 1)
        .map(|other| (distance(name, other), other))
        .filter(|(d, _)| *d <= bound)
        .collect();
    found.sort_unstable();
    found.dedup();
    found.truncate(3);
    found.into_iter().map(|(_, name)| name).collect()
}

/// Letters inserted, dropped, changed or swapped with their neighbour.
fn distance(a: &str, b: &str) -> usize {
    let (a, b): (Vec<char>, Vec<char>) = (a.chars().collect(), b.chars().collect());
    if a.len().abs_diff(b.len()) > 3 {
        return usize::MAX;
    }
    let mut rows = vec![vec![0; b.len() + 1]; a.len() + 1];
    for (i, row) in rows.iter_mut().enumerate() {
        row[0] = i;
    }
    rows[0] = (0..=b.len()).collect();
    for i in 1..=a.len() {
        for j in 1..=b.len() {
            let change = usize::from(a[i - 1] != b[j - 1]);
            let mut best = (rows[i - 1][j] + 1)
                .min(rows[i][j - 1] + 1)
                .min(rows[i - 1][j - 1] + change);
            if i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1] {
                best = best.min(rows[i - 2][j - 2] + 1);
            }
            rows[i][j] = best;
        }
    }
    rows[a.len()][b.len()]
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
