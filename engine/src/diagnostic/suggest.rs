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

/// Longest name that is compared.
const LONGEST: usize = 63;

/// Letters inserted, dropped, changed or swapped with their neighbour; `usize::MAX` for what is longer than any name. Asked often, so
/// without a table on the heap: only the last three of its rows are needed.
fn distance(a: &str, b: &str) -> usize {
    let mut letters = ['\0'; LONGEST];
    let mut length = 0;
    for c in b.chars() {
        if length == LONGEST {
            return usize::MAX;
        }
        letters[length] = c;
        length += 1;
    }
    let b = &letters[..length];
    let mut before = [0_usize; LONGEST + 1];
    let mut above: [usize; LONGEST + 1] = std::array::from_fn(|j| j);
    let mut last = None;
    for (i, c) in a.chars().enumerate() {
        let mut row = [0_usize; LONGEST + 1];
        row[0] = i + 1;
        for j in 1..=b.len() {
            let change = usize::from(c != b[j - 1]);
            let mut best = (above[j] + 1)
                .min(row[j - 1] + 1)
                .min(above[j - 1] + change);
            if j > 1 && last == Some(b[j - 1]) && c == b[j - 2] {
                best = best.min(before[j - 2] + 1);
            }
            row[j] = best;
        }
        before = above;
        above = row;
        last = Some(c);
    }
    above[b.len()]
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
