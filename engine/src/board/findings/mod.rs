//! What does not fit on a board, and what fits in a way worth knowing.

mod claims;
mod dates;
mod forms;

use super::account::{Account, State, leading};
use super::{Board, Grade};
use crate::decode::Decoder;

/// Something found on a board.
#[derive(Debug, Clone, PartialEq)]
pub struct Finding {
    /// Of which kind.
    pub kind: FindingKind,
    /// The parts that it is about, by their place on the board.
    pub parts: Vec<usize>,
    /// What.
    pub text: String,
    /// What it comes from, or what would settle it.
    pub why: Option<String>,
}

/// How much a finding asks for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Weight {
    /// Two statements cannot both be true.
    Conflict,
    /// Something is open.
    Open,
    /// Explained, and worth knowing.
    Note,
}

impl Weight {
    /// The word of the weight.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Weight::Conflict => "conflict",
            Weight::Open => "open",
            Weight::Note => "note",
        }
    }
}

/// The kinds of [`Finding`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum FindingKind {
    /// The claim is eight times the parts, or an eighth of them.
    ClaimBitsForBytes,
    /// The claim holds if it is counted in 1,000s.
    ClaimThousands,
    /// The claim is more than the parts hold.
    ClaimShort,
    /// The claim is less than the parts hold.
    ClaimOver,
    /// The claim cannot be held against the parts.
    ClaimOpen,
    /// No part is for a band that is claimed.
    ClaimBand,
    /// A date after the day of reading.
    DateAfterSeen,
    /// A date after the board was built.
    DateAfterBuild,
    /// A part years older than the rest.
    DateOld,
    /// One lot with two dates.
    LotTwoDates,
    /// Two forms of one specimen differ.
    FormsDiffer,
    /// Two specimens of one part differ in what they should share.
    SpecimensDiffer,
    /// Two readers of one mark read it differently.
    ReadersDiffer,
    /// The package seen is not the one that the mark says.
    PackageDiffers,
    /// The terminals counted are not those that the mark says.
    PinsDiffer,
    /// The value measured is not the one that the mark says.
    MeasuredDiffers,
    /// What is inside is not what the rules say.
    ContentsDiffer,
    /// A die of another maker than the package.
    DieOtherMaker,
    /// A die that differs from its package.
    DieDiffers,
    /// A die of an older mask than its package: usual.
    DieOlder,
    /// A house number beside another identity, for another part.
    IdentitiesDiffer,
    /// The rule says that such a part is not made, or its check digit fails.
    RuleBroken,
    /// The analyst decided otherwise than the marks say.
    DecisionDiffers,
    /// Several identities are possible.
    Ambiguous,
    /// No rule explains the part.
    Unknown,
    /// Nobody has read the part.
    Unread,
}

impl FindingKind {
    /// All kinds with their words and weights.
    pub const ALL: [(FindingKind, &'static str, Weight); 26] = [
        (
            FindingKind::ClaimBitsForBytes,
            "claim-bits-for-bytes",
            Weight::Conflict,
        ),
        (FindingKind::ClaimThousands, "claim-thousands", Weight::Note),
        (FindingKind::ClaimShort, "claim-short", Weight::Conflict),
        (FindingKind::ClaimOver, "claim-over", Weight::Conflict),
        (FindingKind::ClaimOpen, "claim-open", Weight::Open),
        (FindingKind::ClaimBand, "claim-band", Weight::Conflict),
        (
            FindingKind::DateAfterSeen,
            "date-after-seen",
            Weight::Conflict,
        ),
        (
            FindingKind::DateAfterBuild,
            "date-after-build",
            Weight::Conflict,
        ),
        (FindingKind::DateOld, "date-old", Weight::Open),
        (FindingKind::LotTwoDates, "lot-two-dates", Weight::Open),
        (FindingKind::FormsDiffer, "forms-differ", Weight::Conflict),
        (
            FindingKind::SpecimensDiffer,
            "specimens-differ",
            Weight::Conflict,
        ),
        (FindingKind::ReadersDiffer, "readers-differ", Weight::Open),
        (
            FindingKind::PackageDiffers,
            "package-differs",
            Weight::Conflict,
        ),
        (FindingKind::PinsDiffer, "pins-differ", Weight::Conflict),
        (
            FindingKind::MeasuredDiffers,
            "measured-differs",
            Weight::Conflict,
        ),
        (
            FindingKind::ContentsDiffer,
            "contents-differ",
            Weight::Conflict,
        ),
        (
            FindingKind::DieOtherMaker,
            "die-other-maker",
            Weight::Conflict,
        ),
        (FindingKind::DieDiffers, "die-differs", Weight::Conflict),
        (FindingKind::DieOlder, "die-older", Weight::Note),
        (
            FindingKind::IdentitiesDiffer,
            "identities-differ",
            Weight::Conflict,
        ),
        (FindingKind::RuleBroken, "rule-broken", Weight::Conflict),
        (
            FindingKind::DecisionDiffers,
            "decision-differs",
            Weight::Conflict,
        ),
        (FindingKind::Ambiguous, "ambiguous", Weight::Open),
        (FindingKind::Unknown, "unknown", Weight::Open),
        (FindingKind::Unread, "unread", Weight::Open),
    ];

    /// The word of the kind.
    #[must_use]
    pub fn word(self) -> &'static str {
        self.row().1
    }

    /// How much it asks for.
    #[must_use]
    pub fn weight(self) -> Weight {
        self.row().2
    }

    fn row(self) -> (FindingKind, &'static str, Weight) {
        let row = FindingKind::ALL.iter().find(|(kind, ..)| *kind == self);
        row.copied().unwrap_or(FindingKind::ALL[25])
    }
}

pub(super) fn findings(decoder: &Decoder<'_>, board: &Board, account: &Account) -> Vec<Finding> {
    let mut found = claims::findings(decoder, board, account);
    found.extend(dates::findings(board, account));
    for at in 0..board.parts.len() {
        forms::findings(decoder.rules, board, account, at, &mut found);
        if let Some(finding) = open(decoder, board, account, at) {
            found.push(finding);
        }
    }
    found.sort_by_key(|finding| (finding.kind.weight(), finding.kind, finding.parts.clone()));
    found
}

/// What is still open of a part itself.
fn open(decoder: &Decoder<'_>, board: &Board, account: &Account, at: usize) -> Option<Finding> {
    let (part, known) = (&board.parts[at], &account.parts[at]);
    let name = part.name();
    let title = |family: crate::model::FamilyId| &decoder.rules.families[family.index()].title;
    let (kind, text) = match known.state {
        State::Decided | State::Identified => return None,
        State::Ambiguous => {
            let shown = known
                .ranking
                .candidates
                .iter()
                .filter(|c| c.probability >= 0.05);
            let names: Vec<String> = shown
                .map(|c| format!("{} {:.0} %", title(c.family), c.probability * 100.0))
                .collect();
            let none = known.ranking.none;
            let none = if none >= 0.05 {
                format!(", none of the rules {:.0} %", none * 100.0)
            } else {
                String::new()
            };
            let text = format!("{name} can be {}{none}", names.join(", "));
            (FindingKind::Ambiguous, text)
        }
        State::Unknown => (
            FindingKind::Unknown,
            format!("no rule explains what is printed on {name}"),
        ),
        // A part without a mark is not an open question of its mark; a measured value says what it is.
        State::Unread if part.observed.unmarked && part.observed.measured.is_some() => return None,
        State::Unread if part.observed.unmarked => (
            FindingKind::Unread,
            format!("{name} has no mark and nothing was measured"),
        ),
        State::Unread if known.dies.iter().any(|die| leading(&die.ranking).is_some()) => (
            FindingKind::Unread,
            format!("of {name} only the die was read, not the package"),
        ),
        State::Unread => (FindingKind::Unread, format!("{name} has not been read")),
    };
    let look = known.ranking.next_look.first();
    let decided = part.decision.as_ref().map(|decision| {
        let grade = match decision.grade {
            Grade::Unknown => "the analyst left it unknown".to_owned(),
            grade => format!("the analyst's grade: {}", grade.word()),
        };
        match &decision.why {
            Some(why) => format!("{grade} ({why})"),
            None => grade,
        }
    });
    let why = [look.map(|look| format!("next: {}", look.text)), decided];
    let why: Vec<String> = why.into_iter().flatten().collect();
    Some(Finding {
        kind,
        parts: vec![at],
        text,
        why: (!why.is_empty()).then(|| why.join("; ")),
    })
}
