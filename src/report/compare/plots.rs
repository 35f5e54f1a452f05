//! Plots of a comparison: each difference against its margin, and the tails of the step intervals.

use super::{OUTCOMES, doubt, in_margins, ordered};
use crate::record::stored::Verdict;
use crate::report::face::{Weight, drawable, fitted};
use crate::report::plot::{Caption, Frame, Plot, Span};
use crate::report::svg::{Anchor, Drawing, Lettering, Stroke, label};
use crate::report::words::visible_within;
use crate::report::{look, number};
use crate::study::compare::intervals::Tail;
use crate::study::compare::{Outcome, Row, Study};

/// Rows drawn at most.
const ROWS_MAX: usize = 60;
const WIDTH: f64 = 520.0;
const NAMES: f64 = 290.0;
const ROW: f64 = 11.0;
const TOP: f64 = 24.0;
/// The axis ends at so many margins; what lies beyond is drawn at its end.
const MARGINS: f64 = 3.0;

/// Each difference with its interval, in margins: within ±1 it does not matter. None without a margin at all.
pub(super) fn margins(study: &Study) -> Option<String> {
    let outcomes = OUTCOMES.into_iter().filter(|outcome| *outcome != Outcome::Alike);
    let rows = outcomes.flat_map(|outcome| ordered(&study.compared, outcome));
    let rows: Vec<(&Row, f64)> =
        rows.filter_map(|row| Some((row, row.margin.as_ref()?.value))).take(ROWS_MAX).collect();
    if rows.is_empty() {
        return None;
    }
    let height = TOP + ROW * rows.len() as f64 + 8.0;
    let what = format!("Differences of {} quantities in margins, with their intervals", rows.len());
    let mut drawing = Drawing::new(WIDTH, height, &what);
    let place =
        |margins: f64| NAMES + (margins.clamp(-MARGINS, MARGINS) + MARGINS) / (2.0 * MARGINS) * (WIDTH - NAMES - 8.0);
    let bottom = height - 6.0;
    drawing.rectangle((place(-1.0), TOP - 6.0), (place(1.0) - place(-1.0), bottom - TOP + 6.0), look::ZONE);
    for tick in [-3.0, -2.0, -1.0, 0.0, 1.0, 2.0, 3.0] {
        drawing.line((place(tick), TOP - 6.0), (place(tick), bottom), Stroke::solid(look::GRID, 0.5));
        let beyond = if tick == 3.0 { " and more" } else { "" };
        let anchor = if tick == 3.0 { Anchor::End } else { Anchor::Middle };
        let at = if tick == 3.0 { WIDTH } else { place(tick) };
        drawing.text((at, TOP - 10.0), &format!("{}{beyond}", number::plain(tick)), label(6.4, anchor));
    }
    drawing.text((0.0, TOP - 10.0), "difference in margins, with its interval", label(6.4, Anchor::Start));
    for (place_of_row, (row, margin)) in rows.iter().enumerate() {
        let y = TOP + ROW * (place_of_row as f64 + 0.5);
        let lettering = Lettering { size: 6.4, weight: Weight::Regular, fill: look::INK, anchor: Anchor::Start };
        let name = drawable(&visible_within(&row.quantity.name(), 160));
        drawing.text((0.0, y + 2.2), &fitted(&name, Weight::Regular, 6.4, NAMES - 8.0), lettering);
        let colour = look::colour(match row.outcome {
            Outcome::Worse => Verdict::DoesNotConform,
            Outcome::CannotTell => Verdict::Undecided,
            _ => Verdict::Conforms,
        });
        let (middle, half) = (in_margins(row), doubt(row) / margin);
        drawing.line((place(middle - half), y), (place(middle + half), y), Stroke::solid(colour, 1.2));
        let is_beyond = middle.abs() > MARGINS;
        let fill = if is_beyond { look::PAPER } else { colour };
        drawing.disc((place(middle), y), 2.0, fill, Stroke::solid(colour, 1.0));
    }
    Some(drawing.finish())
}

/// The tail of one motion's step intervals in both sets.
pub(super) fn tail(study: &Study, motion: (&str, &str)) -> Option<Plot> {
    let is_it = |tail: &&Tail| (tail.check.as_str(), tail.motion.as_str()) == motion;
    let tails: Vec<&Tail> = study.tails.iter().filter_map(|tails| tails.iter().find(is_it)).collect();
    let [before, after] = &tails[..] else { return None };
    let logarithm = |tail: &Tail| -> Vec<(f64, f64)> {
        tail.points.iter().filter(|(_, share)| *share > 0.0).map(|(at, share)| (*at, share.log10())).collect()
    };
    let curves = [logarithm(before), logarithm(after)];
    let all = || curves.iter().flatten();
    let x = Span::of(all().map(|point| point.0), 6.0)?;
    let least = all().map(|point| point.1).fold(0.0, f64::min);
    let y = Span { from: least.floor().max(-9.0), to: 0.0, step: 1.0 };
    let strokes =
        [0, 1].map(|place: usize| Stroke { colour: look::CURVES[place].0, width: 1.0, dash: look::CURVES[place].1 });
    let names = [0, 1].map(|place: usize| visible_within(&study.sets[place].name, 40));
    let reach = |points: &[(f64, f64)]| number::significant(points.last().map_or(0.0, |point| point.0), 3);
    let description = format!(
        "The longest interval lies {} µs above the median in the first set and {} µs in the second.",
        reach(&curves[0]),
        reach(&curves[1])
    );
    let caption = Caption {
        title: "Step intervals",
        unit: "share at least so long",
        along: "µs from the median",
        description,
        legend: names.into_iter().zip(strokes).collect(),
    };
    let mut frame = Frame::new(caption, x, y, |power| number::significant(10f64.powf(power), 1).replace("1 × ", ""));
    for (curve, stroke) in curves.into_iter().zip(strokes) {
        let stepped: Vec<(f64, f64)> =
            curve.windows(2).flat_map(|pair| [pair[0], (pair[1].0, pair[0].1)]).chain(curve.last().copied()).collect();
        let places = frame.places(stepped.into_iter());
        frame.drawing.curve(&places, stroke);
    }
    Some(frame.finish())
}
