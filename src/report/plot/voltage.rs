//! Pack voltage over the run: the band between the lowest and the highest of each stretch, with its minimum marked.

use super::Plot;
use super::frame::{Caption, Frame};
use super::span::Span;
use super::stretch::Stretch;
use crate::record::stored::VoltageBand;
use crate::report::svg::Stroke;
use crate::report::{look, number};

/// Most stretches drawn.
const STRETCHES_MAX: usize = 250;

/// The pack's voltage.
pub fn pack(bands: &[VoltageBand], stretch: Stretch) -> Option<Plot> {
    let x = Span::tight(bands.iter().map(|band| band.at_s).chain([0.0]), 6.0)?;
    let x = stretch.of(x, 6.0)?;
    let lowest = bands.iter().min_by(|one, other| one.low_v.total_cmp(&other.low_v))?;
    let bands = stretch.within(bands, &x, |band| band.at_s);
    let y = Span::of(bands.iter().flat_map(|band| [band.low_v, band.high_v]), 5.0)?;
    let hundredth = |volts: f64| format!("{:.2}", volts.clamp(-1e6, 1e6)).replace('-', "−");
    let caption = Caption {
        title: "Pack voltage",
        unit: "V, lowest and highest of each moment",
        along: "seconds since the run began",
        description: format!(
            "The pack's voltage over the run; its minimum is {} V at {} s.",
            hundredth(lowest.low_v),
            number::plain(lowest.at_s.round())
        ),
        legend: Vec::new(),
    };
    let mut frame = Frame::new(caption, x, y, number::plain);
    let stretches: Vec<(f64, f64, f64)> = bands.chunks(bands.len().div_ceil(STRETCHES_MAX)).map(merged).collect();
    let high = frame.places(stretches.iter().map(|(at, _, high)| (*at, *high)));
    let low = frame.places(stretches.iter().map(|(at, low, _)| (*at, *low)));
    let outline: Vec<(f64, f64)> = high.iter().chain(low.iter().rev()).copied().collect();
    frame.drawing.area(&outline, look::ZONE);
    let (colour, _) = look::CURVES[0];
    frame.drawing.curve(&high, Stroke::solid(colour, 0.5));
    frame.drawing.curve(&low, Stroke::solid(colour, 0.9));
    if bands.iter().any(|band| std::ptr::eq(band, lowest)) {
        let at = frame.place(lowest.at_s, lowest.low_v);
        frame.note(at, &format!("minimum {} V", hundredth(lowest.low_v)));
        frame.drawing.disc(at, 2.0, look::PAPER, Stroke::solid(look::INK, 1.0));
    }
    Some(frame.finish())
}

/// One band for several: when the first began, the lowest, the highest.
fn merged(bands: &[VoltageBand]) -> (f64, f64, f64) {
    bands.iter().fold((bands[0].at_s, f64::INFINITY, f64::NEG_INFINITY), |(at, low, high), band| {
        (at, low.min(band.low_v), high.max(band.high_v))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_minimum_survives_the_thinning_and_is_named() {
        let mut bands: Vec<VoltageBand> =
            (0..5_000).map(|i| VoltageBand { at_s: f64::from(i), low_v: 7.2, high_v: 7.3 }).collect();
        bands[1_234].low_v = 6.1;
        let plot = pack(&bands, Stretch::WHOLE).expect("there are bands");
        assert!(plot.svg.contains(">minimum 6.10 V<"), "{}", plot.svg);
        assert!(plot.description.contains("6.10 V at 1234 s"), "{}", plot.description);
        assert!(plot.svg.len() < 20_000, "{}", plot.svg.len());
    }
}
