//! The published JSON Schema says what `record.json` holds: no field more, none less.

mod records;

use railproof::record::Record;
use serde_json::{Map, Value};
use std::collections::BTreeSet;

/// The schema of a format.
fn schema_of(format: u32) -> Value {
    let path = format!("{}/fixtures/schema/record-{format}.json", env!("CARGO_MANIFEST_DIR"));
    serde_json::from_str(&std::fs::read_to_string(path).expect("the schema is there")).expect("the schema is JSON")
}

/// That of what is written now.
fn schema() -> Value {
    schema_of(2)
}

/// Checks a value against the part of JSON Schema (draft 2020-12) that our schema uses, and notes which properties it met.
struct Check<'a> {
    schema: &'a Value,
    met: BTreeSet<String>,
    wrong: Vec<String>,
}

impl Check<'_> {
    fn value(&mut self, rule: &Value, value: &Value, place: &str, kind: &str) {
        if let Some(target) = rule["$ref"].as_str() {
            let name = target.strip_prefix("#/$defs/").expect("references stay inside the file").to_owned();
            let schema = self.schema;
            return self.value(&schema["$defs"][&name], value, place, &name);
        }
        if !rule["type"].is_null() && !types(&rule["type"]).iter().any(|name| is(name, value)) {
            self.wrong.push(format!("{place}: {value} is no {}", rule["type"]));
        }
        if rule["enum"].as_array().is_some_and(|allowed| !allowed.contains(value)) {
            self.wrong.push(format!("{place}: {value} is none of {}", rule["enum"]));
        }
        if !rule["const"].is_null() && rule["const"] != *value {
            self.wrong.push(format!("{place}: {value} is not {}", rule["const"]));
        }
        self.numbers(rule, value, place);
        if let Some(fields) = value.as_object() {
            self.fields(rule, fields, place, kind);
        }
        for (index, item) in value.as_array().into_iter().flatten().enumerate() {
            let pairs = rule["prefixItems"].as_array();
            let item_rule = pairs.map_or(&rule["items"], |pairs| pairs.get(index).unwrap_or(&Value::Bool(false)));
            if *item_rule == Value::Bool(false) {
                self.wrong.push(format!("{place}: too many items"));
            }
            self.value(item_rule, item, &format!("{place}/{index}"), kind);
        }
    }

    fn numbers(&mut self, rule: &Value, value: &Value, place: &str) {
        if let Some(number) = value.as_f64() {
            let low = rule["minimum"].as_f64().unwrap_or(f64::NEG_INFINITY);
            let high = rule["maximum"].as_f64().unwrap_or(f64::INFINITY);
            if !(low..=high).contains(&number) {
                self.wrong.push(format!("{place}: {number} is beyond {low} to {high}"));
            }
        }
    }

    fn fields(&mut self, rule: &Value, fields: &Map<String, Value>, place: &str, kind: &str) {
        let known = rule["properties"].as_object();
        for (name, value) in fields {
            let below = format!("{place}/{name}");
            match known.and_then(|known| known.get(name)) {
                Some(rule) => {
                    self.met.insert(format!("{kind}.{name}"));
                    self.value(rule, value, &below, name);
                }
                None if rule["additionalProperties"].is_object() => {
                    self.value(&rule["additionalProperties"], value, &below, name);
                }
                None => self.wrong.push(format!("{below}: the schema does not know it")),
            }
        }
        for name in rule["required"].as_array().into_iter().flatten().filter_map(Value::as_str) {
            if !fields.contains_key(name) {
                self.wrong.push(format!("{place}: `{name}` is missing"));
            }
        }
    }
}

fn types(rule: &Value) -> Vec<&str> {
    rule.as_str()
        .map_or_else(|| rule.as_array().into_iter().flatten().filter_map(Value::as_str).collect(), |name| vec![name])
}

fn is(name: &str, value: &Value) -> bool {
    match name {
        "object" => value.is_object(),
        "array" => value.is_array(),
        "string" => value.is_string(),
        "number" => value.is_number(),
        "integer" => value.is_u64() || value.is_i64(),
        "boolean" => value.is_boolean(),
        "null" => value.is_null(),
        other => panic!("the schema uses the type {other}, which this check does not know"),
    }
}

fn checked<'a>(schema: &'a Value, value: &Value) -> Check<'a> {
    let mut check = Check { schema, met: BTreeSet::new(), wrong: Vec::new() };
    check.value(schema, value, "", "record");
    check
}

/// A step clock with every field there is.
fn step_clock() -> Value {
    serde_json::json!([{
        "label": "to the right end at 90 mm/s", "direction": "right", "steps": 44960, "doubled_steps": 0,
        "withheld": "a step at 3.2 s is stamped earlier than the one before it",
        "phases": [{
            "phase": "cruise", "began_s": 1.5, "ended_s": 7.5, "steps": 43200,
            "values": [{ "name": "mean period", "unit": "s", "value": 138.9e-6, "standard_uncertainty": 1.4e-9 }],
            "n_period_jitter": [{ "periods": 16, "value": 1e-6, "standard_uncertainty": 1e-8 }],
            "maximum_time_interval_error": [
                { "periods": 10, "tau_s": 1e-3, "value": 2e-5, "standard_uncertainty": 1e-7 },
            ],
            "allan_deviation": [
                { "periods": 1, "tau_s": 138.9e-6, "differences": 43199, "value": 1e-2, "standard_uncertainty": 1e-4 },
            ],
            "intervals": { "count": 43200, "hdr": "HISTFAAAAA==" },
            "longest_gap": { "length_s": 180.5e-6, "began_s": 3.5, "into_phase_s": 2.5 },
        }],
    }])
}

/// A record with every optional field there is.
fn full() -> Value {
    let record = records::changed("does-not-conform-2", |value| {
        value["bench"]["calibrations"][0]["environment"] = serde_json::json!("21.5 °C, 45 % RH");
        value["unit"]["parts"][0]["carried_on_from"] = serde_json::json!("0198f2a4-6c10-7d3e-9b51-000000000010");
        value["bench"]["overdue_because"] = serde_json::json!("the reference is away until Friday");
        value["invalid_because"] = serde_json::json!(["a frame of the capture board was lost"]);
        value["bench"]["name"] = serde_json::json!("bench-3");
        value["bench"]["key"] = serde_json::json!("SHA256:zr9ZiYrZF8SLhyvoJpFcNmv9hY4zv2T0xf2kUrWg6E4");
        value["checks"][0]["step_clock"] = step_clock();
        value["checks"][0]["rounds"] = serde_json::json!({
            "done": 2, "at_most": 4, "why_no_more": "still undecided after 2 rounds, the most that the plan allows",
        });
        let requirement = &mut value["checks"][0]["requirements"][0];
        requirement["rule"] = serde_json::json!({ "name": "guard band", "factor": 1.0 });
        requirement["readings"][0]["rounds"] = serde_json::json!([
            { "value": 89.1, "standard_uncertainty": 0.02 }, { "withheld": "no step pulse came" },
        ]);
        let measured = &mut requirement["readings"][0]["measured"];
        measured["propagated_interval"] = serde_json::json!([0.5, 2.5]);
        measured["correlations"] = serde_json::json!([{ "lines": [0, 1], "coefficient": -0.5 }]);
    });
    serde_json::to_value(record).expect("a record is JSON")
}

#[test]
fn kept_records_and_what_is_written_of_them_fit_their_schemas() {
    for (name, format) in [("conforms-1", 1), ("does-not-conform-1", 1), ("conforms-2", 2), ("does-not-conform-2", 2)] {
        let kept: Value = serde_json::from_str(&records::text(name)).expect("a kept record is JSON");
        assert_eq!(checked(&schema_of(format), &kept).wrong, [""; 0], "{name}");
        let record: Record = serde_json::from_value(kept.clone()).expect("it is a record");
        let again = serde_json::to_value(&record).expect("a record is JSON");
        assert_eq!(checked(&schema(), &again).wrong, [""; 0], "{name} written again");
        assert!(format == 1 || again == kept, "{name} is written again as it was");
        assert_eq!(serde_json::from_value::<Record>(again).expect("it is a record"), record);
    }
    assert_eq!(checked(&schema(), &full()).wrong, [""; 0]);
}

#[test]
fn kept_seals_fit_their_schema() {
    let path = |path: &str| format!("{}/{path}", env!("CARGO_MANIFEST_DIR"));
    let json = |path: &str| -> Value {
        serde_json::from_str(&std::fs::read_to_string(path).expect("it is kept")).expect("it is JSON")
    };
    let schema = json(&path("fixtures/schema/seal-1.json"));
    for run in 1..=2 {
        let folder = format!("tests/data/seals/format-1/SM-0001/0198f2a4-6c10-7d3e-9b51-00000000000{run}");
        assert_eq!(checked(&schema, &json(&path(&format!("{folder}/seal.json")))).wrong, [""; 0], "{run}");
    }
}

/// What format 1 kept stays as it was; what it did not keep stays open.
#[test]
fn a_record_of_format_1_is_read_whole() {
    let kept: Value = serde_json::from_str(&records::text("conforms-1")).expect("a kept record is JSON");
    let record: Record = serde_json::from_value(kept.clone()).expect("it is a record");
    let mut again = serde_json::to_value(&record).expect("a record is JSON");
    assert_eq!(again["plan"]["rule"]["name"], "false accept at most");
    assert_eq!(again["plan"]["rule"]["probability"], kept["plan"]["false_accept_at_most"]);
    again["format"] = kept["format"].clone();
    again["plan"] = kept["plan"].clone();
    assert!(real(&again) == real(&kept), "something was lost or added");
}

/// The same with every number as a real one: a hand may have written `1` for `1.0`.
fn real(value: &Value) -> Value {
    match value {
        Value::Number(number) => serde_json::json!(number.as_f64()),
        Value::Array(items) => items.iter().map(real).collect(),
        Value::Object(fields) => fields.iter().map(|(name, value)| (name.clone(), real(value))).collect(),
        other => other.clone(),
    }
}

#[test]
fn every_property_of_the_schema_occurs_in_a_full_record() {
    let schema = schema();
    let met = checked(&schema, &full()).met;
    let named = |kind: &str, rule: &Value| -> Vec<String> {
        let names = rule["properties"].as_object().into_iter().flatten();
        names.map(|(name, _)| format!("{kind}.{name}")).collect()
    };
    let mut all = named("record", &schema);
    for (kind, rule) in schema["$defs"].as_object().expect("there are definitions") {
        all.extend(named(kind, rule));
    }
    let missing: Vec<&String> = all.iter().filter(|name| !met.contains(*name)).collect();
    assert_eq!(missing, [""; 0]);
}

#[test]
fn the_schema_requires_what_the_reader_requires() {
    let schema = schema();
    let whole = full();
    for place in places(&whole) {
        let mut less = whole.clone();
        remove(&mut less, &place);
        let is_required = !checked(&schema, &less).wrong.is_empty();
        let is_read = serde_json::from_value::<Record>(less).is_ok();
        // An absent operator is read as none, though it is always written.
        assert!(
            is_required != is_read || place == "/bench/operator",
            "{place}: required {is_required}, read {is_read}"
        );
    }
}

#[test]
fn the_schema_refuses_what_is_wrong() {
    let schema = schema();
    for (place, wrong) in [("/format", "3"), ("/decision", "\"passes\""), ("/run/took_s", "\"5 s\""), ("/checks", "{}")]
    {
        let mut value = full();
        *value.pointer_mut(place).expect("it is there") = serde_json::from_str(wrong).expect("it is JSON");
        assert_eq!(checked(&schema, &value).wrong.len(), 1, "{place}");
        assert!(serde_json::from_value::<Record>(value).is_err(), "{place}");
    }
}

/// One place of each kind of object's field: the first item stands for a list's others.
fn places(value: &Value) -> Vec<String> {
    fn walk(value: &Value, place: &str, found: &mut Vec<String>) {
        match value {
            Value::Object(fields) => {
                for (name, value) in fields {
                    let below = format!("{place}/{name}");
                    if !place.ends_with("/reports") {
                        found.push(below.clone());
                    }
                    walk(value, &below, found);
                }
            }
            Value::Array(items) => {
                if let Some(first) = items.first() {
                    walk(first, &format!("{place}/0"), found);
                }
            }
            _ => {}
        }
    }
    let mut found = Vec::new();
    walk(value, "", &mut found);
    found
}

fn remove(value: &mut Value, place: &str) {
    let (parent, name) = place.rsplit_once('/').expect("a place has a parent");
    let parent = value.pointer_mut(parent).expect("the parent is there");
    parent.as_object_mut().expect("it is an object").remove(name).expect("the field is there");
}
