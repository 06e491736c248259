//! `hubgauge batch`. In: [`Job`]s. Out: in the folder, one result file a swing, `swings.csv` with
//! a row for each and `failures.csv` with what failed and why.
//!
//! Each swing's outcome is a file of its own, written whole or not at all, named after the
//! manifest's row: a stopped batch goes on where it was, shards share a folder without talking to
//! each other, and a last run without `--shard` makes the whole table. Rows come in the
//! manifest's order and do not depend on how the work was split.

use std::path::Path;

use super::manifest::{BatchError, Job, jobs, share};
use crate::cli::desk::BatchArgs;
use crate::compare::Key;
use crate::error::Error;
use crate::options::Options;
use crate::results::{SwingResult, Unit, Value, write_atomically};
use crate::run;

/// # Errors
/// When the manifest cannot be read or the folder not written; a clip that cannot be measured is
/// a row of `failures.csv` instead.
pub fn batch(args: &BatchArgs, progress: bool) -> Result<String, Error> {
    measure_all(args, progress, &|options| Ok(run::measure(options)?.result))
}

type Measurer<'a> = &'a dyn Fn(&Options) -> Result<SwingResult, Error>;

/// What became of one swing.
enum Outcome {
    Measured(Box<SwingResult>),
    Failed(String),
}

fn measure_all(args: &BatchArgs, progress: bool, measurer: Measurer<'_>) -> Result<String, Error> {
    let (i, n) = share(args.shard.as_deref())?;
    let stature = args.stature.as_deref();
    if let Some(text) = stature {
        crate::options::parse_stature(text)?;
    }
    let mine: Vec<Job> = jobs(&args.inputs)?.into_iter().skip(i - 1).step_by(n).collect();
    let results = args.out.join("results");
    std::fs::create_dir_all(&results).map_err(BatchError::io(&results))?;
    let (mut rows, mut failures, mut fresh) = (Vec::new(), Vec::new(), 0);
    for (at, job) in mine.iter().enumerate() {
        let place = results.join(job.name(stature));
        let outcome = match known(&place, args.retry_failed) {
            Some(outcome) => outcome,
            None => {
                if progress {
                    eprintln!("{} of {}: {} {}", at + 1, mine.len(), job.pupil, job.swing);
                }
                fresh += 1;
                settle(job, stature, &place, measurer)?
            }
        };
        match outcome {
            Outcome::Measured(result) => rows.push(row(job, &result)),
            Outcome::Failed(why) => {
                failures.push(vec![job.pupil.clone(), job.swing.clone(), files(job), why])
            }
        }
    }
    let part = if n == 1 { String::new() } else { format!("-{i}-of-{n}") };
    let (swings, failed) =
        (args.out.join(format!("swings{part}.csv")), args.out.join(format!("failures{part}.csv")));
    write(&swings, &header(), &rows)?;
    write(&failed, &["pupil", "swing", "files", "reason"].map(str::to_owned), &failures)?;
    Ok(format!(
        "{fresh} swings looked at, {} of {} measured: {}. {} failed: {}.\n",
        rows.len(),
        mine.len(),
        swings.display(),
        failures.len(),
        failed.display()
    ))
}

/// What an earlier run found out; a file that cannot be read counts as nothing.
fn known(place: &Path, retry_failed: bool) -> Option<Outcome> {
    if let Ok(text) = std::fs::read_to_string(place.with_extension("json")) {
        return SwingResult::from_json(&text)
            .ok()
            .map(|result| Outcome::Measured(Box::new(result)));
    }
    let why = std::fs::read_to_string(place.with_extension("failed")).ok();
    why.filter(|_| !retry_failed).map(Outcome::Failed)
}

fn settle(
    job: &Job,
    stature: Option<&str>,
    place: &Path,
    measurer: Measurer<'_>,
) -> Result<Outcome, Error> {
    let measured =
        job.options(stature).and_then(|options| measurer(&options).map_err(|e| e.to_string()));
    match measured {
        Ok(result) => {
            write_atomically(&place.with_extension("json"), result.to_json()?.as_bytes())?;
            Ok(Outcome::Measured(Box::new(result)))
        }
        Err(why) => {
            let why = why.replace('\n', " ");
            write_atomically(&place.with_extension("failed"), why.as_bytes())?;
            Ok(Outcome::Failed(why))
        }
    }
}

fn files(job: &Job) -> String {
    job.rows.iter().map(|row| row.file.as_str()).collect::<Vec<_>>().join(" + ")
}

/// `top.lower_hub_target [cm]` and its sd, for every value that a result can have.
fn header() -> Vec<String> {
    let first = ["pupil", "swing", "files", "program", "scale"].map(str::to_owned);
    let values = Key::all().flat_map(|key| {
        let unit = unit(key);
        [format!("{key} [{unit}]"), format!("{key} sd [{unit}]")]
    });
    first.into_iter().chain(values).collect()
}

fn unit(key: Key) -> &'static str {
    match key.unit() {
        Unit::Cm => "cm",
        Unit::Deg => "deg",
        Unit::Ratio => "ratio",
        Unit::S => "s",
    }
}

/// A missing value is an empty cell.
fn row(job: &Job, result: &SwingResult) -> Vec<String> {
    let scale = format!("{:?}", result.scale.method).to_lowercase();
    let first = [job.pupil.clone(), job.swing.clone(), files(job), result.program.clone(), scale];
    let values = Key::all().flat_map(|key| match key.of(result).and_then(Value::estimate) {
        Some(known) => [known.value.to_string(), known.sd.to_string()],
        None => [String::new(), String::new()],
    });
    first.into_iter().chain(values).collect()
}

fn write(path: &Path, header: &[String], rows: &[Vec<String>]) -> Result<(), Error> {
    let mut table = csv::Writer::from_writer(Vec::new());
    let wrong = |why: csv::Error| BatchError::Manifest {
        file: path.display().to_string(),
        why: why.to_string(),
    };
    table.write_record(header).map_err(wrong)?;
    for row in rows {
        table.write_record(row).map_err(wrong)?;
    }
    let bytes = table.into_inner().map_err(|e| BatchError::Manifest {
        file: path.display().to_string(),
        why: e.to_string(),
    })?;
    Ok(write_atomically(path, &bytes)?)
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::cell::Cell;
    use std::path::PathBuf;

    const ROW: &str = r#"{"schema": "hubgauge.swing/1", "program": "hubgauge 0.1.0",
  "pupil": {"handed": "right"}, "clips": [], "scale": {"method": "stature", "relative_sd": 0.03},
  "events": {}, "measures": {"top": {"lower_hub_target": {"value": -6.1, "sd": 0.9, "unit": "cm"}}},
  "swing": {}, "notes": []}"#;

    /// Seven invented swings, one of them with two views, one that cannot be measured.
    fn manifest(folder: &Path) -> PathBuf {
        let mut text = "pupil,swing,view,file,stature\n".to_owned();
        for i in 1..=6 {
            text += &format!("Anna,s{i},face-on,s{i}.mp4,170cm\n");
        }
        text += "Bert,s1,face-on,broken.mp4,\nBert,s1,down-the-line,b.mp4,\n";
        let path = folder.join("manifest.csv");
        std::fs::write(&path, text).unwrap();
        path
    }

    fn args(inputs: &Path, out: &Path, shard: Option<&str>) -> BatchArgs {
        BatchArgs {
            inputs: vec![inputs.to_owned()],
            out: out.to_owned(),
            shard: shard.map(str::to_owned),
            stature: None,
            retry_failed: false,
        }
    }

    fn counting(count: &Cell<usize>) -> impl Fn(&Options) -> Result<SwingResult, Error> {
        move |options| {
            count.set(count.get() + 1);
            if options.clips()[0].path.ends_with("broken.mp4") {
                assert_eq!(options.clips().len(), 2);
                return Err(BatchError::Nothing.into());
            }
            Ok(SwingResult::from_json(ROW).unwrap())
        }
    }

    fn text(path: PathBuf) -> String {
        std::fs::read_to_string(path).unwrap()
    }

    #[test]
    fn rows_are_the_same_however_the_work_is_split_and_nothing_is_measured_twice() {
        let folder = tempfile::tempdir().unwrap();
        let list = manifest(folder.path());
        let (whole, split) = (folder.path().join("whole"), folder.path().join("split"));
        let count = Cell::new(0);
        measure_all(&args(&list, &whole, None), false, &counting(&count)).unwrap();
        assert_eq!(count.take(), 7);
        for shard in ["1/3", "2/3", "3/3"] {
            measure_all(&args(&list, &split, Some(shard)), false, &counting(&count)).unwrap();
        }
        assert_eq!(count.take(), 7);
        measure_all(&args(&list, &split, None), false, &counting(&count)).unwrap();
        assert_eq!(count.get(), 0);
        for name in ["swings.csv", "failures.csv"] {
            assert_eq!(text(whole.join(name)), text(split.join(name)));
        }
        let mut shards: Vec<String> = (1..=3)
            .flat_map(|i| {
                text(split.join(format!("swings-{i}-of-3.csv")))
                    .lines()
                    .skip(1)
                    .map(str::to_owned)
                    .collect::<Vec<_>>()
            })
            .collect();
        let mut rows: Vec<String> =
            text(whole.join("swings.csv")).lines().skip(1).map(str::to_owned).collect();
        assert_eq!(rows.len(), 6);
        assert!(rows[0].starts_with("Anna,s1,s1.mp4,hubgauge 0.1.0,stature,"));
        shards.sort_unstable();
        rows.sort_unstable();
        assert_eq!(rows, shards);
        assert!(
            text(whole.join("failures.csv"))
                .contains("Bert,s1,broken.mp4 + b.mp4,\"no clip was found")
        );
    }

    #[test]
    fn a_stopped_batch_goes_on_and_failures_are_tried_again_when_asked() {
        let folder = tempfile::tempdir().unwrap();
        let list = manifest(folder.path());
        let out = folder.path().join("out");
        let count = Cell::new(0);
        measure_all(&args(&list, &out, Some("1/2")), false, &counting(&count)).unwrap();
        assert_eq!(count.take(), 4);
        measure_all(&args(&list, &out, None), false, &counting(&count)).unwrap();
        assert_eq!(count.take(), 3);
        let again = BatchArgs { retry_failed: true, ..args(&list, &out, None) };
        measure_all(&again, false, &counting(&count)).unwrap();
        assert_eq!(count.take(), 1);
    }

    #[test]
    fn wrong_manifests_are_refused_with_one_line() {
        let folder = tempfile::tempdir().unwrap();
        let list = folder.path().join("m.csv");
        let count = Cell::new(0);
        for bad in ["a,b\n1,2\n", "pupil\nAnna\n", "file\n\"\"\n", "file,view\nx.mp4\n", "file\n"] {
            std::fs::write(&list, bad).unwrap();
            let said = measure_all(&args(&list, folder.path(), None), false, &counting(&count))
                .unwrap_err();
            assert!(!said.to_string().contains('\n'), "{said}");
        }
        for bad in ["0/2", "3/2", "x", "1/0", "/"] {
            let said =
                measure_all(&args(&list, folder.path(), Some(bad)), false, &counting(&count));
            assert!(matches!(said, Err(Error::Batch(BatchError::Shard(_)))), "{bad}");
        }
        std::fs::write(&list, "file,view\nx.mp4,sideways\n").unwrap();
        measure_all(&args(&list, folder.path(), None), false, &counting(&count)).unwrap();
        assert!(text(folder.path().join("failures.csv")).contains("sideways"));
        assert_eq!(count.get(), 0);
    }
}
