//! Swings and their results. In: a [`SwingResult`] and where it belongs. Out: rows; results
//! and single values of a pupil, by day.

use std::path::{Path, PathBuf};

use rusqlite::{OptionalExtension as _, Row, Transaction, params};
use serde::Serialize;

use super::{Keep, Library, RecordError, clean, clips};
use crate::compare::Key;
use crate::results::{SwingResult, Value};
use crate::units::Estimate;

/// What the coach says about a swing.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct NewSwing {
    /// `before`, `after`, or any word; empty for none.
    pub label: String,
    pub club: String,
    pub ball: String,
    pub setup: String,
    pub clips: Vec<PathBuf>,
}

/// A swing with its newest result.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Stored {
    pub swing: i64,
    pub date: String,
    pub label: String,
    pub club: String,
    pub ball: String,
    pub setup: String,
    /// The newest result; older ones stay beside it.
    pub result: SwingResult,
    /// How many results of this swing are kept.
    pub results: i64,
}

/// One value on one day.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Point {
    pub swing: i64,
    pub date: String,
    pub label: String,
    pub value: f64,
    pub sd: f64,
}

impl Library {
    /// Stores measured swings of one lesson, all or none; their numbers in the same order. A swing
    /// of this pupil that is already on record (same clips, same moment) gets the result beside its
    /// old ones; the same result is not stored twice.
    ///
    /// # Errors
    /// When the lesson is not there or something cannot be written; nothing is stored then.
    pub fn add_swings(
        &mut self,
        lesson: i64,
        swings: &[(&NewSwing, &SwingResult)],
        keep: Keep,
    ) -> Result<Vec<i64>, RecordError> {
        let folder = self.folder.clone();
        let change = self.change()?;
        let mut ids = Vec::new();
        for (swing, result) in swings {
            let id = match known_swing(&change, lesson, result)? {
                Some(id) => id,
                None => add_row(&change, lesson, swing)?,
            };
            for clip in &result.clips {
                clips::note(&change, id, &clip.sha256)?;
            }
            for clip in &swing.clips {
                clips::add(&change, &folder, id, clip, keep)?;
            }
            // Without the file's indentation: half the size.
            let json = serde_json::to_string(result).map_err(RecordError::Json)?;
            add_result(&change, id, result, &json)?;
            ids.push(id);
        }
        change.commit()?;
        Ok(ids)
    }

    /// One of them.
    ///
    /// # Errors
    /// As there.
    pub fn add_swing(
        &mut self,
        lesson: i64,
        swing: &NewSwing,
        result: &SwingResult,
        keep: Keep,
    ) -> Result<i64, RecordError> {
        let ids = self.add_swings(lesson, &[(swing, result)], keep)?;
        ids.first().copied().ok_or(RecordError::NoSwing(0))
    }

    /// The swings of one day, without their results: number and what was said of each.
    ///
    /// # Errors
    /// When there is no such pupil.
    pub fn swings_said(
        &self,
        pupil: &str,
        date: &str,
    ) -> Result<Vec<(i64, NewSwing)>, RecordError> {
        let mut rows = self.connection.prepare_cached(
            "SELECT swing.id, label, club, ball, setup FROM lesson JOIN swing ON lesson_id = lesson.id
             WHERE pupil_id = ?1 AND date = ?2 ORDER BY swing.id",
        )?;
        let said = |row: &Row<'_>| {
            let clips = Vec::new();
            let (label, club) = (row.get(1)?, row.get(2)?);
            Ok((
                row.get(0)?,
                NewSwing { label, club, ball: row.get(3)?, setup: row.get(4)?, clips },
            ))
        };
        let all = rows.query_map(params![self.pupil_id(pupil)?, date], said)?;
        Ok(all.collect::<Result<_, _>>()?)
    }

    /// The pupil's swings with their newest results, in order; all labels or one, all days or one.
    ///
    /// # Errors
    /// When there is no such pupil.
    pub fn swings(
        &self,
        pupil: &str,
        label: Option<&str>,
        date: Option<&str>,
    ) -> Result<Vec<Stored>, RecordError> {
        let mut rows = self.connection.prepare_cached(
            "SELECT swing.id, date, label, club, ball, setup, json,
                 (SELECT count(*) FROM result AS other WHERE other.swing_id = swing.id)
             FROM lesson JOIN swing ON lesson_id = lesson.id
             JOIN result ON result.id = (SELECT max(id) FROM result WHERE swing_id = swing.id)
             WHERE pupil_id = ?1 AND label = coalesce(?2, label) AND date = coalesce(?3, date)
             ORDER BY date, swing.id",
        )?;
        let mut found = rows.query(params![self.pupil_id(pupil)?, label, date])?;
        let mut swings = Vec::new();
        while let Some(row) = found.next()? {
            swings.push(stored(row)?);
        }
        Ok(swings)
    }

    /// Every result ever stored of one swing, oldest first, with the day and time of storing where
    /// the program runs.
    ///
    /// # Errors
    /// When the library cannot be read.
    pub fn results(&self, swing: i64) -> Result<Vec<(String, SwingResult)>, RecordError> {
        let mut rows = self.connection.prepare_cached(
            "SELECT datetime(stored_at, 'localtime'), json FROM result
                 WHERE swing_id = ?1 ORDER BY id",
        )?;
        let mut found = rows.query([swing])?;
        let mut results = Vec::new();
        while let Some(row) = found.next()? {
            results.push((row.get(0)?, SwingResult::from_json(&row.get::<_, String>(1)?)?));
        }
        Ok(results)
    }

    /// One value over all lessons, from each swing's newest result.
    ///
    /// # Errors
    /// When there is no such pupil.
    pub fn history(&self, pupil: &str, key: Key) -> Result<Vec<Point>, RecordError> {
        let mut rows = self.connection.prepare_cached(
            "SELECT swing.id, date, label, value, sd
             FROM lesson JOIN swing ON lesson_id = lesson.id
             JOIN value INDEXED BY value_key
                 ON result_id = (SELECT max(id) FROM result WHERE swing_id = swing.id) AND key = ?2
             WHERE pupil_id = ?1 ORDER BY date, swing.id",
        )?;
        let point = |row: &Row<'_>| {
            Ok(Point {
                swing: row.get(0)?,
                date: row.get(1)?,
                label: row.get(2)?,
                value: row.get(3)?,
                sd: row.get(4)?,
            })
        };
        let points = rows.query_map(params![self.pupil_id(pupil)?, key.to_string()], point)?;
        Ok(points.collect::<Result<_, _>>()?)
    }
}

fn stored(row: &Row<'_>) -> Result<Stored, RecordError> {
    Ok(Stored {
        swing: row.get(0)?,
        date: row.get(1)?,
        label: row.get(2)?,
        club: row.get(3)?,
        ball: row.get(4)?,
        setup: row.get(5)?,
        result: SwingResult::from_json(&row.get::<_, String>(6)?)?,
        results: row.get(7)?,
    })
}

fn add_row(change: &Transaction<'_>, lesson: i64, swing: &NewSwing) -> Result<i64, RecordError> {
    let label = if swing.label.is_empty() { String::new() } else { clean("label", &swing.label)? };
    change.execute(
        "INSERT INTO swing (lesson_id, label, club, ball, setup) VALUES (?1, ?2, ?3, ?4, ?5)",
        params![lesson, label, swing.club, swing.ball, swing.setup],
    )?;
    Ok(change.last_insert_rowid())
}

/// The swing of the lesson's pupil that this result measures again, if there is one.
fn known_swing(
    change: &Transaction<'_>,
    lesson: i64,
    result: &SwingResult,
) -> Result<Option<i64>, RecordError> {
    let Some(first) = result.clips.first() else { return Ok(None) };
    let mut rows = change.prepare_cached(
        "SELECT swing_clip.swing_id, json FROM swing_clip
         JOIN swing ON swing.id = swing_clip.swing_id JOIN lesson ON lesson.id = lesson_id
         JOIN result ON result.swing_id = swing.id
         WHERE sha256 = ?1 AND pupil_id = (SELECT pupil_id FROM lesson WHERE id = ?2)",
    )?;
    let mut found = rows.query(params![first.sha256, lesson])?;
    while let Some(row) = found.next()? {
        let old = SwingResult::from_json(&row.get::<_, String>(1)?)?;
        if old.is_same_swing(result) {
            return Ok(Some(row.get(0)?));
        }
    }
    Ok(None)
}

fn add_result(
    change: &Transaction<'_>,
    swing: i64,
    result: &SwingResult,
    json: &str,
) -> Result<(), RecordError> {
    let newest: Option<String> = change
        .query_row(
            "SELECT json FROM result WHERE swing_id = ?1 ORDER BY id DESC LIMIT 1",
            [swing],
            |r| r.get(0),
        )
        .optional()?;
    if newest.as_deref() == Some(json) {
        return Ok(());
    }
    change.execute(
        "INSERT INTO result (swing_id, program, stored_at, json) VALUES (?1, ?2, datetime('now'), ?3)",
        params![swing, result.program, json],
    )?;
    let id = change.last_insert_rowid();
    let mut insert = change
        .prepare_cached("INSERT INTO value (result_id, key, value, sd) VALUES (?1, ?2, ?3, ?4)")?;
    for key in Key::all() {
        if let Some(Estimate { value, sd }) = key.of(result).and_then(Value::estimate) {
            insert.execute(params![id, key.to_string(), value, sd])?;
        }
    }
    Ok(())
}

/// A result file.
///
/// # Errors
/// When it cannot be read or is no result.
pub fn read_result(path: &Path) -> Result<SwingResult, RecordError> {
    let text = std::fs::read_to_string(path).map_err(RecordError::io(path))?;
    Ok(SwingResult::from_json(&text)?)
}
