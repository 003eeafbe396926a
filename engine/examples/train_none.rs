//! Trains the character model of marks that no rule knows: part numbers on standard input, one a line; the table on standard
//! output. Leave the numbers of embedded families out. `cargo run --release --example train_none -p etchlore-engine < numbers.txt > engine/data/none.bin`
//! The same with a list of words gives `engine/data/words.bin`; leave out those of `tests/calibration/words.txt`.

use std::io::{Read, Write};

/// Digits, capitals, anything else, and the end of a token (also before its start).
const SYMBOLS: usize = 38;

fn symbol(c: char) -> usize {
    match c.to_ascii_uppercase() {
        c @ '0'..='9' => c as usize - '0' as usize,
        c @ 'A'..='Z' => c as usize - 'A' as usize + 10,
        _ => 36,
    }
}

fn main() -> std::io::Result<()> {
    let mut text = String::new();
    std::io::stdin().read_to_string(&mut text)?;
    let end = SYMBOLS - 1;
    let mut three = vec![0.0_f64; SYMBOLS * SYMBOLS * SYMBOLS];
    let mut two = vec![0.0_f64; SYMBOLS * SYMBOLS];
    let mut one = vec![0.0_f64; SYMBOLS];
    for token in text.split(|c: char| c.is_whitespace()) {
        let symbols: Vec<usize> = token
            .chars()
            .filter(|c| !"-/:".contains(*c))
            .map(symbol)
            .collect();
        if symbols.is_empty() {
            continue;
        }
        let (mut a, mut b) = (end, end);
        for s in symbols.into_iter().chain([end]) {
            three[(a * SYMBOLS + b) * SYMBOLS + s] += 1.0;
            two[b * SYMBOLS + s] += 1.0;
            one[s] += 1.0;
            (a, b) = (b, s);
        }
    }
    // Each order leans on the next lower one by as many counts as it has seen different followers (Witten and Bell).
    let lean = |counts: &[f64], lower: &dyn Fn(usize) -> f64, s: usize| {
        let kinds = counts.iter().filter(|c| **c > 0.0).count() as f64 + 0.5;
        (counts[s] + kinds * lower(s)) / (counts.iter().sum::<f64>() + kinds)
    };
    let flat = |_: usize| 1.0 / SYMBOLS as f64;
    let mut bytes = Vec::with_capacity(three.len());
    for a in 0..SYMBOLS {
        for b in 0..SYMBOLS {
            for s in 0..SYMBOLS {
                let of_one = |s: usize| lean(&one, &flat, s);
                let of_two = |s: usize| lean(&two[b * SYMBOLS..][..SYMBOLS], &of_one, s);
                let p = lean(&three[(a * SYMBOLS + b) * SYMBOLS..][..SYMBOLS], &of_two, s);
                bytes.push((-p.log2() * 16.0).round().clamp(0.0, 255.0) as u8);
            }
        }
    }
    std::io::stdout().write_all(&bytes)
}
