//! What the other parts of a board say of one: when boards like this were filled, and whose parts are on it.

use jiff::ToSpan;
use jiff::civil::Date;

use super::Board;
use super::account::PartAccount;
use crate::model::{MakerId, RuleSet};
use crate::rank::Context;
use crate::value::Interval;

/// From this probability on a part speaks for the others.
const SPEAKS: f64 = 0.9;
/// Years by which a part may be older than the middle of the others: a stated belief; stock is seldom older.
const OLDER: i32 = 4;
/// Years by which it may be younger, where no build date says less.
const YOUNGER: i32 = 2;
/// The most that the makers of the others add, in bits: three parts or more make a fourth of the same maker four times as likely.
const MOST_BITS: f64 = 2.0;
/// What the firm that sells the product adds for its own numbers, in bits.
const SELLER_BITS: f64 = 3.0;

/// What the other parts say of one.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Around {
    /// When the part was made, by the dates of the others and the build date.
    pub made: Option<Interval>,
    /// How many parts that rests on.
    pub dated: usize,
    /// Makers of the others, each with how many of the parts are theirs.
    pub makers: Vec<(MakerId, usize)>,
}

/// What one part says for the others.
#[derive(Debug, Clone, Default)]
pub(super) struct Voice {
    date: Option<Date>,
    maker: Option<MakerId>,
}

impl Voice {
    pub(super) fn of(set: &RuleSet, part: &PartAccount) -> Voice {
        let Some(lead) = part.lead().filter(|lead| lead.probability >= SPEAKS) else {
            return Voice::default();
        };
        Voice {
            date: part
                .sure_date(SPEAKS)
                .map(|interval| middle(interval.from, interval.to)),
            maker: part.true_maker(set, lead),
        }
    }
}

fn middle(from: Date, to: Date) -> Date {
    let days = from.until(to).map_or(0, |span| span.get_days());
    from.checked_add((days / 2).days()).unwrap_or(from)
}

/// What all but one say. Two dates are asked for: one may be the odd one out.
pub(super) fn around(board: &Board, voices: &[Voice], me: usize) -> Around {
    let others = || {
        voices
            .iter()
            .enumerate()
            .filter(move |(at, _)| *at != me)
            .map(|(_, voice)| voice)
    };
    let mut dates: Vec<Date> = others().filter_map(|voice| voice.date).collect();
    dates.sort_unstable();
    let mut makers: Vec<(MakerId, usize)> = Vec::new();
    for maker in others().filter_map(|voice| voice.maker) {
        match makers.iter_mut().find(|(known, _)| *known == maker) {
            Some((_, count)) => *count += 1,
            None => makers.push((maker, 1)),
        }
    }
    makers.sort_by_key(|(maker, count)| (std::cmp::Reverse(*count), *maker));
    let center = if dates.len() >= 2 {
        dates.get(dates.len() / 2).copied()
    } else {
        board.built.map(|built| middle(built.from, built.to))
    };
    let made = center.and_then(|center| {
        // Whole years: the middle is no sharper than that, and parts that hear the same can be asked once.
        let from = center.checked_sub(OLDER.years()).ok()?.first_of_year();
        let to = center.checked_add(YOUNGER.years()).ok()?.last_of_year();
        let last = board
            .built
            .map_or(board.seen, |built| built.to.min(board.seen));
        let to = if dates.len() >= 2 {
            to.min(board.seen)
        } else {
            last
        };
        (from <= to).then_some(Interval { from, to })
    });
    Around {
        made,
        dated: if dates.len() >= 2 { dates.len() } else { 0 },
        makers,
    }
}

/// The context of a part with what the others say.
pub(super) fn with(set: &RuleSet, board: &Board, own: &Context, around: &Around) -> Context {
    let mut context = own.clone();
    context.made = own.made.or(around.made);
    context.around = around
        .makers
        .iter()
        .map(|(maker, count)| (*maker, (1.0 + *count as f64).log2().min(MOST_BITS)))
        .collect();
    if let Some(seller) = &board.seller {
        let known = |maker: &crate::model::Maker| {
            maker.name == *seller || maker.title.to_lowercase() == seller.to_lowercase()
        };
        if let Some(at) = set.makers.iter().position(known) {
            let maker = MakerId::at(at);
            match context.around.iter_mut().find(|(known, _)| *known == maker) {
                Some((_, bits)) => *bits = bits.max(SELLER_BITS),
                None => context.around.push((maker, SELLER_BITS)),
            }
        }
    }
    context
}
