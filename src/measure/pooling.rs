//! How the values of several rounds of a check are judged together, where the plan lets it repeat its moves.

/// What the rounds of a check have to say together of one measurand.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Pooling {
    /// What is measured is the same in every round, and each round estimates it anew: the rounds are averaged. So are a
    /// speed, a resistance, the strength of a jitter.
    Mean,
    /// Every round has to hold by itself, and the worst of them counts: a count, an extreme, a single event. More rounds
    /// can only make it worse.
    Worst,
    /// What the round before left behind changes it, as it does a rise of temperature: no check that repeats its moves can
    /// require it.
    Never,
}
