//! From clips to a verdict, through the command line: two treatments of one swing, put on record,
//! show no change; the export has the clips and their pictures. That a real change is shown and
//! true within its interval is in tests/golden/truth.rs.

use std::path::{Path, PathBuf};
use std::process::Command;

use serde_json::Value;

const PROGRAM: &str = env!("CARGO_BIN_EXE_hubgauge");

/// The clip made anew: the same swing with other bytes and other pictures.
fn treated(folder: &Path, name: &str, filter: &str, crf: &str) -> PathBuf {
    let out = folder.join(format!("{name}.mp4"));
    let clip = concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures/clips/p1_before_faceon.mp4");
    let made = Command::new("ffmpeg")
        .args(["-v", "error", "-i", clip, "-vf", filter])
        .args(["-c:v", "libx264", "-preset", "veryfast", "-crf", crf])
        .arg(&out)
        .status();
    assert!(made.expect("the tests need the ffmpeg program (scripts/prepare)").success());
    out
}

fn said(library: &Path, arguments: &[&str]) -> String {
    let output =
        Command::new(PROGRAM).args(arguments).arg("--library").arg(library).output().unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    String::from_utf8(output.stdout).unwrap()
}

#[test]
fn two_treatments_of_one_swing_show_no_change() {
    let work = tempfile::tempdir().unwrap();
    let library = work.path().join("library");
    let run = |arguments: &[&str]| said(&library, arguments);
    run(&["pupil", "add", "Anna", "--stature", "179cm", "--keep-pictures"]);
    for (label, filter, crf) in
        [("before", "scale=540:-2", "28"), ("after", "crop=iw*0.86:ih*0.96:iw*0.1:ih*0.04", "18")]
    {
        let clip = treated(work.path(), label, filter, crf).display().to_string();
        let kept = ["--pupil", "Anna", "--label", label, "--copy-clips"];
        run(&[&["measure", "--face-on", &clip][..], &kept].concat());
        std::fs::remove_file(clip).unwrap();
    }
    let text = run(&["compare", "--pupil", "Anna", "--same-setup", "--json"]);
    let same: Value = serde_json::from_str(&text).unwrap();
    let lines = same["lines"].as_array().unwrap();
    assert_eq!(lines.len(), 2, "both hubs along the target line: {text}");
    for line in lines {
        let number = |name: &str| line["change"][name].as_f64().unwrap();
        assert_eq!(line["verdict"], "not_shown", "{line}");
        assert!(number("low") < 0.0 && number("high") > 0.0, "{line}");
    }
    assert!(run(&["compare", "--pupil", "Anna"]).starts_with("No change is shown."));

    let export = work.path().join("export");
    run(&["pupil", "export", "Anna", "--out", &export.display().to_string()]);
    let text = std::fs::read_to_string(export.join("pupil.json")).unwrap();
    let pupil: Value = serde_json::from_str(&text).unwrap();
    for swing in pupil["swings"].as_array().unwrap() {
        assert_eq!(swing["clips"].as_array().unwrap().len(), 1);
        let pictures = swing["pictures"].as_array().unwrap();
        assert_eq!(pictures.len(), 3, "address, top, impact: {swing}");
        for picture in pictures {
            let bytes = std::fs::read(export.join(picture.as_str().unwrap())).unwrap();
            assert!(bytes.starts_with(&[0xff, 0xd8]) && bytes.len() > 5000, "{picture}");
        }
    }
}
