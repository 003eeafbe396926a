//! Checks the embedded rules once, so that no run has to: the program holds them as checked.

use std::path::Path;

use etchlore_engine::diagnostic::Severity;
use etchlore_engine::{packs, store};

fn main() {
    // The engine with its packs is a dependency, so a change of either runs this again.
    println!("cargo::rerun-if-changed=build.rs");
    let (sources, checked) = packs::checked();
    let errors = checked
        .diagnostics
        .iter()
        .filter(|fault| fault.severity == Severity::Error);
    for error in errors {
        let place = error
            .labels
            .first()
            .map(|label| sources.file_line(label.place));
        println!(
            "cargo::error={}: {}",
            place.unwrap_or_default(),
            error.title
        );
    }
    let folder = std::env::var("OUT_DIR").expect("cargo names the folder");
    let bytes = store::write(&checked.rules, &sources).expect("no number of a rule is undefined");
    std::fs::write(Path::new(&folder).join("packs"), bytes).expect("the folder takes a file");
}
