//! Tokens of one line, as nom parsers over the rest of the line.

use nom::branch::alt;
use nom::bytes::complete::{tag, take_while, take_while_m_n, take_while1};
use nom::character::complete::{char, digit1, one_of, satisfy};
use nom::combinator::{opt, peek, recognize, verify};
use nom::sequence::{pair, preceded};
use nom::{IResult, Parser};

use crate::value::Unit;

/// The rest of the line, or nothing.
pub(super) type Token<'a, T = &'a str> = IResult<&'a str, T>;

/// `a-z`, then `a-z 0-9 _`, ending at anything else.
pub(super) fn name(i: &str) -> Token<'_> {
    let letters = pair(
        satisfy(|c| c.is_ascii_lowercase()),
        take_while(|c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '_'),
    );
    recognize(pair(letters, peek(end))).parse(i)
}

/// End of a word: a space, a comma, a bracket, or the end of the line.
pub(super) fn end(i: &str) -> Token<'_> {
    if i.is_empty() {
        Ok((i, ""))
    } else {
        recognize(one_of(" ,()]|=")).parse(i)
    }
}

/// A run of anything but spaces.
pub(super) fn raw(i: &str) -> Token<'_> {
    take_while1(|c| c != ' ').parse(i)
}

/// A run of anything but spaces and commas.
pub(super) fn raw_in_list(i: &str) -> Token<'_> {
    take_while1(|c| c != ' ' && c != ',').parse(i)
}

/// `"..."` with `\` before a character taken as it is; gives what stands between the quotes.
pub(super) fn text(i: &str) -> Token<'_> {
    let (rest, _) = char('"').parse(i)?;
    let mut escaped = false;
    for (at, c) in rest.char_indices() {
        match c {
            _ if escaped => escaped = false,
            '\\' => escaped = true,
            '"' => return Ok((&rest[at + 1..], &rest[..at])),
            _ => {}
        }
    }
    Err(nom::Err::Error(nom::error::Error::new(
        i,
        nom::error::ErrorKind::Escaped,
    )))
}

/// Removes the escapes of a text; `\:` stays, as it parts a colon from a symbol.
pub(super) fn unescape(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    let mut chars = text.chars();
    while let Some(c) = chars.next() {
        match c {
            '\\' => match chars.next() {
                Some(':') => out.push_str("\\:"),
                Some(next) => out.push(next),
                None => {}
            },
            _ => out.push(c),
        }
    }
    out
}

/// `-40`, `7.5`; not the number before a range's dots.
pub(super) fn number(i: &str) -> Token<'_> {
    let fraction = preceded(char('.'), digit1);
    recognize((opt(char('-')), digit1, opt(fraction))).parse(i)
}

/// `A..B`, `A..`, `..B`
pub(super) fn range(i: &str) -> Token<'_, (Option<&str>, Option<&str>)> {
    verify(
        (opt(number), tag(".."), opt(number)).map(|(a, _, b)| (a, b)),
        |(a, b): &(Option<&str>, Option<&str>)| a.is_some() || b.is_some(),
    )
    .parse(i)
}

fn digits(n: usize) -> impl FnMut(&str) -> Token<'_> {
    move |i| take_while_m_n(n, n, |c: char| c.is_ascii_digit()).parse(i)
}

/// `2008-Q3`, `2008-04`, `2008-W14`, `2008-04-02`; with `plain`, `2008` too.
pub(super) fn date(plain: bool) -> impl FnMut(&str) -> Token<'_> {
    move |i| {
        let quarter = recognize((tag("-Q"), digits(1)));
        let week = recognize((tag("-W"), digits(2)));
        let day = recognize((char('-'), digits(2), char('-'), digits(2)));
        let month = recognize((char('-'), digits(2)));
        let tail = alt((quarter, week, day, month));
        let (rest, found) = recognize((digits(4), opt(tail))).parse(i)?;
        if found.len() == 4 && !plain || rest.starts_with(|c: char| c.is_ascii_alphanumeric()) {
            return Err(nom::Err::Error(nom::error::Error::new(
                i,
                nom::error::ErrorKind::Digit,
            )));
        }
        Ok((rest, found))
    }
}

/// A unit of the closed list.
pub(super) fn unit(i: &str) -> Token<'_> {
    let word = take_while1(|c: char| c.is_ascii_alphanumeric() || c == '/' || c == '%');
    verify(word, |word: &str| Unit::of(word).is_some()).parse(i)
}

/// `<` `<=` `=` `>=` `>`
pub(super) fn operator(i: &str) -> Token<'_> {
    alt((tag("<="), tag(">="), tag("<"), tag(">"), tag("="))).parse(i)
}
