//! Plans through one door: a text and a bench go in, a plan or all that is wrong with it comes out.

use super::*;
use crate::capture::{Destination, Side};
use crate::written::{Problem, Source};
use expect_test::{Expect, expect};
use proptest::prelude::*;

/// The bench and the unit that the shipped plans are for.
pub(super) fn bench() -> Envelope {
    Envelope {
        model: "dunlin-600".into(),
        travel: 0.56,
        speed_max: 0.095,
        homing_speed: 0.015,
        acceleration: 1.6,
        steps_per_metre: 80_000.0,
        step_timer: Some(2e6),
        levels: vec![0.0001, 0.001, 0.005, 0.015, 0.04, 0.09],
        controls: ["knob right", "knob left", "knob push", "stop key"].map(String::from).to_vec(),
        start_up_s: 0.8,
        commands: vec![
            "home",
            "travel to end",
            "travel to position",
            "travel by",
            "stop",
            "reverse",
            "crawl",
            "select",
            "send",
        ],
        tells_rest: true,
        edges: EdgeChannel::ALL.to_vec(),
        samples: (0..SampleChannel::Light(6).index()).filter_map(SampleChannel::at).collect(),
        outputs: (0..OutputChannel::Press(4).index()).filter_map(OutputChannel::at).collect(),
        jig: "bench one".into(),
    }
}

/// A plan of one check with these moves and requirements.
fn plan_of(moves: &str, require: &str) -> String {
    format!(
        "plan: trial\nrevision: 1\nmodel: dunlin-600\ndecision rule: {{ false accept at most: 2.5 % }}\nchecks:\n  - name: only\n    moves:\n      - power: on\n{moves}    require: {{ {require} }}\n"
    )
}

fn moves(lines: &[&str]) -> String {
    plan_of(&lines.iter().map(|line| format!("      - {line}\n")).collect::<String>(), "missing steps: at most 0")
}

fn fitted(text: &str, envelope: &Envelope) -> Result<Plan, Vec<Problem>> {
    Draft::read(&Source::new("trial.yaml", text))?.fit(envelope)
}

fn good(text: &str) -> Plan {
    fitted(text, &bench()).unwrap_or_else(|problems| panic!("{}", problems[0]))
}

fn said(result: Result<Plan, Vec<Problem>>) -> String {
    match result {
        Ok(_) => "nothing is wrong".into(),
        Err(problems) => problems
            .iter()
            .map(|problem| {
                format!("{}:{} {} | {} | {}", problem.line, problem.column, problem.path, problem.what, problem.right)
            })
            .collect::<Vec<_>>()
            .join("\n"),
    }
}

fn problems(text: &str, expected: Expect) {
    expected.assert_eq(&said(fitted(text, &bench())));
}

#[test]
fn every_move_is_resolved() {
    let plan = good(&moves(&[
        "home: left",
        "travel: { to: right, speed: 0.09 m/s }",
        "travel: { by: -50 mm, speed: 15 mm/s }",
        "travel: { to: 280 mm, speed: 40 mm/s }",
        "stop: { towards: right, level: 5, after: 3 s, by: stop key }",
        "reverse: { first: left, speed: 40 mm/s, after: 2 s }",
        "travel: { to: left, level: 6 }",
        "start: { by: knob push, towards: right, level: 4, for: 3 s, stop by: stop key }",
        "crawl: { towards: right, for: 30 s }",
        "select: 3",
        "wait: 1 min",
        "repeat: { times: 2, moves: [ { load: on }, { load: off } ] }",
        "ask: \"Is the belt path straight?\"",
        "ask: { question: \"Any play?\", expect: no }",
        "send: { text: \"WHO\", expect: \"^I AM\", within: 2 s }",
        "press: { control: knob right, for: 200 ms }",
        "pack: nearly empty",
        "power: off",
    ]));
    let lines: Vec<String> = plan.checks[0]
        .moves
        .iter()
        .map(|one| format!("{} | {:.2} s | for {} s | {:?}", one.label, one.expected_s, one.for_s, one.expect))
        .collect();
    expect![[r#"
        unit supply on | 0.80 s | for 0 s | None
        home to the left end | 18.68 s | for 0 s | None
        to the right end at 90 mm/s | 6.28 s | for 0 s | None
        50 mm to the left at 15 mm/s | 3.34 s | for 0 s | None
        to 280 mm at 40 mm/s | 5.77 s | for 0 s | None
        towards the right end at 40 mm/s, stopped by stop key after 3 s | 3.02 s | for 3 s | None
        towards the left end at 40 mm/s, turned round after 2 s | 8.05 s | for 2 s | None
        to the left end at level 6 | 6.28 s | for 0 s | None
        started by knob push towards the right end at level 4 for 3 s | 3.01 s | for 3 s | None
        crawl towards the right end for 30 s | 30.00 s | for 30 s | None
        level 3 selected | 0.10 s | for 0 s | None
        60 s of rest | 60.00 s | for 60 s | None
        dummy load on | 0.10 s | for 0 s | None
        dummy load off | 0.10 s | for 0 s | None
        dummy load on | 0.10 s | for 0 s | None
        dummy load off | 0.10 s | for 0 s | None
        asked: Is the belt path straight? | 0.00 s | for 0 s | Some("yes")
        asked: Any play? | 0.00 s | for 0 s | Some("no")
        sent: WHO | 0.10 s | for 2 s | Some("^I AM")
        knob right pressed | 0.20 s | for 0.2 s | None
        nearly empty pack | 1.20 s | for 0 s | None
        unit supply off | 0.10 s | for 0 s | None"#]]
    .assert_eq(&lines.join("\n"));
    let actions: Vec<&Action> = plan.checks[0].moves.iter().map(|one| &one.action).collect();
    assert_eq!(*actions[2], Action::Travel { to: Destination::End(Side::Right), speed: 0.09, level: None });
    assert_eq!(*actions[5], Action::Stop { towards: Side::Right, speed: 0.04, press: Some(3) });
    assert_eq!(*actions[7], Action::Travel { to: Destination::End(Side::Left), speed: 0.09, level: Some(6) });
    assert_eq!(
        *actions[8],
        Action::Start { towards: Side::Right, speed: 0.015, level: 4, press: 2, stop_press: Some(3) }
    );
}

#[test]
fn requirements_keep_their_text_and_get_their_limits() {
    let plan = good(&plan_of("", "cruise speed: 0.09 m/s ± 5 %, pack minimum voltage: at least 6.2 V"));
    let [speed, voltage] = plan.checks[0].requirements.as_slice() else { panic!("two requirements") };
    assert_eq!((speed.measurand.name, speed.tolerance.text()), ("cruise speed", "0.09 m/s ± 5 %"));
    assert_eq!((speed.limits.lower, speed.limits.upper), (Some(0.0855), Some(0.0945)));
    assert_eq!((voltage.limits.lower, voltage.limits.upper), (Some(6.2), None));
}

#[test]
fn the_carriage_stays_on_the_rail() {
    problems(
        &moves(&["home: left", "travel: { to: 600 mm, speed: 40 mm/s }"]),
        expect![
            "10:23 checks[0].moves[2].travel.to | this could drive the carriage 40 mm beyond the right end; before it, it stands at 0 mm | stay between 0 mm and 560 mm"
        ],
    );
    problems(
        &moves(&["home: left", "travel: { to: 500 mm, speed: 40 mm/s }", "travel: { by: 70 mm, speed: 40 mm/s }"]),
        expect![
            "11:23 checks[0].moves[3].travel.by | this could drive the carriage 10 mm beyond the right end; before it, it stands at 500 mm | stay between 0 mm and 560 mm"
        ],
    );
    problems(
        &moves(&["home: right", "repeat: { times: 12, moves: [ travel: { by: -50 mm, speed: 40 mm/s } ] }"]),
        expect![
            "10:53 checks[0].moves[2].repeat.moves[0].travel.by | this could drive the carriage 40 mm beyond the left end; before it, it stands at 10 mm | stay between 0 mm and 560 mm"
        ],
    );
    problems(
        &moves(&["travel: { by: 50 mm, speed: 40 mm/s }", "travel: { to: left, speed: 40 mm/s }"]),
        expect![
            "9:9 checks[0].moves[1].travel | nobody knows where the carriage stands before this `travel`: no home since the supply came on | put `- home: left` or `- home: right` before it"
        ],
    );
    problems(
        &moves(&["home: left", "press: knob push", "travel: { by: 50 mm, speed: 40 mm/s }"]),
        expect![
            "11:23 checks[0].moves[3].travel.by | this could drive the carriage 50 mm beyond the right end; before it, it stands anywhere | stay between 0 mm and 560 mm"
        ],
    );
    problems(
        &moves(&["home: left", "stop: { towards: right, speed: 40 mm/s, after: 14 s }"]),
        expect![
            "10:56 checks[0].moves[2].stop.after | the carriage could reach the right end before it is stopped: it stands at 0 mm here, and covers up to 568 mm | make it at most 13.8 s, or start farther away"
        ],
    );
    problems(
        &moves(&["home: left", "stop: { towards: left, speed: 40 mm/s, after: 1 s }"]),
        expect![
            "10:9 checks[0].moves[2].stop | the carriage stands at the left end already here | send it to the right end, or leave this move out"
        ],
    );
    problems(
        &moves(&[
            "home: left",
            "stop: { towards: right, speed: 40 mm/s, after: 2 s }",
            "travel: { by: -80.5 mm, speed: 40 mm/s }",
        ]),
        expect![
            "11:23 checks[0].moves[3].travel.by | this could drive the carriage 0.5 mm beyond the left end; before it, it stands between 80 mm and 88 mm | stay between 0 mm and 560 mm"
        ],
    );
    problems(
        &moves(&["home: left", "reverse: { first: right, speed: 90 mm/s, after: 7 s }"]),
        expect![
            "10:57 checks[0].moves[2].reverse.after | the carriage could reach the right end before it is turned round: it stands at 0 mm here, and covers up to 648 mm | make it at most 6 s, or start farther away"
        ],
    );
}

#[test]
fn what_the_unit_cannot_do_is_refused() {
    problems(
        &moves(&["home: left", "travel: { to: right, speed: 120 mm/s }", "travel: { to: left, level: 7 }"]),
        expect![[r#"
            10:37 checks[0].moves[2].travel.speed | 120 mm/s is faster than the unit file allows, which is 95 mm/s | write at most `95 mm/s`
            11:36 checks[0].moves[3].travel.level | there is no level 7: the unit has 6 | write a level from 1 to 6"#]],
    );
    problems(
        &moves(&["press: knob pusch", "press: lever"]),
        expect![[r#"
        9:16 checks[0].moves[1].press | the unit has no control `knob pusch` | did you mean `knob push`?
        10:16 checks[0].moves[2].press | the unit has no control `lever` | the unit's controls are knob right, knob left, knob push, stop key"#]],
    );
    problems(
        &moves(&["power: off", "home: left", "travel: { to: right, speed: 40 mm/s }"]),
        expect![[r#"
        10:9 checks[0].moves[2].home | the unit's supply is off here, so that it cannot do this `home` | put `- power: on` before it; a run begins with the supply off
        11:9 checks[0].moves[3].travel | the unit's supply is off here, so that it cannot do this `travel` | put `- power: on` before it; a run begins with the supply off"#]],
    );
    problems(
        &moves(&["power: on"]),
        expect![
            "9:9 checks[0].moves[1].power | the unit's supply is on already here | switch it off before, or leave this move out"
        ],
    );
    problems(
        &moves(&["home: left", "pack: nearly empty", "travel: { to: right, speed: 40 mm/s }"]),
        expect![
            "11:9 checks[0].moves[3].travel | nobody knows where the carriage stands before this `travel`: no home since the supply came on | put `- home: left` or `- home: right` before it"
        ],
    );
    problems(
        &moves(&["home: left", "travel: { to: right, speed: 0.01 mm/s }"]),
        expect![
            "10:9 checks[0].moves[2].travel | this move takes 56000 s | no move may take longer than an hour: go a shorter way, or faster"
        ],
    );
    let poor = Envelope { commands: vec!["home", "travel to end"], ..bench() };
    let text = moves(&["home: left", "crawl: { towards: right, for: 30 s }", "travel: { to: 20 mm, speed: 40 mm/s }"]);
    expect![[r#"
        10:9 checks[0].moves[2].crawl | the unit's firmware has no command for `crawl` | add the command to the unit file, or do without this move
        10:9 checks[0].moves[2].crawl | the unit's firmware has no command for `stop` | add the command to the unit file, or do without this move
        11:9 checks[0].moves[3].travel | the unit's firmware has no command for `travel to position` | add the command to the unit file, or do without this move"#]].assert_eq(&said(fitted(&text, &poor)));
    let other = Envelope { model: "heron-900".into(), ..bench() };
    expect!["3:8 model | this plan is for the model `dunlin-600`, but the unit is a `heron-900` | choose the plan and the unit file of the same model"].assert_eq(&said(fitted(&moves(&[]), &other)));
}

#[test]
fn a_unit_that_tells_nothing_needs_a_jig_that_sees_its_steps() {
    let mute = Envelope { tells_rest: false, ..bench() };
    assert!(fitted(&moves(&["home: left"]), &mute).is_ok());
    let blind = Envelope { edges: vec![EdgeChannel::LeftEndStop], ..mute };
    expect![[r#"
        9:9 checks[0].moves[1].home | the unit does not tell when a motion ends, and the jig `bench one` lacks the channel `step` | run the plan on a jig that sees the steps
        10:16 checks[0].require.missing steps | `missing steps` needs the channels `step`, `direction`, `encoder a`, `encoder b`, which the jig `bench one` lacks | run the plan on a jig that has it, or take this requirement out of the check `only`"#]].assert_eq(&said(fitted(&moves(&["home: left"]), &blind)));
}

#[test]
fn what_the_jig_lacks_is_named() {
    let mut poor = bench();
    poor.samples.retain(|channel| *channel != SampleChannel::PackVoltage);
    poor.edges.retain(|channel| *channel != EdgeChannel::EncoderA && *channel != EdgeChannel::EncoderB);
    poor.outputs = vec![OutputChannel::UnitSupply, OutputChannel::Press(0)];
    let text = plan_of(
        "      - load: on\n      - pack: nearly empty\n      - press: knob left\n",
        "cruise speed: at least 80 mm/s, pack rest voltage: at least 7 V",
    );
    expect![[r#"
        9:9 checks[0].moves[1].load | this needs the output `dummy load`, which the jig `bench one` lacks | run the plan on a jig that has it, or take this move out
        10:9 checks[0].moves[2].pack | this needs the output `low pack`, which the jig `bench one` lacks | run the plan on a jig that has it, or take this move out
        11:16 checks[0].moves[3].press | this needs the output `press 2`, which the jig `bench one` lacks | run the plan on a jig that has it, or take this move out
        12:16 checks[0].require.cruise speed | `cruise speed` needs the channels `encoder a`, `encoder b`, which the jig `bench one` lacks | run the plan on a jig that has it, or take this requirement out of the check `only`
        12:48 checks[0].require.pack rest voltage | `pack rest voltage` needs the channel `pack voltage`, which the jig `bench one` lacks | run the plan on a jig that has it, or take this requirement out of the check `only`"#]].assert_eq(&said(fitted(&text, &poor)));
}

#[test]
fn moves_that_nobody_can_read_are_explained() {
    problems(
        &moves(&[
            "home",
            "home: up",
            "trvel: { to: left, speed: 40 mm/s }",
            "dance: quickly",
            "travel: { to: middle, speed: 40 }",
            "travel: { to: lfet, speed: 40 mm }",
            "travel: { to: left, by: 5 mm, speed: 4 mm/s, level: 2 }",
            "travel: { speed: 4 mm/s }",
            "travel: { to: left }",
            "travel: { to: 100 mm, level: 2 }",
            "travel: { by: 0 mm, speed: 0 mm/s }",
            "wait: 0 s",
            "wait: 2 h",
            "wait: [ 1 s ]",
            "repeat: { times: 0, moves: [] }",
            "select: high",
            "power: yes",
            "pack: half",
            "press: { control: knob right, for: 1 min }",
            "send: { text: \"a\\nb\", expect: \"(\" }",
            "stop: { towards: left, speed: -4 mm/s }",
        ]),
        expect![[r#"
            9:9 checks[0].moves[1] | a move is a key with what belongs to it, but this is a single value | write for example `- home: left`
            10:15 checks[0].moves[2].home | `up` is no end of the rail | write `left` or `right`
            11:9 checks[0].moves[3].trvel | there is no move `trvel` | did you mean `travel`?
            12:9 checks[0].moves[4].dance | there is no move `dance` | the moves are home, travel, stop, start, reverse, crawl, select, press, wait, repeat, power, load, pack, ask, send
            13:23 checks[0].moves[5].travel.to | `middle` is neither an end of the rail nor a position | write `left`, `right` or a position such as `280 mm`
            13:38 checks[0].moves[5].travel.speed | `40` has no unit; a speed is wanted | write for example `40 mm/s`
            14:23 checks[0].moves[6].travel.to | `lfet` is neither an end of the rail nor a position | did you mean `left`?
            14:36 checks[0].moves[6].travel.speed | `40 mm` is a length; a speed is wanted | write for example `90 mm/s`
            15:33 checks[0].moves[7].travel.by | a travel goes `to` somewhere or `by` a distance, not both | leave one of the two out
            15:61 checks[0].moves[7].travel.level | a `speed` and a `level` contradict each other | leave one of the two out
            16:19 checks[0].moves[8].travel | this travel goes nowhere | write for example `travel: { to: right, speed: 90 mm/s }`
            17:19 checks[0].moves[9].travel | `travel` has neither a `speed` nor a `level` | add for example `speed: 40 mm/s` or `level: 4`
            18:23 checks[0].moves[10].travel.to | a travel at a level goes to an end: a unit runs its own levels no other way | give it a `speed` instead of a `level`, or let it go `to: left` or `to: right`
            19:23 checks[0].moves[11].travel.by | a travel by nothing goes nowhere | write for example `by: -50 mm`
            19:36 checks[0].moves[11].travel.speed | `0 mm/s` is not a speed above zero | write for example `90 mm/s`
            20:15 checks[0].moves[12].wait | `0 s` is not a time above zero | write for example `500 ms`
            21:15 checks[0].moves[13].wait | `2 h` is longer than an hour | write at most `1 h`, in several moves if it must be longer
            22:15 checks[0].moves[14].wait | `wait` wants a single value, but this is a list | write for example `wait: 5 s`
            23:26 checks[0].moves[15].repeat.times | nothing can be repeated `0` times | write a whole number from 1 to 1000
            23:36 checks[0].moves[15].repeat.moves | there is nothing to repeat | write the moves, or leave this `repeat` out
            24:17 checks[0].moves[16].select | `high` is no speed level | levels are whole numbers from 1, for example `level: 4`
            25:16 checks[0].moves[17].power | `yes` is no state of a switch | write `on` or `off`
            26:15 checks[0].moves[18].pack | a bench has no pack `half` | write `nearly empty` or `full`
            27:44 checks[0].moves[19].press.for | `1 min` is longer than anyone presses | write at most `10 s`
            28:23 checks[0].moves[20].send.text | this cannot be sent as one line | write the text without its line ending, at most 200 characters; the unit file has the line ending
            28:40 checks[0].moves[20].send.expect | `(` is no pattern: unclosed group | write a regular expression over one line of the unit, such as `^I AM`; a sign of its own gets a `\` before it
            29:17 checks[0].moves[21].stop | `stop` needs the key `after` | add `after: 3 s`
            29:39 checks[0].moves[21].stop.speed | `-4 mm/s` is not a speed above zero | write for example `90 mm/s`"#]],
    );
    problems(
        &moves(&["home: left\n        wait: 1 s"]),
        expect![
            "10:9 checks[0].moves[1].wait | a move has one key, but this one has 2 | begin each move with a `- ` of its own, and put what belongs to one move into `{ }`"
        ],
    );
}

#[test]
fn requirements_that_nobody_can_meet_or_read_are_explained() {
    problems(
        &plan_of("", "criuse speed: 90 mm/s ± 5 %, stop distance: at most 3 s, colour: red"),
        expect![[r#"
            9:16 checks[0].require.criuse speed | there is no measurand `criuse speed` | did you mean `cruise speed`?
            9:60 checks[0].require.stop distance | `3 s` is a time; a length is wanted | write for example `280 mm`
            9:73 checks[0].require.colour | there is no measurand `colour` | the measurands are start-up time, travel time, travel length, travel in steps, cruise speed, step rate error, timer tick, rate granularity, period offset, timer clock error, speed asymmetry, travel time asymmetry, speed held, level speed error, level ratio error, levels out of order, period jitter rms, period jitter peak to peak, period jitter p99, period jitter p99.9, cycle-to-cycle jitter, longest step gap, time interval error tone, doubled steps, speed ripple rms, speed ripple peak, full-step jitter, time interval error, profile time error, Allan deviation, ramp acceleration, ramp deceleration, missing steps, extra steps, belt slip, backlash, end-stop response, end-stop bounce, end-stop bounces, end-stop overrun, end-stop repeatability, missed end stops, positioning accuracy, positioning accuracy rightward, positioning accuracy leftward, positioning repeatability, positioning repeatability rightward, positioning repeatability leftward, systematic deviation, systematic deviation rightward, systematic deviation leftward, reversal value, mean reversal value, mean bidirectional deviation, stop distance, stop delay, braking deceleration, stop distance at full speed, creep after stop, control response, contact response, dead controls, control bounce, control bounces, crawl interval, crawl increment, crawl interval scatter, crawl increment scatter, pack rest voltage, pack minimum voltage, brown-out margin, pack sag, pack series resistance, pack resistance in use, pack ohmic resistance, pack slow resistance, pack slow time constant, pack recovery time, supply ripple, off current, idle current, holding current, cruise current, cruise power, duty power, energy per traverse, running time, motor temperature rise, motor temperature, housing temperature rise, housing temperature, housing temperature margin, motor settled temperature, motor warming time constant, housing settled temperature, housing warming time constant, housing settled margin, segment errors, lit segments, lit segments out of order, flicker depth, flicker frequency, flicker against low risk, red share, green share, blue share, unanswered commands, refused commands, wrong reports, unexpected restarts, objections"#]],
    );
    problems(
        &plan_of("", "travel time: between 7 s and 6 s, missing steps: 0 mm, cruise speed: 90 mm/s"),
        expect![[r#"
            9:29 checks[0].require.travel time | no value meets `between 7 s and 6 s`: its lower limit, 7 s, is above its upper, 6 s | write `between 6 s and 7 s`
            9:65 checks[0].require.missing steps | `0 mm` is a length; a plain count is wanted | write for example `6`
            9:85 checks[0].require.cruise speed | `90 mm/s` has no tolerance: no measured value is exact | write for example `90 mm/s ± 5 %` or `at most 90 mm/s`"#]],
    );
    problems(
        &plan_of("", ""),
        expect!["9:14 checks[0].require | this check requires nothing | write for example `missing steps: at most 0`"],
    );
}

#[test]
fn decision_rules_are_read_by_name() {
    use crate::decide::Rule;
    let of = |rule: &str| {
        let text = plan_of("", "cruise speed: at most 90 mm/s").replace("{ false accept at most: 2.5 % }", rule);
        good(&text).rule
    };
    assert_eq!(of("simple acceptance"), Rule::SimpleAcceptance);
    assert_eq!(of("{ guard band: U }"), Rule::GuardBand { factor: 1.0 });
    assert_eq!(of("{ guard band: 0.83 U }"), Rule::GuardBand { factor: 0.83 });
    assert_eq!(of("{ false accept at most: 5 % }"), Rule::FalseAccept { at_most: 0.05 });
    assert_eq!(of("{ false reject at most: 5 % }"), Rule::FalseReject { at_most: 0.05 });
    let own =
        "missing steps: at most 0, cruise speed: { tolerance: 90 mm/s ± 3 %, decision rule: { guard band: 1 U } }";
    let rules: Vec<_> = good(&plan_of("", own)).checks[0].requirements.iter().map(|one| one.rule).collect();
    assert_eq!(rules, [None, Some(Rule::GuardBand { factor: 1.0 })]);
}

#[test]
fn a_risk_that_nobody_could_know_is_none() {
    problems(
        "plan: x\nrevision: 1\nmodel: dunlin-600\ndecision rule: { false accept at most: 1e-20 % }\nchecks: []\n",
        expect![[r#"
            4:40 decision rule.false accept at most | a false acceptance cannot be accepted with a probability of `1e-20 %` | write at least 0.0001 % and less than 50 %; 2.5 % and 5 % are usual
            5:9 checks | this plan establishes nothing | write at least one check: `- { name: promised top speed, moves: [ … ], require: { … } }`"#]],
    );
}

#[test]
fn a_plan_has_all_of_its_parts() {
    problems(
        "plan: x\n",
        expect![[r#"
        1:1  | a plan needs the key `revision` | add `revision: 1`
        1:1  | a plan needs the key `model` | add `model: dunlin-600`
        1:1  | a plan needs the key `decision rule` | add `decision rule: { false accept at most: 2.5 % }`
        1:1  | a plan needs the key `checks` | add `checks: [ { name: promised top speed, moves: [ … ], require: { … } } ]`"#]],
    );
    problems(
        "plan: x\nrevision: -1\nmodel: dunlin-600\ndecision rule: { false accept at most: 60 % }\nchecks: []\n",
        expect![[r#"
            2:11 revision | `-1` is no revision | write a whole number, for example `revision: 3`
            4:40 decision rule.false accept at most | a false acceptance cannot be accepted with a probability of `60 %` | write at least 0.0001 % and less than 50 %; 2.5 % and 5 % are usual
            5:9 checks | this plan establishes nothing | write at least one check: `- { name: promised top speed, moves: [ … ], require: { … } }`"#]],
    );
    problems(
        "plan: x\nrevison: 1\nmodel: dunlin-600\ndecision rule: { false accept at most: 2 mm }\nchecks:\n  - name: a\n    moves: []\n    requires: { missing steps: 0 }\n  - name: a\n    moves: [ power: on ]\n    require: [ missing steps ]\n  - nothing\n",
        expect![[r#"
            2:1 revison | a plan has no key `revison` | did you mean `revision`?
            4:40 decision rule.false accept at most | `2 mm` is a length; a ratio is wanted | write for example `2.5 %`
            7:12 checks[0].moves | this check does nothing | write at least one move, for example `- home: left`
            8:5 checks[0].requires | a check has no key `requires` | did you mean `require`?
            9:11 checks[1].name | there is an earlier check `a` | give every check a name of its own: results are told apart by it
            11:14 checks[1].require | `require` wants measurands with their tolerances, but this is a list | write for example `require: { cruise speed: 90 mm/s ± 5 % }`
            12:5 checks[2] | a check is a map of keys, but this is a single value | write `- { name: promised top speed, moves: [ … ], require: { … } }`"#]],
    );
}

#[test]
fn too_many_moves_are_refused() {
    let text = moves(&[
        "repeat: { times: 1000, moves: [ repeat: { times: 1000, moves: [ repeat: { times: 1000, moves: [ wait: 1 s ] } ] } ] }",
    ]);
    problems(
        &text,
        expect![
            "6:5 checks[0] | with every `repeat` written out, the plan has more than 10000 moves by here | repeat less often, or divide the plan"
        ],
    );
    let most = moves(&["repeat: { times: 999, moves: [ repeat: { times: 10, moves: [ wait: 1 s ] } ] }"]);
    assert_eq!(good(&most).checks[0].moves.len(), 9991);
}

/// Moves that keep to the rail by their own account, and some that do not.
fn any_move() -> impl Strategy<Value = String> {
    prop_oneof![
        Just("home: left".to_owned()),
        Just("home: right".to_owned()),
        (0i32..700, 1u32..100).prop_map(|(to, speed)| format!("travel: {{ to: {to} mm, speed: {speed} mm/s }}")),
        (-400i32..400, 1u32..95).prop_map(|(by, speed)| format!("travel: {{ by: {by} mm, speed: {speed} mm/s }}")),
        (1u32..95, 1u32..20, any::<bool>()).prop_map(|(speed, after, left)| {
            let towards = if left { "left" } else { "right" };
            format!("stop: {{ towards: {towards}, speed: {speed} mm/s, after: {after} s }}")
        }),
        Just("press: knob push".to_owned()),
    ]
}

proptest! {
    /// Whatever is written: a plan that fits never sends the carriage beyond the rail, however late each stop takes hold.
    #[test]
    fn a_plan_that_fits_stays_on_the_rail(lines in prop::collection::vec(any_move(), 1..12), late in 0.0..0.2f64) {
        let lines: Vec<&str> = lines.iter().map(String::as_str).collect();
        let Ok(plan) = fitted(&moves(&lines), &bench()) else { return Ok(()) };
        let mut position = None;
        for one in &plan.checks[0].moves {
            position = match (&one.action, position) {
                (Action::Home { side }, _) => Some(if *side == Side::Left { 0.0 } else { 0.56 }),
                (Action::Travel { to: Destination::Position(to), .. }, _) => Some(*to),
                (Action::Travel { to: Destination::By(by), .. }, Some(from)) => Some(from + by),
                (Action::Stop { towards, speed, .. }, Some(from)) => {
                    let way = speed * (one.for_s + late);
                    Some(if *towards == Side::Left { from - way } else { from + way })
                }
                (Action::Press { .. }, _) => None,
                (Action::Power { .. }, same) => same,
                (other, None) => return Err(TestCaseError::fail(format!("{other:?} from nowhere"))),
                (_, same) => same,
            };
            prop_assert!(position.is_none_or(|at| (-1e-4..=0.5601).contains(&at)), "{}: {position:?}", one.label);
        }
    }
}

#[test]
fn a_check_says_up_to_how_many_rounds_it_takes() {
    let lines = "      - wait: 10 s\n    repeat while undecided: up to 4 rounds\n";
    let plan = plan_of(lines, "pack rest voltage: at least 7 V");
    // The supply comes on in a check before, as every round has to begin alike.
    let first = "  - name: on\n    moves: [ power: on ]\n    require: { missing steps: at most 0 }\n";
    let plan = good(&plan.replace("      - power: on\n", "").replace("checks:\n", &format!("checks:\n{first}")));
    assert_eq!(plan.checks.iter().map(|check| check.rounds_max).collect::<Vec<_>>(), [1, 4]);
    assert!((plan.expected_s() - 10.8).abs() < 1e-9 && (plan.longest_s() - 40.8).abs() < 1e-9);
}

#[test]
fn rounds_count_among_the_moves_of_a_plan() {
    let lines = "      - repeat: { times: 600, moves: [ wait: 1 s ] }\n    repeat while undecided: up to 10 rounds\n";
    let text = plan_of(lines, "pack rest voltage: at least 7 V").replace("      - power: on\n", "");
    let first = "  - name: on\n    moves: [ power: on ]\n    require: { missing steps: at most 0 }\n";
    let more = text.replace("times: 600", "times: 1000").replace("checks:\n", &format!("checks:\n{first}"));
    problems(
        &more,
        expect![
            "9:5 checks[1] | with every `repeat` written out, the plan has more than 10000 moves by here | repeat less often, or divide the plan"
        ],
    );
    good(&text.replace("checks:\n", &format!("checks:\n{first}")));
}
