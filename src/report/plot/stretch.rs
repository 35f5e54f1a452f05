//! A stretch of a plot's axis along the bottom: the same plot closer, drawn anew so that both axes keep their numbers.

use super::span::Span;

/// The narrowest share of an axis that is shown.
const NARROWEST: f64 = 1e-3;

/// From one share of the axis to another.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stretch {
    pub from: f64,
    pub to: f64,
}

impl Stretch {
    /// All of it.
    pub const WHOLE: Self = Self { from: 0.0, to: 1.0 };

    /// The stretch between two shares, put right where it would lie outside or be too narrow.
    pub fn new(from: f64, to: f64) -> Self {
        if !(from.is_finite() && to.is_finite()) {
            return Self::WHOLE;
        }
        let width = (to - from).clamp(NARROWEST, 1.0);
        let from = from.clamp(0.0, 1.0 - width);
        Self { from, to: from + width }
    }

    /// A stretch around the same middle, so many times as wide.
    pub fn wider(self, factor: f64) -> Self {
        let (middle, half) = (f64::midpoint(self.from, self.to), 0.5 * factor * (self.to - self.from));
        Self::new(middle - half, middle + half)
    }

    /// A stretch so many of its widths further on.
    pub fn further(self, widths: f64) -> Self {
        let by = widths * (self.to - self.from);
        Self::new(self.from + by, self.to + by)
    }

    /// What it leaves of an axis with round numbers about `steps` apart.
    pub(super) fn of(self, whole: Span, steps: f64) -> Option<Span> {
        if self == Self::WHOLE {
            return Some(whole);
        }
        let at = |share: f64| whole.from + share * (whole.to - whole.from);
        Span::tight([at(self.from), at(self.to)].into_iter(), steps)
    }

    /// What it leaves of things in order of their places on an axis.
    pub(super) fn within<'a, T>(self, things: &'a [T], axis: &Span, place: impl Fn(&T) -> f64) -> &'a [T] {
        if self == Self::WHOLE {
            return things;
        }
        let from = things.partition_point(|thing| place(thing) < axis.from);
        let to = things.partition_point(|thing| place(thing) <= axis.to);
        &things[from.min(to)..to]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_stretch_stays_on_its_axis() {
        assert_eq!(Stretch::new(0.25, 0.75).wider(0.5), Stretch::new(0.375, 0.625));
        assert_eq!(Stretch::new(0.25, 0.75).wider(4.0), Stretch::WHOLE);
        assert_eq!(Stretch::new(0.25, 0.75).further(2.0), Stretch::new(0.5, 1.0));
        assert_eq!(Stretch::new(0.0, 0.25).further(-1.0), Stretch::new(0.0, 0.25));
        assert_eq!(Stretch::new(f64::NAN, 2.0), Stretch::WHOLE);
        let least = Stretch::new(0.9999, 0.2);
        assert!(least.to <= 1.0 && least.to - least.from > 0.0009, "{least:?}");
    }

    #[test]
    fn what_lies_outside_is_left_out() {
        let things = [0.0, 1.0, 2.0, 3.0, 4.0];
        let whole = Span::tight(things.into_iter(), 4.0).expect("numbers");
        let stretch = Stretch::new(0.25, 0.5);
        let axis = stretch.of(whole, 4.0).expect("numbers");
        assert_eq!(stretch.within(&things, &axis, |at| *at), [1.0, 2.0]);
        assert!(stretch.within(&[5.0, 6.0], &axis, |at| *at).is_empty());
    }
}
