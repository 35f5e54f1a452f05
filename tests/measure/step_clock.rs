//! The step clock against published values and other programs.

use railproof::capture::Tick;
use railproof::measure::{Steadied, SteadyClock};
use railproof::stats::summary;

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

/// Maximum time interval error within so many periods, and how far it may be off.
fn maximum(clock: &Steadied, periods: u64, scale: f64) -> Option<(f64, f64)> {
    let found = clock.maximum_errors().into_iter().find(|point| point.0 == periods)?;
    Some((found.1 / scale, found.2 / scale))
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

// Outside: the same nine with their mean removed, maximum time interval error at tau 1 and 2: 144.889 and 262.778; how: package AllanTools 2024.6
#[test]
fn the_farthest_within_so_many_of_nine() {
    let mean = NINE.iter().sum::<f64>() / 9.0;
    let clock = clock(cumulated(&NINE.map(|frequency| frequency - mean)), 1e12, 1e9);
    for (periods, expected) in [(1, 144.888_888_9), (2, 262.777_777_8)] {
        close(maximum(&clock, periods, 1e9).expect("so many windows").0, expected, 1e-9);
    }
    assert_eq!(maximum(&clock, 10, 1e9), None);
}

// Outside: the same nine as ten phases with the mean frequency removed; how: data set
#[test]
fn ten_phases() {
    let phase = [0.0, 103.11111, 123.22222, 157.33333, 166.44444, 48.55555, -96.33333, -2.22222, 111.88889, 0.0];
    let clock = clock(phase.map(|phase| phase + 1000.0), 1e12, 1e6);
    close(allan(&clock, 1, 1e6).0, 91.22945, 1e-6);
    close(allan(&clock, 2, 1e6).0, 85.95287, 1e-6);
}

// Outside: NIST SP 1065, p. 108, the 1000 frequencies themselves: mean, standard deviation, least and most; how: published text, more digits by package numpy 2.4.6
#[test]
fn the_thousand_are_theirs() {
    let frequencies = thousand();
    for (place, number) in [(1, 395_529_916), (2, 1_209_410_747), (3, 633_705_974), (999, 1_560_135_652)] {
        assert_eq!((frequencies[place] * 2_147_483_647.0).round() as u64, number);
    }
    close(summary::mean(&frequencies).expect("a thousand"), 0.489_774_462_9, 1e-9);
    close(summary::standard_deviation(&frequencies).expect("a thousand"), 0.288_466_364_7, 1e-9);
    close(frequencies.iter().copied().fold(1.0, f64::min), 0.001_371_759_92, 1e-8);
    close(frequencies.iter().copied().fold(0.0, f64::max), 0.995_745_294_26, 1e-10);
}

// Outside: NIST SP 1065, p. 108, 1000 frequencies, overlapping Allan deviation at tau 1, 10 and 100; how: published text
#[test]
fn a_thousand_frequencies() {
    let clock = clock(cumulated(&thousand()), 1e12, 1e9);
    for (periods, expected) in [(1, 2.922_319e-1), (10, 9.159_953e-2), (100, 3.241_343e-2)] {
        close(allan(&clock, periods, 1e9).0, expected, 3e-7);
    }
}

// Outside: the same with their mean removed, maximum time interval error at tau 1, 10 and 100; how: package AllanTools 2024.6
#[test]
fn the_farthest_within_so_many_of_a_thousand() {
    let frequencies = thousand();
    let mean = summary::mean(&frequencies).expect("a thousand");
    let clock =
        clock(cumulated(&frequencies).iter().enumerate().map(|(at, phase)| phase - at as f64 * mean), 1e12, 1e9);
    for (periods, expected) in [(1, 0.505_970_831_4), (10, 2.698_815_096_5), (100, 6.750_908_589_8)] {
        let (found, off) = maximum(&clock, periods, 1e9).expect("so many windows");
        // Ours is meant for the line of least squares, and says how far that may make it differ.
        close(found, expected, 1e-8);
        assert!(off > 0.0 && off < 0.003 * periods as f64, "{off}");
    }
}

// Outside: the same against its line of least squares, maximum time interval error at tau 1, 10 and 100; how: package numpy 2.4.6
#[test]
fn the_farthest_of_a_thousand_from_the_best_fit() {
    let line = |at: usize| 0.492_534_944_2 * at as f64;
    let phase = cumulated(&thousand());
    let clock = clock(phase.iter().enumerate().map(|(at, phase)| phase - line(at)), 1e12, 1e9);
    for (periods, expected) in [(1, 0.503_210_35), (10, 2.671_210_282_8), (100, 6.532_830_562_1)] {
        let (found, off) = maximum(&clock, periods, 1e9).expect("so many windows");
        close(found, expected, 1e-8);
        assert!(off < 1e-7, "{off}");
    }
}

// Long windows are whole bands of the envelope: what they say holds the truth that every window has.
#[test]
fn the_farthest_within_long_windows() {
    let mean = summary::mean(&thousand()).expect("a thousand");
    let frequencies: Vec<f64> = (0..40).flat_map(|_| thousand()).map(|frequency| frequency - mean).collect();
    let clock = clock(cumulated(&frequencies), 1e12, 1e9);
    let fitted = (clock.strays().expect("many edges").period - 1e12) / 1e9;
    let phase: Vec<f64> =
        cumulated(&frequencies).iter().enumerate().map(|(at, phase)| phase - fitted * at as f64).collect();
    let long: Vec<_> = clock.maximum_errors().into_iter().filter(|point| point.0 > 100).collect();
    assert_eq!(long.iter().map(|point| point.0).collect::<Vec<_>>(), [4 * 256, 32 * 256]);
    for (periods, found, off) in long {
        let range = |window: &[f64]| {
            window.iter().fold(f64::MIN, |high, phase| high.max(*phase))
                - window.iter().fold(f64::MAX, |low, phase| low.min(*phase))
        };
        let truth = phase.windows(periods as usize + 1).map(range).fold(0.0, f64::max);
        assert!((found / 1e9 - truth).abs() <= off / 1e9 + 1e-6, "{periods}: {found} {off} {truth}");
        assert!(off < 0.2 * found, "{periods}: {found} {off}");
    }
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
