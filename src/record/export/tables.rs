//! The tables of an export and their columns. A change of them is one more in [`super::FORMAT`].

use super::fleet::{Fleet, Name, RunRow};
use super::table::Kind::{Flag, Moment, Number, Text, Whole};
use super::table::{Cell, Column, Row};

/// A run.
pub struct Ran {
    pub run: u32,
}

/// A part of a run's unit.
pub struct PartRow {
    pub run: u32,
    pub part: Name,
    pub lot: Name,
}

/// A check of a run.
pub struct CheckRow {
    pub run: u32,
    pub check: Name,
    pub decision: Name,
}

/// A value of a run.
pub struct ValueRow {
    pub run: u32,
    /// Number of its [`Head`](super::fleet::Head).
    pub head: u32,
    pub place: u32,
    pub decision: Name,
    pub value: Option<f64>,
    pub standard_uncertainty: Option<f64>,
}

/// Step intervals of about one length in a motion.
pub struct StepRow {
    pub run: u32,
    pub check: Name,
    pub motion: Name,
    pub direction: Option<Name>,
    pub phase: Name,
    pub from_ns: u64,
    pub to_ns: u64,
    pub intervals: u64,
}

fn text(name: Name, fleet: &Fleet) -> Cell {
    Cell::Text(fleet.text(name))
}

fn text_or_unknown(name: Option<Name>, fleet: &Fleet) -> Cell {
    name.map_or(Cell::Unknown, |name| text(name, fleet))
}

/// What is no number is none that is known.
fn number(number: Option<f64>) -> Cell {
    number.filter(|number| number.is_finite()).map_or(Cell::Unknown, Cell::Number)
}

fn whole(number: u64) -> Cell {
    i64::try_from(number).map_or(Cell::Unknown, Cell::Whole)
}

fn of_run<R: OfRun>(row: &R, fleet: &Fleet) -> Cell {
    text(row.run(fleet).run, fleet)
}

fn serial_of<R: OfRun>(row: &R, fleet: &Fleet) -> Cell {
    text(row.run(fleet).serial, fleet)
}

fn is_simulated<R: OfRun>(row: &R, fleet: &Fleet) -> Cell {
    Cell::Flag(row.run(fleet).is_simulated)
}

fn started_of<R: OfRun>(row: &R, fleet: &Fleet) -> Cell {
    Cell::Moment(row.run(fleet).started_ms)
}

/// A row that belongs to a run.
trait OfRun {
    fn run<'f>(&self, fleet: &'f Fleet) -> &'f RunRow;
}

macro_rules! of_run {
    ($($row:ty),*) => {
        $(impl OfRun for $row {
            fn run<'f>(&self, fleet: &'f Fleet) -> &'f RunRow {
                &fleet.runs[self.run as usize]
            }
        })*
    };
}

of_run!(Ran, PartRow, CheckRow, ValueRow, StepRow);

/// The columns that every table begins with, so that none has to be joined to be understood.
macro_rules! columns {
    ($($column:expr),* $(,)?) => {
        &[
            Column::new("run", Text, "id of the run; its folder has it as a name", of_run),
            Column::new("serial", Text, "serial number of the unit", serial_of),
            Column::new("started", Moment, "when the run began, UTC", started_of),
            Column::new("simulated", Flag, SIMULATED, is_simulated),
            $($column),*
        ]
    };
}

const SIMULATED: &str = "whether no unit was tested: the run, or the one that was judged again, was simulated";
const OCCASION: &str = "what the run is among those of its unit: `first` of its plan, `after invalid` ones, `retest` after \
                        the plan was not met, `rework` after a part was changed, `repeat` although the plan was met";
const DECISION: &str = "`conforms`, `undecided`, `does not conform` or `invalid`";

impl Row for Ran {
    const TABLE: &'static str = "runs";
    const SAYS: &'static str = "a run";
    const COLUMNS: &'static [Column<Self>] = columns![
        Column::new("ended", Moment, "when it ended, UTC", |row, fleet| Cell::Moment(row.run(fleet).ended_ms)),
        Column::new(
            "model_name",
            Text,
            "the unit's model as recorded; the folder's `model` may be read as a number",
            |row, fleet| text(row.run(fleet).model, fleet)
        ),
        Column::new("decision", Text, DECISION, |row, fleet| text(row.run(fleet).decision, fleet)),
        Column::new("occasion", Text, OCCASION, |row, fleet| text(row.run(fleet).occasion, fleet)),
        Column::new("origin", Text, "`bench`, `simulated`, or `replayed` from evidence that was kept", |row, fleet| {
            text(row.run(fleet).origin, fleet)
        }),
        Column::new("interrupted", Flag, "whether somebody interrupted it", |row, fleet| Cell::Flag(
            row.run(fleet).is_interrupted
        )),
        Column::or_unknown("firmware", Text, "as the unit reported it", |row, fleet| text_or_unknown(
            row.run(fleet).firmware,
            fleet
        )),
        Column::new("plan", Text, "the plan's name", |row, fleet| text(row.run(fleet).plan, fleet)),
        Column::new("plan_revision", Whole, "the plan's revision", |row, fleet| whole(row.run(fleet).revision.into())),
        Column::new("jig", Text, "the jig's name", |row, fleet| text(row.run(fleet).jig, fleet)),
        Column::or_unknown("bench", Text, "the bench's name, where it has one", |row, fleet| text_or_unknown(
            row.run(fleet).bench,
            fleet
        )),
        Column::or_unknown("operator", Text, "who was at the bench, by initials or id", |row, fleet| text_or_unknown(
            row.run(fleet).operator,
            fleet
        )),
    ];
}

impl Row for PartRow {
    const TABLE: &'static str = "parts";
    const SAYS: &'static str = "a part of the unit as it was built then";
    const COLUMNS: &'static [Column<Self>] = columns![
        Column::new("part", Text, "the part's name", |row, fleet| text(row.part, fleet)),
        Column::new("lot", Text, "its lot", |row, fleet| text(row.lot, fleet)),
    ];
}

impl Row for CheckRow {
    const TABLE: &'static str = "checks";
    const SAYS: &'static str = "a check of a run";
    const COLUMNS: &'static [Column<Self>] = columns![
        Column::new("check_name", Text, "the check's name in the plan", |row, fleet| text(row.check, fleet)),
        Column::new("decision", Text, DECISION, |row, fleet| text(row.decision, fleet)),
    ];
}

impl Row for ValueRow {
    const TABLE: &'static str = "values";
    const SAYS: &'static str = "a measured value, or one that was asked for and withheld";
    const COLUMNS: &'static [Column<Self>] = columns![
        Column::new("place", Whole, "place among the run's values, from 0", |row, _| whole(row.place.into())),
        Column::new("check_name", Text, "the check that asked for it", |row, fleet| text(fleet.head(row).check, fleet)),
        Column::new("measurand", Text, "catalogue name of what was measured", |row, fleet| text(
            fleet.head(row).measurand,
            fleet
        )),
        Column::new("reading", Text, "the move that it was read from", |row, fleet| text(
            fleet.head(row).reading,
            fleet
        )),
        Column::or_unknown("value", Number, "the measured value; null where it was withheld", |row, _| number(
            row.value
        )),
        Column::or_unknown("standard_uncertainty", Number, "of the value", |row, _| number(row.standard_uncertainty)),
        Column::new("unit", Text, "unit of value, uncertainty and limits; empty for a count", |row, fleet| text(
            fleet.head(row).unit,
            fleet
        )),
        Column::new("tolerance", Text, "as the plan has it", |row, fleet| text(fleet.head(row).tolerance, fleet)),
        Column::or_unknown("lower_limit", Number, "of the tolerance; null where there is none", |row, fleet| number(
            fleet.head(row).lower
        )),
        Column::or_unknown("upper_limit", Number, "of the tolerance; null where there is none", |row, fleet| number(
            fleet.head(row).upper
        )),
        Column::new("decision", Text, DECISION, |row, fleet| text(row.decision, fleet)),
    ];
}

impl Row for StepRow {
    const TABLE: &'static str = "step_histograms";
    const SAYS: &'static str =
        "how many intervals between two steps of a motion were of one length, to three significant digits";
    const COLUMNS: &'static [Column<Self>] = columns![
        Column::new("check_name", Text, "the check that the motion belongs to", |row, fleet| text(row.check, fleet)),
        Column::new("motion", Text, "the motion", |row, fleet| text(row.motion, fleet)),
        Column::or_unknown("direction", Text, "`left` or `right`, where the jig has a direction line", |row, fleet| {
            text_or_unknown(row.direction, fleet)
        }),
        Column::new("phase", Text, "the phase of the motion, such as `cruise`", |row, fleet| text(row.phase, fleet)),
        Column::new("interval_from_ns", Whole, "the shortest interval that is counted here", |row, _| whole(
            row.from_ns
        )),
        Column::new("interval_to_ns", Whole, "the longest interval that is counted here", |row, _| whole(row.to_ns)),
        Column::new("intervals", Whole, "how many there were", |row, _| whole(row.intervals)),
    ];
}
