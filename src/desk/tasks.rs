//! `hubgauge tasks`, and the tasks that other commands and the page ask for. In: the library's
//! folder, short names, a result. Out: the tasks file's text, tasks, and which fit what was
//! measured.

use std::fmt::Write as _;
use std::path::{Path, PathBuf};

use crate::cli::desk::LibraryArg;
use crate::cli::hand_out::TasksArgs;
use crate::error::Error;
use crate::record::read_result;
use crate::results::{wrapped, write_atomically};
use crate::sheet::{DEFAULT_TASKS, SheetError, TASKS_FILE, Task, parse};

/// The file in use and its text: the coach's own, or the one that comes along.
///
/// # Errors
/// When the coach's own is there and cannot be read.
pub fn text(library: &Path) -> Result<(Option<PathBuf>, String), SheetError> {
    let own = library.join(TASKS_FILE);
    match std::fs::read_to_string(&own) {
        Ok(text) => Ok((Some(own), text)),
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => {
            Ok((None, DEFAULT_TASKS.to_owned()))
        }
        Err(error) => {
            Err(SheetError::File { file: own.display().to_string(), why: error.to_string() })
        }
    }
}

/// The tasks of these short names.
///
/// # Errors
/// When the file cannot be read, or has no such task.
pub fn chosen(ids: &[String], at: &LibraryArg) -> Result<Vec<Task>, Error> {
    if ids.is_empty() {
        return Ok(Vec::new());
    }
    let tasks = parse(&text(&super::folder(at)?)?.1)?;
    let find = |id: &String| {
        tasks.iter().find(|task| task.id == *id).cloned().ok_or_else(|| {
            let known: Vec<&str> = tasks.iter().map(|task| task.id.as_str()).collect();
            let given = id.chars().filter(|c| !c.is_control()).take(60).collect();
            SheetError::NoTask { given, known: known.join(", ") }
        })
    };
    Ok(ids.iter().map(find).collect::<Result<_, _>>()?)
}

/// # Errors
/// When a file cannot be read or made, or a line of the tasks is wrong.
pub fn tasks(args: &TasksArgs) -> Result<String, Error> {
    let library = super::folder(&args.at)?;
    let own = library.join(TASKS_FILE);
    if args.edit && !own.exists() {
        std::fs::create_dir_all(&library)
            .map_err(|source| Error::Out { folder: library.clone(), source })?;
        write_atomically(&own, DEFAULT_TASKS.as_bytes())?;
    }
    let (found, text) = text(&library)?;
    let all = parse(&text)?;
    if let Some(result) = &args.result {
        return fitting(&all, result);
    }
    let told = match found {
        Some(path) => format!("# {}\n\n", path.display()),
        None => format!(
            "# These tasks come with the program. `hubgauge tasks --edit` copies them to\n# {}\n\n",
            own.display()
        ),
    };
    Ok(told + &text)
}

/// Columns, as the other tables have them.
const WIDTH: usize = 100;
const THESE_FIT: &str = "These tasks fit what was measured: the hub that each one moves had gone \
    the other way by the top, farther than its error. Common practice, no diagnosis.";
const NONE_FITS: &str = "No task fits: of the hubs that the tasks move along the target line, none \
    had gone the other way by the top, farther than its error.";

/// Those that fit a result: a `swing.json`, or the folder that it lies in.
fn fitting(all: &[Task], path: &Path) -> Result<String, Error> {
    let file = if path.is_dir() { path.join("swing.json") } else { path.to_owned() };
    let result = read_result(&file)?;
    let fit: Vec<&Task> = all.iter().filter(|task| task.fits(&result)).collect();
    if fit.is_empty() {
        return Ok(wrapped(NONE_FITS, WIDTH, 0) + "\n");
    }
    let mut out = wrapped(THESE_FIT, WIDTH, 0) + "\n";
    for task in fit {
        let _ = writeln!(out, "\n[{}] {}", task.id, task.title);
        for line in task.lines() {
            let _ = writeln!(out, "{}", wrapped(&line, WIDTH, 0));
        }
        let _ = writeln!(out, "({})", task.source);
    }
    Ok(out)
}
