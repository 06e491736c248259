//! What goes to the pupil: stills, the slow-motion clip, the sheet. In: names of swings, how it is
//! to look. Out: pictures, a clip, PDF; the same that the command line makes.

use std::sync::Arc;

use axum::extract::{Path, Query, State};
use axum::http::header;
use axum::response::{IntoResponse, Response};
use serde::Deserialize;

use super::super::measured::measured;
use super::super::reply::{Refusal, Reply, aside};
use super::super::shown::SwingShown;
use super::super::state::{Page, held};
use super::super::{media, picture, sheet};
use super::swings::named;
use crate::error::chain;
use crate::run::Look;
use crate::run::pictures::{PHONE, Wish, still};
use crate::run::short_clip::short_clip;

#[derive(Debug, Deserialize)]
pub struct Asked {
    /// `phone`, or as filmed.
    size: Option<String>,
    /// `1` or `0`; else as set, and for a minor hidden.
    blur: Option<String>,
    view: Option<String>,
}

/// Faces are hidden where asked; unasked, where the settings say so or the pupil is a minor.
pub fn hides(page: &Page, swing: &SwingShown, asked: Option<&str>) -> bool {
    match asked {
        Some("1" | "true" | "on") => true,
        Some("0" | "false" | "off") => false,
        _ => swing.minor || page.look(|w| w.settings.blur),
    }
}

fn shown(page: &Page, id: &str) -> Reply<SwingShown> {
    page.swing_shown(id).ok_or_else(|| Refusal::missing("swing"))
}

pub async fn one_still(
    State(page): State<Arc<Page>>,
    Path((id, file)): Path<(String, String)>,
    Query(asked): Query<Asked>,
) -> Reply<Response> {
    aside(move || {
        let missing = || Refusal::missing("still");
        let (name, ending) = file.rsplit_once('.').ok_or_else(missing)?;
        let (view, moment) = Wish::named(name).ok_or_else(missing)?;
        let swing = shown(&page, &id)?;
        let look =
            Look { blur_faces: hides(&page, &swing, asked.blur.as_deref()), ..Look::default() };
        let longest = (asked.size.as_deref() == Some("phone")).then_some(PHONE);
        let measured = measured(&page, &id)?;
        let drawn = still(&measured.measurement, &Wish { view, moment, look, longest })
            .map_err(|e| Refusal::conflict(chain(&e)))?
            .ok_or_else(missing)?;
        let (mime, bytes) = match ending {
            "jpg" => ("image/jpeg", picture::jpeg(&drawn)?),
            "png" => ("image/png", picture::png(&drawn)?),
            _ => return Err(missing()),
        };
        Ok(([(header::CONTENT_TYPE, mime)], bytes).into_response())
    })
    .await
}

pub async fn clip(
    State(page): State<Arc<Page>>,
    Path(id): Path<String>,
    Query(asked): Query<Asked>,
    headers: axum::http::HeaderMap,
) -> Reply<Response> {
    aside(move || {
        let swing = shown(&page, &id)?;
        let view = match asked.view.as_deref() {
            Some(name) => named(name)?,
            None => *swing.clips.keys().next().ok_or_else(|| Refusal::missing("clip"))?,
        };
        let look =
            Look { blur_faces: hides(&page, &swing, asked.blur.as_deref()), ..Look::default() };
        let measured = measured(&page, &id)?;
        // Players ask for one piece after the other: it is made once.
        let name = format!("{}/{}/{}/{:p}", swing.id, view.name(), look.blur_faces, &*measured);
        let _one = held(&page.filming);
        let known = held(&page.short_clips).get(&name);
        let made = match known {
            Some(made) => made,
            None => {
                let made = short_clip(&measured.measurement, view, look)
                    .map_err(|e| Refusal::conflict(chain(&e)))?
                    .ok_or_else(|| Refusal::missing("view of this swing"))?;
                let made = Arc::new(made);
                held(&page.short_clips).put(&name, Arc::clone(&made));
                made
            }
        };
        let mime = if made.ending == "mp4" { "video/mp4" } else { "video/webm" };
        Ok(media::part(&headers, mime, &made.bytes))
    })
    .await
}

#[derive(Debug, Deserialize)]
pub struct SheetAsked {
    after: String,
    before: Option<String>,
    paper: Option<String>,
    format: Option<String>,
    blur: Option<String>,
    #[serde(default)]
    same_setup: bool,
    words: Option<String>,
    /// Names of tasks, with commas between them.
    tasks: Option<String>,
}

pub async fn one_sheet(
    State(page): State<Arc<Page>>,
    Query(asked): Query<SheetAsked>,
) -> Reply<Response> {
    aside(move || {
        let after = shown(&page, &asked.after)?;
        let before = asked.before.as_deref().filter(|id| !id.is_empty());
        let before = before.map(|id| shown(&page, id)).transpose()?;
        let minor = before.as_ref().is_some_and(|swing| swing.minor);
        let wish = sheet::Wish {
            hide: hides(&page, &after, asked.blur.as_deref())
                || (minor
                    && hides(&page, before.as_ref().unwrap_or(&after), asked.blur.as_deref())),
            same_setup: asked.same_setup,
            paper: asked.paper,
            words: asked.words,
            tasks: asked.tasks.map(|ids| ids.split(',').map(str::to_owned).collect()),
            before,
            after,
        };
        let (mime, bytes) = match asked.format.as_deref() {
            None | Some("pdf") => ("application/pdf", sheet::pdf(&page, &wish)?),
            Some("png") => ("image/png", sheet::png(&page, &wish)?),
            Some(_) => return Err(Refusal::wrong("the sheet is pdf or png")),
        };
        Ok(([(header::CONTENT_TYPE, mime)], bytes).into_response())
    })
    .await
}
