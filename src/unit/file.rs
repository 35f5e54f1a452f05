//! The unit file: a model of unit as its maker describes it, checked once.

mod pack;
mod serial;

use super::SerialNumbers;
use super::dialect::{Answers, Dialect, MotionEnd, NumberForm, Request, SideWords, Template};
use crate::measure::UnitFacts;
use crate::port::{Flow, Parity, SerialSettings};
use crate::quantity::{Dimension, Quantity, Unit as Symbol};
use crate::written::{Fields, List, Node, Notes, Problem, Scalar, Source, read};
use regex::Regex;
use std::time::Duration;

/// What is wrong with a text, and what would be right.
type Mistake = (String, String);

/// A model of unit.
#[derive(Debug, Clone)]
pub struct Unit {
    /// The model's name, as plans call it.
    pub model: String,
    /// The model's name as buyers know it.
    pub title: String,
    /// Who makes it.
    pub maker: String,
    /// The model's name in the unit's own words.
    pub reports_as: String,
    /// What a serial number of this model looks like.
    pub serial_numbers: SerialNumbers,
    /// Numbers for measuring.
    pub facts: UnitFacts,
    /// Highest speed that a plan may ask for, m/s.
    pub speed_max: f64,
    /// Speed of homing, m/s.
    pub homing_speed: f64,
    /// Acceleration of the firmware's ramps, m/s².
    pub acceleration: f64,
    /// Names of the controls; their order gives the number of the jig's `press` output.
    pub controls: Vec<String>,
    /// Its serial link.
    pub link: LinkSettings,
    /// Its firmware's line protocol.
    pub dialect: Dialect,
}

/// A unit's serial link.
#[derive(Debug, Clone)]
pub struct LinkSettings {
    /// Baud rate, data bits, parity, stop bits.
    pub serial: SerialSettings,
    /// What ends a line that is sent.
    pub line_ending: String,
    /// Commands that are sent without it: single characters that the firmware takes at any time.
    pub bare: Vec<&'static str>,
    /// How long an answer may take.
    pub answer_within: Duration,
    /// How often a command is sent before the unit counts as not answering.
    pub tries: u32,
    /// How long a unit may take from supply on to its banner.
    pub start_up_within: Duration,
}

impl LinkSettings {
    /// What ends a request on the line.
    pub fn ending(&self, request: &Request) -> &str {
        if self.bare.contains(&request.key()) { "" } else { &self.line_ending }
    }
}

impl Unit {
    /// Reads and checks a unit file.
    ///
    /// # Errors
    /// All mistakes that were found, in the order of the text.
    pub fn read(source: &Source) -> Result<Self, Vec<Problem>> {
        let notes = Notes::on(source);
        let unit = read(&notes).and_then(|root| whole(&root, &notes));
        notes.finish(unit)
    }
}

fn whole(root: &Node, notes: &Notes) -> Option<Unit> {
    let file = Fields::of(root, "a unit file", "unit: dunlin-600", notes)?;
    let model = file.need_word("unit", "dunlin-600").map(|word| word.text.clone());
    let maker = file.need_word("maker", "Saltmarsh Motion").map(|word| word.text.clone());
    let title = file.word("title", "Dunlin 600").map(|word| word.text.clone()).or_else(|| model.clone());
    let reports_as = file.word("reports as", "DUNLIN 600").map(|word| word.text.clone()).or_else(|| model.clone());
    let serial_numbers = serial::serial_numbers(&file);
    let drive = file.need_fields("drive", "{ step angle: 1.8 deg, … }").and_then(drive);
    let travel = positive(&file, "travel", Dimension::Length, "560 mm");
    let speed_max = positive(&file, "highest speed", Dimension::Speed, "95 mm/s");
    let crawl = file.need_fields("crawl", "{ increment: 0.2 mm, interval: 2 s }").and_then(crawl);
    let levels =
        file.need_list("levels", "[ crawl, 5 mm/s, 40 mm/s ]").map(|list| levels(list, crawl, speed_max, notes));
    let controls = controls(&file);
    let light_bar = file.fields("light bar", "{ segments: 6 }").map_or(Some((0, None)), light_bar);
    let pack = pack::pack(&file);
    let housing_limit = pack::housing(&file);
    let link = file.need_fields("link", "{ baud: 115200, line ending: LF, … }").and_then(link);
    let steps_per_metre = drive.as_ref().map_or(1.0, |drive| drive.steps_per_metre);
    let dialect = dialect(&file, steps_per_metre);
    file.end();

    let (drive, (crawl_increment, crawl_interval), (segments, refresh)) = (drive?, crawl?, light_bar?);
    Some(Unit {
        model: model?,
        title: title?,
        maker: maker?,
        reports_as: reports_as?,
        serial_numbers: serial_numbers?,
        facts: UnitFacts {
            steps_per_metre: drive.steps_per_metre,
            acceleration: drive.acceleration,
            microsteps: drive.microsteps,
            step_timer: drive.step_timer,
            belt_pitch: drive.belt_pitch,
            pulley_turn: drive.pulley_turn,
            travel: travel?,
            levels: levels?,
            segments,
            refresh,
            crawl_increment,
            crawl_interval,
            pack: pack?,
            housing_limit: housing_limit?,
        },
        speed_max: speed_max?,
        homing_speed: drive.homing_speed,
        acceleration: drive.acceleration,
        controls,
        link: link?,
        dialect: dialect?,
    })
}

struct Drive {
    steps_per_metre: f64,
    microsteps: u32,
    step_timer: Option<f64>,
    belt_pitch: f64,
    pulley_turn: f64,
    acceleration: f64,
    homing_speed: f64,
}

fn drive(fields: Fields<'_>) -> Option<Drive> {
    let step_angle = positive(&fields, "step angle", Dimension::Angle, "1.8 deg");
    let microsteps = whole_number(&fields, "microsteps", "16", 1..=256);
    let step_timer = optional(&fields, "step timer", "2 MHz", None, |text| {
        quantity(text, Dimension::Frequency).and_then(above_zero).map(Some)
    });
    let teeth = whole_number(&fields, "pulley teeth", "20", 6..=200);
    let belt_pitch = positive(&fields, "belt pitch", Dimension::Length, "2 mm");
    let acceleration = positive(&fields, "acceleration", Dimension::Acceleration, "1600 mm/s²");
    let homing_speed = positive(&fields, "homing speed", Dimension::Speed, "15 mm/s");
    fields.end();
    let (microsteps, belt_pitch) = (microsteps?, belt_pitch?);
    let steps_per_turn = std::f64::consts::TAU / step_angle? * f64::from(microsteps);
    let pulley_turn = f64::from(teeth?) * belt_pitch;
    Some(Drive {
        steps_per_metre: steps_per_turn / pulley_turn,
        microsteps,
        step_timer: step_timer?,
        belt_pitch,
        pulley_turn,
        acceleration: acceleration?,
        homing_speed: homing_speed?,
    })
}

fn crawl(fields: Fields<'_>) -> Option<(f64, f64)> {
    let increment = positive(&fields, "increment", Dimension::Length, "0.2 mm");
    let interval = positive(&fields, "interval", Dimension::Time, "2 s");
    fields.end();
    Some((increment?, interval?))
}

/// Nominal speeds; the word `crawl` stands for the crawl's mean speed.
fn levels(list: &List, crawl: Option<(f64, f64)>, speed_max: Option<f64>, notes: &Notes) -> Vec<f64> {
    let mut speeds: Vec<f64> = Vec::new();
    for item in &list.items {
        let Node::Scalar(word) = item else {
            notes.add(
                item.at(),
                format!("a level is a speed, but this is {}", item.kind()),
                "write for example `40 mm/s`",
            );
            continue;
        };
        let speed = if word.text.trim() == "crawl" {
            crawl.map(|(increment, interval)| increment / interval)
        } else {
            word.understood(notes, |text| quantity(text, Dimension::Speed).and_then(above_zero))
        };
        let Some(speed) = speed else { continue };
        if speed_max.is_some_and(|highest| speed > highest) {
            notes.add(&word.at, "this level is faster than the `highest speed`", "lower it, or raise `highest speed`");
        }
        if speeds.last().is_some_and(|lower| speed <= *lower) {
            notes.add(&word.at, "levels rise from the first to the last", "put them in order of speed");
        }
        speeds.push(speed);
    }
    if list.items.is_empty() || list.items.len() > 99 {
        notes.add(&list.at, "there are 1 to 99 levels", "write for example `levels: [ 5 mm/s, 40 mm/s ]`");
    }
    speeds
}

fn controls(file: &Fields<'_>) -> Vec<String> {
    let words = file.words("controls", "[ knob push, stop key ]");
    if let Some(extra) = words.get(crate::capture::OutputChannel::CONTROLS) {
        file.notes().add(&extra.at, "a jig presses at most 8 controls", "leave this one out");
    }
    for (number, word) in words.iter().enumerate() {
        if words[..number].iter().any(|earlier| earlier.text == word.text) {
            file.notes().add(&word.at, format!("there are two controls `{}`", word.text), "give each its own name");
        }
    }
    words.iter().map(|word| word.text.clone()).collect()
}

/// Number of segments, and how often they are refreshed where the file says so.
fn light_bar(fields: Fields<'_>) -> Option<(u8, Option<f64>)> {
    let segments = whole_number(&fields, "segments", "6", 1..=crate::capture::SampleChannel::LIGHTS as u32);
    let refresh = optional(&fields, "refresh", "50 Hz", None, |text| {
        quantity(text, Dimension::Frequency).and_then(above_zero).map(Some)
    });
    fields.end();
    Some((segments? as u8, refresh?))
}

fn link(fields: Fields<'_>) -> Option<LinkSettings> {
    let baud = whole_number(&fields, "baud", "115200", 50..=4_000_000);
    let data_bits = optional(&fields, "data bits", "8", 8, |text| choice(text, &[("7", 7), ("8", 8)]));
    let stop_bits = optional(&fields, "stop bits", "1", 1, |text| choice(text, &[("1", 1), ("2", 2)]));
    let parity = optional(&fields, "parity", "none", Parity::None, |text| {
        choice(text, &[("none", Parity::None), ("even", Parity::Even), ("odd", Parity::Odd)])
    });
    let line_ending = optional(&fields, "line ending", "LF", "\n", |text| {
        choice(text, &[("LF", "\n"), ("CR", "\r"), ("CRLF", "\r\n")])
    });
    let flow = optional(&fields, "flow control", "none", Flow::None, |text| {
        choice(text, &[("none", Flow::None), ("XON/XOFF", Flow::Software), ("RTS/CTS", Flow::Hardware)])
    });
    let keys = Request::KEYS.map(|(key, _)| (key, key));
    let bare = fields.words("without line ending", "[ state ]").into_iter();
    let bare = bare.filter_map(|word| word.understood(fields.notes(), |text| choice(text, &keys))).collect();
    let answer_within = duration(&fields, "answer within", "500 ms");
    let tries = whole_number(&fields, "tries", "3", 1..=10);
    let start_up_within = duration(&fields, "start up within", "2 s");
    fields.end();
    Some(LinkSettings {
        serial: SerialSettings {
            baud: baud?,
            data_bits: data_bits?,
            parity: parity?,
            stop_bits: stop_bits?,
            flow: flow?,
        },
        line_ending: line_ending?.to_owned(),
        bare,
        answer_within: answer_within?,
        tries: tries?,
        start_up_within: start_up_within?,
    })
}

fn dialect(file: &Fields<'_>, steps_per_metre: f64) -> Option<Dialect> {
    let templates = file.need_fields("commands", "{ home: \"HOME {side}\", … }").map(templates);
    let forms = file.need_fields("forms", "{ side: { left: L, right: R }, … }").and_then(|forms| {
        let sides = forms.need_fields("side", "{ left: L, right: R }").and_then(side_words);
        let form = |key, fallback, dimension| match forms.fields(key, "{ unit: mm, decimals: 2 }") {
            Some(fields) => number_form(fields, dimension, steps_per_metre),
            None => Some(fallback),
        };
        let millimetres = NumberForm { per_si: 1000.0, decimals: 2 };
        let speed = form("speed", millimetres, Dimension::Speed);
        let position = form("position", millimetres, Dimension::Length);
        let distance = form("distance", millimetres, Dimension::Length);
        forms.end();
        Some((sides?, speed?, position?, distance?))
    });
    let answers = file.need_fields("answers", "{ acknowledged: \"^OK {command}$\", … }").and_then(answers);
    let (templates, (sides, speed, position, distance), (answers, quiet)) = (templates?, forms?, answers?);
    let motion_end = match quiet {
        _ if answers.done.is_some() => MotionEnd::Reported,
        _ if answers.state.is_some() && templates[8].is_some() => MotionEnd::Asked,
        Some(quiet) => MotionEnd::Watched { quiet },
        None => {
            file.notes().add(
                file.at(),
                "nothing tells the bench that a motion has ended",
                "give a pattern `done` under `answers`, or a command `state` with the pattern `state`, or `rest after: 500 ms`",
            );
            return None;
        }
    };
    Some(Dialect { templates, sides, speed, position, distance, motion_end, answers })
}

fn templates(fields: Fields<'_>) -> [Option<Template>; Request::KEYS.len()] {
    let read = |(key, slots): (&'static str, &'static [&'static str])| {
        fields.parsed(key, "\"GO {side} {speed}\"", |text| {
            Template::read(text, slots).map_err(|what| (what, format!("this command's slots: {}", in_braces(slots))))
        })
    };
    let templates = Request::KEYS.map(read);
    fields.end();
    templates
}

fn in_braces(slots: &[&str]) -> String {
    if slots.is_empty() {
        "none".into()
    } else {
        slots.iter().map(|slot| format!("{{{slot}}}")).collect::<Vec<_>>().join(" ")
    }
}

fn side_words(fields: Fields<'_>) -> Option<SideWords> {
    let left = fields.need_word("left", "L").map(|word| word.text.clone());
    let right = fields.need_word("right", "R").map(|word| word.text.clone());
    if let (Some(left), Some(right)) = (&left, &right)
        && left == right
    {
        fields.notes().add(fields.at(), "both ends have the same word", "give each end its own, such as L and R");
        return None;
    }
    fields.end();
    Some(SideWords { left: left?, right: right? })
}

/// `unit: mm/min`, `unit: steps`, `unit: 0.1 mm`: one of the firmware's numbers for how much.
fn number_form(fields: Fields<'_>, dimension: Dimension, steps_per_metre: f64) -> Option<NumberForm> {
    let per_si = fields.need_parsed("unit", "mm", |text| match (text, dimension) {
        ("steps", Dimension::Length) | ("steps/s", Dimension::Speed) => Ok(steps_per_metre),
        _ => match Symbol::named(text).filter(|unit| unit.dimension() == dimension) {
            Some(unit) => Ok(unit.from_si(1.0)),
            None => quantity(text, dimension).and_then(above_zero).map(|size| 1.0 / size),
        },
    });
    let decimals = whole_number(&fields, "decimals", "2", 0..=9);
    fields.end();
    Some(NumberForm { per_si: per_si?, decimals: decimals? as usize })
}

/// Patterns of what the unit says, and how long its motor has to be quiet where that is how it tells its rest.
fn answers(fields: Fields<'_>) -> Option<(Answers, Option<Duration>)> {
    let one = |key, example| fields.parsed(key, example, pattern);
    let acknowledged = fields
        .parsed("acknowledged", "\"^OK {command}$\"", |text| pattern(&text.replace("{command}", "(?<command>.*)")));
    let quiet = optional(&fields, "rest after", "500 ms", None, |text| within_an_hour(text, "500 ms").map(Some));
    let answers = Answers {
        acknowledged,
        refused: one("refused", "\"^NO (?<code>[0-9]+)\""),
        done: one("done", "\"^DONE (?<position>[0-9.]+)$\""),
        alarm: one("alarm", "\"^ALERT (?<code>[0-9]+)\""),
        hit: one("hit", "\"^HIT (?<side>[LR])$\""),
        banner: one("banner", "\"^READY (?<firmware>[0-9.]+)$\""),
        state: one("state", "\"^STATE (?<state>[A-Z]+)$\""),
        resting: fields.words("resting states", "[ REST ]").iter().map(|word| word.text.clone()).collect(),
        identity: one("identity", "\"^I AM (?<model>.*)$\""),
        remarks: remarks(&fields.words("remarks", "[ \"^#\" ]"), fields.notes()),
    };
    if let Some(state) = &answers.state
        && (answers.resting.is_empty() || !state.capture_names().flatten().any(|name| name == "state"))
    {
        fields.notes().add(
            fields.at(),
            "the pattern `state` does not tell rest from motion",
            "give it a group `(?<state>…)`, and list the values that mean rest under `resting states`",
        );
        return None;
    }
    fields.end();
    Some((answers, quiet?))
}

fn remarks(words: &[&Scalar], notes: &Notes) -> Vec<Regex> {
    words.iter().filter_map(|word| word.understood(notes, pattern)).collect()
}

fn pattern(text: &str) -> Result<Regex, Mistake> {
    regex::RegexBuilder::new(text).size_limit(1 << 20).build().map_err(|error| {
        let reason = error.to_string();
        let last = reason.lines().last().unwrap_or_default().trim_start_matches("error: ").to_owned();
        (
            format!("this pattern cannot be read: {last}"),
            "write a regular expression over one line of the unit".to_owned(),
        )
    })
}

fn quantity(text: &str, dimension: Dimension) -> Result<f64, Mistake> {
    Quantity::parse(text, dimension).map(Quantity::si).map_err(Mistake::from)
}

fn above_zero(value: f64) -> Result<f64, Mistake> {
    if value > 0.0 {
        Ok(value)
    } else {
        Err(("this must be more than nothing".into(), "write a positive value".into()))
    }
}

fn positive<'n>(fields: &Fields<'n>, key: &'n str, dimension: Dimension, example: &str) -> Option<f64> {
    fields.need_parsed(key, example, |text| quantity(text, dimension).and_then(above_zero))
}

fn duration<'n>(fields: &Fields<'n>, key: &'n str, example: &str) -> Option<Duration> {
    fields.need_parsed(key, example, |text| within_an_hour(text, example))
}

/// A duration of at most an hour.
fn within_an_hour(text: &str, example: &str) -> Result<Duration, Mistake> {
    let seconds = quantity(text, Dimension::Time).and_then(above_zero)?;
    if seconds > 3600.0 {
        return Err(("this is longer than an hour".into(), format!("write for example `{example}`")));
    }
    Ok(Duration::from_secs_f64(seconds))
}

fn whole_number<'n>(
    fields: &Fields<'n>,
    key: &'n str,
    example: &str,
    range: std::ops::RangeInclusive<u32>,
) -> Option<u32> {
    fields.need_parsed(key, example, |text| match text.parse::<u32>() {
        Ok(number) if range.contains(&number) => Ok(number),
        _ => Err((
            format!("`{text}` is no whole number from {} to {}", range.start(), range.end()),
            format!("write for example `{key}: {example}`"),
        )),
    })
}

fn optional<'n, T>(
    fields: &Fields<'n>,
    key: &'n str,
    example: &str,
    fallback: T,
    parse: impl FnOnce(&str) -> Result<T, Mistake>,
) -> Option<T> {
    match fields.word(key, example) {
        None => Some(fallback),
        Some(word) => word.understood(fields.notes(), parse),
    }
}

fn choice<T: Copy>(text: &str, choices: &[(&str, T)]) -> Result<T, Mistake> {
    choices.iter().find(|(word, _)| *word == text).map(|(_, value)| *value).ok_or_else(|| {
        let offer = choices.iter().map(|(word, _)| format!("`{word}`")).collect::<Vec<_>>().join(", ");
        (format!("`{text}` is not among the choices"), format!("choose one of {offer}"))
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::capture::Side;

    fn shipped(name: &str) -> Unit {
        let path = format!("{}/fixtures/units/{name}.yaml", env!("CARGO_MANIFEST_DIR"));
        let source = Source::new(name, std::fs::read_to_string(path).expect("the unit file ships"));
        Unit::read(&source).unwrap_or_else(|problems| panic!("{}", problems[0]))
    }

    /// 200 full steps a turn, 16 microsteps, 20 teeth at 2 mm: 80 steps/mm. Arithmetic of belt drives; common practice,
    /// no source.
    #[test]
    fn the_dunlin_takes_80_steps_a_millimetre() {
        let unit = shipped("dunlin-600");
        assert!((unit.facts.steps_per_metre - 80_000.0).abs() < 1e-6, "{}", unit.facts.steps_per_metre);
        assert_eq!(unit.facts.levels.len(), 6);
        assert!((unit.facts.levels[0] - 0.0001).abs() < 1e-12);
        let go = Request::ToEnd { side: Side::Right, speed: 0.09 };
        assert_eq!(unit.dialect.compose(&go).as_deref(), Some("GO R 90.0"));
        assert!(unit.serial_numbers.check("SM-0001").is_ok() && unit.serial_numbers.check("SM-00012").is_err());
    }

    // Outside: steps a millimetre of 1.8° and 0.9° motors, 16 and 20 teeth of 2 and 3 mm: 200, 26.667 and 1280; how: closed form
    #[test]
    fn belts_by_arithmetic() {
        let path = format!("{}/fixtures/units/dunlin-600.yaml", env!("CARGO_MANIFEST_DIR"));
        let text = std::fs::read_to_string(path).expect("the unit file ships");
        let drives = [("0.9", 16, 16, 2, 200.0), ("1.8", 8, 20, 3, 80.0 / 3.0), ("1.8", 256, 20, 2, 1280.0)];
        for (angle, microsteps, teeth, pitch, expected) in drives {
            let text = text
                .replace("step angle: 1.8 deg", &format!("step angle: {angle} deg"))
                .replace("microsteps: 16", &format!("microsteps: {microsteps}"))
                .replace("pulley teeth: 20", &format!("pulley teeth: {teeth}"))
                .replace("belt pitch: 2 mm", &format!("belt pitch: {pitch} mm"));
            let unit = Unit::read(&Source::new("unit", text)).unwrap_or_else(|problems| panic!("{}", problems[0]));
            assert!((unit.facts.steps_per_metre / 1000.0 - expected).abs() < 1e-9 * expected, "{angle} {microsteps}");
        }
    }

    /// 400 full steps a turn, 8 microsteps, 16 teeth at 2 mm: 100 steps/mm. Arithmetic of belt drives.
    #[test]
    fn another_firmware_needs_no_code() {
        let unit = shipped("plover-400");
        let to = Request::ToPosition { position: 0.1234, speed: 0.04 };
        assert_eq!(unit.dialect.compose(&to).as_deref(), Some("m12340 f2400"));
        let by = Request::By { distance: -0.0501, speed: 0.002 };
        assert_eq!(unit.dialect.compose(&by).as_deref(), Some("d-501 f120"));
        assert_eq!(unit.link.line_ending, "\r\n");
        assert_eq!((unit.link.serial.data_bits, unit.link.serial.parity), (7, Parity::Even));
        assert!(!unit.dialect.knows("run"));
    }
}
