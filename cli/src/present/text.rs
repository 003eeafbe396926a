//! The answer for the microscope: the verdict first, the mark with its slots lettered beneath, then one line a field.

use etchlore_engine::decode::Reading;
use etchlore_engine::rank::{
    Alternative, Candidate, Correction, FieldAnswer, Ranking, Specimen, Specimens,
};
use unicode_width::UnicodeWidthStr;

use super::wire::standing;
use crate::console::{Console, Label};
use crate::failure::Failure;
use crate::rules::Loaded;

/// Width of the first column.
pub(crate) const MARGIN: usize = 9;

const CAUTION: &str = "A hypothesis from print, not proof of identity: confirm with the maker's document before substituting a part.";

/// A probability as people read it; never a flat 100 or 0.
pub(crate) fn percent(p: f64) -> String {
    let value = p * 100.0;
    match value {
        v if v > 99.99 => ">99.99 %".to_owned(),
        v if v > 99.0 => format!("{v:.2} %"),
        v if v >= 1.0 => format!("{v:.1} %"),
        v if v >= 0.01 => format!("{v:.2} %"),
        _ => "<0.01 %".to_owned(),
    }
}

/// Text in lines of at most `width`, broken at spaces.
fn wrapped(text: &str, width: usize) -> Vec<String> {
    let mut lines = vec![String::new()];
    for word in text.split(' ').filter(|word| !word.is_empty()) {
        let Some(last) = lines.last_mut() else { break };
        if last.is_empty() {
            last.push_str(word);
        } else if last.width() + 1 + word.width() <= width {
            last.push(' ');
            last.push_str(word);
        } else {
            lines.push(word.to_owned());
        }
    }
    lines
}

/// A first column and text beside it, wrapped.
pub(crate) fn beside(
    console: &mut Console,
    head: &str,
    label: Label,
    text: &str,
) -> Result<(), Failure> {
    let width = console.width().saturating_sub(MARGIN).max(20);
    // A head that fills the margin has a line of its own.
    let (head, alone) = if head.width() < MARGIN {
        (head, false)
    } else {
        console.line(&console.paint(label, head))?;
        ("", true)
    };
    for (at, line) in wrapped(text, width).into_iter().enumerate() {
        let head = if at == 0 && !alone { head } else { "" };
        let head = format!(
            "{}{}",
            console.paint(label, head),
            " ".repeat(MARGIN.saturating_sub(head.width()))
        );
        console.line(&format!("{head}{line}"))?;
    }
    Ok(())
}

/// The whole answer.
pub(crate) fn answer(
    loaded: &Loaded,
    reading: &Reading,
    ranking: &Ranking,
    limit: usize,
    console: &mut Console,
) -> Result<(), Failure> {
    whole(loaded, reading, ranking, &[], limit, console)
}

/// The whole answer to several specimens of one part.
pub(crate) fn specimens(
    loaded: &Loaded,
    all: &Specimens,
    limit: usize,
    console: &mut Console,
) -> Result<(), Failure> {
    whole(
        loaded,
        &all.reading,
        &all.ranking,
        &all.each,
        limit,
        console,
    )
}

fn whole(
    loaded: &Loaded,
    reading: &Reading,
    ranking: &Ranking,
    each: &[Specimen],
    limit: usize,
    console: &mut Console,
) -> Result<(), Failure> {
    let none = none_text(loaded);
    let leading = ranking
        .candidates
        .first()
        .filter(|candidate| candidate.probability >= ranking.none);
    match leading {
        Some(candidate) => {
            verdict(loaded, candidate, console)?;
            console.line("")?;
            marks(reading, candidate, each, console)?;
            fields(candidate, console)?;
            own_fields(each, console)?;
            super::relations::text(loaded, candidate, console)?;
            findings(candidate, console)?;
        }
        None => {
            let head = percent(ranking.none);
            beside(
                console,
                &head,
                Label::Head,
                &format!("{none} explains this."),
            )?;
            console.line("")?;
            for (number, line) in reading.lines.iter().enumerate() {
                let head = match mark_head(each, number) {
                    Some(head) => head,
                    None if each.is_empty() => "  mark".to_owned(),
                    None => String::new(),
                };
                beside(console, &head, Label::Faint, &line.text)?;
            }
        }
    }
    remarks(loaded, ranking, console)?;
    let unexplained: Vec<String> = ranking
        .unexplained
        .iter()
        .map(|piece| format!("{} ({})", piece.text, line_name(each, piece.line)))
        .collect();
    if leading.is_some() && !unexplained.is_empty() {
        beside(
            console,
            "  left",
            Label::Doubt,
            &format!("not explained: {}", unexplained.join(", ")),
        )?;
    }
    for look in &ranking.next_look {
        let cost = if look.cost.word() == "look" {
            String::new()
        } else {
            format!(" ({})", look.cost.word())
        };
        beside(
            console,
            "  next",
            Label::Good,
            &format!("{}{cost}", look.text),
        )?;
    }
    rivals(loaded, ranking, leading, limit, &none, console)?;
    if let Some(stopped) = &ranking.stopped {
        beside(console, "  note", Label::Doubt, stopped)?;
    }
    if let Some(candidate) = leading {
        rule(loaded, candidate, console)?;
    }
    for line in wrapped(CAUTION, console.width()) {
        let line = console.paint(Label::Faint, &line);
        console.line(&line)?;
    }
    Ok(())
}

fn none_text(loaded: &Loaded) -> String {
    match loaded.rules.set().families.len() {
        1 => "not the one family loaded".to_owned(),
        n => format!("none of the {n} families loaded"),
    }
}

fn verdict(loaded: &Loaded, candidate: &Candidate, console: &mut Console) -> Result<(), Failure> {
    let set = loaded.rules.set();
    let family = &set.families[candidate.family.index()];
    let maker = family
        .maker
        .map(|maker| format!(", {}", set.makers[maker.index()].title))
        .unwrap_or_default();
    let function = family
        .function
        .as_ref()
        .map(|function| format!(" ({function})"))
        .unwrap_or_default();
    let label = if candidate.probability >= 0.9 {
        Label::Good
    } else {
        Label::Doubt
    };
    let head = percent(candidate.probability);
    beside(
        console,
        &head,
        label,
        &format!("{}{maker}{function}", family.title),
    )?;
    let written = candidate
        .written
        .as_ref()
        .map(|written| format!(": {written}"))
        .unwrap_or_default();
    let depth = format!("known to the {}{written}", candidate.known_to.words());
    beside(console, "", Label::Faint, &depth)?;
    if candidate.open.is_empty() {
        return Ok(());
    }
    beside(
        console,
        "",
        Label::Faint,
        &format!("open: {}", candidate.open.join(", ")),
    )
}

/// The letter of a slot in the drawing.
pub(crate) fn letter(at: usize) -> char {
    char::from_u32('a' as u32 + (at % 26) as u32).unwrap_or('?')
}

/// The mark as typed, its slots lettered beneath.
fn marks(
    reading: &Reading,
    candidate: &Candidate,
    each: &[Specimen],
    console: &mut Console,
) -> Result<(), Failure> {
    let names = slot_names(candidate);
    for (number, line) in reading.lines.iter().enumerate() {
        let chars: Vec<char> = line.text.chars().collect();
        let mut beneath = vec![' '; chars.len()];
        for span in candidate.slots.iter().filter(|span| span.line == number) {
            let at = names
                .iter()
                .position(|name| *name == span.name)
                .unwrap_or(0);
            for place in span.span.0..span.span.1 {
                if let Some(cell) = beneath.get_mut(place as usize) {
                    *cell = letter(at);
                }
            }
        }
        let width = console.width().saturating_sub(MARGIN).max(20);
        for (at, (above, below)) in chars.chunks(width).zip(beneath.chunks(width)).enumerate() {
            let head = match mark_head(each, number) {
                Some(head) if at == 0 => head,
                None if number == 0 && at == 0 => "  mark".to_owned(),
                _ => String::new(),
            };
            let above: String = above.iter().collect();
            let below: String = below.iter().collect();
            let text = console.paint(Label::Strong, &above);
            console.line(&format!("{head:MARGIN$}{text}"))?;
            if !below.trim().is_empty() {
                let text = console.paint(Label::Faint, below.trim_end());
                console.line(&format!("{:MARGIN$}{text}", ""))?;
            }
        }
    }
    Ok(())
}

/// The first column beside the first line of a specimen.
fn mark_head(each: &[Specimen], line: usize) -> Option<String> {
    let number = each
        .iter()
        .position(|specimen| specimen.lines.0 == line && specimen.lines.1 > 0)?;
    Some(format!("  mark {}", number + 1))
}

/// Which line that is, as people count.
fn line_name(each: &[Specimen], line: usize) -> String {
    let specimen = each
        .iter()
        .enumerate()
        .find(|(_, one)| (one.lines.0..one.lines.0 + one.lines.1).contains(&line));
    match specimen {
        Some((number, one)) => {
            format!("specimen {}, line {}", number + 1, line - one.lines.0 + 1)
        }
        None => format!("line {}", line + 1),
    }
}

/// What differs from specimen to specimen, one line each.
fn own_fields(each: &[Specimen], console: &mut Console) -> Result<(), Failure> {
    for (number, specimen) in each.iter().enumerate() {
        let said: Vec<String> = specimen
            .fields
            .iter()
            .filter(|field| field.name != "date_of")
            .map(|field| format!("{} {}", field.name, shown(field)))
            .collect();
        if !said.is_empty() {
            let head = format!("  own {}", number + 1);
            beside(console, &head, Label::Faint, &said.join(", "))?;
        }
    }
    Ok(())
}

/// The slots printed, each once: their order gives the letters.
pub(crate) fn slot_names(candidate: &Candidate) -> Vec<String> {
    let mut names: Vec<String> = Vec::new();
    for span in &candidate.slots {
        if !names.contains(&span.name) {
            names.push(span.name.clone());
        }
    }
    names
}

fn fields(candidate: &Candidate, console: &mut Console) -> Result<(), Failure> {
    let names = slot_names(candidate);
    let widest = candidate
        .fields
        .iter()
        .map(|field| field.name.width())
        .max()
        .unwrap_or(0)
        .min(16);
    for field in &candidate.fields {
        let at = field
            .slot
            .as_ref()
            .filter(|_| field.at.is_some())
            .and_then(|slot| names.iter().position(|name| name == slot));
        let mark = at.map_or("-".to_owned(), |at| letter(at).to_string());
        let flags = flags(candidate, field);
        let mut text = format!("{:widest$}  {}", field.name, shown(field));
        if let Some(code) = field
            .code
            .as_ref()
            .filter(|code| **code != field.text && !code.is_empty())
        {
            text.push_str(&format!("  [{code}]"));
        }
        if !flags.is_empty() {
            text.push_str(&format!("  {}", flags.join("; ")));
        }
        let label = if flags.is_empty() {
            Label::Faint
        } else {
            Label::Doubt
        };
        beside_field(console, &format!("  {mark}"), label, &text, widest + 2)?;
    }
    Ok(())
}

/// As [`beside`], but keeps the run of spaces between name and value, and indents what wraps.
fn beside_field(
    console: &mut Console,
    head: &str,
    label: Label,
    text: &str,
    indent: usize,
) -> Result<(), Failure> {
    let width = console.width().saturating_sub(MARGIN).max(20);
    let head = format!(
        "{}{}",
        console.paint(label, head),
        " ".repeat(MARGIN.saturating_sub(head.width()))
    );
    if text.width() <= width {
        return console.line(&format!("{head}{text}"));
    }
    let (name, rest) = text.split_at(
        text.char_indices()
            .nth(indent)
            .map_or(text.len(), |(at, _)| at),
    );
    for (at, line) in wrapped(rest, width.saturating_sub(indent).max(12))
        .into_iter()
        .enumerate()
    {
        if at == 0 {
            console.line(&format!("{head}{name}{line}"))?;
        } else {
            console.line(&format!("{}{line}", " ".repeat(MARGIN + indent)))?;
        }
    }
    Ok(())
}

/// A field's value with its doubt.
pub(crate) fn shown(field: &FieldAnswer) -> String {
    if field.unknown {
        return format!(
            "? (code {} is not listed)",
            field.code.as_deref().unwrap_or("")
        );
    }
    match field.probability {
        Some(p) if p < 0.995 => format!("{} ({})", field.text, percent(p)),
        _ => field.text.clone(),
    }
}

/// What is to be said beside a value.
pub(crate) fn flags(candidate: &Candidate, field: &FieldAnswer) -> Vec<String> {
    let mut flags = Vec::new();
    if let Some(slot) = &field.slot {
        for correction in candidate
            .corrections
            .iter()
            .filter(|correction| correction.slot == *slot)
        {
            flags.push(taken(correction));
        }
        if candidate
            .disagreements
            .iter()
            .any(|disagreement| disagreement.slots.contains(slot))
        {
            flags.push("disagrees, see below".to_owned());
        }
    }
    let others: Vec<String> = field
        .alternatives
        .iter()
        .filter(|other| other.probability >= 0.01)
        .take(3)
        .map(|other| format!("{} {}", other_text(other), percent(other.probability)))
        .collect();
    if !others.is_empty() {
        flags.push(format!("or {}", others.join(", ")));
    }
    if let Some(founded) = field.standing {
        flags.push(format!("{} only", standing(founded)));
    }
    if field.slot.is_some() && field.at.is_none() && !field.derived {
        flags.push("not printed".to_owned());
    }
    flags
}

/// Another value of a field in words.
pub(crate) fn other_text(other: &Alternative) -> &str {
    match other.text.as_str() {
        _ if other.absent => "none",
        "" => "not listed",
        text => text,
    }
}

/// What was read and what it is taken for; either can be nothing.
pub(crate) fn taken(correction: &Correction) -> String {
    match (correction.read.as_str(), correction.taken.as_str()) {
        ("", taken) => format!("{taken} missing"),
        (read, taken) => format!("read {read}, taken as {taken}"),
    }
}

fn findings(candidate: &Candidate, console: &mut Console) -> Result<(), Failure> {
    let shown: Vec<&String> = candidate
        .fields
        .iter()
        .filter_map(|field| field.slot.as_ref())
        .collect();
    for correction in candidate
        .corrections
        .iter()
        .filter(|correction| !shown.contains(&&correction.slot))
    {
        let text = format!(
            "{} (line {}, character {}, {})",
            taken(correction),
            correction.line + 1,
            correction.at + 1,
            correction.slot
        );
        beside(console, "  taken", Label::Doubt, &text)?;
    }
    for disagreement in &candidate.disagreements {
        let source = disagreement
            .source
            .as_ref()
            .map(|source| format!(" ({source})"))
            .unwrap_or_default();
        let mended = disagreement
            .mended_by
            .as_ref()
            .map(|mended| format!("; mended if {mended}"))
            .unwrap_or_default();
        beside(
            console,
            "  but",
            Label::Bad,
            &format!("{}{source}{mended}", disagreement.text),
        )?;
    }
    Ok(())
}

fn remarks(loaded: &Loaded, ranking: &Ranking, console: &mut Console) -> Result<(), Failure> {
    for remark in ranking.remarks.iter().take(6) {
        let family = &loaded.rules.set().families[remark.family.index()];
        let said: Vec<String> = remark
            .fields
            .iter()
            .map(|field| format!("{} {}", field.name, shown(field)))
            .collect();
        let text = format!(
            "{}: {} ({}, {})",
            remark.piece.text,
            said.join(", "),
            family.title,
            percent(remark.probability)
        );
        beside(console, "  remark", Label::Faint, &text)?;
    }
    Ok(())
}

fn rivals(
    loaded: &Loaded,
    ranking: &Ranking,
    leading: Option<&Candidate>,
    limit: usize,
    none: &str,
    console: &mut Console,
) -> Result<(), Failure> {
    let set = loaded.rules.set();
    let skip = usize::from(leading.is_some());
    let shown = ranking.candidates.len().min(limit.max(skip));
    let mut parts: Vec<(f64, String)> = ranking
        .candidates
        .iter()
        .take(shown)
        .skip(skip)
        .map(|candidate| {
            let family = &set.families[candidate.family.index()];
            let main = candidate.fields.iter().find(|field| {
                field.value.is_some() && field.name != "brand" && field.name != "series"
            });
            let said = candidate
                .written
                .clone()
                .or_else(|| main.map(|field| format!("{} {}", field.name, field.text)));
            let said = said.map(|said| format!(", {said}")).unwrap_or_default();
            (
                candidate.probability,
                format!(
                    "{} ({}{said})",
                    percent(candidate.probability),
                    family.title
                ),
            )
        })
        .collect();
    if leading.is_some() {
        parts.push((ranking.none, format!("{} {none}", percent(ranking.none))));
    }
    let rest: f64 = ranking.rest
        + ranking.candidates[shown..]
            .iter()
            .map(|candidate| candidate.probability)
            .sum::<f64>();
    if rest > 1e-4 {
        parts.push((rest, format!("{} others", percent(rest))));
    }
    parts.sort_by(|a, b| b.0.total_cmp(&a.0));
    let texts: Vec<String> = parts.into_iter().map(|(_, text)| text).collect();
    if texts.is_empty() {
        return Ok(());
    }
    beside(console, "  else", Label::Faint, &texts.join(";  "))
}

fn rule(loaded: &Loaded, candidate: &Candidate, console: &mut Console) -> Result<(), Failure> {
    let family = &loaded.rules.set().families[candidate.family.index()];
    let mut text = format!("{} {}", family.name, loaded.sources.file_line(family.place));
    text.push_str(&format!(
        ", {}",
        standing(family.provenance.standing.unwrap_or_default())
    ));
    if let Some(source) = &family.provenance.source {
        text.push_str(&format!(": {source}"));
    }
    if let Some(reviewed) = family.provenance.reviewed {
        text.push_str(&format!(" (reviewed {reviewed})"));
    }
    beside(console, "  rule", Label::Faint, &text)
}

/// One line a reading.
pub(crate) fn brief(
    loaded: &Loaded,
    reading: &Reading,
    ranking: &Ranking,
    console: &mut Console,
) -> Result<(), Failure> {
    let mark: Vec<&str> = reading
        .lines
        .iter()
        .map(|line| line.text.as_str())
        .collect();
    let mark = mark.join(" | ");
    let leading = ranking
        .candidates
        .first()
        .filter(|candidate| candidate.probability >= ranking.none);
    let text = match leading {
        Some(candidate) => {
            let family = &loaded.rules.set().families[candidate.family.index()];
            let written = candidate
                .written
                .as_ref()
                .map(|written| format!("  {written}"))
                .unwrap_or_default();
            format!(
                "{mark}  {}  {}{written}",
                percent(candidate.probability),
                family.name
            )
        }
        None => format!("{mark}  {}  none", percent(ranking.none)),
    };
    console.line(&text)
}
