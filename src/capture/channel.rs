//! What a jig can sense and drive. A jig has at most one channel of each kind, so the kind is the channel's name.

use crate::quantity::Dimension;

/// A digital line whose transitions are stamped.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
#[repr(u8)]
pub enum EdgeChannel {
    /// The driver's step pulse; only its rising edges are kept.
    Step,
    /// The driver's direction line; high is towards the right end.
    Direction,
    /// First track of the jig's linear encoder on the carriage.
    EncoderA,
    /// Second track; A leads B towards the right end.
    EncoderB,
    /// The unit's left end switch; high when pressed.
    LeftEndStop,
    /// The unit's right end switch; high when pressed.
    RightEndStop,
    /// The bench's emergency-stop chain; high when it is healthy.
    EmergencyStop,
    /// The bench's guard; high when closed.
    Guard,
}

impl EdgeChannel {
    /// All of them, in the order of their numbers.
    pub const ALL: [EdgeChannel; 8] = [
        Self::Step,
        Self::Direction,
        Self::EncoderA,
        Self::EncoderB,
        Self::LeftEndStop,
        Self::RightEndStop,
        Self::EmergencyStop,
        Self::Guard,
    ];

    /// Its words in jig files and captures.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Step => "step",
            Self::Direction => "direction",
            Self::EncoderA => "encoder a",
            Self::EncoderB => "encoder b",
            Self::LeftEndStop => "left end stop",
            Self::RightEndStop => "right end stop",
            Self::EmergencyStop => "emergency stop",
            Self::Guard => "guard",
        }
    }

    /// The channel with this name.
    pub fn named(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|channel| channel.name() == name)
    }
}

/// An analogue quantity that is sampled.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum SampleChannel {
    /// Voltage at the pack's contacts, V.
    PackVoltage,
    /// Current out of the pack, A.
    PackCurrent,
    /// Motor case, °C.
    MotorTemperature,
    /// Housing at the motor mount, °C.
    HousingTemperature,
    /// Air at the jig, °C.
    AirTemperature,
    /// Light on one segment of the light bar, counted from 0; 1 is a fully lit segment.
    Light(u8),
}

impl SampleChannel {
    /// The most segments of a light bar that a jig can watch.
    pub const LIGHTS: usize = 16;
    /// How many sample channels there are.
    pub const COUNT: usize = 5 + Self::LIGHTS;

    /// Its number, below [`SampleChannel::COUNT`].
    pub const fn index(self) -> usize {
        match self {
            Self::PackVoltage => 0,
            Self::PackCurrent => 1,
            Self::MotorTemperature => 2,
            Self::HousingTemperature => 3,
            Self::AirTemperature => 4,
            Self::Light(segment) => 5 + segment as usize,
        }
    }

    /// The channel with this number.
    pub const fn at(index: usize) -> Option<Self> {
        match index {
            0 => Some(Self::PackVoltage),
            1 => Some(Self::PackCurrent),
            2 => Some(Self::MotorTemperature),
            3 => Some(Self::HousingTemperature),
            4 => Some(Self::AirTemperature),
            5..Self::COUNT => Some(Self::Light((index - 5) as u8)),
            _ => None,
        }
    }

    /// Its words in jig files and captures: `light 1` is the first segment.
    pub fn name(self) -> String {
        match self {
            Self::PackVoltage => "pack voltage".into(),
            Self::PackCurrent => "pack current".into(),
            Self::MotorTemperature => "motor temperature".into(),
            Self::HousingTemperature => "housing temperature".into(),
            Self::AirTemperature => "air temperature".into(),
            Self::Light(segment) => format!("light {}", segment + 1),
        }
    }

    /// The channel with this name.
    pub fn named(name: &str) -> Option<Self> {
        (0..Self::COUNT).filter_map(Self::at).find(|channel| channel.name() == name)
    }

    /// What one of its codes is worth a number of; temperatures are counted from 0 °C.
    pub const fn dimension(self) -> Dimension {
        match self {
            Self::PackVoltage => Dimension::Voltage,
            Self::PackCurrent => Dimension::Current,
            Self::MotorTemperature | Self::HousingTemperature | Self::AirTemperature => {
                Dimension::TemperatureDifference
            }
            Self::Light(_) => Dimension::Ratio,
        }
    }
}

/// Something the jig switches.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum OutputChannel {
    /// Relay between pack and unit.
    UnitSupply,
    /// Resistor across the pack, for a step of current.
    DummyLoad,
    /// Selects the bench's nearly empty pack instead of the full one.
    LowPack,
    /// Presses the unit's control with this number, counted from 0 in the order of the unit file.
    Press(u8),
}

impl OutputChannel {
    /// The most controls that a jig can press.
    pub const CONTROLS: usize = 8;
    /// How many outputs there are.
    pub const COUNT: usize = 3 + Self::CONTROLS;

    /// Its number, below [`OutputChannel::COUNT`].
    pub const fn index(self) -> usize {
        match self {
            Self::UnitSupply => 0,
            Self::DummyLoad => 1,
            Self::LowPack => 2,
            Self::Press(control) => 3 + control as usize,
        }
    }

    /// The output with this number.
    pub const fn at(index: usize) -> Option<Self> {
        match index {
            0 => Some(Self::UnitSupply),
            1 => Some(Self::DummyLoad),
            2 => Some(Self::LowPack),
            3..Self::COUNT => Some(Self::Press((index - 3) as u8)),
            _ => None,
        }
    }

    /// Its words in jig files and captures: `press 1` is the unit file's first control.
    pub fn name(self) -> String {
        match self {
            Self::UnitSupply => "unit supply".into(),
            Self::DummyLoad => "dummy load".into(),
            Self::LowPack => "low pack".into(),
            Self::Press(control) => format!("press {}", control + 1),
        }
    }

    /// The output with this name.
    pub fn named(name: &str) -> Option<Self> {
        (0..Self::COUNT).filter_map(Self::at).find(|channel| channel.name() == name)
    }
}

/// How a sample channel's code becomes a value, and how far that is in doubt.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Calibration {
    /// Value per code, in the channel's SI unit (°C for temperatures).
    pub gain: f64,
    /// Value at code 0.
    pub offset: f64,
    /// Standard uncertainty of the gain, relative.
    pub gain_uncertainty: f64,
    /// Standard uncertainty of the offset, in the channel's unit.
    pub offset_uncertainty: f64,
}

impl Calibration {
    /// The value that a code stands for.
    pub fn value(&self, code: i32) -> f64 {
        self.gain * f64::from(code) + self.offset
    }
}
