//! `rules list`

use etchlore_engine::model::Family;
use serde_json::{Value as Json, json};

use crate::args::{GlobalArgs, ListArgs, Output};
use crate::console::{Console, Label};
use crate::failure::{Failure, Status};
use crate::present::wire;
use crate::rules::load;

pub(crate) fn run(
    args: &ListArgs,
    global: &GlobalArgs,
    console: &mut Console,
) -> Result<Status, Failure> {
    let loaded = load(global, console)?;
    let set = loaded.rules.set();
    let maker = |family: &Family| family.maker.map(|maker| &set.makers[maker.index()]);
    let wanted = |family: &&Family| {
        let of_maker = args.maker.as_ref().is_none_or(|wanted| {
            let wanted = wanted.to_lowercase();
            maker(family).is_some_and(|m| {
                m.name.to_lowercase().contains(&wanted) || m.title.to_lowercase().contains(&wanted)
            })
        });
        let of_function = args.function.as_ref().is_none_or(|wanted| {
            family
                .function
                .as_ref()
                .is_some_and(|f| f == wanted || f.starts_with(&format!("{wanted}/")))
        });
        of_maker && of_function && !family.forms.is_empty()
    };
    let mut families: Vec<&Family> = set.families.iter().filter(wanted).collect();
    families.sort_by(|a, b| (&a.function, &a.name).cmp(&(&b.function, &b.name)));
    if global.output == Output::Text {
        let mut function = None;
        let widest = families
            .iter()
            .map(|family| family.name.len())
            .max()
            .unwrap_or(0);
        for family in &families {
            if function != Some(&family.function) {
                function = Some(&family.function);
                let head = console.paint(
                    Label::Head,
                    family.function.as_deref().unwrap_or("without a function"),
                );
                console.line(&head)?;
            }
            let of = maker(family)
                .map(|maker| format!(", {}", maker.title))
                .unwrap_or_default();
            console.line(&format!("  {:widest$}  {}{of}", family.name, family.title))?;
        }
        console.line(&format!("{} families", families.len()))?;
        return Ok(Status::Done);
    }
    let rows: Vec<Json> = families
        .iter()
        .map(|family| {
            json!({
                "family": family.name, "title": family.title,
                "maker": maker(family).map(|maker| maker.title.clone()),
                "function": family.function,
                "source": family.provenance.source,
                "standing": wire::standing(family.provenance.standing.unwrap_or_default()),
                "reviewed": family.provenance.reviewed.map(|day| day.to_string()),
                "rule": loaded.sources.file_line(family.place),
                "examples": family.examples.len(),
            })
        })
        .collect();
    if global.output == Output::Jsonl {
        for row in &rows {
            console.line(&row.to_string())?;
        }
    } else {
        console.line(&wire::with_head(
            Some(loaded.digest()),
            [("families", Json::Array(rows))].into(),
        )?)?;
    }
    Ok(Status::Done)
}
