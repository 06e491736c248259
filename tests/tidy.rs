//! Keeps the house in order: direction of imports, the top level, lengths, no panics outside
//! tests, licences of what is linked.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

/// The stages in data order, as in lib.rs.
const STAGES: [&str; 11] = [
    "decode",
    "keypoints",
    "track",
    "lift",
    "events",
    "calibration",
    "geometry",
    "results",
    "compare",
    "stills",
    "record",
];
/// Below every stage.
const BASE: [&str; 5] = ["units", "frames", "body", "warning", "signal"];
const TOP_LEVEL: [&str; 9] = [
    "Cargo.lock",
    "Cargo.toml",
    "DEVELOPERS.md",
    "LICENSE",
    "README.md",
    "fixtures",
    "models",
    "scripts",
    "src",
];
const FILE_LINES: usize = 400;
const FUNCTION_LINES: usize = 60;

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// Every Rust file below `folder` that is not tests only, with its text.
fn sources(folder: &Path) -> Vec<(PathBuf, String)> {
    let mut all = Vec::new();
    collect(folder, &mut all);
    let tests_only: Vec<PathBuf> =
        all.iter().flat_map(|(path, text)| test_modules(path, text)).collect();
    // A test module is one file, or a folder with its own modules.
    all.retain(|(path, _)| {
        !tests_only.iter().any(|file| path == file || path.starts_with(file.with_extension("")))
    });
    all
}

fn collect(folder: &Path, found: &mut Vec<(PathBuf, String)>) {
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            collect(&path, found);
        } else if path.extension().is_some_and(|e| e == "rs") {
            let text = fs::read_to_string(&path).unwrap();
            found.push((path, text));
        }
    }
}

/// The files of modules that a file declares for tests only: beside a `mod.rs`, below any other.
fn test_modules(path: &Path, text: &str) -> Vec<PathBuf> {
    let crowns = ["mod.rs", "lib.rs", "main.rs"].map(|name| path.with_file_name(name));
    let folder = if crowns.iter().any(|crown| crown == path) {
        path.parent().unwrap().to_owned()
    } else {
        path.with_extension("")
    };
    let lines: Vec<&str> = text.lines().collect();
    let declared = lines.windows(2).filter(|pair| pair[0] == "#[cfg(test)]").filter_map(|pair| {
        let name = pair[1].strip_suffix(';')?.split_whitespace().last()?;
        Some(folder.join(format!("{name}.rs")))
    });
    declared.collect()
}

/// The lines before the unit tests.
fn before_tests(text: &str) -> Vec<&str> {
    let lines: Vec<&str> = text.lines().collect();
    let tests = |pair: &[&str]| pair[0] == "#[cfg(test)]" && pair[1].ends_with('{');
    let end = lines.windows(2).position(tests).unwrap_or(lines.len());
    lines[..end].to_vec()
}

/// The numbered lines before the unit tests, without comments.
fn code(text: &str) -> impl Iterator<Item = (usize, &str)> {
    let lines = before_tests(text).into_iter().enumerate();
    lines.filter(|(_, line)| !line.trim_start().starts_with("//")).map(|(i, line)| (i + 1, line))
}

/// The stage a file belongs to.
fn stage_of(path: &Path) -> Option<usize> {
    let inside = path.strip_prefix(root().join("src")).ok()?;
    let first = inside.components().next()?.as_os_str().to_str()?;
    STAGES.iter().position(|s| *s == first.trim_end_matches(".rs"))
}

/// What follows each `crate::` in a text, up to the end of the path or of its braces.
fn crate_paths(code: &str) -> Vec<String> {
    let ends = |c: char| !(c.is_alphanumeric() || "_:".contains(c));
    code.match_indices("crate::")
        .filter(|(at, _)| {
            *at == 0 || !code[..*at].ends_with(|c: char| c.is_alphanumeric() || c == '_')
        })
        .map(|(at, start)| {
            let rest = &code[at + start.len()..];
            let path = &rest[..rest.find(ends).unwrap_or(rest.len())];
            match rest[path.len()..].strip_prefix('{') {
                Some(group) => format!("{path}{{{}", &group[..group.find("};").unwrap_or(0)]),
                None => path.to_owned(),
            }
        })
        .collect()
}

/// Why stage number `stage` may not use `path` (without its `crate::`).
fn wrong_import(stage: usize, path: &str) -> Option<String> {
    let (first, rest) = path.split_once("::").unwrap_or((path, ""));
    if first.starts_with('{') {
        return Some("write one `use crate::module` for each module".to_owned());
    }
    if BASE.contains(&first) || first == STAGES[stage] {
        return None;
    }
    let Some(other) = STAGES.iter().position(|s| *s == first) else {
        return Some(format!("`{first}` is no stage"));
    };
    if other > stage {
        return Some(format!("`{first}` is a later stage"));
    }
    let names = rest.trim_matches(['{', '}']).split(',').map(str::trim).filter(|n| !n.is_empty());
    // `self` is fine: what is taken through it is looked at by `through_module`.
    let type_like = |name: &str| name == "self" || name.starts_with(|c: char| c.is_uppercase());
    let bad = names.filter(|name| !type_like(name)).map(str::to_owned).next();
    bad.map(|name| format!("`{first}::{name}` is not a type at the root of its stage"))
}

/// What is taken from another stage as `stage::name` and is no type.
fn through_module(stage: usize, code: &str) -> Vec<String> {
    let others = STAGES.iter().enumerate().filter(|(i, _)| *i != stage);
    let found = others.flat_map(|(_, name)| {
        let start = format!("{name}::");
        let inside = |c: char| c.is_alphanumeric() || c == '_' || c == ':';
        let places: Vec<usize> = code.match_indices(&start).map(|(at, _)| at).collect();
        places.into_iter().filter_map(move |at| {
            let rest = &code[at + start.len()..];
            let bad = !code[..at].ends_with(inside) && rest.starts_with(char::is_lowercase);
            bad.then(|| {
                format!("`{start}{}`", rest.split(['(', '<', ' ', ';']).next().unwrap_or(""))
            })
        })
    });
    found.collect()
}

#[test]
fn stages_use_only_types_of_earlier_stages() {
    let mut wrong = Vec::new();
    for (path, text) in sources(&root().join("src")) {
        let Some(stage) = stage_of(&path) else { continue };
        let body: String = code(&text).map(|(_, line)| format!("{line}\n")).collect();
        for import in crate_paths(&body) {
            if let Some(why) = wrong_import(stage, &import) {
                wrong.push(format!("{}: {why}", path.display()));
            }
        }
        for call in through_module(stage, &body) {
            wrong.push(format!("{}: {call} is not a type", path.display()));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn the_import_rule_itself_can_fail() {
    let track = STAGES.iter().position(|s| *s == "track").unwrap();
    for fine in
        ["frames::Pixel", "keypoints::{Landmark, Roi}", "decode::Clock", "track::smooth::filter"]
    {
        assert_eq!(wrong_import(track, fine), None, "{fine}");
    }
    for wrong in [
        "keypoints::tensor::Tensor",
        "keypoints::find",
        "keypoints::{Landmark, find}",
        "events::Event",
        "run::measure",
        "options::Options",
        "{frames, track}",
    ] {
        assert!(wrong_import(track, wrong).is_some(), "{wrong}");
    }
    assert_eq!(through_module(track, "let v = decode::View::FaceOn;"), Vec::<String>::new());
    assert_eq!(through_module(track, "decode::probe(path)"), ["`decode::probe`"]);
    let found = crate_paths("use crate::a::{B,\n c};\nfn f() -> crate::d::E<F> {}");
    assert_eq!(found, ["a::{B,\n c", "d::E"]);
}

#[test]
fn the_stage_list_is_that_of_the_library() {
    let lib = fs::read_to_string(root().join("src/lib.rs")).unwrap();
    let listed: Vec<&str> = lib
        .lines()
        .filter_map(|l| l.strip_prefix("pub mod ")?.strip_suffix(';'))
        .filter(|m| STAGES.contains(m))
        .collect();
    assert_eq!(listed, STAGES);
}

#[test]
fn the_top_level_holds_only_what_is_agreed() {
    for entry in fs::read_dir(root()).unwrap() {
        let name = entry.unwrap().file_name().into_string().unwrap();
        let local = ["target", "out", "tests"].contains(&name.as_str()) || name.starts_with('.');
        assert!(local || TOP_LEVEL.contains(&name.as_str()), "{name} does not belong here");
    }
}

#[test]
fn files_and_functions_are_short() {
    let mut long = Vec::new();
    for (path, text) in sources(&root().join("src")) {
        let lines = before_tests(&text).len();
        if lines > FILE_LINES {
            long.push(format!("{}: {lines} lines before its tests", path.display()));
        }
        for (line, length) in functions(&text) {
            if length > FUNCTION_LINES {
                long.push(format!("{}:{line}: a function of {length} lines", path.display()));
            }
        }
    }
    assert!(long.is_empty(), "{}", long.join("\n"));
}

/// First line and length of each function of formatted code before the tests.
fn functions(text: &str) -> Vec<(usize, usize)> {
    let lines: Vec<(usize, &str)> = code(text).collect();
    let is_function = |line: &str| {
        let words = line.split('(').next().unwrap_or(line);
        words.split_whitespace().any(|w| w == "fn")
            && line.trim_start().starts_with(['p', 'f', 'c', 'u', 'a', 'e'])
    };
    let mut found = Vec::new();
    for (i, (number, line)) in lines.iter().enumerate() {
        if !is_function(line) || line.ends_with(';') {
            continue;
        }
        let indent = &line[..line.len() - line.trim_start().len()];
        let close = format!("{indent}}}");
        if let Some((end, _)) = lines[i..].iter().find(|(_, l)| *l == close) {
            found.push((*number, end - number + 1));
        }
    }
    found
}

#[test]
fn nothing_panics_on_purpose_outside_tests() {
    let mut found = Vec::new();
    for (path, text) in sources(&root().join("src")) {
        for (number, line) in code(&text) {
            for word in [".unwrap()", ".expect(", "panic!(", "todo!(", "unimplemented!(", "dbg!("] {
                if line.contains(word) {
                    found.push(format!("{}:{number}: {word}", path.display()));
                }
            }
        }
    }
    assert!(found.is_empty(), "{}", found.join("\n"));
}

#[test]
fn unsafe_code_stays_in_one_file_of_decode() {
    let with: Vec<PathBuf> = sources(&root().join("src"))
        .into_iter()
        .filter(|(_, text)| {
            code(text).any(|(_, l)| l.contains("unsafe {") || l.contains("unsafe fn"))
        })
        .map(|(path, _)| path)
        .collect();
    assert!(with.len() <= 1, "{with:?}");
    assert!(with.iter().all(|p| p.starts_with(root().join("src/decode"))), "{with:?}");
}

#[test]
fn every_file_says_what_it_is_for() {
    for (path, text) in sources(&root().join("src")) {
        assert!(text.starts_with("//!"), "{} does not start with //!", path.display());
    }
}

#[test]
fn the_readme_starts_with_the_job() {
    let readme = fs::read_to_string(root().join("README.md")).unwrap();
    let mut blocks = readme.split("\n\n");
    assert_eq!(blocks.next(), Some("# hubgauge"));
    let job = blocks.next().unwrap();
    assert!(job.starts_with(char::is_alphabetic) && job.len() > 200, "{job}");
}

/// Whether an SPDX expression can be met with the licences allowed.
fn allowed(expression: &str, allow: &[String]) -> bool {
    let bare = expression.replace(['(', ')'], "");
    let all = |text: &str| text.split(" AND ").all(|one| allow.iter().any(|a| a == one.trim()));
    if expression.contains('(') {
        // Only one shape is in use: (A OR B) AND C, so every AND part must have an allowed OR part.
        return bare.split(" AND ").all(|part| part.split(" OR ").any(all));
    }
    bare.replace('/', " OR ").split(" OR ").any(all)
}

fn allow_list() -> Vec<String> {
    let text = fs::read_to_string(root().join(".deny.toml")).unwrap();
    let (_, rest) = text.split_once("allow = [").unwrap();
    let (list, _) = rest.split_once(']').unwrap();
    list.split(',')
        .map(|item| item.trim().trim_matches('"').to_owned())
        .filter(|i| !i.is_empty())
        .collect()
}

#[test]
fn licence_expressions_are_read() {
    let allow = ["MIT".to_owned(), "Unicode-3.0".to_owned()];
    for fine in ["MIT", "GPL-3.0 OR MIT", "Unlicense/MIT", "(MIT OR Apache-2.0) AND Unicode-3.0"] {
        assert!(allowed(fine, &allow), "{fine}");
    }
    for not in ["GPL-3.0", "MIT AND GPL-3.0", "(GPL-3.0 OR AGPL-3.0) AND MIT", ""] {
        assert!(!allowed(not, &allow), "{not}");
    }
}

#[test]
fn everything_linked_has_an_allowed_licence() {
    let rustc = Command::new("rustc").arg("-vV").output().unwrap();
    let version = String::from_utf8(rustc.stdout).unwrap();
    let host = version.lines().find_map(|l| l.strip_prefix("host: ")).unwrap();
    let cargo = Command::new(env!("CARGO"))
        .args([
            "metadata",
            "--offline",
            "--locked",
            "--format-version",
            "1",
            "--filter-platform",
            host,
        ])
        .current_dir(root())
        .output()
        .unwrap();
    assert!(cargo.status.success(), "{}", String::from_utf8_lossy(&cargo.stderr));
    let metadata: serde_json::Value = serde_json::from_slice(&cargo.stdout).unwrap();
    let packages = metadata["packages"].as_array().unwrap();
    assert!(packages.len() > 50);
    let allow = allow_list();
    let wrong: Vec<String> = packages
        .iter()
        .filter(|p| !allowed(p["license"].as_str().unwrap_or(""), &allow))
        .map(|p| format!("{} {}", p["name"], p["license"]))
        .collect();
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}
