//! The order of a study: each round every appraiser measures every unit once, shuffled, so that a drift of the day does not
//! look like a difference of units.

/// One measurement of the plan.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Turn {
    /// Round, from 1.
    pub round: usize,
    pub unit: String,
    pub appraiser: String,
}

/// The turns of a study, the same for the same seed.
pub fn planned(units: &[String], appraisers: &[String], repeats: usize, seed: u64) -> Vec<Turn> {
    let mut chance = seed;
    let mut turns = Vec::new();
    for round in 1..=repeats {
        let pairs = units.iter().flat_map(|unit| appraisers.iter().map(move |appraiser| (unit, appraiser)));
        let mut of_round: Vec<Turn> =
            pairs.map(|(unit, appraiser)| Turn { round, unit: unit.clone(), appraiser: appraiser.clone() }).collect();
        for last in (1..of_round.len()).rev() {
            // Splitmix64 (Steele, Lea and Flood, 2014): small, and the same everywhere.
            chance = chance.wrapping_add(0x9e37_79b9_7f4a_7c15);
            let mut bits = chance;
            bits = (bits ^ (bits >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
            bits = (bits ^ (bits >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
            bits ^= bits >> 31;
            of_round.swap(last, (bits % (last as u64 + 1)) as usize);
        }
        turns.extend(of_round);
    }
    turns
}
