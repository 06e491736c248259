//! What the coach adds: corrections by hand, practice tasks, targets. In: text. Out: rows.

use rusqlite::params;
use serde::Serialize;

use super::{Library, RecordError, clean};
use crate::compare::{Key, Target};

/// A change that the coach made by hand to what was seen in a swing.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Correction {
    /// Day and time where the program runs, as lessons have their day.
    pub made_at: String,
    pub what: String,
}

/// A practice task, with the day it was given.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Task {
    pub date: String,
    pub what: String,
}

impl Library {
    /// Keeps a correction beside the swing; the results stay as they were made.
    ///
    /// # Errors
    /// When there is no such swing.
    pub fn add_correction(&mut self, swing: i64, what: &str) -> Result<(), RecordError> {
        let what = clean("correction", what)?;
        let change = self.change()?;
        let stored = change.execute(
            "INSERT INTO correction (swing_id, made_at, what)
             SELECT id, datetime('now'), ?2 FROM swing WHERE id = ?1",
            params![swing, what],
        )?;
        if stored == 0 {
            return Err(RecordError::NoSwing(swing));
        }
        change.commit()?;
        Ok(())
    }

    /// # Errors
    /// When the library cannot be read.
    pub fn corrections(&self, swing: i64) -> Result<Vec<Correction>, RecordError> {
        let mut rows = self.connection.prepare_cached(
            "SELECT datetime(made_at, 'localtime'), what FROM correction
             WHERE swing_id = ?1 ORDER BY id",
        )?;
        let all =
            rows.query_map([swing], |r| Ok(Correction { made_at: r.get(0)?, what: r.get(1)? }))?;
        Ok(all.collect::<Result<_, _>>()?)
    }

    /// # Errors
    /// When the text is empty.
    pub fn add_task(&mut self, lesson: i64, what: &str) -> Result<(), RecordError> {
        let what = clean("task", what)?;
        let change = self.change()?;
        change
            .execute("INSERT INTO task (lesson_id, what) VALUES (?1, ?2)", params![lesson, what])?;
        change.commit()?;
        Ok(())
    }

    pub(super) fn tasks_of(&self, lesson: i64) -> Result<Vec<String>, RecordError> {
        let mut rows = self
            .connection
            .prepare_cached("SELECT what FROM task WHERE lesson_id = ?1 ORDER BY id")?;
        Ok(rows.query_map([lesson], |row| row.get(0))?.collect::<Result<_, _>>()?)
    }

    /// All of a pupil's tasks, in order.
    ///
    /// # Errors
    /// When there is no such pupil.
    pub fn tasks(&self, pupil: &str) -> Result<Vec<Task>, RecordError> {
        let mut rows = self.connection.prepare_cached(
            "SELECT date, what FROM task JOIN lesson ON lesson.id = lesson_id
             WHERE pupil_id = ?1 ORDER BY date, task.id",
        )?;
        let all = rows.query_map([self.pupil_id(pupil)?], |row| {
            Ok(Task { date: row.get(0)?, what: row.get(1)? })
        })?;
        Ok(all.collect::<Result<_, _>>()?)
    }

    /// Sets the coach's own target for one value of a pupil.
    ///
    /// # Errors
    /// When there is no such pupil.
    pub fn set_target(&mut self, pupil: &str, target: Target) -> Result<(), RecordError> {
        let pupil = self.pupil_id(pupil)?;
        let change = self.change()?;
        change.execute(
            "INSERT INTO target (pupil_id, key, value) VALUES (?1, ?2, ?3)
             ON CONFLICT DO UPDATE SET value = excluded.value",
            params![pupil, target.key.to_string(), target.value],
        )?;
        change.commit()?;
        Ok(())
    }

    /// # Errors
    /// When there is no such pupil.
    pub fn targets(&self, pupil: &str) -> Result<Vec<Target>, RecordError> {
        let mut rows = self
            .connection
            .prepare_cached("SELECT key, value FROM target WHERE pupil_id = ?1 ORDER BY key")?;
        let all = rows
            .query_map([self.pupil_id(pupil)?], |row| Ok((row.get(0)?, row.get(1)?)))?
            .collect::<Result<Vec<(String, f64)>, _>>()?;
        // A key that a later program dropped is left alone.
        Ok(all
            .into_iter()
            .filter_map(|(key, value)| Some(Target { key: key.parse::<Key>().ok()?, value }))
            .collect())
    }
}
