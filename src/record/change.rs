//! Changes to swings on record. In: what the coach says now. Out: rows, changed or gone.
//!
//! A swing that is taken off the record is overwritten in the library's file (`secure_delete`),
//! but the write-ahead log may hold it until SQLite reuses it: to erase a person for good is for
//! [`Library::erase`].

use rusqlite::params;

use super::{Library, NewSwing, RecordError, clean};

impl Library {
    /// Takes a swing off the record with all its results; copied clips that no other swing needs
    /// go with it.
    ///
    /// # Errors
    /// When there is no such swing.
    pub fn remove_swing(&mut self, swing: i64) -> Result<(), RecordError> {
        let change = self.change()?;
        if change.execute("DELETE FROM swing WHERE id = ?1", [swing])? == 0 {
            return Err(RecordError::NoSwing(swing));
        }
        const UNUSED: &str = "NOT EXISTS
            (SELECT 1 FROM swing_clip WHERE swing_clip.sha256 = clip.sha256)";
        change.execute(
            &format!(
                "INSERT OR IGNORE INTO doomed SELECT file FROM clip WHERE copied = 1 AND {UNUSED}"
            ),
            [],
        )?;
        change.execute(&format!("DELETE FROM clip WHERE {UNUSED}"), [])?;
        change.commit()?;
        self.remove_files()
    }

    /// Writes anew what the coach says about a swing; its clips stay as they are.
    ///
    /// # Errors
    /// When there is no such swing, or the label is none.
    pub fn change_swing(&mut self, swing: i64, said: &NewSwing) -> Result<(), RecordError> {
        let label =
            if said.label.is_empty() { String::new() } else { clean("label", &said.label)? };
        let change = self.change()?;
        let changed = change.execute(
            "UPDATE swing SET label = ?2, club = ?3, ball = ?4, setup = ?5 WHERE id = ?1",
            params![swing, label, said.club, said.ball, said.setup],
        )?;
        if changed == 0 {
            return Err(RecordError::NoSwing(swing));
        }
        change.commit()?;
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::record::Keep;
    use crate::record::pupils::tests::pupil;
    use crate::results::SwingResult;

    fn result(sha256: &str) -> SwingResult {
        let text = format!(
            r#"{{"schema": "hubgauge.swing/1", "program": "test", "pupil": {{"handed": "right"}},
            "clips": [{{"view": "face-on", "file": "a.mp4", "sha256": "{sha256}", "frames": 2,
            "width": 720, "height": 1280, "first_s": 0.0, "last_s": 1.0, "time_scale": 1.0,
            "camera_motion": "still"}}], "scale": {{"method": "stature", "relative_sd": 0.03}},
            "events": {{}}, "measures": {{}}, "swing": {{}}}}"#
        );
        SwingResult::from_json(&text).unwrap()
    }

    #[test]
    fn a_swing_goes_with_what_only_it_needed() {
        let folder = tempfile::tempdir().unwrap();
        let film = folder.path().join("a.mp4");
        std::fs::write(&film, b"a clip").unwrap();
        use sha2::Digest as _;
        let sum = sha2::Sha256::digest(b"a clip");
        let sha256: String = sum.iter().map(|byte| format!("{byte:02x}")).collect();
        let mut library = Library::open(&folder.path().join("library")).unwrap();
        library.add_pupil(&pupil("Anna (invented)")).unwrap();
        let lesson = library.lesson("Anna (invented)", None).unwrap();
        let said = NewSwing { clips: vec![film], ..NewSwing::default() };
        let row = library.add_swing(lesson, &said, &result(&sha256), Keep::Copy).unwrap();
        let clips = folder.path().join("library/clips");
        assert_eq!(std::fs::read_dir(&clips).unwrap().count(), 1);
        let after = NewSwing { label: "after".to_owned(), ..NewSwing::default() };
        library.change_swing(row, &after).unwrap();
        assert_eq!(library.swings("Anna (invented)", Some("after"), None).unwrap().len(), 1);
        library.remove_swing(row).unwrap();
        assert_eq!(std::fs::read_dir(&clips).unwrap().count(), 0);
        assert!(library.swings("Anna (invented)", None, None).unwrap().is_empty());
        assert!(matches!(library.remove_swing(row), Err(RecordError::NoSwing(_))));
        assert!(matches!(library.change_swing(row, &after), Err(RecordError::NoSwing(_))));
    }
}
