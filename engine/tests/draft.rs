//! Families drafted from the marks of planted ones.

use std::collections::BTreeSet;

use etchlore_engine::analyse::{Corpus, Draft, Drafting, Status, draft, examples};
use etchlore_engine::check::{Checked, check};
use etchlore_engine::compile::Limits;
use etchlore_engine::decode::{Notation, Reading, Scratch};
use etchlore_engine::format::format;
use etchlore_engine::glyph::Confusions;
use etchlore_engine::model::CodeKind;
use etchlore_engine::rank::Context;
use etchlore_engine::source::Sources;
use etchlore_engine::{Rules, write};
use jiff::civil::{Date, date};

use crate::support::lore::Dice;
use crate::support::{Files, rules};

const TODAY: Date = date(2026, 11, 25);

/// Invented families to be found again: a tail after a dash that may be missing, a lot, a second line, mixed letters and digits, signs.
const PLANTED: &str = "lore 1
family zqm   Planted memory
  source \"invented\"
  code ZQM   D    256  A        -  TS
       head  kind size revision -  package
  kind one of \"DSL\"
  size
    64
    256
    1024
  revision one of \"ABC\"
  package
    TS
    BGA
    none
  example ZQMD256A-TS

family vrk   Planted resistor
  source \"invented\"
  code VRK   0603 F         / 1211
       head  size tolerance / date_code
  size
    0402
    0603
    0805
  tolerance one of \"FJ\"
  date_code pattern \"(0[89]|1[0-9])(0[1-9]|[1-4][0-9]|5[0-3])\"
  example VRK0603F/1211

family plt   Planted serial
  source \"invented\"
  top PLTX  7    | K2Z77A
      head  kind | lot
  kind one of \"78\"
  lot 6 alnum each
  example in top \"PLTX7 | K2Z77A\"

family wdo   Planted sign
  source \"invented\"
  code WDO   12    \"+\" B
       head  count \"+\" grade
  count 2 digits
  grade one of \"BC\"
  example \"WDO12+B\"
";

fn dice(seed: u64) -> impl FnMut(u64) -> u64 {
    let mut dice = Dice::new(seed);
    move |bound| dice.below(usize::try_from(bound).unwrap()) as u64
}

/// Members of a planted family as a table holds them.
fn members(planted: &Rules, name: &str, count: usize, seed: u64) -> Vec<String> {
    let set = planted.set();
    let family = set.families.iter().find(|family| family.name == name);
    let mut dice = dice(seed);
    (0..count)
        .filter_map(|_| write::sample(set, family.unwrap(), 0, &mut dice))
        .map(|member| member.reading().replace('\\', ""))
        .collect()
}

fn planted() -> Rules {
    of_text(PLANTED).1
}

/// A text alone, checked and compiled.
fn of_text(text: &str) -> (Vec<String>, Rules) {
    let mut sources = Sources::default();
    let root = sources.add("draft.lore", text.to_owned(), false);
    let Checked { rules, diagnostics } = check(&mut sources, &[root], &Files);
    let said = diagnostics.iter().map(|d| d.code.to_owned()).collect();
    let rules = Rules::compile(rules, &Confusions::default(), &Limits::default()).unwrap();
    (said, rules)
}

fn drafted<S: AsRef<str>>(known: &Rules, marks: impl IntoIterator<Item = S>) -> Draft {
    let how = Drafting {
        today: TODAY,
        jobs: 2,
        least: 5,
    };
    draft(known, &Corpus::of(marks), &how)
}

/// What must hold of every draft: it checks but for what is to be filled in, passes its own examples and is in the canonical layout.
fn sound(draft: &Draft) -> Rules {
    let (said, rules) = of_text(&draft.text);
    assert_eq!(said.len(), draft.families.len(), "{said:?}\n{}", draft.text);
    assert!(said.iter().all(|code| code == "missing-source"), "{said:?}");
    let (tally, faults) = examples(&rules, TODAY, &|_| true);
    assert!(faults.is_empty(), "{:?}\n{}", faults[0].title, draft.text);
    assert!(tally.examples >= draft.families.len());
    assert_eq!(tally.failed, 0);
    let splits = etchlore_engine::analyse::splits(&rules);
    assert!(splits.is_empty(), "{:?}\n{}", splits[0].title, draft.text);
    assert_eq!(format(&draft.text).text, draft.text);
    rules
}

fn family_of(rules: &Rules, mark: &str) -> Option<String> {
    let notation = Notation {
        table: true,
        ..Notation::default()
    };
    let reading = Reading::parse(mark, notation).unwrap();
    let ranking = rules.rank(&reading, &Context::on(TODAY), &mut Scratch::default());
    (Status::of(Some(&ranking)) != Status::None).then(|| {
        rules.set().families[ranking.candidates[0].family.index()]
            .name
            .clone()
    })
}

/// All codes of a drafted family that stand in lists.
fn codes(rules: &Rules, name: &str) -> BTreeSet<String> {
    let mut families = rules.set().families.iter();
    let family = families.find(|family| family.name == name).unwrap();
    let codes = family.slots.iter().filter(|slot| !slot.literal);
    codes
        .flat_map(|slot| &slot.codes)
        .filter_map(|code| match &code.kind {
            CodeKind::Listed(spelling) => Some(spelling.text()),
            _ => None,
        })
        .collect()
}

#[test]
fn planted_families_are_found_with_their_codes() {
    let planted = planted();
    let known = Rules::default();
    let names = ["zqm", "vrk", "plt", "wdo"];
    let mut marks: Vec<String> = Vec::new();
    for (name, seed) in names.iter().zip(1..) {
        marks.extend(members(&planted, name, 300, seed));
    }
    // Marks of no family, each of its own kind.
    let mut dice = Dice::new(77);
    let noise: Vec<String> = (0..40)
        .map(|_| format!("{}{}", dice.below(10), dice.code(6)))
        .collect();
    marks.extend(noise);
    let draft = drafted(&known, &marks);
    let rules = sound(&draft);
    for name in ["zqm", "vrk", "pltx", "wdo"] {
        let found = draft
            .families
            .iter()
            .find(|family| family.stem.to_lowercase() == name);
        let found = found.unwrap_or_else(|| panic!("no family {name}:\n{}", draft.text));
        assert_eq!(found.marks, 300, "{name}:\n{}", draft.text);
    }
    assert_eq!(draft.families.len(), 4, "{}", draft.text);
    let explained: usize = draft.families.iter().map(|family| family.marks).sum();
    let remaining: usize = draft.remaining.iter().map(|group| group.marks).sum();
    let rest = draft.decoded + draft.ambiguous + draft.unreadable;
    assert_eq!(explained + remaining + rest, draft.marks);

    // Members that were not shown.
    for (name, seed) in names.iter().zip(101..) {
        for mark in members(&planted, name, 200, seed) {
            let of = family_of(&rules, &mark);
            assert!(
                of.as_deref().is_some_and(|of| of.starts_with(*name)),
                "{mark} is of {of:?}:\n{}",
                draft.text
            );
        }
    }
    for (family, wanted) in [
        (
            "zqm",
            [
                "D", "S", "L", "64", "256", "1024", "A", "B", "C", "TS", "BGA",
            ]
            .as_slice(),
        ),
        ("vrk", &["0402", "0603", "0805", "F", "J"]),
        ("pltx", &["7", "8"]),
        ("wdo", &["B", "C"]),
    ] {
        let found = codes(&rules, family);
        for code in wanted {
            assert!(found.contains(*code), "{family} {code}: {found:?}");
        }
    }
    // What is no member is none: another size, another number of digits, another class.
    for mark in ["ZQMD512A-TS", "VRK0603Q/1211", "WDO123+B", "PLTX9 | K2Z77A"] {
        let reading = Reading::parse(mark, Notation::default()).unwrap();
        let count = reading.lines.iter().map(|line| line.marks.len()).sum();
        let found = rules
            .decoder()
            .explain(&reading, TODAY, &mut Scratch::default());
        assert!(found.iter().all(|e| !e.is_exact(count)), "{mark}");
    }
}

#[test]
fn what_is_decoded_is_left_out_and_no_name_is_taken_twice() {
    let known = rules(true, &[]);
    let set = known.set();
    let flash = set.families.iter().find(|f| f.name == "hm_flash").unwrap();
    let mut dice = dice(5);
    let decoded: Vec<String> = (0..30)
        .filter_map(|_| write::sample(set, flash, 0, &mut dice))
        .map(|member| member.reading())
        .collect();
    let taken = "lore 1\nfamily zqm   Another\n  source \"invented\"\n  code XYZW  7\n       head tail\n  tail digit\n  example XYZW7\n";
    let known = rules(true, &[("taken.lore", taken)]);
    let marks = members(&planted(), "zqm", 60, 9);
    let draft = drafted(&known, decoded.iter().chain(&marks));
    let rules = sound(&draft);
    assert!(draft.decoded >= 25, "{}", draft.decoded);
    assert_eq!(draft.families.len(), 1);
    assert_eq!(draft.families[0].name, "zqm_2");
    assert_eq!(rules.set().families[0].name, "zqm_2");
    let all = crate::support::checked(true, &[("taken.lore", taken), ("draft.lore", &draft.text)]);
    assert!(!all.1.has_errors());
}

/// Stems that would make names no family can have.
#[test]
fn names_are_valid() {
    for (stem, name) in [
        ("CODE", "code_family"),
        ("NONE", "none_family"),
        ("742", "n_742"),
    ] {
        let codes = ["A1", "B1", "C2", "A7", "B9", "C3", "A5", "B5", "C8", "A0"];
        let marks: Vec<String> = codes.iter().map(|code| format!("{stem}Q{code}")).collect();
        let draft = drafted(&Rules::default(), &marks);
        assert_eq!(draft.families.len(), 1, "{stem}: {draft:?}");
        if stem == "742" {
            assert!(draft.families[0].name.starts_with(name), "{}", draft.text);
        } else {
            let wanted = name.replace("_family", "q");
            assert_eq!(draft.families[0].name, wanted, "{}", draft.text);
        }
        sound(&draft);
    }
    let marks = (0..30).map(|n| format!("CODE-{}", 1000 + n * 37));
    let draft = drafted(&Rules::default(), marks);
    assert_eq!(draft.families[0].name, "code_family", "{}", draft.text);
    sound(&draft);
}

#[test]
fn odd_marks_make_no_odd_rules() {
    let known = Rules::default();
    for none in [
        vec![],
        vec!["QX77"],
        vec!["", "  ", "\t"],
        vec!["-", "/", "???"],
    ] {
        let draft = drafted(&known, &none);
        assert_eq!(draft.text, "");
        assert!(draft.families.is_empty());
    }
    let mut dice = Dice::new(3);
    let signs = [
        "\"",
        "\\",
        "#",
        "{",
        "}",
        "_",
        "?",
        "|",
        ":",
        "::",
        "[",
        "]",
        "..",
        ".",
        "µ",
        "Ω",
        "é",
        "\u{1f600}",
        "\n",
        "\r\n",
        " ",
        "\t",
        "-",
        "--",
        "/",
        "~",
        "!",
        "'",
        "\0",
        "\u{fffd}",
        ",",
        "=",
        "(",
        "{:e3}",
        ":e3:",
    ];
    for sign in signs {
        let mut marks = Vec::new();
        for n in 0..60 {
            let lot = 1000 + dice.below(9000);
            marks.push(format!("ZRW{sign}{}K{lot}", n % 3));
            marks.push(format!("{sign}YB{}{sign}{lot}{sign}", ["A", "B"][n % 2]));
        }
        let draft = drafted(&known, &marks);
        if !draft.text.is_empty() {
            sound(&draft);
        }
    }
    // Random bytes of all kinds.
    let mut marks = Vec::new();
    for _ in 0..3000 {
        let head = dice.pick(&["QZ", "QZA", "KW7", "74Q", "ab-c"]);
        let tail: String = (0..dice.below(7))
            .map(|_| dice.pick(&["A", "7", "b", "-", " ", ".", "é", "\"", "4", "\n", "/"]))
            .collect();
        marks.push(format!("{head}{tail}"));
    }
    let draft = drafted(&known, &marks);
    if !draft.text.is_empty() {
        sound(&draft);
    }
}

/// Optional places never make a text ambiguous, whichever marks come together.
#[test]
fn random_families_give_sound_drafts() {
    let known = Rules::default();
    let mut dice = Dice::new(11);
    for _ in 0..60 {
        let kinds = 1 + dice.below(3);
        let mut marks = Vec::new();
        for kind in 0..kinds {
            let parts: Vec<Vec<String>> = (0..1 + dice.below(5))
                .map(|_| (0..1 + dice.below(9)).map(|_| dice.code(3)).collect())
                .collect();
            for _ in 0..10 + dice.below(200) {
                let mut mark = ["ZK", "ZKB", "ZP3"][kind].to_owned();
                for part in &parts {
                    if !dice.chance(4) {
                        mark.push_str(dice.pick(&["", "", "-", " "]));
                        mark.push_str(&part[dice.below(part.len())]);
                    }
                }
                marks.push(mark);
            }
        }
        let draft = drafted(&known, &marks);
        if !draft.text.is_empty() {
            sound(&draft);
        }
    }
}

#[test]
fn a_draft_reads_well() {
    let planted = planted();
    let mut marks = members(&planted, "zqm", 120, 1);
    marks.extend(members(&planted, "vrk", 90, 2));
    marks.extend(members(&planted, "plt", 20, 3));
    let draft = drafted(&Rules::default(), &marks);
    insta::assert_snapshot!(draft.text);
}
