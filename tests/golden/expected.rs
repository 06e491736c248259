//! Golden means unchanged: the numbers of the two-view cases against those stored in
//! `fixtures/golden/`, within a tolerance for each unit that leaves room for another
//! processor's rounding and no more.

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::fs;

use serde_json::{Value, json};

use super::{Case, cases, fixtures};

/// Frames of the face-on clip last 1/60 s: a tenth of one.
const TIME_S: f64 = 0.0017;
const LENGTH_CM: f64 = 0.2;
const ANGLE_DEG: f64 = 0.5;
const RELATIVE_SD: f64 = 0.1;

#[test]
fn numbers_are_those_stored() {
    let update = std::env::var_os("UPDATE_GOLDEN").is_some();
    let mut differences = String::new();
    for case in cases().iter().filter(|case| case.views.len() == 2) {
        let path = fixtures().join(format!("golden/{}.json", case.name));
        let got = numbers(case);
        if update {
            fs::create_dir_all(path.parent().unwrap()).unwrap();
            fs::write(&path, serde_json::to_string_pretty(&got).unwrap() + "\n").unwrap();
        }
        let want: BTreeMap<String, Value> =
            serde_json::from_str(&fs::read_to_string(&path).unwrap()).unwrap();
        compare(&case.name, &got, &want, &mut differences);
    }
    assert!(differences.is_empty(), "got, want:\n{differences}");
}

/// `event/measure` -> value, sd and unit, or null where missing.
fn numbers(case: &Case) -> BTreeMap<String, Value> {
    let file: Value = serde_json::from_str(&case.result.to_json().unwrap()).unwrap();
    let mut found = BTreeMap::new();
    for (event, at) in file["events"].as_object().unwrap() {
        let time = json!({"value": at["time_s"], "sd": at["sd_s"], "unit": "s"});
        found.insert(format!("{event}/time"), time);
    }
    for (event, measures) in file["measures"].as_object().unwrap() {
        for (measure, value) in measures.as_object().unwrap() {
            let known = value["value"].is_number().then(|| value.clone());
            found.insert(format!("{event}/{measure}"), known.unwrap_or(Value::Null));
        }
    }
    found
}

fn compare(
    case: &str,
    got: &BTreeMap<String, Value>,
    want: &BTreeMap<String, Value>,
    differences: &mut String,
) {
    let keys: std::collections::BTreeSet<&String> = got.keys().chain(want.keys()).collect();
    for key in keys {
        let (g, w) = (got.get(key), want.get(key));
        if !same(g, w) {
            let _ = writeln!(differences, "{case} {key}: {g:?}, {w:?}");
        }
    }
}

fn same(got: Option<&Value>, want: Option<&Value>) -> bool {
    let (Some(got), Some(want)) = (got, want) else { return false };
    if got.is_null() || want.is_null() {
        return got == want;
    }
    let tolerance = match want["unit"].as_str() {
        Some("s") => TIME_S,
        Some("cm") => LENGTH_CM,
        _ => ANGLE_DEG,
    };
    let part = |value: &Value, key: &str| value[key].as_f64().unwrap();
    let apart = (part(got, "value") - part(want, "value")).abs();
    let wider = (part(got, "sd") / part(want, "sd")).ln().abs();
    got["unit"] == want["unit"] && apart <= tolerance && wider <= RELATIVE_SD
}

#[test]
fn the_comparison_can_fail() {
    let stored = json!({"value": 1.0, "sd": 0.5, "unit": "cm"});
    assert!(same(Some(&stored), Some(&json!({"value": 1.1, "sd": 0.52, "unit": "cm"}))));
    for other in [
        json!({"value": 1.3, "sd": 0.5, "unit": "cm"}),
        json!({"value": 1.0, "sd": 0.6, "unit": "cm"}),
        json!({"value": 1.0, "sd": 0.5, "unit": "deg"}),
        Value::Null,
    ] {
        assert!(!same(Some(&other), Some(&stored)), "{other}");
    }
    assert!(!same(None, Some(&stored)));
}
