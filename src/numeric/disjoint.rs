/// Groups that are joined step by step (union-find with path halving).
///
/// The smallest member of a group stands for it, so that results do not depend on the order of joining.
#[derive(Clone, Debug, Default)]
pub struct DisjointSets(Vec<u32>);

impl DisjointSets {
    /// Forgets all members.
    pub fn clear(&mut self) {
        self.0.clear();
    }

    /// Adds a member in a group of its own and gives its number: 0, 1, 2 …
    pub fn add(&mut self) -> usize {
        self.0.push(self.0.len() as u32);
        self.0.len() - 1
    }

    /// Smallest member of the group of `i`.
    pub fn find(&mut self, mut i: usize) -> usize {
        while self.0[i] as usize != i {
            self.0[i] = self.0[self.0[i] as usize];
            i = self.0[i] as usize;
        }
        i
    }

    /// Joins the groups of `a` and `b`.
    pub fn join(&mut self, a: usize, b: usize) {
        let (a, b) = (self.find(a), self.find(b));
        self.0[a.max(b)] = a.min(b) as u32;
    }
}
