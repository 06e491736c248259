//! Pupils on record. In: what the coach types. Out: the record's rows, as JSON.

use std::sync::Arc;

use axum::Json;
use axum::extract::{Path, Query, State};
use serde::Deserialize;

use super::super::bench::{hand, height};
use super::super::reply::{Reply, Sent, aside};
use super::super::shown::{LessonShown, PupilPage};
use super::super::state::Page;
use crate::compare::Key;
use crate::record::{Point, Pupil};

pub async fn all(State(page): State<Arc<Page>>) -> Reply<Json<Vec<Pupil>>> {
    aside(move || Ok(Json(page.refresh_pupils()?))).await
}

/// What is typed about a pupil; what is not there stays.
#[derive(Debug, Default, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Typed {
    name: Option<String>,
    /// With its unit; empty: not known.
    stature: Option<String>,
    handed: Option<String>,
    minor: Option<bool>,
    keep_pictures: Option<bool>,
    notes: Option<String>,
}

impl Typed {
    fn onto(self, mut pupil: Pupil) -> Reply<Pupil> {
        pupil.name = self.name.unwrap_or(pupil.name).trim().to_owned();
        if let Some(text) = self.stature {
            pupil.stature_m = match text.trim() {
                "" => None,
                text => Some(height(text)?.0),
            };
        }
        if let Some(text) = self.handed {
            pupil.handed = hand(&text)?.unwrap_or_default();
        }
        pupil.minor = self.minor.unwrap_or(pupil.minor);
        pupil.keep_pictures = self.keep_pictures.unwrap_or(pupil.keep_pictures);
        pupil.notes = self.notes.unwrap_or(pupil.notes);
        Ok(pupil)
    }
}

pub async fn add(State(page): State<Arc<Page>>, Sent(typed): Sent<Typed>) -> Reply<Json<Pupil>> {
    aside(move || {
        let nobody = Pupil {
            name: String::new(),
            stature_m: None,
            handed: crate::frames::Handed::Right,
            minor: false,
            keep_pictures: false,
            notes: String::new(),
        };
        let pupil = typed.onto(nobody)?;
        page.library()?.add_pupil(&pupil)?;
        page.refresh_pupils()?;
        page.tell_bench();
        Ok(Json(pupil))
    })
    .await
}

pub async fn change(
    State(page): State<Arc<Page>>,
    Path(name): Path<String>,
    Sent(typed): Sent<Typed>,
) -> Reply<Json<Pupil>> {
    aside(move || {
        let mut library = page.library()?;
        let pupil = typed.onto(library.pupil(&name)?)?;
        library.change_pupil(&name, &pupil)?;
        page.refresh_pupils()?;
        super::super::bench::follow_pupil(&page, &name, &pupil)?;
        page.tell_bench();
        Ok(Json(pupil))
    })
    .await
}

/// Lessons are shown whole until so many swings are on the page: each is a result to be read, and
/// a pupil of many years has thousands. Older ones are a link away.
const SWINGS_SHOWN: i64 = 60;

/// Which lessons of a pupil.
#[derive(Debug, Default, Deserialize)]
pub struct Until {
    /// Of this day and before; all of them when not there.
    until: Option<String>,
}

/// A pupil with lessons, and swings of the record and of the bench.
pub fn pupil_page(page: &Page, name: &str, asked: &Until) -> Reply<PupilPage> {
    let library = page.library()?;
    let pupil = library.pupil(name)?;
    let mut all = library.lessons(&pupil.name)?;
    let has_history = all.iter().any(|lesson| lesson.swings > 0);
    let count = all.len();
    all.retain(|lesson| asked.until.as_ref().is_none_or(|until| lesson.date <= *until));
    let newer = all.len() < count;
    let (mut lessons, mut shown) = (Vec::new(), 0);
    while shown < SWINGS_SHOWN
        && let Some(lesson) = all.pop()
    {
        shown += lesson.swings;
        let recorded = library.swings(&pupil.name, None, Some(&lesson.date))?;
        lessons.push(LessonShown { lesson, recorded });
    }
    let own = |swing: &super::super::shown::SwingShown| {
        swing.pupil.as_deref().is_some_and(|name| name.eq_ignore_ascii_case(&pupil.name))
    };
    Ok(PupilPage {
        has_history,
        lessons,
        older: all.pop().map(|lesson| lesson.date),
        newer,
        swings: page.swings_shown().into_iter().filter(own).collect(),
        pupil,
    })
}

pub async fn one(
    State(page): State<Arc<Page>>,
    Path(name): Path<String>,
    Query(asked): Query<Until>,
) -> Reply<Json<PupilPage>> {
    aside(move || Ok(Json(pupil_page(&page, &name, &asked)?))).await
}

#[derive(Debug, Deserialize)]
pub struct Asked {
    pupil: String,
    key: String,
}

pub async fn history(
    State(page): State<Arc<Page>>,
    Query(asked): Query<Asked>,
) -> Reply<Json<Vec<Point>>> {
    aside(move || {
        let key: Key = asked.key.parse()?;
        Ok(Json(page.library()?.history(&asked.pupil, key)?))
    })
    .await
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frames::Handed;
    use crate::page::OpenOptions;
    use crate::record::{Keep, Library, NewSwing};
    use crate::results::SwingResult;

    /// Invented.
    fn result(number: usize) -> SwingResult {
        let text = format!(
            r#"{{"schema": "hubgauge.swing/1", "program": "test", "pupil": {{"handed": "right"}},
            "clips": [{{"view": "face-on", "file": "a.mp4", "sha256": "{number}", "frames": 2,
            "width": 720, "height": 1280, "first_s": 0.0, "last_s": 1.0, "time_scale": 1.0,
            "camera_motion": "still"}}], "scale": {{"method": "stature", "relative_sd": 0.03}},
            "events": {{}}, "measures": {{}}, "swing": {{}}}}"#
        );
        SwingResult::from_json(&text).unwrap()
    }

    #[test]
    fn a_page_shows_whole_lessons_and_the_way_to_older_ones() {
        let folder = tempfile::tempdir().unwrap();
        let mut library = Library::open(folder.path()).unwrap();
        let pupil = Pupil {
            name: "Anna (invented)".to_owned(),
            stature_m: None,
            handed: Handed::Right,
            minor: false,
            keep_pictures: false,
            notes: String::new(),
        };
        library.add_pupil(&pupil).unwrap();
        for (day, date) in ["2026-01-05", "2026-02-05", "2026-03-05"].into_iter().enumerate() {
            let lesson = library.lesson(&pupil.name, Some(date)).unwrap();
            let results: Vec<_> = (0..40).map(|i| result(100 * day + i)).collect();
            let said = NewSwing::default();
            let swings: Vec<_> = results.iter().map(|result| (&said, result)).collect();
            library.add_swings(lesson, &swings, Keep::Nothing).unwrap();
        }
        let options = OpenOptions {
            library: folder.path().to_owned(),
            port: 0,
            browser: false,
            watch: None,
            max_upload_bytes: 10,
        };
        let page = Page::new(options, String::new()).unwrap();
        let shown = |until: Option<&str>| {
            let asked = Until { until: until.map(str::to_owned) };
            let shown = pupil_page(&page, "anna (invented)", &asked).unwrap();
            assert!(shown.lessons.iter().all(|one| one.recorded.len() == 40));
            let days = shown.lessons.into_iter().map(|one| one.lesson.date);
            (days.collect::<Vec<_>>(), shown.older, shown.newer)
        };
        let newest = vec!["2026-03-05".to_owned(), "2026-02-05".to_owned()];
        let older = Some("2026-01-05".to_owned());
        assert_eq!(shown(None), (newest, older.clone(), false));
        assert_eq!(shown(older.as_deref()), (vec!["2026-01-05".to_owned()], None, true));
    }
}
