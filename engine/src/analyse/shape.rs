//! Groups marks that no rule explains: by how they begin and how they go on.

/// Letters at the beginning that are kept: about as many as name a series.
const STEM: usize = 4;
/// The longest shape; what is longer is cut.
const LONGEST: usize = 48;

/// The shape of a mark: the letters that it begins with, then `#` for a run of digits, `@` for a run of letters, other characters as
/// they are. Marks of one series mostly share a shape, so that one new rule explains many of them.
///
/// ```
/// use etchlore_engine::analyse::shape;
/// assert_eq!(shape("HMS4D1G16A-F6"), "HMS#@#@#@-@#");
/// assert_eq!(shape("hms4s6416-tsi"), "HMS#@#-@");
/// assert_eq!(shape("74LVC1G08"), "#@#@#");
/// ```
#[must_use]
pub fn shape(mark: &str) -> String {
    let mut shape = String::with_capacity(16);
    let mut stem = true;
    let mut run = '\0';
    for c in mark.trim().chars() {
        if shape.len() >= LONGEST {
            shape.push('…');
            break;
        }
        if c.is_alphabetic() && stem && shape.chars().count() < STEM {
            shape.extend(c.to_uppercase());
            continue;
        }
        stem = false;
        let class = match c {
            c if c.is_numeric() => '#',
            c if c.is_alphabetic() => '@',
            c if c.is_whitespace() => ' ',
            c if c.is_control() => '\u{fffd}',
            c => c,
        };
        if class != run || !matches!(class, '#' | '@' | ' ') {
            shape.push(class);
        }
        run = class;
    }
    shape
}

#[cfg(test)]
mod tests {
    use super::{LONGEST, shape};

    #[test]
    fn one_series_has_one_shape() {
        assert_eq!(shape("CC0603JRX7R8BB223"), shape("CC1206KRX5R7BB106"));
        assert_ne!(shape("CC0603JRX7R8BB223"), shape("RC0603JR-07220RL"));
        assert_eq!(shape("  q-77  x "), "Q-# @");
        assert_eq!(shape("customer"), "CUST@");
        assert_eq!(shape(""), "");
    }

    #[test]
    fn a_shape_is_short() {
        let long = "1A".repeat(1000);
        assert!(shape(&long).len() <= LONGEST + 4);
    }
}
