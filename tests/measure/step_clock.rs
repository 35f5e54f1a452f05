//! The step clock against published values and other programs.

use railproof::capture::Tick;
use railproof::measure::{Steadied, SteadyClock};

/// A clock whose phase is `phase`, in units that are `scale` ticks; its nominal period is `period` ticks.
fn clock(phase: impl IntoIterator<Item = f64>, period: f64, scale: f64) -> Steadied {
    let tick = |(index, phase): (usize, f64)| (index as f64 * period + phase * scale).round() as Tick;
    let ticks: Vec<Tick> = phase.into_iter().enumerate().map(tick).collect();
    let mut clock = SteadyClock::new(ticks[0], period, 1.0);
    // In slices of a prime number, so that chunks are put together.
    ticks[1..].chunks(97).for_each(|slice| clock.take(slice));
    clock.finish()
}

/// Overlapping Allan deviation of the fractional frequency over so many periods, and from how many differences.
fn allan(clock: &Steadied, periods: u64, scale: f64) -> (f64, u64) {
    let mean = clock.mean_period().expect("intervals");
    let deviations = clock.allan_deviations();
    let found = deviations.iter().find(|point| point.0 == periods).expect("that lag");
    (found.2 * mean / scale, found.1)
}

fn cumulated(frequencies: &[f64]) -> Vec<f64> {
    let mut phase = 0.0;
    let sums = frequencies.iter().map(|frequency| {
        phase += frequency;
        phase
    });
    std::iter::once(0.0).chain(sums).collect()
}

const NINE: [f64; 9] = [892.0, 809.0, 823.0, 798.0, 671.0, 644.0, 883.0, 903.0, 677.0];

/// The 1000 frequencies that NIST SP 1065 makes with a congruential generator.
fn thousand() -> Vec<f64> {
    let mut number = 1_234_567_890_u64;
    let mut frequencies = Vec::new();
    while frequencies.len() < 1000 {
        frequencies.push(number as f64 / 2_147_483_647.0);
        number = 16_807 * number % 2_147_483_647;
    }
    frequencies
}

fn close(found: f64, expected: f64, relative: f64) {
    assert!((found / expected - 1.0).abs() < relative, "{found} against {expected}");
}

// Outside: NIST SP 1065, p. 107, nine frequencies, overlapping Allan deviation at tau 1 and 2; how: published text
#[test]
fn nine_frequencies() {
    let clock = clock(cumulated(&NINE), 1e9, 1e3);
    for (periods, expected, differences) in [(1, 91.22945, 8), (2, 85.95287, 6)] {
        let (found, from) = allan(&clock, periods, 1e3);
        close(found, expected, 1e-6);
        assert_eq!(from, differences);
    }
}

// Outside: the same nine as ten phases with the mean frequency removed; how: data set
#[test]
fn ten_phases() {
    let phase = [0.0, 103.11111, 123.22222, 157.33333, 166.44444, 48.55555, -96.33333, -2.22222, 111.88889, 0.0];
    let clock = clock(phase.map(|phase| phase + 1000.0), 1e12, 1e6);
    close(allan(&clock, 1, 1e6).0, 91.22945, 1e-6);
    close(allan(&clock, 2, 1e6).0, 85.95287, 1e-6);
}

// Outside: NIST SP 1065, p. 108, 1000 frequencies, overlapping Allan deviation at tau 1; how: published text
#[test]
fn a_thousand_frequencies() {
    let frequencies = thousand();
    assert_eq!((frequencies[1] * 2_147_483_647.0) as u64, 395_529_916);
    close(allan(&clock(cumulated(&frequencies), 1e12, 1e9), 1, 1e9).0, 2.922_319e-1, 3e-7);
}

// Outside: the same at tau 1, 2, 4, 8 and 16; how: package AllanTools 2024.6
#[test]
fn a_thousand_frequencies_in_octaves() {
    let clock = clock(cumulated(&thousand()), 1e12, 1e9);
    let near = [(1, 0.292231878, 999), (2, 0.201016042, 997), (4, 0.144791307, 993), (8, 0.10570385, 985)];
    for (periods, expected, differences) in near.into_iter().chain([(16, 0.0619147784, 969)]) {
        let (found, from) = allan(&clock, periods, 1e9);
        close(found, expected, 1e-8);
        assert_eq!(from, differences);
    }
}

// Outside: the same at tau 32 to 256, every fourth phase up to 64 and every sixteenth beyond, as ours; how: package AllanTools 2024.6
#[test]
fn a_thousand_frequencies_thinned() {
    let clock = clock(cumulated(&thousand()), 1e12, 1e9);
    let thinned = [(32, 0.0479390611, 235), (64, 0.0368891369, 219), (128, 0.0292554129, 47), (256, 0.0109536968, 31)];
    for (periods, expected, differences) in thinned {
        let (found, from) = allan(&clock, periods, 1e9);
        close(found, expected, 1e-8);
        assert_eq!(from, differences);
    }
    // With every phase: what the thinning costs.
    for (periods, expected) in [(32, 0.0480821426), (64, 0.036237213), (128, 0.0276738558), (256, 0.0102822176)] {
        close(allan(&clock, periods, 1e9).0, expected, 0.07);
    }
}

// Outside: time interval error of the same against its line of least squares; how: package numpy 2.4.6
#[test]
fn time_interval_error_of_a_thousand() {
    let strays = clock(cumulated(&thousand()), 1e12, 1e9).strays().expect("many edges");
    close((strays.period - 1e12) / 1e9, 0.492_534_944_2, 1e-9);
    assert!((strays.peak_to_peak / 1e9 - 7.225_124_340_4).abs() <= strays.short / 1e9 + 1e-8, "{strays:?}");
    // numpy's root mean square divides by 1001 edges; ours by the 999 degrees of freedom that are left.
    close(strays.rms / 1e9 * (999.0_f64 / 1001.0).sqrt(), 1.715_879_111_0, 1e-9);
}

// Outside: the farthest edge of the same from a clock of its mean frequency, −4.70788; how: package numpy 2.4.6
#[test]
fn the_farthest_of_a_thousand() {
    let clock = clock(cumulated(&thousand()), 1e12, 1e9);
    let (farthest, short) = clock.farthest_from(clock.mean_period().expect("intervals"));
    assert!((farthest / 1e9 + 4.707_879_426_2).abs() <= short / 1e9 + 1e-8, "{farthest} {short}");
}
