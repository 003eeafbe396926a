//! Finite sets of strings as automata with shared states.
//!
//! Every state is stored once: two sets that go on alike are the same state. So states are minimal by construction, union, concatenation and
//! intersection remember what they have done, and a set is empty exactly if it is the state [`EMPTY`].

use num_bigint::BigUint;
use rustc_hash::FxHashMap;

/// A state, and the set of strings that lead from it to an end.
pub(super) type State = u32;
/// The set without any string.
pub(super) const EMPTY: State = 0;
/// The set of the empty string alone.
pub(super) const END: State = 1;
/// More states than this are given up.
const MOST_STATES: usize = 6_000_000;

/// A set of characters, see [`super::letters`].
pub(super) type Mask = u128;

/// Too many states.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct TooLarge;

#[derive(Debug, Clone, PartialEq, Eq, Hash)]
struct Node {
    end: bool,
    /// Disjoint sets of characters with where they lead, one for each target, sorted by it.
    edges: Vec<(Mask, State)>,
}

/// All states, and what is known of them.
pub(super) struct Store {
    nodes: Vec<Node>,
    ids: FxHashMap<Node, State>,
    unions: FxHashMap<(State, State), State>,
    meets: FxHashMap<(State, State), State>,
    chains: FxHashMap<(State, State), State>,
    /// Length of the shortest string.
    shortest: Vec<u32>,
    /// Length of the longest string.
    longest: Vec<u32>,
    counts: FxHashMap<State, BigUint>,
    bound: usize,
}

impl Store {
    pub(super) fn new() -> Store {
        let mut store = Store {
            nodes: Vec::new(),
            ids: FxHashMap::default(),
            unions: FxHashMap::default(),
            meets: FxHashMap::default(),
            chains: FxHashMap::default(),
            shortest: Vec::new(),
            longest: Vec::new(),
            counts: FxHashMap::default(),
            bound: MOST_STATES,
        };
        for end in [false, true] {
            let node = Node {
                end,
                edges: Vec::new(),
            };
            store.ids.insert(node.clone(), u32::from(end));
            store.nodes.push(node);
            store.shortest.push(if end { 0 } else { u32::MAX });
            store.longest.push(0);
        }
        store
    }

    /// Gives up when this many states more have come.
    pub(super) fn allow(&mut self, more: usize) {
        self.bound = (self.nodes.len() + more).min(MOST_STATES);
    }

    /// The state with these edges; targets may repeat, sets of one state must be disjoint.
    pub(super) fn node(
        &mut self,
        end: bool,
        mut edges: Vec<(Mask, State)>,
    ) -> Result<State, TooLarge> {
        edges.retain(|(mask, to)| *mask != 0 && *to != EMPTY);
        edges.sort_unstable_by_key(|(mask, to)| (*to, *mask));
        edges.dedup_by(|next, kept| {
            let same = next.1 == kept.1;
            if same {
                kept.0 |= next.0;
            }
            same
        });
        let node = Node { end, edges };
        if let Some(id) = self.ids.get(&node) {
            return Ok(*id);
        }
        if self.nodes.len() >= self.bound {
            return Err(TooLarge);
        }
        let id = self.nodes.len() as State;
        let ends = node.edges.iter().map(|(_, to)| *to as usize);
        let shortest = ends.clone().map(|to| self.shortest[to]).min();
        let longest = ends.map(|to| self.longest[to]).max();
        self.shortest.push(if end {
            0
        } else {
            shortest.map_or(u32::MAX, |n| n.saturating_add(1))
        });
        self.longest.push(longest.map_or(0, |n| n + 1));
        self.ids.insert(node.clone(), id);
        self.nodes.push(node);
        Ok(id)
    }

    fn ends(&self, state: State) -> bool {
        self.nodes[state as usize].end
    }

    fn edges(&self, state: State) -> Vec<(Mask, State)> {
        self.nodes[state as usize].edges.clone()
    }

    /// The lengths of its strings: shortest and longest.
    pub(super) fn lengths(&self, state: State) -> (u32, u32) {
        (self.shortest[state as usize], self.longest[state as usize])
    }

    /// The characters with which its strings can begin.
    pub(super) fn firsts(&self, state: State) -> Mask {
        let edges = &self.nodes[state as usize].edges;
        edges.iter().fold(0, |all, (mask, _)| all | mask)
    }

    /// The characters that can stand second.
    pub(super) fn seconds(&self, state: State) -> Mask {
        let edges = &self.nodes[state as usize].edges;
        edges.iter().fold(0, |all, (_, to)| all | self.firsts(*to))
    }

    pub(super) fn union(&mut self, a: State, b: State) -> Result<State, TooLarge> {
        if a == b || b == EMPTY {
            return Ok(a);
        }
        if a == EMPTY {
            return Ok(b);
        }
        let key = (a.min(b), a.max(b));
        if let Some(known) = self.unions.get(&key) {
            return Ok(*known);
        }
        let (of_a, of_b) = (self.edges(a), self.edges(b));
        let mut edges = Vec::with_capacity(of_a.len() + of_b.len());
        let mut rest_of_b: Vec<(Mask, State)> = of_b.clone();
        for (mask, to) in of_a {
            let mut left = mask;
            for (at, (other, target)) in of_b.iter().enumerate() {
                let both = mask & other;
                if both != 0 {
                    left &= !both;
                    rest_of_b[at].0 &= !both;
                    edges.push((both, self.union(to, *target)?));
                }
            }
            edges.push((left, to));
        }
        edges.extend(rest_of_b);
        let end = self.ends(a) || self.ends(b);
        let state = self.node(end, edges)?;
        self.unions.insert(key, state);
        Ok(state)
    }

    /// The union of many, in halves, so that large ones are joined few times.
    pub(super) fn union_of(&mut self, all: &[State]) -> Result<State, TooLarge> {
        match all {
            [] => Ok(EMPTY),
            [one] => Ok(*one),
            _ => {
                let (left, right) = all.split_at(all.len() / 2);
                let (left, right) = (self.union_of(left)?, self.union_of(right)?);
                self.union(left, right)
            }
        }
    }

    /// The strings that both have.
    pub(super) fn meet(&mut self, a: State, b: State) -> Result<State, TooLarge> {
        if a == b {
            return Ok(a);
        }
        if a == EMPTY || b == EMPTY || self.apart(a, b) {
            return Ok(EMPTY);
        }
        let key = (a.min(b), a.max(b));
        if let Some(known) = self.meets.get(&key) {
            return Ok(*known);
        }
        let mut edges = Vec::new();
        let of_b = self.edges(b);
        for (mask, to) in self.edges(a) {
            for (other, target) in &of_b {
                if mask & other != 0 {
                    edges.push((mask & other, self.meet(to, *target)?));
                }
            }
        }
        let end = self.ends(a) && self.ends(b);
        let state = self.node(end, edges)?;
        self.meets.insert(key, state);
        Ok(state)
    }

    /// Whether two sets have nothing in common by the lengths of their strings alone.
    pub(super) fn apart(&self, a: State, b: State) -> bool {
        let ((short_a, long_a), (short_b, long_b)) = (self.lengths(a), self.lengths(b));
        short_a > long_b || short_b > long_a
    }

    /// Each string of `a` with each of `b` behind it.
    pub(super) fn chain(&mut self, a: State, b: State) -> Result<State, TooLarge> {
        match (a, b) {
            (EMPTY, _) | (_, EMPTY) => return Ok(EMPTY),
            (END, _) => return Ok(b),
            (_, END) => return Ok(a),
            _ => {}
        }
        if let Some(known) = self.chains.get(&(a, b)) {
            return Ok(*known);
        }
        let mut edges = self.edges(a);
        for (_, to) in &mut edges {
            *to = self.chain(*to, b)?;
        }
        let mut state = self.node(false, edges)?;
        if self.ends(a) {
            state = self.union(state, b)?;
        }
        self.chains.insert((a, b), state);
        Ok(state)
    }

    /// The set of one string of sets of characters.
    pub(super) fn run(&mut self, places: &[Mask], then: State) -> Result<State, TooLarge> {
        let mut state = then;
        for mask in places.iter().rev() {
            state = self.node(false, vec![(*mask, state)])?;
        }
        Ok(state)
    }

    /// Each string with exactly one character replaced as `replace` says.
    pub(super) fn replaced(
        &mut self,
        state: State,
        replace: &dyn Fn(Mask) -> Mask,
        known: &mut FxHashMap<State, State>,
    ) -> Result<State, TooLarge> {
        if let Some(known) = known.get(&state) {
            return Ok(*known);
        }
        let mut all = Vec::new();
        for (mask, to) in self.edges(state) {
            let later = self.replaced(to, replace, known)?;
            all.push(self.node(false, vec![(mask, later)])?);
            all.push(self.node(false, vec![(replace(mask), to)])?);
        }
        let result = self.union_of(&all)?;
        known.insert(state, result);
        Ok(result)
    }

    /// How many strings there are, each character set counted by `size`.
    pub(super) fn count(&mut self, state: State, size: &dyn Fn(Mask) -> u32) -> BigUint {
        if let Some(known) = self.counts.get(&state) {
            return known.clone();
        }
        let mut sum = BigUint::from(u32::from(self.ends(state)));
        for (mask, to) in self.edges(state) {
            sum += self.count(to, size) * size(mask);
        }
        self.counts.insert(state, sum.clone());
        sum
    }

    /// A shortest string, by the first character of each set.
    pub(super) fn shortest_string(&self, mut state: State) -> Vec<u32> {
        let mut string = Vec::new();
        while state != EMPTY && !self.ends(state) {
            let edges = &self.nodes[state as usize].edges;
            let best = edges
                .iter()
                .min_by_key(|(mask, to)| (self.shortest[*to as usize], mask.trailing_zeros()));
            let Some((mask, to)) = best else { break };
            string.push(mask.trailing_zeros());
            state = *to;
        }
        string
    }

    /// Whether a string belongs to a set.
    pub(super) fn has(&self, mut state: State, string: &[u32]) -> bool {
        for character in string {
            let edges = &self.nodes[state as usize].edges;
            let next = edges.iter().find(|(mask, _)| mask & (1 << character) != 0);
            match next {
                Some((_, to)) => state = *to,
                None => return false,
            }
        }
        self.ends(state)
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::{EMPTY, END, Store};

    fn size(mask: u128) -> u32 {
        mask.count_ones()
    }

    #[test]
    fn sets_are_equal_exactly_if_their_states_are() {
        let mut store = Store::new();
        let ab = store.run(&[0b11, 0b1], END).unwrap();
        let a = store.run(&[0b01, 0b1], END).unwrap();
        let b = store.run(&[0b10, 0b1], END).unwrap();
        assert_eq!(store.union(a, b), Ok(ab));
        assert_eq!(store.meet(a, b), Ok(EMPTY));
        assert_eq!(store.meet(ab, b), Ok(b));
        let twice = store.chain(ab, ab).unwrap();
        assert_eq!(store.count(twice, &size), 4_u32.into());
        assert!(store.has(twice, &[0, 0, 1, 0]) && !store.has(twice, &[0, 0]));
        assert_eq!(store.shortest_string(twice).len(), 4);
    }

    #[test]
    fn strings_that_can_be_cut_twice_count_once() {
        let mut store = Store::new();
        // One or two of two characters, twice: 4 + 8 + 16 strings.
        let one = store.run(&[0b11], END).unwrap();
        let two = store.run(&[0b11, 0b11], END).unwrap();
        let either = store.union(one, two).unwrap();
        let twice = store.chain(either, either).unwrap();
        assert_eq!(store.count(twice, &size), 28_u32.into());
    }
}
