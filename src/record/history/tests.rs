//! Histories as data: one line a run or event.

use super::*;
use crate::record::dispatch::Held;
use crate::record::events::FORMAT;
use crate::record::stored::Origin;
use time::{Duration, OffsetDateTime};

/// A run of `outgoing` that conforms, started `hour` hours after a beginning.
fn run(id: &str, hour: i64) -> Known {
    let started = OffsetDateTime::UNIX_EPOCH + Duration::hours(hour);
    Known {
        id: id.into(),
        serial: "SM-0001".into(),
        started,
        ended: started + Duration::minutes(5),
        decision: Verdict::Conforms,
        origin: Origin::Bench,
        is_simulated: false,
        is_interrupted: false,
        model: "dunlin-600".into(),
        firmware: None,
        plan: "outgoing".into(),
        revision: 1,
        jig: "jig 1".into(),
        bench: None,
        operator: None,
        parts: Vec::new(),
        late_after: Vec::new(),
    }
}

impl Known {
    fn decided(self, decision: Verdict) -> Self {
        Self { decision, ..self }
    }

    fn of_plan(self, plan: &str) -> Self {
        Self { plan: plan.into(), ..self }
    }

    fn simulated(self) -> Self {
        Self { is_simulated: true, ..self }
    }

    fn with(mut self, name: &str, lot: &str) -> Self {
        self.parts.push(Part { name: name.into(), lot: lot.into(), carried_on_from: None });
        self
    }

    fn after(mut self, earlier: &[&str]) -> Self {
        self.late_after.extend(earlier.iter().map(|id| (*id).to_owned()));
        self
    }
}

fn event(event: What, after: Option<&str>, at: &str) -> Event {
    Event {
        format: FORMAT,
        event,
        at: at.into(),
        after: after.map(Into::into),
        as_shipped: None,
        complaint: None,
        note: None,
        because: None,
        by: None,
    }
}

/// Every entry as a word.
fn told(history: &History) -> Vec<String> {
    let entries = history.entries.iter().map(|entry| match entry {
        Entry::Run(passed) => format!("{} {:?}", passed.run.id, passed.kind),
        Entry::Event(event) => format!("{:?} {}", event.event, event.at),
    });
    entries.collect()
}

fn of(runs: Vec<Known>) -> History {
    History::of("SM-0001", runs, Vec::new())
}

#[test]
fn retests_and_reworks_are_told_apart() {
    use Verdict::{Conforms, DoesNotConform, Invalid, Undecided};
    let history = of(vec![
        run("1", 1).decided(Invalid).with("belt", "L1").with("pack", "P1"),
        run("2", 2).decided(DoesNotConform),
        run("3", 3).decided(Undecided),
        run("4", 4).decided(Invalid),
        run("5", 5).decided(DoesNotConform).with("belt", "L1"),
        run("6", 6).of_plan("quick").with("belt", "L2"),
        run("7", 7).decided(Conforms),
        run("8", 8).with("belt", "L2").with("pack", "P1"),
    ]);
    assert_eq!(
        told(&history),
        ["1 First", "2 AfterInvalid", "3 Retest", "4 Retest", "5 Retest", "6 Rework", "7 Retest", "8 Repeat"]
    );
    let changes: Vec<_> = history.runs().flat_map(|passed| &passed.changes).collect();
    assert_eq!(changes, [&Change { name: "belt".into(), from: "L1".into(), to: "L2".into() }]);
    let built: Vec<_> =
        history.as_built.iter().map(|built| (&*built.part.name, &*built.part.lot, &*built.since)).collect();
    assert_eq!(built, [("belt", "L2", "6"), ("pack", "P1", "1")]);
}

/// A part that is named for the first time was not changed.
#[test]
fn a_part_that_is_named_late_is_no_rework() {
    let history = of(vec![run("1", 1).decided(Verdict::Undecided), run("2", 2).with("belt", "L1")]);
    assert_eq!(told(&history), ["1 First", "2 Retest"]);
}

#[test]
fn simulated_runs_and_real_ones_do_not_count_for_each_other() {
    let history = of(vec![
        run("1", 1).simulated().decided(Verdict::DoesNotConform),
        run("2", 2),
        run("3", 3).simulated(),
        run("4", 4),
    ]);
    assert_eq!(told(&history), ["1 First", "2 First", "3 Retest", "4 Repeat"]);
}

/// The order is that of cause, where ids would put a run of a clock that was set back too early.
#[test]
fn a_clock_that_was_set_back_does_not_change_the_order() {
    let runs = vec![
        run("05", 5),
        run("06", 6).decided(Verdict::DoesNotConform),
        run("01", 1).after(&["05", "06"]),
        run("02", 2).after(&["05", "06"]),
        run("07", 7),
    ];
    for turn in 0..runs.len() {
        let mut runs = runs.clone();
        runs.rotate_left(turn);
        let history = of(runs);
        assert_eq!(told(&history), ["05 First", "06 Repeat", "01 Retest", "02 Repeat", "07 Repeat"]);
        let set_back: Vec<bool> = history.runs().map(|passed| passed.clock_was_set_back).collect();
        assert_eq!(set_back, [false, false, true, true, false]);
    }
}

/// Two benches at once: the one that began earlier and ended later comes later, and no clock is to blame.
#[test]
fn runs_at_the_same_time_blame_no_clock() {
    let mut long = run("01", 1).after(&["02"]);
    long.ended += Duration::hours(2);
    let history = of(vec![long, run("02", 2)]);
    assert_eq!(told(&history), ["02 First", "01 Repeat"]);
    assert!(history.runs().all(|passed| !passed.clock_was_set_back));
}

/// Records that name each other as earlier are no honest ones, and end nothing.
#[test]
fn a_circle_of_predecessors_ends() {
    let history = of(vec![run("1", 1).after(&["2"]), run("2", 2).after(&["1", "3"]), run("3", 3)]);
    assert_eq!(history.runs().count(), 3);
    assert_eq!(of(vec![run("1", 1).after(&["1"])]).runs().count(), 1);
}

#[test]
fn events_stand_after_the_run_that_they_name() {
    let mut shipped = event(What::Dispatched, Some("2"), "b");
    shipped.as_shipped = Some("2".into());
    let events = vec![
        event(What::Received, None, "a"),
        shipped,
        event(What::Received, Some("gone"), "c"),
        event(What::Dispatched, Some("1"), "d"),
    ];
    let history = History::of("SM-0001", vec![run("1", 1), run("2", 2), run("3", 3)], events);
    assert_eq!(
        told(&history),
        ["Received a", "1 First", "2 Repeat", "Dispatched b", "Received c", "Dispatched d", "3 Repeat"]
    );
    assert_eq!(history.standing, Standing::Shipped("d".into()));
    assert_eq!(history.as_shipped, None);
}

#[test]
fn where_a_unit_stands_is_what_happened_last() {
    let stands = |events: &[What]| {
        let events = events.iter().map(|what| event(*what, None, "t")).collect();
        History::of("SM-0001", vec![run("1", 1)], events).standing
    };
    assert_eq!(stands(&[]), Standing::OnTheShelf);
    assert_eq!(stands(&[What::Dispatched]), Standing::Shipped("t".into()));
    assert_eq!(stands(&[What::Dispatched, What::Received]), Standing::Returned("t".into()));
    assert_eq!(stands(&[What::Dispatched, What::Received, What::Dispatched]), Standing::Shipped("t".into()));
}

/// Whether a unit may go, as a word.
fn held(runs: Vec<Known>, events: Vec<Event>) -> String {
    match History::of("SM-0001", runs, events).dispatchable() {
        Ok(run) => format!("on {}", run.id),
        Err(Held::Decided(run)) => format!("held by {}", run.id),
        Err(held) => format!("{held:?}"),
    }
}

#[test]
fn a_unit_goes_on_its_last_conforming_record_alone() {
    use Verdict::{DoesNotConform, Invalid, Undecided};
    let none = Vec::new;
    assert_eq!(held(vec![], none()), "Unproven { only_simulated: false }");
    assert_eq!(held(vec![run("1", 1).simulated()], none()), "Unproven { only_simulated: true }");
    assert_eq!(held(vec![run("1", 1)], none()), "on 1");
    assert_eq!(held(vec![run("1", 1), run("2", 2).decided(Invalid), run("3", 3).simulated()], none()), "on 1");
    assert_eq!(held(vec![run("1", 1), run("2", 2).of_plan("quick").decided(Undecided)], none()), "held by 2");
    assert_eq!(held(vec![run("1", 1).decided(DoesNotConform), run("2", 2)], none()), "on 2");
    assert_eq!(held(vec![run("1", 1).decided(Invalid)], none()), "Unproven { only_simulated: false }");
    let replayed = Known { origin: Origin::Replayed, ..run("2", 2) };
    assert_eq!(held(vec![run("1", 1).decided(DoesNotConform), replayed], none()), "held by 1");
    let gone = vec![event(What::Dispatched, Some("1"), "t")];
    assert_eq!(held(vec![run("1", 1)], gone.clone()), "Gone(\"t\")");
    let back = [gone, vec![event(What::Received, Some("1"), "t")]].concat();
    assert_eq!(held(vec![run("1", 1)], back), "on 1");
}

/// An invalid run proves nothing, but that it had another part does.
#[test]
fn a_unit_that_was_reworked_since_is_held() {
    let reworked = run("2", 2).decided(Verdict::Invalid).with("belt", "L2");
    let runs = vec![run("1", 1).with("belt", "L1"), reworked];
    assert_eq!(held(runs.clone(), Vec::new()), "Reworked { record: \"1\", part: \"belt\" }");
    assert_eq!(held([runs, vec![run("3", 3)]].concat(), Vec::new()), "on 3");
}

#[test]
fn the_last_conforming_record_is_a_real_one_where_there_is_one() {
    let last = |runs| History::of("SM-0001", runs, Vec::new()).last_conforming().map(|run| run.id.clone());
    assert_eq!(last(vec![run("1", 1), run("2", 2).simulated()]).as_deref(), Some("1"));
    assert_eq!(last(vec![run("1", 1).decided(Verdict::Undecided), run("2", 2).simulated()]).as_deref(), Some("2"));
    assert_eq!(last(vec![run("1", 1).decided(Verdict::Undecided)]), None);
}
