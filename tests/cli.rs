//! The program as a coach meets it: exit codes, one line for every mistake, nothing half
//! written; a good clip gives the same numbers in the table, the result file and the series.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use hubgauge::events::Event;
use hubgauge::geometry::Measure;
use hubgauge::results::{self, SCHEMA, SwingResult};
use tempfile::TempDir;

fn hubgauge(arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_hubgauge")).args(arguments).output().unwrap()
}

fn text(path: &Path) -> &str {
    path.to_str().unwrap()
}

fn fixture(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/clips").join(name)
}

fn ffmpeg(arguments: &[&str]) {
    let made = Command::new("ffmpeg").args(["-v", "error", "-y"]).args(arguments).status();
    assert!(made.expect("the tests need the ffmpeg program (scripts/prepare)").success());
}

/// Files below a folder that may not exist.
fn files_below(folder: &Path) -> Vec<PathBuf> {
    let Ok(entries) = fs::read_dir(folder) else { return Vec::new() };
    let paths = entries.map(|e| e.unwrap().path());
    paths.flat_map(|p| if p.is_dir() { files_below(&p) } else { vec![p] }).collect()
}

/// The one line on standard error of a call that must fail with this code.
fn refusal(arguments: &[&str], code: i32) -> String {
    let output = hubgauge(arguments);
    let said = String::from_utf8(output.stderr).unwrap();
    assert_eq!(output.status.code(), Some(code), "{arguments:?}: {said}");
    assert!(output.stdout.is_empty(), "{arguments:?}: printed {:?}", output.stdout);
    assert_eq!(said.lines().count(), 1, "{arguments:?}: {said}");
    assert!(said.starts_with("hubgauge: ") && !said.contains("panicked"), "{said}");
    said
}

/// A clip that cannot be measured: one line that holds `hint`, nothing written.
fn unmeasurable(clip: &Path, hint: &str) {
    let work = TempDir::new().unwrap();
    let out = work.path().join("lesson");
    let said = refusal(
        &["measure", "--face-on", text(clip), "--stature", "179cm", "--out", text(&out)],
        1,
    );
    assert!(said.contains(hint), "expected \"{hint}\" in: {said}");
    assert!(!out.exists(), "an empty folder was left");
}

/// A file with this content and a clip's name.
fn pretender(work: &TempDir, content: &[u8]) -> PathBuf {
    let path = work.path().join("swing.mp4");
    fs::write(&path, content).unwrap();
    path
}

#[test]
fn a_text_file_named_mp4() {
    let work = TempDir::new().unwrap();
    unmeasurable(&pretender(&work, b"Dear coach, the clip is in the other mail.\n"), "not a video");
}

#[test]
fn an_empty_file() {
    let work = TempDir::new().unwrap();
    unmeasurable(&pretender(&work, b""), "empty");
}

#[test]
fn a_playlist_that_names_another_file() {
    let work = TempDir::new().unwrap();
    let clip = fixture("p1_after_dtl.mp4");
    let playlist = format!("#EXTM3U\n#EXT-X-TARGETDURATION:3\n#EXTINF:3,\n{}\n", text(&clip));
    unmeasurable(&pretender(&work, playlist.as_bytes()), "not a video");
    let list = format!("ffconcat version 1.0\nfile '{}'\n", text(&clip));
    unmeasurable(&pretender(&work, list.as_bytes()), "not a video");
}

#[test]
fn a_missing_file_and_a_folder() {
    let work = TempDir::new().unwrap();
    unmeasurable(&work.path().join("nothing.mp4"), "no such file");
    unmeasurable(work.path(), "folder");
}

#[test]
fn a_clip_cut_off_before_its_index() {
    let work = TempDir::new().unwrap();
    let (clip, rear) = (fixture("p1_after_dtl.mp4"), work.path().join("rear.mp4"));
    ffmpeg(&["-i", text(&clip), "-c", "copy", text(&rear)]);
    let whole = fs::read(&rear).unwrap();
    unmeasurable(&pretender(&work, &whole[..whole.len() / 2]), "copy it from the phone again");
}

#[test]
fn a_clip_cut_off_before_the_swing() {
    let work = TempDir::new().unwrap();
    let front = work.path().join("front.mp4");
    let clip = fixture("p1_after_dtl.mp4");
    ffmpeg(&["-i", text(&clip), "-c", "copy", "-movflags", "+faststart", text(&front)]);
    let whole = fs::read(&front).unwrap();
    unmeasurable(&pretender(&work, &whole[..whole.len() * 3 / 10]), "one whole swing");
}

#[test]
fn sound_without_pictures() {
    let work = TempDir::new().unwrap();
    let clip = work.path().join("sound.mp4");
    ffmpeg(&["-f", "lavfi", "-i", "sine=frequency=440:duration=2", "-c:a", "aac", text(&clip)]);
    unmeasurable(&clip, "no video");
}

#[test]
fn an_empty_room() {
    let work = TempDir::new().unwrap();
    let clip = work.path().join("room.mp4");
    let room = "gradients=size=360x640:rate=30:duration=2:speed=0.001";
    ffmpeg(&["-f", "lavfi", "-i", room, "-pix_fmt", "yuv420p", text(&clip)]);
    unmeasurable(&clip, "");
}

#[test]
fn a_folder_that_cannot_be_written() {
    let work = TempDir::new().unwrap();
    let file = work.path().join("note.txt");
    fs::write(&file, "a regular file").unwrap();
    let (clip, out) = (fixture("p1_after_dtl.mp4"), file.join("lesson"));
    let said = refusal(&["measure", text(&clip), "--stature", "179cm", "--out", text(&out)], 1);
    assert!(said.contains("--out"), "{said}");
    assert_eq!(fs::read_to_string(&file).unwrap(), "a regular file");
}

#[test]
fn wrong_arguments() {
    for (arguments, hint) in [
        (&["measure", "a.mp4", "--stature", "1.79"][..], "1.79m"),
        (&["measure", "a.mp4", "--stature", "17m"], "not a person's height"),
        (&["measure", "a.mp4", "--stature", "tall"], "not a length"),
        (&["measure", "--stature", "179cm"], "--face-on"),
        (&["measure", "a.mp4", "b.mp4", "c.mp4"], "3 clips"),
        (&["measure", "--face-on", "a.mp4", "--handed", "both"], "both"),
        (&["measure", "a.mp4", "--capture-fps", "0"], "--capture-fps"),
        (&["measure", "a.mp4", "--reference", "1,2,300,400"], "--reference-length"),
        (&["measure", "a.mp4", "--camera-distance", "3m"], "--camera-fov"),
        (&["measure", "a.mp4", "--verbose"], "--verbose"),
        (&["explain"], "RESULT"),
    ] {
        let said = refusal(arguments, 2);
        assert!(said.contains(hint), "expected \"{hint}\" in: {said}");
    }
}

#[test]
fn help_names_units_and_fits_a_terminal() {
    let output = hubgauge(&["measure", "--help"]);
    assert!(output.status.success());
    let help = String::from_utf8(output.stdout).unwrap();
    for part in ["--face-on", "--down-the-line", "179cm", "5ft10in", "--capture-fps", "Exit status"]
    {
        assert!(help.contains(part), "{part} is not in the help");
    }
    assert!(help.lines().all(|line| line.chars().count() <= 100), "{help}");
    assert!(hubgauge(&["--version"]).status.success());
}

#[test]
fn explaining_what_is_no_result() {
    let work = TempDir::new().unwrap();
    let missing = work.path().join("swing.json");
    refusal(&["explain", text(&missing)], 1);
    fs::write(&missing, "{}").unwrap();
    refusal(&["explain", text(&missing)], 1);
}

/// Columns of `series.csv` by name, and its rows.
fn series(path: &Path) -> (Vec<String>, Vec<Vec<Option<f64>>>) {
    let content = fs::read_to_string(path).unwrap();
    let mut lines = content.lines().map(|line| line.split(','));
    let names = lines.next().unwrap().map(str::to_owned).collect();
    (names, lines.map(|fields| fields.map(|f| f.parse().ok()).collect()).collect())
}

#[test]
fn a_good_clip_gives_the_same_numbers_everywhere() {
    let work = TempDir::new().unwrap();
    let out = work.path().join("a/new/folder");
    let clip = fixture("p1_after_dtl.mp4");
    let arguments = ["measure", "--down-the-line", text(&clip), "--stature", "179cm"];

    let json = hubgauge(&[&arguments[..], &["--json", "--out", text(&out)]].concat());
    let printed = String::from_utf8(json.stdout).unwrap();
    assert!(json.status.success(), "{}", String::from_utf8_lossy(&json.stderr));
    assert!(json.stderr.is_empty(), "progress belongs on a terminal only");
    assert_eq!(printed, fs::read_to_string(out.join("swing.json")).unwrap());
    keeps_the_contract(&printed);

    let result = SwingResult::from_json(&printed).unwrap();
    agrees_with_the_series(&result, &out.join("series.csv"));
    let ends = ["json", "csv", "png"];
    let finished = |p: &PathBuf| p.extension().is_some_and(|e| ends.iter().any(|x| e == *x));
    let (done, left_over): (Vec<_>, Vec<_>) = files_below(&out).into_iter().partition(finished);
    assert_eq!(left_over, Vec::<PathBuf>::new());
    assert!(done.iter().all(|p| !p.file_name().unwrap().to_string_lossy().starts_with('.')));
    for event in ["address", "top", "transition", "impact"] {
        assert!(out.join(format!("stills/down-the-line_{event}.png")).is_file(), "{event}");
    }

    // A second run without files: the same numbers, as the table shows them.
    let table = hubgauge(&arguments);
    let table = String::from_utf8(table.stdout).unwrap();
    assert_eq!(table, results::table(&result));
    let up = result.known(Event::Top, Measure::LowerHubUp).unwrap();
    assert!(table.contains(&format!("{:.1}", up.value.abs())), "{up:?} is not in\n{table}");

    let explained = hubgauge(&["explain", text(&out.join("swing.json"))]);
    assert!(explained.status.success() && !explained.stdout.is_empty());
}

/// The keys of MEASURES.md's example, and every measure a value or a reason.
fn keeps_the_contract(printed: &str) {
    let file: serde_json::Value = serde_json::from_str(printed).unwrap();
    assert_eq!(file["schema"], SCHEMA);
    assert!(printed.trim_start().starts_with("{\n  \"schema\""), "the schema comes first");
    assert_eq!(file["pupil"], serde_json::json!({"stature_m": 1.79, "handed": "right"}));
    let clip = &file["clips"][0];
    assert_eq!(clip["view"], "down-the-line");
    assert_eq!(clip["file"], "p1_after_dtl.mp4");
    assert_eq!(clip["sha256"].as_str().unwrap().len(), 64);
    assert_eq!((clip["width"].as_u64(), clip["height"].as_u64()), (Some(720), Some(1280)));
    assert_eq!(file["scale"]["method"], "stature");
    for event in ["address", "takeaway", "top", "transition", "impact"] {
        assert!(file["events"][event]["time_s"].is_f64(), "{event}");
        assert!(file["events"][event]["sd_s"].is_f64(), "{event}");
        assert!(file["events"][event]["frames"]["down-the-line"].is_u64(), "{event}");
    }
    let top = file["measures"]["top"].as_object().unwrap();
    assert_eq!(top.len(), Measure::ALL.len());
    for (name, value) in top {
        let known = value["value"].is_number() && value["sd"].as_f64().is_some_and(|sd| sd > 0.0);
        assert!(known || value["missing"].is_string(), "{name}: {value}");
    }
    assert!(
        top["lower_hub_ball"]["value"].is_number()
            && top["lower_hub_target"]["missing"].is_string()
    );
}

/// At the top the series, between its two nearest rows, says what the result says.
fn agrees_with_the_series(result: &SwingResult, path: &Path) {
    let (names, rows) = series(path);
    let time = result.events[&Event::Top].time_s;
    let after = rows.iter().position(|row| row[0].unwrap() >= time).unwrap();
    let (a, b) = (&rows[after - 1], &rows[after]);
    let weight = (time - a[0].unwrap()) / (b[0].unwrap() - a[0].unwrap());
    for (name, measure) in
        [("lower_hub_ball_cm", Measure::LowerHubBall), ("forward_bend_deg", Measure::ForwardBend)]
    {
        let column = names.iter().position(|n| n == name).unwrap();
        let between = a[column].unwrap() * (1.0 - weight) + b[column].unwrap() * weight;
        let known = result.known(Event::Top, measure).unwrap();
        assert!((between - known.value).abs() < 0.2 * known.sd, "{name}: {between} and {known:?}");
    }
}
