//! One line, one node: what each line of a rule file says, with the place of every word.

use crate::source::Span;

/// A word, name, code or text with its place.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Word {
    /// The text, without quotes and escapes where it was quoted.
    pub text: String,
    /// Where it stands, quotes included.
    pub span: Span,
    /// Whether it was quoted.
    pub quoted: bool,
}

/// A value as written.
#[derive(Debug, Clone, PartialEq)]
pub struct ValueLit {
    /// What it is.
    pub kind: ValueKind,
    /// Its unit, if one follows.
    pub unit: Option<Word>,
    /// Where it stands, unit included.
    pub span: Span,
}

/// The kinds of values. Numbers keep their digits.
#[derive(Debug, Clone, PartialEq)]
pub enum ValueKind {
    /// `"..."`
    Text(String),
    /// `7.5`
    Number(String),
    /// `0..70`, `2.7..`
    Range(Option<String>, Option<String>),
    /// `2008-W14`, `2008-W14..2008-W16`; both ends as written.
    Date(String, Option<String>),
}

/// `[NAME] value`
#[derive(Debug, Clone, PartialEq)]
pub struct FieldLit {
    /// The field, if named.
    pub name: Option<Word>,
    /// Its value.
    pub value: ValueLit,
}

/// `slot CODE {or CODE}` or `field OP value`, perhaps with `not`.
#[derive(Debug, Clone, PartialEq)]
pub struct TermLit {
    /// Whether `not` stands before.
    pub negated: bool,
    /// Slot or field.
    pub name: Word,
    /// What is asked of it.
    pub test: TestLit,
    /// Where the term stands.
    pub span: Span,
}

/// What a term asks.
#[derive(Debug, Clone, PartialEq)]
pub enum TestLit {
    /// One of these codes; `none` unquoted is absence.
    Codes(Vec<Word>),
    /// A comparison.
    Compare(crate::value::Comparison, ValueLit),
}

/// A condition: terms joined by `and`.
#[derive(Debug, Clone, PartialEq)]
pub struct CondLit {
    /// The terms.
    pub terms: Vec<TermLit>,
    /// Where it stands.
    pub span: Span,
}

/// A clause: its word, then what belongs to it.
#[derive(Debug, Clone, PartialEq)]
pub struct Clause {
    /// The word that begins it.
    pub word: Word,
    /// The rest.
    pub kind: ClauseKind,
    /// Where it stands as a whole.
    pub span: Span,
}

/// The kinds of clauses.
#[derive(Debug, Clone, PartialEq)]
pub enum ClauseKind {
    /// `since DATE`
    Since(Word),
    /// `until DATE`
    Until(Word),
    /// `source TEXT`
    Source(Word),
    /// `standing WORD`
    Standing(Word),
    /// `reviewed DATE`
    Reviewed(Word),
    /// `note TEXT`
    Note(Word),
    /// `weight NUM`
    Weight(Word),
    /// `when cond`
    When(CondLit),
    /// `prints (CODE | nothing) in FORM {or FORM} [when cond]`
    Prints {
        /// What is printed; absent for `nothing`.
        code: Option<Word>,
        /// In which forms.
        forms: Vec<Word>,
        /// When.
        when: Option<CondLit>,
    },
    /// `each`
    Each,
    /// `cased`
    Cased,
    /// `of NAME`
    Of(Word),
    /// `slack (NUM | RANGE) UNIT`
    Slack {
        /// Number, or lower end of the range.
        from: String,
        /// Upper end; absent for a number, which counts both ways.
        to: Option<String>,
        /// `day`, `week`, `month`.
        unit: Word,
    },
    /// `calendar iso` or `calendar week 1 (holds | starts) MM-DD [from WEEKDAY]`
    Calendar {
        /// Absent for `iso`: `holds` or `starts`.
        rule: Option<Word>,
        /// `MM-DD`.
        day: Option<Word>,
        /// Weekday.
        weekday: Option<Word>,
    },
    /// `seen DATE`
    Seen(Word),
    /// `stands NAME [CODE]`
    Stands(Word, Option<Word>),
    /// `contains [NUM of] NAME [CODE]`
    Contains(Option<Word>, Word, Option<Word>),
    /// `succeeds (NAME | CODE)`
    Succeeds(Word),
    /// `second_source NAME`
    SecondSource(Word),
}

/// What a slot or table can hold.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Shape {
    /// The base.
    pub base: Option<BaseLit>,
    /// Whether `or none` follows.
    pub or_none: bool,
    /// `gives` columns: field and unit.
    pub gives: Vec<(Word, Option<Word>)>,
    /// Where it stands.
    pub span: Span,
}

/// The base of a shape.
#[derive(Debug, Clone, PartialEq)]
pub enum BaseLit {
    /// Tables by name.
    Tables(Vec<Word>),
    /// `4..6 alnum`
    Class(ClassLit),
    /// `digits around LETTER UNIT, ...` (`around` true) or `digits then LETTER UNIT, ...`
    Letters {
        /// The digits.
        digits: ClassLit,
        /// Whether the letter may stand in every place.
        around: bool,
        /// Letters with units.
        letters: Vec<(Word, Word)>,
    },
    /// `2 digits then exponent`
    Exponent(ClassLit),
    /// `one of TEXT [starting NUM]`
    OneOf(Word, Option<Word>),
    /// `pattern TEXT`
    Pattern(Word),
    /// `from TEXT`
    From(Word),
    /// A literal.
    Literal(Word),
}

/// `2 letters`, `4..6 alnum`, `letter`
#[derive(Debug, Clone, PartialEq)]
pub struct ClassLit {
    /// Least count.
    pub min: u32,
    /// Greatest count.
    pub max: u32,
    /// The class: `letter`, `digit`, `alnum`, `hex`, `glyph`.
    pub class: &'static str,
    /// Where it stands.
    pub span: Span,
}

/// The first words of an entry.
#[derive(Debug, Clone, PartialEq)]
pub enum Codes {
    /// Codes joined by `or`.
    Listed(Vec<Word>),
    /// `none`
    None(Span),
    /// `unlisted [class | pattern TEXT]`
    Unlisted(Span, Option<BaseLit>),
}

/// One token of a row.
#[derive(Debug, Clone, PartialEq)]
pub struct RowToken {
    /// What it is.
    pub kind: RowKind,
    /// Where it stands.
    pub span: Span,
}

/// The tokens of rows.
#[derive(Debug, Clone, PartialEq)]
pub enum RowKind {
    /// A name or, in a specimen, a code.
    Word(Word),
    /// `"..."` or `:sym:`
    Text(Word),
    /// A boundary and whether `!` follows.
    Boundary(char, bool),
    /// `[`
    Open,
    /// `]`
    Close,
}

/// An expression.
#[derive(Debug, Clone, PartialEq)]
pub enum ExprLit {
    /// A field.
    Name(Word),
    /// A constant.
    Value(ValueLit),
    /// Two expressions with `+ - * /` between.
    Op(char, Box<ExprLit>, Box<ExprLit>, Span),
    /// `a ^ n`
    Power(Box<ExprLit>, Word),
}

impl ExprLit {
    /// Where it stands.
    #[must_use]
    pub fn span(&self) -> Span {
        match self {
            ExprLit::Name(word) => word.span,
            ExprLit::Value(value) => value.span,
            ExprLit::Op(_, _, _, span) => *span,
            ExprLit::Power(base, n) => base.span().join(n.span),
        }
    }
}

/// What a line says.
#[derive(Debug, Clone, PartialEq)]
pub enum LineKind {
    /// Nothing, or a comment alone.
    Blank,
    /// Something that could not be read; its children are kept.
    Broken,
    /// `lore N`
    Lore(Word),
    /// `use PATH {NAME}`
    Use {
        /// Path, or `builtin/NAME`.
        path: Word,
        /// The names wanted; all where none are listed.
        names: Vec<Word>,
    },
    /// `maker NAME title`
    Maker(Word, Word),
    /// `table NAME [shape]`
    Table(Word, Shape, Vec<Clause>),
    /// `group NAME title`
    Group(Word, Word),
    /// `family NAME title`
    Family(Word, Word),
    /// `country TEXT`, `brand TEXT` ... beneath a maker
    MakerFact(Word, Word, Vec<Clause>),
    /// `maker NAME` beneath a family
    OfMaker(Word),
    /// `function PATH`
    Function(Word),
    /// Clauses alone.
    Clauses(Vec<Clause>),
    /// `FORM [row]`, also `row` of a group and `base`
    Form(Word, Vec<RowToken>, Vec<Clause>),
    /// A row beneath a form.
    Row(Vec<RowToken>, Vec<Clause>),
    /// A slot.
    Slot(Word, Shape, Vec<Clause>),
    /// An entry.
    Entry(Codes, Vec<FieldLit>, Vec<Clause>),
    /// More fields of the entry above.
    More(Vec<FieldLit>, Vec<Clause>),
    /// `without CODE, ...`
    Without(Vec<Word>),
    /// `when cond`
    When(CondLit),
    /// `otherwise`
    Otherwise,
    /// `NAME = expr [when cond]`
    Derived(Word, ExprLit, Vec<Clause>),
    /// `NAME [UNIT] by NAME, ...`
    Matrix(Word, Option<Word>, Vec<Word>),
    /// Head line of a matrix.
    MatrixHead(Vec<Word>),
    /// A line of a matrix: keys (joined by `or`), then cells.
    MatrixLine(Vec<Vec<Word>>, Vec<Option<ValueLit>>),
    /// `date NAME {NAME}`
    Date(Vec<Word>, Vec<Clause>),
    /// `never cond` (false) or `seldom cond` (true)
    Never(bool, CondLit, Vec<Clause>),
    /// `check NAME {NAME} mod NUM ...`
    Check {
        /// Slots.
        slots: Vec<Word>,
        /// Modulus.
        modulus: Word,
        /// Remainder.
        is: Option<Word>,
        /// Weights.
        weights: Vec<Word>,
        /// Table of values.
        values: Option<Word>,
    },
    /// `example [in FORM] CODE [fields]` (false) or `refuse` (true)
    Example {
        /// Whether it is a refusal.
        refuse: bool,
        /// Form.
        form: Option<Word>,
        /// The reading.
        reading: Word,
        /// Fields expected.
        fields: Vec<FieldLit>,
        /// Clauses.
        clauses: Vec<Clause>,
    },
    /// `accept LINT {NAME}`
    Accept(Word, Vec<Word>, Vec<Clause>),
}

/// A line with what stands beneath it.
#[derive(Debug, Clone, PartialEq)]
pub struct Node {
    /// What it says.
    pub kind: LineKind,
    /// The whole line, its end included.
    pub line: Span,
    /// The line without indentation, comment and end.
    pub content: Span,
    /// Spaces before it.
    pub indent: usize,
    /// The comment at its end.
    pub comment: Option<Span>,
    /// The line it belongs to, by index; the file itself for `None`.
    pub parent: Option<usize>,
    /// The lines beneath, by index.
    pub children: Vec<usize>,
}

/// A rule file as a tree of lines. The lines' spans, one after the other, are the whole text.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Tree {
    /// All lines in order.
    pub nodes: Vec<Node>,
    /// The lines that belong to none.
    pub top: Vec<usize>,
}
