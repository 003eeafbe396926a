//! Conditions over codes as bit sets, and the order in which slots are drawn.

use crate::model::{CodeId, Cond};

/// A set of codes of one slot.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Default)]
pub(crate) struct CodeSet(Vec<u64>);

impl CodeSet {
    pub(crate) fn of(codes: &[CodeId]) -> CodeSet {
        let words = codes
            .iter()
            .map(|code| code.index() / 64 + 1)
            .max()
            .unwrap_or(0);
        let mut set = vec![0; words];
        for code in codes {
            set[code.index() / 64] |= 1 << (code.index() % 64);
        }
        CodeSet(set)
    }

    /// Its codes, in order.
    pub(crate) fn codes(&self) -> impl Iterator<Item = usize> + '_ {
        (0..)
            .step_by(64)
            .zip(&self.0)
            .flat_map(|(first, word)| super::bits(u128::from(*word)).map(move |bit| first + bit))
    }

    pub(crate) fn has(&self, code: usize) -> bool {
        self.0
            .get(code / 64)
            .is_some_and(|word| word >> (code % 64) & 1 == 1)
    }
}

/// A condition ready to be asked.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct CondProgram {
    pub(crate) terms: Vec<TermProgram>,
}

#[derive(Debug, Clone, PartialEq)]
pub(crate) struct TermProgram {
    pub(crate) negated: bool,
    pub(crate) any: Vec<(usize, CodeSet)>,
}

impl CondProgram {
    pub(crate) fn of(cond: &Cond) -> CondProgram {
        let terms = cond
            .terms
            .iter()
            .map(|term| TermProgram {
                negated: term.negated,
                any: term
                    .any
                    .iter()
                    .map(|(slot, codes)| (slot.index(), CodeSet::of(codes)))
                    .collect(),
            })
            .collect();
        CondProgram { terms }
    }

    /// Whether it holds, for codes given by slot.
    pub(crate) fn holds(&self, code: &impl Fn(usize) -> Option<usize>) -> bool {
        self.terms.iter().all(|term| {
            term.negated
                != term
                    .any
                    .iter()
                    .any(|(slot, codes)| code(*slot).is_some_and(|code| codes.has(code)))
        })
    }

    pub(crate) fn slots(&self) -> impl Iterator<Item = usize> + '_ {
        self.terms
            .iter()
            .flat_map(|term| term.any.iter().map(|(slot, _)| *slot))
    }
}

/// Groups slots that must be drawn together and orders the groups so that each follows what it depends on: strongly connected
/// components of `needs` (slot -> slots that its codes' guards ask), in the order in which they can be drawn.
pub(crate) fn drawing_order(needs: &[Vec<usize>]) -> Vec<Vec<usize>> {
    struct State<'a> {
        needs: &'a [Vec<usize>],
        index: Vec<Option<usize>>,
        low: Vec<usize>,
        on: Vec<bool>,
        stack: Vec<usize>,
        next: usize,
        groups: Vec<Vec<usize>>,
    }
    fn visit(v: usize, s: &mut State<'_>) {
        s.index[v] = Some(s.next);
        s.low[v] = s.next;
        s.next += 1;
        s.stack.push(v);
        s.on[v] = true;
        let needs = s.needs;
        for &w in &needs[v] {
            match s.index[w] {
                None => {
                    visit(w, s);
                    s.low[v] = s.low[v].min(s.low[w]);
                }
                Some(i) if s.on[w] => s.low[v] = s.low[v].min(i),
                Some(_) => {}
            }
        }
        if Some(s.low[v]) == s.index[v] {
            let mut group = Vec::new();
            while let Some(w) = s.stack.pop() {
                s.on[w] = false;
                group.push(w);
                if w == v {
                    break;
                }
            }
            group.sort_unstable();
            s.groups.push(group);
        }
    }
    let n = needs.len();
    let mut state = State {
        needs,
        index: vec![None; n],
        low: vec![0; n],
        on: vec![false; n],
        stack: Vec::new(),
        next: 0,
        groups: Vec::new(),
    };
    for v in 0..n {
        if state.index[v].is_none() {
            visit(v, &mut state);
        }
    }
    state.groups
}
