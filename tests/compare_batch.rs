//! A batch split by GNU parallel as DEVELOPERS.md says gives the table of an undivided one. The
//! files are no clips, so that every row is a quick failure; rows of measured swings are compared
//! in the unit tests of `desk::batch`.

use std::path::Path;
use std::process::Command;

const PROGRAM: &str = env!("CARGO_BIN_EXE_hubgauge");

fn batch(folder: &Path, out: &str) {
    let status = Command::new(PROGRAM)
        .args(["batch", "swings.csv", "--out", out])
        .current_dir(folder)
        .status()
        .unwrap();
    assert!(status.success());
}

#[test]
fn the_documented_split_gives_the_undivided_table() {
    let folder = tempfile::tempdir().unwrap();
    let mut manifest = "pupil,swing,file\n".to_owned();
    for i in 0..9 {
        std::fs::write(folder.path().join(format!("{i}.mp4")), "no clip").unwrap();
        manifest += &format!("Anna,s{i},{i}.mp4\n");
    }
    std::fs::write(folder.path().join("swings.csv"), manifest).unwrap();
    batch(folder.path(), "whole");
    let split = if Command::new("parallel").arg("--version").output().is_ok() {
        "parallel -j4 \"$HUBGAUGE\" batch swings.csv --out split --shard {}/4 ::: 1 2 3 4"
    } else {
        eprintln!("GNU parallel is not installed: the shell splits the batch instead");
        "for i in 1 2 3 4; do \"$HUBGAUGE\" batch swings.csv --out split --shard $i/4 & done; wait"
    };
    let shell = Command::new("sh")
        .args(["-c", split])
        .env("HUBGAUGE", PROGRAM)
        .current_dir(folder.path())
        .status();
    assert!(shell.unwrap().success());
    batch(folder.path(), "split");
    let table = |out: &str, name: &str| {
        std::fs::read_to_string(folder.path().join(out).join(name)).unwrap()
    };
    for name in ["swings.csv", "failures.csv"] {
        assert_eq!(table("whole", name), table("split", name));
    }
    assert_eq!(table("whole", "failures.csv").lines().count(), 10);
    let rows: usize = (1..=4)
        .map(|i| table("split", &format!("failures-{i}-of-4.csv")).lines().count() - 1)
        .sum();
    assert_eq!(rows, 9);
}
