//! Properties that hold for every family: read of what was written gives the codes back, the index changes nothing, unrelated
//! rules change no figure.

use etchlore_engine::Rules;
use etchlore_engine::check::check;
use etchlore_engine::compile::Limits;
use etchlore_engine::decode::{Effort, Notation, Reading, Scratch, Seen};
use etchlore_engine::glyph::Confusions;
use etchlore_engine::model::{CodeKind, FamilyId};
use etchlore_engine::rank::{
    Candidate, Context, Ranking, Wanted, rank, rank_in_short, rank_text_in_short,
};
use etchlore_engine::source::Sources;
use etchlore_engine::write::sample;
use jiff::civil::date;

/// Random members of each form that are written and read back.
const MEMBERS: usize = 1_000;
/// Bits by which another way to read a member may be likelier, in at most one of a hundred members.
const RARER: f64 = 12.0;

fn random(seed: u64) -> impl FnMut(u64) -> u64 {
    let mut source = fastrand::Rng::with_seed(seed);
    move |bound| source.u64(..bound.max(1))
}

#[test]
fn read_of_what_was_written_gives_the_codes_back() {
    let rules = crate::support::rules(true, &[]);
    let set = rules.set();
    let decoder = rules.decoder();
    let mut scratch = Scratch::default();
    let mut failures = Vec::new();
    let mut tried = 0;
    for (index, family) in set.families.iter().enumerate() {
        for form in 0..family.forms.len() {
            let mut random = random(7 + index as u64 * 31 + form as u64);
            let (mut written_here, mut unnamed) = (0, 0);
            let (mut failed_here, mut outweighed) = (0, 0);
            for _ in 0..MEMBERS {
                let Some(written) = sample(set, family, form, &mut random) else {
                    continue;
                };
                // A row of dates, serials and symbols names no part, and is read only beside one that does.
                let dated = |slot: usize| {
                    !family.is_marking()
                        && family
                            .dates
                            .iter()
                            .any(|d| d.slots.iter().any(|s| s.index() == slot))
                };
                if written
                    .printed
                    .iter()
                    .all(|slot| family.slots[slot.index()].each || dated(slot.index()))
                {
                    unnamed += 1;
                    continue;
                }
                written_here += 1;
                let text = written.reading();
                let certain = Notation {
                    certain: true,
                    ..Notation::default()
                };
                let reading = Reading::parse(&text, certain)
                    .unwrap()
                    .in_form(Some(family.forms[form].kind));
                let explanations = decoder.explain(&reading, date(2026, 11, 25), &mut scratch);
                let own: Vec<_> = explanations
                    .iter()
                    .filter(|e| e.family() == FamilyId::at(index))
                    .collect();
                // Only explanations of the same text can be compared by their bits.
                let most = own.iter().map(|e| e.covered()).max().unwrap_or(0);
                let own: Vec<_> = own.into_iter().filter(|e| e.covered() == most).collect();
                let best = own
                    .iter()
                    .map(|e| e.bits())
                    .fold(f64::NEG_INFINITY, f64::max);
                let within = |bits: f64| {
                    own.iter().filter(|e| e.bits() > best - bits).any(|e| {
                        written.printed.iter().all(|slot| {
                            let code = &written.codes[slot.index()];
                            decoder.allows(e, *slot, code.code)
                        })
                    })
                };
                if !within(1e-6) && within(RARER) {
                    outweighed += 1;
                } else if !within(1e-6) {
                    failed_here += 1;
                    if failed_here <= 3 {
                        failures.push(format!(
                            "{} {}: {text} ({} explanations)",
                            family.name,
                            family.forms[form].kind.word(),
                            own.len()
                        ));
                    }
                }
            }
            tried += written_here;
            assert!(
                written_here + unnamed > 0,
                "{}: no member of form {form} could be written",
                family.name
            );
            // A rule may say with its reason that two members can be printed alike.
            let alike = family
                .accepts
                .iter()
                .any(|accept| accept.lint == "ambiguous-split");
            let most = if alike { 100 } else { 25 };
            if outweighed * 1000 > written_here * most {
                failures.push(format!(
                    "{} {}: {outweighed} of {written_here} read as another member",
                    family.name,
                    family.forms[form].kind.word()
                ));
            }
            if failed_here > 0 {
                failures.push(format!("  -> {failed_here} of {written_here}"));
            }
        }
    }
    assert!(
        failures.is_empty(),
        "of {tried} members:\n{}",
        failures.join("\n")
    );
}

/// Readings of all kinds: members, damaged members, junk.
fn readings(rules: &etchlore_engine::Rules, count: usize, seed: u64) -> Vec<String> {
    let set = rules.set();
    let mut random = random(seed);
    let mut all = Vec::with_capacity(count);
    while all.len() < count {
        let family = &set.families[random(set.families.len() as u64) as usize];
        if family.forms.is_empty() {
            continue;
        }
        let form = random(family.forms.len() as u64) as usize;
        let Some(written) = sample(set, family, form, &mut random) else {
            continue;
        };
        let mut text: Vec<char> = written.reading().chars().collect();
        match random(6) {
            0 => {}
            1 => {
                let at = random(text.len() as u64) as usize;
                let pairs = ["0O", "1I", "8B", "5S", "2Z", "6G", "4A"];
                for pair in pairs {
                    let (a, b) = (pair.chars().next().unwrap(), pair.chars().last().unwrap());
                    if text[at] == a {
                        text[at] = b;
                    } else if text[at] == b {
                        text[at] = a;
                    }
                }
            }
            2 => {
                let at = random(text.len() as u64) as usize;
                if text[at].is_ascii_alphanumeric()
                    && (at == 0 || text[at - 1] != '\\' && text[at - 1] != ':')
                {
                    text[at] = '_';
                }
            }
            3 => text.truncate(1 + random(text.len() as u64) as usize),
            4 => {
                let at = random(text.len() as u64) as usize;
                text.insert(at, ' ');
            }
            _ => {
                text = (0..4 + random(10))
                    .map(|_| {
                        char::from_digit(random(36) as u32, 36)
                            .unwrap()
                            .to_ascii_uppercase()
                    })
                    .collect();
            }
        }
        all.push(text.into_iter().collect());
    }
    all
}

#[test]
fn the_index_changes_nothing() {
    let rules = crate::support::rules(true, &[]);
    let (with, without) = (rules.decoder(), rules.decoder().without_index());
    let (mut a, mut b) = (Scratch::default(), Scratch::default());
    for text in readings(&rules, 4_000, 11) {
        let Ok(reading) = Reading::parse(&text, Notation::default()) else {
            continue;
        };
        let day = date(2026, 11, 25);
        let key = |e: &etchlore_engine::decode::Explanation| (e.family(), e.bits().to_bits());
        let mut fast: Vec<_> = with
            .explain(&reading, day, &mut a)
            .iter()
            .map(key)
            .collect();
        let mut all: Vec<_> = without
            .explain(&reading, day, &mut b)
            .iter()
            .map(key)
            .collect();
        fast.sort_unstable();
        all.sort_unstable();
        assert_eq!(fast, all, "{text}");
    }
}

/// The fast decoder and the plain one give every family the same probability. `ETCHLORE_REFERENCE` is the number of readings:
/// `.ci/run` asks for 40,000.
#[test]
fn the_fast_decoder_agrees_with_the_reference() {
    let count = std::env::var("ETCHLORE_REFERENCE")
        .ok()
        .and_then(|n| n.parse().ok())
        .unwrap_or(20_000);
    let rules = crate::support::rules(true, &[]);
    let mut readings = readings(&rules, count, 23);
    // Beside a slot that takes any text stands a symbol that no rule knows.
    readings.push("{:lo_o}2303 | 25L1608 | ZNI-12 | EYDR8GBD".to_owned());
    let count = readings.len();
    let day = date(2026, 11, 25);
    let compared = std::sync::atomic::AtomicUsize::new(0);
    std::thread::scope(|scope| {
        for part in readings.chunks(count.div_ceil(2)) {
            let (rules, compared) = (&rules, &compared);
            scope.spawn(move || {
                let reference = crate::support::reference::Reference::new(rules.set());
                let mut scratch = Scratch::default();
                for text in part {
                    let Ok(reading) = Reading::parse(text, Notation::default()) else {
                        continue;
                    };
                    if reading
                        .lines
                        .iter()
                        .flat_map(|line| &line.marks)
                        .any(|mark| mark.seen == Seen::Run)
                    {
                        continue;
                    }
                    let explanations = rules.decoder().explain(&reading, day, &mut scratch);
                    if scratch.stopped() {
                        continue;
                    }
                    compared.fetch_add(1, std::sync::atomic::Ordering::Relaxed);
                    let mut fast: std::collections::BTreeMap<usize, f64> =
                        std::collections::BTreeMap::new();
                    for explanation in &explanations {
                        *fast.entry(explanation.family().index()).or_default() +=
                            explanation.bits().exp2();
                    }
                    let plain = reference.explain(&reading, day);
                    for (index, family) in rules.set().families.iter().enumerate() {
                        let a = fast.get(&index).map_or(f64::NEG_INFINITY, |p| p.log2());
                        let b = plain.get(&index).copied().unwrap_or(f64::NEG_INFINITY);
                        assert!(
                            a == b || (a - b).abs() < 1e-6,
                            "{text}: {} has {a} bits, by the reference {b}",
                            family.name
                        );
                    }
                }
            });
        }
    });
    let compared = compared.into_inner();
    assert!(
        compared * 10 >= count * 9,
        "only {compared} of {count} readings were compared"
    );
}

#[test]
fn unrelated_rules_change_no_figure() {
    let plain = crate::support::rules(false, &[]);
    let unrelated = "lore 1\nfamily elsewhere   Something else\n  source \"an invented one\"\n  code  :sun:ZZQ  7\n        head      tail\n  tail  one of \"789\"\n  example \"{:sun}ZZQ7\"\n";
    let more = crate::support::rules(false, &[("elsewhere.lore", unrelated)]);
    let (mut a, mut b) = (Scratch::default(), Scratch::default());
    let context = Context::on(date(2026, 11, 25));
    let mut compared = 0;
    for text in readings(&plain, 1_500, 5) {
        let Ok(reading) = Reading::parse(&text, Notation::default()) else {
            continue;
        };
        // A look-alike or an unread character can make the family related after all.
        let related = more.decoder().explain(&reading, context.seen, &mut b);
        if related
            .iter()
            .any(|e| more.set().families[e.family().index()].name == "elsewhere")
        {
            continue;
        }
        let (one, two) = (
            plain.rank(&reading, &context, &mut a),
            more.rank(&reading, &context, &mut b),
        );
        let figures = |ranking: &etchlore_engine::rank::Ranking, rules: &etchlore_engine::Rules| {
            let mut all: Vec<(String, u64)> = ranking
                .candidates
                .iter()
                .map(|c| {
                    (
                        rules.set().families[c.family.index()].name.clone(),
                        c.probability.to_bits(),
                    )
                })
                .collect();
            all.push(("none".to_owned(), ranking.none.to_bits()));
            all
        };
        // So can another damage.
        let related = two
            .candidates
            .iter()
            .map(|candidate| candidate.family)
            .chain(two.others.iter().map(|(family, _)| *family))
            .any(|family| more.set().families[family.index()].name == "elsewhere");
        if !related {
            compared += 1;
            assert_eq!(figures(&one, &plain), figures(&two, &more), "{text}");
        }
    }
    assert!(compared > 500, "{compared}");
}

#[test]
fn probabilities_sum_to_one() {
    let rules = crate::support::rules(true, &[]);
    let mut scratch = Scratch::default();
    let context = Context::on(date(2026, 11, 25));
    for text in readings(&rules, 3_000, 3) {
        let Ok(reading) = Reading::parse(&text, Notation::default()) else {
            continue;
        };
        let ranking = rules.rank(&reading, &context, &mut scratch);
        let sum: f64 = ranking
            .candidates
            .iter()
            .map(|c| c.probability)
            .sum::<f64>()
            + ranking.none
            + ranking.rest;
        assert!((sum - 1.0).abs() < 1e-9, "{text}: {sum}");
        for candidate in &ranking.candidates {
            let evidence: f64 = candidate.evidence.iter().map(|e| e.bits).sum();
            let corrections: f64 = candidate.corrections.iter().map(|c| c.bits).sum();
            let all = candidate.prior_bits + evidence + corrections + candidate.context_bits;
            assert!(
                (all - candidate.bits).abs() < 1e-6,
                "{text}: {all} of {}",
                candidate.bits
            );
        }
    }
}

/// What a candidate says, as far as an answer in short has it.
fn said(candidate: &Candidate) -> Vec<String> {
    let mut said: Vec<String> = candidate
        .fields
        .iter()
        .map(|field| {
            let sure = field.probability.map(|p| (p * 1e4).round());
            let mut others: Vec<String> = field
                .alternatives
                .iter()
                .filter(|other| other.probability > 2e-3)
                .map(|other| format!("{:?} {:?} {}", other.value, other.code, other.absent))
                .collect();
            // Of two that are as likely, rounding decides which comes first.
            others.sort();
            format!(
                "{:?} {:?} {} {sure:?} {others:?}",
                field.field, field.value, field.unknown
            )
        })
        .collect();
    said.sort();
    said
}

fn says_the_same(text: &str, full: &Ranking, short: &Ranking) {
    // What comes twenty bits below the likeliest is passed over, and not in the same order.
    let near = |a: f64, b: f64| (a - b).abs() < 1e-5;
    assert!(near(full.none, short.none), "{text}");
    assert_eq!(full.remarks.len(), short.remarks.len(), "{text}");
    let (Some(first), Some(brief)) = (full.candidates.first(), short.candidates.first()) else {
        assert_eq!(full.candidates.len(), short.candidates.len(), "{text}");
        return;
    };
    assert_eq!(first.family, brief.family, "{text}");
    assert!(near(first.probability, brief.probability), "{text}");
    assert_eq!(first.written, brief.written, "{text}");
    assert_eq!(first.known_to, brief.known_to, "{text}");
    assert_eq!(said(first), said(brief), "{text}");
}

/// Families without conditions: shared beginnings, cuts that are not settled, codes that may be absent, long ones, dates of one and two digits.
const PLAIN: &str = "lore 1

family plain_a   Plain parts
  function other
  source \"an invented one\"
  code  \"KX\" serial size grade ~ year week
  serial  1..2 digits
  size  1..3 digits around V V, K kV  gives output_voltage
  grade
    none
    \"5\"   speed_grade \"fast\"
    \"0B\"  speed_grade \"slow\"
  year  1 digit
  week  2 digits
  date  year week

family plain_b   Other plain parts
  function other
  source \"an invented one\"
  code  \"KX\" kind - speed ~ year week
  kind
    \"B80\"  package \"one\"
    \"88\"   package \"two\"
    \"BB\"   package \"three\"
    \"LONGNAMED0\"  package \"long\"
    \"LONGNAMEDO1\" package \"longer\"
  speed
    none
    \"A\"  package \"said again\"
    \"B\"
  year  2 digits
  week  2 digits
  date  year week

family plain_c   Small plain parts
  function other
  source \"an invented one\"
  code  \"Q\" type / pack
  type  3 alnum
  pack
    none
    \"R\"  packing \"reel\"
    \"T\"  packing \"tube\"
";

#[test]
fn a_text_of_plain_families_says_the_same_in_short() {
    let mut sources = Sources::default();
    let root = sources.add("plain.lore", PLAIN.to_owned(), false);
    let checked = check(&mut sources, &[root], &crate::support::Files);
    assert_eq!(checked.rules.families.len(), 3, "{:?}", checked.diagnostics);
    let rules = Rules::compile(checked.rules, &Confusions::default(), &Limits::default())
        .expect("it compiles");
    let decoder = rules.decoder().with(Effort::Quick);
    let context = Context::on(date(2026, 11, 25));
    let table = Notation {
        table: true,
        ..Notation::default()
    };
    let (mut a, mut b) = (Scratch::default(), Scratch::default());
    let mut random = random(11);
    let (mut named, mut unread) = (0, 0);
    for text in readings(&rules, 4_000, 9) {
        let mut text = text.replace('_', "?");
        // A second character that was not read, now and then.
        let at = random(text.len() as u64 * 4) as usize;
        if text.is_char_boundary(at) && at < text.len() {
            text.replace_range(at..=at, "?");
        }
        let Ok(reading) = Reading::parse(&text, table) else {
            continue;
        };
        let full = rank(&decoder, &reading, &context, &mut a);
        let wanted = Wanted::all();
        let short = rank_text_in_short(&decoder, &text, table, &context, &wanted, &mut b)
            .expect("a reading");
        says_the_same(&text, &full, &short);
        named += usize::from(!full.candidates.is_empty());
        unread += usize::from(!full.candidates.is_empty() && text.contains('?'));
    }
    assert!(named > 2_000 && unread > 500, "{named} {unread}");
}

#[test]
fn an_answer_in_short_says_the_same() {
    let rules = crate::support::rules(true, &[]);
    let decoder = rules.decoder();
    let (mut a, mut b) = (Scratch::default(), Scratch::default());
    let context = Context::on(date(2026, 11, 25));
    let mut compared = 0;
    for text in readings(&rules, 2_000, 5) {
        let Ok(reading) = Reading::parse(&text, Notation::default()) else {
            continue;
        };
        let full = rules.rank(&reading, &context, &mut a);
        let short = rank_in_short(&decoder, &reading, &context, &Wanted::all(), &mut b);
        says_the_same(&text, &full, &short);
        let Some(first) = full.candidates.first() else {
            continue;
        };
        if let Some(field) = first.fields.first() {
            let one = Wanted::some([field.field]);
            let one = rank_in_short(&decoder, &reading, &context, &one, &mut b);
            let fields = &one.candidates[0].fields;
            let stands = fields.iter().any(|f| f.field == field.field);
            assert!(stands && fields.len() == 1, "{text}: {}", field.name);
            compared += 1;
        }
    }
    assert!(compared > 500, "{compared}");
}

#[test]
fn one_scratch_serves_several_rule_sets() {
    let made = |window: &str, weight: u32| {
        let text = format!(
            "lore 1\n\nfamily windowed   Windowed parts\n  function other\n  source \"an invented one\"\n  {window}\n  code  \"ZQX\" n ~ year week\n  n  one of \"34\"\n  year  2 digits\n  week  2 digits\n  date  year week\n\nfamily tied   Tied parts\n  function other\n  source \"an invented one\"\n  code  \"ZQV8\" a b\n  a\n    \"K\"\n    \"L\" weight {weight}\n  b\n    \"M\"\n    \"N\" weight {weight}\n  never a K and b M\n"
        );
        crate::support::rules(false, &[("windowed.lore", &text)])
    };
    let (young, old) = (made("since 2020", 9), made("since 1990 until 1999", 2));
    let context = Context::on(date(2026, 11, 25));
    let mut shared = Scratch::default();
    for mark in ["ZQX39512", "ZQX42212", "ZQV8KN", "ZQV8LN"] {
        let reading = Reading::parse(mark, Notation::default()).expect("a reading");
        for rules in [&young, &old] {
            let decoder = rules.decoder().with(Effort::Quick);
            let wanted = Wanted::all();
            let fresh = &mut Scratch::default();
            let alone = rank_in_short(&decoder, &reading, &context, &wanted, fresh);
            let together = rank_in_short(&decoder, &reading, &context, &wanted, &mut shared);
            assert_eq!(alone.none.to_bits(), together.none.to_bits(), "{mark}");
        }
    }
}

#[test]
fn listed_codes_have_glyphs() {
    let rules = crate::support::rules(true, &[]);
    for family in &rules.set().families {
        for slot in &family.slots {
            for code in &slot.codes {
                if let CodeKind::Open(strips) = &code.kind {
                    assert!(!strips.is_empty(), "{} {}", family.name, slot.name);
                }
            }
        }
    }
}
