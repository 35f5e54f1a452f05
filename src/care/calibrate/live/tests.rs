//! A bench that says what it is told to, as the parts of a script.

use super::*;
use crate::capture::{Loss, OutputChannel};
use crate::care::calibrate::tests_support::clock;
use crate::clock::WallTime;
use crate::jig::JigIdentity;
use std::cell::Cell;
use std::collections::VecDeque;
use std::rc::Rc;

/// Time that passes when somebody waits for a byte, which never comes.
#[derive(Clone, Default)]
struct Time(Rc<Cell<u64>>);

impl Clock for Time {
    fn now(&self) -> HostTime {
        HostTime::from_nanos(self.0.get())
    }

    fn wall(&self) -> WallTime {
        WallTime::UNIX_EPOCH
    }
}

impl Port for Time {
    fn send(&mut self, _: &[u8], _: HostTime) -> Result<(), PortError> {
        panic!("nothing is said to the unit");
    }

    fn receive(&mut self, _: &mut Vec<u8>, deadline: HostTime) -> Result<usize, PortError> {
        self.0.set(deadline.as_nanos());
        Ok(0)
    }

    fn name(&self) -> &str {
        "unit"
    }
}

/// Hands out one part at each look.
struct Scripted {
    identity: JigIdentity,
    parts: VecDeque<Result<Part, JigError>>,
}

impl Jig for Scripted {
    fn identity(&self) -> &JigIdentity {
        &self.identity
    }

    fn drive(&mut self, output: OutputChannel, _: bool) -> Result<Tick, JigError> {
        panic!("`{}` is switched", output.name());
    }

    fn collect(&mut self, into: &mut Part) -> Result<(), JigError> {
        let mut part = self.parts.pop_front().unwrap_or_else(|| Ok(Part::default()))?;
        into.append(&mut part);
        Ok(())
    }

    fn settle(&mut self, _: &mut Part) -> Result<Tick, JigError> {
        Ok(Tick::MAX >> 8)
    }

    fn tick_at(&self, _: HostTime) -> (Tick, Tick) {
        (0, 1)
    }

    fn make_safe(&mut self) -> Result<(), JigError> {
        Ok(())
    }
}

/// Reads on a bench with this script; one look takes 50 ms.
fn on<T>(parts: Vec<Result<Part, JigError>>, read: impl FnOnce(&mut Live<'_>) -> T) -> T {
    let (time, mut port) = {
        let time = Time::default();
        (time.clone(), time)
    };
    let identity = JigIdentity { describes: "script".into(), ticks_per_second: 2_000_000, simulated: false };
    let mut jig = Scripted { identity, parts: parts.into() };
    read(&mut Live::new(&time, &mut port, &mut jig, &AtomicBool::new(false)))
}

fn part(fill: impl FnOnce(&mut Part)) -> Result<Part, JigError> {
    let mut part = Part::default();
    fill(&mut part);
    Ok(part)
}

fn codes(codes: &[i32]) -> Result<Part, JigError> {
    part(|part| codes.iter().for_each(|code| part.push_sample(SampleChannel::PackVoltage, 0, *code)))
}

const VOLTS: SampleChannel = SampleChannel::PackVoltage;
const A_WHILE: Duration = Duration::from_millis(200);

#[test]
fn a_reading_is_the_mean_of_its_own_time() {
    let script = vec![codes(&[9000; 50]), codes(&[4800, 4802]), codes(&[4801, 4799]), codes(&[4803])];
    let (first, second) = on(script, |live| {
        live.idle(Some(Duration::from_millis(40)), || false).expect("idle");
        (live.codes(VOLTS, A_WHILE, 6.0).expect("a reading"), live.codes(VOLTS, A_WHILE, 7.0))
    });
    assert_eq!((first.count, first.reference, first.place.as_str()), (4801.0, 6.0, "6 V"));
    assert!(first.count_uncertainty > 0.6 && first.count_uncertainty < 0.8, "{}", first.count_uncertainty);
    assert!(matches!(second, Err(NotRead::TooFew { count: 0, .. })), "{second:?}");
}

#[test]
fn what_is_lost_or_broken_is_no_reading() {
    let lost = || part(|part| part.losses.push(Loss { at: 1, what: "7 samples".into() }));
    let read = |script| on(script, |live| live.codes(VOLTS, A_WHILE, 6.0));
    assert_eq!(read(vec![codes(&[4800; 9]), lost()]), Err(NotRead::Lost { what: "7 samples".into() }));
    let silent = JigError::Silent { waited_ms: 500 };
    assert_eq!(read(vec![codes(&[4800; 9]), Err(silent.clone())]), Err(NotRead::Jig(silent)));
    // What was lost while the operator turned a knob is none of a code's business, and all of the encoder's.
    let knob = |live: &mut Live<'_>| live.idle(Some(Duration::from_millis(40)), || false);
    let after = |script| on(script, |live| knob(live).and_then(|()| live.codes(VOLTS, A_WHILE, 6.0)).is_ok());
    assert!(after(vec![lost(), codes(&[4800; 9])]));
    let scale = on(vec![lost()], |live| knob(live).and_then(|()| live.edges(A_WHILE, 0.1)));
    assert_eq!(scale, Err(NotRead::Lost { what: "7 samples".into() }));
    let interrupted = {
        let (time, mut port) = {
            let time = Time::default();
            (time.clone(), time)
        };
        let identity = JigIdentity { describes: "script".into(), ticks_per_second: 2_000_000, simulated: false };
        let mut jig = Scripted { identity, parts: VecDeque::new() };
        Live::new(&time, &mut port, &mut jig, &AtomicBool::new(true)).codes(VOLTS, A_WHILE, 6.0)
    };
    assert_eq!(interrupted, Err(NotRead::Interrupted));
}

#[test]
fn a_carriage_is_counted_while_it_is_moved_and_has_to_stand_while_it_is_read() {
    let moved = |begin: Tick| {
        part(|part| {
            // A period towards the right: A rises, B rises, A falls, B falls.
            for (index, (channel, level)) in [
                (EdgeChannel::EncoderA, true),
                (EdgeChannel::EncoderB, true),
                (EdgeChannel::EncoderA, false),
                (EdgeChannel::EncoderB, false),
            ]
            .into_iter()
            .enumerate()
            {
                part.push_edge(channel, begin + index as Tick, level);
            }
        })
    };
    let start = || {
        part(|part| {
            part.push_edge(EdgeChannel::EncoderA, 0, false);
            part.push_edge(EdgeChannel::EncoderB, 0, false);
        })
    };
    let look = Duration::from_millis(40);
    let (zero, there) = on(vec![start(), Ok(Part::default()), moved(10), moved(20)], |live| {
        live.idle(Some(look), || false).expect("idle");
        let zero = live.edges(look, 0.0).expect("a reading");
        live.idle(Some(2 * look), || false).expect("idle");
        (zero.count, live.edges(look, 2e-4).expect("a reading").count)
    });
    assert_eq!((zero, there), (0.0, 8.0));
    let moving = on(vec![start(), moved(10)], |live| {
        live.idle(Some(look), || false).expect("idle");
        live.edges(look, 0.0)
    });
    assert!(
        matches!(moving, Err(NotRead::Unsteady { ref what, .. }) if what.contains("moved by 4 edges")),
        "{moving:?}"
    );
}

#[test]
fn pulses_tell_the_clock_s_rate_unless_one_is_missing() {
    let pulses = |numbers: &[u64]| {
        let numbers = numbers.to_vec();
        part(|part| {
            for number in numbers {
                // A clock that is 20 ppm fast.
                let tick = 1234 + number * 2_000_040;
                part.push_edge(EdgeChannel::Guard, tick, true);
                part.push_edge(EdgeChannel::Guard, tick + 200_000, false);
            }
        })
    };
    let read = |part, period| on(vec![part], |live| live.pulses(&clock(), EdgeChannel::Guard, period, A_WHILE));
    let all: Vec<u64> = (0..100).collect();
    let readings = read(pulses(&all), 1.0).expect("readings");
    assert_eq!((readings.len(), readings[24].reference, readings[24].count), (25, 99.0, 99.0 * 2_000_040.0));
    let fitted = crate::care::calibrate::fit(&clock(), readings, &[crate::care::calibrate::Doubt::Relative(1e-8)]);
    let Target::Clock(found) = fitted.expect("a line").calibrated else { panic!("the clock") };
    assert!((found.error + 20e-6).abs() < 1e-8, "{}", found.error);
    let missing: Vec<u64> = all.iter().copied().filter(|number| *number != 50).collect();
    assert!(
        matches!(read(pulses(&missing), 1.0), Err(NotRead::Unsteady { ref what, .. }) if what.contains("2.000 periods apart"))
    );
    assert!(matches!(read(pulses(&all), 0.5), Err(NotRead::Unsteady { .. })));
    assert!(matches!(read(pulses(&[0, 1]), 1.0), Err(NotRead::TooFew { count: 2, .. })));
}
