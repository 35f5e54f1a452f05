//! Causes of tones: what turns, meshes or switches at a known frequency.
//!
//! What hangs on the steps has a frequency that the step rate gives exactly. The mains and the light bar have clocks of
//! their own, a little off: their frequency is taken from the tone nearest to it, and their harmonics from that. A tone
//! belongs to the cause of which it is the lowest harmonic; two causes of one frequency are both named, since no
//! spectrum can tell them apart.

use crate::measure::UnitFacts;
use crate::stats::spectrum::Tone;

/// What can recur.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Cause {
    /// The refresh of the light bar, from the unit file.
    Refresh,
    /// A full step of the motor.
    FullStep,
    /// A turn of the motor's field: four full steps.
    FieldTurn,
    /// A tooth of the belt entering the pulley.
    ToothMesh,
    /// A turn of the pulley and the motor.
    PulleyTurn,
    /// Mains of 50 Hz.
    Mains50,
    /// Mains of 60 Hz.
    Mains60,
}

impl Cause {
    /// In words.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Refresh => "light-bar refresh",
            Self::FullStep => "full step",
            Self::FieldTurn => "electrical cycle (4 full steps)",
            Self::ToothMesh => "tooth mesh",
            Self::PulleyTurn => "pulley turn",
            Self::Mains50 => "mains, 50 Hz",
            Self::Mains60 => "mains, 60 Hz",
        }
    }
}

/// Tones of one cause: a fundamental and its harmonics, or a lone tone.
#[derive(Debug, Clone, PartialEq)]
pub struct Family {
    /// The one of lowest frequency.
    pub tone: Tone,
    /// Which harmonic of the cause that is; 1 is the fundamental.
    pub harmonic: u32,
    /// The cause; nothing where none is known.
    pub cause: Option<Cause>,
    /// Another cause that has the same frequency.
    pub or: Option<Cause>,
    /// The others, in order of frequency.
    pub overtones: Vec<Tone>,
}

impl Family {
    /// Root mean square of all its tones together.
    pub fn rms(&self) -> f64 {
        let squares = self.tones().map(|tone| tone.amplitude * tone.amplitude);
        (0.5 * squares.sum::<f64>()).sqrt()
    }

    fn tones(&self) -> impl Iterator<Item = &Tone> {
        std::iter::once(&self.tone).chain(&self.overtones)
    }
}

/// A cause that may be behind tones.
#[derive(Debug, Clone, Copy)]
struct Suspect {
    cause: Cause,
    /// Hz.
    frequency: f64,
    /// How far that may be off, relative.
    off_at_most: f64,
    /// The highest harmonic that is put down to it.
    harmonics: u32,
}

/// A crystal or resonator of a small controller is off by less (common practice, no source).
const REFRESH_OFF_AT_MOST: f64 = 0.01;
/// Mains are off by less for 99.5 % of a year (EN 50160:2010, 4.2.1, from memory: ± 1 % of 50 Hz; usually far less).
const MAINS_OFF_AT_MOST: f64 = 0.01;

/// All causes, the more particular first. `step_rate` is in steps a second.
fn suspects(unit: &UnitFacts, step_rate: f64) -> Vec<Suspect> {
    let microsteps = f64::from(unit.microsteps);
    let of_steps = |cause, steps: f64, harmonics| {
        let frequency = step_rate / steps;
        (frequency.is_finite() && frequency > 0.0).then_some(Suspect { cause, frequency, off_at_most: 0.0, harmonics })
    };
    let refresh = unit.refresh.map(|frequency| Suspect {
        cause: Cause::Refresh,
        frequency,
        off_at_most: REFRESH_OFF_AT_MOST,
        harmonics: 1000,
    });
    let mains = |cause, frequency| Suspect { cause, frequency, off_at_most: MAINS_OFF_AT_MOST, harmonics: 12 };
    [
        refresh,
        of_steps(Cause::FullStep, microsteps, 4),
        of_steps(Cause::FieldTurn, 4.0 * microsteps, 3),
        of_steps(Cause::ToothMesh, unit.steps_per_metre * unit.belt_pitch, 3),
        of_steps(Cause::PulleyTurn, unit.steps_per_metre * unit.pulley_turn, 3),
        Some(mains(Cause::Mains50, 50.0)),
        Some(mains(Cause::Mains60, 60.0)),
    ]
    .into_iter()
    .flatten()
    .collect()
}

/// A tone's possible cause: which suspect, and which harmonic.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Match {
    cause: Cause,
    harmonic: u32,
}

/// Puts tones together by their causes, the family of most power first. `width` is the distance of two lines, Hz:
/// nearer than half of it, or than three standard uncertainties, frequencies count as equal.
pub(super) fn families(mut tones: Vec<Tone>, unit: &UnitFacts, step_rate: f64, width: f64) -> Vec<Family> {
    tones.sort_by(|one, other| one.frequency.total_cmp(&other.frequency));
    let mut matches: Vec<Vec<Match>> = vec![Vec::new(); tones.len()];
    for suspect in suspects(unit, step_rate) {
        for (index, harmonic) in suspect.harmonics_among(&tones, width) {
            matches[index].push(Match { cause: suspect.cause, harmonic });
        }
    }
    let mut families: Vec<Family> = Vec::new();
    for (tone, matches) in tones.into_iter().zip(matches) {
        let lowest = matches.iter().map(|one| one.harmonic).min().unwrap_or(1);
        let mut best = matches.iter().filter(|one| one.harmonic == lowest).map(|one| one.cause);
        let (cause, or) = (best.next(), best.next());
        let known = families.iter_mut().find(|family| cause.is_some() && family.cause == cause);
        match known {
            Some(family) => family.overtones.push(tone),
            None => families.push(Family { tone, harmonic: lowest, cause, or, overtones: Vec::new() }),
        }
    }
    families.sort_by(|one, other| other.rms().total_cmp(&one.rms()));
    families
}

impl Suspect {
    /// Which of `tones`, ascending, are harmonics of it, and which ones.
    fn harmonics_among(&self, tones: &[Tone], width: f64) -> Vec<(usize, u32)> {
        let near = |tone: &Tone| (0.5 * width).max(3.0 * tone.frequency_uncertainty);
        let Some((mut fundamental, mut doubt)) = self.fundamental(tones, near) else { return Vec::new() };
        let mut found = Vec::new();
        for (index, tone) in tones.iter().enumerate() {
            let harmonic = (tone.frequency / fundamental).round().max(1.0);
            if harmonic > f64::from(self.harmonics) {
                break;
            }
            let reach = near(tone) + harmonic * doubt;
            // So wide a reach would take in anything.
            if reach < 0.25 * fundamental && (tone.frequency - harmonic * fundamental).abs() <= reach {
                found.push((index, harmonic as u32));
                if self.off_at_most > 0.0 && near(tone) / harmonic < doubt {
                    // How well the fundamental is known grows with each harmonic.
                    (fundamental, doubt) = (tone.frequency / harmonic, near(tone) / harmonic);
                }
            }
        }
        found
    }

    /// The fundamental and how far it may be off: as it is said to be, or that of the largest tone that is near it or
    /// its double; nothing where there is none.
    fn fundamental(&self, tones: &[Tone], near: impl Fn(&Tone) -> f64) -> Option<(f64, f64)> {
        if self.off_at_most == 0.0 {
            return Some((self.frequency, 0.0));
        }
        let largest_near = |harmonic: f64| {
            let about = harmonic * self.frequency;
            let close = |tone: &&Tone| (tone.frequency - about).abs() <= near(tone) + about * self.off_at_most;
            let largest = tones.iter().filter(close).max_by(|one, other| one.amplitude.total_cmp(&other.amplitude))?;
            Some((largest.frequency / harmonic, near(largest) / harmonic))
        };
        largest_near(1.0).or_else(|| largest_near(2.0))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::PackFacts;

    fn unit() -> UnitFacts {
        UnitFacts {
            steps_per_metre: 80_000.0,
            acceleration: 1.6,
            microsteps: 16,
            step_timer: None,
            belt_pitch: 2e-3,
            pulley_turn: 40e-3,
            travel: 0.56,
            levels: Vec::new(),
            segments: 6,
            refresh: Some(120.0),
            crawl_increment: 0.2e-3,
            crawl_interval: 2.0,
            pack: PackFacts::default(),
            housing_limit: None,
        }
    }

    fn tone(frequency: f64) -> Tone {
        Tone {
            frequency,
            frequency_uncertainty: 1e-3,
            amplitude: 1.0,
            amplitude_uncertainty: 0.1,
            degrees_of_freedom: 20.0,
            above_noise: 7.0,
        }
    }

    fn named(frequencies: &[f64]) -> Vec<(f64, Option<Cause>, u32, usize)> {
        let tones = frequencies.iter().copied().map(tone).collect();
        let mut families = families(tones, &unit(), 7200.0, 0.2);
        families.sort_by(|one, other| one.tone.frequency.total_cmp(&other.tone.frequency));
        families.iter().map(|one| (one.tone.frequency, one.cause, one.harmonic, one.overtones.len())).collect()
    }

    // Outside: 90 mm/s on 20 teeth of 2 mm, 200 full steps a turn, 1/16: 2.25, 45, 112.5 and 450 Hz; how: closed form
    #[test]
    fn what_hangs_on_the_steps_is_named_by_its_frequency() {
        let found = named(&[2.25, 45.0, 112.5, 450.0, 77.7]);
        let expected = [
            (2.25, Some(Cause::PulleyTurn), 1, 0),
            (45.0, Some(Cause::ToothMesh), 1, 0),
            (77.7, None, 1, 0),
            (112.5, Some(Cause::FieldTurn), 1, 0),
            (450.0, Some(Cause::FullStep), 1, 0),
        ];
        assert_eq!(found, expected);
    }

    #[test]
    fn clocks_of_their_own_may_be_a_little_off_and_take_their_harmonics_with_them() {
        let found = named(&[49.9, 99.8, 119.4, 238.8, 358.2, 1194.0, 1200.0]);
        assert_eq!(
            found,
            [(49.9, Some(Cause::Mains50), 1, 1), (119.4, Some(Cause::Refresh), 1, 3), (1200.0, None, 1, 0)]
        );
    }

    #[test]
    fn two_causes_of_one_frequency_are_both_named() {
        let mut unit = unit();
        unit.refresh = Some(50.0);
        let families = families(vec![tone(50.01)], &unit, 7200.0, 0.2);
        assert_eq!((families[0].cause, families[0].or), (Some(Cause::Refresh), Some(Cause::Mains50)));
    }
}
