//! Forms: specimen and names paired, groups and other forms written out, literals as slots.

use super::codes::{CondAt, Proto};
use super::cx::Item;
use super::family::{Draft, Line, SlotDraft};
use crate::diagnostic::Diagnostic;
use crate::glyph::Boundary;
use crate::model::{
    CodeKind, Family, FormKind, Provenance, Row, RowItem, SlotId, Spelling, Window,
};
use crate::source::{Place, Span};
use crate::syntax::ast::{Clause, ClauseKind, LineKind, RowKind, RowToken, Word};

/// How deep forms and groups may stand in each other.
const MAX_DEPTH: usize = 8;

/// A form while the family is built.
pub(super) struct FormDraft {
    pub(super) kind: FormKind,
    pub(super) row: Row,
    pub(super) guards: Vec<CondAt>,
    pub(super) weight: f64,
    pub(super) specimen: Vec<(SlotId, String)>,
    pub(super) provenance: Provenance,
    pub(super) place: Place,
}

/// A row's names with what the specimen shows above each.
struct Paired {
    token: RowToken,
    shown: Option<Word>,
}

impl Draft<'_, '_> {
    /// Reads all forms of the family.
    pub(super) fn rows(&mut self, family: &mut Family) {
        for line in self.lines.clone() {
            let LineKind::Form(word, tokens, clauses) = line.kind() else {
                continue;
            };
            if line.group.is_some() {
                continue;
            }
            let clauses = self.clauses_of(&line, clauses);
            let Some(paired) = self.paired(&line, tokens) else {
                continue;
            };
            let mut specimen = Vec::new();
            let row = Row {
                items: self.items(&line, &paired, 0, &mut specimen),
            };
            let place = self.cx.place(line.file, word.span);
            if word.text == "base" {
                // Its codes together are a field.
                self.cx.field("base", None);
                family.base = Some(row);
                continue;
            }
            let Some(kind) = FormKind::of_word(&word.text) else {
                continue;
            };
            let mut draft = FormDraft {
                kind,
                row,
                guards: line.guards.clone(),
                weight: 1.0,
                specimen,
                provenance: Provenance::default(),
                place,
            };
            self.form_clauses(&line, &clauses, &mut draft);
            self.forms.push(draft);
        }
        let empty: Vec<(String, Place)> = self
            .slots
            .iter()
            .filter(|slot| slot.codes.is_empty())
            .map(|slot| (slot.name.clone(), slot.place))
            .collect();
        for (name, place) in empty {
            self.cx.note(
                Diagnostic::new("name-without-codes", place, format!("`{name}` has neither codes nor a specimen"))
                    .help("list its codes beneath it, give it a shape (letter, 2 digits, one of \"ABC\"), or show one above it in a form"),
            );
        }
    }

    fn form_clauses(&mut self, line: &Line, clauses: &[Clause], draft: &mut FormDraft) {
        self.cx.provenance(
            line.file,
            clauses,
            &mut draft.provenance,
            &mut Window::default(),
        );
        for clause in clauses {
            match &clause.kind {
                ClauseKind::When(cond) => draft.guards.push(Self::at(line.file, cond)),
                ClauseKind::Weight(weight) => {
                    draft.weight = weight.text.parse().ok().filter(|w| *w > 0.0).unwrap_or(1.0)
                }
                _ => {}
            }
        }
    }

    /// The names of a form line with the specimen above them.
    fn paired(&mut self, line: &Line, inline: &[RowToken]) -> Option<Vec<Paired>> {
        let nodes = &self.cx.files[line.file].tree.nodes;
        let mut rows: Vec<Vec<RowToken>> = Vec::new();
        if !inline.is_empty() {
            rows.push(inline.to_vec());
        }
        rows.extend(nodes[line.node].children.iter().filter_map(
            |child| match &nodes[*child].kind {
                LineKind::Row(tokens, _) => Some(tokens.clone()),
                _ => None,
            },
        ));
        let place = self.cx.place(line.file, nodes[line.node].content);
        if let [names] = rows.as_slice() {
            return Some(
                names
                    .iter()
                    .map(|token| Paired {
                        token: token.clone(),
                        shown: None,
                    })
                    .collect(),
            );
        }
        if rows.len() % 2 == 1 || rows.is_empty() {
            let title = format!(
                "{} rows stand here: specimens and names come in pairs",
                rows.len()
            );
            self.cx.note(
                Diagnostic::new("rows-differ", place, title)
                    .help("write each specimen with the names of its places beneath it"),
            );
            return None;
        }
        let mut paired = Vec::new();
        for pair in rows.chunks(2) {
            let [specimen, names] = pair else { continue };
            let boundary = |token: &RowToken| {
                matches!(
                    token.kind,
                    RowKind::Boundary(..) | RowKind::Open | RowKind::Close
                )
            };
            let apart = specimen
                .iter()
                .zip(names)
                .position(|(a, b)| boundary(a) != boundary(b));
            if apart.is_some() || specimen.len() != names.len() {
                let count = |row: &[RowToken]| row.iter().filter(|token| !boundary(token)).count();
                let at = apart.unwrap_or(specimen.len().min(names.len()).saturating_sub(1));
                let at = names
                    .get(at)
                    .or(names.last())
                    .map_or(Span::default(), |token| token.span);
                let end = names.last().map_or(at, |token| token.span);
                let place = self.cx.place(line.file, at.join(end));
                let above = specimen
                    .first()
                    .zip(specimen.last())
                    .map(|(a, b)| a.span.join(b.span))
                    .unwrap_or_default();
                let above = self.cx.place(line.file, above);
                let title = format!(
                    "{} codes stand above {} names",
                    count(specimen),
                    count(names)
                );
                self.cx.note(
                    Diagnostic::new("rows-differ", place, title)
                        .here("from here on they run apart")
                        .also(above, "the specimen")
                        .help("a code that is absent is written `none`; boundaries stand in both rows"),
                );
                return None;
            }
            for (above, token) in specimen.iter().zip(names) {
                let shown = match &above.kind {
                    RowKind::Word(word) | RowKind::Text(word) => Some(word.clone()),
                    _ => None,
                };
                paired.push(Paired {
                    token: token.clone(),
                    shown,
                });
            }
        }
        Some(paired)
    }

    fn items(
        &mut self,
        line: &Line,
        paired: &[Paired],
        depth: usize,
        specimen: &mut Vec<(SlotId, String)>,
    ) -> Vec<RowItem> {
        let mut open: Vec<Vec<RowItem>> = vec![Vec::new()];
        for Paired { token, shown } in paired {
            let mut new = Vec::new();
            match &token.kind {
                RowKind::Open => {
                    open.push(Vec::new());
                    continue;
                }
                RowKind::Close => {
                    let inner = open.pop().unwrap_or_default();
                    match open.last_mut() {
                        Some(outer) => outer.push(RowItem::Optional(inner)),
                        None => {
                            open.push(inner);
                            let place = self.cx.place(line.file, token.span);
                            self.cx.note(
                                Diagnostic::new(
                                    "rows-differ",
                                    place,
                                    "this bracket was never opened",
                                )
                                .help("what is sometimes printed stands between [ and ]"),
                            );
                        }
                    }
                    continue;
                }
                RowKind::Boundary('|', _) => new.push(RowItem::Break),
                RowKind::Boundary(c, hard) => {
                    let boundary = if *c == '~' {
                        Boundary::Space
                    } else {
                        Boundary::of(*c).unwrap_or_default()
                    };
                    new.push(RowItem::Boundary {
                        boundary,
                        hard: *hard,
                    });
                }
                RowKind::Text(text) => {
                    let mut kind = CodeKind::Listed(Spelling::of(&text.text));
                    if let CodeKind::Listed(spelling) = &mut kind {
                        // What stands at the end of the text as a boundary is expected before the next glyph.
                        if let Some(boundary) = text
                            .text
                            .chars()
                            .last()
                            .and_then(Boundary::of)
                            .filter(|_| !spelling.glyphs.is_empty())
                        {
                            let symbol_end = matches!(
                                spelling.glyphs.last(),
                                Some(crate::glyph::Glyph::Symbol(_))
                            ) && boundary == Boundary::Colon;
                            let slot = self.literal(line, text, kind);
                            new.push(RowItem::Slot(slot));
                            if !symbol_end {
                                new.push(RowItem::Boundary {
                                    boundary,
                                    hard: false,
                                });
                            }
                        } else if spelling.glyphs.is_empty() {
                            let boundary = text
                                .text
                                .chars()
                                .next()
                                .and_then(Boundary::of)
                                .unwrap_or_default();
                            new.push(RowItem::Boundary {
                                boundary,
                                hard: false,
                            });
                        } else {
                            let slot = self.literal(line, text, kind);
                            new.push(RowItem::Slot(slot));
                        }
                    }
                }
                RowKind::Word(word) => {
                    self.word(line, word, shown.as_ref(), depth, specimen, &mut new)
                }
            }
            if let Some(last) = open.last_mut() {
                last.extend(new);
            }
        }
        if open.len() > 1 {
            let place = self.cx.place(
                line.file,
                self.cx.files[line.file].tree.nodes[line.node].content,
            );
            self.cx.note(
                Diagnostic::new("rows-differ", place, "a bracket of this row is not closed")
                    .help("what is sometimes printed stands between [ and ]"),
            );
        }
        open.into_iter().flatten().collect()
    }

    fn literal(&mut self, line: &Line, text: &Word, kind: CodeKind) -> SlotId {
        let name = format!("\"{}\"", text.text);
        if let Some(known) = self.slot_ids.get(&name) {
            return SlotId::at(*known);
        }
        let place = self.cx.place(line.file, text.span);
        let codes = vec![Proto::new(kind, place)];
        let id = SlotId::at(self.slots.len());
        self.slot_ids.insert(name.clone(), self.slots.len());
        self.slots.push(SlotDraft {
            name,
            codes,
            each: false,
            cased: false,
            literal: true,
            place,
        });
        id
    }

    fn word(
        &mut self,
        line: &Line,
        word: &Word,
        shown: Option<&Word>,
        depth: usize,
        specimen: &mut Vec<(SlotId, String)>,
        new: &mut Vec<RowItem>,
    ) {
        let group = line.group.as_deref();
        let known = self.slot_of(group, &word.text);
        if known.is_none() && depth < MAX_DEPTH {
            if let Some(Item::Group(file, node)) =
                self.cx.files[line.file].scope.get(&word.text).copied()
            {
                new.extend(self.group(&word.text, file, node, depth, specimen));
                return;
            }
            if FormKind::of_word(&word.text).is_some() {
                let other = self
                    .lines
                    .iter()
                    .find(|l| matches!(l.kind(), LineKind::Form(w, ..) if w.text == word.text))
                    .cloned();
                if let Some(other) = other {
                    if let LineKind::Form(_, tokens, _) = other.kind()
                        && let Some(paired) = self.paired(&other, tokens)
                    {
                        new.extend(self.items(&other, &paired, depth + 1, specimen));
                    }
                    return;
                }
            }
        }
        let declared = known.is_some();
        let id = match known {
            Some(id) => id,
            None => {
                let absent = shown.is_none_or(|code| code.text == "none" && !code.quoted);
                let is_name = word.text.starts_with(|c: char| c.is_ascii_lowercase());
                if absent || !is_name {
                    let mut names: Vec<String> = self
                        .slots
                        .iter()
                        .filter(|slot| !slot.literal)
                        .map(|slot| slot.name.clone())
                        .collect();
                    let groups = self.cx.files[line.file]
                        .scope
                        .iter()
                        .filter(|(_, item)| matches!(item, Item::Group(..)));
                    names.extend(groups.map(|(name, _)| name.clone()));
                    if absent && shown.is_some() {
                        let place = self.cx.place(line.file, word.span);
                        let title = format!(
                            "`{}` has no list, and its only specimen is `none`",
                            word.text
                        );
                        self.cx.note(
                            Diagnostic::new("name-without-codes", place, title)
                                .help("list its codes on a line of its own, or remove it"),
                        );
                    } else {
                        self.cx
                            .unknown(line.file, word, "slot", names.iter().map(String::as_str));
                    }
                    return;
                }
                let name = group.map_or_else(
                    || word.text.clone(),
                    |group| format!("{group}.{}", word.text),
                );
                let place = self.cx.place(line.file, word.span);
                let id = SlotId::at(self.slots.len());
                self.slot_ids.insert(name.clone(), self.slots.len());
                self.slots.push(SlotDraft {
                    name,
                    codes: Vec::new(),
                    each: false,
                    cased: false,
                    literal: false,
                    place,
                });
                id
            }
        };
        new.push(RowItem::Slot(id));
        let Some(shown) = shown else { return };
        specimen.push((id, shown.text.clone()));
        if self.slots[id.index()].codes.is_empty() && (shown.quoted || shown.text != "none") {
            let place = self.cx.place(line.file, shown.span);
            let spelling = Spelling::of(&shown.text);
            let mut code = Proto::new(CodeKind::Listed(spelling.clone()), place);
            let name = self.slots[id.index()]
                .name
                .rsplit('.')
                .next()
                .unwrap_or_default()
                .to_owned();
            let own = Word {
                text: name,
                ..word.clone()
            };
            let column = self.cx.column(line.file, &own, None);
            if column.kind == super::vocabulary::FieldKind::Text {
                code.values
                    .push((column.field, crate::value::Value::Text(spelling.text())));
            }
            self.slots[id.index()].codes.push(code);
        }
        let _ = declared;
    }

    /// Writes a group out: its slots and facts become the family's, its row stands here.
    fn group(
        &mut self,
        name: &str,
        file: usize,
        node: usize,
        depth: usize,
        specimen: &mut Vec<(SlotId, String)>,
    ) -> Vec<RowItem> {
        let first = !self.groups.iter().any(|known| known == name);
        if first {
            self.groups.push(name.to_owned());
            let children = self.cx.files[file].tree.nodes[node].children.clone();
            let before = self.lines.len();
            self.collect(file, &children, &[], Some(name));
            let own: Vec<Line> = self.lines[before..].to_vec();
            for line in own {
                self.slot_line(&line);
            }
        }
        let row = self
            .lines
            .iter()
            .find(|line| {
                line.group.as_deref() == Some(name)
                    && matches!(line.kind(), LineKind::Form(word, ..) if word.text == "row")
            })
            .cloned();
        let Some(line) = row else {
            let place = self
                .cx
                .place(file, self.cx.files[file].tree.nodes[node].content);
            if first {
                self.cx.note(
                    Diagnostic::new(
                        "form-missing",
                        place,
                        format!("the group `{name}` has no row"),
                    )
                    .help("write `row` with the names of its places"),
                );
            }
            return Vec::new();
        };
        let LineKind::Form(_, tokens, _) = line.kind() else {
            return Vec::new();
        };
        match self.paired(&line, tokens) {
            Some(paired) => self.items(&line, &paired, depth + 1, specimen),
            None => Vec::new(),
        }
    }
}
