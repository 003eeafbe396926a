//! What lines are made of: values, fields, clauses, conditions, shapes, expressions.

use nom::Parser;

use super::ast::{
    BaseLit, ClassLit, Clause, ClauseKind, CondLit, ExprLit, FieldLit, Shape, TermLit, TestLit,
    ValueKind, ValueLit, Word,
};
use super::cursor::{CLASSES, CLAUSES, Cursor, FORMS, Parse, Stop};
use super::token;
use crate::diagnostic::{Applicability, Diagnostic};
use crate::source::Span;
use crate::value::Comparison;

/// The deepest nesting of parentheses.
const MAX_DEPTH: usize = 32;

impl Cursor<'_> {
    pub(super) fn at_clause(&mut self) -> bool {
        self.peek_name().is_some_and(|name| CLAUSES.contains(&name))
    }

    /// A value with its unit; `None` where none begins.
    pub(super) fn value(&mut self) -> Option<ValueLit> {
        self.space();
        if let Some(text) = self.text() {
            return Some(ValueLit {
                kind: ValueKind::Text(text.text),
                unit: None,
                span: text.span,
            });
        }
        if let Some((from, span)) = self.take(token::date(false)) {
            let (to, span) = self.date_end(span);
            return Some(ValueLit {
                kind: ValueKind::Date(from.to_owned(), to),
                unit: None,
                span,
            });
        }
        let (kind, mut span) = if let Some(((a, b), span)) = self.take(token::range) {
            (
                ValueKind::Range(a.map(str::to_owned), b.map(str::to_owned)),
                span,
            )
        } else {
            let (number, span) = self.take(|i| token::number.parse(i))?;
            (ValueKind::Number(number.to_owned()), span)
        };
        let unit = self.word_of(token::unit);
        if let Some(unit) = &unit {
            span = span.join(unit.span);
        } else if self.rest().starts_with(|c: char| c.is_ascii_alphabetic())
            && self.peek_name().is_none()
        {
            let place = self.next_place();
            let word = token::raw_in_list(self.rest()).map_or("", |(_, word)| word);
            let near = crate::diagnostic::near(
                word,
                crate::value::Unit::ALL.iter().map(|unit| unit.symbol),
            );
            let help = if near.is_empty() {
                "units: bit Kbit Mbit Gbit byte Kbyte Mbyte ohm kohm F uF nF pF H V A W Hz MHz MT/s s ns m mm degC %".to_owned()
            } else {
                format!("did you mean {}?", near.join(" or "))
            };
            self.note(
                Diagnostic::new("unknown-unit", place, format!("`{word}` is no unit")).help(help),
            );
            let _ = self.take(token::raw_in_list);
        }
        Some(ValueLit { kind, unit, span })
    }

    fn date_end(&mut self, span: Span) -> (Option<String>, Span) {
        if !self.rest().starts_with("..") {
            return (None, span);
        }
        let start = self.at;
        self.at += 2;
        match token::date(true)(self.rest()) {
            Ok((_, found)) => {
                self.at += found.len();
                let end = self.span(start);
                (Some(found.to_owned()), span.join(end))
            }
            Err(_) => (Some(String::new()), span.join(self.span(start))),
        }
    }

    pub(super) fn date(&mut self, what: &str) -> Parse<Word> {
        match self.word_of(token::date(true)) {
            Some(word) => Ok(word),
            None => {
                let place = self.next_place();
                Err(self.fault(
                    "date-expected",
                    place,
                    format!("{what} is a date"),
                    "write 2008, 2008-Q3, 2008-04, 2008-W14 or 2008-04-02",
                ))
            }
        }
    }

    /// Fields up to the first clause.
    pub(super) fn fields(&mut self) -> Vec<FieldLit> {
        let mut fields = Vec::new();
        loop {
            if self.done() || self.at_clause() {
                return fields;
            }
            let name = self.word_of(token::name);
            match self.value() {
                Some(value) => fields.push(FieldLit { name, value }),
                None => {
                    if let Some(value) = self.unquoted() {
                        fields.push(FieldLit { name, value });
                    } else if let Some(name) = name {
                        let place = self.place(name.span);
                        let title = format!("`{}` has no value", name.text);
                        self.note(Diagnostic::new("value-expected", place, title).help("write the value after the field: a text in quotes, a number with a unit, a range or a date"));
                    }
                }
            }
            if self.symbol(',') {
                continue;
            }
            if self.done() || self.at_clause() {
                return fields;
            }
            if self.range_otherwise(&mut fields) {
                continue;
            }
            // A word that nearly is a clause is one misspelt, not a field.
            let misspelt = self.peek_name().is_some_and(|name| {
                !crate::diagnostic::within(name, CLAUSES.iter().copied(), 2).is_empty()
            });
            if misspelt {
                return fields;
            }
            let place = self.next_place();
            let before = self.at;
            let mend = crate::source::Place {
                span: Span {
                    end: place.span.start,
                    ..place.span
                },
                ..place
            };
            self.note(
                Diagnostic::new("comma-expected", place, "a second field needs a comma before it")
                    .help("after the fields come clauses: since until source standing note weight prints when ...")
                    .fix("put a comma before it", mend, ", ", Applicability::Safe),
            );
            // What is here may be no field at all; then the word is passed over.
            if self.peek_name().is_none()
                && !self.rest().starts_with(['"', '-', '.'])
                && !self.rest().starts_with(|c: char| c.is_ascii_digit())
            {
                let _ = self.take(token::raw_in_list);
            }
            if self.at == before && self.peek_name().is_none() && self.value().is_none() {
                return fields;
            }
        }
    }

    /// A range that is written `0-70` or `0 to 70`: said, and read as it is meant.
    fn range_otherwise(&mut self, fields: &mut [FieldLit]) -> bool {
        let Some(FieldLit { value, .. }) = fields.last_mut() else {
            return false;
        };
        let ValueKind::Number(from) = &value.kind else {
            return false;
        };
        let begin = self.at;
        let dash = self.rest().starts_with('-');
        self.space();
        let word = self.peek_name() == Some("to");
        if !(dash || word) {
            self.at = begin;
            return false;
        }
        self.at += if word { 2 } else { 1 };
        self.space();
        let Some((to, end)) = self.take(|i| token::number.parse(i)) else {
            self.at = begin;
            return false;
        };
        let (to, unit) = (to.to_owned(), self.word_of(token::unit));
        let span = value.span.join(end);
        let mended = format!("{from}..{to}");
        let place = self.place(span);
        self.note(
            Diagnostic::new("value-expected", place, "a range is written with two dots")
                .help(format!("write {mended}"))
                .fix(
                    format!("write {mended}"),
                    place,
                    mended,
                    Applicability::Unsafe,
                ),
        );
        let value = &mut fields[fields.len() - 1].value;
        if let ValueKind::Number(from) = &value.kind {
            value.kind = ValueKind::Range(Some(from.clone()), Some(to));
        }
        value.unit = unit.or_else(|| value.unit.take());
        value.span = span;
        true
    }

    /// A text without quotes: up to a comma, two spaces or the end.
    fn unquoted(&mut self) -> Option<ValueLit> {
        self.space();
        let rest = self.rest();
        let end = [rest.find(','), rest.find("  "), Some(rest.len())]
            .into_iter()
            .flatten()
            .min()?;
        let text = rest.get(..end)?.trim_end();
        if text.is_empty() {
            return None;
        }
        let from = self.at;
        self.at += text.len();
        let span = self.span(from);
        let place = self.place(span);
        self.note(
            Diagnostic::new("text-unquoted", place, "a text stands in quotes")
                .help(format!("write \"{text}\""))
                .fix(
                    "put it in quotes",
                    place,
                    format!("\"{text}\""),
                    Applicability::Safe,
                ),
        );
        Some(ValueLit {
            kind: ValueKind::Text(text.to_owned()),
            unit: None,
            span,
        })
    }

    /// Clauses to the end of the line.
    pub(super) fn clauses(&mut self) -> Vec<Clause> {
        let mut clauses = Vec::new();
        while !self.done() {
            let from = self.at;
            let word = match self.word_of(token::name) {
                Some(word) if CLAUSES.contains(&word.text.as_str()) => word,
                other => {
                    self.at = from;
                    let place = self.next_place();
                    let name = other.map(|word| word.text).unwrap_or_default();
                    let near = crate::diagnostic::near(&name, CLAUSES.iter().copied());
                    let mut fault =
                        Diagnostic::new("clause-expected", place, "this begins no clause");
                    fault = match near.first() {
                        Some(near) => fault.help(format!("did you mean `{near}`?")).fix(format!("write `{near}`"), place, *near, Applicability::Unsafe),
                        None => fault.help("clauses: since until source standing reviewed note weight when prints each cased of slack calendar seen stands contains succeeds second_source"),
                    };
                    self.note(fault);
                    // The next clause of the line is still read.
                    let _ = self.take(token::raw);
                    while !self.done() && !self.at_clause() {
                        if self.text().is_none() {
                            let _ = self.take(token::raw);
                        }
                    }
                    continue;
                }
            };
            let Ok(kind) = self.clause(&word) else {
                while !self.done() && !self.at_clause() {
                    if self.text().is_none() {
                        let _ = self.take(token::raw);
                    }
                }
                continue;
            };
            let span = self.span(from);
            clauses.push(Clause { word, kind, span });
        }
        clauses
    }

    fn clause(&mut self, word: &Word) -> Parse<ClauseKind> {
        Ok(match word.text.as_str() {
            "since" => ClauseKind::Since(self.date("the first day")?),
            "until" => ClauseKind::Until(self.date("the last day")?),
            "source" => ClauseKind::Source(self.text_expected("a source")?),
            "standing" => ClauseKind::Standing(self.name("documented, observed or supposed")?),
            "reviewed" => ClauseKind::Reviewed(self.date("the day of review")?),
            "note" => ClauseKind::Note(self.text_expected("a note")?),
            "weight" => ClauseKind::Weight(self.number("a weight")?),
            "when" => ClauseKind::When(self.cond()?),
            "prints" => self.prints()?,
            "each" => ClauseKind::Each,
            "cased" => ClauseKind::Cased,
            "of" => ClauseKind::Of(
                self.name("what the date is of (assembly, seal, test, wafer, mask)")?,
            ),
            "slack" => self.slack()?,
            "calendar" => self.calendar()?,
            "seen" => ClauseKind::Seen(self.date("the day of reading")?),
            "stands" => {
                let family = self.name("a family")?;
                let code = if self.done() || self.at_clause() {
                    None
                } else {
                    self.code(false)
                };
                ClauseKind::Stands(family, code)
            }
            "contains" => {
                let count = self.word_of(|i| token::number.parse(i));
                if count.is_some() && self.keyword("of").is_none() {
                    let place = self.next_place();
                    return Err(self.fault(
                        "word-expected",
                        place,
                        "`of` is missing here",
                        "write `contains 2 of FAMILY`",
                    ));
                }
                let family = self.name("a family")?;
                let code = if self.done() || self.at_clause() {
                    None
                } else {
                    self.code(false)
                };
                ClauseKind::Contains(count, family, code)
            }
            "succeeds" => ClauseKind::Succeeds(self.code_expected("what it follows")?),
            _ => ClauseKind::SecondSource(self.name("a family")?),
        })
    }

    fn prints(&mut self) -> Parse<ClauseKind> {
        let code = if self.keyword("nothing").is_some() {
            None
        } else {
            Some(self.code_expected("what is printed")?)
        };
        if self.keyword("in").is_none() {
            let place = self.next_place();
            return Err(self.fault(
                "word-expected",
                place,
                "`in` and a form are missing here",
                "write `prints CODE in top`",
            ));
        }
        let mut forms = vec![self.form_word()?];
        while self.keyword("or").is_some() {
            forms.push(self.form_word()?);
        }
        let when = if self.keyword("when").is_some() {
            Some(self.cond()?)
        } else {
            None
        };
        Ok(ClauseKind::Prints { code, forms, when })
    }

    pub(super) fn form_word(&mut self) -> Parse<Word> {
        let word = self.name("a form")?;
        if FORMS.contains(&word.text.as_str()) {
            return Ok(word);
        }
        let near = crate::diagnostic::near(&word.text, FORMS.iter().copied());
        let help = near.first().map_or_else(
            || format!("forms: {}", FORMS.join(" ")),
            |near| format!("did you mean `{near}`?"),
        );
        let place = self.place(word.span);
        Err(self.fault(
            "unknown-form",
            place,
            format!("no form is called `{}`", word.text),
            help,
        ))
    }

    fn slack(&mut self) -> Parse<ClauseKind> {
        let (from, to) = if let Some(((a, b), _)) = self.take(token::range) {
            (
                a.unwrap_or("0").to_owned(),
                Some(b.unwrap_or("0").to_owned()),
            )
        } else {
            (self.number("a slack")?.text, None)
        };
        let unit = self.name("day, week or month")?;
        Ok(ClauseKind::Slack { from, to, unit })
    }

    fn calendar(&mut self) -> Parse<ClauseKind> {
        if self.keyword("iso").is_some() {
            return Ok(ClauseKind::Calendar {
                rule: None,
                day: None,
                weekday: None,
            });
        }
        let place = self.next_place();
        let week = self.keyword("week").is_some();
        let one = self
            .word_of(|i| token::number.parse(i))
            .is_some_and(|n| n.text == "1");
        let rule = self
            .word_of(token::name)
            .filter(|word| ["holds", "starts"].contains(&word.text.as_str()));
        let day = self
            .word_of(token::raw)
            .filter(|word| word.text.len() == 5 && word.text.as_bytes()[2] == b'-');
        if !week || !one || rule.is_none() || day.is_none() {
            return Err(self.fault(
                "calendar-unclear",
                place,
                "this is no calendar",
                "write `calendar iso` or `calendar week 1 holds 01-01 from monday`",
            ));
        }
        let weekday = if self.keyword("from").is_some() {
            Some(self.name("a weekday")?)
        } else {
            None
        };
        Ok(ClauseKind::Calendar { rule, day, weekday })
    }

    pub(super) fn cond(&mut self) -> Parse<CondLit> {
        self.space();
        let start = self.at;
        let mut terms = Vec::new();
        loop {
            self.space();
            let from = self.at;
            let negated = self.keyword("not").is_some();
            let name = self.name("a slot or field")?;
            let test = if let Some((op, _)) = self.take(token::operator) {
                let compare = match op {
                    "<" => Comparison::Less,
                    "<=" => Comparison::AtMost,
                    "=" => Comparison::Equal,
                    ">=" => Comparison::AtLeast,
                    _ => Comparison::Greater,
                };
                match self.value() {
                    Some(value) => TestLit::Compare(compare, value),
                    None => {
                        let place = self.next_place();
                        return Err(self.fault(
                            "value-expected",
                            place,
                            "a value is missing after the comparison",
                            "write a number with a unit, a range, or a text in quotes",
                        ));
                    }
                }
            } else {
                let mut codes = vec![self.code_expected("the code that is asked for")?];
                while self.keyword("or").is_some() {
                    codes.push(self.code_expected("another code")?);
                }
                let number = codes.last().is_some_and(|code| {
                    !code.quoted && code.text.chars().all(|c| c.is_ascii_digit())
                });
                if number && let Some(unit) = self.word_of(token::unit) {
                    let code = codes.last().map(|c| c.text.clone()).unwrap_or_default();
                    let place = self.place(name.span.join(unit.span));
                    let mend = format!("{} = {} {}", name.text, code, unit.text);
                    let title = format!(
                        "`{} {code}` asks for the code {code} of slot `{}`; `{}` is left over",
                        name.text, name.text, unit.text
                    );
                    self.note(
                        Diagnostic::new("condition-unclear", place, title)
                            .help(format!("for the value write `{mend}`"))
                            .fix("compare the value", place, mend, Applicability::Unsafe),
                    );
                }
                TestLit::Codes(codes)
            };
            let span = self.span(from);
            terms.push(TermLit {
                negated,
                name,
                test,
                span,
            });
            if self.keyword("and").is_none() {
                let span = self.span(start);
                return Ok(CondLit { terms, span });
            }
        }
    }

    /// A shape, perhaps empty.
    pub(super) fn shape(&mut self) -> Parse<Shape> {
        self.space();
        let from = self.at;
        let mut shape = Shape::default();
        if !self.done() && self.peek_name() != Some("gives") && !self.at_clause() {
            shape.base = Some(self.base()?);
            while self.keyword("or").is_some() {
                if self.keyword("none").is_some() {
                    shape.or_none = true;
                    break;
                }
                let table = self.name("a table, or `none`")?;
                match &mut shape.base {
                    Some(BaseLit::Tables(tables)) => tables.push(table),
                    _ => {
                        let place = self.place(table.span);
                        return Err(self.fault(
                            "shape-unclear",
                            place,
                            "only tables can be joined by `or`",
                            "write one shape and list further codes beneath",
                        ));
                    }
                }
            }
        }
        if self.keyword("gives").is_some() {
            loop {
                let column = self.name("a field")?;
                let unit = self.word_of(token::unit);
                shape.gives.push((column, unit));
                if !self.symbol(',') {
                    break;
                }
            }
        }
        shape.span = self.span(from);
        Ok(shape)
    }

    fn class(&mut self) -> Option<ClassLit> {
        self.space();
        let from = self.at;
        let (min, max) = if let Some(((Some(a), Some(b)), _)) = self.take(token::range) {
            (a.parse().ok()?, b.parse().ok()?)
        } else if let Some((n, _)) = self.take(|i| token::number.parse(i)) {
            let n = n.parse().ok()?;
            (n, n)
        } else {
            (1, 1)
        };
        let class = self
            .peek_name()
            .and_then(|name| CLASSES.iter().find(|(word, _)| *word == name));
        let Some((_, class)) = class else {
            self.at = from;
            return None;
        };
        let _ = self.take(token::name);
        let span = self.span(from);
        Some(ClassLit {
            min,
            max,
            class,
            span,
        })
    }

    pub(super) fn base(&mut self) -> Parse<BaseLit> {
        if let Some(text) = self.text() {
            return Ok(BaseLit::Literal(text));
        }
        if let Some(class) = self.class() {
            if class.class == "digit" {
                let around = self.keyword("around").is_some();
                if !around && self.keyword("then").is_none() {
                    return Ok(BaseLit::Class(class));
                }
                if !around && self.keyword("exponent").is_some() {
                    return Ok(BaseLit::Exponent(class));
                }
                let mut letters = Vec::new();
                loop {
                    let letter = self.code_expected("a letter")?;
                    let Some(unit) = self.word_of(token::unit) else {
                        let place = self.next_place();
                        return Err(self.fault(
                            "unknown-unit",
                            place,
                            "the unit of the letter is missing",
                            "write `R ohm, K kohm`",
                        ));
                    };
                    letters.push((letter, unit));
                    if !self.symbol(',') {
                        return Ok(BaseLit::Letters {
                            digits: class,
                            around,
                            letters,
                        });
                    }
                }
            }
            return Ok(BaseLit::Class(class));
        }
        match self.peek_name() {
            Some("one") => {
                let _ = self.take(token::name);
                if self.keyword("of").is_none() {
                    let place = self.next_place();
                    return Err(self.fault(
                        "word-expected",
                        place,
                        "`of` is missing here",
                        "write `one of \"ABC\"`",
                    ));
                }
                let text = self.text_expected("the glyphs")?;
                let start = if self.keyword("starting").is_some() {
                    Some(self.number("the first value")?)
                } else {
                    None
                };
                Ok(BaseLit::OneOf(text, start))
            }
            Some("pattern") => {
                let _ = self.take(token::name);
                Ok(BaseLit::Pattern(self.text_expected("a pattern")?))
            }
            Some("from") => {
                let _ = self.take(token::name);
                Ok(BaseLit::From(self.text_expected("a file")?))
            }
            Some(_) => Ok(BaseLit::Tables(vec![self.name("a table")?])),
            None => {
                let place = self.next_place();
                Err(self.fault("shape-unclear", place, "this is no shape of a slot", "shapes: a class (2 letters, 4..6 alnum), digits around R ohm, one of \"ABC\", pattern \"...\", from \"file.csv\", a table's name, a text in quotes; codes stand on lines of their own beneath"))
            }
        }
    }

    pub(super) fn expr(&mut self, depth: usize) -> Parse<ExprLit> {
        let mut left = self.product(depth)?;
        loop {
            self.space();
            let op = match self.rest().chars().next() {
                Some(c @ ('+' | '-')) => c,
                _ => return Ok(left),
            };
            self.at += 1;
            let right = self.product(depth)?;
            let span = left.span().join(right.span());
            left = ExprLit::Op(op, Box::new(left), Box::new(right), span);
        }
    }

    fn product(&mut self, depth: usize) -> Parse<ExprLit> {
        let mut left = self.power(depth)?;
        loop {
            self.space();
            let op = match self.rest().chars().next() {
                Some(c @ ('*' | '/')) => c,
                _ => return Ok(left),
            };
            self.at += 1;
            let right = self.power(depth)?;
            let span = left.span().join(right.span());
            left = ExprLit::Op(op, Box::new(left), Box::new(right), span);
        }
    }

    fn power(&mut self, depth: usize) -> Parse<ExprLit> {
        let base = self.atom(depth)?;
        if !self.symbol('^') {
            return Ok(base);
        }
        let exponent = self.number("the exponent")?;
        Ok(ExprLit::Power(Box::new(base), exponent))
    }

    fn atom(&mut self, depth: usize) -> Parse<ExprLit> {
        let place = self.next_place();
        if depth >= MAX_DEPTH {
            return Err(self.fault(
                "too-deep",
                place,
                format!("more than {MAX_DEPTH} parentheses stand in each other"),
                "split the expression into fields of its own",
            ));
        }
        if self.symbol('(') {
            let inner = self.expr(depth + 1)?;
            if !self.symbol(')') {
                let place = self.next_place();
                return Err(self.fault(
                    "word-expected",
                    place,
                    "`)` is missing here",
                    "close the parenthesis",
                ));
            }
            return Ok(inner);
        }
        if let Some(value) = self.value() {
            return Ok(ExprLit::Value(value));
        }
        match self.word_of(token::name) {
            Some(name) => Ok(ExprLit::Name(name)),
            None => Err::<ExprLit, Stop>(self.fault(
                "value-expected",
                place,
                "a field, number or text is expected here",
                "write `density / width`, `1.2 V` or a text in quotes",
            )),
        }
    }
}
