//! The coach's practice tasks: one plain text file in the library's folder, or the one that comes
//! with the program. In: the file, names of tasks. Out: what can be ticked, what goes on a sheet.

use std::path::PathBuf;

use super::reply::{Refusal, Reply};
use super::shown::TaskShown;
use super::state::Page;
use crate::desk;
use crate::results::{SwingResult, write_atomically};
use crate::sheet::{DEFAULT_TASKS, TASKS_FILE, Task, parse};

fn file(page: &Page) -> PathBuf {
    page.options.library.join(TASKS_FILE)
}

/// The text in use.
///
/// # Errors
/// When the file is there and cannot be read.
pub fn text(page: &Page) -> Reply<String> {
    let found = desk::tasks_text(&page.options.library);
    found.map(|(_, text)| text).map_err(|e| Refusal::failed(e.to_string()))
}

/// Keeps the coach's own text; an empty one brings back the tasks that come with the program.
///
/// # Errors
/// When a line is wrong, with its number; nothing is changed then.
pub fn keep(page: &Page, text: &str) -> Reply<String> {
    let text = if text.trim().is_empty() { DEFAULT_TASKS } else { text };
    let text = text.replace("\r\n", "\n");
    parse(&text).map_err(|e| Refusal::wrong(e.to_string()))?;
    write_atomically(&file(page), text.as_bytes()).map_err(|e| Refusal::failed(e.to_string()))?;
    Ok(text)
}

fn all(page: &Page) -> Reply<Vec<Task>> {
    parse(&text(page)?).map_err(|e| Refusal::conflict(e.to_string()))
}

/// Everything that can be ticked, what fits the swing first.
///
/// # Errors
/// When the file cannot be read, or a line of it is wrong.
pub fn shown(
    page: &Page,
    chosen: &[String],
    result: Option<&SwingResult>,
) -> Reply<Vec<TaskShown>> {
    let mut tasks = all(page)?;
    tasks.sort_by_key(|task| !result.is_some_and(|result| task.fits(result)));
    let one = |task: Task| TaskShown {
        chosen: chosen.contains(&task.id),
        body: task.lines().join("\n"),
        id: task.id,
        title: task.title,
    };
    Ok(tasks.into_iter().map(one).collect())
}

/// The tasks of these names, in the file's order; one that is not there any more is left out.
///
/// # Errors
/// As above.
pub fn chosen(page: &Page, ids: &[String]) -> Reply<Vec<Task>> {
    if ids.is_empty() {
        return Ok(Vec::new());
    }
    Ok(all(page)?.into_iter().filter(|task| ids.contains(&task.id)).collect())
}
