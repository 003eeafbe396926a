//! What an edition leaves out. The client edition has no house numbers, serials, lots, notes, people, lab evidence or lab rules.

use etchlore_engine::board::{Change, Finding, FindingKind};
use etchlore_engine::check::vocabulary;
use etchlore_engine::model::{CodeKind, RuleSet};
use etchlore_engine::rank::{Candidate, Cost, FieldAnswer, SlotSpan};

use crate::present::board::view::PartView;

/// For whom a page is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, clap::ValueEnum)]
pub(crate) enum Edition {
    /// For the lab: everything
    #[default]
    Internal,
    /// For clients: no house numbers, serials, lots, notes, people, lab evidence or lab rules
    Client,
}

/// Fields that are of one unit or batch, or of the lab's own dealings.
const PRIVATE: [&str; 5] = ["lot", "trace", "serial", "control", "rom_code"];

impl Edition {
    pub(crate) fn word(self) -> &'static str {
        match self {
            Edition::Internal => "internal",
            Edition::Client => "client",
        }
    }

    pub(crate) fn is_client(self) -> bool {
        self == Edition::Client
    }

    /// Something for the lab alone.
    pub(crate) fn inside<T>(self, value: Option<T>) -> Option<T> {
        value.filter(|_| !self.is_client())
    }

    /// Whether a field is shown. Clients see fields of the common vocabulary alone: what a lab's own field holds nobody can say.
    pub(crate) fn shows_field(self, name: &str) -> bool {
        !self.is_client() || (vocabulary::field(name).is_some() && !PRIVATE.contains(&name))
    }

    /// Whether a field of a candidate is shown: what a house number prints is the house's.
    pub(crate) fn shows(self, lead: &Candidate, field: &FieldAnswer) -> bool {
        let of_house = lead.relations.stands_for.is_some() && field.at.is_some();
        self.shows_field(&field.name) && !(self.is_client() && of_house)
    }

    /// Whether the characters of a slot are shown.
    pub(crate) fn shows_slot(self, set: &RuleSet, lead: &Candidate, span: &SlotSpan) -> bool {
        if !self.is_client() {
            return true;
        }
        let slot = &set.families[lead.family.index()].slots[span.slot.index()];
        if slot.each || PRIVATE.iter().any(|word| span.name.ends_with(word)) {
            return false;
        }
        let mut gives = lead
            .fields
            .iter()
            .filter(|field| field.slot.as_ref() == Some(&span.name))
            .peekable();
        let listed = || {
            slot.codes
                .iter()
                .all(|code| !matches!(code.kind, CodeKind::Open(_)))
        };
        match gives.peek() {
            Some(_) => gives.all(|field| self.shows(lead, field)),
            // Parts of a date give no field of their own here.
            None => {
                let word = span.name.rsplit('.').next().unwrap_or_default();
                listed()
                    || [
                        "year",
                        "month",
                        "week",
                        "day",
                        "fortnight",
                        "quarter",
                        "third",
                    ]
                    .contains(&word)
            }
        }
    }

    /// A part's words for this edition.
    pub(crate) fn part(self, view: PartView, lead: Option<&Candidate>) -> PartView {
        if !self.is_client() {
            return view;
        }
        let stands = lead.and_then(|lead| lead.relations.stands_for.as_ref());
        let written = match stands {
            Some(stands) => stands.written.clone(),
            None => view.written,
        };
        // A field of the house number itself is none of the part's.
        let hidden = |name: &String| {
            let of = lead.and_then(|lead| {
                lead.fields
                    .iter()
                    .find(|f| f.name == *name)
                    .map(|f| (lead, f))
            });
            of.is_some_and(|(lead, field)| !self.shows(lead, field)) || !self.shows_field(name)
        };
        PartView {
            written,
            fields: view
                .fields
                .into_iter()
                .filter(|(name, _)| !hidden(name))
                .collect(),
            stands_for: None,
            also: Vec::new(),
            dies: Vec::new(),
            context: None,
            observed: Vec::new(),
            ..view
        }
    }

    /// A change without the fields that are not shown.
    pub(crate) fn change(self, change: &Change) -> Change {
        let mut change = change.clone();
        change.fields.retain(|field| self.shows_field(&field.name));
        change
    }

    /// A finding in words. What a client reads says no mark, no rule, no reason of the lab.
    pub(crate) fn finding(self, finding: &Finding, name: &str) -> (String, Option<String>) {
        let (text, why) = (finding.text.clone(), finding.why.clone());
        if !self.is_client() {
            return (text, why);
        }
        let said = |what: &str| (format!("{name}: {what}"), None);
        match finding.kind {
            FindingKind::ClaimBitsForBytes
            | FindingKind::ClaimThousands
            | FindingKind::ClaimShort
            | FindingKind::ClaimOver
            | FindingKind::ClaimOpen
            | FindingKind::ClaimBand
            | FindingKind::DateAfterBuild
            | FindingKind::DateOld
            | FindingKind::MeasuredDiffers
            | FindingKind::DieOtherMaker
            | FindingKind::DieOlder => (text, why),
            FindingKind::DateAfterSeen
            | FindingKind::PackageDiffers
            | FindingKind::PinsDiffer
            | FindingKind::ContentsDiffer
            | FindingKind::DieDiffers => (text, None),
            FindingKind::LotTwoDates => said("one lot carries two dates"),
            FindingKind::FormsDiffer => said("two marks of it differ"),
            FindingKind::SpecimensDiffer => said("its specimens do not agree"),
            FindingKind::ReadersDiffer => said("its mark was read in two ways"),
            FindingKind::IdentitiesDiffer => said("two numbers on it name different parts"),
            FindingKind::RuleBroken => {
                said("such a part is not made as far as known, or its check digit fails")
            }
            FindingKind::DecisionDiffers => said("it was decided otherwise than its mark says"),
            FindingKind::Ambiguous => said("its mark fits several parts"),
            FindingKind::Unknown => said("what is printed on it is not explained"),
            FindingKind::Unread => said("it has not been read or measured"),
        }
    }

    /// What to look at next, in words.
    pub(crate) fn question(self, text: &str, cost: Cost) -> String {
        if !self.is_client() {
            return text.to_owned();
        }
        match cost {
            Cost::Look => "a closer look at the mark",
            Cost::Work => "work on the board: an X-ray, a measurement, or turning the part",
            Cost::Destructive => "opening the part",
        }
        .to_owned()
    }
}
