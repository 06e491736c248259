//! `hubgauge compare`. In: result files, or a pupil's labelled swings. Out: the comparison as text
//! or JSON.

use crate::cli::desk::CompareArgs;
use crate::compare::{self, BallFlight, CompareError, FlightSwing, Question, Swing, Target};
use crate::error::Error;
use crate::record::{self, Library, Stored};
use crate::results::SwingResult;

/// One side's swings, and their ball-flight numbers where the library has any.
#[derive(Default)]
struct Side {
    swings: Vec<(String, SwingResult)>,
    flights: Vec<FlightSwing>,
}

/// # Errors
/// When a result cannot be read or the sides cannot be compared.
pub fn compare(args: &CompareArgs) -> Result<String, Error> {
    let mut question = looked_at(&args.look_at)?;
    question.same_setup = args.same_setup;
    for target in &args.target {
        question.targets.push(target.parse()?);
    }
    if args.look_at.is_empty() {
        let own: Vec<_> = question.targets.iter().map(|target| target.key).collect();
        question.keys.extend(own);
    }
    let (before, after) = match &args.pupil {
        Some(pupil) => recorded(args, pupil, &mut question.targets)?,
        None => (files(&args.before)?, files(&args.after)?),
    };
    let flight = BallFlight { before: before.flights.clone(), after: after.flights.clone() };
    let comparison = loop {
        let compared =
            compare::compare_with_flight(&swings(&before), &swings(&after), &flight, &question);
        match compared {
            // A target on record that these swings cannot show is no mistake of this command.
            Err(CompareError::TargetNotLookedAt(key)) if args.target.is_empty() => {
                question.targets.retain(|target| target.key != key);
            }
            other => break other?,
        }
    };
    if args.json { Ok(comparison.to_json()?) } else { Ok(compare::table(&comparison)) }
}

/// The hubs at the top, `all`, or the values named.
fn looked_at(keys: &[String]) -> Result<Question, Error> {
    match keys {
        [] => Ok(Question::hubs()),
        [all] if all == "all" => Ok(Question::default()),
        keys => {
            let keys = keys.iter().map(|key| key.parse()).collect::<Result<_, _>>()?;
            Ok(Question { keys, ..Question::default() })
        }
    }
}

fn files(paths: &[std::path::PathBuf]) -> Result<Side, Error> {
    let one =
        |path: &std::path::PathBuf| Ok((path.display().to_string(), record::read_result(path)?));
    Ok(Side { swings: paths.iter().map(one).collect::<Result<_, Error>>()?, ..Side::default() })
}

/// The labelled swings, and the targets on record where none is given.
fn recorded(
    args: &CompareArgs,
    pupil: &str,
    targets: &mut Vec<Target>,
) -> Result<(Side, Side), Error> {
    let library = super::open(&args.at)?;
    for date in args.before_date.iter().chain(&args.after_date) {
        library.day(Some(date))?;
    }
    if targets.is_empty() {
        targets.extend(library.targets(pupil)?);
    }
    let before = labelled(&library, pupil, &args.before_label, args.before_date.as_deref())?;
    let after = labelled(&library, pupil, &args.after_label, args.after_date.as_deref())?;
    Ok((before, after))
}

fn labelled(
    library: &Library,
    pupil: &str,
    label: &str,
    date: Option<&str>,
) -> Result<Side, Error> {
    let mut side = Side::default();
    for Stored { swing, date, club, result, .. } in library.swings(pupil, Some(label), date)? {
        let label = format!("swing {swing} ({date})");
        let numbers = library.flights(swing)?;
        side.flights.push(FlightSwing { label: label.clone(), club, numbers });
        side.swings.push((label, result));
    }
    Ok(side)
}

fn swings(side: &Side) -> Vec<Swing<'_>> {
    side.swings.iter().map(|(label, result)| Swing { label, result }).collect()
}
