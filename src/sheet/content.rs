//! What a sheet says about results. In: one or two results with their series and names, the
//! comparison. Out: the parts of [`SheetInput`](super::SheetInput) that come from numbers.

use std::collections::BTreeSet;

use crate::chart::{Difference, LadderInput, Style};
use crate::compare::{Comparison, Scatter};
use crate::events::Event;
use crate::geometry::Measure;
use crate::results::{self, Series, SwingResult, Unit, Value, measure_name};

/// One swing.
#[derive(Clone, Copy, Debug)]
pub struct SwingPart<'a> {
    /// `before`, `after` or what the coach calls it.
    pub name: &'a str,
    pub result: &'a SwingResult,
    pub series: &'a Series,
}

impl<'a> SwingPart<'a> {
    fn all(self) -> (&'a str, &'a SwingResult, &'a Series) {
        (self.name, self.result, self.series)
    }
}

/// A row of the table of one swing: name, value at the top, value at impact.
pub type ValueRow = [String; 3];

/// Rows at the top and at impact.
const ROWS: [Measure; 10] = [
    Measure::LowerHubTarget,
    Measure::UpperHubTarget,
    Measure::LowerHubBall,
    Measure::UpperHubBall,
    Measure::SpineTilt,
    Measure::ForwardBend,
    Measure::PelvisTurn,
    Measure::ThoraxTurn,
    Measure::Separation,
    Measure::LeadArm,
];

/// Everything that numbers say.
#[derive(Clone, Debug, PartialEq, Default)]
pub struct Content {
    pub answers: Vec<(String, String)>,
    pub ladder: Option<LadderInput>,
    pub differences: Vec<Difference>,
    pub values: Vec<ValueRow>,
    pub remarks: Vec<String>,
    pub made: Vec<String>,
    /// Why something that was asked for is not there.
    pub warnings: Vec<String>,
}

impl Content {
    #[must_use]
    pub fn new(
        before: SwingPart<'_>,
        after: Option<SwingPart<'_>>,
        comparison: Option<&Comparison>,
        style: Style,
    ) -> Self {
        let swings: Vec<SwingPart<'_>> = std::iter::once(before).chain(after).collect();
        let answer = |swing: &SwingPart<'_>| {
            (swing.name.to_owned(), results::answer_in(swing.result, style))
        };
        let mut content = Self {
            answers: swings.iter().map(answer).collect(),
            made: made(&swings, style),
            ..Self::default()
        };
        match LadderInput::new(before.all(), after.map(SwingPart::all), style, 0.0) {
            Ok(ladder) => content.ladder = Some(ladder),
            Err(error) => content.warnings.push(error.to_string()),
        }
        match comparison {
            Some(comparison) => {
                content.differences = comparison.lines.iter().map(Difference::new).collect();
                content.remarks = remarks(comparison);
            }
            None if after.is_none() => {
                content.values = values(before.result, style);
                content.remarks = missing(before.result);
            }
            None => {}
        }
        content
    }
}

fn remarks(comparison: &Comparison) -> Vec<String> {
    let mut said = Vec::new();
    let scatter = comparison.lines.first().map(|line| line.change.scatter);
    if scatter == Some(Scatter::Unknown) {
        said.push(
            "One swing a side: the intervals hold the error of measuring, not how much the pupil \
             differs from swing to swing."
                .to_owned(),
        );
    }
    if comparison.looked_at > 1 {
        said.push(format!(
            "{} values were looked at together; the verdicts account for it.",
            comparison.looked_at
        ));
    }
    for absent in &comparison.missing {
        let name = crate::chart::value_name(absent.key);
        said.push(format!("{name}: not compared ({}).", absent.reason));
    }
    said
}

fn values(result: &SwingResult, style: Style) -> Vec<ValueRow> {
    let shown = |event: Event, measure: Measure| {
        let unit = if measure.is_length() { Unit::Cm } else { Unit::Deg };
        result
            .known(event, measure)
            .map(|known| format!("{}{}", style.signed_plus_minus(known, unit), style.suffix(unit)))
    };
    let row = |measure: Measure| {
        let both = [Event::Top, Event::Impact].map(|event| shown(event, measure));
        let [top, impact] = both;
        (top.is_some() || impact.is_some()).then(|| {
            let or_none = |text: Option<String>| text.unwrap_or_else(|| "-".to_owned());
            [measure_name(measure).to_owned(), or_none(top), or_none(impact)]
        })
    };
    ROWS.into_iter().filter_map(row).collect()
}

/// The reasons why rows are missing, each once.
fn missing(result: &SwingResult) -> Vec<String> {
    let at =
        [Event::Top, Event::Impact].into_iter().filter_map(|event| result.measures.get(&event));
    let reasons: BTreeSet<&str> = at
        .flat_map(|all| ROWS.iter().filter_map(|measure| all.get(measure)))
        .filter_map(|value| match value {
            Value::Missing { missing } => Some(missing.as_str()),
            Value::Known { .. } => None,
        })
        .collect();
    reasons.into_iter().map(|reason| format!("Not measured (-): {reason}.")).collect()
}

/// How the numbers came about, and with which program.
fn made(swings: &[SwingPart<'_>], style: Style) -> Vec<String> {
    let mut said: Vec<String> = Vec::new();
    for swing in swings {
        let clips = swing.result.clips.iter().map(|clip| {
            let rate = clip.capture_fps().map(|fps| format!(" at {fps:.0} frames a second"));
            format!("{}{}", clip.view.name(), rate.unwrap_or_default())
        });
        let from = results::scale_words(swing.result.scale.method);
        let clips: Vec<String> = clips.collect();
        let text = format!(
            "Filmed {}; scale from {from}, ± {} %; measured with {}.",
            clips.join(" and "),
            style.number(100.0 * swing.result.scale.relative_sd, 1),
            swing.result.program
        );
        if !said.contains(&text) {
            said.push(text);
        }
    }
    if said.len() > 1 {
        for (text, swing) in said.iter_mut().zip(swings) {
            *text = format!("{}: {text}", results::capitalised(swing.name));
        }
    }
    said
}
