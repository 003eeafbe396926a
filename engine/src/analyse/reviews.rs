//! Families that nobody has held against their source for long.

use jiff::civil::Date;

use crate::diagnostic::Diagnostic;
use crate::model::RuleSet;

/// One warning for each family whose last review lies more than `years` back; one that was never reviewed is not old.
#[must_use]
pub fn old_reviews(rules: &RuleSet, today: Date, years: u16) -> Vec<Diagnostic> {
    let mut found = Vec::new();
    for family in &rules.families {
        let accepted = family.accepts.iter().any(|a| a.lint == "old-review");
        let Some(day) = family.provenance.reviewed.filter(|_| !accepted) else {
            continue;
        };
        let old = i32::from(today.year())
            - i32::from(day.year())
            - i32::from((today.month(), today.day()) < (day.month(), day.day()));
        if old >= i32::from(years) {
            let title = format!("`{}` was reviewed on {day}, {old} years ago", family.name);
            found.push(
                Diagnostic::new("old-review", family.place, title)
                    .help("hold it against its source, then write the day behind `reviewed`"),
            );
        }
    }
    found
}
