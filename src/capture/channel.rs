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
    /// Contact of the unit's first control, as the jig sees its line; high when pressed.
    Control1,
    /// Of the second, in the order of the unit file.
    Control2,
    /// Of the third.
    Control3,
    /// Of the fourth.
    Control4,
}

impl EdgeChannel {
    /// All of them, in the order of their numbers.
    pub const ALL: [EdgeChannel; 12] = [
        Self::Step,
        Self::Direction,
        Self::EncoderA,
        Self::EncoderB,
        Self::LeftEndStop,
        Self::RightEndStop,
        Self::EmergencyStop,
        Self::Guard,
        Self::Control1,
        Self::Control2,
        Self::Control3,
        Self::Control4,
    ];
    /// The contacts of the unit's controls, in the order of the unit file.
    pub const CONTROLS: [EdgeChannel; 4] = [Self::Control1, Self::Control2, Self::Control3, Self::Control4];

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
            Self::Control1 => "control 1",
            Self::Control2 => "control 2",
            Self::Control3 => "control 3",
            Self::Control4 => "control 4",
        }
    }

    /// The contact of the unit's control with this number, counted from 0.
    pub fn control(number: u8) -> Option<Self> {
        Self::CONTROLS.get(usize::from(number)).copied()
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
    /// Light of the whole bar, seen by a photodiode that is quick enough for its flicker; 1 is all segments fully lit.
    LightFlicker,
    /// Red light of the bar, as the colour sensor sees it through its red filter; red, green and blue have one scale.
    Red,
    /// Green light of the bar.
    Green,
    /// Blue light of the bar.
    Blue,
}

impl SampleChannel {
    /// The most segments of a light bar that a jig can watch.
    pub const LIGHTS: usize = 16;
    /// How many sample channels there are.
    pub const COUNT: usize = Self::BEHIND_LIGHTS + 4;
    const BEHIND_LIGHTS: usize = 5 + Self::LIGHTS;

    /// Its number, below [`SampleChannel::COUNT`].
    pub const fn index(self) -> usize {
        match self {
            Self::PackVoltage => 0,
            Self::PackCurrent => 1,
            Self::MotorTemperature => 2,
            Self::HousingTemperature => 3,
            Self::AirTemperature => 4,
            Self::Light(segment) => 5 + segment as usize,
            Self::LightFlicker => Self::BEHIND_LIGHTS,
            Self::Red => Self::BEHIND_LIGHTS + 1,
            Self::Green => Self::BEHIND_LIGHTS + 2,
            Self::Blue => Self::BEHIND_LIGHTS + 3,
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
            5..Self::BEHIND_LIGHTS => Some(Self::Light((index - 5) as u8)),
            _ => match index - Self::BEHIND_LIGHTS {
                0 => Some(Self::LightFlicker),
                1 => Some(Self::Red),
                2 => Some(Self::Green),
                3 => Some(Self::Blue),
                _ => None,
            },
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
            Self::LightFlicker => "light flicker".into(),
            Self::Red => "red".into(),
            Self::Green => "green".into(),
            Self::Blue => "blue".into(),
        }
    }

    /// The channel with this name.
    pub fn named(name: &str) -> Option<Self> {
        (0..Self::COUNT).filter_map(Self::at).find(|channel| channel.name() == name)
    }

    /// Unit of its values; empty for a ratio.
    pub const fn unit(self) -> &'static str {
        match self {
            Self::PackVoltage => "V",
            Self::PackCurrent => "A",
            Self::MotorTemperature | Self::HousingTemperature | Self::AirTemperature => "°C",
            Self::Light(_) | Self::LightFlicker | Self::Red | Self::Green | Self::Blue => "",
        }
    }

    /// What one of its codes is worth a number of; temperatures are counted from 0 °C.
    pub const fn dimension(self) -> Dimension {
        match self {
            Self::PackVoltage => Dimension::Voltage,
            Self::PackCurrent => Dimension::Current,
            Self::MotorTemperature | Self::HousingTemperature | Self::AirTemperature => {
                Dimension::TemperatureDifference
            }
            Self::Light(_) | Self::LightFlicker | Self::Red | Self::Green | Self::Blue => Dimension::Ratio,
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
    /// Switches something for the jig's own check, counted from 0: a reference, a wire to an input.
    Auxiliary(u8),
}

impl OutputChannel {
    /// The most controls that a jig can press.
    pub const CONTROLS: usize = 8;
    /// How many outputs there are.
    pub const COUNT: usize = Self::BEHIND_CONTROLS + 4;
    const BEHIND_CONTROLS: usize = 3 + Self::CONTROLS;

    /// Its number, below [`OutputChannel::COUNT`].
    pub const fn index(self) -> usize {
        match self {
            Self::UnitSupply => 0,
            Self::DummyLoad => 1,
            Self::LowPack => 2,
            Self::Press(control) => 3 + control as usize,
            Self::Auxiliary(number) => Self::BEHIND_CONTROLS + number as usize,
        }
    }

    /// The output with this number.
    pub const fn at(index: usize) -> Option<Self> {
        match index {
            0 => Some(Self::UnitSupply),
            1 => Some(Self::DummyLoad),
            2 => Some(Self::LowPack),
            3..Self::BEHIND_CONTROLS => Some(Self::Press((index - 3) as u8)),
            Self::BEHIND_CONTROLS..Self::COUNT => Some(Self::Auxiliary((index - Self::BEHIND_CONTROLS) as u8)),
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
            Self::Auxiliary(number) => format!("auxiliary {}", number + 1),
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

#[cfg(test)]
mod tests {
    use super::*;

    /// The numbers are in capture files and in the capture board's protocol: they stay for ever.
    #[test]
    fn numbers_and_names_belong_together() {
        for (number, channel) in EdgeChannel::ALL.into_iter().enumerate() {
            assert_eq!((channel as usize, EdgeChannel::named(channel.name())), (number, Some(channel)));
        }
        assert_eq!(EdgeChannel::CONTROLS.map(|channel| channel as u8), [8, 9, 10, 11]);
        assert_eq!((EdgeChannel::control(3), EdgeChannel::control(4)), (Some(EdgeChannel::Control4), None));
        for number in 0..SampleChannel::COUNT {
            let channel = SampleChannel::at(number).expect("a channel");
            assert_eq!((channel.index(), SampleChannel::named(&channel.name())), (number, Some(channel)));
        }
        let (last_light, flicker) = (SampleChannel::Light(15).index(), SampleChannel::LightFlicker.index());
        assert_eq!((last_light, flicker, SampleChannel::Blue.index()), (20, 21, 24));
        assert_eq!(SampleChannel::at(SampleChannel::COUNT), None);
        for number in 0..OutputChannel::COUNT {
            let output = OutputChannel::at(number).expect("an output");
            assert_eq!((output.index(), OutputChannel::named(&output.name())), (number, Some(output)));
        }
        assert_eq!((OutputChannel::Press(7).index(), OutputChannel::Auxiliary(3).index()), (10, 14));
        assert_eq!(OutputChannel::at(OutputChannel::COUNT), None);
    }
}
