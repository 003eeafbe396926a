//! The inventory seen by function, by maker, and by what is still open.

use super::account::{Account, true_family};
use super::{Board, Part};
use crate::check::vocabulary::FUNCTIONS;
use crate::model::{MakerId, RuleSet};
use crate::rank::Cost;

/// Parts of one function.
#[derive(Debug, Clone, PartialEq)]
pub struct Block {
    /// The function, `memory/dram`; empty for parts that are not known.
    pub function: String,
    /// Its parts, by their place on the board.
    pub parts: Vec<usize>,
}

/// Sockets that a maker has.
#[derive(Debug, Clone, PartialEq)]
pub struct Sockets {
    /// The maker; none for parts whose maker is not known.
    pub maker: Option<MakerId>,
    /// How many parts on the board are its own, behind house numbers.
    pub sockets: u32,
    /// Its parts, by their place on the board.
    pub parts: Vec<usize>,
}

/// Something to look at next.
#[derive(Debug, Clone, PartialEq)]
pub struct Question {
    /// The part.
    pub part: usize,
    /// What to do.
    pub text: String,
    /// What would be learnt on average, in bits.
    pub bits: f64,
    /// What it costs.
    pub cost: Cost,
}

/// The function of a part, in words of the vocabulary: of what leads, else as the board says; empty if nobody knows.
#[must_use]
pub fn function_of(set: &RuleSet, part: &Part, known: &super::PartAccount) -> String {
    let of_lead = known.lead().and_then(|lead| {
        let function = set.families[true_family(lead).index()].function.clone();
        function.or_else(|| set.families[lead.family.index()].function.clone())
    });
    of_lead
        .or_else(|| part.function.clone())
        .unwrap_or_default()
}

/// The parts by function, in the order of the vocabulary; those that nobody knows last.
#[must_use]
pub fn blocks(set: &RuleSet, board: &Board, account: &Account) -> Vec<Block> {
    let mut blocks: Vec<Block> = Vec::new();
    for (at, (part, known)) in board.parts.iter().zip(&account.parts).enumerate() {
        let function = function_of(set, part, known);
        match blocks.iter_mut().find(|block| block.function == function) {
            Some(block) => block.parts.push(at),
            None => blocks.push(Block {
                function,
                parts: vec![at],
            }),
        }
    }
    let rank = |block: &Block| {
        let known = FUNCTIONS.iter().position(|word| *word == block.function);
        let coarse = || {
            FUNCTIONS
                .iter()
                .position(|word| word.starts_with(&format!("{}/", block.function)))
        };
        match block.function.as_str() {
            "" => usize::MAX,
            _ => known.or_else(coarse).unwrap_or(FUNCTIONS.len()),
        }
    };
    blocks.sort_by_key(rank);
    blocks
}

/// Who has how many sockets, the most first; parts inside others are not counted.
#[must_use]
pub fn sockets(set: &RuleSet, board: &Board, account: &Account) -> Vec<Sockets> {
    let mut all: Vec<Sockets> = Vec::new();
    for (at, (part, known)) in board.parts.iter().zip(&account.parts).enumerate() {
        if part.inside.is_some() {
            continue;
        }
        let maker = known
            .identity()
            .and_then(|lead| known.true_maker(set, lead))
            .or_else(|| decided_maker(set, part));
        match all.iter_mut().find(|one| one.maker == maker) {
            Some(one) => {
                one.sockets += part.quantity;
                one.parts.push(at);
            }
            None => all.push(Sockets {
                maker,
                sockets: part.quantity,
                parts: vec![at],
            }),
        }
    }
    all.sort_by_key(|one| {
        (
            one.maker.is_none(),
            std::cmp::Reverse(one.sockets),
            one.maker,
        )
    });
    all
}

fn decided_maker(set: &RuleSet, part: &Part) -> Option<MakerId> {
    let name = part.decision.as_ref()?.maker.as_ref()?;
    let known = |maker: &crate::model::Maker| {
        maker.name == *name || maker.title.to_lowercase() == name.to_lowercase()
    };
    set.makers.iter().position(known).map(MakerId::at)
}

/// What to look at next over the whole board: what is learnt most at the least cost first.
#[must_use]
pub fn questions(account: &Account) -> Vec<Question> {
    let mut all: Vec<Question> = Vec::new();
    for (at, known) in account.parts.iter().enumerate() {
        if known.identity().is_some() && known.ranking.doubt < 0.5 {
            continue;
        }
        for look in &known.ranking.next_look {
            all.push(Question {
                part: at,
                text: look.text.clone(),
                bits: look.bits,
                cost: look.cost,
            });
        }
    }
    all.sort_by(|a, b| a.cost.cmp(&b.cost).then(b.bits.total_cmp(&a.bits)));
    all
}
