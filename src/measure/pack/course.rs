//! Voltage and current of a stretch in blocks, and the columns by which voltage follows current.
//!
//! A pack gives its open-circuit voltage, less what drops across a resistance at once, less what drops across a slow one
//! that a capacitance bridges, less what the charge taken has lowered the open-circuit voltage by. In blocks of equal
//! length, with the current steady inside each, all four columns are exact.

use super::super::Setup;
use super::super::converter::Converter;
use super::super::evidence::CheckEvidence;
use super::super::values::seconds;
use crate::capture::{Sample, SampleChannel, Tick};

/// The columns: open-circuit voltage, resistance at once, slow resistance, charge taken.
pub(super) const COLUMNS: usize = 4;
/// Place of the resistance at once among them.
pub(super) const OHMIC: usize = 1;
/// Place of the slow resistance.
pub(super) const SLOW: usize = 2;

/// A block: how long it is, its current in A, and its mean voltage in codes where samples came in it.
#[derive(Debug, Clone, Copy)]
struct Block {
    lasts_s: f64,
    ampere: f64,
    volt: Option<f64>,
}

/// A stretch in blocks.
#[derive(Debug, Clone, Default)]
pub(super) struct Course {
    blocks: Vec<Block>,
    /// Mean voltage of each block that has one, in codes about their mean.
    pub readings: Vec<f64>,
    /// Voltage samples in a block, on average.
    pub samples: f64,
    /// Standard deviation of their currents, A.
    pub current_spread: f64,
    /// Length of a block, s.
    pub block_s: f64,
    /// Length of the whole, s.
    pub lasts_s: f64,
}

impl Course {
    /// The stretch between the first and the last of `bounds`, in about `count` blocks none of which spans a bound. After
    /// each bound but the first the next sample is left out: it may have been averaged over the switching.
    pub fn of(check: &CheckEvidence, bounds: &[Tick], count: usize, setup: &Setup) -> Option<Self> {
        let ampere = Converter::of(SampleChannel::PackCurrent, setup).ok()?;
        let (first, last) = (*bounds.first()?, *bounds.last()?);
        let whole = last.checked_sub(first).filter(|whole| *whole > 0)?;
        let mut course = Self { lasts_s: seconds(whole as f64, setup), ..Self::default() };
        let mut taken = 0;
        for (index, pair) in bounds.windows(2).enumerate().filter(|(_, pair)| pair[0] < pair[1]) {
            let length = pair[1] - pair[0];
            let parts = ((length as f64 / whole as f64 * count as f64).round() as u64).max(1);
            let samples = |channel| {
                let samples = check.samples(channel, pair[0] + 1, pair[1] - 1);
                samples.get(usize::from(index > 0)..).unwrap_or(&[])
            };
            let mut volts = samples(SampleChannel::PackVoltage);
            let mut amperes = samples(SampleChannel::PackCurrent);
            for part in 1..=parts {
                let until = pair[0] + (u128::from(length) * u128::from(part) / u128::from(parts)) as Tick;
                let volt = mean_until(&mut volts, until);
                let current = mean_until(&mut amperes, until).map(|(code, _)| ampere.value(code));
                taken += volt.map_or(0, |(_, samples)| samples);
                // Before its first sample nothing is known of the current, nor needed.
                if let Some(ampere) = current.or(course.blocks.last().map(|block| block.ampere)) {
                    let lasts_s = seconds(length as f64 / parts as f64, setup);
                    course.blocks.push(Block { lasts_s, ampere, volt: volt.map(|(code, _)| code) });
                }
            }
        }
        course.summarise(taken);
        (!course.readings.is_empty()).then_some(course)
    }

    fn summarise(&mut self, taken: usize) {
        let volts = || self.blocks.iter().filter_map(|block| block.volt);
        let count = volts().count().max(1) as f64;
        let level = volts().sum::<f64>() / count;
        self.readings = volts().map(|volt| volt - level).collect();
        self.samples = taken as f64 / count;
        let blocks = self.blocks.len().max(1) as f64;
        let current = self.blocks.iter().map(|block| block.ampere).sum::<f64>() / blocks;
        let squares: f64 = self.blocks.iter().map(|block| (block.ampere - current).powi(2)).sum();
        self.current_spread = (squares / blocks).sqrt();
        self.block_s = self.lasts_s / blocks;
    }

    /// The columns for a time constant of the slow part, which has settled to the first current before the stretch.
    pub fn columns(&self) -> impl Fn(f64, &mut Vec<[f64; COLUMNS]>) + '_ {
        move |time_constant, rows| {
            let mut slow = self.blocks.first().map_or(0.0, |block| block.ampere);
            let mut charge = 0.0;
            let (mut known, mut decay) = (f64::NAN, 1.0);
            for block in &self.blocks {
                if block.lasts_s != known {
                    (known, decay) = (block.lasts_s, (-block.lasts_s / time_constant).exp());
                }
                let away = slow - block.ampere;
                let mean = block.ampere + away * (1.0 - decay) * time_constant / block.lasts_s;
                let taken = block.ampere * block.lasts_s;
                if block.volt.is_some() {
                    rows.push([1.0, block.ampere, mean, charge + 0.5 * taken]);
                }
                slow = block.ampere + away * decay;
                charge += taken;
            }
        }
    }
}

/// Mean code of the samples before `until`, and how many they are; takes them off.
fn mean_until(samples: &mut &[Sample], until: Tick) -> Option<(f64, usize)> {
    let count = samples.iter().take_while(|sample| sample.at < until).count();
    let (now, later) = samples.split_at(count);
    *samples = later;
    let sum: i64 = now.iter().map(|sample| i64::from(sample.code)).sum();
    (count > 0).then(|| (sum as f64 / count as f64, count))
}
