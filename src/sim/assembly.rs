//! One unit as it came out of assembly, and the bench that it stands on: the design's values, a spread from piece to piece
//! drawn from the seed, and the faults on top.

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
use super::spread::{Parameter as P, Spread};
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

/// Bits of a seed that decide what unit and jig are like; the others tell its runs apart.
pub const MAKE_BITS: u32 = 52;

/// What the world is to be like.
#[derive(Debug, Clone, PartialEq)]
pub struct WorldSettings {
    /// Decides everything that is left to chance. Its lower 52 bits decide what unit and jig are like, so that seeds which
    /// differ in the others alone are runs of one unit on one jig.
    pub seed: u64,
    /// What is wrong with unit or bench.
    pub faults: Vec<Fault>,
    /// How far units differ from each other.
    pub spread: Spread,
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

impl WorldSettings {
    /// The seed of what unit and jig are like.
    pub(super) fn make(&self) -> u64 {
        self.seed & ((1 << MAKE_BITS) - 1)
    }
}

impl Default for WorldSettings {
    fn default() -> Self {
        Self {
            seed: 1,
            faults: Vec::new(),
            spread: Spread::default(),
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

    /// The unit of a seed with its faults.
    pub fn drawn(settings: &WorldSettings) -> Self {
        let chance = &mut Chance::new(settings.make(), Stream::Assembly);
        let spread = |parameter| settings.spread.of(parameter);
        let motor = Motor::size_17();
        let motor = Motor {
            holding_torque: motor.holding_torque * chance.spread(spread(P::HoldingTorque)),
            resistance: motor.resistance * chance.spread(spread(P::PhaseResistance)),
            inductance: motor.inductance * chance.spread(spread(P::PhaseInductance)),
            ..motor
        };
        let set = Driver::as_set();
        let current = chance.spread(spread(P::DriverCurrent));
        let driver = Driver { run_current: set.run_current * current, hold_current: set.hold_current * current };
        let belt = Belt::sound();
        let belt = Belt {
            stiffness: belt.stiffness * chance.spread(spread(P::BeltStiffness)),
            backlash: belt.backlash * chance.spread(spread(P::BeltPlay)),
            runout: belt.runout * chance.spread(spread(P::PulleyRunout)),
            gear: chance.spread(spread(P::BeltGear)),
            ..belt
        };
        let mut carriage = Carriage::sound(settings.load_kg, settings.rise_degrees);
        carriage.friction *= chance.spread(spread(P::CarriageFriction));
        let pack = PackMake::sound();
        let pack = PackMake {
            charge: pack.charge + spread(P::PackCharge) * chance.deviate(),
            series: pack.series * chance.spread(spread(P::PackSeries)),
            contact: pack.contact * chance.spread(spread(P::PackContact)),
            ..pack
        };
        let empty = PackMake::nearly_empty();
        let bench_pack = PackMake { charge: empty.charge + spread(P::BenchPackCharge) * chance.deviate(), ..empty };
        let end_stops = [0.0, TRAVEL].map(|trigger| {
            let sound = EndStopMake::sound(trigger + spread(P::SwitchPlace) * chance.deviate());
            EndStopMake { bounce: sound.bounce * chance.spread(spread(P::SwitchBounce)), ..sound }
        });
        let (light_bar, controls) = panel(settings);
        let mut firmware = FirmwareMake::sound(settings.firmware.text(), settings.serial.clone());
        // A crystal: ±50 ppm (common practice, no source).
        firmware.timing.clock_error = chance.between(-spread(P::ControllerClock), spread(P::ControllerClock));
        firmware.timing.latency_ns *= chance.spread(spread(P::InterruptLatency));
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
            segments: std::array::from_fn(|_| chance.spread(spread(P::SegmentLight))),
            dead_segment: None,
            light_bar,
            controls,
            garbled: 0.0,
            dips_per_s: 0.0,
            place: chance.between(0.15, 0.40),
            jig: JigMake::default(),
        };
        assembly.differ_further(settings);
        for fault in &settings.faults {
            fault.inflict(&mut assembly, chance);
        }
        assembly
    }

    /// What differs only where a population says so; it has a stream of chance of its own, so that it changes no other luck.
    fn differ_further(&mut self, settings: &WorldSettings) {
        let chance = &mut Chance::new(settings.make(), Stream::Further);
        let mut vary = |parameter, value: &mut f64| *value *= chance.spread(settings.spread.of(parameter));
        vary(P::RotorInertia, &mut self.motor.rotor_inertia);
        vary(P::DetentTorque, &mut self.motor.detent_torque);
        vary(P::MotorDamping, &mut self.motor.damping_ratio);
        vary(P::HoldCurrent, &mut self.driver.hold_current);
        vary(P::BeltJumpForce, &mut self.belt.jump_force);
        vary(P::BeltDamping, &mut self.belt.damping_ratio);
        vary(P::CarriageMass, &mut self.carriage.mass);
        vary(P::CarriageViscous, &mut self.carriage.viscous);
        for pack in [&mut self.pack, &mut self.bench_pack] {
            vary(P::PackCapacity, &mut pack.capacity);
            vary(P::PackSlow, &mut pack.slow);
            vary(P::PackSlowTime, &mut pack.slow_seconds);
        }
        for end_stop in &mut self.end_stops {
            vary(P::SwitchHysteresis, &mut end_stop.hysteresis);
            vary(P::SwitchScatter, &mut end_stop.scatter);
        }
        let ThermalMake { winding, case, housing, .. } = &mut self.thermal;
        for capacity in [winding, case, housing] {
            vary(P::HeatCapacity, capacity);
        }
        let ThermalMake { winding_to_case, case_to_housing, case_to_air, housing_to_air, .. } = &mut self.thermal;
        for resistance in [winding_to_case, case_to_housing, case_to_air, housing_to_air] {
            vary(P::ThermalResistance, resistance);
        }
    }
}

impl WorldSettings {
    /// Temperature of the air around this unit, °C.
    pub(super) fn air(&self) -> f64 {
        let spread = self.spread.of(P::AirTemperature);
        self.air_celsius + spread * Chance::new(self.seed, Stream::Air).deviate()
    }
}

/// The light bar as a whole and the controls, with their spread from piece to piece.
fn panel(settings: &WorldSettings) -> (LightBarMake, [ControlMake; CONTROLS]) {
    let chance = &mut Chance::new(settings.make(), Stream::Bar);
    let spread = |parameter| settings.spread.of(parameter);
    let bar = LightBarMake::sound();
    let bar = LightBarMake {
        ripple: bar.ripple * chance.spread(spread(P::LightRipple)),
        ripple_hz: bar.ripple_hz * chance.spread(spread(P::LightRippleFrequency)),
        colour: bar.colour.map(|part| part * chance.spread(spread(P::LightColour))),
    };
    let controls = std::array::from_fn(|_| {
        let sound = ControlMake::sound();
        ControlMake {
            travel: sound.travel * chance.spread(spread(P::ControlTravel)),
            bounce: sound.bounce * chance.spread(spread(P::ControlBounce)),
            ..sound
        }
    });
    (bar, controls)
}
