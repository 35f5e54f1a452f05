//! A session takes whatever comes, in pieces of any size, and never panics.

use crate::synthetic::{Trapezoid, World, exact, setup};
use proptest::prelude::*;
use railproof::capture::{
    Action, CaptureSink, Cue, Destination, Driven, EdgeChannel, Mark, MarkKind, OutputChannel, Part, Phase,
    SampleChannel, Side,
};
use railproof::measure::{CATALOGUE, CheckEvidence, Session};

fn everything(check: &CheckEvidence) -> Vec<String> {
    let setup = setup();
    CATALOGUE
        .iter()
        .flat_map(|measurand| {
            let readings = measurand.read(check, &setup);
            readings.into_iter().map(|reading| format!("{}: {reading:?}", measurand.name))
        })
        .collect()
}

fn travel() -> Phase {
    let action = Action::Travel { to: Destination::End(Side::Right), speed: 0.09, level: Some(6) };
    Phase { check: 0, ordinal: 0, label: "to the right end".into(), action }
}

fn mark(at: u64, kind: MarkKind) -> Mark {
    Mark { at, doubt: 20, kind }
}

/// The columns of a travel, and the tick at which it is over.
fn columns() -> (Part, u64) {
    let mut world = World::new(0.05);
    world.now = 0.2;
    world.trapezoid(true, Trapezoid { distance: 0.3, speed: 0.09, acceleration: 1.6 }, exact);
    let now = world.now;
    world.sample_pack(0.05, now, |_| 7.4, |_| 0.5);
    (world.part.clone(), world.tick(now + 0.1))
}

fn measured(parts: &[Part], end: u64) -> Vec<String> {
    let mut session = Session::new(setup());
    session.mark(&mark(1000, MarkKind::CheckBegins { check: 0 }));
    session.mark(&mark(2000, MarkKind::PhaseBegins(travel())));
    parts.iter().for_each(|part| session.part(part));
    session.mark(&mark(end, MarkKind::PhaseEnds));
    session.mark(&mark(end + 10, MarkKind::CheckEnds { check: 0 }));
    everything(&session.take_check().expect("a check has ended"))
}

#[test]
fn pieces_of_any_size_give_the_same_readings() {
    let (whole, end) = columns();
    let expected = measured(std::slice::from_ref(&whole), end);
    for count in [2_usize, 7, 100] {
        let mut pieces = vec![Part::default(); count];
        for (channel, edges) in whole.edges.iter().enumerate() {
            // Each channel is cut at its own places.
            for (index, edge) in edges.iter().enumerate() {
                pieces[(index * (count + channel) / edges.len().max(1)).min(count - 1)].edges[channel].push(*edge);
            }
        }
        for (channel, samples) in whole.samples.iter().enumerate() {
            for (index, sample) in samples.iter().enumerate() {
                pieces[index * count / samples.len()].samples[channel].push(*sample);
            }
        }
        assert_eq!(measured(&pieces, end), expected);
    }
}

#[test]
fn what_arrives_before_its_mark_waits_for_it() {
    let (whole, end) = columns();
    let expected = measured(std::slice::from_ref(&whole), end);
    let mut session = Session::new(setup());
    session.part(&whole);
    session.mark(&mark(1000, MarkKind::CheckBegins { check: 0 }));
    session.mark(&mark(2000, MarkKind::PhaseBegins(travel())));
    session.mark(&mark(end, MarkKind::PhaseEnds));
    session.mark(&mark(end + 10, MarkKind::CheckEnds { check: 0 }));
    assert_eq!(everything(&session.take_check().expect("a check has ended")), expected);
    assert!(session.take_check().is_none(), "handed out once");
}

fn any_action() -> impl Strategy<Value = Action> {
    prop_oneof![
        Just(Action::Home { side: Side::Left }),
        Just(Action::Travel { to: Destination::End(Side::Right), speed: 0.09, level: Some(9) }),
        Just(Action::Travel { to: Destination::By(-0.1), speed: 0.0, level: Some(0) }),
        Just(Action::Stop { towards: Side::Right, speed: 0.09, press: Some(1) }),
        Just(Action::Start { towards: Side::Left, speed: 0.09, level: 1, press: 0, stop_press: Some(0) }),
        Just(Action::Reverse { first: Side::Left, speed: 0.04 }),
        Just(Action::Crawl { towards: Side::Right }),
        Just(Action::Press { control: 0 }),
        Just(Action::Load { on: true }),
        Just(Action::Power { on: true }),
        Just(Action::Wait),
        Just(Action::Select { level: 7 }),
    ]
}

fn any_cue() -> impl Strategy<Value = Cue> {
    prop_oneof![
        Just(Cue::Done),
        Just(Cue::StopCommanded),
        Just(Cue::StartedUp),
        Just(Cue::GivenUp { why: "no answer".into() })
    ]
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(400))]

    #[test]
    fn nonsense_never_panics(
        edges in prop::collection::vec((0_usize..8, 0_u64..3000, any::<bool>()), 0..400),
        samples in prop::collection::vec((0_usize..SampleChannel::COUNT, 0_u64..3000, -40_000_i32..40_000), 0..200),
        driven in prop::collection::vec((0_u64..3_000_000, 0_usize..OutputChannel::COUNT, any::<bool>()), 0..6),
        phases in prop::collection::vec((any_action(), any_cue(), 0_u64..2_000_000), 0..5),
    ) {
        let mut part = Part::default();
        let mut ticks = [0_u64; 8];
        for (channel, later, level) in edges {
            ticks[channel] += later;
            part.push_edge(EdgeChannel::ALL[channel], ticks[channel], level);
        }
        let mut ticks = [0_u64; SampleChannel::COUNT];
        for (channel, later, code) in samples {
            ticks[channel] += later;
            part.push_sample(SampleChannel::at(channel).expect("a channel"), ticks[channel], code);
        }
        let mut driven = driven;
        driven.sort_unstable();
        for (at, output, on) in driven {
            part.driven.push(Driven { at, output: OutputChannel::at(output).expect("an output"), on });
        }
        let mut session = Session::new(setup());
        session.mark(&mark(0, MarkKind::CheckBegins { check: 0 }));
        session.part(&part);
        let mut now = 0;
        for (action, cue, lasts) in phases {
            session.mark(&mark(now, MarkKind::PhaseBegins(Phase { check: 0, ordinal: 0, label: "move".into(), action })));
            session.mark(&mark(now + lasts / 2, MarkKind::Cue(cue)));
            now += lasts;
            session.mark(&mark(now, MarkKind::PhaseEnds));
        }
        session.mark(&mark(now, MarkKind::CheckEnds { check: 0 }));
        everything(&session.take_check().expect("a check has ended"));
    }
}
