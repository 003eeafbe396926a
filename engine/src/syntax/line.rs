//! One line from its words and the kind of the line it stands beneath.

use nom::Parser;

use super::Body;
use super::ast::{Codes, LineKind, Node, RowKind, RowToken, Word};
use super::cursor::{CLAUSES, Cursor, FORMS, Parse, is_reserved};
use super::token;
use crate::diagnostic::{Diagnostic, near};
use crate::source::{SourceId, Span};

pub(super) fn parse_line(
    content: &str,
    span: Span,
    source: SourceId,
    body: Body,
    parent: Option<&Node>,
    faults: &mut Vec<Diagnostic>,
) -> LineKind {
    let mut cursor = Cursor::new(content, span.start as usize, source, faults);
    let parsed = match body {
        Body::File => cursor.file_line(),
        Body::Maker => cursor.maker_line(),
        Body::Family | Body::Group => cursor.family_line(body == Body::Group),
        Body::Slot => cursor.slot_line(),
        Body::Entry => cursor.more(),
        Body::Rows => cursor.row_line(),
        Body::Matrix => cursor.matrix_line(parent),
        Body::Clauses => Ok(LineKind::Clauses(cursor.clauses())),
        Body::Silent => Ok(LineKind::Broken),
    };
    let Ok(kind) = parsed else {
        return LineKind::Broken;
    };
    if !cursor.done() {
        let place = cursor.next_place();
        cursor.note(
            Diagnostic::new("left-over", place, "this is more than the line can hold")
                .help("remove it, or put it on a line of its own beneath"),
        );
    }
    kind
}

impl Cursor<'_> {
    fn rest_as_title(&mut self) -> Word {
        self.space();
        let from = self.at;
        let text = self.rest().trim_end().to_owned();
        self.at += self.rest().len();
        Word {
            text,
            span: self.span(from),
            quoted: false,
        }
    }

    fn new_name(&mut self, what: &str) -> Parse<Word> {
        let word = self.name(what)?;
        if is_reserved(&word.text) {
            let place = self.place(word.span);
            return Err(self.fault(
                "reserved-name",
                place,
                format!("`{}` is a word of the language", word.text),
                "choose another name",
            ));
        }
        Ok(word)
    }

    fn file_line(&mut self) -> Parse<LineKind> {
        let place = self.next_place();
        let first = self.peek_name().unwrap_or("").to_owned();
        let kind = match first.as_str() {
            "lore" | "use" | "maker" | "table" | "group" | "family" => {
                let _ = self.take(token::name);
                first
            }
            _ => {
                let heads = ["lore", "use", "maker", "table", "group", "family"];
                let help = near(&first, heads).first().map_or_else(
                    || "a line without indentation begins with lore, use, maker, table, group or family; what belongs to one of them is indented".to_owned(),
                    |near| format!("did you mean `{near}`?"),
                );
                return Err(self.fault(
                    "unknown-line",
                    place,
                    "this begins nothing that can stand here",
                    help,
                ));
            }
        };
        Ok(match kind.as_str() {
            "lore" => LineKind::Lore(self.number("the edition of the language")?),
            "use" => {
                let path = self.code_expected("a path")?;
                let mut names = Vec::new();
                while !self.done() {
                    names.push(self.name("a name of that file")?);
                    let _ = self.symbol(',');
                }
                LineKind::Use { path, names }
            }
            "maker" => LineKind::Maker(
                self.new_name("the name of the maker")?,
                self.rest_as_title(),
            ),
            "table" => {
                let name = self.new_name("the name of the table")?;
                let shape = self.shape()?;
                LineKind::Table(name, shape, self.clauses())
            }
            "group" => LineKind::Group(
                self.new_name("the name of the group")?,
                self.rest_as_title(),
            ),
            _ => LineKind::Family(
                self.new_name("the name of the family")?,
                self.rest_as_title(),
            ),
        })
    }

    fn maker_line(&mut self) -> Parse<LineKind> {
        if self.at_clause() {
            return Ok(LineKind::Clauses(self.clauses()));
        }
        let word = self.name("country, brand, logo, was, became or site")?;
        let facts = ["country", "brand", "logo", "was", "became", "site"];
        if !facts.contains(&word.text.as_str()) {
            let place = self.place(word.span);
            let help = near(&word.text, facts).first().map_or_else(
                || format!("facts of a maker: {}", facts.join(" ")),
                |near| format!("did you mean `{near}`?"),
            );
            return Err(self.fault(
                "unknown-line",
                place,
                format!("`{}` is no fact of a maker", word.text),
                help,
            ));
        }
        let text = self.text_expected("the fact")?;
        Ok(LineKind::MakerFact(word, text, self.clauses()))
    }

    fn family_line(&mut self, group: bool) -> Parse<LineKind> {
        let word = self.name("a slot, a form, or a word of the language")?;
        let text = word.text.as_str();
        if group && text == "row" || !group && FORMS.contains(&text) {
            let tokens = self.row_tokens()?;
            return Ok(LineKind::Form(word, tokens, self.clauses()));
        }
        if CLAUSES.contains(&text) && text != "when" {
            self.at -= text.len();
            return Ok(LineKind::Clauses(self.clauses()));
        }
        Ok(match text {
            "maker" if !group => LineKind::OfMaker(self.name("a maker")?),
            "function" if !group => {
                let place = self.next_place();
                match self.word_of(token::raw) {
                    Some(path) => LineKind::Function(path),
                    None => {
                        return Err(self.fault(
                            "word-expected",
                            place,
                            "the function is missing",
                            "write for example `function memory/nor`",
                        ));
                    }
                }
            }
            "date" => {
                let mut slots = vec![self.name("a slot")?];
                while self
                    .peek_name()
                    .is_some_and(|name| !CLAUSES.contains(&name))
                {
                    slots.push(self.name("a slot")?);
                }
                LineKind::Date(slots, self.clauses())
            }
            "never" | "seldom" => {
                let cond = self.cond()?;
                LineKind::Never(text == "seldom", cond, self.clauses())
            }
            "check" => self.check()?,
            "example" | "refuse" => {
                let form = if self.keyword("in").is_some() {
                    Some(self.form_word()?)
                } else {
                    None
                };
                let reading = self.code_expected("a reading")?;
                let fields = self.fields();
                LineKind::Example {
                    refuse: text == "refuse",
                    form,
                    reading,
                    fields,
                    clauses: self.clauses(),
                }
            }
            "accept" => {
                let place = self.next_place();
                let Some(lint) = self.word_of(|i| token::raw(i)) else {
                    return Err(self.fault(
                        "word-expected",
                        place,
                        "the lint is missing",
                        "write for example `accept overlap OTHER_FAMILY  note \"why\"`",
                    ));
                };
                let mut about = Vec::new();
                while self
                    .peek_name()
                    .is_some_and(|name| !CLAUSES.contains(&name))
                {
                    about.push(self.name("what it is about")?);
                }
                LineKind::Accept(lint, about, self.clauses())
            }
            "when" => LineKind::When(self.cond()?),
            "otherwise" => LineKind::Otherwise,
            _ if is_reserved(text) => {
                let place = self.place(word.span);
                return Err(self.fault(
                    "reserved-name",
                    place,
                    format!("`{text}` is a word of the language and cannot begin a line here"),
                    "a slot needs another name",
                ));
            }
            _ => self.slot_or_field(word)?,
        })
    }

    fn slot_or_field(&mut self, name: Word) -> Parse<LineKind> {
        self.space();
        if self.symbol('=') {
            let expr = self.expr(0)?;
            return Ok(LineKind::Derived(name, expr, self.clauses()));
        }
        let before = self.at;
        let unit = self.word_of(token::unit);
        if self.keyword("by").is_some() {
            let mut slots = vec![self.name("a slot")?];
            while self.symbol(',') {
                slots.push(self.name("a slot")?);
            }
            return Ok(LineKind::Matrix(name, unit, slots));
        }
        self.at = before;
        let shape = self.shape()?;
        Ok(LineKind::Slot(name, shape, self.clauses()))
    }

    fn check(&mut self) -> Parse<LineKind> {
        let mut slots = Vec::new();
        while self.peek_name().is_some_and(|name| name != "mod") {
            slots.push(self.name("a slot")?);
        }
        if self.keyword("mod").is_none() {
            let place = self.next_place();
            return Err(self.fault(
                "word-expected",
                place,
                "`mod` is missing here",
                "write `check SLOT SLOT mod 10 weights 1 3`",
            ));
        }
        let modulus = self.number("the modulus")?;
        let is = if self.keyword("is").is_some() {
            Some(self.number("the remainder")?)
        } else {
            None
        };
        let mut weights = Vec::new();
        if self.keyword("weights").is_some() {
            while let Some(weight) = self.word_of(|i| token::number.parse(i)) {
                weights.push(weight);
            }
        }
        let values = if self.keyword("values").is_some() {
            Some(self.name("a table")?)
        } else {
            None
        };
        Ok(LineKind::Check {
            slots,
            modulus,
            is,
            weights,
            values,
        })
    }

    fn slot_line(&mut self) -> Parse<LineKind> {
        match self.peek_name() {
            Some("when") => {
                let _ = self.take(token::name);
                return Ok(LineKind::When(self.cond()?));
            }
            Some("otherwise") => {
                let _ = self.take(token::name);
                return Ok(LineKind::Otherwise);
            }
            Some("without") => {
                let _ = self.take(token::name);
                let mut codes = Vec::new();
                while let Some(code) = self.code(true) {
                    codes.push(code);
                    if !self.symbol(',') {
                        break;
                    }
                }
                return Ok(LineKind::Without(codes));
            }
            Some("none") => {
                let (_, span) = self.take(token::name).unwrap_or_default();
                let fields = self.fields();
                return Ok(LineKind::Entry(Codes::None(span), fields, self.clauses()));
            }
            Some("unlisted") => {
                let (_, span) = self.take(token::name).unwrap_or_default();
                let shaped = !self.done() && !self.at_clause();
                let shape = if shaped { Some(self.base()?) } else { None };
                return Ok(LineKind::Entry(
                    Codes::Unlisted(span, shape),
                    Vec::new(),
                    self.clauses(),
                ));
            }
            _ => {}
        }
        if self.at_clause() {
            return Ok(LineKind::Clauses(self.clauses()));
        }
        let mut codes = vec![self.code_expected("a code")?];
        while self.keyword("or").is_some() {
            codes.push(self.code_expected("another code")?);
        }
        let fields = self.fields();
        Ok(LineKind::Entry(
            Codes::Listed(codes),
            fields,
            self.clauses(),
        ))
    }

    fn more(&mut self) -> Parse<LineKind> {
        if self.keyword("when").is_some() {
            return Ok(LineKind::When(self.cond()?));
        }
        let fields = self.fields();
        Ok(LineKind::More(fields, self.clauses()))
    }

    fn row_line(&mut self) -> Parse<LineKind> {
        if self.at_clause() {
            return Ok(LineKind::Clauses(self.clauses()));
        }
        let tokens = self.row_tokens()?;
        Ok(LineKind::Row(tokens, self.clauses()))
    }

    fn row_tokens(&mut self) -> Parse<Vec<RowToken>> {
        let mut tokens = Vec::new();
        loop {
            if self.done() || self.at_clause() {
                return Ok(tokens);
            }
            let from = self.at;
            if let Some(text) = self.text() {
                tokens.push(RowToken {
                    span: text.span,
                    kind: RowKind::Text(text),
                });
                continue;
            }
            let Some((word, span)) = self.take(token::raw) else {
                return Ok(tokens);
            };
            let mut chars = word.chars();
            let kind = match (chars.next(), chars.as_str()) {
                (Some('['), "") => RowKind::Open,
                (Some(']'), "") => RowKind::Close,
                (Some(c @ ('~' | '-' | '/' | ':' | '|')), "" | "!") => {
                    RowKind::Boundary(c, word.ends_with('!'))
                }
                (Some(':'), rest) if rest.len() > 1 && rest.ends_with(':') => RowKind::Text(Word {
                    text: word.to_owned(),
                    span,
                    quoted: false,
                }),
                (Some('['), _) if word.len() > 1 => {
                    self.at = from + 1;
                    tokens.push(RowToken {
                        kind: RowKind::Open,
                        span: self.span(from),
                    });
                    continue;
                }
                _ => RowKind::Word(Word {
                    text: word.to_owned(),
                    span,
                    quoted: false,
                }),
            };
            tokens.push(RowToken { kind, span });
        }
    }

    fn matrix_line(&mut self, parent: Option<&Node>) -> Parse<LineKind> {
        let (keys, first) = match parent.map(|parent| (&parent.kind, parent.children.is_empty())) {
            Some((LineKind::Matrix(_, _, by), first)) => (by.len().saturating_sub(1), first),
            _ => (1, false),
        };
        if first {
            let mut codes = Vec::new();
            while !self.done() {
                codes.push(self.code_expected("a code")?);
            }
            return Ok(LineKind::MatrixHead(codes));
        }
        let mut groups = Vec::with_capacity(keys);
        for _ in 0..keys {
            let mut codes = vec![self.code_expected("a code")?];
            while self.keyword("or").is_some() {
                codes.push(self.code_expected("another code")?);
            }
            groups.push(codes);
        }
        let mut cells = Vec::new();
        while !self.done() {
            if self.rest() == "-" || self.rest().starts_with("- ") {
                self.at += 1;
                cells.push(None);
                continue;
            }
            match self.value() {
                Some(value) => cells.push(Some(value)),
                None => {
                    let place = self.next_place();
                    return Err(self.fault(
                        "value-expected",
                        place,
                        "a cell is a number, a range, a text in quotes, or `-` for none",
                        "mend the cell",
                    ));
                }
            }
        }
        Ok(LineKind::MatrixLine(groups, cells))
    }
}
