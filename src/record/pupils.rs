//! Pupils and lessons. In: what the coach types. Out: rows, checked.

use rusqlite::{OptionalExtension as _, Row, Transaction, params};
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
        write(&change, None, &name, pupil)?;
        change.commit()?;
        Ok(())
    }

    /// Writes a pupil anew; results on record stay as they were made.
    ///
    /// # Errors
    /// When there is no such pupil, or the new name is taken or no name.
    pub fn change_pupil(&mut self, name: &str, pupil: &Pupil) -> Result<(), RecordError> {
        let new = clean("pupil", &pupil.name)?;
        let change = self.change()?;
        let row = id(&change, name)?.ok_or_else(|| RecordError::NoPupil(name.to_owned()))?;
        if id(&change, &new)?.is_some_and(|other| other != row) {
            return Err(RecordError::PupilExists(new));
        }
        write(&change, Some(row), &new, pupil)?;
        change.commit()?;
        Ok(())
    }

    /// By name.
    ///
    /// # Errors
    /// When the library cannot be read.
    pub fn pupils(&self) -> Result<Vec<Pupil>, RecordError> {
        let select = format!("SELECT {COLUMNS} FROM pupil ORDER BY name");
        let mut rows = self.connection.prepare(&select)?;
        let pupils = rows.query_map([], pupil)?.collect::<Result<_, _>>()?;
        Ok(pupils)
    }

    /// # Errors
    /// When there is none of that name.
    pub fn pupil(&self, name: &str) -> Result<Pupil, RecordError> {
        let select = format!("SELECT {COLUMNS} FROM pupil WHERE name = ?1");
        let found = self.connection.query_row(&select, [name.trim()], pupil).optional()?;
        found.ok_or_else(|| RecordError::NoPupil(name.to_owned()))
    }

    pub(super) fn pupil_id(&self, name: &str) -> Result<i64, RecordError> {
        id(&self.connection, name)?.ok_or_else(|| RecordError::NoPupil(name.to_owned()))
    }

    /// A day as the record writes it: `2026-11-25`; today when none is given.
    ///
    /// # Errors
    /// When it is no day.
    pub fn day(&self, given: Option<&str>) -> Result<String, RecordError> {
        let given = given.unwrap_or_default();
        let date: Option<String> = self.connection.query_row(
            "SELECT CASE ?1 WHEN '' THEN date('now', 'localtime') ELSE
                 CASE WHEN date(?1) IS ?1 THEN ?1 END END",
            [given],
            |row| row.get(0),
        )?;
        date.ok_or_else(|| RecordError::Wrong {
            what: "date",
            given: given.chars().filter(|c| !c.is_control()).take(40).collect(),
            mend: "write it as 2026-11-25",
        })
    }

    /// How far the clocks here are ahead of UTC now, seconds.
    ///
    /// # Errors
    /// SQLite's own.
    pub fn utc_offset_s(&self) -> Result<i64, RecordError> {
        let sql = "SELECT unixepoch('now', 'localtime') - unixepoch('now')";
        Ok(self.connection.query_row(sql, [], |row| row.get(0))?)
    }

    /// The pupil's lesson on a day ([`Self::day`]), started if new.
    ///
    /// # Errors
    /// When there is no such pupil or day.
    pub fn lesson(&mut self, pupil: &str, date: Option<&str>) -> Result<i64, RecordError> {
        let pupil = self.pupil_id(pupil)?;
        let date = self.day(date)?;
        let change = self.change()?;
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
        let pupil = self.pupil_id(pupil)?;
        let mut rows = self.connection.prepare_cached(
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
            rows.query_map([pupil], lesson)?.collect::<Result<_, _>>()?;
        for lesson in &mut lessons {
            lesson.tasks = self.tasks_of(lesson.id)?;
        }
        Ok(lessons)
    }
}

/// What the coach says of a pupil, in the order of [`pupil`] and [`write`].
const COLUMNS: &str = "name, stature_m, handed, minor, keep_pictures, notes";

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

/// As a new row, or over the row of this number.
fn write(
    change: &Transaction<'_>,
    row: Option<i64>,
    name: &str,
    pupil: &Pupil,
) -> Result<(), RecordError> {
    let hand = hand(pupil.handed);
    let sql = format!(
        "INSERT INTO pupil (id, {COLUMNS}) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)
         ON CONFLICT (id) DO UPDATE SET ({COLUMNS}) = (?2, ?3, ?4, ?5, ?6, ?7)"
    );
    let Pupil { stature_m, minor, keep_pictures, notes, .. } = pupil;
    change.execute(&sql, params![row, name, stature_m, hand, minor, keep_pictures, notes])?;
    Ok(())
}

fn hand(handed: Handed) -> &'static str {
    match handed {
        Handed::Right => "right",
        Handed::Left => "left",
    }
}

fn id(connection: &rusqlite::Connection, name: &str) -> Result<Option<i64>, RecordError> {
    let found = connection
        .query_row("SELECT id FROM pupil WHERE name = ?1", [name.trim()], |row| row.get(0))
        .optional()?;
    Ok(found)
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;

    pub fn pupil(name: &str) -> Pupil {
        Pupil {
            name: name.to_owned(),
            stature_m: None,
            handed: Handed::Right,
            minor: false,
            keep_pictures: true,
            notes: String::new(),
        }
    }

    #[test]
    fn a_pupil_changes_but_not_into_another() {
        let folder = tempfile::tempdir().unwrap();
        let mut library = Library::open(folder.path()).unwrap();
        library.add_pupil(&pupil("Anna (invented)")).unwrap();
        library.add_pupil(&pupil("Ben (invented)")).unwrap();
        let left = Pupil { handed: Handed::Left, stature_m: Some(1.7), ..pupil("anna (invented)") };
        library.change_pupil("Anna (invented)", &left).unwrap();
        assert_eq!(library.pupil("anna (invented)").unwrap(), left);
        let taken = library.change_pupil("anna (invented)", &pupil("Ben (invented)"));
        assert!(matches!(taken, Err(RecordError::PupilExists(_))));
    }
}
