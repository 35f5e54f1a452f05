//! Light of the whole bar: its colour, the ripple of the regulator that feeds it, and what a refresh of its segments shows.

use super::SimTime;
use super::firmware::Timing;
use super::sine::sine_of_turns;

/// Half the width of what a refresh leaves behind the jig's filter, ns: a pulse as narrow as one that lets pass nothing
/// beyond 400 Hz to speak of.
const FILTERED_NS: f64 = 2.5e6;
/// Light that reaches the sensor of a dark segment from elsewhere (invented for the demo).
pub const STRAY_LIGHT: f64 = 0.015;

/// How the bar and its regulator are made.
#[derive(Debug, Clone, PartialEq)]
pub struct LightBarMake {
    /// How far the regulator's ripple takes the light up and down, relative (invented for the demo).
    pub ripple: f64,
    /// Its frequency, Hz (invented for the demo).
    pub ripple_hz: f64,
    /// Red, green and blue of a fully lit bar behind the filters of a colour sensor (invented for the demo: an amber).
    pub colour: [f64; 3],
}

impl LightBarMake {
    /// A sound bar.
    pub const fn sound() -> Self {
        Self { ripple: 0.01, ripple_hz: 240.0, colour: [0.72, 0.25, 0.03] }
    }

    /// The factor by which the light is more or less than its mean at a moment, behind the jig's filter.
    pub fn flicker(&self, at: SimTime, timing: &Timing) -> f64 {
        let swing = self.ripple * sine_of_turns(at as f64 * 1e-9 * self.ripple_hz);
        1.0 + swing - refresh_dip(at, timing)
    }
}

/// A segment is dark while it is written anew. The filter makes of that a longer and shallower dip of the same area, shaped
/// as a period of a cosine.
fn refresh_dip(at: SimTime, timing: &Timing) -> f64 {
    if timing.refresh_ns == 0 || timing.masked_ns == 0 {
        return 0.0;
    }
    let since = (at % timing.refresh_ns) as f64 - 0.5 * timing.masked_ns as f64;
    let away = since.min(timing.refresh_ns as f64 - since).abs();
    if away >= FILTERED_NS {
        return 0.0;
    }
    // 1 + cos: a cosine is a sine a quarter turn on.
    (1.0 + sine_of_turns(0.5 * away / FILTERED_NS + 0.25)) * 0.5 * timing.masked_ns as f64 / FILTERED_NS
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_mean_light_is_one_and_a_refresh_takes_its_share() {
        let bar = LightBarMake::sound();
        let mean = |timing: &Timing| {
            let factors = (0..20_000_u64).map(|index| bar.flicker(index * 10_000, timing));
            factors.sum::<f64>() / 20_000.0
        };
        let quiet = Timing::prompt();
        assert!((mean(&quiet) - 1.0).abs() < 1e-4);
        let writing = Timing { refresh_ns: Timing::REFRESH_NS, masked_ns: Timing::MASKED_NS, ..Timing::prompt() };
        // 180 of 20,000 µs.
        assert!((mean(&writing) - 0.991).abs() < 1e-4, "{}", mean(&writing));
        assert!((bar.flicker(Timing::MASKED_NS / 2, &writing) - 1.0 + 0.072).abs() < 0.011);
    }
}
