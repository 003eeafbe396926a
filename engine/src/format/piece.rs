//! One line cut into first word, what follows it, and clauses.

use unicode_width::UnicodeWidthStr;

use crate::source::Span;
use crate::syntax::ast::{
    BaseLit, ClassLit, Clause, ClauseKind, Codes, CondLit, FieldLit, LineKind, Node, Shape,
    TestLit, ValueLit, Word,
};
use crate::value::Comparison;

/// Which lines share columns.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Sort {
    /// Without columns.
    Loose,
    /// A head line of the file with a title behind its name.
    Titled,
    /// A line of a family, group or maker.
    Plain,
    /// Clauses alone: two spaces between.
    Clauses,
    /// A form or a row of one.
    Form,
    /// An example or refusal.
    Example,
    /// An entry of a list.
    Entry,
    /// A line of a matrix, set in `row.rs`.
    Matrix,
}

impl Sort {
    /// Whether its first word decides the second column of the whole block.
    pub(super) fn of_block(self) -> bool {
        matches!(self, Sort::Plain | Sort::Form | Sort::Example)
    }

    pub(super) fn has_clause_column(self) -> bool {
        matches!(self, Sort::Plain | Sort::Form | Sort::Example | Sort::Entry)
    }
}

/// The pieces of a line.
#[derive(Debug, Clone)]
pub(super) struct Piece {
    pub(super) sort: Sort,
    pub(super) head: String,
    /// Spaces between head and body where the head is too long for its column.
    pub(super) gap: usize,
    pub(super) body: Option<String>,
    pub(super) clauses: Vec<String>,
    pub(super) comment: Option<String>,
    /// Whether its first words stand close to what follows and have no part in the column of the block.
    pub(super) close: bool,
    /// Whether the line does not parse and stays as it is.
    pub(super) verbatim: bool,
}

impl Piece {
    fn new(sort: Sort, head: impl Into<String>) -> Piece {
        Piece {
            sort,
            head: head.into(),
            gap: 2,
            body: None,
            clauses: Vec::new(),
            comment: None,
            close: false,
            verbatim: false,
        }
    }

    fn body(mut self, body: impl Into<String>) -> Piece {
        let body = body.into();
        self.body = (!body.is_empty()).then_some(body);
        self
    }

    fn clauses(mut self, text: &str, clauses: &[Clause]) -> Piece {
        self.clauses
            .extend(clauses.iter().map(|clause| words(text, clause)));
        self
    }

    pub(super) fn verbatim(content: &str) -> Piece {
        Piece {
            verbatim: !content.is_empty(),
            ..Piece::new(Sort::Loose, content)
        }
    }

    pub(super) fn width(&self) -> usize {
        self.head.len()
            + self.body.as_ref().map_or(0, String::len)
            + self.clauses.iter().map(|c| c.len() + 2).sum::<usize>()
            + super::CLAUSES
    }
}

/// A stretch with runs of spaces outside quotes made one.
fn plain(text: &str, span: Span) -> String {
    let mut out = String::new();
    let (mut quoted, mut escaped) = (false, false);
    let mut before = ' ';
    for c in text[span.range()].trim().chars() {
        match c {
            _ if escaped => escaped = false,
            '\\' if quoted => escaped = true,
            // As in the parser: a quote inside a run is a character of it.
            '"' if quoted || matches!(before, ' ' | '(' | ',') => quoted = !quoted,
            ' ' if !quoted && before == ' ' => continue,
            _ => {}
        }
        before = c;
        out.push(c);
    }
    out
}

/// A code: quotes that it does not need are dropped.
pub(super) fn code(text: &str, word: &Word) -> String {
    let bare = word.quoted
        && !word.text.is_empty()
        && word
            .text
            .chars()
            .all(|c| c.is_ascii_digit() || c.is_ascii_uppercase());
    if bare {
        word.text.clone()
    } else {
        text[word.span.range()].to_owned()
    }
}

fn joined<T>(items: &[T], by: &str, show: impl Fn(&T) -> String) -> String {
    items.iter().map(show).collect::<Vec<_>>().join(by)
}

pub(super) fn codes(text: &str, words: &[Word]) -> String {
    joined(words, " or ", |word| code(text, word))
}

pub(super) fn value(text: &str, value: &ValueLit) -> String {
    let Some(unit) = &value.unit else {
        return plain(text, value.span);
    };
    let number = Span {
        end: unit.span.start,
        ..value.span
    };
    format!("{} {}", plain(text, number), unit.text)
}

fn fields(text: &str, fields: &[FieldLit]) -> String {
    joined(fields, ", ", |field| match &field.name {
        Some(name) => format!("{} {}", name.text, value(text, &field.value)),
        None => value(text, &field.value),
    })
}

fn cond(text: &str, cond: &CondLit) -> String {
    joined(&cond.terms, " and ", |term| {
        let not = if term.negated { "not " } else { "" };
        let test = match &term.test {
            TestLit::Codes(list) => codes(text, list),
            TestLit::Compare(compare, with) => {
                let sign = match compare {
                    Comparison::Less => "<",
                    Comparison::AtMost => "<=",
                    Comparison::Equal => "=",
                    Comparison::AtLeast => ">=",
                    Comparison::Greater => ">",
                };
                format!("{sign} {}", value(text, with))
            }
        };
        format!("{not}{} {test}", term.name.text)
    })
}

fn words(text: &str, clause: &Clause) -> String {
    match &clause.kind {
        ClauseKind::When(when) => format!("when {}", cond(text, when)),
        ClauseKind::Prints { code, forms, when } => {
            let what = code
                .as_ref()
                .map_or("nothing".to_owned(), |word| self::code(text, word));
            let forms = joined(forms, " or ", |form| form.text.clone());
            let when = when
                .as_ref()
                .map(|when| format!(" when {}", cond(text, when)))
                .unwrap_or_default();
            format!("prints {what} in {forms}{when}")
        }
        _ => plain(text, clause.span),
    }
}

fn class(class: &ClassLit) -> String {
    let many = match class.class {
        "letter" => "letters",
        "digit" => "digits",
        "glyph" => "glyphs",
        other => other,
    };
    match (class.min, class.max) {
        (1, 1) => class.class.to_owned(),
        (min, max) if min == max => format!("{min} {many}"),
        (min, max) => format!("{min}..{max} {many}"),
    }
}

fn base(text: &str, base: &BaseLit) -> String {
    let quoted = |word: &Word| text[word.span.range()].to_owned();
    match base {
        BaseLit::Tables(tables) => joined(tables, " or ", |table| table.text.clone()),
        BaseLit::Class(of) => class(of),
        BaseLit::Letters {
            digits,
            around,
            letters,
        } => {
            let how = if *around { "around" } else { "then" };
            let letters = joined(letters, ", ", |(letter, unit)| {
                format!("{} {}", code(text, letter), unit.text)
            });
            format!("{} {how} {letters}", class(digits))
        }
        BaseLit::Exponent(digits) => format!("{} then exponent", class(digits)),
        BaseLit::OneOf(glyphs, start) => {
            let start = start
                .as_ref()
                .map(|start| format!(" starting {}", start.text))
                .unwrap_or_default();
            format!("one of {}{start}", quoted(glyphs))
        }
        BaseLit::Pattern(pattern) => format!("pattern {}", quoted(pattern)),
        BaseLit::From(file) => format!("from {}", quoted(file)),
        BaseLit::Literal(literal) => quoted(literal),
    }
}

fn shape(text: &str, shape: &Shape) -> String {
    let mut out = shape
        .base
        .as_ref()
        .map(|of| base(text, of))
        .unwrap_or_default();
    if shape.or_none {
        out.push_str(" or none");
    }
    if !shape.gives.is_empty() {
        let columns = joined(&shape.gives, ", ", |(name, unit)| match unit {
            Some(unit) => format!("{} {}", name.text, unit.text),
            None => name.text.clone(),
        });
        if !out.is_empty() {
            out.push_str("  ");
        }
        out.push_str("gives ");
        out.push_str(&columns);
    }
    out
}

/// The pieces of a line that parses.
pub(super) fn piece(text: &str, node: &Node) -> Piece {
    let content = &text[node.content.range()];
    let names = |words: &[Word]| joined(words, " ", |word| word.text.clone());
    match &node.kind {
        LineKind::Blank => Piece::new(Sort::Loose, ""),
        LineKind::Broken => Piece::verbatim(content),
        LineKind::Lore(_) => Piece::new(Sort::Loose, plain(text, node.content)),
        LineKind::Use { path, names: of } => {
            let path = &text[path.span.range()];
            let of = names(of);
            Piece::new(Sort::Loose, format!("use {path} {of}").trim_end())
        }
        LineKind::Maker(name, title) => titled("maker", name, title),
        LineKind::Group(name, title) => titled("group", name, title),
        LineKind::Family(name, title) => titled("family", name, title),
        LineKind::Table(name, of, clauses) => {
            Piece::new(Sort::Titled, format!("table {}", name.text))
                .body(shape(text, of))
                .clauses(text, clauses)
        }
        LineKind::MakerFact(word, fact, clauses) => Piece::new(Sort::Plain, &*word.text)
            .body(&text[fact.span.range()])
            .clauses(text, clauses),
        LineKind::OfMaker(name) => Piece::new(Sort::Plain, "maker").body(&*name.text),
        LineKind::Function(path) => Piece::new(Sort::Plain, "function").body(&*path.text),
        LineKind::Clauses(clauses) => of_clauses(text, clauses),
        LineKind::Form(word, tokens, clauses) => Piece::new(Sort::Form, &*word.text)
            .body(joined(tokens, " ", |token| {
                text[token.span.range()].to_owned()
            }))
            .clauses(text, clauses),
        LineKind::Row(tokens, clauses) => Piece::new(Sort::Form, "")
            .body(joined(tokens, " ", |token| {
                text[token.span.range()].to_owned()
            }))
            .clauses(text, clauses),
        LineKind::Slot(name, of, clauses) => Piece::new(Sort::Plain, &*name.text)
            .body(shape(text, of))
            .clauses(text, clauses),
        LineKind::Entry(of, list, clauses) => {
            let (head, shaped) = match of {
                Codes::Listed(list) => (codes(text, list), None),
                Codes::None(_) => ("none".to_owned(), None),
                Codes::Unlisted(_, of) => ("unlisted".to_owned(), of.as_ref()),
            };
            let body = shaped.map_or_else(|| fields(text, list), |of| base(text, of));
            Piece::new(Sort::Entry, head)
                .body(body)
                .clauses(text, clauses)
        }
        LineKind::More(list, clauses) => {
            let piece = Piece::new(Sort::Loose, "").body(fields(text, list));
            piece.clauses(text, clauses)
        }
        LineKind::Without(list) => {
            let list = joined(list, ", ", |word| code(text, word));
            Piece::new(Sort::Loose, "without").body(list)
        }
        LineKind::When(when) => Piece::new(Sort::Loose, format!("when {}", cond(text, when))),
        LineKind::Otherwise => Piece::new(Sort::Loose, "otherwise"),
        LineKind::Derived(name, expr, clauses) => {
            // The parentheses around it are not part of an expression's place.
            let end = clauses
                .first()
                .map_or(node.content.end, |clause| clause.span.start);
            let from = text[name.span.end as usize..]
                .find('=')
                .map_or(expr.span().start, |at| name.span.end + at as u32 + 1);
            let expr = plain(text, Span { start: from, end });
            Piece::new(Sort::Plain, &*name.text)
                .body(format!("= {expr}"))
                .clauses(text, clauses)
        }
        LineKind::Matrix(name, unit, by) => {
            let unit = unit
                .as_ref()
                .map(|unit| format!("{} ", unit.text))
                .unwrap_or_default();
            let by = joined(by, ", ", |word| word.text.clone());
            Piece::new(Sort::Plain, &*name.text).body(format!("{unit}by {by}"))
        }
        LineKind::MatrixHead(_) | LineKind::MatrixLine(..) => {
            Piece::new(Sort::Matrix, plain(text, node.content))
        }
        LineKind::Date(slots, clauses) => Piece::new(Sort::Plain, "date")
            .body(names(slots))
            .clauses(text, clauses),
        LineKind::Never(seldom, of, clauses) => {
            Piece::new(Sort::Plain, if *seldom { "seldom" } else { "never" })
                .body(cond(text, of))
                .clauses(text, clauses)
        }
        LineKind::Check {
            slots,
            modulus,
            is,
            weights,
            values,
        } => {
            let mut body = format!("{}  mod {}", names(slots), modulus.text);
            if let Some(is) = is {
                body.push_str(&format!("  is {}", is.text));
            }
            if !weights.is_empty() {
                body.push_str(&format!("  weights {}", names(weights)));
            }
            if let Some(values) = values {
                body.push_str(&format!("  values {}", values.text));
            }
            Piece::new(Sort::Plain, "check").body(body)
        }
        LineKind::Example {
            refuse,
            form,
            reading,
            fields: list,
            clauses,
        } => {
            let word = if *refuse { "refuse" } else { "example" };
            let reading = code(text, reading);
            let mut piece = match form {
                // The form and its reading stand close, whatever the column.
                Some(form) => Piece::new(Sort::Example, word)
                    .body(reading)
                    .in_form(&form.text),
                None => Piece::new(Sort::Example, word).body(reading),
            };
            if !list.is_empty() {
                piece.clauses.push(fields(text, list));
            }
            piece.clauses(text, clauses)
        }
        LineKind::Accept(lint, about, clauses) => {
            let body = format!("{} {}", &text[lint.span.range()], names(about));
            Piece::new(Sort::Plain, "accept")
                .body(body.trim_end())
                .clauses(text, clauses)
        }
    }
}

impl Piece {
    fn in_form(mut self, form: &str) -> Piece {
        self.head = format!("{} in {form}", self.head);
        self.gap = 1;
        self.close = true;
        self
    }
}

fn titled(head: &str, name: &Word, title: &Word) -> Piece {
    Piece::new(Sort::Titled, format!("{head} {}", name.text)).body(&*title.text)
}

/// The first clause as a line's first word and what follows it, the others behind.
fn of_clauses(text: &str, clauses: &[Clause]) -> Piece {
    let Some((first, rest)) = clauses.split_first() else {
        return Piece::new(Sort::Clauses, "");
    };
    let all = words(text, first);
    let (head, body) = all.split_once(' ').unwrap_or((&all, ""));
    // A guard is a sentence, and reads as one.
    let piece = if head == "when" || head == "prints" {
        Piece::new(Sort::Loose, &*all)
    } else {
        Piece {
            gap: 1,
            ..Piece::new(Sort::Clauses, head).body(body)
        }
    };
    piece.clauses(text, rest)
}

/// The display width of a text.
pub(super) fn width(text: &str) -> usize {
    text.width()
}
