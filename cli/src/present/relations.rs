//! What a part has to do with others, one line each, beneath its fields.

use etchlore_engine::model::FamilyId;
use etchlore_engine::rank::Candidate;

use super::text::{beside, percent};
use super::wire::standing;
use crate::console::{Console, Label};
use crate::failure::Failure;
use crate::rules::Loaded;

pub(crate) fn text(
    loaded: &Loaded,
    candidate: &Candidate,
    console: &mut Console,
) -> Result<(), Failure> {
    let set = loaded.rules.set();
    let named = |id: FamilyId| {
        let family = &set.families[id.index()];
        let maker = family
            .maker
            .map(|maker| format!(", {}", set.makers[maker.index()].title));
        format!("{}{}", family.title, maker.unwrap_or_default())
    };
    let known = &candidate.relations;
    if let Some(stands) = &known.stands_for {
        let mut line = format!("{} stands for {}", stands.code, named(stands.family));
        match &stands.written {
            Some(written) => line.push_str(&format!(", {written}")),
            None => line.push_str(", any of them"),
        }
        line.push_str(&format!(" ({}", standing(stands.standing)));
        for more in [&stands.source, &stands.note].into_iter().flatten() {
            line.push_str(&format!("; {more}"));
        }
        line.push(')');
        beside(console, "  is", Label::Good, &line)?;
    }
    let mut inside = Vec::new();
    for content in &known.contains {
        let mut line = format!("{} of {}", content.count, named(content.family));
        if let Some(reading) = &content.reading {
            line.push_str(&format!(" {reading}"));
        }
        if let Some(p) = content.probability {
            line.push_str(&format!(" ({})", percent(p)));
        }
        inside.push(line);
    }
    if !inside.is_empty() {
        beside(console, "  inside", Label::Good, &inside.join("; "))?;
    }
    for one in &known.succeeds {
        let before = one.before.join(", before it ");
        let line = format!("{} {} follows {before}", one.slot, one.code);
        beside(console, "  after", Label::Faint, &line)?;
    }
    if let Some(first) = known.second_source {
        let line = format!("a second source of {}", named(first));
        beside(console, "  second", Label::Faint, &line)?;
    }
    Ok(())
}
