//! Coverage of a corpus, and what decodes differently after an edit.

use etchlore_engine::Rules;
use etchlore_engine::analyse::{Changes, Comparing, Corpus, changes, coverage};
use etchlore_engine::decode::Effort;
use etchlore_engine::write::sample;
use jiff::civil::{Date, date};

use crate::support::lore::Dice;

const TODAY: Date = date(2026, 11, 25);

/// Two families that share a table; `EDITED` is edited below.
const RULES: &str = "lore 1
maker halvorsen   Halvorsen Memory AS
maker lindqvist   Lindqvist Halvledare AB

table sizes   gives density Mbit
  64    64
  128   128

family hm_flash   Flash HMF
  maker halvorsen
  function memory/nor
  source \"guide 1\"
  code HMF    64   A     -  S        C
       series size revision - package grade
  top  series size revision package grade
  size sizes
  revision one of \"ABC\"
  package gives package, pins
    S  \"SOIC-8\", 8   prints SO in top
    W  \"WSON-8\", 8
    N  \"SOIC-8 narrow\", 8
  grade gives temperature degC
    C  0..70   weight 8
    I  -40..85
  half = density / 8
  never package W and grade I note \"not made\"
  example HMF64A-SC

family lq_flash   Flash LQF
  maker lindqvist
  function memory/nor
  source \"guide 2\"
  code LQF    64   B
       series size revision
  size sizes
  revision one of \"BC\"
  example LQF64B
";

fn rules(text: &str) -> Rules {
    crate::support::rules(false, &[("lab.lore", text)])
}

fn how(threshold: f64) -> Comparing {
    Comparing {
        today: TODAY,
        threshold,
        jobs: 2,
        effort: Effort::Enough,
        settings_differ: false,
    }
}

/// An edit, a marking that it changes, and how the cause is named.
const EDITS: &[(&str, &str, &str, &str, &str)] = &[
    (
        "an entry is new",
        "  128   128\n",
        "  128   128\n  256   256\n",
        "HMF256A-SC",
        "hm_flash: `size` 256 is new",
    ),
    (
        "an entry is gone",
        "    N  \"SOIC-8 narrow\", 8\n",
        "",
        "HMF64A-NC",
        "hm_flash: `package` N was removed",
    ),
    (
        "another value",
        "    W  \"WSON-8\", 8",
        "    W  \"WSON-8\", 9",
        "HMF64A-WC",
        "hm_flash: `package` W: pins 8, now 9",
    ),
    (
        "a shared table",
        "  64    64\n",
        "  64    65\n",
        "LQF64B",
        "lq_flash: `size` 64: density 64 Mbit, now 65 Mbit",
    ),
    (
        "another print",
        "prints SO in top",
        "prints WW99 in top",
        "HMF128BSOC",
        "hm_flash: `package` S: prints SO in top, now WW99 in top",
    ),
    (
        "a guard",
        "    N  \"SOIC-8 narrow\", 8",
        "    N  \"SOIC-8 narrow\", 8  when size 128",
        "HMF64A-NC",
        "hm_flash: `package` N: now when size 128",
    ),
    (
        "a weight",
        "    I  -40..85",
        "    I  -40..85  weight 400",
        "HMF64A-S",
        "hm_flash: `grade` I: now weight 400",
    ),
    (
        "a form is gone",
        "  top  series size revision package grade\n",
        "",
        "HMF64ASOC",
        "hm_flash: the form top was removed",
    ),
    (
        "a family is new",
        "family lq_flash",
        "family zz_new   Something new\n  function sensor\n  source \"guide 3\"\n  code ZZNEW 7\n       head tail\n  tail digit\n  example ZZNEW7\n\nfamily lq_flash",
        "ZZNEW5",
        "zz_new: the family is new",
    ),
    (
        "a derived field",
        "  half = density / 8",
        "  half = density / 16",
        "HMF64A-SC",
        "hm_flash: the field `half`: = (density / 8), now (density / 16)",
    ),
    (
        "what is not made",
        "  never package W and grade I note \"not made\"\n",
        "",
        "HMF64A-WI",
        "hm_flash: what is not made was removed (never package W and grade I)",
    ),
    (
        "another maker's weight",
        "  source \"guide 2\"\n",
        "  source \"guide 2\"\n  weight 0.0000001\n",
        "LQF64B",
        "lq_flash: the family: weight 1, now 0.0000001",
    ),
];

/// The marks that change, with the texts of the edits named for each.
fn named(found: &Changes) -> Vec<(String, Vec<String>)> {
    let mut all = Vec::new();
    for cause in &found.causes {
        let edits: Vec<String> = cause
            .edits
            .iter()
            .map(|at| format!("{}: {}", found.edits[*at].family, found.edits[*at].text))
            .collect();
        for at in &cause.changed {
            all.push((found.changed[*at].mark.clone(), edits.clone()));
        }
    }
    all
}

#[test]
fn each_kind_of_edit_is_found_with_its_cause() {
    let old = rules(RULES);
    let marks: Vec<&str> = EDITS.iter().map(|(_, _, _, mark, _)| *mark).collect();
    let corpus = Corpus::of(
        marks
            .iter()
            .copied()
            .chain(["W25Q128JVSIQ", "K7 note", "HMF128C-SC"]),
    );
    for (what, from, to, mark, cause) in EDITS {
        assert!(RULES.contains(from), "{what}");
        let edited = rules(&RULES.replacen(from, to, 1));
        let found = changes(&old, &edited, &corpus, &how(0.02));
        let all = named(&found);
        let of_mark = all.iter().find(|(changed, _)| changed == mark);
        let (_, edits) =
            of_mark.unwrap_or_else(|| panic!("{what}: {mark} does not change: {:?}", found.edits));
        assert!(
            edits.iter().any(|edit| edit.starts_with(cause)),
            "{what}: {edits:#?}"
        );
        assert!(
            all.iter()
                .all(|(changed, _)| !changed.starts_with("W25Q") && changed != "K7 note"),
            "{what}: {all:?}"
        );
    }
}

#[test]
fn an_edit_that_changes_nothing_is_silent() {
    let old = rules(RULES);
    let corpus = Corpus::of(EDITS.iter().map(|(_, _, _, mark, _)| *mark));
    let same = [
        RULES.replace("  grade gives", "# a remark\n  grade   gives"),
        RULES.replace("guide 1", "guide 1, second edition"),
        RULES.replace(
            "  example HMF64A-SC\n",
            "  example HMF64A-SC\n  example HMF128B-WC\n",
        ),
        RULES.replace(
            "    C  0..70   weight 8\n    I  -40..85\n",
            "    I  -40..85\n    C  0..70   weight 8\n",
        ),
        etchlore_engine::format::format(RULES).text,
    ];
    for text in same {
        assert_ne!(text, RULES);
        let found = changes(&old, &rules(&text), &corpus, &how(0.0));
        assert_eq!(found.edits, [], "{text}");
        assert_eq!(found.changed, []);
    }
}

/// A code that stands for a part of another family says what that says; so an edit of the one changes answers of the other.
#[test]
fn an_edit_behind_a_code_that_stands_for_a_part_is_found() {
    let text = format!(
        "{RULES}
family hm_short   Short marks
  function memory/nor
  source \"guide 3\"
  short QXR    7
        stem   site
  stem
    QXR  stands hm_flash HMF64A-SC
  site digit
  example in short QXR7
"
    );
    let old = rules(&text);
    let new = rules(&text.replace("    S  \"SOIC-8\", 8", "    S  \"SOIC-8\", 9"));
    let found = changes(&old, &new, &Corpus::of(["QXR7"]), &how(0.05));
    let fields = [(
        "pins".to_owned(),
        Some("8".to_owned()),
        Some("9".to_owned()),
    )];
    assert_eq!(found.changed.len(), 1);
    assert_eq!(found.changed[0].fields, fields);
    let causes = named(&found);
    assert_eq!(causes[0].1, ["hm_flash: `package` S: pins 8, now 9"]);
}

#[test]
fn asking_only_the_families_edited_misses_nothing() {
    let old = rules(RULES);
    let edited = RULES
        .replace("    S  \"SOIC-8\", 8", "    S  \"SOIC-8\", 7")
        .replace("one of \"BC\"", "one of \"BCD\"");
    let new = rules(&edited);
    let mut dice = Dice::new(5);
    let set = old.set();
    let mut marks = Vec::new();
    while marks.len() < 600 {
        let family = &set.families[if dice.chance(3) {
            set.families.len() - 1 - dice.below(2)
        } else {
            dice.below(set.families.len())
        }];
        let form = dice.below(family.forms.len());
        let mut random = |bound: u64| dice.below(bound as usize) as u64;
        if family.forms.is_empty() {
            continue;
        }
        let Some(member) = sample(set, family, form, &mut random) else {
            continue;
        };
        let mut text: Vec<char> = member.reading().chars().collect();
        if dice.chance(3) {
            let at = dice.below(text.len());
            text[at] = ['0', 'S', 'X', '-'][dice.below(4)];
        }
        marks.push(text.into_iter().collect::<String>());
    }
    let corpus = Corpus::of(&marks);
    let some = changes(&old, &new, &corpus, &how(0.001));
    let all = changes(
        &old,
        &new,
        &corpus,
        &Comparing {
            settings_differ: true,
            ..how(0.001)
        },
    );
    assert_eq!(some.changed, all.changed);
    assert!(some.changed.len() > 20, "{}", some.changed.len());
}

#[test]
fn coverage_counts_families_entries_and_shapes() {
    let rules = rules(RULES);
    let corpus = Corpus::of([
        "HMF64A-SC",
        "HMF64A-SC",
        "HMF64B-WC",
        "LQF64B",
        "",
        "QQZZ/4711-X",
        "QQZZ/0815-Y",
        "{",
        "HMF64ASOC",
    ]);
    let found = coverage(&rules, &corpus, TODAY, 2);
    assert_eq!(found.marks, 8);
    assert_eq!(found.decoded, 5);
    assert_eq!(found.none + found.unreadable, 3);
    let of = |name: &str| {
        let at = rules
            .set()
            .families
            .iter()
            .position(|f| f.name == name)
            .unwrap();
        &found.families[at]
    };
    assert_eq!((of("hm_flash").decoded, of("lq_flash").decoded), (4, 1));
    let unused: Vec<String> = of("hm_flash")
        .unused
        .iter()
        .map(|unused| format!("{} {}", unused.slot.as_deref().unwrap_or(""), unused.what))
        .collect();
    assert_eq!(unused, ["size 128", "package N", "grade I"]);
    assert!(of("winbond_w25q").unused.is_empty());
    assert_eq!(found.undecoded[0].shape, "QQZZ/#-@");
    assert_eq!(found.undecoded[0].marks, 2);
}
