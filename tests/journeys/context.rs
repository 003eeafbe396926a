//! Context that turns a ranking, symbols that stay symbols, text pasted from elsewhere.

use serde_json::Value;

use crate::harness::json;

fn answer(mark: &str, context: &[&str]) -> Value {
    let mut arguments = vec!["decode", "--output", "json", mark];
    arguments.extend(context);
    json(&arguments)["readings"][0].clone()
}

fn first(mark: &str, context: &[&str]) -> String {
    answer(mark, context)["candidates"][0]["family"]
        .as_str()
        .unwrap_or("none")
        .to_owned()
}

/// Marking, context, first candidate without it and with it. That three digits are a resistor's as often as anything, a capacitor's
/// where one is expected, and so on: common practice, no source. Whose serial flash is whose: the packs' sources.
#[rustfmt::skip]
const TURNS: &[(&str, &[&str], &str, &str)] = &[
    ("104", &["--function", "passive/capacitor"], "resistor_3digit", "capacitor_3digit"),
    ("103", &["--function", "passive/capacitor"], "resistor_3digit", "capacitor_3digit"),
    ("223", &["--function", "passive/capacitor"], "resistor_3digit", "capacitor_3digit"),
    ("331", &["--function", "passive/capacitor"], "resistor_3digit", "capacitor_3digit"),
    ("472", &["--function", "passive/capacitor"], "resistor_3digit", "capacitor_3digit"),
    ("104", &["--function", "passive/inductor"], "resistor_3digit", "inductor_3digit"),
    ("220", &["--function", "passive/inductor"], "resistor_3digit", "inductor_3digit"),
    ("470", &["--function", "passive/inductor"], "resistor_3digit", "inductor_3digit"),
    ("1312", &["--function", "passive/resistor"], "date_yyww", "resistor_4digit"),
    ("1824", &["--function", "passive/resistor"], "date_yyww", "resistor_4digit"),
    // A part cannot be younger than its reading.
    ("1321", &["--seen", "2010-01-01"], "date_yyww", "resistor_4digit"),
    ("1624", &["--seen", "2015-01-01"], "date_yyww", "resistor_4digit"),
    ("1423", &["--made", "2005..2006"], "date_yyww", "resistor_4digit"),
    ("1105", &["--made", "2005..2005"], "date_yyww", "resistor_4digit"),
    ("25Q128", &["--maker", "GigaDevice"], "winbond_w25q", "gd25"),
    ("25Q64C", &["--maker", "GigaDevice"], "winbond_w25q", "gd25"),
    ("25Q32C", &["--maker", "GigaDevice"], "winbond_w25q", "gd25"),
    ("25Q16B", &["--maker", "GigaDevice"], "winbond_w25q", "gd25"),
    ("25Q256D", &["--maker", "GigaDevice"], "winbond_w25q", "gd25"),
    ("74HC30N", &["--maker", "Nexperia"], "logic_74", "nexperia_74"),
];

#[test]
fn context_turns_twenty_rankings() {
    assert_eq!(TURNS.len(), 20);
    let mut faults = Vec::new();
    for (mark, context, without, with) in TURNS {
        let (plain, turned) = (first(mark, &[]), first(mark, context));
        if (plain.as_str(), turned.as_str()) != (without, with) {
            faults.push(format!(
                "{mark} {context:?}: {plain} -> {turned}, expected {without} -> {with}"
            ));
        }
    }
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}

#[test]
fn symbols_stay_symbols() {
    let marks = [
        ("25Q128JVSQ", "winbond_w25q"),
        ("MEGA328P", "atmega_classic"),
        ("LC00A", "ti_sn74"),
        ("MSP430F5529IPN", "msp430"),
        ("MKL25Z128VLK4", "kinetis_kl"),
        ("GD25Q128ESIGR", "gd25"),
        ("IS25LP064A-JBLE", "is25"),
        ("ATTINY85-20PU", "attiny_classic"),
        ("MX25L12835FM2I-10G", "macronix_mx25"),
        ("EFM32G222F128-QFP48", "efm32"),
    ];
    let mut count = 0;
    for (mark, family) in marks {
        for symbol in ["{:e3}", "{:dot}", "{:recycle}"] {
            for typed in [
                format!("{mark} {symbol}"),
                format!("{mark}{symbol}"),
                format!("{symbol}{mark}"),
            ] {
                count += 1;
                let answer = answer(&typed, &[]);
                assert_eq!(answer["lines"][0], typed.as_str());
                let candidate = &answer["candidates"][0];
                assert_eq!(candidate["family"], family, "{typed}: {answer}");
                // No letter or digit of the symbol's name comes into what is read.
                assert_eq!(candidate["corrections"], serde_json::json!([]), "{typed}");
                let codes = |candidate: &Value| -> Vec<(String, Value)> {
                    let fields = candidate["fields"].as_object().unwrap();
                    fields
                        .iter()
                        .map(|(name, field)| (name.clone(), field["code"].clone()))
                        .collect()
                };
                let alone = self::answer(mark, &[]);
                assert_eq!(codes(candidate), codes(&alone["candidates"][0]), "{typed}");
                assert_eq!(candidate["written"], alone["candidates"][0]["written"]);
            }
        }
    }
    assert_eq!(count, 90);
}

#[test]
fn pasted_look_alikes_are_folded_with_their_spans() {
    // Full-width letters, a no-break space before nothing, an en dash, Cyrillic A and C: as other programs paste them.
    for (mark, family) in [
        ("\u{ff12}\u{ff15}Q128JVSQ", "winbond_w25q"),
        ("IS25LP064A\u{2013}JBLE", "is25"),
        ("\u{410}TMEG\u{410}328P\u{2212}\u{410}U", "atmega_classic"),
        ("MSP430F5529IPN\u{a0}", "msp430"),
        ("LC00\u{410}", "ti_sn74"),
    ] {
        let answer = answer(mark, &[]);
        let candidate = &answer["candidates"][0];
        assert_eq!(candidate["family"], family, "{mark}: {answer}");
        assert_eq!(candidate["corrections"], serde_json::json!([]), "{mark}");
        assert_eq!(answer["lines"][0].as_str().unwrap().trim(), mark.trim());
        // Spans count the characters as typed.
        let length = mark.chars().count() as u64;
        for field in candidate["fields"].as_object().unwrap().values() {
            if let Some(span) = field.get("span") {
                assert!(span[1].as_u64() <= Some(length), "{mark}: {field}");
            }
        }
    }
}
