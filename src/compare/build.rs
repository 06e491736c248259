//! Puts a comparison together. In: two sides, a [`Question`]. Out: [`Comparison`].

use super::difference::{Difference, Scatter};
use super::sample::{Sample, is_zero_by_definition};
use super::student::two_sided_quantile;
use super::words::{decimals, number};
use super::{
    Absent, BallFlight, Change, CompareError, Comparison, Distance, Dot, FAMILY_ERROR, FlightLine,
    Key, Line, Question, SCHEMA, Side, Swing, Target, Verdict, flight, holm, permutation,
};
use crate::results::{SwingResult, Unit, Value};
use crate::signal::real;

/// Compares two sets of swings of one pupil.
///
/// # Errors
/// When a side is empty, the sides are not of one pupil, or have nothing in common.
pub fn compare(
    before: &[Swing<'_>],
    after: &[Swing<'_>],
    question: &Question,
) -> Result<Comparison, CompareError> {
    compare_with_flight(before, after, &BallFlight::default(), question)
}

/// The same, with ball-flight numbers beside the body's values. Where both are tested, each has
/// half of the chance of a false "moved" (Bonferroni), so that the whole comparison keeps it.
///
/// # Errors
/// As there.
pub fn compare_with_flight(
    before: &[Swing<'_>],
    after: &[Swing<'_>],
    ball_flight: &BallFlight,
    question: &Question,
) -> Result<Comparison, CompareError> {
    check(before, after)?;
    let sides = [results(before), results(after)];
    let (mut pairs, mut missing) = (Vec::new(), Vec::new());
    for key in wanted(question) {
        match (Sample::new(&sides[0], key), Sample::new(&sides[1], key)) {
            (Some(a), Some(b)) => pairs.push((key, a, b)),
            _ => missing.push(Absent { key, reason: reason(&sides, key) }),
        }
    }
    if pairs.is_empty() {
        return Err(CompareError::NothingInCommon);
    }
    for target in &question.targets {
        if !pairs.iter().any(|(key, ..)| *key == target.key) {
            return Err(CompareError::TargetNotLookedAt(target.key));
        }
    }
    let tested: Vec<Difference> =
        pairs.iter().map(|(_, a, b)| Difference::new(a, b, question.same_setup)).collect();
    let flown = flight::pairs(ball_flight);
    let flights_tested = flown.iter().filter(|pair| pair.is_tested()).count();
    let families = if flights_tested > 0 { 2.0 } else { 1.0 };
    let p: Vec<f64> = tested.iter().map(Difference::p).collect();
    let adjusted = adjusted(&p, families);
    let lines = pairs.iter().enumerate().map(|(i, (key, a, b))| {
        let target = question.targets.iter().find(|target| target.key == *key);
        let (difference, p) = (&tested[i], (p[i], adjusted[i]));
        let verdict = Verdict::new(difference, adjusted[i], families * real(pairs.len()));
        Line {
            key: *key,
            unit: key.unit(),
            before: side(before, a),
            after: side(after, b),
            change: change(difference, p, permutation::test(&a.values(), &b.values())),
            verdict,
            sentence: verdict.sentence(*key, key.unit(), difference),
            target: target.map(|target| distance(b, key.unit(), target)),
        }
    });
    let ball_flight = flights(flown, families);
    Ok(Comparison {
        schema: SCHEMA,
        program: format!("hubgauge {}", env!("CARGO_PKG_VERSION")),
        same_setup: question.same_setup,
        before: labels(before),
        after: labels(after),
        looked_at: pairs.len() + flights_tested,
        family_error: FAMILY_ERROR,
        lines: lines.collect(),
        missing,
        notes: super::notes::notes(before, after, question, &tested, &ball_flight),
        ball_flight,
    })
}

/// Holm's within a family, Bonferroni's between families.
fn adjusted(p: &[f64], families: f64) -> Vec<f64> {
    holm::adjust(p).into_iter().map(|p| (families * p).min(1.0)).collect()
}

fn flights(pairs: Vec<flight::Pair>, families: f64) -> Vec<FlightLine> {
    let tested = pairs.iter().filter(|pair| pair.is_tested());
    let p: Vec<f64> = tested.map(|pair| pair.difference.p()).collect();
    let looked_at = families * real(p.len());
    let mut known = p.iter().copied().zip(adjusted(&p, families));
    let line = |pair: flight::Pair| {
        let p = if pair.is_tested() { known.next() } else { None };
        flight::line(pair, p, looked_at)
    };
    pairs.into_iter().map(line).collect()
}

fn results<'a>(swings: &[Swing<'a>]) -> Vec<&'a SwingResult> {
    swings.iter().map(|swing| swing.result).collect()
}

fn labels(swings: &[Swing<'_>]) -> Vec<String> {
    swings.iter().map(|swing| swing.label.to_owned()).collect()
}

/// One pupil's swings, each once on its side.
fn check(before: &[Swing<'_>], after: &[Swing<'_>]) -> Result<(), CompareError> {
    let (Some(first), false) = (before.first(), after.is_empty()) else {
        return Err(CompareError::NoSwing);
    };
    for swing in before.iter().chain(after) {
        if swing.result.pupil.handed != first.result.pupil.handed {
            return Err(CompareError::OtherHand(first.label.to_owned(), swing.label.to_owned()));
        }
    }
    for side in [before, after] {
        for (i, a) in side.iter().enumerate() {
            if let Some(b) = side[..i].iter().find(|b| a.result.is_same_swing(b.result)) {
                return Err(CompareError::Twice(b.label.to_owned(), a.label.to_owned()));
            }
        }
    }
    Ok(())
}

fn wanted(question: &Question) -> Vec<Key> {
    if !question.keys.is_empty() {
        let mut keys = question.keys.clone();
        keys.sort_unstable();
        keys.dedup();
        return keys;
    }
    let asked = |key: &Key| match key {
        Key::At { event, .. } => question.events.contains(event) && !is_zero_by_definition(*key),
        Key::Swing { .. } => true,
    };
    Key::all().filter(asked).collect()
}

/// Why a value is missing, in the words of the first result that says so.
fn reason(sides: &[Vec<&SwingResult>; 2], key: Key) -> String {
    let said = |side: &Vec<&SwingResult>| {
        side.iter().find_map(|result| match key.of(result)? {
            Value::Missing { missing } => Some(missing.clone()),
            Value::Known { .. } => None,
        })
    };
    let lacking = ["before", "after"]
        .into_iter()
        .zip(sides)
        .find(|(_, side)| Sample::new(side, key).is_none());
    let Some((name, side)) = lacking else { return String::new() };
    let why = said(side).unwrap_or_else(|| "not in the result".to_owned());
    format!("{name}: {why}")
}

fn side(swings: &[Swing<'_>], sample: &Sample) -> Side {
    side_of(&labels(swings), sample)
}

/// One side of a line; the readings count their swings in `labels`.
pub(super) fn side_of(labels: &[String], sample: &Sample) -> Side {
    let dots = sample.readings.iter().map(|reading| Dot {
        swing: labels.get(reading.swing).cloned().unwrap_or_default(),
        value: reading.value,
        sd: reading.sd,
    });
    Side {
        n: sample.readings.len(),
        mean: short(sample.mean(|r| r.value)),
        spread_sd: sample.scatter().map(|variance| short(variance.sqrt())),
        swings: dots.collect(),
    }
}

pub(super) fn change(
    difference: &Difference,
    p: (f64, f64),
    permutation: Option<permutation::Permutation>,
) -> Change {
    let half = difference.half_width();
    Change {
        value: short(difference.value),
        low: short(difference.value - half),
        high: short(difference.value + half),
        standard_error: short(difference.standard_error()),
        lasting_error: short(difference.known.sqrt()),
        degrees_of_freedom: difference.df.is_finite().then(|| short(difference.df)),
        scatter: difference.scatter,
        smallest_detectable: short(difference.detectable),
        p: p.0,
        p_adjusted: p.1,
        permutation,
    }
}

/// Where the mean after stands against the target, with its own 95 % interval.
fn distance(after: &Sample, unit: Unit, target: &Target) -> Distance {
    let lasting = [
        after.mean(|r| r.scale),
        after.mean(|r| r.camera),
        after.mean(|r| r.body),
        after.mean(|r| r.unknown),
    ];
    let lasting: f64 = lasting.iter().map(|sd| sd * sd).sum();
    let (random, df) = match after.scatter() {
        Some(variance) => (variance / after.n(), after.n() - 1.0),
        None => (after.mean(|r| r.random), f64::INFINITY),
    };
    let whole = lasting + random;
    let df = if random > 0.0 { df * (whole / random).powi(2) } else { f64::INFINITY };
    let half = two_sided_quantile(0.05, df) * whole.sqrt();
    let away = after.mean(|r| r.value) - target.value;
    Distance {
        target: target.value,
        distance: short(away),
        low: short(away - half),
        high: short(away + half),
        sentence: to_target(away, half, unit, target.value),
    }
}

fn to_target(away: f64, half: f64, unit: Unit, target: f64) -> String {
    let places = decimals(half);
    let (suffix, mark) = (unit.suffix(), number(target, places));
    let reached =
        if away.abs() <= half { "not told apart from the target" } else { "off the target" };
    let side = if away < 0.0 { "below" } else { "above" };
    format!(
        "{reached} of {mark}{suffix}: {}{suffix} {side} it (95 % interval {} to {})",
        number(away.abs(), places),
        number(away - half, places),
        number(away + half, places)
    )
}

/// Five decimals: beyond what any value of a result means.
pub(super) fn short(value: f64) -> f64 {
    (value * 1e5).round() / 1e5 + 0.0
}

/// Whether every swing on both sides has one and the same scatter known.
pub(super) fn scatter_of(tested: &[Difference]) -> Option<Scatter> {
    tested.first().map(|difference| difference.scatter)
}
