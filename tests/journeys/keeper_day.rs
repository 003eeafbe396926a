//! A day of a rule keeper: a page of an ordering guide becomes a rule, mistakes are mended by what their messages say, an overlap is found, and
//! today's rules are compared with yesterday's. The maker and its parts are invented.

use std::path::PathBuf;

use crate::harness::{Run, json, run};

/// What the guide shows, written down.
const RULE: &str = r#"lore 1
maker solvang   Solvang Minne AS

family sv_fram   Serial FRAM SVF
  maker       solvang
  function    memory/fram
  source      "Ordering guide OG-3 rev B, page 2"  standing documented

  code        SVF     256      R         -  SO       A            T
              series  density  revision  -  package  temperature  packing
  top         series density revision | temperature packing | year week lot

  density
    64        64 Kbit
    256       256 Kbit
    1M        1 Mbit
  revision    letter or none
  package     gives package, pins
    SO        "SOIC-8", 8
    DN        "DFN-8", 8
    TS        "TSSOP-14", 14
  temperature gives temperature degC
    C         0..70
    I         -40..85
    A         -40..125
  packing
    none      "tube"
    T         "tape and reel"
  year        2 digits
  week        2 digits
  lot         3 alnum                          each
  date        year week
  never       density 1M and package SO or DN  note "only in TSSOP-14"

  example     SVF256R-SOAT               density 256 Kbit, pins 8
  example in top "SVF1MR | A | 1823AB1"  date 2018-W23
"#;

/// A mistake, what the message says and where, and how the line is mended by it.
struct Mistake {
    was: &'static str,
    wrong: &'static str,
    /// `line:column: level[code]`
    at: &'static str,
    /// What the message says, what stands at the place and what to do included.
    says: &'static [&'static str],
}

const MISTAKES: &[Mistake] = &[
    Mistake {
        was: "C         0..70",
        wrong: "C         0 to 70",
        at: "23:15: error[value-expected]",
        says: &["a range is written with two dots", "write 0..70"],
    },
    Mistake {
        was: "64        64 Kbit",
        wrong: "64        64 KB",
        at: "14:18: error[unknown-unit]",
        says: &["`KB` is no unit", "Kbit", "Kbyte"],
    },
    Mistake {
        was: "temperature  packing\n  top",
        wrong: "packing\n  top",
        at: "10:54: error[rows-differ]",
        says: &["6 codes stand above 5 names", "from here on they run apart"],
    },
    Mistake {
        was: "top         series density",
        wrong: "top         series densty",
        at: "11:22: error[unknown-name]",
        says: &["no slot is called `densty`", "did you mean `density`?"],
    },
    Mistake {
        was: "  lot         3 alnum                          each\n",
        wrong: "",
        at: "11:73: error[unknown-name]",
        says: &["no slot is called `lot`", "`lot  4 alnum`"],
    },
    Mistake {
        was: "gives temperature degC",
        wrong: "gives temperature",
        at: "23:15: error[unit-mismatch]",
        says: &["its unit is missing", "`gives temperature degC`"],
    },
    Mistake {
        was: "none      \"tube\"",
        wrong: "\"\"        \"tube\"",
        at: "27:5: error[code-expected]",
        says: &["a code is empty", "write `none`"],
    },
    Mistake {
        was: "example     SVF256R-SOAT ",
        wrong: "example     SVF512R-SOAT ",
        at: "35:18: error[example-unread]",
        says: &[
            "`SVF512R-SOAT` does not decode to `sv_fram` as it stands",
            "the reading stops at `5`: `density` takes 1 2 6 here",
        ],
    },
    Mistake {
        was: "example     SVF256R-SOAT ",
        wrong: "example     SVF256R-S0AT ",
        at: "35:24: error[example-unread]",
        says: &[
            "`0` would be taken for `O` of `package`",
            "the nearest member is `SVF256R-SOAT`: `0` taken for `O`",
        ],
    },
    Mistake {
        was: "example     SVF256R-SOAT ",
        wrong: "example     SVF256R-SOATX",
        at: "35:27: error[example-unread]",
        says: &["the form `code` has ended before `X`"],
    },
    Mistake {
        was: "SVF1MR | A | 1823AB1",
        wrong: "SVF1MR | X | 1823AB1",
        at: "36:28: error[example-unread]",
        says: &["the reading stops at `X`: `temperature` takes A C I here"],
    },
    Mistake {
        was: "SVF256R-SOAT               density 256 Kbit",
        wrong: "SVF1MR-SOAT                density 1 Mbit",
        at: "35:15: error[example-unread]",
        says: &[
            "but cannot be: the rule says that this is not made",
            "only in TSSOP-14",
        ],
    },
    Mistake {
        was: "density 256 Kbit, pins 8",
        wrong: "density 256 Kbit, pins 14",
        at: "35:15: error[example-differs]",
        says: &["`pins` should be 14, but decodes as 8"],
    },
];

/// The keeper's folder.
struct Bench(tempfile::TempDir);

impl Bench {
    fn path(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }

    fn write(&self, name: &str, text: &str) -> String {
        let path = self.path(name);
        std::fs::create_dir_all(path.parent().unwrap()).unwrap();
        std::fs::write(&path, text).unwrap();
        path.display().to_string()
    }
}

fn shown(run: &Run) -> String {
    format!("{}{}", run.out, run.err)
}

#[test]
fn a_day() {
    let bench = Bench(tempfile::tempdir().unwrap());
    let rules = bench.path("rules").display().to_string();

    // In the morning: the page of the guide, as a rule.
    let file = bench.write("rules/svf.lore", RULE);
    let clean = run(&["rules", "check", &rules]);
    assert_eq!(
        (clean.status, clean.out.as_str()),
        (
            0,
            "1 family, 2 examples, 0 refusals; 0 errors, 0 warnings\n"
        ),
        "{}",
        clean.err
    );
    let format = run(&["rules", "format", &rules]);
    assert_eq!(format.status, 0, "{}", shown(&format));
    assert_eq!(run(&["rules", "format", "--check", &rules]).status, 0);
    let decoded = json(&[
        "decode",
        "--rules",
        &rules,
        "--output",
        "json",
        "--seen",
        "2020",
        "SVF64-DNI",
    ]);
    let first = &decoded["readings"][0]["candidates"][0];
    assert_eq!(first["family"], "sv_fram");
    assert_eq!(first["fields"]["density"]["text"], "64 Kbit");
    assert_eq!(first["fields"]["packing"]["text"], "tube");
    let diagram = run(&["rules", "show", "--rules", &rules, "sv_fram"]);
    assert!(
        diagram.out.contains("TSSOP-14") && diagram.out.contains("only in TSSOP-14"),
        "{}",
        shown(&diagram)
    );

    // Mistakes, one by one: one message each, at its place, which says how to mend it.
    for mistake in MISTAKES {
        assert_eq!(RULE.matches(mistake.was).count(), 1, "{}", mistake.was);
        let wrong = RULE.replace(mistake.was, mistake.wrong);
        std::fs::write(&file, &wrong).unwrap();
        let document = json(&["rules", "check", &rules, "--output", "json"]);
        let all = document["diagnostics"].as_array().unwrap();
        let rendered: Vec<&str> = all
            .iter()
            .map(|d| d["rendered"].as_str().unwrap())
            .collect();
        let text = rendered.join("\n");
        let at: Vec<String> = all
            .iter()
            .map(|d| {
                let place = &d["labels"][0]["at"];
                format!(
                    "{}:{}: {}[{}]",
                    place["line"],
                    place["column"],
                    d["severity"].as_str().unwrap(),
                    d["code"].as_str().unwrap()
                )
            })
            .collect();
        // The same mistake may stand in several lines; nothing else is said.
        assert_eq!(at[0], mistake.at, "{}:\n{text}", mistake.wrong);
        let code = &all[0]["code"];
        assert!(all.iter().all(|d| d["code"] == *code), "{text}");
        for says in mistake.says {
            assert!(text.contains(says), "{says} is not in\n{text}");
        }
        let about = run(&["rules", "about", code.as_str().unwrap()]);
        assert_eq!(about.status, 0, "{}", shown(&about));
    }
    bench.write("rules/svf.lore", RULE);
    assert_eq!(run(&["rules", "check", &rules]).status, 0);

    // At noon: an older note says of the same series what it says.
    let old = bench.write(
        "rules/notes.lore",
        "lore 1\nfamily svf_notes   SVF, from notes\n  function    memory/fram\n  source      \"bench notes 2014\"  standing observed\n  code        SVF     64    -  SO       C\n              series  size  -  package  grade\n  size        2 digits\n  package     2 letters\n  grade       letter\n  example     SVF64-SOC\n",
    );
    let overlaps = run(&["rules", "overlaps", "--no-builtin", &rules]);
    assert_eq!(overlaps.status, 1, "{}", shown(&overlaps));
    assert!(
        overlaps.out.contains("sv_fram, svf_notes: SVF64")
            || overlaps.out.contains("svf_notes, sv_fram: SVF64"),
        "{}",
        shown(&overlaps)
    );
    std::fs::remove_file(&old).unwrap();
    let overlaps = run(&["rules", "overlaps", "--no-builtin", &rules]);
    assert_eq!(overlaps.status, 0, "{}", shown(&overlaps));

    // In the evening: what the edits of the day change in last month's list.
    let yesterday = bench.path("yesterday").display().to_string();
    bench.write("yesterday/svf.lore", RULE);
    let today = RULE
        .replace("    1M  ", "    512       512 Kbit\n    1M  ")
        .replace("\"DFN-8\", 8", "\"DFN-8\", 9");
    std::fs::write(&file, &today).unwrap();
    let corpus = bench.write(
        "list.txt",
        "SVF64-DNI\nSVF512B-SOC\nSVF256R-SOAT\nSVF256R-SOAT\nW25Q128JVSIQ\n",
    );
    let changes = run(&["rules", "changes", &yesterday, &rules, "--corpus", &corpus]);
    assert_eq!(changes.status, 1, "{}", shown(&changes));
    for says in [
        "sv_fram: `package` DN: pins 8, now 9",
        "SVF64-DNI  pins 8 -> 9",
        "sv_fram: `density` 512 is new",
        "SVF512B-SOC",
        "2 of 5 marks decode differently; 2 edits, 0 without effect here",
    ] {
        assert!(changes.out.contains(says), "{says}: {}", shown(&changes));
    }
}
