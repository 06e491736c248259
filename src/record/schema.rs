//! The library's schema. In: a connection. Out: the same, brought to this program's schema.
//!
//! `user_version` counts the steps taken; each step is one file and one transaction. A file of
//! a newer program is refused, never guessed at.

use rusqlite::{Connection, TransactionBehavior};

use super::RecordError;

/// The steps in order. A released step never changes; a new one is added.
pub const STEPS: [&str; 3] =
    [include_str!("schema1.sql"), include_str!("schema2.sql"), include_str!("schema3.sql")];
/// "hubg": marks the file as a library of this program.
const APPLICATION: i64 = 0x6875_6267;

/// # Errors
/// When the file is something else, newer, or cannot be written.
pub fn migrate(connection: &mut Connection, folder: &str) -> Result<(), RecordError> {
    if version(connection)? == known() {
        return is_ours(connection, folder);
    }
    // Another program may be doing the same: look again once the file is ours to write.
    let step = connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
    let found = version(&step)?;
    if found == 0
        && step.query_row("SELECT count(*) FROM sqlite_schema", [], |r| r.get::<_, i64>(0))? > 0
    {
        return Err(RecordError::NotALibrary(folder.to_owned()));
    }
    if found > 0 {
        is_ours(&step, folder)?;
    }
    let taken = usize::try_from(found).unwrap_or(usize::MAX);
    if found > known() || taken > STEPS.len() {
        return Err(RecordError::Newer { folder: folder.to_owned(), found, known: known() });
    }
    for sql in &STEPS[taken..] {
        step.execute_batch(sql)?;
    }
    step.pragma_update(None, "application_id", APPLICATION)?;
    step.pragma_update(None, "user_version", known())?;
    step.commit()?;
    Ok(())
}

/// This program's schema.
pub fn known() -> i64 {
    i64::try_from(STEPS.len()).unwrap_or(i64::MAX)
}

fn version(connection: &Connection) -> Result<i64, RecordError> {
    Ok(connection.pragma_query_value(None, "user_version", |row| row.get(0))?)
}

/// Whether the file bears this program's mark.
///
/// # Errors
/// When it cannot be read.
pub fn is_library(connection: &Connection) -> Result<bool, RecordError> {
    let id: i64 = connection.pragma_query_value(None, "application_id", |row| row.get(0))?;
    Ok(id == APPLICATION)
}

fn is_ours(connection: &Connection, folder: &str) -> Result<(), RecordError> {
    let ours = is_library(connection)?;
    if ours { Ok(()) } else { Err(RecordError::NotALibrary(folder.to_owned())) }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A library as the program with so many steps left it, with one pupil and one swing.
    fn of_schema(steps: usize) -> Connection {
        let connection = Connection::open_in_memory().unwrap();
        for sql in &STEPS[..steps] {
            connection.execute_batch(sql).unwrap();
        }
        connection.pragma_update(None, "application_id", APPLICATION).unwrap();
        connection.pragma_update(None, "user_version", steps as i64).unwrap();
        connection
            .execute_batch(
                "INSERT INTO pupil VALUES (1, 'Anna (invented)', 1.7, 'left', 0, 1, 'n');
                 INSERT INTO lesson (id, pupil_id, date) VALUES (2, 1, '2026-11-25');
                 INSERT INTO swing VALUES (3, 2, 'before', '7 iron', '', '');",
            )
            .unwrap();
        connection
    }

    fn shape(connection: &Connection) -> Vec<String> {
        let mut rows = connection
            .prepare("SELECT sql FROM sqlite_schema WHERE sql IS NOT NULL ORDER BY name")
            .unwrap();
        rows.query_map([], |row| row.get(0)).unwrap().map(Result::unwrap).collect()
    }

    #[test]
    fn every_released_schema_comes_to_the_same_one_and_keeps_its_rows() {
        let mut fresh = Connection::open_in_memory().unwrap();
        migrate(&mut fresh, "x").unwrap();
        for steps in 1..=STEPS.len() {
            let mut old = of_schema(steps);
            migrate(&mut old, "x").unwrap();
            assert_eq!(shape(&old), shape(&fresh), "from {steps}");
            let kept: (String, String) = old
                .query_row(
                    "SELECT name, club FROM swing JOIN lesson ON lesson.id = lesson_id JOIN pupil ON pupil.id = pupil_id",
                    [],
                    |row| Ok((row.get(0)?, row.get(1)?)),
                )
                .unwrap();
            assert_eq!(kept, ("Anna (invented)".to_owned(), "7 iron".to_owned()));
            migrate(&mut old, "x").unwrap();
        }
    }

    #[test]
    fn a_newer_library_and_other_files_are_refused() {
        let mut newer = of_schema(STEPS.len());
        newer.pragma_update(None, "user_version", 99).unwrap();
        assert!(matches!(migrate(&mut newer, "x"), Err(RecordError::Newer { found: 99, .. })));
        let mut other = Connection::open_in_memory().unwrap();
        other.execute_batch("CREATE TABLE t (x)").unwrap();
        assert!(matches!(migrate(&mut other, "x"), Err(RecordError::NotALibrary(_))));
        let mut foreign = of_schema(1);
        foreign.pragma_update(None, "application_id", 7).unwrap();
        assert!(matches!(migrate(&mut foreign, "x"), Err(RecordError::NotALibrary(_))));
    }

    #[test]
    fn a_released_step_did_not_change() {
        // sha256 of each file as it was landed.
        use sha2::{Digest, Sha256};
        let sums: Vec<String> = STEPS
            .iter()
            .map(|sql| Sha256::digest(sql.as_bytes()).iter().map(|b| format!("{b:02x}")).collect())
            .collect();
        assert_eq!(sums, RELEASED);
    }
    const RELEASED: [&str; 3] = [
        "31eda519a0a025323e524b7778424915339b88c41f69b061671d6cdb801f8a88",
        "faff3b1eb6bb195f700b429a7b100e9fc3fbee837df8a41e596223b3f531f5c7",
        "9813b660ce4ab349226fea4be55cf8fbfd3f2ac41f731cc05ed80f88aa27ed4f",
    ];
}
