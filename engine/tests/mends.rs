//! Every lint has a way out: its case file, mended as its message says, is silent. And a mend that a message carries does away with it.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use etchlore_engine::diagnostic::{Applicability, CODES, Diagnostic, Severity, mend};

use crate::support::{lore_files, said};

/// Lint, what stands in its case file, and what the keeper writes instead.
const MENDS: &[(&str, &[(&str, &str)])] = &[
    ("near-field", &[("densiti", "density")]),
    (
        "unreachable-entry",
        &[("    2         when head QX and not head QX\n", "    2\n")],
    ),
    (
        "missing-example",
        &[("    1\n    2\n", "    1\n    2\n  example     QX1\n")],
    ),
    (
        "missing-source",
        &[("  code ", "  source      \"bench notes\"\n  code ")],
    ),
    ("ambiguous-split", &[("one         1..2", "one         2")]),
    (
        "form-missing",
        &[(
            "  kind\n",
            "  code        QX    1\n              head  kind\n  kind\n",
        )],
    ),
    ("unused-slot", &[("  sorce       \"bench notes\"\n", "")]),
    (
        "unused-table",
        &[(
            "  size gives density Mbit\n    64 64\n    128 128\n",
            "  size sizes\n",
        )],
    ),
    (
        "idle-never",
        &[
            ("  never kind A and kind B\n", ""),
            ("never kind A or B", "never kind B and size 2"),
        ],
    ),
    ("idle-weight", &[("B  weight 3", "B")]),
    (
        "outside-window",
        &[("since 2014", "since 2010"), ("until 1999", "until 2009")],
    ),
    ("doubtful-letter", &[("1O 10", "10 10")]),
    (
        "idle-accept",
        &[
            ("  accept missing-source  note \"house rule\"\n", ""),
            ("  accept missing-exampel  note \"none was seen\"\n", ""),
        ],
    ),
    (
        "example-second",
        &[(
            "  example QX17",
            "  accept example-second  note \"rarer, and known to be\"\n  example QX17",
        )],
    ),
    ("old-review", &[("2014-02-01", "2026-02-01")]),
    (
        "overlap",
        &[(
            "accept overlap hm_other  note \"same mask, two names\"",
            "accept overlap old_sdram  note \"the same parts\"",
        )],
    ),
];

fn cases() -> Vec<PathBuf> {
    let mut files = Vec::new();
    lore_files(
        Path::new(concat!(env!("CARGO_MANIFEST_DIR"), "/tests/cases")),
        &mut files,
    );
    files
}

fn codes(all: &[Diagnostic]) -> Vec<&'static str> {
    all.iter().map(|fault| fault.code).collect()
}

#[test]
fn every_lint_is_silent_once_it_is_mended() {
    let cases = cases();
    for (lint, edits) in MENDS {
        let mut files = cases.iter();
        let case = files
            .find(|file| file.file_stem().is_some_and(|stem| stem == *lint))
            .unwrap_or_else(|| panic!("{lint} has no case"));
        let mut text = std::fs::read_to_string(case).unwrap();
        assert!(codes(&said(case, &text).1).contains(lint), "{lint}");
        for (was, now) in *edits {
            assert!(text.contains(was), "{lint}: {was}");
            text = text.replace(was, now);
        }
        let (sources, left) = said(case, &text);
        let left: Vec<String> = left.iter().map(|fault| fault.plain(&sources)).collect();
        assert!(left.is_empty(), "{lint}:\n{}", left.join("\n"));
    }
    let mended: BTreeSet<&str> = MENDS.iter().map(|(lint, _)| *lint).collect();
    let lints: BTreeSet<&str> = CODES
        .iter()
        .filter(|info| info.severity == Severity::Warning)
        .map(|info| info.code)
        .collect();
    assert_eq!(mended, lints, "each lint has its mend here");
}

#[test]
fn every_mend_of_a_message_does_away_with_it() {
    let mut tried = BTreeSet::new();
    for case in cases() {
        let text = std::fs::read_to_string(&case).unwrap();
        let (sources, all) = said(&case, &text);
        for fault in all.iter().filter(|fault| !fault.fixes.is_empty()) {
            for fix in &fault.fixes {
                // A mend that is a guess is applied as if a person had looked at it.
                let mut alone = fault.clone();
                alone.fixes = vec![fix.clone()];
                alone.fixes[0].applicability = Applicability::Safe;
                let place = fault.place().unwrap();
                let own = sources.text(place.source);
                if own != text {
                    continue;
                }
                let mended = mend(place.source, own, &[alone]).text;
                assert_ne!(mended, text, "{}: {}", case.display(), fix.title);
                let (_, after) = said(&case, &mended);
                // A fault that is said once for many lines may stand in the next one.
                let stays = |left: &Diagnostic| {
                    let start = |fault: &Diagnostic| fault.place().map(|at| at.span.start);
                    left.code == fault.code && start(left) == start(fault)
                };
                assert!(
                    !after.iter().any(stays) && after.len() <= all.len(),
                    "{}: `{}` leaves {:?}",
                    case.display(),
                    fix.title,
                    codes(&after)
                );
                tried.insert(fault.code);
            }
        }
    }
    assert!(tried.len() >= 6, "mends of {tried:?}");
}
