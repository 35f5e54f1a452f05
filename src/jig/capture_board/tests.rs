//! The jig with its thread, against a board of a few lines over ports in memory. (The simulated board, which shares no
//! code with this one, is met in `tests/`.)

use std::thread::JoinHandle;

use super::frame::{Frame, Splitter};
use super::*;
use crate::port::{MemoryPort, memory_pair};

/// What the board of a test says about itself, and when it goes wrong.
#[derive(Clone, Copy)]
struct Manners {
    version: u8,
    answers_heartbeats_below: u16,
    leaves_at_settle: bool,
}

const GOOD: Manners = Manners { version: 1, answers_heartbeats_below: u16::MAX, leaves_at_settle: false };

/// Serves until the other end is gone, and hands back the types of all messages that it got.
fn board(mut port: MemoryPort, clock: ComputerClock, manners: Manners) -> JoinHandle<Vec<u8>> {
    std::thread::spawn(move || {
        let mut got = Vec::new();
        let (mut sequence, mut tick) = (0, 0_u32);
        let mut splitter = Splitter::default();
        let mut bytes = Vec::new();
        while port.receive(&mut bytes, clock.now().after(Duration::from_secs(20))).is_ok_and(|count| count > 0) {
            let mut frames = Vec::new();
            splitter.take(&bytes, |frame| frames.push(frame.expect("memory does no damage")));
            bytes.clear();
            for frame in frames {
                got.push(frame.kind);
                tick += 100;
                let ticks = tick.to_le_bytes();
                let mut answer = |kind: u8, payload: &[u8]| {
                    let mut out = Vec::new();
                    Frame { kind, sequence, payload: payload.to_vec() }.write(&mut out);
                    sequence = sequence.wrapping_add(1);
                    let _ = port.send(&out, clock.now().after(Duration::from_secs(20)));
                };
                match frame.kind {
                    0x01 => {
                        let facts = [manners.version, 0, 0x80, 0x84, 0x1E, 0, 0xE8, 3, 0, 0, 0xFF, 0x01, 0, 1, 0, 0, 0];
                        answer(0x81, &[&facts[..], b"test board"].concat());
                    }
                    0x02 => answer(0x82, &[&ticks[..], &[0]].concat()),
                    0x03 => answer(0x85, &[&frame.payload[..], &ticks].concat()),
                    0x04 if u16::from_le_bytes([frame.payload[0], frame.payload[1]])
                        < manners.answers_heartbeats_below =>
                    {
                        tick = (clock.now().as_nanos() / 500) as u32;
                        answer(0x86, &[&frame.payload[..], &tick.to_le_bytes(), &[0, 0]].concat());
                    }
                    0x05 if manners.leaves_at_settle => return got,
                    0x05 => {
                        answer(0x83, &[&ticks[..], &[0x01]].concat());
                        answer(0x87, &[&frame.payload[..], &ticks].concat());
                    }
                    0x06 => answer(0x87, &[&frame.payload[..], &ticks].concat()),
                    _ => (),
                }
            }
        }
        got
    })
}

fn expected() -> Expected<'static> {
    Expected {
        ticks_per_second: 2_000_000,
        edges: &[EdgeChannel::Step, EdgeChannel::Guard],
        samples: &[SampleChannel::PackVoltage],
        outputs: &[OutputChannel::UnitSupply],
    }
}

fn meet(manners: Manners, expected: &Expected<'_>) -> (Result<CaptureBoard, JigError>, JoinHandle<Vec<u8>>) {
    let clock = ComputerClock::new();
    let (here, there) = memory_pair(&clock);
    let served = board(there, clock.clone(), manners);
    (CaptureBoard::open(Box::new(here), clock, expected), served)
}

#[test]
fn a_board_is_greeted_driven_settled_and_left_safe() {
    let (opened, served) = meet(GOOD, &expected());
    let mut jig = opened.expect("a good board");
    assert_eq!(jig.identity().describes, "test board");
    assert!(!jig.identity().simulated);
    let on = jig.drive(OutputChannel::UnitSupply, true).expect("it has one");
    let mut part = Part::default();
    let settled = jig.settle(&mut part).expect("answers");
    assert!(settled >= on);
    assert_eq!(part.driven.iter().map(|driven| (driven.at, driven.on)).collect::<Vec<_>>(), [(on, true)]);
    assert_eq!(part.edges(EdgeChannel::Step).len(), 2, "the level at the start, and one edge");
    assert_eq!(part.losses, []);
    let (_, doubt) = jig.tick_at(jig.clock().now());
    assert!(doubt < 2_000_000, "related to within a second: {doubt}");
    jig.make_safe().expect("answers");
    drop(jig);
    let got = served.join().expect("served");
    assert_eq!((got[0], got[1], got.last()), (0x01, 0x02, Some(&0x06)), "hello first, safe last");
}

#[test]
fn an_output_that_is_not_there_is_refused() {
    let (opened, _served) = meet(GOOD, &expected());
    let refused = opened.expect("a good board").drive(OutputChannel::Press(0), true);
    assert_eq!(refused, Err(JigError::NoChannel { channel: "press 1".to_owned() }));
}

#[test]
fn a_board_that_does_not_fit_is_refused() {
    let refused = |manners, expected: &Expected<'_>| meet(manners, expected).0.err().expect("does not fit").to_string();
    expect_test::expect!["the capture board speaks version 9 of its protocol, this program version 1; bring the board's firmware and railproof to the same version"]
        .assert_eq(&refused(Manners { version: 9, ..GOOD }, &expected()));
    expect_test::expect!["the jig has no channel `light 1`; add it to the jig file or choose another jig"]
        .assert_eq(&refused(GOOD, &Expected { samples: &[SampleChannel::Light(0)], ..expected() }));
    expect_test::expect!["the capture board's clock has 2000000 ticks a second, the jig file says 1000000; correct the jig file, or connect the board that it describes"]
        .assert_eq(&refused(GOOD, &Expected { ticks_per_second: 1_000_000, ..expected() }));
}

#[test]
fn a_board_that_is_gone_fails_every_call() {
    let (opened, _served) = meet(Manners { leaves_at_settle: true, ..GOOD }, &expected());
    let mut jig = opened.expect("a good board so far");
    let gone = Err(JigError::Port(crate::port::PortError::Unplugged { port: "memory".to_owned() }));
    assert_eq!(jig.settle(&mut Part::default()), gone);
    assert_eq!(jig.collect(&mut Part::default()), gone.clone().map(drop));
    assert_eq!(jig.drive(OutputChannel::UnitSupply, true), gone);
    assert_eq!(jig.make_safe(), gone.map(drop));
}

#[test]
fn a_board_that_stops_answering_heartbeats_is_silent() {
    let (opened, _served) = meet(Manners { answers_heartbeats_below: 8, ..GOOD }, &expected());
    let mut jig = opened.expect("a good board so far");
    let mut part = Part::default();
    let failure = loop {
        match jig.collect(&mut part) {
            Ok(()) => jig.clock().sleep_until(jig.clock().now().after(Duration::from_millis(20))),
            Err(failure) => break failure,
        }
    };
    assert_eq!(failure, JigError::Silent { waited_ms: 2000 });
}

#[test]
fn nobody_on_the_port_is_silence() {
    let clock = ComputerClock::new();
    let (here, _there) = memory_pair(&clock);
    let opened = CaptureBoard::open(Box::new(here), clock, &expected());
    assert_eq!(opened.err(), Some(JigError::Silent { waited_ms: 4000 }));
}
