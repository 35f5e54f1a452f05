//! Calibration on the bench itself: the operator sets the reference, the jig is read, and nothing moves.

use super::calibrate::CalibrateArgs;
use crate::capture::{EdgeChannel, SampleChannel};
use crate::care::calibrate::{Live, NotRead, READINGS_MIN, Reading, Target};
use crate::cli::bench::{Choice, OpenBench};
use crate::cli::inputs::{InputFile, refuse};
use crate::cli::operator::TerminalOperator;
use crate::cli::signals::watch_for_signals;
use crate::cli::{Exit, Failure, say};
use crate::clock::ComputerClock;
use crate::jig::JigFile;
use crate::quantity::{Dimension, Quantity};
use crate::run::{Answering, Operator, Question, Reply};
use crate::sim::Reference;
use crate::unit::Unit;
use anyhow::anyhow;
use clap::Args;
use std::io::IsTerminal;
use std::path::PathBuf;
use std::time::Duration;

/// After a reference was set, its input and the jig's filters settle.
const SETTLING: Duration = Duration::from_secs(1);

/// How a channel is read on the bench.
#[derive(Debug, Args)]
pub struct LiveArgs {
    /// Read the channel on the bench itself, with the reference set to these values in turn: `6.0 V, 7.2 V, 8.4 V`
    #[arg(long, value_name = "VALUES", requires = "unit", allow_hyphen_values = true)]
    pub points: Option<String>,
    /// Read the clock on the bench itself, by the pulses of a frequency standard at this digital input
    #[arg(long, value_name = "INPUT", requires_all = ["unit", "period"], conflicts_with = "points")]
    pub pulses: Option<String>,
    /// From one of those pulses to the next, for example `1 s`
    #[arg(long, value_name = "TIME", requires = "pulses")]
    period: Option<String>,
    /// The unit file, which says how the bench's ports are opened
    #[arg(long, value_name = "FILE")]
    unit: Option<PathBuf>,
    /// How long the channel is read, at each value
    #[arg(long, value_name = "S", default_value_t = 10, value_parser = clap::value_parser!(u64).range(1..=600))]
    seconds: u64,
    /// The cautions have been seen to
    #[arg(long)]
    confirmed: bool,
    #[command(flatten)]
    bench: Choice,
}

/// What is to be read.
enum Way {
    /// A sampled channel, or the encoder where there is none, at these values of its reference.
    Values(Option<SampleChannel>, Vec<Quantity>),
    /// The clock, by pulses so many seconds apart.
    Pulses(EdgeChannel, f64),
}

/// Reads the channel as the arguments say.
pub fn readings(args: &CalibrateArgs, jig: &JigFile, target: &Target) -> Result<Vec<Reading>, Failure> {
    let live = &args.live;
    let way = way(live, jig, target)?;
    if args.reference_uncertainties.is_empty() {
        return Err(usage("say by --reference-uncertainty how far the reference is in doubt".into()));
    }
    // The parser sees to it that it is there.
    let path = live.unit.as_deref().ok_or_else(|| usage("a bench is opened with --unit".into()))?;
    let unit_file = InputFile::read(path)?;
    let unit = Unit::read(&unit_file.source).map_err(|problems| refuse(&problems))?;
    let interrupted = watch_for_signals()?;
    let mut bench = live.bench.open(&unit, jig, "none")?;
    let simulated = bench.simulated();
    if simulated && bench.reference.is_none() {
        let why = "a served simulated bench has no inputs that a reference could be set at";
        return Err(usage(format!("{why}; take a jig file of the kind `simulated`, or a table of readings (--from)")));
    }
    let mut operator = TerminalOperator::new(Answering::new(Vec::new(), false));
    if !simulated {
        if !std::io::stdin().is_terminal() {
            let why = "nobody is at the terminal to set the reference; take a table of readings (--from)";
            return Err(usage(why.into()));
        }
        if !live.confirmed {
            let heading = "Before a reference is connected:";
            operator.confirm(heading, &cautions(target), &ComputerClock::new(), &interrupted)?;
        }
    }
    let OpenBench { clock, port, jig, reference } = &mut bench;
    let mut on_bench = Live::new(&**clock, &mut **port, &mut **jig, &interrupted);
    let connect = reference.as_deref();
    match way {
        Way::Values(channel, values) => at_values(&mut on_bench, &mut operator, connect, live, channel, &values),
        Way::Pulses(input, period) => {
            let connected = connect.is_none_or(|connect| connect(Reference::Pulses(input, period)));
            if !connected {
                return Err(usage(format!("--period: the simulated standard has none of {period} s")));
            }
            on_bench.idle(Some(SETTLING), || false).map_err(not_read)?;
            on_bench.pulses(target, input, period, live.wait()).map_err(not_read)
        }
    }
}

/// Reads at each value, as the operator or the simulated world sets it.
fn at_values(
    bench: &mut Live<'_>,
    operator: &mut dyn Operator,
    connect: Option<&dyn Fn(Reference) -> bool>,
    live: &LiveArgs,
    channel: Option<SampleChannel>,
    values: &[Quantity],
) -> Result<Vec<Reading>, Failure> {
    let mut readings = Vec::new();
    for value in values {
        let said = match (connect, channel) {
            (None, _) => ask(bench, operator, channel, *value).map_err(not_read)?,
            (Some(connect), Some(channel)) if connect(Reference::Level(channel, value.si())) => value.si(),
            (Some(_), Some(channel)) => {
                return Err(usage(format!("the simulated jig has no channel `{}`", channel.name())));
            }
            (Some(_), None) => {
                let why = "nobody can move the simulated carriage by hand";
                return Err(usage(format!("{why}; give a table of edges and lengths (--from)")));
            }
        };
        bench.idle(Some(SETTLING), || false).map_err(not_read)?;
        let read = match channel {
            Some(channel) => bench.codes(channel, live.wait(), said),
            None => bench.edges(live.wait(), said),
        };
        let reading = read.map_err(not_read)?;
        say(&format!("  {}: {:.2}", reading.place, reading.count));
        readings.push(reading);
    }
    Ok(readings)
}

impl LiveArgs {
    fn wait(&self) -> Duration {
        Duration::from_secs(self.seconds)
    }
}

/// What the channel and the arguments ask for.
fn way(live: &LiveArgs, jig: &JigFile, target: &Target) -> Result<Way, Failure> {
    match (target, &live.points, &live.pulses) {
        (Target::Sample(input), Some(points), _) => Ok(Way::Values(Some(input.channel), values(points, target)?)),
        (Target::Encoder(_), Some(points), _) => Ok(Way::Values(None, values(points, target)?)),
        (Target::Clock(_), _, Some(input)) => {
            let known = jig.edge_channels();
            let named = EdgeChannel::named(input.trim()).filter(|input| known.contains(input));
            let input = named.ok_or_else(|| {
                let names: Vec<&str> = known.iter().map(|input| input.name()).collect();
                usage(format!("--pulses: the jig has no input `{input}`; it has {}", names.join(", ")))
            })?;
            let period = live.period.as_deref().unwrap_or_default();
            let period =
                Quantity::parse(period, Dimension::Time).map_err(|misread| usage(format!("--period: {misread}")))?;
            match period.si() {
                0.001..=100.0 => Ok(Way::Pulses(input, period.si())),
                _ => Err(usage(format!(
                    "--period: {period} is no period that a jig counts; name one from 1 ms to 100 s"
                ))),
            }
        }
        (Target::Clock(_), ..) => {
            let why = "no value can be set at the clock; lead the pulses of a frequency standard to a digital input";
            Err(usage(format!("{why} and give --pulses INPUT --period TIME, or a table of ticks and seconds (--from)")))
        }
        (_, None, _) => {
            let why = format!("pulses tell nothing of `{}`", target.name());
            Err(usage(format!("{why}; name the values of its reference by --points, or give a table (--from)")))
        }
    }
}

/// The values to set.
fn values(points: &str, target: &Target) -> Result<Vec<Quantity>, Failure> {
    let parse = |text: &str| Quantity::parse(text, target.reference());
    let values: Result<Vec<Quantity>, _> = points.split(',').map(parse).collect();
    let values = values.map_err(|misread| usage(format!("--points: {misread}")))?;
    let mut distinct: Vec<f64> = values.iter().map(|value| value.si()).collect();
    distinct.sort_by(f64::total_cmp);
    distinct.dedup();
    if distinct.len() < READINGS_MIN {
        let why = format!("--points: {} different values show no line; name at least {READINGS_MIN}", distinct.len());
        return Err(usage(why));
    }
    Ok(values)
}

/// What has to be so before anything is touched. The jig's outputs are off, and this command switches none of them.
fn cautions(target: &Target) -> Vec<String> {
    const LIMITED: &str = "What the reference puts out is limited to what the input bears before it is connected.";
    const UNIT_OFF: &str = "The unit is off the jig: nothing may move while wires are changed.";
    let own: &[&str] = match target.reference() {
        Dimension::Voltage | Dimension::Current => &[
            UNIT_OFF,
            LIMITED,
            "The lithium packs are out of their holders: a supply across a pack charges or shorts it, and it may burn.",
        ],
        Dimension::Temperature => {
            &[UNIT_OFF, "What is hot or cold is out of the reach of hands, and no water can get at the wires."]
        }
        Dimension::Length => &[
            "The lithium packs are out of their holders, so that nothing but a hand can move the carriage.",
            "Fingers, hair and cables are clear of belt and pulleys; the rail and its payload cannot fall.",
        ],
        Dimension::Time => &[UNIT_OFF, LIMITED, "What else is wired to that input is taken off it."],
        _ => &[UNIT_OFF, "Nobody looks into the lamp."],
    };
    own.iter().map(|caution| (*caution).to_owned()).collect()
}

/// Has the reference set, or the carriage moved where there is no channel, while the bench goes on, and takes what it says.
fn ask(
    bench: &mut Live<'_>,
    operator: &mut dyn Operator,
    channel: Option<SampleChannel>,
    value: Quantity,
) -> Result<f64, NotAnswered> {
    let what = match channel {
        Some(_) => format!("Set the reference to {value}. What does it say?"),
        None => format!("Move the carriage by hand to {value}, and leave it. What does the scale say?"),
    };
    loop {
        let text = format!("{what} Write it with its unit, or ok for {value}");
        operator.ask(Question { text: &text, wanted: "ok" });
        let mut reply = Reply::Awaited;
        bench.idle(None, || {
            reply = operator.answer();
            reply != Reply::Awaited
        })?;
        let Reply::Said(answer) = reply else { return Err(NotAnswered::Nobody) };
        if answer.eq_ignore_ascii_case("ok") {
            return Ok(value.si());
        }
        match Quantity::parse(&answer, value.dimension()) {
            Ok(said) => return Ok(said.si()),
            Err(misread) => say(&format!("  {misread}")),
        }
    }
}

/// Why a reference has no value.
#[derive(Debug)]
enum NotAnswered {
    Nobody,
    Bench(NotRead),
}

impl From<NotRead> for NotAnswered {
    fn from(not_read: NotRead) -> Self {
        Self::Bench(not_read)
    }
}

fn not_read(why: impl Into<NotAnswered>) -> Failure {
    match why.into() {
        NotAnswered::Nobody => usage("nobody answered; nothing was changed".into()),
        NotAnswered::Bench(NotRead::Interrupted) => Failure::new(Exit::Interrupted, NotRead::Interrupted),
        NotAnswered::Bench(why) => Failure::new(Exit::Invalid, why),
    }
}

fn usage(why: String) -> Failure {
    Failure::new(Exit::Usage, anyhow!(why))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sim::{self, World, WorldSettings};
    use std::sync::atomic::AtomicBool;

    /// An operator who says one thing after the other, each only when he is looked at a second time.
    struct Saying(Vec<&'static str>, bool);

    impl Operator for Saying {
        fn ask(&mut self, _: Question<'_>) {
            self.1 = false;
        }

        fn answer(&mut self) -> Reply {
            if !std::mem::replace(&mut self.1, true) {
                return Reply::Awaited;
            }
            if self.0.is_empty() { Reply::Nobody } else { Reply::Said(self.0.remove(0).into()) }
        }
    }

    fn asked(answers: &[&'static str], interrupted: bool) -> Result<f64, Exit> {
        let (clock, mut port, mut jig) =
            sim::bench(World::new(&WorldSettings::default()), time::OffsetDateTime::UNIX_EPOCH);
        let interrupted = AtomicBool::new(interrupted);
        let mut bench = Live::new(&clock, &mut port, &mut jig, &interrupted);
        let value = Quantity::parse("7.2 V", Dimension::Voltage).expect("a voltage");
        let mut operator = Saying(answers.to_vec(), false);
        ask(&mut bench, &mut operator, Some(SampleChannel::PackVoltage), value).map_err(|why| not_read(why).exit)
    }

    #[test]
    fn a_reference_says_what_it_says_or_what_it_should() {
        assert_eq!(asked(&["OK"], false), Ok(7.2));
        assert_eq!(asked(&["7.2013 V"], false), Ok(7.2013));
        assert_eq!(asked(&["about 7", "7.2013", "7201.3 mV"], false), Ok(7.2013));
        assert_eq!(asked(&[], false), Err(Exit::Usage));
        assert_eq!(asked(&["ok"], true), Err(Exit::Interrupted));
    }
}
