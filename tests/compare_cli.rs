//! The commands around the library, as a coach types them. All pupils and numbers are invented.

use std::path::{Path, PathBuf};

use assert_cmd::Command;

fn hubgauge(arguments: &[&str], library: &Path) -> (i32, String, String) {
    let mut command = Command::cargo_bin("hubgauge").unwrap();
    let output = command.args(arguments).arg("--library").arg(library).output().unwrap();
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).unwrap();
    (output.status.code().unwrap(), text(output.stdout), text(output.stderr))
}

fn swing(folder: &Path, name: &str, lower: f64) -> PathBuf {
    let path = folder.join(format!("{name}.json"));
    let text = format!(
        r#"{{"schema": "hubgauge.swing/1", "program": "hubgauge 0.1.0", "pupil": {{"handed": "right"}},
  "clips": [{{"view": "face-on", "file": "{name}.mp4", "sha256": "{name}", "frames": 360,
     "width": 720, "height": 1280, "first_s": 0.0, "last_s": 2.9,
     "time_scale": 1.0, "camera_motion": "still"}}],
  "scale": {{"method": "stature", "relative_sd": 0.03}},
  "events": {{"top": {{"time_s": 1.86, "sd_s": 0.008, "frames": {{"face-on": 223}}}}}},
  "measures": {{"top": {{"lower_hub_target": {{"value": {lower}, "sd": 0.8, "unit": "cm"}}}}}},
  "swing": {{}}, "notes": []}}"#
    );
    std::fs::write(&path, text).unwrap();
    path
}

#[test]
fn files_are_compared_as_text_and_json() {
    let folder = tempfile::tempdir().unwrap();
    let path = |name, value| swing(folder.path(), name, value).display().to_string();
    let (a, b, c, d) = (path("a", -6.0), path("b", -6.2), path("c", 0.0), path("d", 0.3));
    let (code, text, _) = hubgauge(
        &["compare", "--before", &a, "--after", &c, "--target", "top.lower_hub_target=-2"],
        folder.path(),
    );
    assert_eq!(code, 0);
    assert!(text.contains("moved 6.0 cm toward the target"), "{text}");
    assert!(text.contains("above it"), "{text}");
    let (code, text, _) =
        hubgauge(&["compare", "--before", &a, &b, "--after", &c, &d, "--json"], folder.path());
    let json: serde_json::Value = serde_json::from_str(&text).unwrap();
    assert_eq!((code, json["schema"].as_str()), (0, Some("hubgauge.compare/1")));
    assert_eq!(json["lines"][0]["after"]["n"], 2);
    let (code, text, _) = hubgauge(&["compare", "--before", &a, "--after", &a], folder.path());
    assert_eq!(code, 0);
    assert!(text.starts_with("No change is shown.") && text.contains("on both sides"), "{text}");
}

#[test]
fn mistakes_are_one_line_with_their_exit_code() {
    let folder = tempfile::tempdir().unwrap();
    let a = swing(folder.path(), "a", -6.0).display().to_string();
    std::fs::write(folder.path().join("x.json"), "{}").unwrap();
    let x = folder.path().join("x.json").display().to_string();
    let cases: [(&[&str], i32); 15] = [
        (&["pupil"], 2),
        (&["measure", "a.mp4", "--pupil", "Anna", "--handed", "right"], 2),
        (&["tasks", "--for", "absent"], 1),
        (&["lesson", "history", "Nobody", "top.hub_offset", "--out", "x.svg"], 1),
        (&["lesson", "flight", "1", "attack_angle=-4"], 2),
        (&["compare", "--before", &a], 2),
        (&["compare"], 2),
        (&["compare", "--before", &a, "--after", &x], 1),
        (&["compare", "--before", &a, "--after", "absent.json"], 1),
        (&["compare", "--before", &a, &a, "--after", &a], 1),
        (&["compare", "--before", &a, "--after", &a, "--look-at", "top.nothing"], 2),
        (&["compare", "--before", &a, "--after", &a, "--target", "x"], 2),
        (&["compare", "--pupil", "Nobody"], 1),
        (&["pupil", "add", "Anna", "--stature", "17"], 2),
        (&["pupil", "erase", "Nobody", "--yes"], 1),
    ];
    for (arguments, want) in cases {
        let (code, out, error) = hubgauge(arguments, &folder.path().join("library"));
        assert_eq!((code, out.as_str()), (want, ""), "{arguments:?}: {error}");
        assert_eq!(error.lines().count(), 1, "{error}");
        assert!(error.starts_with("hubgauge: "), "{error}");
    }
}

#[test]
fn a_pupil_from_first_lesson_to_erasure() {
    let folder = tempfile::tempdir().unwrap();
    let library = folder.path().join("library");
    let say = |arguments: &[&str]| {
        let (code, out, error) = hubgauge(arguments, &library);
        assert_eq!(code, 0, "{arguments:?}: {error}");
        out
    };
    say(&["pupil", "add", "Anna", "--stature", "170cm", "--handed", "left", "--keep-pictures"]);
    assert_eq!(say(&["pupil", "list"]), "Anna: left-handed, 170 cm, clips may be kept\n");
    say(&["pupil", "target", "Anna", "top.lower_hub_target=-2cm"]);
    say(&["lesson", "task", "Anna", "slow swings", "--date", "2026-11-25"]);
    assert!(say(&["lesson", "list", "Anna"]).contains("task: slow swings"));
    let (code, _, error) = hubgauge(&["lesson", "list", "Anna", "--date", "25.11.2026"], &library);
    assert!(code == 2 && error.contains("write it as 2026-11-25"), "{error}");
    assert!(say(&["lesson", "history", "Anna", "top.lower_hub_target"]).contains("No swing"));
    let (a, b) = (swing(folder.path(), "a", -6.0), swing(folder.path(), "b", 0.0));
    for (file, label) in [(&a, "before"), (&b, "after")] {
        let added = say(&[
            "lesson",
            "add",
            "Anna",
            &file.display().to_string(),
            "--label",
            label,
            "--date",
            "2026-11-25",
        ]);
        assert_eq!(added, "Put on record: 1 swing.\n");
    }
    assert!(say(&["lesson", "list", "Anna"]).starts_with("2026-11-25: 2 swings"));
    say(&["lesson", "flight", "2", "attack_angle [deg]=-4.1"]);
    let table = folder.path().join("flight.csv");
    std::fs::write(&table, "swing,attack_angle [deg],club_path [deg]\n1,-6.2,\n2,,1.5\n").unwrap();
    say(&["lesson", "flight", "--csv", &table.display().to_string()]);
    assert!(
        say(&["lesson", "list", "Anna", "--date", "2026-11-25"]).contains("attack_angle -4.1 deg")
    );
    assert_eq!(say(&["lesson", "history", "Anna", "top.lower_hub_target"]).lines().count(), 5);
    let chart = folder.path().join("weeks.svg").display().to_string();
    say(&["lesson", "history", "Anna", "top.lower_hub_target", "--out", &chart]);
    let drawn = std::fs::read_to_string(&chart).unwrap();
    assert!(drawn.contains("<svg") && drawn.contains("slow swings"), "{drawn}");
    let text = say(&["lesson", "history", "Anna", "top.lower_hub_target", "--json"]);
    let history: serde_json::Value = serde_json::from_str(&text).unwrap();
    assert_eq!(history["points"][1]["value"], 0.0);
    assert!(history["points"][1]["low"].as_f64().unwrap() < -1.5, "{text}");
    assert_eq!((&history["target"], &history["days"][0]["n"]), (&(-2.0).into(), &1.into()));
    let compared = say(&["compare", "--pupil", "Anna"]);
    assert!(
        compared.contains("moved 6.0 cm") && compared.contains("target of -2.0 cm"),
        "{compared}"
    );
    assert!(
        compared.contains("attack angle, deg")
            && compared.contains("+2.1")
            && compared.contains("too few swings"),
        "{compared}"
    );
    assert!(!compared.contains("club path"), "only one side has it: {compared}");
    // Another target, of a value that is not looked at: the one that is keeps its line.
    say(&["pupil", "target", "Anna", "impact.hub_offset=1cm"]);
    let compared = say(&["compare", "--pupil", "Anna"]);
    assert!(compared.contains("target of -2.0 cm"), "{compared}");
    // What fits is told: the lower hub had gone away from the target, then nowhere.
    let fit = |file: &Path| say(&["tasks", "--for", &file.display().to_string()]);
    assert!(fit(&a).contains("Film again: "), "{}", fit(&a));
    assert!(fit(&b).starts_with("No task fits"), "{}", fit(&b));
    let backup = folder.path().join("backup.sqlite3").display().to_string();
    say(&["library", "backup", &backup]);
    let export = folder.path().join("export").display().to_string();
    say(&["pupil", "export", "Anna", "--out", &export]);
    say(&["pupil", "erase", "Anna", "--yes"]);
    assert!(say(&["pupil", "list"]).contains("No pupil"));
    say(&["library", "check"]);
    let (code, ..) = hubgauge(&["library", "restore", &backup], &folder.path().join("new"));
    assert_eq!(code, 0);
    assert!(hubgauge(&["pupil", "list"], &folder.path().join("new")).1.starts_with("Anna"));
}
