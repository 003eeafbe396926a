//! Trees -> model: names, `use`, types and units, and the lints that tree and model alone can answer.

mod codes;
mod conds;
mod csv_table;
mod cx;
mod derived;
mod family;
mod files;
mod follow;
mod lint;
mod pattern;
mod rows;
pub mod vocabulary;

use std::collections::HashMap;

use crate::diagnostic::{Diagnostic, Severity};
use crate::model::RuleSet;
use crate::source::{Loader, SourceId, Sources};
use cx::Cx;

/// A checked rule set.
#[derive(Debug, Clone, Default)]
pub struct Checked {
    /// What could be understood.
    pub rules: RuleSet,
    /// What is wrong, by place.
    pub diagnostics: Vec<Diagnostic>,
}

impl Checked {
    /// Whether there is an error among the diagnostics.
    #[must_use]
    pub fn has_errors(&self) -> bool {
        self.diagnostics
            .iter()
            .any(|diagnostic| diagnostic.severity == Severity::Error)
    }
}

/// Checks the texts `roots` with all that they use. Texts found through `use` and `from` are added to `sources`.
///
/// A family with an error in it is still in the model as far as it could be understood; use the model only where
/// [`Checked::has_errors`] is false.
pub fn check(sources: &mut Sources, roots: &[SourceId], loader: &dyn Loader) -> Checked {
    let mut cx = Cx {
        sources,
        loader,
        files: Vec::new(),
        fields: Vec::new(),
        field_ids: HashMap::new(),
        diagnostics: Vec::new(),
    };
    files::load(&mut cx, roots);
    let declared = files::declare(&mut cx);
    let mut rules = RuleSet {
        makers: files::makers(&mut cx, &declared),
        ..RuleSet::default()
    };
    for (file, node) in &declared.families {
        rules
            .families
            .push(family::build(&mut cx, *file, *node, &declared));
    }
    rules.fields = std::mem::take(&mut cx.fields);
    lint::lint(&mut cx, &rules);
    let mut diagnostics = std::mem::take(&mut cx.diagnostics);
    follow::drop_consequences(&cx, &mut diagnostics);
    diagnostics.sort_by_key(Diagnostic::place);
    diagnostics.dedup();
    Checked { rules, diagnostics }
}
