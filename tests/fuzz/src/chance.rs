//! Chance from a seed, so that what failed can be had again.

/// Xorshift (G. Marsaglia, "Xorshift RNGs", 2003).
#[derive(Debug, Clone)]
pub struct Chance(u64);

impl Chance {
    /// From any seed.
    pub fn of(seed: u64) -> Self {
        Self(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1)
    }

    /// A number below `limit`; 0 where that is none.
    pub fn below(&mut self, limit: usize) -> usize {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 >> 11) as usize % limit.max(1)
    }

    /// One of several.
    pub fn one<'a, T>(&mut self, of: &'a [T]) -> &'a T {
        &of[self.below(of.len())]
    }
}
