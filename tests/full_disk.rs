//! A disk that is full: nothing acknowledged is lost, nothing is half written, one clear line says
//! so, and all goes on once there is room. All pupils and numbers are invented.
//!
//! The disk is a small tmpfs in a mount namespace of its own. Where the system does not allow
//! that, no file may grow beyond a limit instead (`ulimit -f`).

use std::io::Write as _;
use std::path::Path;
use std::process::Command;

use hubgauge::frames::Handed;
use hubgauge::record::{Keep, Library, NewSwing, Pupil};
use hubgauge::results::SwingResult;

const PROGRAM: &str = env!("CARGO_BIN_EXE_hubgauge");
const PUPIL: &str = "Anna Erfunden";

/// Runs `full` on a disk of so many KiB (or with files of so many blocks of 512 bytes), lists what
/// it left, then runs `room` on a large one.
fn on_a_full_disk(folder: &Path, (kib, blocks): (u32, u32), full: &str, room: &str) -> String {
    let namespace = Command::new("unshare").args(["-rm", "true"]).status();
    let list = "cd \"$DISK\" && find . -type f | sort | sed 's/^/left /'; cd - >/dev/null";
    let script = if namespace.is_ok_and(|status| status.success()) {
        format!(
            "mount -t tmpfs -o size={kib}k tmpfs \"$DISK\" || exit 9
             ( {full} ) 2>&1; echo \"full $?\"; {list}
             mount -o remount,size=64m \"$DISK\" || exit 9
             ( {room} ) 2>&1; echo \"room $?\"; {list}"
        )
    } else {
        eprintln!("no mount namespace here: a limit on the size of files stands for the full disk");
        // A program that ignores the signal sees the write refused.
        format!(
            "( trap '' XFSZ; ulimit -f {blocks}; {full} ) 2>&1; echo \"full $?\"; {list}
             ( {room} ) 2>&1; echo \"room $?\"; {list}"
        )
    };
    let alone = script.starts_with("mount");
    let disk = folder.join("disk");
    std::fs::create_dir_all(&disk).unwrap();
    let mut command = Command::new(if alone { "unshare" } else { "sh" });
    if alone {
        command.args(["-rm", "sh"]);
    }
    let output = command
        .args(["-c", &script])
        .env("DISK", &disk)
        .env("HUBGAUGE", PROGRAM)
        .env("SELF", std::env::current_exe().unwrap())
        .env("LOG", folder.join("log"))
        .current_dir(folder)
        .output()
        .unwrap();
    let text = String::from_utf8(output.stdout).unwrap();
    assert!(output.status.success(), "{text}{}", String::from_utf8_lossy(&output.stderr));
    text
}

/// What was left on the full disk, then on the large one.
fn left(said: &str) -> (Vec<&str>, Vec<&str>) {
    let (full, room) = said.split_once("\nroom ").unwrap();
    let names = |text| str::lines(text).filter_map(|l| l.strip_prefix("left ")).collect();
    (names(full), names(room))
}

/// The program's own words: one line.
fn refusals(said: &str) -> Vec<&str> {
    said.lines().filter(|line| line.starts_with("hubgauge: ")).collect()
}

#[test]
fn the_library_keeps_what_it_acknowledged_and_goes_on_when_there_is_room() {
    let folder = tempfile::tempdir().unwrap();
    let child = |mode: &str| {
        format!("MODE={mode} \"$SELF\" child_with_a_library --exact --nocapture --test-threads 1")
    };
    let said = on_a_full_disk(folder.path(), (600, 1500), &child("fill"), &child("look"));
    assert!(said.contains("full 0") && said.contains("room 0"), "{said}");
    let refused: Vec<&str> = said.lines().filter(|l| l.contains("refused: ")).collect();
    assert_eq!(refused.len(), 3, "{said}");
    let stored = std::fs::read_to_string(folder.path().join("log")).unwrap().lines().count();
    assert!(stored > 5, "{said}");
    assert!(said.contains(&format!("all {stored} are there, and one more")), "{said}");
}

/// The other side of the test above; alone it does nothing.
#[test]
fn child_with_a_library() {
    let Ok(mode) = std::env::var("MODE") else { return };
    let folder = Path::new(&std::env::var("DISK").unwrap()).join("library");
    let log = std::env::var("LOG").unwrap();
    if mode == "fill" { fill(&folder, &log) } else { look(&folder, &log) }
}

fn fill(folder: &Path, log: &str) {
    let mut library = Library::open(folder).unwrap();
    let (name, notes) = (PUPIL.to_owned(), String::new());
    let pupil = Pupil {
        name,
        stature_m: None,
        handed: Handed::Right,
        minor: false,
        keep_pictures: false,
        notes,
    };
    library.add_pupil(&pupil).unwrap();
    let lesson = library.lesson(PUPIL, Some("2026-11-25")).unwrap();
    let mut acknowledged = String::new();
    let mut refused = 0;
    for i in 0..5000 {
        match library.add_swing(lesson, &NewSwing::default(), &result(i), Keep::Nothing) {
            Ok(id) => acknowledged += &format!("{id}\n"),
            Err(error) => {
                println!("\nrefused: {error}");
                refused += 1;
            }
        }
        if refused == 3 {
            break;
        }
    }
    // Beside the disk, and in one go: the log must not fail first.
    std::fs::File::create(log).unwrap().write_all(acknowledged.as_bytes()).unwrap();
}

fn look(folder: &Path, log: &str) {
    let mut library = Library::open(folder).unwrap();
    library.check().unwrap();
    let told = std::fs::read_to_string(log).unwrap();
    for id in told.lines() {
        assert_eq!(library.results(id.parse().unwrap()).unwrap().len(), 1, "{id} is lost");
    }
    let swings = library.swings(PUPIL, None, None).unwrap().len();
    assert_eq!(swings, told.lines().count(), "a swing that was refused is there");
    let lesson = library.lesson(PUPIL, Some("2026-11-25")).unwrap();
    library.add_swing(lesson, &NewSwing::default(), &result(9999), Keep::Nothing).unwrap();
    println!("\nall {swings} are there, and one more");
}

fn result(number: usize) -> SwingResult {
    SwingResult::from_json(&format!(
        r#"{{"schema": "hubgauge.swing/1", "program": "hubgauge 0.1.0",
  "pupil": {{"handed": "right"}},
  "clips": [{{"view": "face-on", "file": "a.mp4", "sha256": "{number}", "frames": 360,
     "width": 720, "height": 1280, "first_s": 0.0, "last_s": 2.9,
     "time_scale": 1.0, "camera_motion": "still"}}],
  "scale": {{"method": "stature", "relative_sd": 0.03}}, "events": {{}},
  "measures": {{"top": {{"lower_hub_target": {{"value": -6.1, "sd": 0.8, "unit": "cm"}}}}}},
  "swing": {{}}, "notes": ["{}"]}}"#,
        "invented ".repeat(200)
    ))
    .unwrap()
}

#[test]
fn a_batch_stops_with_one_line_and_goes_on_when_there_is_room() {
    let folder = tempfile::tempdir().unwrap();
    let mut manifest = "pupil,swing,file\n".to_owned();
    for i in 0..30 {
        std::fs::write(folder.path().join(format!("{i}.mp4")), "no clip").unwrap();
        manifest += &format!("Anna,s{i},{i}.mp4\n");
    }
    std::fs::write(folder.path().join("swings.csv"), manifest).unwrap();
    let batch = "\"$HUBGAUGE\" batch swings.csv --out \"$DISK/out\"";
    let said = on_a_full_disk(folder.path(), (60, 4), batch, batch);
    assert!(said.contains("full 1\n") && said.contains("room 0\n"), "{said}");
    assert_eq!(refusals(&said).len(), 1, "{said}");
    let (full, room) = left(&said);
    assert!(full.iter().all(|name| name.ends_with(".failed")), "{full:?}");
    assert_eq!(room.iter().filter(|name| name.ends_with(".failed")).count(), 30);
    for table in ["./out/swings.csv", "./out/swings.parquet", "./out/failures.csv"] {
        assert!(room.contains(&table), "{room:?}");
    }
    assert_eq!(room.len(), 33, "{room:?}");
}

#[test]
fn a_measurement_that_does_not_fit_leaves_no_result() {
    let folder = tempfile::tempdir().unwrap();
    let clip = concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures/clips/p1_after_dtl.mp4");
    let measure = format!("\"$HUBGAUGE\" measure \"{clip}\" --out \"$DISK/out\"");
    let said = on_a_full_disk(folder.path(), (200, 60), &measure, "true");
    assert!(said.contains("full 1\n"), "{said}");
    let refused = refusals(&said);
    assert!(refused.len() == 1 && refused[0].contains("another folder with --out"), "{said}");
    let (full, _) = left(&said);
    assert!(full.iter().all(|name| name.ends_with("series.csv")), "{full:?}");
}
