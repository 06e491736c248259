//! Charts and the sheet as a coach gets them: the PDF opens, its fonts are embedded, its text can
//! be taken out and has the numbers of swing.json; mistakes are told in one line.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use hubgauge::chart::Style;
use hubgauge::events::Event;
use hubgauge::geometry::Measure;
use hubgauge::results::{SwingResult, Unit};
use tempfile::TempDir;

fn hubgauge(arguments: &[&str], library: &Path) -> Output {
    Command::new(env!("CARGO_BIN_EXE_hubgauge"))
        .args(arguments)
        .env("XDG_DATA_HOME", library)
        .output()
        .unwrap()
}

fn tool(name: &str, arguments: &[&str]) -> String {
    let output = Command::new(name).args(arguments).output();
    let output = output.expect("the tests need poppler-utils (scripts/prepare)");
    assert!(output.status.success(), "{name}: {}", String::from_utf8_lossy(&output.stderr));
    String::from_utf8(output.stdout).unwrap()
}

/// What `measure --out` writes, from a kept result: series with one row at each event, plain
/// grey stills.
fn folder(work: &Path, name: &str, with_stills: bool) -> PathBuf {
    let kept = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/sheet");
    let text = fs::read_to_string(kept.join(format!("{name}.json"))).unwrap();
    let result = SwingResult::from_json(&text).unwrap();
    let out = work.join(name);
    fs::create_dir_all(out.join("stills")).unwrap();
    let measures = [Measure::LowerHubTarget, Measure::UpperHubTarget];
    let mut series = "time_s,lower_hub_target_cm,lower_hub_target_sd_cm,upper_hub_target_cm,upper_hub_target_sd_cm\n".to_owned();
    for (event, entry) in &result.events {
        let [a, b] = measures.map(|measure| result.known(*event, measure).unwrap());
        series += &format!("{},{},{},{},{}\n", entry.time_s, a.value, a.sd, b.value, b.sd);
    }
    fs::write(out.join("series.csv"), series).unwrap();
    if with_stills {
        let mut places = serde_json::Map::new();
        for event in ["address", "top"] {
            let file = format!("face-on_{event}.png");
            let picture = image::RgbImage::from_fn(360, 700, |x, _| {
                image::Rgb([if x % 2 == 0 { 200 } else { 60 }; 3])
            });
            picture.save(out.join("stills").join(&file)).unwrap();
            let place = serde_json::json!({
                "faces": [[0.4, 0.2, 0.6, 0.3]], "body": [0.3, 0.2, 0.7, 0.9], "hidden": false
            });
            places.insert(file, place);
        }
        let text = serde_json::to_string(&places).unwrap();
        fs::write(out.join("stills/places.json"), text).unwrap();
    }
    fs::write(out.join("swing.json"), text).unwrap();
    out
}

fn path(path: &Path) -> &str {
    path.to_str().unwrap()
}

#[test]
fn the_sheet_s_pdf_has_its_fonts_its_text_and_the_result_s_numbers() {
    let work = TempDir::new().unwrap();
    let (before, after) = (folder(work.path(), "before", true), folder(work.path(), "after", true));
    let out = work.path().join("sheet.pdf");
    let sheet = |out: &Path| {
        let output = hubgauge(
            &[
                "sheet",
                "--before",
                path(&before),
                "--after",
                path(&after),
                "--name",
                "Žofie Ångström Юлия",
                "--club",
                "7 iron",
                "--words",
                "Turn, do not slide.",
                "--task",
                "trail-hip-wall",
                "--blur-faces",
                "--invented",
                "--out",
                path(out),
            ],
            work.path(),
        );
        assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
        assert!(output.stderr.is_empty(), "{}", String::from_utf8_lossy(&output.stderr));
        fs::read(out).unwrap()
    };
    let bytes = sheet(&out);
    assert_eq!(bytes, sheet(&work.path().join("again.pdf")), "the same input gives the same bytes");
    let text = tool("pdftotext", &["-layout", path(&out), "-"]).replace('\u{a0}', " ");
    for part in ["Žofie Ångström Юлия", "7 iron", "Turn, do not slide.", "INVENTED", "no diagnosis"]
    {
        assert!(text.contains(part), "{part} in {text}");
    }
    for folder in [&before, &after] {
        let json = fs::read_to_string(folder.join("swing.json")).unwrap();
        let result = SwingResult::from_json(&json).unwrap();
        for measure in [Measure::LowerHubTarget, Measure::UpperHubTarget] {
            let known = result.known(Event::Top, measure).unwrap();
            let shown = Style::default().signed(known.value, 1);
            assert!(text.contains(&format!("{shown} cm")), "{shown} in {text}");
        }
    }
    let fonts = tool("pdffonts", &[path(&out)]);
    let rows: Vec<&str> = fonts.lines().skip(2).collect();
    assert_eq!(rows.len(), 2, "{fonts}");
    assert!(rows.iter().all(|row| row.contains("Inter") && row.contains("yes yes yes")), "{fonts}");
    let about = tool("pdfinfo", &[path(&out)]);
    assert!(about.contains("Pages:           1") && about.contains("A4"), "{about}");
    for hidden in ["Author", "CreationDate", "Keywords"] {
        assert!(!about.contains(hidden), "{about}");
    }
}

#[test]
fn the_ladder_is_written_in_three_forms_with_the_result_s_numbers() {
    let work = TempDir::new().unwrap();
    let before = folder(work.path(), "before", false);
    let after = folder(work.path(), "after", false);
    for ending in ["svg", "png", "pdf"] {
        let out = work.path().join(format!("ladder.{ending}"));
        let output = hubgauge(
            &["chart", path(&before), "--over", path(&after), "--out", path(&out)],
            work.path(),
        );
        assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    }
    let json = fs::read_to_string(before.join("swing.json")).unwrap();
    let known =
        SwingResult::from_json(&json).unwrap().known(Event::Impact, Measure::LowerHubTarget);
    let shown = Style::default().signed_plus_minus(known.unwrap(), Unit::Cm);
    let svg = fs::read_to_string(work.path().join("ladder.svg")).unwrap();
    assert!(svg.contains(&format!(">{shown}<")), "{shown}");
    let text = tool("pdftotext", &["-layout", path(&work.path().join("ladder.pdf")), "-"]);
    assert!(text.contains(&shown), "{shown} in {text}");
    assert_eq!(image::open(work.path().join("ladder.png")).unwrap().width(), 1440);
}

#[test]
fn mistakes_are_told_in_one_line_and_nothing_is_written() {
    let work = TempDir::new().unwrap();
    let before = folder(work.path(), "before", true);
    let blind = folder(work.path(), "after", true);
    fs::remove_file(blind.join("stills/places.json")).unwrap();
    let out = work.path().join("x.pdf");
    let long = "x".repeat(201);
    for (arguments, code, said) in [
        (vec!["chart", path(&before), "--out", "x.gif"], 2, ".svg, .png or .pdf"),
        (vec!["chart", "/nowhere", "--out", path(&out)], 1, "swing.json"),
        (vec!["chart", path(&before), "--kind", "differences", "--out", path(&out)], 2, "--over"),
        (vec!["sheet", "--before", path(&before), "--out", "x.svg"], 2, ".pdf or .png"),
        (
            vec!["sheet", "--before", path(&before), "--task", "no", "--out", path(&out)],
            2,
            "trail-hip-wall",
        ),
        (
            vec!["sheet", "--before", path(&before), "--name", &long, "--out", path(&out)],
            2,
            "too long",
        ),
        (vec!["sheet", "--before", path(&blind), "--blur-faces", "--out", path(&out)], 1, "faces"),
    ] {
        let output = hubgauge(&arguments, work.path());
        let error = String::from_utf8(output.stderr).unwrap();
        assert_eq!(output.status.code(), Some(code), "{arguments:?}: {error}");
        assert_eq!(error.lines().count(), 1, "{error}");
        assert!(error.contains(said), "{said} in {error}");
        assert!(!out.exists());
    }
}

#[test]
fn the_coach_s_own_tasks_are_used_and_a_wrong_line_is_told() {
    let work = TempDir::new().unwrap();
    let printed = |arguments: &[&str]| {
        let output = hubgauge(arguments, work.path());
        (
            output.status.success(),
            String::from_utf8(output.stdout).unwrap(),
            String::from_utf8(output.stderr).unwrap(),
        )
    };
    let (fine, text, _) = printed(&["tasks"]);
    assert!(fine && text.contains("[trail-hip-wall]") && text.contains("--edit"), "{text}");
    let (fine, text, _) = printed(&["tasks", "--edit"]);
    let own = work.path().join("hubgauge/tasks.txt");
    assert!(fine && text.contains(own.to_str().unwrap()) && own.is_file(), "{text}");
    fs::write(&own, "[mine]\ntitle: Mine\nmoves: top.lower_hub_target sideways\n").unwrap();
    let (fine, _, error) = printed(&["tasks"]);
    assert!(!fine && error.contains("line 3") && error.lines().count() == 1, "{error}");
    let (fine, _, _) = printed(&["tasks", "--edit"]);
    assert!(!fine && fs::read_to_string(&own).unwrap().contains("sideways"), "never overwritten");
}
