//! `hubgauge lesson`. In: the command. Out: lessons, histories, or what was done, in words.

use std::fmt::Write as _;

use crate::cli::desk::LessonCommand;
use crate::compare::Key;
use crate::error::Error;
use crate::record::{Flight, Library, Point, RecordError, flight_csv};
use crate::results::Value;
use crate::units::Estimate;

/// # Errors
/// When the library refuses.
pub fn lesson(command: LessonCommand) -> Result<String, Error> {
    match command {
        LessonCommand::List { pupil, json, at } => {
            let library = super::open(&at)?;
            if json { super::json(&library.lessons(&pupil)?) } else { listed(&library, &pupil) }
        }
        LessonCommand::History { pupil, key, json, at } => {
            let key: Key = key.parse()?;
            let points = super::open(&at)?.history(&pupil, key)?;
            if json { super::json(&points) } else { Ok(history(key, &points)) }
        }
        LessonCommand::Task { pupil, what, date, at } => {
            let mut library = super::open(&at)?;
            let lesson = library.lesson(&pupil, date.as_deref())?;
            library.add_task(lesson, &what)?;
            Ok("The task is on record.\n".to_owned())
        }
        LessonCommand::Correct { swing, what, at } => {
            super::open(&at)?.add_correction(swing, &what)?;
            Ok("The correction is on record; the result is unchanged.\n".to_owned())
        }
        LessonCommand::Flight { swing, numbers, csv, at } => {
            let rows = match (csv, swing) {
                (Some(file), _) => flight_csv(&file)?,
                (None, Some(swing)) => vec![(swing, typed(&numbers)?)],
                (None, None) => Vec::new(),
            };
            super::open(&at)?.add_flights(&rows)?;
            let count: usize = rows.iter().map(|(_, flights)| flights.len()).sum();
            Ok(format!("{count} ball-flight numbers are on record.\n"))
        }
    }
}

fn typed(numbers: &[String]) -> Result<Vec<Flight>, RecordError> {
    let one = |text: &String| {
        let (column, number) = text.rsplit_once('=').unwrap_or((text, ""));
        Flight::new(column, number)
    };
    numbers.iter().map(one).collect()
}

fn listed(library: &Library, pupil: &str) -> Result<String, Error> {
    let mut out = String::new();
    for lesson in library.lessons(pupil)? {
        let _ = writeln!(out, "{}", lesson.date);
        for swing in library.swings(pupil, None, Some(&lesson.date))? {
            let said = [&swing.label, &swing.club, &swing.ball, &swing.setup];
            let said: Vec<&str> =
                said.into_iter().map(String::as_str).filter(|t| !t.is_empty()).collect();
            let _ = writeln!(out, "  swing {}: {}", swing.swing, said.join(", "));
            for flight in library.flights(swing.swing)? {
                let _ = writeln!(out, "    {} {} {}", flight.quantity, flight.value, flight.unit);
            }
        }
        for task in &lesson.tasks {
            let _ = writeln!(out, "  task: {task}");
        }
    }
    if out.is_empty() {
        out.push_str("No lesson is on record yet: `hubgauge measure --pupil` starts one.\n");
    }
    Ok(out)
}

fn history(key: Key, points: &[Point]) -> String {
    if points.is_empty() {
        return format!("No swing on record has {key}.\n");
    }
    let mut out = format!("{key}, ± is the measurement's sd\n");
    for point in points {
        let value = Value::new(Estimate::new(point.value, point.sd), key.unit()).to_string();
        let _ =
            writeln!(out, "{}  swing {:<6} {value:>16}  {}", point.date, point.swing, point.label);
    }
    out
}
