//! `hubgauge batch`. In: [`Job`]s. Out: in the folder, one result file a swing, `swings.csv` and
//! `swings.parquet` with a row for each, and `failures.csv` with what failed and why.
//!
//! Each swing's outcome is a file of its own, written whole or not at all, named after the
//! manifest's row: a stopped batch goes on where it was, shards share a folder without talking to
//! each other, and a last run without `--shard` makes the whole table. Rows come in the
//! manifest's order and do not depend on how the work was split. The tables are made from those
//! files, so that memory does not grow with the number of swings.

mod manifest;
mod table;

use std::path::Path;

use crate::cli::desk::BatchArgs;
use crate::error::Error;
use crate::options::Options;
use crate::results::{SwingResult, write_atomically};
use crate::run::{self, observe::Instruments};
use crate::warning::counted;
use manifest::{ForAll, Job, jobs, share};
use table::{Row, Tables};

pub use manifest::BatchError;

/// # Errors
/// When the manifest cannot be read or the folder not written; a clip that cannot be measured is
/// a row of `failures.csv` instead.
pub fn batch(args: &BatchArgs, progress: bool) -> Result<String, Error> {
    // Loaded for the first swing that needs them: every swing of a batch uses the same networks.
    let mut loaded = None;
    measure_all(args, progress, &mut |options| {
        let instruments = match loaded.take() {
            Some(instruments) => instruments,
            None => Instruments::load(options)?,
        };
        let measured = run::measure_with(options, &instruments);
        loaded = Some(instruments);
        Ok(measured?.result)
    })
}

type Measurer<'a> = &'a mut dyn FnMut(&Options) -> Result<SwingResult, Error>;

/// What became of one swing.
enum Outcome {
    Measured(Box<SwingResult>),
    Failed(String),
}

fn measure_all(args: &BatchArgs, progress: bool, measurer: Measurer<'_>) -> Result<String, Error> {
    let (i, n) = share(args.shard.as_deref())?;
    let all = ForAll::new(args)?;
    let mine: Vec<Job> = jobs(&args.inputs)?.into_iter().skip(i - 1).step_by(n).collect();
    let results = args.out.join("results");
    std::fs::create_dir_all(&results).map_err(BatchError::io(&results))?;
    let mut fresh = 0;
    for (at, job) in mine.iter().enumerate() {
        let place = results.join(job.name(all));
        if known(&place, args.retry_failed).is_none() {
            if progress {
                eprintln!("{} of {}: {} {}", at + 1, mine.len(), job.pupil, job.swing);
            }
            fresh += 1;
            settle(job, all, &place, measurer)?;
        }
    }
    let part = if n == 1 { String::new() } else { format!("-{i}-of-{n}") };
    let (rows, failures) =
        write_tables(&args.out, &part, &mine, |job| known(&results.join(job.name(all)), false))?;
    Ok(format!(
        "{} looked at, {rows} of {} measured: {} and .parquet. {failures} failed: {}.\n",
        counted(fresh, "swing"),
        mine.len(),
        args.out.join(format!("swings{part}.csv")).display(),
        args.out.join(format!("failures{part}.csv")).display()
    ))
}

/// The tables in the manifest's order; how many rows and failures they have.
fn write_tables(
    out: &Path,
    part: &str,
    jobs: &[Job],
    outcome: impl Fn(&Job) -> Option<Outcome>,
) -> Result<(usize, usize), Error> {
    let file = |name: &str, kind: &str| out.join(format!("{name}{part}.{kind}"));
    let mut tables = Tables::create(&file("swings", "csv"), &file("swings", "parquet"))?;
    let mut failures = csv::Writer::from_writer(Vec::new());
    let failed = file("failures", "csv");
    let wrong = |why: String| BatchError::Manifest { file: failed.display().to_string(), why };
    let names = ["pupil", "swing", "files", "reason"];
    failures.write_record(names).map_err(|e| wrong(e.to_string()))?;
    let mut counts = (0, 0);
    for job in jobs {
        match outcome(job) {
            Some(Outcome::Measured(result)) => {
                counts.0 += 1;
                tables.push(Row::new(&job.pupil, &job.swing, &files(job), &result))?;
            }
            other => {
                counts.1 += 1;
                let why = match other {
                    Some(Outcome::Failed(why)) => why,
                    _ => "its result is gone from the folder: run the batch again".to_owned(),
                };
                let row = [&job.pupil, &job.swing, &files(job), &why];
                failures.write_record(row).map_err(|e| wrong(e.to_string()))?;
            }
        }
    }
    tables.finish()?;
    let bytes = failures.into_inner().map_err(|e| wrong(e.to_string()))?;
    write_atomically(&failed, &bytes)?;
    Ok(counts)
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

fn settle(job: &Job, all: ForAll<'_>, place: &Path, measurer: Measurer<'_>) -> Result<(), Error> {
    let measured =
        job.options(all).and_then(|options| measurer(&options).map_err(|e| e.to_string()));
    match measured {
        Ok(result) => {
            write_atomically(&place.with_extension("json"), result.to_json()?.as_bytes())?;
        }
        Err(why) => {
            let why = why.replace('\n', " ");
            write_atomically(&place.with_extension("failed"), why.as_bytes())?;
        }
    }
    Ok(())
}

fn files(job: &Job) -> String {
    job.rows.iter().map(|row| row.file.as_str()).collect::<Vec<_>>().join(" + ")
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
            lens: Vec::new(),
            retry_failed: false,
        }
    }

    fn counting(count: &Cell<usize>) -> impl FnMut(&Options) -> Result<SwingResult, Error> {
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
        measure_all(&args(&list, &whole, None), false, &mut counting(&count)).unwrap();
        assert_eq!(count.take(), 7);
        for shard in ["1/3", "2/3", "3/3"] {
            measure_all(&args(&list, &split, Some(shard)), false, &mut counting(&count)).unwrap();
        }
        assert_eq!(count.take(), 7);
        measure_all(&args(&list, &split, None), false, &mut counting(&count)).unwrap();
        assert_eq!(count.get(), 0);
        for name in ["swings.csv", "swings.parquet", "failures.csv"] {
            let bytes = |out: &Path| std::fs::read(out.join(name)).unwrap();
            assert!(bytes(&whole) == bytes(&split), "{name}");
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
        measure_all(&args(&list, &out, Some("1/2")), false, &mut counting(&count)).unwrap();
        assert_eq!(count.take(), 4);
        measure_all(&args(&list, &out, None), false, &mut counting(&count)).unwrap();
        assert_eq!(count.take(), 3);
        let again = BatchArgs { retry_failed: true, ..args(&list, &out, None) };
        let said = measure_all(&again, false, &mut counting(&count)).unwrap();
        assert_eq!(count.take(), 1);
        assert!(said.starts_with("1 swing looked at, 6 of 7 measured"), "{said}");
    }

    /// The same lens however it is said, none where it is said for the other view, and another
    /// calibration is another measurement.
    #[test]
    fn lenses_come_from_the_row_or_from_the_command_line() {
        const LENS: &str = r#"{"image_size": [720, 1280],
            "camera_matrix": [[990, 0, 359], [0, 990, 641], [0, 0, 1]], "dist_coeffs": [0.1, -0.2]}"#;
        let folder = tempfile::tempdir().unwrap();
        let at = |name: &str| folder.path().join(name);
        let list = at("m.csv");
        let rows = "file,view,lens\na.mp4,face-on,own.json\nb.mp4,face-on,\nc.mp4,down-the-line,\n";
        std::fs::write(&list, rows).unwrap();
        std::fs::write(at("all.json"), LENS).unwrap();
        let file = at("all.json").display().to_string();
        let run = |lens: &[String], out: &str| {
            let mut seen = Vec::new();
            let lens = lens.to_vec();
            let said = measure_all(
                &BatchArgs { lens, ..args(&list, &at(out), None) },
                false,
                &mut |options| {
                    seen.push(options.clips()[0].lens.clone());
                    Ok(SwingResult::from_json(ROW).unwrap())
                },
            );
            (said, seen)
        };
        let one = [format!("face-on:{file}")];
        let all = Some(at("all.json"));
        assert_eq!(run(&one, "out").1, [Some(at("own.json")), all, None]);
        assert_eq!(run(&one, "out").1.len(), 0);
        std::fs::write(at("own.json"), "another calibration").unwrap();
        assert_eq!(run(&one, "out").1, [Some(at("own.json"))]);
        for wrong in [
            vec![at("none.json").display().to_string()],
            vec![list.display().to_string()],
            vec![String::new()],
            vec![file.clone(), file],
        ] {
            let said = run(&wrong, "wrong").0.unwrap_err();
            assert!(!said.to_string().contains('\n') && said.exit_code() == 2, "{said}");
            assert!(!at("wrong").exists());
        }
    }

    #[test]
    fn wrong_manifests_are_refused_with_one_line() {
        let folder = tempfile::tempdir().unwrap();
        let list = folder.path().join("m.csv");
        let count = Cell::new(0);
        for bad in ["a,b\n1,2\n", "pupil\nAnna\n", "file\n\"\"\n", "file,view\nx.mp4\n", "file\n"] {
            std::fs::write(&list, bad).unwrap();
            let said = measure_all(&args(&list, folder.path(), None), false, &mut counting(&count))
                .unwrap_err();
            assert!(!said.to_string().contains('\n'), "{said}");
        }
        for bad in ["0/2", "3/2", "x", "1/0", "/"] {
            let said =
                measure_all(&args(&list, folder.path(), Some(bad)), false, &mut counting(&count));
            assert!(matches!(said, Err(Error::Batch(BatchError::Shard(_)))), "{bad}");
        }
        std::fs::write(&list, "file,view\nx.mp4,sideways\n").unwrap();
        measure_all(&args(&list, folder.path(), None), false, &mut counting(&count)).unwrap();
        assert!(text(folder.path().join("failures.csv")).contains("sideways"));
        assert_eq!(count.get(), 0);
    }
}
