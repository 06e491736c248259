//! The library on disk: nothing acknowledged is lost, nothing erased is left, two programs at
//! once, backup in use. All pupils and numbers are invented.

use std::io::{BufRead as _, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::Duration;

use hubgauge::compare::Key;
use hubgauge::frames::Handed;
use hubgauge::record::{Flight, Keep, Library, NewSwing, Pupil, RecordError, flight_csv};
use hubgauge::results::SwingResult;

const PUPIL: &str = "Anna Erfunden";

fn pupil(name: &str) -> Pupil {
    Pupil {
        name: name.to_owned(),
        stature_m: Some(1.7),
        handed: Handed::Left,
        minor: false,
        keep_pictures: true,
        notes: "invented Notizwort".to_owned(),
    }
}

fn result(clip: &str, program: &str, value: f64) -> SwingResult {
    SwingResult::from_json(&format!(
        r#"{{"schema": "hubgauge.swing/1", "program": "{program}",
  "pupil": {{"stature_m": 1.7, "handed": "left"}},
  "clips": [{{"view": "face-on", "file": "{clip}.mp4", "sha256": "{clip}", "frames": 360,
     "width": 720, "height": 1280, "first_s": 0.0, "last_s": 2.9,
     "time_scale": 1.0, "camera_motion": "still"}}],
  "scale": {{"method": "stature", "relative_sd": 0.03}},
  "events": {{"top": {{"time_s": 1.86, "sd_s": 0.008, "frames": {{"face-on": 223}}}}}},
  "measures": {{"top": {{"lower_hub_target": {{"value": {value}, "sd": 0.8, "unit": "cm"}}}}}},
  "swing": {{"tempo": {{"value": 3.1, "sd": 0.2, "unit": "ratio"}}}}, "notes": []}}"#
    ))
    .unwrap()
}

fn labelled(label: &str) -> NewSwing {
    NewSwing { label: label.to_owned(), club: "7 iron".to_owned(), ..NewSwing::default() }
}

fn hub() -> Key {
    "top.lower_hub_target".parse().unwrap()
}

/// A library with one pupil and, on one day, one swing a value.
fn library(folder: &Path, values: &[f64]) -> (Library, i64) {
    let mut library = Library::open(folder).unwrap();
    library.add_pupil(&pupil(PUPIL)).unwrap();
    let lesson = library.lesson(PUPIL, Some("2026-11-25")).unwrap();
    for (i, value) in values.iter().enumerate() {
        let swing = result(&format!("c{i}"), "hubgauge 0.1.0", *value);
        library.add_swing(lesson, &labelled("before"), &swing, Keep::InPlace).unwrap();
    }
    (library, lesson)
}

#[test]
fn what_is_stored_comes_back_and_old_results_stay_beside_new_ones() {
    let folder = tempfile::tempdir().unwrap();
    let (mut library, lesson) = library(folder.path(), &[-6.0, -5.0]);
    let newer = result("c0", "hubgauge 0.2.0", -6.5);
    let id = library.add_swing(lesson, &labelled("before"), &newer, Keep::InPlace).unwrap();
    library.add_swing(lesson, &labelled("before"), &newer, Keep::InPlace).unwrap();
    drop(library);
    let library = Library::open(folder.path()).unwrap();
    assert_eq!(library.pupil("anna erfunden").unwrap(), pupil(PUPIL));
    let swings = library.swings(PUPIL, Some("before"), None).unwrap();
    assert_eq!((swings.len(), swings[0].swing, swings[0].results), (2, id, 2));
    assert_eq!(swings[0].result.program, "hubgauge 0.2.0");
    assert_eq!(library.results(id).unwrap().len(), 2);
    assert_eq!(library.history(PUPIL, hub()).unwrap().len(), 2);
    assert!(library.swings(PUPIL, Some("after"), None).unwrap().is_empty());
    assert!(matches!(library.swings("nobody", None, None), Err(RecordError::NoPupil(_))));
}

#[test]
fn corrections_by_hand_are_stored_as_made_beside_the_result_without_them() {
    let folder = tempfile::tempdir().unwrap();
    let (mut library, lesson) = library(folder.path(), &[-6.0]);
    let mut corrected = result("c0", "hubgauge 0.1.0", -6.4);
    let made = r#"[{"kind": "event", "view": "face-on", "event": "top", "frame": 225},
        {"kind": "handed", "handed": "left"}]"#;
    corrected.corrections = serde_json::from_str(made).unwrap();
    let id = library.add_swing(lesson, &labelled("before"), &corrected, Keep::Nothing).unwrap();
    let kept = library.results(id).unwrap();
    assert_eq!(kept.len(), 2);
    assert!(kept[0].1.corrections.is_empty());
    assert_eq!(kept[1].1.corrections, corrected.corrections);
    // Taken back: a third result, and none is lost.
    let back = result("c0", "hubgauge 0.1.0", -6.0);
    library.add_swing(lesson, &labelled("before"), &back, Keep::Nothing).unwrap();
    assert_eq!(library.results(id).unwrap().len(), 3);
    assert_eq!(library.history(PUPIL, hub()).unwrap()[0].value, -6.0);
}

#[test]
fn a_history_has_intervals_means_of_days_lessons_tasks_and_the_target() {
    let folder = tempfile::tempdir().unwrap();
    let (mut library, lesson) = library(folder.path(), &[-6.0, -5.0, -4.0]);
    library.add_task(lesson, "slow swings").unwrap();
    library.set_target(PUPIL, "top.lower_hub_target=-2cm".parse().unwrap()).unwrap();
    library.lesson(PUPIL, Some("2026-12-01")).unwrap();
    let history = library.over_time("anna erfunden", hub()).unwrap();
    assert_eq!((history.pupil.as_str(), history.points.len()), (PUPIL, 3));
    let first = &history.points[0];
    assert!((first.high - first.point.value - 1.959_964 * 0.8).abs() < 1e-5);
    let [day] = history.days.as_slice() else { panic!("{:?}", history.days) };
    assert_eq!((day.date.as_str(), day.label.as_str(), day.mean.n), ("2026-11-25", "before", 3));
    assert!((day.mean.mean + 5.0).abs() < 1e-9 && day.mean.high - day.mean.low > 2.0 * 1.96 * 0.8);
    assert_eq!(history.lessons.len(), 2, "a lesson without a swing is one too");
    assert_eq!((history.lessons[0].tasks[0].as_str(), history.target), ("slow swings", Some(-2.0)));
}

#[test]
fn a_clip_is_known_by_its_content_and_measured_again_beside_the_old_result() {
    let (folder, films) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let clip = films.path().join("a.mp4");
    std::fs::write(&clip, b"picture bytes").unwrap();
    let sha = sha256(b"picture bytes");
    let (mut library, lesson) = library(folder.path(), &[]);
    let swing = NewSwing { clips: vec![clip.clone()], ..labelled("before") };
    let first = library
        .add_swing(lesson, &swing, &result(&sha, "hubgauge 0.1.0", -6.0), Keep::Copy)
        .unwrap();
    let again = library
        .add_swing(lesson, &swing, &result(&sha, "hubgauge 0.2.0", -6.5), Keep::InPlace)
        .unwrap();
    assert_eq!(first, again);
    let programs: Vec<String> =
        library.results(first).unwrap().into_iter().map(|(_, r)| r.program).collect();
    assert_eq!(programs, ["hubgauge 0.1.0", "hubgauge 0.2.0"]);
    assert_eq!(library.history(PUPIL, hub()).unwrap()[0].value, -6.5);
    assert_eq!(files(&folder.path().join("clips")), [format!("{sha}.mp4")]);
    // An absent clip stores nothing at all.
    let absent = NewSwing { clips: vec![films.path().join("b.mp4")], ..labelled("before") };
    assert!(
        library
            .add_swing(lesson, &absent, &result("b", "hubgauge 0.2.0", 1.0), Keep::Copy)
            .is_err()
    );
    assert_eq!(library.swings(PUPIL, None, None).unwrap().len(), 1);
}

#[test]
fn what_the_coach_adds_is_kept_and_wrong_input_is_one_clear_line() {
    let folder = tempfile::tempdir().unwrap();
    let (mut library, lesson) = library(folder.path(), &[-6.0]);
    library.add_task(lesson, "slow swings with a pause at the top").unwrap();
    library.set_target(PUPIL, "top.lower_hub_target=-2cm".parse().unwrap()).unwrap();
    library.add_correction(1, "top at frame 223").unwrap();
    assert!(matches!(library.add_correction(9, "x"), Err(RecordError::NoSwing(9))));
    assert_eq!(library.tasks(PUPIL).unwrap()[0].date, "2026-11-25");
    assert_eq!(library.targets(PUPIL).unwrap()[0].value, -2.0);
    assert_eq!(library.corrections(1).unwrap()[0].what, "top at frame 223");

    let csv = folder.path().join("flight.csv");
    std::fs::write(&csv, "swing,attack_angle [deg],club_path [deg]\n1,-4.1,\n").unwrap();
    library.add_flights(&flight_csv(&csv).unwrap()).unwrap();
    let stored = vec![Flight { quantity: "attack_angle".into(), unit: "deg".into(), value: -4.1 }];
    assert_eq!(library.flights(1).unwrap(), stored);
    for bad in [
        "swing,attack\n1,2\n",
        "swing,a [furlong]\n1,2\n",
        "a [deg]\n2\n",
        "swing,a [deg]\n1,x\n",
        "swing,a [deg]\nx,1\n",
    ] {
        std::fs::write(&csv, bad).unwrap();
        let said = flight_csv(&csv).unwrap_err().to_string();
        assert!(!said.contains('\n') && said.contains("flight.csv"), "{said}");
    }
    for date in ["2026-13-01", "yesterday", "2026-02-30", "now"] {
        assert!(
            matches!(library.lesson(PUPIL, Some(date)), Err(RecordError::Wrong { .. })),
            "{date}"
        );
    }
    assert!(matches!(library.add_pupil(&pupil("ANNA erfunden")), Err(RecordError::PupilExists(_))));
    assert!(matches!(library.add_pupil(&pupil(" ")), Err(RecordError::Wrong { .. })));
}

#[test]
fn an_erased_pupil_is_nowhere_in_the_files() {
    let (folder, films) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let clip = films.path().join("a.mp4");
    std::fs::write(&clip, b"Bildinhalt of the erased").unwrap();
    let (mut library, lesson) = library(folder.path(), &[-6.0; 30]);
    let swing = NewSwing { clips: vec![clip.clone()], ..labelled("Etikettwort") };
    library.add_swing(lesson, &swing, &result("x", "hubgauge 0.1.0", -6.0), Keep::Copy).unwrap();
    library.add_task(lesson, "Aufgabenwort").unwrap();
    library.add_pupil(&pupil("Bert Bleibt")).unwrap();
    let words: [&[u8]; 4] = [b"Erfunden", b"Etikettwort", b"Aufgabenwort", b"Bildinhalt"];
    for word in words {
        assert!(found(folder.path(), word), "the test looks in the wrong place");
    }
    let erased = library.erase(PUPIL).unwrap();
    assert_eq!((erased.swings, erased.clips, erased.left.len()), (31, 1, 0));
    for word in words {
        assert!(!found(folder.path(), word), "{} is still there", String::from_utf8_lossy(word));
    }
    assert!(found(folder.path(), b"Bert Bleibt"));
    library.check().unwrap();
    drop(library);
    assert!(!found(folder.path(), b"Erfunden"));
    assert!(clip.exists());
}

#[test]
fn a_reader_in_the_way_of_an_erasure_is_named_and_the_rest_is_done_later() {
    let folder = tempfile::tempdir().unwrap();
    let (library, _) = library(folder.path(), &[-6.0; 5]);
    drop(library);
    let reader = rusqlite::Connection::open(folder.path().join("library.sqlite3")).unwrap();
    reader.execute_batch("BEGIN; SELECT count(*) FROM pupil").unwrap();
    let mut rows = reader.prepare("SELECT name FROM pupil").unwrap();
    let mut open = rows.query([]).unwrap();
    assert!(open.next().unwrap().is_some());
    let mut library = Library::open(folder.path()).unwrap();
    library.wait_at_most(Duration::from_millis(100)).unwrap();
    assert!(matches!(library.erase(PUPIL), Err(RecordError::NotScrubbed(_))));
    drop(library);
    drop(open);
    drop(rows);
    drop(reader);
    let library = Library::open(folder.path()).unwrap();
    assert!(library.pupils().unwrap().is_empty());
    assert!(!found(folder.path(), b"Erfunden"));
}

#[test]
fn backup_in_use_restore_and_export() {
    let (folder, other) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let (library, _) = library(folder.path(), &[-6.0, -5.0, -4.0]);
    let mut writing = Child::start(folder.path(), "backup");
    writing.acknowledged(3);
    let file = other.path().join("backup.sqlite3");
    library.backup(&file).unwrap();
    writing.kill();
    assert!(matches!(library.backup(&file), Err(RecordError::Exists { .. })));
    let new = other.path().join("new");
    let restored = Library::restore(&file, &new).unwrap();
    restored.check().unwrap();
    assert!(restored.swings(PUPIL, None, None).unwrap().len() >= 6);
    assert!(matches!(Library::restore(&file, &new), Err(RecordError::HasLibrary(_))));
    // What is no backup, an empty file too, leaves no library.
    let (wrong, third) = (other.path().join("wrong"), other.path().join("third"));
    let mut damaged = std::fs::read(&file).unwrap();
    let middle = damaged.len() / 2;
    damaged[middle..].fill(7);
    for bytes in [&b""[..], b"no library", &damaged] {
        std::fs::write(&wrong, bytes).unwrap();
        let said = Library::restore(&wrong, &third).unwrap_err();
        assert!(matches!(said, RecordError::Backup { .. }), "{said}");
        assert_eq!(std::fs::read_dir(&third).unwrap().count(), 0, "{said}");
    }

    let to = other.path().join("export");
    let (swings, _) = restored.export(PUPIL, &to, &|_, _, _| Ok(Vec::new())).unwrap();
    let json: serde_json::Value =
        serde_json::from_str(&std::fs::read_to_string(to.join("pupil.json")).unwrap()).unwrap();
    assert_eq!(json["schema"], "hubgauge.pupil/1");
    assert_eq!(json["swings"].as_array().unwrap().len(), swings);
    let again = restored.export(PUPIL, &to, &|_, _, _| Ok(Vec::new()));
    assert!(matches!(again, Err(RecordError::Exists { .. })));
}

#[test]
fn a_killed_program_loses_nothing_that_it_acknowledged() {
    let folder = tempfile::tempdir().unwrap();
    drop(library(folder.path(), &[]));
    let mut kept = Vec::new();
    for round in 0..8_u8 {
        let mut child = Child::start(folder.path(), &format!("round{round}"));
        // Killed at another moment of its work in every round.
        child.acknowledged(1 + usize::from(round % 3));
        std::thread::sleep(Duration::from_millis(7 * u64::from(round) % 23));
        kept.extend(child.kill());
        let library = Library::open(folder.path()).unwrap();
        library.check().unwrap();
        for swing in &kept {
            assert_eq!(library.results(*swing).unwrap().len(), 1, "round {round}: {swing} is lost");
        }
        let swings = library.swings(PUPIL, None, None).unwrap();
        assert_eq!(library.history(PUPIL, hub()).unwrap().len(), swings.len(), "half a swing");
    }
    assert!(kept.len() >= 8);
}

#[test]
fn two_programs_at_once_both_get_through() {
    let folder = tempfile::tempdir().unwrap();
    drop(library(folder.path(), &[]));
    let mut children = ["one", "two"].map(|name| Child::start(folder.path(), name));
    let acknowledged: usize = children.iter_mut().map(|child| child.acknowledged(15)).sum();
    let told: usize = children.map(Child::kill).iter().map(Vec::len).sum();
    let library = Library::open(folder.path()).unwrap();
    let stored = library.swings(PUPIL, None, None).unwrap().len();
    assert!(stored >= told && told >= acknowledged && acknowledged == 30, "{stored} {told}");
}

/// Another program that adds swings until it is killed, and says each one that was stored.
struct Child {
    process: std::process::Child,
    lines: BufReader<std::process::ChildStdout>,
    told: Vec<i64>,
}

impl Child {
    fn start(library: &Path, name: &str) -> Self {
        let mut process = Command::new(std::env::current_exe().unwrap())
            .args(["child_that_adds_swings", "--exact", "--nocapture", "--test-threads", "1"])
            .env("HUBGAUGE_TEST_LIBRARY", library)
            .env("HUBGAUGE_TEST_NAME", name)
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        let lines = BufReader::new(process.stdout.take().unwrap());
        Self { process, lines, told: Vec::new() }
    }

    fn acknowledged(&mut self, at_least: usize) -> usize {
        while self.told.len() < at_least && self.read() {}
        self.told.len()
    }

    fn read(&mut self) -> bool {
        let mut line = String::new();
        let more = self.lines.read_line(&mut line).unwrap() > 0;
        // The test harness writes its own words on the first line.
        if let Some(id) = line.split("stored ").nth(1).filter(|_| line.ends_with('\n')) {
            self.told.push(id.trim().parse().unwrap());
        }
        more
    }

    /// SIGKILL; what it had said by then.
    fn kill(mut self) -> Vec<i64> {
        self.process.kill().unwrap();
        self.process.wait().unwrap();
        while self.read() {}
        self.told
    }
}

#[test]
fn child_that_adds_swings() {
    let Some(folder) = std::env::var_os("HUBGAUGE_TEST_LIBRARY") else { return };
    let name = std::env::var("HUBGAUGE_TEST_NAME").unwrap();
    let mut library = Library::open(Path::new(&folder)).unwrap();
    let lesson = library.lesson(PUPIL, Some("2026-11-25")).unwrap();
    for i in 0..2000 {
        let swing = result(&format!("{name}-{i}"), "hubgauge 0.1.0", f64::from(i));
        let id = library.add_swing(lesson, &labelled(&name), &swing, Keep::InPlace).unwrap();
        println!("stored {id}");
    }
}

fn files(folder: &Path) -> Vec<String> {
    let names =
        std::fs::read_dir(folder).unwrap().map(|e| e.unwrap().file_name().into_string().unwrap());
    names.collect()
}

/// Whether any file of the library holds these bytes.
fn found(folder: &Path, word: &[u8]) -> bool {
    std::fs::read_dir(folder).unwrap().any(|entry| {
        let path: PathBuf = entry.unwrap().path();
        if path.is_dir() {
            return found(&path, word);
        }
        std::fs::read(&path).unwrap().windows(word.len()).any(|w| w == word)
    })
}

fn sha256(bytes: &[u8]) -> String {
    use sha2::{Digest, Sha256};
    Sha256::digest(bytes).iter().map(|b| format!("{b:02x}")).collect()
}
