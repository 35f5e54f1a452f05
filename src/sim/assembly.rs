//! One unit as it came out of assembly, and the bench that it stands on: the design's values, a small spread from piece to
//! piece drawn from the seed, and the faults on top.

use super::belt::Belt;
use super::carriage::{Carriage, TRAVEL};
use super::chance::{Chance, Stream};
use super::controls::ControlMake;
use super::driver::Driver;
use super::end_stop::EndStopMake;
use super::faults::Fault;
use super::firmware::{CONTROLS, FirmwareMake, SEGMENTS, Timing};
use super::light_bar::LightBarMake;
use super::motor::Motor;
use super::pack::PackMake;
use super::sensors::Encoder;
use super::thermal::ThermalMake;
use super::train::{Parts, Train};
use super::wiring::CheckWiring;
use crate::capture::EdgeChannel;

/// Which firmware the unit carries.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum FirmwareVersion {
    /// The one that ships.
    #[default]
    V1_4_0,
    /// The next one, which masks interrupts while it refreshes the light bar.
    V1_5_0,
}

impl FirmwareVersion {
    /// As the unit says it.
    pub const fn text(self) -> &'static str {
        match self {
            Self::V1_4_0 => "1.4.0",
            Self::V1_5_0 => "1.5.0",
        }
    }
}

/// What the world is to be like.
#[derive(Debug, Clone, PartialEq)]
pub struct WorldSettings {
    /// Decides everything that is left to chance.
    pub seed: u64,
    /// What is wrong with unit or bench.
    pub faults: Vec<Fault>,
    /// Serial number that the unit says it has.
    pub serial: String,
    /// Firmware of the unit.
    pub firmware: FirmwareVersion,
    /// Load on the carriage, kg.
    pub load_kg: f64,
    /// How steeply the rail rises towards the right, degrees.
    pub rise_degrees: f64,
    /// Temperature of the air, °C.
    pub air_celsius: f64,
    /// How the bench is wired for its own check.
    pub wiring: CheckWiring,
}

impl Default for WorldSettings {
    fn default() -> Self {
        Self {
            seed: 1,
            faults: Vec::new(),
            serial: "SM-0001".into(),
            firmware: FirmwareVersion::default(),
            load_kg: 1.5,
            rise_degrees: 0.0,
            air_celsius: 22.0,
            wiring: CheckWiring::default(),
        }
    }
}

/// All parts of one unit and its bench.
#[derive(Debug, Clone)]
pub(super) struct Assembly {
    pub motor: Motor,
    pub driver: Driver,
    pub belt: Belt,
    pub carriage: Carriage,
    pub pack: PackMake,
    pub bench_pack: PackMake,
    pub end_stops: [EndStopMake; 2],
    pub thermal: ThermalMake,
    pub firmware: FirmwareMake,
    /// Light of each segment when lit; 1 is a fully lit one.
    pub segments: [f64; SEGMENTS],
    pub dead_segment: Option<usize>,
    pub light_bar: LightBarMake,
    pub controls: [ControlMake; CONTROLS],
    /// Probability that a byte is garbled on the line.
    pub garbled: f64,
    /// How often the pack's contact opens for a moment while the motor runs, 1/s.
    pub dips_per_s: f64,
    /// Where the carriage was left, m.
    pub place: f64,
    /// What is wrong with the jig.
    pub jig: JigMake,
}

/// How far a jig is from what its file says of it, beyond the uncertainties there.
#[derive(Debug, Clone, Default)]
pub(super) struct JigMake {
    /// Relative error of the clock's rate.
    pub clock_error: f64,
    /// Relative error of the encoder's scale.
    pub encoder_error: f64,
    /// Relative error of the pack voltage's gain.
    pub volts_error: f64,
    /// An input whose line is broken.
    pub deaf: Option<EdgeChannel>,
}

impl Assembly {
    /// Its drive train at rest, with the jig's encoder on it.
    pub fn train(&self, encoder: Encoder, seed: u64) -> Train {
        let Self { motor, belt, carriage, end_stops, place, .. } = self;
        Train::new(Parts { motor, belt, carriage, end_stops, place: *place, encoder, seed })
    }

    /// The unit of a seed with its faults. The spreads are small against every promise, and invented for the demo.
    pub fn drawn(settings: &WorldSettings) -> Self {
        let chance = &mut Chance::new(settings.seed, Stream::Assembly);
        let motor = Motor::size_17();
        let motor = Motor {
            holding_torque: motor.holding_torque * chance.spread(0.03),
            resistance: motor.resistance * chance.spread(0.03),
            inductance: motor.inductance * chance.spread(0.05),
            ..motor
        };
        let set = Driver::as_set();
        let current = chance.spread(0.02);
        let driver = Driver { run_current: set.run_current * current, hold_current: set.hold_current * current };
        let belt = Belt::sound();
        let belt = Belt {
            stiffness: belt.stiffness * chance.spread(0.05),
            backlash: belt.backlash * chance.spread(0.15),
            runout: belt.runout * chance.spread(0.2),
            gear: chance.spread(2e-4),
            ..belt
        };
        let mut carriage = Carriage::sound(settings.load_kg, settings.rise_degrees);
        carriage.friction *= chance.spread(0.04);
        let pack = PackMake::sound();
        let pack = PackMake {
            charge: pack.charge + 0.012 * chance.deviate(),
            series: pack.series * chance.spread(0.05),
            contact: pack.contact * chance.spread(0.10),
            ..pack
        };
        let empty = PackMake::nearly_empty();
        let bench_pack = PackMake { charge: empty.charge + 0.004 * chance.deviate(), ..empty };
        let end_stops = [0.0, TRAVEL].map(|trigger| {
            let sound = EndStopMake::sound(trigger + 0.08e-3 * chance.deviate());
            EndStopMake { bounce: sound.bounce * chance.spread(0.1), ..sound }
        });
        let (light_bar, controls) = panel(settings.seed);
        let mut firmware = FirmwareMake::sound(settings.firmware.text(), settings.serial.clone());
        // A crystal: ±50 ppm (common practice, no source).
        firmware.timing.clock_error = chance.between(-50e-6, 50e-6);
        firmware.timing.latency_ns *= chance.spread(0.03);
        if settings.firmware == FirmwareVersion::V1_5_0 {
            firmware.timing.refresh_ns = Timing::REFRESH_NS;
            firmware.timing.masked_ns = Timing::MASKED_NS;
        }
        let mut assembly = Self {
            motor,
            driver,
            belt,
            carriage,
            pack,
            bench_pack,
            end_stops,
            thermal: ThermalMake::sound(),
            firmware,
            segments: std::array::from_fn(|_| chance.spread(0.03)),
            dead_segment: None,
            light_bar,
            controls,
            garbled: 0.0,
            dips_per_s: 0.0,
            place: chance.between(0.15, 0.40),
            jig: JigMake::default(),
        };
        for fault in &settings.faults {
            fault.inflict(&mut assembly, chance);
        }
        assembly
    }
}

/// The light bar as a whole and the controls, with their spread from piece to piece.
fn panel(seed: u64) -> (LightBarMake, [ControlMake; CONTROLS]) {
    let chance = &mut Chance::new(seed, Stream::Bar);
    let bar = LightBarMake::sound();
    let bar = LightBarMake {
        ripple: bar.ripple * chance.spread(0.1),
        ripple_hz: bar.ripple_hz * chance.spread(0.02),
        colour: bar.colour.map(|part| part * chance.spread(0.01)),
    };
    let controls = std::array::from_fn(|_| {
        let sound = ControlMake::sound();
        ControlMake { travel: sound.travel * chance.spread(0.05), bounce: sound.bounce * chance.spread(0.1), ..sound }
    });
    (bar, controls)
}
