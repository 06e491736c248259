//! Before against after, for swings of the bench. In: their names. Out: the comparison that the
//! command line makes of the same results.

use std::sync::Arc;

use axum::Json;
use axum::extract::{Query, State};
use serde::Deserialize;

use super::super::measured;
use super::super::reply::{Refusal, Reply, aside};
use super::super::shown::ComparePage;
use super::super::state::Page;
use crate::compare::{self, Comparison, Question, Swing};
use crate::results::SwingResult;

/// Names of swings, with commas between them.
#[derive(Debug, Default, Deserialize)]
pub struct Sides {
    #[serde(default)]
    before: String,
    #[serde(default)]
    after: String,
    /// The camera stood where it stood.
    #[serde(default)]
    same_setup: bool,
}

/// More swings than a lesson has on one side.
const MOST: usize = 50;

pub async fn compare(
    State(page): State<Arc<Page>>,
    Query(sides): Query<Sides>,
) -> Reply<Json<Comparison>> {
    aside(move || Ok(Json(compared(&page, &sides)?))).await
}

/// Both sides, and the comparison or why there is none.
pub fn compare_page(page: &Page, sides: &Sides) -> ComparePage {
    let shown = |ids: &str| names(ids).filter_map(|id| page.swing_shown(id)).collect::<Vec<_>>();
    let (before, after) = (shown(&sides.before), shown(&sides.after));
    let chosen = !before.is_empty() && !after.is_empty();
    let (comparison, message) = match chosen.then(|| compared(page, sides)) {
        None => (None, None),
        Some(Ok(comparison)) => (Some(comparison), None),
        Some(Err(refusal)) => (None, Some(refusal.message)),
    };
    let (swings, same_setup) = (page.swings_shown(), sides.same_setup);
    ComparePage { before, after, swings, comparison, message, same_setup }
}

fn names(ids: &str) -> impl Iterator<Item = &str> {
    ids.split(',').map(str::trim).filter(|id| !id.is_empty())
}

fn compared(page: &Page, sides: &Sides) -> Reply<Comparison> {
    let (before, after) = (side(page, &sides.before)?, side(page, &sides.after)?);
    let mut question = Question::hubs();
    question.same_setup = sides.same_setup;
    Ok(compare::compare(&swings(&before), &swings(&after), &question)?)
}

fn side(page: &Page, ids: &str) -> Reply<Vec<(String, SwingResult)>> {
    if names(ids).count() > MOST {
        let said = format!("{MOST} swings on one side are the most: choose fewer");
        return Err(Refusal::wrong(said));
    }
    names(ids)
        .map(|id| {
            let shown = page.swing_shown(id).ok_or_else(|| Refusal::missing("swing"))?;
            let not_yet = || Refusal::conflict("a swing of this comparison has no numbers yet");
            let result = measured::result(page, id).ok_or_else(not_yet)?;
            let label = if shown.label.is_empty() { shown.id } else { shown.label };
            Ok((label, result))
        })
        .collect()
}

fn swings(side: &[(String, SwingResult)]) -> Vec<Swing<'_>> {
    side.iter().map(|(label, result)| Swing { label, result }).collect()
}
