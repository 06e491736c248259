//! Ball-flight numbers before against after, in the form of the body's values. In: what the coach
//! read off his device for each swing. Out: [`FlightLine`]s.
//!
//! Method: as for the body ([`super::difference`]), but the device's own error is unknown, so
//! only the scatter from swing to swing and the rounding of the numbers are in the interval, and
//! nothing can be said with one swing a side. A device that was set up anew between the sides can
//! shift all of its directions; nothing here can see that.

mod practice;
mod quantity;

use std::collections::BTreeSet;

use serde::Serialize;

use super::difference::{Difference, Scatter};
use super::sample::{Reading, Sample};
use super::words::{decimals, number};
use super::{Change, CompareError, Side, Verdict, build};

pub use practice::{NO_SOURCE, Remark};
pub use quantity::Quantity;

/// One number of one swing, in the unit it was read in.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Flight {
    pub quantity: String,
    pub unit: String,
    pub value: f64,
}

impl Flight {
    /// From a column's name with its unit, `attack_angle [deg]`, and a cell.
    ///
    /// # Errors
    /// When the unit is missing, unknown or none of this quantity, or the number is none.
    pub fn new(column: &str, number: &str) -> Result<Self, CompareError> {
        let wrong = |given: &str, mend| CompareError::Flight {
            given: given.chars().filter(|c| !c.is_control()).take(60).collect(),
            mend,
        };
        let named = "name it with its unit, as in attack_angle [deg]";
        let (quantity, unit) = column
            .trim()
            .strip_suffix(']')
            .and_then(|rest| rest.split_once('['))
            .ok_or_else(|| wrong(column, named))?;
        let (quantity, unit) = (quantity.trim(), unit.trim());
        if quantity.is_empty() || quantity.len() > 60 || quantity.chars().any(char::is_control) {
            return Err(wrong(column, named));
        }
        let (kind, _) = quantity::unit(unit).ok_or_else(|| {
            wrong(column, "use one of deg, m/s, km/h, mph, rpm, m, yd, cm, s, ratio")
        })?;
        if quantity.parse::<Quantity>().is_ok_and(|known| known.kind() != kind) {
            return Err(wrong(column, "this quantity is not measured in that unit"));
        }
        let plain = "write a plain number with a point";
        let value: f64 = number.trim().parse().map_err(|_| wrong(number, plain))?;
        if !value.is_finite() {
            return Err(wrong(number, plain));
        }
        Ok(Self { quantity: quantity.to_owned(), unit: unit.to_owned(), value })
    }
}

/// The numbers of one swing.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct FlightSwing {
    pub label: String,
    /// In the coach's words; decides which remarks fit.
    pub club: String,
    pub numbers: Vec<Flight>,
}

/// Both sides.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct BallFlight {
    pub before: Vec<FlightSwing>,
    pub after: Vec<FlightSwing>,
}

/// One quantity, compared.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct FlightLine {
    pub quantity: String,
    pub unit: String,
    /// What the sign means, for a quantity that is known.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub sign: Option<&'static str>,
    pub before: Side,
    pub after: Side,
    /// After less before.
    pub difference: f64,
    /// Absent with one swing a side: nothing is known then of the scatter.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub change: Option<Change>,
    pub verdict: Verdict,
    pub sentence: String,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub remarks: Vec<Remark>,
}

/// A quantity that both sides have, ready to be tested.
pub(super) struct Pair {
    quantity: String,
    unit: String,
    labels: [Vec<String>; 2],
    samples: [Sample; 2],
    pub(super) difference: Difference,
    remarks: Vec<Remark>,
}

impl Pair {
    /// With one swing a side there is nothing to test.
    pub(super) fn is_tested(&self) -> bool {
        self.difference.scatter != Scatter::Unknown
    }
}

/// What both sides have, in the order of [`Quantity::ALL`], then other names.
pub(super) fn pairs(flight: &BallFlight) -> Vec<Pair> {
    let names = |side: &[FlightSwing]| -> BTreeSet<String> {
        side.iter().flat_map(|swing| &swing.numbers).map(|n| n.quantity.clone()).collect()
    };
    let (before, after) = (names(&flight.before), names(&flight.after));
    let mut common: Vec<&String> = before.intersection(&after).collect();
    common.sort_by_key(|name| {
        Quantity::ALL.iter().position(|q| q.name() == name.as_str()).unwrap_or(usize::MAX)
    });
    common.into_iter().filter_map(|name| pair(name, flight)).collect()
}

/// None where the sides' units do not go together.
fn pair(name: &str, flight: &BallFlight) -> Option<Pair> {
    let sides = [&flight.before, &flight.after];
    let of = |swing: &FlightSwing| swing.numbers.iter().find(|n| n.quantity == name).cloned();
    let unit = sides[0].iter().find_map(of)?.unit;
    let (kind, size) = quantity::unit(&unit)?;
    let rounding = rounding(sides.into_iter().flatten().filter_map(of), size)?;
    let read = |side: &Vec<FlightSwing>| -> Option<(Vec<String>, Sample)> {
        let (mut labels, mut readings) = (Vec::new(), Vec::new());
        for swing in side {
            let Some(found) = of(swing) else { continue };
            let (its_kind, its_size) = quantity::unit(&found.unit)?;
            let value = found.value * its_size / size;
            readings.push(reading((its_kind == kind).then_some(value)?, rounding, readings.len()));
            labels.push(swing.label.clone());
        }
        Some((labels, Sample { readings }))
    };
    let ((b, before), (a, after)) = (read(sides[0])?, read(sides[1])?);
    let clubs: Vec<&str> = sides.into_iter().flatten().map(|s| s.club.as_str()).collect();
    Some(Pair {
        quantity: name.to_owned(),
        difference: Difference::new(&before, &after, false),
        labels: [b, a],
        samples: [before, after],
        unit,
        remarks: practice::remarks(name, &clubs),
    })
}

/// Sd of the rounding: the finest step that any of the numbers shows, evenly spread.
fn rounding(numbers: impl Iterator<Item = Flight>, size: f64) -> Option<f64> {
    let step = |n: Flight| {
        let text = n.value.to_string();
        let places = text.split_once('.').map_or(0, |(_, digits)| digits.len());
        let (_, its_size) = quantity::unit(&n.unit)?;
        Some(10_f64.powi(-i32::try_from(places).unwrap_or(i32::MAX)) * its_size / size)
    };
    numbers
        .map(step)
        .try_fold(f64::INFINITY, |least, s| Some(least.min(s?)))
        .map(|s| s / 12f64.sqrt())
}

/// Rounding is taken not to average out; the device's own error is not known at all.
fn reading(value: f64, rounding: f64, swing: usize) -> Reading {
    let none = Reading::bare(swing, value);
    Reading { unknown: rounding, ..none }
}

/// Writes a pair down; `p` as it is and adjusted, `looked_at` as the verdict counts.
pub(super) fn line(pair: Pair, p: Option<(f64, f64)>, looked_at: f64) -> FlightLine {
    let tested = &pair.difference;
    let [before, after] = [0, 1].map(|i| build::side_of(&pair.labels[i], &pair.samples[i]));
    let values = pair.samples.each_ref().map(Sample::values);
    let change =
        p.map(|p| build::change(tested, p, super::permutation::test(&values[0], &values[1])));
    let verdict = match p {
        Some((_, adjusted)) => Verdict::new(tested, adjusted, looked_at),
        None => Verdict::TooFewSwings,
    };
    FlightLine {
        sign: pair.quantity.parse::<Quantity>().ok().map(Quantity::sign),
        sentence: sentence(verdict, &pair, p.is_some()),
        difference: build::short(tested.value),
        quantity: pair.quantity,
        unit: pair.unit,
        before,
        after,
        change,
        verdict,
        remarks: pair.remarks,
    }
}

fn sentence(verdict: Verdict, pair: &Pair, has_interval: bool) -> String {
    let (value, half) = (pair.difference.value, pair.difference.half_width());
    let places = decimals(half);
    let change = format!(
        "{} {} {}",
        number(value.abs(), places),
        pair.unit,
        quantity::way(&pair.quantity, value)
    );
    if !has_interval {
        return format!("too few swings: {change} between single swings, whose scatter is unknown");
    }
    let (low, high) = (number(value - half, places), number(value + half, places));
    let interval = format!("95 % interval {low} to {high}");
    match verdict {
        Verdict::Moved => format!(
            "changed by {change} (95 % interval {} to {})",
            number(value.abs() - half, places),
            number(value.abs() + half, places)
        ),
        Verdict::NotShown => format!("not shown: {change} ({interval})"),
        Verdict::TooFewSwings => format!("too few swings: {change} ({interval})"),
    }
}

#[cfg(test)]
mod tests {
    use super::super::{Question, Swing, compare_with_flight, table};
    use super::*;
    use crate::compare::Comparison;
    use crate::compare::tests::result;

    fn side(label: &str, column: &str, values: &[&str]) -> Vec<FlightSwing> {
        let swing = |(i, value): (usize, &&str)| FlightSwing {
            label: format!("{label}{i}"),
            club: "7 iron".to_owned(),
            numbers: vec![Flight::new(column, value).unwrap()],
        };
        values.iter().enumerate().map(swing).collect()
    }

    fn compared(flight: &BallFlight) -> Comparison {
        let (a, b) = (result("a", 0.0), result("b", 0.0));
        let (a, b) = (Swing { label: "a", result: &a }, Swing { label: "b", result: &b });
        compare_with_flight(&[a], &[b], flight, &Question::hubs()).unwrap()
    }

    #[test]
    fn the_interval_is_welchs_with_the_rounding_joined() {
        // scipy 1.17.1: the two variances of the means, and 2 x 0.1^2 / 12 with unlimited degrees
        // of freedom; stats.ttest_ind alone gives 1.6204 to 3.9462.
        let flight = BallFlight {
            before: side("b", "attack_angle [deg]", &["-4.1", "-5.2", "-4.6"]),
            after: side("a", "attack_angle [deg]", &["-2.0", "-1.1", "-2.6", "-1.7"]),
        };
        let got = compared(&flight);
        let line = &got.ball_flight[0];
        let change = line.change.unwrap();
        for (got, want) in [
            (change.value, 2.783_333),
            (change.low, 1.621_708),
            (change.high, 3.944_959),
            (change.degrees_of_freedom.unwrap(), 4.844_067),
        ] {
            assert!((got - want).abs() < 1e-5, "{got} {want}");
        }
        assert_eq!((line.verdict, got.looked_at), (Verdict::Moved, 3));
        assert!(line.sentence.starts_with("changed by 2.8 deg upward (95 % interval 1.6 to 3.9"));
        assert!(line.remarks.iter().all(|remark| remark.source == NO_SOURCE));
        let text = table(&got);
        assert!(text.contains("Ball flight, attack angle: changed by 2.8 deg upward"), "{text}");
        assert!(text.contains("common practice, no source") && text.contains("error is unknown"));
        assert!(text.lines().all(|line| line.chars().count() <= 100), "{text}");
    }

    #[test]
    fn one_swing_a_side_shows_nothing_and_changes_no_verdict_of_the_body() {
        let flight = BallFlight {
            before: side("b", "carry [m]", &["140"]),
            after: side("a", "carry [yd]", &["200"]),
        };
        let got = compared(&flight);
        let line = &got.ball_flight[0];
        assert_eq!(
            (line.verdict, line.change, line.unit.as_str()),
            (Verdict::TooFewSwings, None, "m")
        );
        assert!((line.difference - (200.0 * 0.9144 - 140.0)).abs() < 1e-4, "{line:?}");
        let alone = compared(&BallFlight::default());
        assert_eq!((got.lines, got.looked_at), (alone.lines, alone.looked_at));
        assert!(got.notes.iter().any(|note| note.contains("nothing can be said")));
    }

    #[test]
    fn body_and_flight_have_half_of_the_chance_each() {
        let flight = BallFlight {
            before: side("b", "mine [s]", &["1.0", "1.1"]),
            after: side("a", "mine [s]", &["1.0", "1.1"]),
        };
        let (with, without) = (compared(&flight), compared(&BallFlight::default()));
        let p = |c: &Comparison| c.lines.iter().map(|l| l.change.p_adjusted).collect::<Vec<_>>();
        for (with, without) in p(&with).into_iter().zip(p(&without)) {
            assert!((with - (2.0 * without).min(1.0)).abs() < 1e-12);
        }
        assert_eq!(with.ball_flight[0].verdict, Verdict::NotShown);
        assert_eq!(with.ball_flight[0].sign, None);
    }

    #[test]
    fn equal_readings_are_no_proof_and_units_that_do_not_go_together_are_left_out() {
        let same = BallFlight {
            before: side("b", "attack_angle [deg]", &["-4.1", "-4.1", "-4.1"]),
            after: side("a", "attack_angle [deg]", &["-4.0", "-4.0", "-4.0"]),
        };
        // No scatter at all is not believed: the rounding's sd stays.
        let change = compared(&same).ball_flight[0].change.unwrap();
        assert!((change.standard_error - (2.0 * 0.01 / 12.0_f64).sqrt()).abs() < 1e-4);
        let mixed = BallFlight {
            before: side("b", "mine [s]", &["1.0", "1.1"]),
            after: side("a", "mine [m]", &["1.0", "1.1"]),
        };
        assert!(compared(&mixed).ball_flight.is_empty());
    }

    #[test]
    fn a_number_needs_a_name_a_unit_and_a_value() {
        for (column, cell) in [
            ("attack", "2"),
            ("a [furlong]", "2"),
            ("[deg]", "2"),
            ("a [deg]", "x"),
            ("a [deg]", "inf"),
            ("attack_angle [mph]", "2"),
        ] {
            let said = Flight::new(column, cell).unwrap_err().to_string();
            assert!(said.contains("ball-flight number") && !said.contains('\n'), "{said}");
        }
    }
}
