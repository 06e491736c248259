//! From clips to a verdict, through the command line: two treatments of one swing show no change.
//! That a real change is shown and true within its interval is in tests/golden/truth.rs.

use std::path::{Path, PathBuf};
use std::process::Command;

use serde_json::Value;

const PROGRAM: &str = env!("CARGO_BIN_EXE_hubgauge");

fn fixture(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures").join(name)
}

/// The clip made anew with other picture content bytes: re-encoded, and cropped where asked.
fn treated(folder: &Path, name: &str, filter: &str, crf: &str) -> PathBuf {
    let out = folder.join(format!("{name}.mp4"));
    let made = Command::new("ffmpeg")
        .args(["-v", "error", "-i"])
        .arg(fixture("clips/p1_before_faceon.mp4"))
        .args(["-vf", filter, "-c:v", "libx264", "-preset", "veryfast", "-crf", crf])
        .arg(&out)
        .status();
    assert!(made.expect("the tests need the ffmpeg program (scripts/prepare)").success());
    out
}

fn measured(folder: &Path, clip: &Path) -> String {
    let output = Command::new(PROGRAM)
        .args(["measure", "--stature", "179cm", "--json", "--face-on"])
        .arg(clip)
        .output()
        .unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let file = folder.join(clip.with_extension("json").file_name().unwrap());
    std::fs::write(&file, output.stdout).unwrap();
    file.display().to_string()
}

fn compared(before: &str, after: &str) -> Value {
    let output = Command::new(PROGRAM)
        .args(["compare", "--same-setup", "--json", "--before", before, "--after", after])
        .output()
        .unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    serde_json::from_slice(&output.stdout).unwrap()
}

#[test]
fn two_treatments_of_one_swing_show_no_change() {
    let work = tempfile::tempdir().unwrap();
    let poor = treated(work.path(), "poor", "scale=540:-2", "28");
    let cropped = treated(work.path(), "cropped", "crop=iw*0.86:ih*0.96:iw*0.1:ih*0.04", "18");
    let (poor, cropped) = (measured(work.path(), &poor), measured(work.path(), &cropped));
    let same = compared(&poor, &cropped);
    for line in same["lines"].as_array().unwrap() {
        assert_eq!(line["verdict"], "not_shown", "{line}");
        let number = |name: &str| line["change"][name].as_f64().unwrap();
        assert!(number("low") < 0.0 && number("high") > 0.0, "{line}");
    }
    assert_eq!(same["lines"].as_array().unwrap().len(), 2, "both hubs along the target line");
}
