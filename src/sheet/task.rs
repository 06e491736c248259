//! Practice tasks. In: the text of a tasks file (`tasks.txt` here is the one that comes with the
//! program). Out: checked [`Task`]s, or a message with the number of the wrong line; and which of
//! them fit what was measured.
//!
//! A task fits when the hub that it should move was measured on the wrong side of where it was at
//! address, farther than its error. That is common practice, not a diagnosis, and only travel
//! along the target line is looked at: for everything else nobody has published where "wrong"
//! begins.

use std::collections::BTreeMap;

use super::SheetError;
use crate::compare::Key;
use crate::events::Event;
use crate::geometry::Measure;
use crate::results::{SwingResult, is_shown};

/// The tasks that come with the program.
pub const DEFAULT_TASKS: &str = include_str!("tasks.txt");
/// The coach's own, in the library's folder.
pub const TASKS_FILE: &str = "tasks.txt";
/// Longer lines of a task would never fit a sheet, letters.
const LONGEST: usize = 600;
const FIELDS: [&str; 6] = ["title", "moves", "do", "feel", "film", "source"];

/// Which way a measure should go.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Way {
    Higher,
    Lower,
}

/// What a task should change.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Aim {
    Measured(Key),
    /// A number of the ball's flight, by its name.
    Flight(String),
}

#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Task {
    pub id: String,
    pub title: String,
    pub aim: Aim,
    pub way: Way,
    pub what: String,
    pub feel: String,
    pub film: String,
    pub source: String,
}

impl Task {
    /// What to do, what to feel, what to film again.
    #[must_use]
    pub fn lines(&self) -> [String; 3] {
        let (feel, film) = (format!("Feel: {}", self.feel), format!("Film again: {}", self.film));
        [self.what.clone(), feel, film]
    }

    /// Proposed for this result: its hub went the wrong way by more than its error.
    #[must_use]
    pub fn fits(&self, result: &SwingResult) -> bool {
        let Aim::Measured(Key::At { event: Event::Top, measure }) = self.aim else { return false };
        if !matches!(measure, Measure::LowerHubTarget | Measure::UpperHubTarget) {
            return false;
        }
        result.known(Event::Top, measure).is_some_and(|known| {
            let wrong = match self.way {
                Way::Higher => known.value < 0.0,
                Way::Lower => known.value > 0.0,
            };
            wrong && is_shown(known)
        })
    }
}

/// The tasks of a file, in its order.
///
/// # Errors
/// When a line is wrong; the message has its number.
pub fn parse(text: &str) -> Result<Vec<Task>, SheetError> {
    let mut tasks: Vec<Task> = Vec::new();
    let mut open: Option<Draft> = None;
    for (index, line) in text.trim_start_matches('\u{feff}').lines().enumerate() {
        let number = index + 1;
        let bad = |why: String| SheetError::Tasks { line: number, why };
        let bare = line.trim();
        if bare.is_empty() || line.starts_with('#') {
            continue;
        }
        if let Some(id) = bare.strip_prefix('[') {
            let id =
                id.strip_suffix(']').map(str::trim).filter(|id| is_id(id)).ok_or_else(|| {
                    bad("write the short name as [trail-hip], small letters, figures and -"
                        .to_owned())
                })?;
            finish(open.take(), &mut tasks)?;
            if tasks.iter().any(|task| task.id == id) {
                return Err(bad(format!("there are two tasks called [{id}]: rename one")));
            }
            open = Some(Draft { id: id.to_owned(), line: number, ..Draft::default() });
            continue;
        }
        let draft = open.as_mut().ok_or_else(|| {
            bad("a task starts with its short name in square brackets".to_owned())
        })?;
        draft.add(line, number)?;
    }
    finish(open, &mut tasks)?;
    Ok(tasks)
}

fn is_id(id: &str) -> bool {
    let fine = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-';
    (1..=40).contains(&id.len()) && id.chars().all(fine)
}

/// A task while its lines are read.
#[derive(Default)]
struct Draft {
    id: String,
    line: usize,
    fields: BTreeMap<&'static str, (usize, String)>,
    last: Option<&'static str>,
}

impl Draft {
    fn add(&mut self, line: &str, number: usize) -> Result<(), SheetError> {
        let bad = |why: String| SheetError::Tasks { line: number, why };
        if line.starts_with("  ") {
            let last = self.last.and_then(|name| self.fields.get_mut(name));
            let (_, text) = last.ok_or_else(|| bad("this line goes on with nothing".to_owned()))?;
            text.push(' ');
            text.push_str(line.trim());
            return checked(text, number);
        }
        let (name, text) = line.split_once(':').ok_or_else(|| {
            bad("write a name, a colon and the text; two spaces first go on with a line".to_owned())
        })?;
        let name = FIELDS.into_iter().find(|field| *field == name.trim()).ok_or_else(|| {
            let shown: String = name.chars().filter(|c| !c.is_control()).take(40).collect();
            bad(format!("\"{shown}\" is none of {}", FIELDS.join(", ")))
        })?;
        checked(text, number)?;
        if self.fields.insert(name, (number, text.trim().to_owned())).is_some() {
            return Err(bad(format!("this task has two lines \"{name}\"")));
        }
        self.last = Some(name);
        Ok(())
    }

    fn take(&mut self, name: &'static str) -> Result<(usize, String), SheetError> {
        let found = self.fields.remove(name).filter(|(_, text)| !text.is_empty());
        found.ok_or_else(|| SheetError::Tasks {
            line: self.line,
            why: format!("the task [{}] has no line \"{name}:\"", self.id),
        })
    }
}

fn checked(text: &str, line: usize) -> Result<(), SheetError> {
    let why = if text.chars().any(char::is_control) {
        "there is a control character in it"
    } else if text.chars().count() > LONGEST {
        "it is too long for a sheet: 600 letters at most"
    } else {
        return Ok(());
    };
    Err(SheetError::Tasks { line, why: why.to_owned() })
}

fn finish(draft: Option<Draft>, tasks: &mut Vec<Task>) -> Result<(), SheetError> {
    let Some(mut draft) = draft else { return Ok(()) };
    let (line, moves) = draft.take("moves")?;
    let (aim, way) = aim(&moves).map_err(|why| SheetError::Tasks { line, why })?;
    tasks.push(Task {
        title: draft.take("title")?.1,
        aim,
        way,
        what: draft.take("do")?.1,
        feel: draft.take("feel")?.1,
        film: draft.take("film")?.1,
        source: draft.take("source")?.1,
        id: draft.id,
    });
    Ok(())
}

fn aim(text: &str) -> Result<(Aim, Way), String> {
    let wrong = || "write it as: moves: top.lower_hub_target higher (or lower)".to_owned();
    let (name, way) = text.split_once(' ').ok_or_else(wrong)?;
    let way = match way.trim() {
        "higher" => Way::Higher,
        "lower" => Way::Lower,
        _ => return Err(wrong()),
    };
    if let Some(flight) = name.strip_prefix("flight.") {
        let fine = !flight.is_empty() && flight.chars().all(|c| c.is_ascii_lowercase() || c == '_');
        return if fine { Ok((Aim::Flight(flight.to_owned()), way)) } else { Err(wrong()) };
    }
    let key = name.parse().map_err(|error: crate::compare::CompareError| error.to_string())?;
    Ok((Aim::Measured(key), way))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_tasks_that_come_along_are_whole() {
        let tasks = parse(DEFAULT_TASKS).unwrap();
        assert!((8..=12).contains(&tasks.len()));
        for task in &tasks {
            assert_eq!(task.source, "common practice, no source");
            let said = task.what.chars().any(|c| c.is_ascii_digit());
            assert!(said, "{} does not say how many times", task.id);
        }
    }

    const GOOD: &str = "[a]\ntitle: A\nmoves: top.lower_hub_target higher\ndo: x\n  y\nfeel: f\n\
                        film: g\nsource: s\n";

    #[test]
    fn a_line_goes_on_and_comments_are_skipped() {
        let tasks = parse(&format!("# note\n\n{GOOD}")).unwrap();
        assert_eq!(tasks[0].what, "x y");
        assert_eq!(tasks[0].way, Way::Higher);
        assert!(parse("").unwrap().is_empty());
        let flight = parse(&GOOD.replace("top.lower_hub_target", "flight.club_path")).unwrap();
        assert_eq!(flight[0].aim, Aim::Flight("club_path".to_owned()));
    }

    #[test]
    fn mistakes_are_told_with_their_line() {
        let twice = format!("{GOOD}{GOOD}");
        let long = format!("[a]\ntitle: {}\n", "x".repeat(601));
        for (text, line, said) in [
            ("title: A\n", 1, "square brackets"),
            ("[A b]\n", 1, "short name"),
            ("[a\n", 1, "short name"),
            (twice.as_str(), 9, "two tasks"),
            ("[a]\n  more\n", 2, "goes on with nothing"),
            ("[a]\ncolour: red\n", 2, "none of title"),
            ("[a]\njust words\n", 2, "colon"),
            ("[a]\ntitle: A\ntitle: B\n", 3, "two lines"),
            ("[a]\ntitle: A\u{7}\n", 2, "control"),
            (long.as_str(), 2, "600"),
            ("#\n[a]\ntitle: A\n", 2, "no line \"moves:\""),
            (&GOOD.replace("higher", "up"), 3, "higher (or lower)"),
            (&GOOD.replace("top.lower_hub_target", "top.nose"), 3, "top.lower_hub_target"),
            (&GOOD.replace("feel: f", "feel:"), 1, "no line \"feel:\""),
        ] {
            let error = parse(text).unwrap_err().to_string();
            assert!(error.contains(&format!("line {line}:")) && error.contains(said), "{error}");
        }
    }

    #[test]
    fn only_a_hub_that_really_went_the_wrong_way_calls_for_a_task() {
        let json = include_str!("../../fixtures/sheet/before.json");
        let result = SwingResult::from_json(json).unwrap();
        let fits = |id: &str| {
            let tasks = parse(DEFAULT_TASKS).unwrap();
            tasks.iter().find(|task| task.id == id).unwrap().fits(&result)
        };
        assert!(fits("trail-hip-wall") && fits("chest-over-ball"));
        assert!(!fits("arms-on-plane") && !fits("gate-in-to-out"));
        let after = include_str!("../../fixtures/sheet/after.json");
        let after = SwingResult::from_json(after).unwrap();
        assert!(!parse(DEFAULT_TASKS).unwrap().iter().any(|task| task.fits(&after)));
    }
}
