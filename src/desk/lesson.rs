//! `hubgauge lesson`. In: the command. Out: lessons, histories, or what was done, in words.

use std::fmt::Write as _;
use std::path::Path;

use crate::chart::{self, Lettering};
use crate::cli::desk::{LessonCommand, OnLibrary};
use crate::compare::{CompareError, Key, Mean};
use crate::error::Error;
use crate::record::{
    Day, Flight, History, Keep, Lesson, Library, Reading, RecordError, flight_csv, read_result,
};
use crate::results::{Style, Value};
use crate::units::Estimate;
use crate::warning::counted;

/// # Errors
/// When the library refuses.
pub fn lesson(args: OnLibrary<LessonCommand>) -> Result<String, Error> {
    let at = args.at;
    match args.command {
        LessonCommand::Add { pupil, results, said, day } => {
            let said = super::new_swing(said);
            let read =
                results.iter().map(|path| read_result(path)).collect::<Result<Vec<_>, _>>()?;
            let mut library = super::open(&at)?;
            let lesson = library.lesson(&pupil, day.day.as_deref())?;
            let swings: Vec<_> = read.iter().map(|result| (&said, result)).collect();
            let ids = library.add_swings(lesson, &swings, Keep::Nothing)?;
            Ok(format!("Put on record: {}.\n", counted(ids.len(), "swing")))
        }
        LessonCommand::List { pupil, date, json } => {
            let library = super::open(&at)?;
            match date {
                Some(date) => of_day(&library, &pupil, &date),
                None if json => super::json(&library.lessons(&pupil)?),
                None => Ok(listed(&library.lessons(&pupil)?)),
            }
        }
        LessonCommand::History { pupil, key, json, out, style } => {
            let key: Key = key.parse()?;
            let history = super::open(&at)?.over_time(&pupil, key)?;
            match out {
                Some(file) => drawn(&history, &file, style.into()),
                None if json => super::json(&history),
                None => Ok(told(&history)),
            }
        }
        LessonCommand::Task { pupil, what, day } => {
            let mut library = super::open(&at)?;
            let lesson = library.lesson(&pupil, day.day.as_deref())?;
            library.add_task(lesson, &what)?;
            Ok("The task is on record.\n".to_owned())
        }
        LessonCommand::Correct { swing, what } => {
            super::open(&at)?.add_correction(swing, &what)?;
            Ok("The correction is on record; the result is unchanged.\n".to_owned())
        }
        LessonCommand::Flight { swing, numbers, csv } => {
            let rows = match (csv, swing) {
                (Some(file), _) => flight_csv(&file)?,
                (None, Some(swing)) => vec![(swing, typed(&numbers)?)],
                (None, None) => Vec::new(),
            };
            super::open(&at)?.add_flights(&rows)?;
            let count: usize = rows.iter().map(|(_, flights)| flights.len()).sum();
            Ok(format!("Put on record: {}.\n", counted(count, "ball-flight number")))
        }
    }
}

fn typed(numbers: &[String]) -> Result<Vec<Flight>, CompareError> {
    let one = |text: &String| {
        let (column, number) = text.rsplit_once('=').unwrap_or((text, ""));
        Flight::new(column, number)
    };
    numbers.iter().map(one).collect()
}

fn of_day(library: &Library, pupil: &str, date: &str) -> Result<String, Error> {
    let mut out = String::new();
    let date = library.day(Some(date))?;
    for (number, swing) in library.swings_said(pupil, &date)? {
        let said = [swing.label, swing.club, swing.ball, swing.setup];
        let said: Vec<String> = said.into_iter().filter(|text| !text.is_empty()).collect();
        let colon = if said.is_empty() { "" } else { ": " };
        let _ = writeln!(out, "swing {number}{colon}{}", said.join(", "));
        for flight in library.flights(number)? {
            let _ = writeln!(out, "  {} {} {}", flight.quantity, flight.value, flight.unit);
        }
        for correction in library.corrections(number)? {
            let _ = writeln!(out, "  corrected {}: {}", correction.made_at, correction.what);
        }
    }
    if out.is_empty() {
        out = format!("No swing of {pupil} is on record for {date}.\n");
    }
    Ok(out)
}

fn listed(lessons: &[Lesson]) -> String {
    let mut out = String::new();
    for lesson in lessons {
        let _ = writeln!(out, "{}: {}", lesson.date, counted(lesson.swings, "swing"));
        for task in &lesson.tasks {
            let _ = writeln!(out, "  task: {task}");
        }
    }
    if out.is_empty() {
        out.push_str("No lesson is on record yet: `hubgauge measure --pupil` starts one.\n");
    }
    out
}

/// The width that a screen and half a printed page have room for, 1/96 inch.
const CHART_WIDTH: f64 = 720.0;

fn drawn(history: &History, file: &Path, style: Style) -> Result<String, Error> {
    if history.points.is_empty() {
        return Err(RecordError::NoValue(history.key.to_string()).into());
    }
    let letters = Lettering::default();
    let input = super::history_input(history, str::to_owned, style, CHART_WIDTH);
    super::chart::save(&chart::history(&input, &letters), &letters, file)
}

/// Every swing, the means of days with more than one, then the tasks given.
fn told(history: &History) -> String {
    let key = history.key;
    if history.points.is_empty() {
        return format!("No swing on record has {key}.\n");
    }
    let shown = |value, sd| Value::new(Estimate::new(value, sd), history.unit).to_string();
    let suffix = history.unit.suffix();
    let mut out = format!("{key}, ± is the measurement's sd\n");
    for Reading { point, .. } in &history.points {
        let _ = writeln!(
            out,
            "{}  swing {:<6} {:>16}  {}",
            point.date,
            point.swing,
            shown(point.value, point.sd),
            point.label
        );
    }
    for Day { date, label, mean } in history.days.iter().filter(|day| day.mean.n > 1) {
        let Mean { n, mean, low, high } = mean;
        let of = if label.is_empty() { String::new() } else { format!(" {label}") };
        let _ = writeln!(
            out,
            "{date}  mean of {n}{of}: {mean:.2}{suffix}, 95 % interval {low:.2} to {high:.2}"
        );
    }
    if let Some(target) = history.target {
        let _ = writeln!(out, "target: {target}{suffix}");
    }
    for lesson in &history.lessons {
        for task in &lesson.tasks {
            let _ = writeln!(out, "{}  task given: {task}", lesson.date);
        }
    }
    out
}
