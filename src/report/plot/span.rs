//! What an axis spans, and where its round numbers are.

/// Beyond this a number is no measurement of a slider, and arithmetic on it would overflow.
const FAR: f64 = 1e12;
/// Nearer to nothing than this it is nothing.
const NEAR: f64 = 1e-12;

/// A stretch of numbers with round ones on it.
#[derive(Debug, Clone, PartialEq)]
pub struct Span {
    pub from: f64,
    pub to: f64,
    /// Distance of the round numbers.
    pub step: f64,
}

impl Span {
    /// The span of some numbers, widened to round ones about `steps` apart; `None` without any number.
    pub fn of(numbers: impl Iterator<Item = f64>, steps: f64) -> Option<Self> {
        let (least, most) = bounds(numbers)?;
        let step = round_step(widened(least, most), steps);
        let (from, to) = ((least / step).floor() * step, (most / step).ceil() * step);
        Some(Self { from, to: if to > from { to } else { from + step }, step })
    }

    /// The exact span of some numbers, for an axis of time that ends where the run ended.
    pub fn tight(numbers: impl Iterator<Item = f64>, steps: f64) -> Option<Self> {
        let (least, most) = bounds(numbers)?;
        let step = round_step(widened(least, most), steps);
        Some(Self { from: least, to: if most > least { most } else { least + step }, step })
    }

    /// The round numbers on it.
    pub fn ticks(&self) -> Vec<f64> {
        let first = (self.from / self.step - 1e-9).ceil();
        let count = ((self.to / self.step + 1e-9).floor() - first).clamp(0.0, 20.0) as usize;
        (0..=count).map(|index| (first + index as f64) * self.step).collect()
    }

    /// Where a number lies, 0 at `from` and 1 at `to`.
    pub fn share(&self, number: f64) -> f64 {
        ((number - self.from) / (self.to - self.from)).clamp(0.0, 1.0)
    }
}

fn bounds(numbers: impl Iterator<Item = f64>) -> Option<(f64, f64)> {
    numbers.filter(|number| number.is_finite()).map(tamed).fold(None, |bounds, number| {
        let (least, most) = bounds.unwrap_or((number, number));
        Some((number.min(least), number.max(most)))
    })
}

fn tamed(number: f64) -> f64 {
    if number.abs() < NEAR { 0.0 } else { number.clamp(-FAR, FAR) }
}

fn widened(least: f64, most: f64) -> f64 {
    let width = most - least;
    if width > most.abs().max(least.abs()) * 1e-9 { width } else { most.abs().max(1.0) * 0.01 }
}

/// 1, 2 or 5 times a power of ten.
fn round_step(width: f64, steps: f64) -> f64 {
    let rough = width / steps;
    let power = 10f64.powf(rough.log10().floor());
    let multiple = [1.0, 2.0, 5.0].into_iter().find(|multiple| multiple * power >= rough * 0.999).unwrap_or(10.0);
    multiple * power
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ticks_are_round_and_enclose_the_numbers() {
        let span = Span::of([0.0, 91.3].into_iter(), 5.0).expect("there are numbers");
        assert_eq!(span.ticks(), [0.0, 20.0, 40.0, 60.0, 80.0, 100.0]);
        let span = Span::of([6.91, 7.42].into_iter(), 5.0).expect("there are numbers");
        assert!(span.from <= 6.91 && span.to >= 7.42 && span.ticks().len() <= 8, "{span:?}");
    }

    #[test]
    fn odd_numbers_give_a_span_all_the_same() {
        for numbers in [vec![5.0], vec![0.0, 0.0], vec![-1e300, 1e300], vec![1e-300], vec![f64::NAN, 3.0]] {
            let span = Span::of(numbers.iter().copied(), 5.0).expect("there are numbers");
            assert!(span.from < span.to && span.step > 0.0 && span.ticks().len() <= 21, "{numbers:?} {span:?}");
        }
        assert_eq!(Span::of(std::iter::empty(), 5.0), None);
    }
}
