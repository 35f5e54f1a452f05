//! The division into phases, and rough captures.

use super::divide::{Motion, StepClock};
use super::report::PhaseKind;
use super::{Rules, Steadied, SteadyClock};
use crate::capture::{Edge, Tick};
use crate::measure::{JigFacts, PackFacts, Setup, UnitFacts};

/// A jig of 2 million ticks a second; a crawl of 16 steps every 2 s.
const RULES: Rules = Rules { pause: 1_000_000, burst_steps: 32, ns_per_tick: 500.0 };

fn setup() -> Setup {
    Setup {
        unit: UnitFacts {
            steps_per_metre: 80_000.0,
            acceleration: 1.6,
            microsteps: 16,
            step_timer: None,
            belt_pitch: 2e-3,
            pulley_turn: 40e-3,
            refresh: None,
            travel: 0.56,
            levels: vec![0.09],
            segments: 0,
            crawl_increment: 0.2e-3,
            crawl_interval: 2.0,
            pack: PackFacts::default(),
            housing_limit: None,
        },
        jig: JigFacts {
            ticks_per_second: 2_000_000,
            clock_error: 0.0,
            clock_uncertainty: 0.0,
            stamp_uncertainty: 0.0,
            encoder_edges_per_metre: 40_000.0,
            encoder_uncertainty: 0.0,
            edges: vec![crate::capture::EdgeChannel::Step],
            calibrations: Default::default(),
            lit_above: 0.5,
        },
    }
}

/// Ticks of a motion: constant acceleration (steps/s²) up to a rate (steps/s), so many steps there, and down again.
fn trapezoid(acceleration: f64, rate: f64, steady: usize) -> Vec<Tick> {
    let ramp = (rate * rate / (2.0 * acceleration)) as usize;
    let up: Vec<f64> = (0..=ramp).map(|step| (2.0 * step as f64 / acceleration).sqrt()).collect();
    let top = up[ramp];
    let end = top + steady as f64 / rate;
    let flat = (1..=steady).map(|step| top + step as f64 / rate);
    let down = up.iter().rev().skip(1).map(|time| end + top - time);
    up.iter().copied().chain(flat).chain(down).map(|time| (2e6 * (time + 0.5)).round() as Tick).collect()
}

fn even(count: u64, interval: Tick) -> Vec<Tick> {
    (0..count).map(|step| 1000 + step * interval).collect()
}

fn motion_in(ticks: &[Tick], slice: usize) -> Motion {
    let pulses: Vec<Edge> = ticks.iter().map(|tick| Edge::new(*tick, true)).collect();
    let mut clock = StepClock::new(RULES);
    pulses.chunks(slice).for_each(|slice| clock.take(slice));
    clock.finish()
}

fn motion(ticks: &[Tick]) -> Motion {
    motion_in(ticks, usize::MAX)
}

fn kinds(motion: &Motion) -> Vec<PhaseKind> {
    motion.told(None, &setup()).phases.iter().map(|phase| phase.kind).collect()
}

fn cruise(motion: &Motion) -> &Steadied {
    &motion.cruise.as_ref().expect("a cruise").clock
}

#[test]
fn a_trapezoid_has_three_phases_with_its_ramps_shape() {
    let motion = motion(&trapezoid(128_000.0, 7200.0, 20_000));
    assert_eq!(kinds(&motion), [PhaseKind::RampUp, PhaseKind::Cruise, PhaseKind::RampDown]);
    let found = motion.cruise.as_ref().expect("a cruise");
    assert!(found.from >= 202 && found.from < 330, "{}", found.from);
    assert!(found.to <= 20_202 && found.to > 20_050, "{}", found.to);
    assert!((cruise(&motion).mean_period().expect("intervals") - 2e6 / 7200.0).abs() < 1e-3);
    for ramp in [motion.ramp_up(), motion.ramp_down()] {
        let acceleration = ramp.expect("a ramp").acceleration.0 * 4e12;
        assert!((acceleration / 128_000.0 - 1.0).abs() < 5e-3, "{acceleration}");
    }
    let told = motion.told(Some(7200.0), &setup());
    assert_eq!(told.phases.iter().map(|phase| phase.steps).sum::<u64>(), told.steps);
}

#[test]
fn slices_of_any_size_tell_the_same() {
    let mut ticks = trapezoid(128_000.0, 7200.0, 12_000);
    ticks.iter_mut().skip(5000).for_each(|tick| *tick += 900);
    let whole = motion(&ticks).told(Some(7200.0), &setup());
    for slice in [1, 7, 256, 4097] {
        let mut told = motion_in(&ticks, slice).told(Some(7200.0), &setup());
        // How the cruise is cut into chunks may differ with the slices; the steps that belong to it may not.
        for (phase, other) in told.phases.iter_mut().zip(&whole.phases) {
            assert_eq!(
                (phase.kind, phase.began_s, phase.ended_s),
                (other.kind, other.began_s, other.ended_s),
                "{slice}"
            );
            assert_eq!(phase.intervals, other.intervals, "{slice}");
            assert_eq!(phase.longest, other.longest, "{slice}");
        }
    }
}

#[test]
fn a_gap_belongs_to_the_cruise_and_is_found() {
    let mut ticks = trapezoid(128_000.0, 7200.0, 20_000);
    let began = ticks[9000];
    ticks.iter_mut().skip(9001).for_each(|tick| *tick += 3_000_000);
    let motion = motion(&ticks);
    let clock = cruise(&motion);
    assert!(clock.intervals() > 19_000, "{}", clock.intervals());
    assert_eq!(clock.longest().1, began);
    assert!((3_000_277..=3_000_279).contains(&clock.longest().0));
    let told = motion.told(None, &setup());
    let gap = told.phases[1].longest.as_ref().expect("a gap");
    assert!((gap.length.value - 1.5 - 139e-6).abs() < 1e-6 && gap.into_phase_s > 1.0, "{gap:?}");
}

#[test]
fn a_soft_ramp_is_no_cruise() {
    // 20 mm/s²: 2.5 s of ramp for 50 mm/s.
    let motion = motion(&trapezoid(1600.0, 4000.0, 20_000));
    let found = motion.cruise.as_ref().expect("a cruise");
    assert!(found.from >= 4800 && found.from < 6200, "{}", found.from);
    assert!((cruise(&motion).mean_period().expect("intervals") / 500.0 - 1.0).abs() < 1e-3);
    let acceleration = motion.ramp_up().expect("a ramp").acceleration.0 * 4e12;
    assert!((acceleration / 1600.0 - 1.0).abs() < 0.01, "{acceleration}");
}

#[test]
fn the_longest_of_several_rates_is_the_cruise() {
    let mut ticks = even(2000, 400);
    let last = ticks[1999];
    ticks.extend((1..=6000).map(|step| last + 250 * step));
    let last = ticks[7999];
    ticks.extend((1..=1000).map(|step| last + 300 * step));
    let motion = motion(&ticks);
    assert_eq!(cruise(&motion).mean_period(), Some(250.0));
    assert!(cruise(&motion).intervals() > 5000);
}

#[test]
fn a_crawl_is_never_a_cruise() {
    for (steps, interval) in [(16, 1000), (1, 1000), (32, 250), (3, 5000)] {
        let mut ticks = Vec::new();
        for burst in 0..40_u64 {
            ticks.extend((0..steps).map(|step| 1_000_000 + burst * 4_000_000 + step * interval));
        }
        let motion = motion(&ticks);
        assert_eq!(kinds(&motion), [PhaseKind::Crawl], "{steps}");
        let increments = motion.increments.expect("a crawl");
        assert_eq!((increments.bursts, increments.steps), (40, (steps, steps)));
        assert_eq!(increments.interval(), Some((4_000_000.0, 0.0, 38.0)));
    }
}

#[test]
fn a_triangle_has_ramps_and_no_cruise() {
    let motion = motion(&trapezoid(128_000.0, 7200.0, 2));
    assert_eq!(kinds(&motion), [PhaseKind::Unsteady]);
    let told = motion.told(None, &setup());
    let names: Vec<_> = told.phases[0].values.iter().map(|value| value.name).collect();
    assert_eq!(names, ["acceleration", "deceleration"]);
    assert!((told.phases[0].values[0].estimate.value / 1.6 - 1.0).abs() < 0.02, "{:?}", told.phases[0].values);
}

#[test]
fn rough_captures_have_no_clock_and_no_panic() {
    let withheld = |ticks: &[Tick]| motion(ticks).told(Some(7200.0), &setup()).withheld;
    for few in [&[][..], &[5], &[5, 9]] {
        assert_eq!(withheld(few).as_deref(), Some("fewer than three steps make no clock"));
    }
    let mut back = even(500, 278);
    back[300] -= 5000;
    assert_eq!(withheld(&back).as_deref(), Some("a step at 0.039700 s is stamped earlier than the one before it"));
    assert_eq!(motion(&back).steps, 500);
    // All at one tick, at the very end of time, or ever farther apart: something is said, nothing overflows.
    let same = motion(&[77; 5000]);
    assert_eq!((same.doubled, same.cruise.is_none()), (4999, true));
    let late = (0..3000).map(|step| (1 << 62) + 278 * step).collect::<Vec<Tick>>();
    assert_eq!(cruise(&motion(&late)).mean_period(), Some(278.0));
    for ticks in [vec![0, 1, (1 << 62) + 5], (0..62).map(|power| 1 << power).collect()] {
        let told = motion(&ticks).told(Some(7200.0), &setup());
        assert!(told.withheld.is_none() && told.phases.len() == 1, "{told:?}");
    }
    let mut gaping = even(2000, 278);
    gaping.iter_mut().skip(1000).for_each(|tick| *tick += 1 << 61);
    assert!(motion(&gaping).told(None, &setup()).withheld.is_none());
}

#[test]
fn doubled_steps_are_counted() {
    let mut ticks = even(1000, 278);
    ticks[500] = ticks[499];
    assert_eq!(motion(&ticks).doubled, 1);
}

#[test]
fn a_clock_of_few_edges_says_what_it_can() {
    let clock = |ticks: &[Tick]| {
        let mut clock = SteadyClock::new(1000, 100.0, 1.0);
        clock.take(ticks);
        clock.finish()
    };
    let none = clock(&[]);
    assert_eq!((none.mean_period(), none.strays(), none.allan_deviations().len()), (None, None, 0));
    let two = clock(&[1100, 1202]);
    assert_eq!(two.mean_period(), Some(101.0));
    assert_eq!(two.allan_deviations().len(), 1);
    assert!(two.strays().is_some());
}
