//! A move in words, as it stands in progress lines, captures and reports.

use crate::capture::{Action, Destination};
use crate::quantity::Dimension;

/// "to the right end at 90 mm/s". `lasts` is the length that the plan gives the move, s.
pub(super) fn label(action: &Action, lasts: f64, controls: &[String]) -> String {
    let control = |number: &u8| controls.get(usize::from(*number)).map_or("a control", String::as_str);
    let switch = |on: &bool| if *on { "on" } else { "off" };
    match action {
        Action::Power { on } => format!("unit supply {}", switch(on)),
        Action::Load { on } => format!("dummy load {}", switch(on)),
        Action::Pack { low } => format!("{} pack", if *low { "nearly empty" } else { "full" }),
        Action::Home { side } => format!("home to the {} end", side.name()),
        Action::Travel { to, speed, level } => format!("{} at {}", destination(to), pace(*speed, *level)),
        Action::Stop { towards, speed, press } => {
            let how = press.as_ref().map_or(String::new(), |number| format!(" by {}", control(number)));
            format!(
                "towards the {} end at {}, stopped{how} after {}",
                towards.name(),
                pace(*speed, None),
                seconds(lasts)
            )
        }
        Action::Start { towards, level, press, .. } => {
            let press = control(press);
            format!("started by {press} towards the {} end at level {level} for {}", towards.name(), seconds(lasts))
        }
        Action::Reverse { first, speed } => {
            format!("towards the {} end at {}, turned round after {}", first.name(), pace(*speed, None), seconds(lasts))
        }
        Action::Crawl { towards } => format!("crawl towards the {} end for {}", towards.name(), seconds(lasts)),
        Action::Select { level } => format!("level {level} selected"),
        Action::Press { control: number } => format!("{} pressed", control(number)),
        Action::Wait => format!("{} of rest", seconds(lasts)),
        Action::Ask { question } => format!("asked: {question}"),
        Action::Send { text } => format!("sent: {text}"),
    }
}

fn destination(to: &Destination) -> String {
    match to {
        Destination::End(side) => format!("to the {} end", side.name()),
        Destination::Position(position) => format!("to {}", shown(*position, Dimension::Length)),
        Destination::By(distance) => {
            let way = if *distance < 0.0 { "left" } else { "right" };
            format!("{} to the {way}", shown(distance.abs(), Dimension::Length))
        }
    }
}

fn pace(speed: f64, level: Option<u8>) -> String {
    level.map_or_else(|| shown(speed, Dimension::Speed), |level| format!("level {level}"))
}

fn seconds(lasts: f64) -> String {
    shown(lasts, Dimension::Time)
}

/// A value as plans usually write it.
pub(super) fn shown(si: f64, dimension: Dimension) -> String {
    dimension.usual_unit().show(si)
}
