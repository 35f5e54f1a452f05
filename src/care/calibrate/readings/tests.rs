//! Tables of readings as spreadsheets write them, and as hands do.

use super::*;
use crate::care::calibrate::tests_support::{celsius, clock, encoder, volts};
use expect_test::{Expect, expect};

fn readings(text: &str, target: &Target) -> Vec<Reading> {
    let source = Source::new("readings.csv", text);
    read(&source, target, false).unwrap_or_else(|problems| panic!("{}", problems[0]))
}

fn told(text: &str, target: &Target, expected: Expect) {
    let problems = read(&Source::new("readings.csv", text), target, false).expect_err("mistakes");
    let line =
        |problem: &Problem| format!("{}:{}: {} | {}\n", problem.line, problem.column, problem.what, problem.right);
    expected.assert_eq(&problems.iter().map(line).collect::<String>());
}

#[test]
fn one_table_in_many_ways() {
    let plain = readings("code,reference [V],uncertainty [mV]\n4800,6.0,1\n5760,7.2,1\n6720,8.4,1\n", &volts());
    assert_eq!(
        (plain.len(), plain[1].count, plain[1].reference, plain[1].reference_uncertainty),
        (3, 5760.0, 7.2, 1e-3)
    );
    assert!((plain[0].count_uncertainty - 12f64.sqrt().recip()).abs() < 1e-12);
    for text in [
        "code;reference (V);uncertainty (mV)\r\n4800;6,0;1,0\r\n5760;7,2;1\r\n\r\n6720;8,4;1\r\n",
        "# bench supply and voltmeter\nuncertainty\tcode\treference\n0.001 V\t4800\t6000 mV\n1 mV\t5760\t7,2 V\n1 mV\t6720\t8.4 V\n",
        "Code,Reference,Uncertainty,Unit\n4800,6.0,0.001,V\n5760,7.2,0.001,V\n6720,8.4,0.001,V\n",
        "\u{feff}\"code\" , \"reference [V]\",\"uncertainty [mV]\"\n 4800 ,\"6.0\", 1\n5760,7.2,1\n6720,8.4,1",
    ] {
        let same = readings(text, &volts());
        let numbers = |readings: &[Reading]| {
            readings.iter().map(|one| (one.count, one.reference, one.reference_uncertainty)).collect::<Vec<_>>()
        };
        assert_eq!(numbers(&same), numbers(&plain), "{text}");
    }
}

#[test]
fn means_are_in_less_doubt_and_parts_are_of_the_value() {
    let means = readings("code,scatter,readings,reference,uncertainty\n4800.25,0.8,400,6.0 V,0.1 %\n", &volts());
    assert!(means[0].count_uncertainty < 0.05 && (means[0].reference_uncertainty - 6e-3).abs() < 1e-15, "{means:?}");
    let celsius = readings("code,reference [°C],uncertainty [mK]\n-80,-5.0,50\n", &celsius());
    assert_eq!((celsius[0].reference, celsius[0].reference_uncertainty), (-5.0, 0.05));
    let ticks = readings("ticks,reference [s],uncertainty [µs]\n200000000,100,1\n", &clock());
    assert!(ticks[0].count_uncertainty > 0.2, "a stamp is in doubt of 0.1 µs");
    let edges = readings("edges,reference [mm],uncertainty [µm]\n22000,550,3\n", &encoder());
    assert_eq!((edges[0].reference, edges[0].reference_uncertainty), (0.55, 3e-6));
}

#[test]
fn a_doubt_that_is_stated_elsewhere_needs_no_column() {
    let source = Source::new("readings.csv", "code,reference [V]\n4800,6.0\n");
    assert_eq!(read(&source, &volts(), true).expect("a table")[0].reference_uncertainty, 0.0);
}

#[test]
fn every_mistake_has_its_place_and_remedy() {
    told(
        "",
        &volts(),
        expect![[r#"
        1:1: this table is empty | begin with a line of names: `code,reference [V],uncertainty [mV]`
    "#]],
    );
    told(
        "code,refrence [V],sigma\n1,2,3\n",
        &volts(),
        expect![[r#"
        1:1: a table of readings needs the column `reference` | name it in this first line
        1:1: a table of readings needs the column `uncertainty` | add the standard uncertainty of the reference, or state it by --reference-uncertainty
        1:6: a table of readings of `pack voltage` has no column `refrence` | did you mean `reference`?
        1:19: a table of readings of `pack voltage` has no column `sigma` | the columns are code, reference, uncertainty, scatter, readings, unit
    "#]],
    );
    told(
        "ticks,reference,uncertainty,ticks\n1,2,3,4\n",
        &clock(),
        expect![[r#"
        1:29: the column `ticks` stands here a second time | keep one of the two
    "#]],
    );
    told(
        "code,reference [V],uncertainty [mV],scatter,readings\n\
         4800,6.0,1,,\n4800,6.0\nmany,6.0,1,,\n4800,nan,1,,\n4800,6 mm,1,,\n4800,6.0,-1,,\n4800,6.0,1,-2,\n4800,6.0,1,1,2.5\n1e300,6.0,1,,\n,6.0,1,,\n4800,,,,\n",
        &volts(),
        expect![[r#"
            3:1: this line has 2 cells, and the line of names 5 | write each line like the first, and put a text that holds the separator in quotes
            4:1: `many` is no number of `code` | write a whole count or a mean of several
            5:6: `nan V` does not begin with a number; a voltage is wanted | write for example `7.2 V`
            6:6: `6 mm` is a length; a voltage is wanted | write for example `7.2 V`
            7:10: `-1 mV` is no uncertainty | write a standard uncertainty, which is not negative
            8:12: `-2` is no number of `scatter` | write a standard deviation, which is not negative
            9:14: `2.5` is no number of `readings` | write a whole number from 1
            10:1: `1e300` is no number of `code` | write a whole count or a mean of several
            11:1: this line has no `code` | write it, or leave the line out
            12:6: this line has no `reference` | write it, or leave the line out
            12:7: this line has no `uncertainty` | write it, or leave the line out
        "#]],
    );
    told(
        "code,reference,uncertainty\n4800,6.0,1\n",
        &volts(),
        expect![[r#"
        2:6: `6.0` has no unit; a voltage is wanted | write for example `6.0 V`, or `reference [V]` in the first line
        2:10: `1` has no unit; a voltage is wanted | write for example `1 V`, or `uncertainty [V]` in the first line
    "#]],
    );
}

proptest::proptest! {
    #[test]
    fn no_table_is_too_strange(text in "[a-z0-9,;\t\"\\[\\]. \n#µ-]{0,200}", names in proptest::bool::ANY) {
        let text = if names { format!("code,reference [V],uncertainty\n{text}") } else { text };
        if let Err(problems) = read(&Source::new("readings.csv", &text), &volts(), false) {
            proptest::prop_assert!(!problems.is_empty());
            proptest::prop_assert!(problems.iter().all(|problem| !problem.what.is_empty() && !problem.right.is_empty()));
        }
    }
}
