//! Captures of a few steps whose motions are known.

use super::bounds::{HELD_MAX, MOTIONS_MAX};
use super::*;

const RULES: Rules = Rules { rest: 1000, crawl_interval: 20_000, crawl_steps: 16, has_direction: true };

/// Phases with their begin and end, cues, checks and losses, in order.
#[derive(Default)]
struct Told {
    phases: Vec<(String, Tick, Tick)>,
    checks: Vec<(usize, Tick, Tick)>,
    losses: Vec<String>,
    directions: Vec<(Tick, bool)>,
    last: Tick,
}

impl CaptureSink for Told {
    fn part(&mut self, part: &Part) {
        self.losses.extend(part.losses.iter().map(|loss| loss.what.clone()));
        self.directions.extend(part.edges(EdgeChannel::Direction).iter().map(|edge| (edge.tick(), edge.level())));
    }

    fn mark(&mut self, mark: &Mark) {
        assert!(mark.at >= self.last, "marks are in order");
        self.last = mark.at;
        match &mark.kind {
            MarkKind::CheckBegins { check } => self.checks.push((*check, mark.at, 0)),
            MarkKind::CheckEnds { .. } => self.checks.last_mut().expect("begun").2 = mark.at,
            MarkKind::PhaseBegins(phase) => self.phases.push((phase.label.clone(), mark.at, 0)),
            MarkKind::PhaseEnds => self.phases.last_mut().expect("begun").2 = mark.at,
            MarkKind::Cue(_) | MarkKind::RoundEnds { .. } => {}
        }
    }
}

fn found(rules: Rules, parts: &[Part]) -> Told {
    let mut told = Told::default();
    let mut namer = AsFound::new(80_000.0);
    let mut finder = PhaseFinder::new(rules, &mut namer, &mut told);
    parts.iter().for_each(|part| finder.part(part));
    finder.finish(0);
    told
}

fn steps(part: &mut Part, ticks: impl Iterator<Item = Tick>) {
    ticks.for_each(|tick| part.push_edge(EdgeChannel::Step, tick, true));
}

fn labels(told: &Told) -> Vec<&str> {
    told.phases.iter().map(|phase| phase.0.as_str()).collect()
}

#[test]
fn rests_and_turns_part_motions() {
    let mut part = Part::default();
    part.push_edge(EdgeChannel::Direction, 0, true);
    part.push_edge(EdgeChannel::LeftEndStop, 0, false);
    steps(&mut part, (10_000..20_000).step_by(100));
    // A rest shorter than two of those that count is no wait.
    steps(&mut part, (21_500..25_000).step_by(100));
    part.push_edge(EdgeChannel::Direction, 25_000, false);
    steps(&mut part, (25_050..30_000).step_by(100));
    part.push_edge(EdgeChannel::LeftEndStop, 29_000, true);
    part.push_edge(EdgeChannel::Guard, 90_000, true);
    let told = found(RULES, &[part]);
    let expected = [
        "motion 1, to the right",
        "motion 2, to the right",
        "motion 3, to the left end",
        "rest after motion 3, to the left end",
    ];
    assert_eq!(labels(&told), expected);
    assert_eq!((told.phases[0].1, told.phases[0].2), (9875, 20_650));
    assert_eq!(told.phases[1].1, 21_375);
    // The turn is parted between its two steps.
    assert_eq!((told.phases[1].2, told.phases[2].1), (24_975, 24_975));
    assert_eq!((told.phases[2].2, told.phases[3].2), (30_700, 90_000));
    assert_eq!(told.checks, [(0, 0, 90_000)]);
}

#[test]
fn short_bursts_at_the_interval_are_a_crawl() {
    let mut part = Part::default();
    part.push_edge(EdgeChannel::Direction, 0, false);
    for burst in 0..50 {
        steps(&mut part, (10_000 + burst * 20_000..).step_by(10).take(16));
    }
    steps(&mut part, (1_100_000..1_120_000).step_by(50));
    // Three short motions at some other pace are motions of their own.
    for burst in 0..3 {
        steps(&mut part, (1_200_000 + burst * 5000..).step_by(10).take(16));
    }
    let told = found(RULES, &[part]);
    let motions: Vec<&str> = labels(&told).into_iter().filter(|label| !label.starts_with("rest")).collect();
    assert_eq!(
        motions,
        [
            "crawl 1, to the left",
            "motion 51, to the left",
            "motion 52, to the left",
            "motion 53, to the left",
            "motion 54, to the left"
        ]
    );
    assert!(told.phases[0].1 < 10_000 && told.phases[0].2 > 10_000 + 49 * 20_000);
}

#[test]
fn the_encoder_tells_where_there_is_no_direction_line() {
    let rules = Rules { has_direction: false, ..RULES };
    let carriage = |part: &mut Part, begin: Tick, right: bool| {
        for quarter in 0..100u64 {
            let (track, other) = if right {
                (EdgeChannel::EncoderA, EdgeChannel::EncoderB)
            } else {
                (EdgeChannel::EncoderB, EdgeChannel::EncoderA)
            };
            let channel = if quarter % 2 == 0 { track } else { other };
            part.push_edge(channel, begin + quarter * 100 + 50, quarter % 4 < 2);
        }
    };
    let mut part = Part::default();
    part.push_edge(EdgeChannel::EncoderA, 0, false);
    part.push_edge(EdgeChannel::EncoderB, 0, false);
    steps(&mut part, (10_000..20_000).step_by(50));
    carriage(&mut part, 10_000, true);
    steps(&mut part, (30_000..40_000).step_by(50));
    carriage(&mut part, 30_000, false);
    let told = found(rules, std::slice::from_ref(&part));
    assert_eq!(labels(&told)[..1], ["motion 1, to the right"]);
    assert_eq!(labels(&told).last(), Some(&"motion 2, to the left"));
    assert_eq!((told.directions, told.losses), (vec![(10_000, true), (30_000, false)], vec![]));
    // One motion there and back: nobody can tell where the steps turned.
    let mut turning = Part::default();
    turning.push_edge(EdgeChannel::EncoderA, 0, false);
    turning.push_edge(EdgeChannel::EncoderB, 0, false);
    steps(&mut turning, (10_000..35_000).step_by(50));
    carriage(&mut turning, 10_000, true);
    carriage(&mut turning, 22_000, false);
    assert!(found(rules, &[turning]).losses[0].contains("add --channel direction=NAME"));
}

/// However a capture is cut into parts, the marks are the same.
#[test]
fn parts_of_any_length_give_the_same() {
    let edges: Vec<Tick> = (10_000..20_000).step_by(100).chain((40_000..50_000).step_by(70)).collect();
    let whole = {
        let mut part = Part::default();
        steps(&mut part, edges.iter().copied());
        found(RULES, &[part])
    };
    for length in [1, 2, 7, 100] {
        let parts: Vec<Part> = edges
            .chunks(length)
            .map(|chunk| {
                let mut part = Part::default();
                steps(&mut part, chunk.iter().copied());
                part
            })
            .collect();
        assert_eq!(found(RULES, &parts).phases, whole.phases, "{length}");
    }
}

/// A motion without end comes in pieces that are named; a long capture is ended in a rest.
#[test]
fn what_a_sink_has_to_keep_is_bounded() {
    let part = |from: Tick, count: u64| {
        let mut part = Part::default();
        steps(&mut part, (0..count).map(|step| from + step * 10));
        part
    };
    let length = HELD_MAX as u64 / 4 + 1;
    let endless: Vec<Part> = (0..18).map(|number| part(number * length * 10, length)).collect();
    let told = found(RULES, &endless);
    assert_eq!((told.checks.len(), told.losses.len()), (3, 0), "{:?}", told.losses);
    assert_eq!(labels(&told)[..3], ["motion 1, piece 1", "motion 1, piece 2", "motion 1, piece 3"]);
    let (first, second) = (&told.phases[0], &told.phases[1]);
    assert_eq!((first.2, second.1), ((8 * length - 1) * 10, (8 * length - 1) * 10), "one begins where the other ends");
    let resting: Vec<Part> = (0..9).map(|number| part(number * (length * 10 + 5000), length)).collect();
    let told = found(RULES, &resting);
    assert_eq!((told.checks.len(), told.losses.len()), (3, 0), "{:?}", told.checks);
    assert_eq!(told.checks[0].2, told.checks[1].1);
}

/// A capture of which no end of the motions can be seen is left after many of them.
#[test]
fn more_motions_than_anybody_reads_are_lost() {
    let mut part = Part::default();
    for motion in 0..MOTIONS_MAX as u64 + 10 {
        steps(&mut part, (0..40).map(|step| motion * 5000 + step * 10));
    }
    let told = found(RULES, &[part.clone(), part]);
    assert!(told.losses.len() == 1 && told.losses[0].contains("longer --rest"), "{:?}", told.losses);
    assert_eq!(told.phases.iter().filter(|phase| !phase.0.starts_with("rest")).count(), MOTIONS_MAX + 10);
}
