//! What the coach prefers. In: changes. Out: the settings, kept.

use std::path::Path;
use std::sync::Arc;

use axum::Json;
use axum::extract::State;
use serde::Deserialize;

use super::super::reply::{Refusal, Reply, Sent, aside};
use super::super::shown::{DateFormat, Decimal, Settings, Units};
use super::super::state::Page;
use super::super::{measured, tasks};

pub async fn all(State(page): State<Arc<Page>>) -> Json<Settings> {
    Json(page.look(|w| w.settings.clone()))
}

/// What is not there stays.
#[derive(Debug, Default, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Change {
    units: Option<Units>,
    decimal: Option<Decimal>,
    date_format: Option<DateFormat>,
    blur: Option<bool>,
    watched: Option<String>,
    paper: Option<String>,
}

impl Change {
    fn onto(self, mut settings: Settings) -> Reply<Settings> {
        settings.units = self.units.unwrap_or(settings.units);
        settings.decimal = self.decimal.unwrap_or(settings.decimal);
        settings.date_format = self.date_format.unwrap_or(settings.date_format);
        settings.blur = self.blur.unwrap_or(settings.blur);
        if let Some(folder) = self.watched {
            settings.watched = folder_or_none(folder.trim())?;
        }
        if let Some(paper) = self.paper {
            if !["a4", "letter"].contains(&paper.as_str()) {
                return Err(Refusal::wrong("the paper is a4 or letter"));
            }
            settings.paper = paper;
        }
        Ok(settings)
    }
}

fn folder_or_none(text: &str) -> Reply<String> {
    let folder = Path::new(text);
    if text.is_empty() || (folder.is_absolute() && folder.is_dir()) {
        return Ok(text.to_owned());
    }
    let shown: String = text.chars().filter(|c| !c.is_control()).take(200).collect();
    Err(Refusal::wrong(format!(
        "\"{shown}\" is no folder on this machine: write the whole path, from the root"
    )))
}

pub async fn change(
    State(page): State<Arc<Page>>,
    Sent(wish): Sent<Change>,
) -> Reply<Json<Settings>> {
    aside(move || {
        let (settings, before) = (wish.onto(page.look(|w| w.settings.clone()))?, page.style());
        page.change(|w| w.keep_settings(settings.clone()))?;
        if page.style() != before {
            measured::tell_again(&page)?;
        }
        page.tell_bench();
        Ok(Json(settings))
    })
    .await
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Tasks {
    text: String,
}

/// The practice tasks' file as the coach wrote it.
pub async fn tasks(
    State(page): State<Arc<Page>>,
    Sent(wish): Sent<Tasks>,
) -> Reply<Json<serde_json::Value>> {
    aside(move || {
        let text = tasks::keep(&page, &wish.text)?;
        Ok(Json(serde_json::json!({ "text": text })))
    })
    .await
}
