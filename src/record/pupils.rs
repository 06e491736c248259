//! Pupils and lessons. In: what the coach types. Out: rows, checked.

use rusqlite::{OptionalExtension as _, Row, params};
use serde::{Deserialize, Serialize};

use super::{Library, RecordError, clean};
use crate::frames::Handed;

/// A pupil, by a name or an alias.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Pupil {
    pub name: String,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub stature_m: Option<f64>,
    pub handed: Handed,
    pub minor: bool,
    /// Whether the pupil (or a guardian) agreed that clips are kept.
    pub keep_pictures: bool,
    #[serde(default)]
    pub notes: String,
}

/// A day with a pupil.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Lesson {
    pub id: i64,
    pub date: String,
    pub swings: i64,
    pub tasks: Vec<String>,
}

impl Library {
    /// # Errors
    /// When the name is taken or no name.
    pub fn add_pupil(&mut self, pupil: &Pupil) -> Result<(), RecordError> {
        let name = clean("pupil", &pupil.name)?;
        let change = self.change()?;
        if id(&change, &name)?.is_some() {
            return Err(RecordError::PupilExists(name));
        }
        change.execute(
            "INSERT INTO pupil (name, stature_m, handed, minor, keep_pictures, notes)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
            params![
                name,
                pupil.stature_m,
                hand(pupil.handed),
                pupil.minor,
                pupil.keep_pictures,
                pupil.notes
            ],
        )?;
        change.commit()?;
        Ok(())
    }

    /// By name.
    ///
    /// # Errors
    /// When the library cannot be read.
    pub fn pupils(&self) -> Result<Vec<Pupil>, RecordError> {
        let mut rows = self.connection.prepare(&format!("{SELECT} ORDER BY name"))?;
        let pupils = rows.query_map([], pupil)?.collect::<Result<_, _>>()?;
        Ok(pupils)
    }

    /// # Errors
    /// When there is none of that name.
    pub fn pupil(&self, name: &str) -> Result<Pupil, RecordError> {
        let found = self
            .connection
            .query_row(&format!("{SELECT} WHERE name = ?1"), [name.trim()], pupil)
            .optional()?;
        found.ok_or_else(|| RecordError::NoPupil(name.to_owned()))
    }

    pub(super) fn pupil_id(&self, name: &str) -> Result<i64, RecordError> {
        id(&self.connection, name)?.ok_or_else(|| RecordError::NoPupil(name.to_owned()))
    }

    /// The pupil's lesson on a day (`2026-11-25`; today when none is given), started if new.
    ///
    /// # Errors
    /// When there is no such pupil or day.
    pub fn lesson(&mut self, pupil: &str, date: Option<&str>) -> Result<i64, RecordError> {
        let pupil = self.pupil_id(pupil)?;
        let change = self.change()?;
        let given = date.unwrap_or_default();
        let date: Option<String> = change.query_row(
            "SELECT CASE ?1 WHEN '' THEN date('now', 'localtime') ELSE
                 CASE WHEN date(?1) IS ?1 THEN ?1 END END",
            [given],
            |row| row.get(0),
        )?;
        let date = date.ok_or_else(|| RecordError::Wrong {
            what: "date",
            given: given.chars().filter(|c| !c.is_control()).take(40).collect(),
            mend: "write it as 2026-11-25",
        })?;
        change.execute(
            "INSERT INTO lesson (pupil_id, date) VALUES (?1, ?2) ON CONFLICT DO NOTHING",
            params![pupil, date],
        )?;
        let id = change.query_row(
            "SELECT id FROM lesson WHERE pupil_id = ?1 AND date = ?2",
            params![pupil, date],
            |row| row.get(0),
        )?;
        change.commit()?;
        Ok(id)
    }

    /// In order of their days.
    ///
    /// # Errors
    /// When there is no such pupil.
    pub fn lessons(&self, pupil: &str) -> Result<Vec<Lesson>, RecordError> {
        let mut rows = self.connection.prepare(
            "SELECT id, date, (SELECT count(*) FROM swing WHERE lesson_id = lesson.id)
             FROM lesson WHERE pupil_id = ?1 ORDER BY date",
        )?;
        let lesson = |row: &Row<'_>| {
            Ok(Lesson {
                id: row.get(0)?,
                date: row.get(1)?,
                swings: row.get(2)?,
                tasks: Vec::new(),
            })
        };
        let mut lessons: Vec<Lesson> =
            rows.query_map([self.pupil_id(pupil)?], lesson)?.collect::<Result<_, _>>()?;
        for lesson in &mut lessons {
            lesson.tasks = self.tasks_of(lesson.id)?;
        }
        Ok(lessons)
    }
}

const SELECT: &str = "SELECT name, stature_m, handed, minor, keep_pictures, notes FROM pupil";

fn pupil(row: &Row<'_>) -> rusqlite::Result<Pupil> {
    let hand: String = row.get(2)?;
    Ok(Pupil {
        name: row.get(0)?,
        stature_m: row.get(1)?,
        handed: if hand == "left" { Handed::Left } else { Handed::Right },
        minor: row.get(3)?,
        keep_pictures: row.get(4)?,
        notes: row.get(5)?,
    })
}

pub(super) fn hand(handed: Handed) -> &'static str {
    match handed {
        Handed::Right => "right",
        Handed::Left => "left",
    }
}

pub(super) fn id(
    connection: &rusqlite::Connection,
    name: &str,
) -> Result<Option<i64>, RecordError> {
    let found = connection
        .query_row("SELECT id FROM pupil WHERE name = ?1", [name.trim()], |row| row.get(0))
        .optional()?;
    Ok(found)
}
