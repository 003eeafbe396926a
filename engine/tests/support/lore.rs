//! Random rule files: generated families, and other spacing for any text.

use etchlore_engine::source::SourceId;
use etchlore_engine::syntax::{ast::LineKind, parse};

/// A random number below a bound.
pub(crate) struct Dice(fastrand::Rng);

impl Dice {
    pub(crate) fn new(seed: u64) -> Dice {
        Dice(fastrand::Rng::with_seed(seed))
    }

    pub(crate) fn below(&mut self, bound: usize) -> usize {
        self.0.usize(..bound.max(1))
    }

    pub(crate) fn chance(&mut self, of: usize) -> bool {
        self.below(of) == 0
    }

    pub(crate) fn pick<'a, T: ?Sized>(&mut self, of: &[&'a T]) -> &'a T {
        of[self.below(of.len())]
    }

    /// A code of capitals and digits.
    pub(crate) fn code(&mut self, most: usize) -> String {
        (0..=self.below(most))
            .map(|_| self.pick(&["A", "B", "C", "D", "K", "X", "3", "4", "7", "9"]))
            .collect()
    }
}

/// Clauses that may stand behind an entry; `earlier` is a slot that stands before, with one of its codes.
fn clauses(dice: &mut Dice, earlier: Option<&(String, String)>) -> String {
    let mut out = String::new();
    if dice.chance(3) {
        out.push_str(dice.pick(&[
            " weight 3",
            " since 2004",
            " until 2011-06",
            " note \"seen  twice # once\"",
            " standing supposed source \"one board, 2011\"",
            " prints nothing in top",
        ]));
    }
    if let Some((slot, code)) = earlier
        && dice.chance(4)
    {
        let not = if dice.chance(3) { "not " } else { "" };
        out.push_str(&format!(" when {not}{slot} {code}"));
    }
    out
}

/// A family of random slots in loose layout. It may have faults that only a check of meaning finds.
pub(crate) fn family(dice: &mut Dice, number: usize) -> String {
    let mut text = format!(
        "family fam_{number}   Family number {number}\n  function memory/{}\n  source \"guide {number}\" standing documented\n",
        dice.pick(&["dram", "nor", "sram"])
    );
    if dice.chance(4) {
        text.push_str("  since 2004 until 2015\n");
    }
    let names = ["kind", "size", "width", "grade", "temperature_code", "pack"];
    let count = 1 + dice.below(names.len());
    let (mut specimen, mut row) = (vec![format!("Q{}", dice.code(2))], vec!["head".to_owned()]);
    let mut slots = String::new();
    let mut listed: Vec<(String, String)> = Vec::new();
    for name in &names[..count] {
        if dice.chance(4) {
            let boundary = dice.pick(&["-", "~", "/", "-!", "|"]);
            specimen.push(boundary.to_owned());
            row.push(boundary.to_owned());
        }
        let earlier = listed.last().cloned();
        row.push((*name).to_owned());
        match dice.below(7) {
            0 => {
                specimen.push("12".into());
                slots.push_str(&format!("  {name} 2 digits gives {name}_n\n"));
            }
            1 => {
                specimen.push("K7".into());
                slots.push_str(&format!("  {name} 1..4 alnum each\n"));
            }
            2 => {
                specimen.push("none".into());
                slots.push_str(&format!("  {name} 1 letter or none\n"));
            }
            3 => {
                specimen.push("B".into());
                slots.push_str(&format!("  {name} one of \"ABC\"\n"));
            }
            4 => {
                specimen.push("4R7".into());
                slots.push_str(&format!(
                    "  {name} 1..2 digits around R ohm,K kohm gives resistance\n"
                ));
            }
            _ => {
                let mut codes: Vec<String> = (0..2 + dice.below(5)).map(|_| dice.code(3)).collect();
                codes.sort();
                codes.dedup();
                specimen.push(codes[0].clone());
                let head = dice.pick(&[" gives {n}_a Mbit", " gives {n}_a Mbit,{n}_b", ""]);
                slots.push_str(&format!("  {name}{}\n", head.replace("{n}", name)));
                for code in &codes {
                    let shown = if dice.chance(5) {
                        format!("\"{code}\"")
                    } else {
                        code.clone()
                    };
                    let fields = match head {
                        "" if dice.chance(2) => String::new(),
                        "" => format!(" {name}_text \"{code}, as  printed\""),
                        _ if head.contains(',') => format!(" {}, \"b\"", 1 << dice.below(9)),
                        _ => format!(" {}", 1 << dice.below(9)),
                    };
                    let clauses = clauses(dice, earlier.as_ref());
                    slots.push_str(&format!("    {shown}{fields}{clauses}\n"));
                    if dice.chance(9) {
                        slots.push_str("      note \"a line of its own\"\n");
                    }
                }
                if dice.chance(4) {
                    slots.push_str("    unlisted 1 alnum\n");
                }
                listed.push(((*name).to_owned(), codes[0].clone()));
            }
        }
        if dice.chance(5) {
            slots.push('\n');
        }
        if dice.chance(6) {
            slots.push_str("  # about the next one\n");
        }
    }
    text.push_str(&format!(
        "  code {}\n    {}\n",
        specimen.join(" "),
        row.join(" ")
    ));
    if dice.chance(2) {
        text.push_str(&format!("  top {} [ | :e3: ] weight 2\n", row.join(" ")));
    }
    text.push_str(&slots);
    if let [(first, code), .., (second, other)] = listed.as_slice() {
        text.push_str(&format!("  never {first} {code} and {second} {other}\n"));
        text.push_str(&format!(
            "  pins by {first},{second}\n          {other}\n    {code} 8\n"
        ));
        text.push_str(&format!(
            "  depth = ({first}_a + 1) * 2 when {first} {code}\n"
        ));
    }
    text.push_str(&format!(
        "  example {}\n",
        specimen
            .iter()
            .filter(|code| *code != "none" && !["~", "|", "-!"].contains(&code.as_str()))
            .cloned()
            .collect::<String>()
    ));
    text
}

/// The same words with other spaces between them, other steps of indentation, blank lines and comments.
pub(crate) fn jitter(dice: &mut Dice, text: &str) -> String {
    let tree = parse(SourceId(0), text).tree;
    let mut indents = vec![0_usize; tree.nodes.len()];
    let mut step_of = vec![0_usize; tree.nodes.len()];
    let mut out = String::new();
    for (at, node) in tree.nodes.iter().enumerate() {
        step_of[at] = 1 + dice.below(5);
        if node.kind == LineKind::Blank {
            let comment = node.comment.map_or("", |span| &text[span.range()]);
            let spaces = " ".repeat(dice.below(6));
            out.push_str(&format!("{spaces}{comment}\n"));
            continue;
        }
        // The head of a matrix stands deeper than its lines; all other lines of one parent stand alike.
        let deeper = if matches!(node.kind, LineKind::MatrixHead(_)) {
            3
        } else {
            0
        };
        indents[at] = node
            .parent
            .map_or(0, |parent| indents[parent] + step_of[parent] + deeper);
        out.push_str(&" ".repeat(indents[at]));
        let (mut quoted, mut escaped) = (false, false);
        let mut before = ' ';
        for c in text[node.content.range()].chars() {
            match c {
                _ if escaped => escaped = false,
                '\\' if quoted => escaped = true,
                '"' if quoted || matches!(before, ' ' | '(' | ',') => quoted = !quoted,
                ' ' if !quoted && before == ' ' => continue,
                ' ' if !quoted => out.push_str(&" ".repeat(dice.below(4))),
                _ => {}
            }
            before = c;
            out.push(c);
        }
        if let Some(comment) = node.comment {
            out.push_str(&format!(" {}", &text[comment.range()]));
        } else if dice.chance(15) {
            out.push_str(" # said in passing");
        }
        out.push('\n');
        if dice.chance(12) {
            out.push_str("\n\n");
        }
    }
    out
}
