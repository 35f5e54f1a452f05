//! Faults that a unit or its bench can have, each with a severity, put into the physics before the world begins.

use super::assembly::Assembly;
use super::chance::Chance;
use super::firmware::{CONTROLS, SEGMENTS, Timing};
use super::motor::Motor;
use crate::capture::EdgeChannel;

/// A kind of fault.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
#[expect(missing_docs, reason = "each is explained by `FaultKind::explanation`")]
pub enum FaultKind {
    WeakPack,
    CorrodedContact,
    LeakyContacts,
    LooseBelt,
    SlippingBelt,
    WornPulley,
    LowDriverCurrent,
    WrongMotor,
    ReversedWiring,
    DeadEndStopLeft,
    DeadEndStopRight,
    BouncyEndStop,
    SlowClock,
    LateCompare,
    JitteryFirmware,
    MaskedInterrupts,
    LostCommands,
    GarbledLink,
    BrownOut,
    StuckControl,
    DeadLightSegment,
    SwappedLevels,
    CreepAfterStop,
    HotMotor,
    TightCarriage,
    MuteUnit,
    WornControl,
    FlickeringLight,
    DriftedGain,
    FastJigClock,
    StretchedEncoder,
    DeafInput,
    StickingSwitch,
}

impl FaultKind {
    /// Its name on the command line.
    pub const fn name(self) -> &'static str {
        match self {
            Self::WeakPack => "weak-pack",
            Self::CorrodedContact => "corroded-contact",
            Self::LeakyContacts => "leaky-contacts",
            Self::LooseBelt => "loose-belt",
            Self::SlippingBelt => "slipping-belt",
            Self::WornPulley => "worn-pulley",
            Self::LowDriverCurrent => "low-driver-current",
            Self::WrongMotor => "wrong-motor",
            Self::ReversedWiring => "reversed-wiring",
            Self::DeadEndStopLeft => "dead-end-stop-left",
            Self::DeadEndStopRight => "dead-end-stop-right",
            Self::BouncyEndStop => "bouncy-end-stop",
            Self::SlowClock => "slow-clock",
            Self::LateCompare => "late-compare",
            Self::JitteryFirmware => "jittery-firmware",
            Self::MaskedInterrupts => "masked-interrupts",
            Self::LostCommands => "lost-commands",
            Self::GarbledLink => "garbled-link",
            Self::BrownOut => "brown-out",
            Self::StuckControl => "stuck-control",
            Self::DeadLightSegment => "dead-light-segment",
            Self::SwappedLevels => "swapped-levels",
            Self::CreepAfterStop => "creep-after-stop",
            Self::HotMotor => "hot-motor",
            Self::TightCarriage => "tight-carriage",
            Self::MuteUnit => "mute-unit",
            Self::WornControl => "worn-control",
            Self::FlickeringLight => "flickering-light",
            Self::DriftedGain => "drifted-gain",
            Self::FastJigClock => "fast-jig-clock",
            Self::StretchedEncoder => "stretched-encoder",
            Self::DeafInput => "deaf-input",
            Self::StickingSwitch => "sticking-switch",
        }
    }

    /// What is wrong, in one line.
    pub const fn explanation(self) -> &'static str {
        match self {
            Self::WeakPack => "an aged pack: less charge in it, several times the resistance",
            Self::CorrodedContact => "the pack's blade contacts have a high and unsteady resistance",
            Self::LeakyContacts => {
                "damp and dust across the pack's blade contacts: current leaks while the unit is off"
            }
            Self::LooseBelt => "the belt is slack: play at the pulley, and a soft pull",
            Self::SlippingBelt => "belt teeth jump on the pulley under acceleration",
            Self::WornPulley => "the pulley is small and out of round: the carriage goes short, and unevenly",
            Self::LowDriverCurrent => "the driver's current is set far too low: steps are lost under the promised load",
            Self::WrongMotor => "an 11-size motor was fitted in place of the 17-size one",
            Self::ReversedWiring => "a motor phase is reversed: the carriage runs the wrong way",
            Self::DeadEndStopLeft => "the left end switch never closes",
            Self::DeadEndStopRight => "the right end switch never closes",
            Self::BouncyEndStop => "the end switches bounce for many milliseconds",
            Self::SlowClock => "the controller's clock is slow by some percent",
            Self::LateCompare => {
                "the step timer's compare register is one too high: every period is a tick longer than commanded"
            }
            Self::JitteryFirmware => "step interrupts are served late by a widely varying time",
            Self::MaskedInterrupts => "the light bar's refresh masks the step interrupt",
            Self::LostCommands => "some commands are not heard",
            Self::GarbledLink => "bits are flipped on the bench's serial line",
            Self::BrownOut => "the supply is interrupted for moments while the motor runs: the controller resets",
            Self::StuckControl => "one of the controls does nothing",
            Self::DeadLightSegment => "one segment of the light bar stays dark",
            Self::SwappedLevels => "the fourth and the fifth speed level are interchanged",
            Self::CreepAfterStop => "no hold current at rest, and a stiff cable that pulls the carriage back",
            Self::HotMotor => "the driver's current is set too high and is not lowered at rest",
            Self::TightCarriage => "the carriage runs stiffly on its rail",
            Self::MuteUnit => "the unit has power and says nothing",
            Self::WornControl => "the contact of one control is worn: it bounces for many milliseconds",
            Self::FlickeringLight => "the light bar's regulator lacks its capacitor: its light ripples",
            Self::DriftedGain => "the jig's pack voltage reads some percent high",
            Self::FastJigClock => "the jig's clock is fast by some hundred ppm",
            Self::StretchedEncoder => "the jig's encoder has a scale that is some thousandths too long",
            Self::DeafInput => "the jig's input of the right end stop has a broken line",
            Self::StickingSwitch => "the left end switch sticks: it closes somewhere else each time",
        }
    }

    /// Whether the bench is at fault rather than the unit: such a run must come out invalid.
    pub const fn is_of_bench(self) -> bool {
        matches!(self, Self::GarbledLink)
    }

    /// Whether it is the jig that does not tell the truth: `railproof jig check` has to name it.
    pub const fn is_of_jig(self) -> bool {
        matches!(
            self,
            Self::DriftedGain | Self::FastJigClock | Self::StretchedEncoder | Self::DeafInput | Self::StickingSwitch
        )
    }

    /// Whether it is there or not, rather than more or less bad.
    pub const fn is_all_or_nothing(self) -> bool {
        matches!(
            self,
            Self::WrongMotor
                | Self::ReversedWiring
                | Self::DeadEndStopLeft
                | Self::DeadEndStopRight
                | Self::LateCompare
                | Self::StuckControl
                | Self::DeadLightSegment
                | Self::MuteUnit
                | Self::DeafInput
        )
    }

    /// The kind with this name.
    pub fn named(name: &str) -> Option<Self> {
        Fault::ALL.into_iter().find(|kind| kind.name() == name)
    }
}

/// A fault and how bad it is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Fault {
    /// What is wrong.
    pub kind: FaultKind,
    /// From 0, as good as none, to 1, plainly bad.
    severity: f64,
}

/// Why a fault's text says nothing.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum FaultProblem {
    /// No such fault.
    #[error("there is no fault `{name}`; there are: {known}")]
    Unknown { name: String, known: String },
    /// Not a severity.
    #[error("`{text}` is no severity of a fault; write a number from 0 to 1, as in `weak-pack:0.4`")]
    Severity { text: String },
}

impl Fault {
    /// All kinds, in the order in which they are listed.
    pub const ALL: [FaultKind; 33] = [
        FaultKind::WeakPack,
        FaultKind::CorrodedContact,
        FaultKind::LeakyContacts,
        FaultKind::LooseBelt,
        FaultKind::SlippingBelt,
        FaultKind::WornPulley,
        FaultKind::LowDriverCurrent,
        FaultKind::WrongMotor,
        FaultKind::ReversedWiring,
        FaultKind::DeadEndStopLeft,
        FaultKind::DeadEndStopRight,
        FaultKind::BouncyEndStop,
        FaultKind::SlowClock,
        FaultKind::LateCompare,
        FaultKind::JitteryFirmware,
        FaultKind::MaskedInterrupts,
        FaultKind::LostCommands,
        FaultKind::GarbledLink,
        FaultKind::BrownOut,
        FaultKind::StuckControl,
        FaultKind::DeadLightSegment,
        FaultKind::SwappedLevels,
        FaultKind::CreepAfterStop,
        FaultKind::HotMotor,
        FaultKind::TightCarriage,
        FaultKind::MuteUnit,
        FaultKind::WornControl,
        FaultKind::FlickeringLight,
        FaultKind::DriftedGain,
        FaultKind::FastJigClock,
        FaultKind::StretchedEncoder,
        FaultKind::DeafInput,
        FaultKind::StickingSwitch,
    ];

    /// A fault of a severity; `None` outside 0 to 1.
    pub fn of(kind: FaultKind, severity: f64) -> Option<Self> {
        (0.0..=1.0).contains(&severity).then_some(Self { kind, severity })
    }

    /// A fault at its worst.
    pub const fn worst(kind: FaultKind) -> Self {
        Self { kind, severity: 1.0 }
    }

    /// From 0, as good as none, to 1, plainly bad.
    pub const fn severity(self) -> f64 {
        self.severity
    }

    /// Reads `weak-pack` or `weak-pack:0.4`.
    pub fn parse(text: &str) -> Result<Self, FaultProblem> {
        let (name, severity) = match text.split_once(':') {
            None => (text, 1.0),
            Some((name, severity)) => {
                let number = severity.parse().ok().filter(|number| (0.0..=1.0).contains(number));
                (name, number.ok_or_else(|| FaultProblem::Severity { text: severity.into() })?)
            }
        };
        let kind = FaultKind::named(name).ok_or_else(|| FaultProblem::Unknown {
            name: name.into(),
            known: Self::ALL.map(FaultKind::name).join(", "),
        })?;
        Ok(Self { kind, severity })
    }

    /// Puts it into a unit and its bench. What is switched on or off rather than more or less bad is so at any severity
    /// above 0. Every figure here is invented for the demo.
    pub(super) fn inflict(self, on: &mut Assembly, chance: &mut Chance) {
        let severity = self.severity;
        // Drawn whatever the severity, so that two severities of one seed differ in nothing else.
        let whichever = chance.fraction();
        if severity == 0.0 {
            return;
        }
        // From 1 at no severity to `worst` at full, evenly by ratio.
        let factor = |worst: f64| libm::pow(worst, severity);
        match self.kind {
            FaultKind::WeakPack => {
                on.pack.charge *= 1.0 - 0.72 * severity;
                on.pack.series *= factor(4.0);
                on.pack.slow *= factor(4.0);
            }
            FaultKind::CorrodedContact => {
                on.pack.contact *= factor(26.0);
                on.pack.contact_unrest = 0.12 * severity;
            }
            FaultKind::LeakyContacts => on.pack.leak = severity / 400.0,
            FaultKind::LooseBelt => {
                on.belt.backlash += 0.8e-3 * severity;
                on.belt.stiffness *= factor(0.3);
            }
            FaultKind::SlippingBelt => on.belt.jump_force *= factor(0.072),
            FaultKind::WornPulley => {
                on.belt.gear *= 1.0 - 0.02 * severity;
                on.belt.runout += 0.15e-3 * severity;
            }
            FaultKind::LowDriverCurrent => {
                on.driver.run_current *= factor(0.185);
                on.driver.hold_current *= factor(0.185);
            }
            FaultKind::WrongMotor => on.motor = Motor { reversed: on.motor.reversed, ..Motor::size_11() },
            FaultKind::ReversedWiring => on.motor.reversed = true,
            FaultKind::DeadEndStopLeft => on.end_stops[0].dead = true,
            FaultKind::DeadEndStopRight => on.end_stops[1].dead = true,
            FaultKind::BouncyEndStop => {
                for end_stop in &mut on.end_stops {
                    end_stop.bounce *= factor(25.0);
                }
            }
            FaultKind::SlowClock => on.firmware.timing.clock_error -= 0.04 * severity,
            FaultKind::LateCompare => on.firmware.timing.late_ticks = 1,
            FaultKind::JitteryFirmware => on.firmware.timing.latency_spread_ns += 60_000.0 * severity,
            FaultKind::MaskedInterrupts => {
                on.firmware.timing.refresh_ns = Timing::REFRESH_NS;
                on.firmware.timing.masked_ns = (Timing::MASKED_NS as f64 * severity) as u64;
            }
            FaultKind::LostCommands => on.firmware.lost_commands = 0.5 * severity,
            FaultKind::GarbledLink => on.garbled = 0.02 * severity,
            FaultKind::BrownOut => on.dips_per_s = 0.4 * severity,
            FaultKind::StuckControl => on.controls[(whichever * CONTROLS as f64) as usize].dead = true,
            FaultKind::DeadLightSegment => on.dead_segment = Some((whichever * SEGMENTS as f64) as usize),
            FaultKind::SwappedLevels => {
                let [.., fourth, fifth, _] = on.firmware.levels;
                let part = libm::pow(fifth / fourth, severity);
                on.firmware.levels[3] = fourth * part;
                on.firmware.levels[4] = fifth / part;
            }
            FaultKind::CreepAfterStop => {
                on.firmware.holds = false;
                on.carriage.cable_force = on.carriage.friction * (1.0 + severity);
            }
            FaultKind::HotMotor => {
                on.driver.run_current *= 1.0 + 0.9 * severity;
                on.driver.hold_current += (on.driver.run_current - on.driver.hold_current) * severity;
            }
            FaultKind::TightCarriage => {
                on.carriage.friction *= factor(6.0);
                on.carriage.viscous *= factor(6.0);
            }
            FaultKind::MuteUnit => on.firmware.mute = true,
            FaultKind::WornControl => on.controls[(whichever * CONTROLS as f64) as usize].bounce *= factor(20.0),
            FaultKind::FlickeringLight => on.light_bar.ripple *= factor(30.0),
            FaultKind::DriftedGain => on.jig.volts_error = 0.02 * severity,
            FaultKind::FastJigClock => on.jig.clock_error = 400e-6 * severity,
            FaultKind::StretchedEncoder => on.jig.encoder_error = 4e-3 * severity,
            FaultKind::DeafInput => on.jig.deaf = Some(EdgeChannel::RightEndStop),
            FaultKind::StickingSwitch => on.end_stops[0].scatter += 0.3e-3 * severity,
        }
    }
}

impl std::fmt::Display for Fault {
    fn fmt(&self, formatter: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(formatter, "{}", self.kind.name())?;
        if self.severity == 1.0 { Ok(()) } else { write!(formatter, ":{}", self.severity) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_read_back_and_mistakes_say_what_there_is() {
        for kind in Fault::ALL {
            assert_eq!(Fault::parse(kind.name()), Ok(Fault::worst(kind)));
            let mild = Fault::parse(&format!("{}:0.25", kind.name())).unwrap();
            assert_eq!((mild.kind, mild.severity(), mild.to_string()), (kind, 0.25, format!("{}:0.25", kind.name())));
            assert!(!kind.explanation().is_empty());
        }
        let unknown = Fault::parse("weak-belt").unwrap_err().to_string();
        assert!(unknown.contains("`weak-belt`") && unknown.contains("loose-belt"), "{unknown}");
        for text in ["weak-pack:2", "weak-pack:-0.1", "weak-pack:", "weak-pack:NaN", "weak-pack:much"] {
            assert!(matches!(Fault::parse(text), Err(FaultProblem::Severity { .. })), "{text}");
        }
    }
}
