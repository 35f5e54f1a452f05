//! Spectra against another implementation's figures and against closed forms.

use railproof::stats::spectrum::{Detrend, Lines, Search, Welch, Window, goertzel_power};
use std::f64::consts::{FRAC_PI_2, TAU};

fn close(found: f64, expected: f64, relative: f64) -> bool {
    (found - expected).abs() <= relative * expected.abs()
}

/// 1.5 sin(2π·50 t) + 0.4 cos(2π·120 t + 0.3) + 0.1, a second of it at 1000 readings a second.
fn two_tones() -> Vec<f64> {
    let at = |index: i32| {
        let time = f64::from(index) / 1000.0;
        1.5 * (TAU * 50.0 * time).sin() + 0.4 * (TAU * 120.0 * time + 0.3).cos() + 0.1
    };
    (0..1000).map(at).collect()
}

/// 0.3 sin(2π·87 m/1000) in the noise of NIST SP 1065's generator, section 12.4: n ← 16807 n mod (2³¹ − 1).
fn tone_in_noise() -> Vec<f64> {
    let mut state = 1_234_567_890_u64;
    (0..4096)
        .map(|index| {
            let noise = state as f64 / 2_147_483_647.0 - 0.5;
            state = 16_807 * state % 2_147_483_647;
            0.3 * (TAU * 87.0 * f64::from(index) / 1000.0).sin() + 0.2 * noise
        })
        .collect()
}

// Outside: amplitudes and phases of two tones with a mean (check F1), numpy.fft.rfft; how: package numpy 2.4.6
#[test]
fn amplitudes_and_phases_of_two_tones() {
    let lines = Lines::of(&two_tones(), 1000.0, Window::Rectangular, Detrend::Nothing).expect("a spectrum");
    assert_eq!((lines.width, lines.values.len()), (1.0, 501));
    assert!((lines.values[0].re - 0.1).abs() < 1e-13);
    assert!(close(lines.values[50].norm(), 1.5, 1e-13) && close(lines.values[50].arg(), -FRAC_PI_2, 1e-12));
    assert!(close(lines.values[120].norm(), 0.4, 1e-12) && close(lines.values[120].arg(), 0.3, 1e-12));
    let squares: f64 = lines.values[1..].iter().map(|value| 0.5 * value.norm_sqr()).sum();
    let rms = (squares + lines.values[0].norm_sqr()).sqrt();
    assert!(close(rms, 1.102_270_384_252_430_2, 1e-13), "{rms}");
}

// Outside: power of single frequencies of the same series (check F2): Goertzel's recursion; how: closed form
#[test]
fn single_frequencies_by_goertzel() {
    let series = two_tones();
    assert!(close(goertzel_power(&series, 0.050), 562_500.0, 1e-11));
    assert!(close(goertzel_power(&series, 0.120), 40_000.0, 1e-11));
    for silent in [0.060, 0.121] {
        assert!(goertzel_power(&series, silent) < 1e-14 * 562_500.0);
    }
}

// Outside: mean, variance and first values of the test series (check F3), numpy; how: package numpy 2.4.6
#[test]
fn the_series_of_the_density_checks_is_theirs() {
    let series = tone_in_noise();
    for (found, expected) in
        series.iter().zip([0.014_978_094_638_780_727, 0.092_781_796_774_022_58, 0.279_076_087_762_880_07])
    {
        assert!(close(*found, expected, 1e-13));
    }
    let mean = series.iter().sum::<f64>() / 4096.0;
    let variance = series.iter().map(|value| (value - mean).powi(2)).sum::<f64>() / 4096.0;
    assert!(close(mean, -0.000_431_874_875_594_354_3, 1e-10) && close(variance, 0.048_148_439_289_069_256, 1e-12));
}

/// What a density has to be: segment, overlap, window, line of the peak, density there, sum times width, first values.
type Expected = (usize, usize, Window, usize, f64, f64, [f64; 3]);

// Outside: Welch's density of a tone in noise (checks F4, F5, F6), scipy.signal.welch; how: package scipy 1.17.1
#[test]
fn densities_by_welchs_method() {
    let series = tone_in_noise();
    let expected: [Expected; 3] = [
        (
            256,
            128,
            Window::Hann,
            22,
            0.006_950_506_907_936_6,
            0.048_150_588_873_910_265,
            [1.719_952_227_083_713_6e-6, 7.566_779_035_961_196e-6, 7.606_601_772_468_456e-6],
        ),
        (
            512,
            256,
            Window::Hann,
            45,
            0.011_636_724_188_518_976,
            0.048_106_226_869_039_89,
            [1.874_635_739_726e-6, 5.293_864_003_091e-6, 7.188_742_889_203_272e-6],
        ),
        (
            256,
            0,
            Window::Rectangular,
            22,
            0.008_924_618_328_410_634,
            0.048_138_058_196_479_05,
            [0.0, 1.055_816_941_211_793_2e-5, 9.557_034_508_535_532e-6],
        ),
    ];
    for (segment, overlap, window, peak, at_peak, total, first) in expected {
        let welch = Welch { segment, overlap, window, detrend: Detrend::Constant };
        let density = welch.density(&series, 1000.0).expect("a density");
        assert_eq!((density.values.len(), density.width), (segment / 2 + 1, 1000.0 / segment as f64));
        let largest = density.values.iter().enumerate().max_by(|one, other| one.1.total_cmp(other.1));
        assert_eq!(largest.map(|entry| entry.0), Some(peak));
        assert!(close(density.values[peak], at_peak, 1e-11), "{}", density.values[peak]);
        assert!(close(density.total(), total, 1e-11), "{}", density.total());
        // The sum of a generator's values leaves a mean of rounding alone in the first line of equal weights.
        let agrees = |found: &f64, expected: &f64| (found - expected).abs() <= 1e-6 * expected.abs() + 1e-18;
        assert!(density.values.iter().zip(&first).all(|(found, expected)| agrees(found, expected)), "{segment}");
    }
}

// Outside: peak of the spectrum-scaled estimate of check F4, scipy.signal.welch; how: package scipy 1.17.1
#[test]
fn a_density_times_the_windows_noise_bandwidth_is_a_power() {
    let welch = Welch { segment: 256, overlap: 128, window: Window::Hann, detrend: Detrend::Constant };
    let density = welch.density(&tone_in_noise(), 1000.0).expect("a density");
    let power = density.values[22] * Window::Hann.noise_bandwidth() * density.width;
    assert!(close(power, 0.040_725_626_413_691_034, 1e-11), "{power}");
}

// Outside: noise bandwidth 1.5 lines and coherent gain 0.5 of Hann's window (check F7; Harris 1978, table 1); how: closed form
#[test]
fn hanns_window_passes_noise_of_one_and_a_half_lines() {
    let weights = Window::Hann.weights(600);
    let (sum, squares) = (weights.iter().sum::<f64>(), weights.iter().map(|weight| weight * weight).sum::<f64>());
    assert!(close(sum / 600.0, 0.5, 1e-12));
    assert!(close(600.0 * squares / (sum * sum), Window::Hann.noise_bandwidth(), 1e-12));
}

// Outside: tone of 87 Hz and amplitude 0.3 in uniform noise of standard deviation 0.2/√12 (series of F3); how: closed form
#[test]
fn a_tone_in_noise_is_found_between_two_lines() {
    let lines = Lines::of(&tone_in_noise(), 1000.0, Window::Hann, Detrend::Linear).expect("a spectrum");
    let tones = lines.tones(&Search { first_line: 3, highest: 500.0, most: 10 });
    assert_eq!(tones.found.len(), 1, "{:?}", tones.found);
    let tone = tones.found[0];
    assert!((tone.frequency - 87.0).abs() < 2.0 * tone.frequency_uncertainty && tone.frequency_uncertainty < 0.003);
    assert!((tone.amplitude - 0.3).abs() < 2.0 * tone.amplitude_uncertainty);
    // The variance of an amplitude in white noise is 2σ²·1.5/N.
    let expected = (2.0 * 1.5 / 4096.0 * 0.04 / 12.0_f64).sqrt();
    assert!(close(tone.amplitude_uncertainty, expected, 0.25), "{tone:?} {expected}");
}

// Outside: response of a system of 42 Hz, damping 0.05 (check F8): peak at f√(1−2ζ²) of 1/(2ζ√(1−ζ²)); how: closed form
#[test]
fn a_ring_down_peaks_where_its_system_does() {
    let (natural, damping, rate) = (TAU * 42.0, 0.05_f64, 20_000.0);
    let damped = natural * (1.0 - damping * damping).sqrt();
    let rings = |index: i32| {
        let time = f64::from(index) / rate;
        (-damping * natural * time).exp() * (damped * time).sin() * natural * natural / damped / rate
    };
    let series: Vec<f64> = (0..40_000).map(rings).collect();
    let gain = |frequency: f64| goertzel_power(&series, frequency / rate).sqrt();
    let (mut low, mut high) = (38.0, 46.0);
    for _ in 0..60 {
        let (one, other) = (low + (high - low) / 3.0, high - (high - low) / 3.0);
        *(if gain(one) < gain(other) { &mut low } else { &mut high }) =
            if gain(one) < gain(other) { one } else { other };
    }
    let peak = 0.5 * (low + high);
    assert!(close(peak, 41.894_868_420_846, 2e-5), "{peak}");
    assert!(close(gain(peak), 10.012_523_486_435_176, 1e-3), "{}", gain(peak));
}
