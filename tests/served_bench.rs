//! The simulated bench on two serial ports, met as a real one would be: through the `serialport` driver, with the jig's own
//! code on one side and the simulated board's on the other.

use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::thread::JoinHandle;
use std::time::Duration;

use railproof::capture::{EdgeChannel, OutputChannel, Part, SampleChannel};
use railproof::clock::{Clock, ComputerClock};
use railproof::jig::capture_board::{CaptureBoard, Expected};
use railproof::jig::{Jig, JigError};
use railproof::port::{Port, SerialPort, SerialSettings};
use railproof::sim::{Heard, ServeSettings, Served, World, WorldSettings};

const SAMPLES: [SampleChannel; 6] = [
    SampleChannel::PackVoltage,
    SampleChannel::PackCurrent,
    SampleChannel::MotorTemperature,
    SampleChannel::HousingTemperature,
    SampleChannel::AirTemperature,
    SampleChannel::Light(5),
];
const OUTPUTS: [OutputChannel; 4] =
    [OutputChannel::UnitSupply, OutputChannel::DummyLoad, OutputChannel::LowPack, OutputChannel::Press(3)];

fn expected() -> Expected<'static> {
    Expected { ticks_per_second: 2_000_000, edges: &EdgeChannel::ALL, samples: &SAMPLES, outputs: &OUTPUTS }
}

/// The computer held this process up for so long that the board's watchdog rightly switched the unit off.
#[derive(Debug)]
struct HeldUp;

/// What comes of an attempt that was not held up; the third has to be one. Benches here are served one at a time, lest
/// they hold each other up.
fn undisturbed<T>(mut attempt: impl FnMut() -> Result<T, HeldUp>) -> T {
    static COMPUTER: Mutex<()> = Mutex::new(());
    let _alone = COMPUTER.lock().unwrap_or_else(PoisonError::into_inner);
    for _ in 0..2 {
        match attempt() {
            Ok(done) => return done,
            Err(HeldUp) => println!("asked again, since the bench was held up"),
        }
    }
    attempt().expect("the bench was held up three times")
}

/// A served world that goes on in a thread until it is dropped.
struct Stand {
    unit: String,
    board: String,
    stop: Arc<AtomicBool>,
    held_up: Arc<AtomicBool>,
    serving: Option<JoinHandle<()>>,
}

impl Stand {
    fn new(settings: ServeSettings) -> Self {
        let mut served = Served::open(World::new(&WorldSettings::default()), settings).expect("ptys");
        let stop = Arc::new(AtomicBool::new(false));
        let (unit, board) = (served.unit_port().to_owned(), served.board_port().to_owned());
        let held_up = Arc::new(AtomicBool::new(false));
        let (stopped, silent) = (Arc::clone(&stop), Arc::clone(&held_up));
        let serving = std::thread::spawn(move || {
            let told = |heard| {
                silent.fetch_or(heard == Heard::WatchdogOff, Ordering::Relaxed);
            };
            served.serve(&stopped, told).expect("serves");
        });
        Self { unit, board, stop, held_up, serving: Some(serving) }
    }

    fn meet(&self) -> CaptureBoard {
        let clock = ComputerClock::new();
        let port = SerialPort::open(&self.board, SerialSettings::at(1_000_000), clock.clone()).expect("its port");
        CaptureBoard::open(Box::new(port), clock, &expected()).expect("a board that fits")
    }

    fn unit(&self, clock: ComputerClock) -> Talk {
        Talk {
            port: SerialPort::open(&self.unit, SerialSettings::at(115_200), clock.clone()).expect("its port"),
            clock,
            heard: Vec::new(),
            held_up: Arc::clone(&self.held_up),
        }
    }
}

impl Drop for Stand {
    fn drop(&mut self) {
        self.stop.store(true, Ordering::Relaxed);
        let served = self.serving.take().map(JoinHandle::join);
        assert!(std::thread::panicking() || served.is_none_or(|served| served.is_ok()));
    }
}

struct Talk {
    port: SerialPort,
    clock: ComputerClock,
    heard: Vec<u8>,
    held_up: Arc<AtomicBool>,
}

impl Talk {
    fn say(&mut self, line: &str) {
        let deadline = self.clock.now().after(Duration::from_secs(100));
        self.port.send(format!("{line}\n").as_bytes(), deadline).expect("the unit takes it");
    }

    /// Waits for a line that begins so, collecting from the jig meanwhile.
    fn hear(&mut self, beginning: &str, jig: &mut CaptureBoard, part: &mut Part) -> Result<String, HeldUp> {
        let give_up = self.clock.now().after(Duration::from_secs(120));
        loop {
            while let Some(end) = self.heard.iter().position(|&byte| byte == b'\n') {
                let line: Vec<u8> = self.heard.drain(..=end).collect();
                let line = String::from_utf8_lossy(&line).trim().to_owned();
                if line.starts_with(beginning) {
                    return Ok(line);
                }
            }
            if self.held_up.load(Ordering::Relaxed) {
                return Err(HeldUp);
            }
            assert!(
                self.clock.now() < give_up,
                "`{beginning}` never came; heard {:?}",
                String::from_utf8_lossy(&self.heard)
            );
            jig.collect(part).expect("the board is there");
            self.port.receive(&mut self.heard, self.clock.now().after(Duration::from_millis(20))).expect("open");
        }
    }
}

/// Home, then the whole rail at the promised speed, through both ports.
fn travel(settings: ServeSettings) -> Result<Part, HeldUp> {
    let stand = Stand::new(settings);
    let mut jig = stand.meet();
    assert!(jig.identity().simulated, "a simulated board says so");
    let mut unit = stand.unit(jig.clock());
    let mut part = Part::default();
    let on = jig.drive(OutputChannel::UnitSupply, true).expect("it switches");
    unit.hear("DUNLIN 600 READY FW 1.4.0 SN SM-0001", &mut jig, &mut part)?;
    unit.say("WHO");
    unit.hear("I AM DUNLIN 600", &mut jig, &mut part)?;
    unit.say("HOME L");
    unit.hear("DONE HOME", &mut jig, &mut part)?;
    unit.say("GO R 90.0");
    unit.hear("DONE GO", &mut jig, &mut part)?;
    assert!(jig.settle(&mut part).expect("it settles") > on);
    jig.make_safe().expect("it switches off");
    jig.collect(&mut part).expect("the board is there");
    Ok(part)
}

fn whole(part: &Part) {
    assert_eq!(part.losses, []);
    for channel in EdgeChannel::ALL {
        let edges = part.edges(channel);
        assert!(!edges.is_empty() && edges[0].tick() == 0, "`{}` states its level at the start", channel.name());
        assert!(edges.windows(2).all(|pair| pair[0].tick() <= pair[1].tick()), "`{}` is in order", channel.name());
    }
    // 560 mm at 80 steps/mm: 1.8° steps, 1/16, 20 teeth at 2 mm; 40 edges/mm of both encoder tracks together.
    let steps = part.edges(EdgeChannel::Step).len();
    let encoder = part.edges(EdgeChannel::EncoderA).len() + part.edges(EdgeChannel::EncoderB).len();
    assert!(steps > 560 * 80, "{steps} steps");
    assert!(encoder > 560 * 40 - 40 && encoder < 2 * 600 * 40, "{encoder} encoder edges");
    for channel in SAMPLES {
        assert!(part.samples(channel).len() > 2, "`{}` is sampled", channel.name());
    }
    let supply: Vec<bool> = part
        .driven
        .iter()
        .filter(|driven| driven.output == OutputChannel::UnitSupply)
        .map(|driven| driven.on)
        .collect();
    assert_eq!(supply, [true, false]);
}

#[test]
fn a_run_arrives_whole_in_real_time() {
    undisturbed(arrives_whole_in_real_time);
}

fn arrives_whole_in_real_time() -> Result<(), HeldUp> {
    let stand = Stand::new(ServeSettings::default());
    let mut jig = stand.meet();
    let mut unit = stand.unit(jig.clock());
    let mut part = Part::default();
    jig.drive(OutputChannel::UnitSupply, true).expect("it switches");
    unit.hear("DUNLIN 600 READY", &mut jig, &mut part)?;
    unit.say("LEVEL 6");
    unit.hear("OK LEVEL 6", &mut jig, &mut part)?;
    unit.say("RUN R");
    unit.hear("HIT R", &mut jig, &mut part)?;
    let before = jig.clock().now();
    let settled = jig.settle(&mut part).expect("it settles");
    let after = jig.clock().now();
    assert_eq!(part.losses, []);
    assert!(part.edges(EdgeChannel::RightEndStop).len() > 1 && part.edges(EdgeChannel::Step).len() > 1000);
    // The board says up to when it settled: between the question and the answer, by the relation of the clocks.
    let ((earliest, doubt), (latest, _)) = (jig.tick_at(before), jig.tick_at(after));
    assert!(
        earliest.saturating_sub(4 * doubt) <= settled && settled <= latest + 4 * doubt,
        "{earliest} {settled} {latest}"
    );
    Ok(())
}

#[test]
fn a_travel_arrives_whole_ten_times_as_fast() {
    whole(&undisturbed(|| travel(ServeSettings { scale: 10.0, ..ServeSettings::default() })));
}

#[test]
fn a_link_that_is_too_slow_overruns_and_the_run_is_told() {
    let part = undisturbed(|| travel(ServeSettings { scale: 10.0, link_bytes_per_s: 6_000.0 }));
    assert!(part.losses.iter().any(|loss| loss.what.contains("ran out of room")), "{:?}", part.losses);
}

#[test]
fn one_bench_after_another_finds_the_board_safe() {
    let stand = Stand::new(ServeSettings::default());
    for _ in 0..2 {
        let mut jig = stand.meet();
        jig.drive(OutputChannel::UnitSupply, true).expect("it switches");
        jig.drive(OutputChannel::Press(0), true).expect("it switches");
        let mut part = Part::default();
        jig.settle(&mut part).expect("it settles");
        assert_eq!(part.driven.iter().map(|driven| driven.on).collect::<Vec<_>>(), [true, true]);
        assert_eq!(part.losses, []);
    }
}

#[test]
fn an_output_that_the_board_lacks_is_refused() {
    let stand = Stand::new(ServeSettings::default());
    let clock = ComputerClock::new();
    let port = SerialPort::open(&stand.board, SerialSettings::at(1_000_000), clock.clone()).expect("its port");
    let opened =
        CaptureBoard::open(Box::new(port), clock, &Expected { outputs: &[OutputChannel::Press(7)], ..expected() });
    assert_eq!(opened.err(), Some(JigError::NoChannel { channel: "press 8".to_owned() }));
}

/// Frames made by an independent script from the protocol's page: hello, start, and drive unit supply on.
const HELLO: &[u8] = &[0x02, 0x01, 0x01, 0x04, 0x01, 0x13, 0x0E, 0x00];
const START: &[u8] = &[0x03, 0x02, 0x01, 0x03, 0x53, 0x95, 0x00];
const SUPPLY_ON: &[u8] = &[0x03, 0x03, 0x02, 0x02, 0x01, 0x04, 0x01, 0xD0, 0x59, 0x00];

/// What a killed process leaves behind: a board that hears no more heartbeats.
#[test]
fn silence_switches_the_supply_off() {
    let mut served = Served::open(World::new(&WorldSettings::default()), ServeSettings::default()).expect("ptys");
    let clock = ComputerClock::new();
    let mut port =
        SerialPort::open(served.board_port(), SerialSettings::at(1_000_000), clock.clone()).expect("its port");
    for frame in [HELLO, START, SUPPLY_ON] {
        port.send(frame, clock.now().after(Duration::from_secs(20))).expect("room");
        served.slice().expect("serves");
        served.slice().expect("serves");
    }
    assert!(served.world().supply_is_on());
    let give_up = clock.now().after(Duration::from_secs(60));
    while served.world().supply_is_on() {
        assert!(clock.now() < give_up, "the watchdog slept");
        served.slice().expect("serves");
    }
}
