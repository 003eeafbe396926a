//! A report as Markdown.

use std::fmt::Write as _;

use super::report::{CAUTIONS, Entry, Page, Seg, function_title, weight_title};

/// A text in a paragraph or a cell: nothing of it is markup.
fn plain(text: &str) -> String {
    let mut out = String::new();
    for c in text.chars() {
        match c {
            '\n' | '\r' => out.push(' '),
            '\\' | '`' | '*' | '_' | '{' | '}' | '[' | ']' | '#' | '|' | '~' | '!' | '<' | '>'
            | '&' => {
                out.push('\\');
                out.push(c);
            }
            c => out.push(c),
        }
    }
    out
}

pub(crate) fn page(page: &Page) -> String {
    let mut out = String::new();
    let name = |at: &usize| plain(&page.parts[*at].view.name);
    let names = |at: &[usize]| at.iter().map(name).collect::<Vec<_>>().join(", ");
    let _ = writeln!(out, "# {}\n", plain(&page.title()));
    for (head, text) in super::html::facts(page) {
        let _ = writeln!(out, "- {head}: {}", plain(&text));
    }
    let _ = writeln!(out, "\n## Findings");
    let mut last = None;
    for one in &page.findings {
        if last != Some(one.weight) {
            let _ = writeln!(out, "\n### {}\n", weight_title(one.weight));
            last = Some(one.weight);
        }
        let why = one.why.as_ref().map(|why| format!(". {}", plain(why)));
        let of = if one.parts.is_empty() {
            "board".to_owned()
        } else {
            names(&one.parts)
        };
        let _ = writeln!(
            out,
            "- **{of}** {}{}",
            plain(&one.text),
            why.unwrap_or_default()
        );
    }
    if page.findings.is_empty() {
        let _ = writeln!(
            out,
            "\nNothing on this board disagrees, and nothing is open."
        );
    }
    let _ = writeln!(out, "\n## Inventory");
    for (function, parts) in &page.blocks {
        let _ = writeln!(out, "\n### {}\n", plain(function_title(function)));
        let _ = writeln!(
            out,
            "| part | number | code | what | maker | how sure | fields |\n| --- | --- | --- | --- | --- | --- | --- |"
        );
        for at in parts {
            let (one, view) = (&page.parts[*at], &page.parts[*at].view);
            let fields: Vec<String> = view
                .fields
                .iter()
                .map(|(name, text)| format!("{} {text}", name.replace('_', " ")))
                .collect();
            let cells = [
                view.places.clone(),
                view.quantity.to_string(),
                view.written.clone().unwrap_or_default(),
                view.title.clone(),
                view.maker.clone().unwrap_or_default(),
                one.sure.clone(),
                fields.join("; "),
            ];
            let _ = writeln!(out, "| {} |", cells.map(|cell| plain(&cell)).join(" | "));
        }
    }
    let _ = writeln!(out, "\n## Parts");
    for one in &page.parts {
        part(&mut out, one);
    }
    if let Some(compared) = &page.compared {
        let _ = writeln!(out, "\n## Changes since {}\n", plain(&compared.old));
        for (kind, name, _, text) in &compared.changes {
            let _ = writeln!(
                out,
                "- **{}** {}: {}",
                kind.word(),
                plain(name),
                plain(text)
            );
        }
    }
    let _ = writeln!(out, "\n## Makers by sockets\n");
    for (maker, sockets, parts) in &page.makers {
        let _ = writeln!(out, "- {sockets}: {} ({})", plain(maker), names(parts));
    }
    if !page.questions.is_empty() {
        let _ = writeln!(out, "\n## Look at next\n");
        for one in &page.questions {
            let _ = writeln!(
                out,
                "- {}: {} ({:.1} bits, {})",
                name(&one.part),
                plain(&one.text),
                one.bits,
                one.cost
            );
        }
    }
    let _ = writeln!(out, "\n## Rules and sources\n");
    for rule in &page.rules {
        let source = rule
            .source
            .as_ref()
            .map(|source| format!(": {}", plain(source)));
        let _ = writeln!(
            out,
            "- {} ({}, {}, {}){}",
            plain(&rule.title),
            plain(&rule.name),
            plain(&rule.place),
            rule.standing,
            source.unwrap_or_default()
        );
    }
    if page.unnamed > 0 {
        let _ = writeln!(out, "- {} rules of the lab's own", page.unnamed);
    }
    let _ = writeln!(out, "\n## Cautions\n");
    for caution in CAUTIONS {
        let _ = writeln!(out, "- {caution}");
    }
    out
}

fn part(out: &mut String, one: &Entry) {
    let _ = writeln!(
        out,
        "\n### {}: {}\n",
        plain(&one.view.name),
        plain(&one.view.title)
    );
    for mark in &one.marks {
        let _ = writeln!(out, "{}:\n", mark.head);
        for line in &mark.lines {
            let _ = writeln!(out, "    {}", text(line, |seg| seg.text.clone()));
            let below = text(line, |seg| {
                seg.letter
                    .unwrap_or(' ')
                    .to_string()
                    .repeat(seg.text.chars().count())
            });
            if !below.trim().is_empty() {
                let _ = writeln!(out, "    {}", below.trim_end());
            }
        }
        let _ = writeln!(out);
    }
    for said in &one.said {
        let letter = said.letter.unwrap_or('-');
        let flags = if said.flags.is_empty() {
            String::new()
        } else {
            format!(" ({})", plain(&said.flags.join("; ")))
        };
        let _ = writeln!(
            out,
            "- {letter} {}: {}{flags}",
            plain(&said.name),
            plain(&said.text)
        );
    }
    for (head, text) in super::html::more(one) {
        let _ = writeln!(out, "- {head}: {}", plain(&text));
    }
}

fn text(line: &[Seg], of: impl Fn(&Seg) -> String) -> String {
    line.iter()
        .map(of)
        .collect::<String>()
        .replace(['\n', '\r'], " ")
}
