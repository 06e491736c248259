//! The hub ladder: time runs down, travel along one axis goes across, the two hubs are two lines
//! with a band for their error, and a rung joins them at every event. A second swing can be laid
//! over it, dashed, with its events brought to the heights of the first one's.
//!
//! In: [`LadderInput`], from a result and its series. Out: a [`super::Drawing`]. Values are those
//! of the files: rungs stand at the result's values, lines at the series'.

mod draw;
mod frame;
mod rows;
#[cfg(test)]
pub(crate) mod tests;

use std::collections::BTreeMap;

use super::hub::Hub;
use super::{ChartError, Style};
use crate::events::Event;
use crate::geometry::Measure;
use crate::results::{Series, SwingResult};
use crate::units::Estimate;

pub use draw::ladder;

/// The axis that goes across.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Line {
    Target,
    Ball,
}

impl Line {
    #[must_use]
    pub fn measures(self) -> [Measure; 2] {
        match self {
            Self::Target => [Measure::LowerHubTarget, Measure::UpperHubTarget],
            Self::Ball => [Measure::LowerHubBall, Measure::UpperHubBall],
        }
    }

    /// `target` or `ball`.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Target => "target",
            Self::Ball => "ball",
        }
    }

    /// The axis that a swing can be drawn along: the target line, or else to and from the ball.
    #[must_use]
    pub fn of(result: &SwingResult) -> Option<Self> {
        let known = |line: &Self| {
            Event::ALL
                .into_iter()
                .any(|event| line.measures().iter().any(|m| result.known(event, *m).is_some()))
        };
        [Self::Target, Self::Ball].into_iter().find(known)
    }
}

/// Both hubs at one moment, cm; a hub that was not measured is missing.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Rung {
    /// Seconds on the result's clock.
    pub time_s: f64,
    pub lower: Option<Estimate>,
    pub upper: Option<Estimate>,
}

impl Rung {
    fn of(&self, hub: Hub) -> Option<Estimate> {
        match hub {
            Hub::Lower => self.lower,
            Hub::Upper => self.upper,
        }
    }
}

/// One swing, ready to be drawn.
#[derive(Clone, Debug, PartialEq)]
pub struct Ladder {
    pub name: String,
    /// Every row of the series.
    pub rows: Vec<Rung>,
    pub events: BTreeMap<Event, Rung>,
}

impl Ladder {
    /// # Errors
    /// When neither hub was measured along this line.
    pub fn new(
        name: &str,
        result: &SwingResult,
        series: &Series,
        line: Line,
    ) -> Result<Self, ChartError> {
        let [lower, upper] = line.measures();
        let row = |(i, time): (usize, &f64)| Rung {
            time_s: *time,
            lower: series.of(lower).get(i).copied().flatten(),
            upper: series.of(upper).get(i).copied().flatten(),
        };
        let event = |(event, entry): (&Event, &crate::results::EventEntry)| {
            let (lower, upper) = (result.known(*event, lower), result.known(*event, upper));
            (*event, Rung { time_s: entry.time_s, lower, upper })
        };
        let events: BTreeMap<Event, Rung> = result.events.iter().map(event).collect();
        if !events.values().any(|rung| rung.lower.or(rung.upper).is_some()) {
            return Err(ChartError::NoTravel(name.to_owned()));
        }
        let rows = series.times.iter().enumerate().map(row).collect();
        Ok(Self { name: name.to_owned(), rows, events })
    }

    /// Where the clock starts: the takeaway, as the backswing's time is counted.
    fn zero(&self) -> f64 {
        let first = self.events.values().map(|rung| rung.time_s).fold(f64::INFINITY, f64::min);
        self.events.get(&Event::Takeaway).map_or(first, |rung| rung.time_s)
    }

    /// First and last moment that is drawn: from the first event to the last one.
    fn span(&self) -> (f64, f64) {
        let times = || self.events.values().map(|rung| rung.time_s);
        (times().fold(f64::INFINITY, f64::min), times().fold(f64::NEG_INFINITY, f64::max))
    }
}

/// What is drawn, and how large.
#[derive(Clone, Debug, PartialEq)]
pub struct LadderInput {
    pub line: Line,
    pub swing: Ladder,
    /// Laid over it, dashed.
    pub over: Option<Ladder>,
    pub style: Style,
    /// 1/96 inch; the height follows from it unless it is given.
    pub width: f64,
    pub height: Option<f64>,
}

impl LadderInput {
    /// The ladder of one result, and of another over it, along the line that both have.
    ///
    /// # Errors
    /// When a swing has no travel, or the two have no line in common.
    pub fn new(
        swing: (&str, &SwingResult, &Series),
        over: Option<(&str, &SwingResult, &Series)>,
        style: Style,
        width: f64,
    ) -> Result<Self, ChartError> {
        let fails = |name: &str| ChartError::NoTravel(name.to_owned());
        let line = Line::of(swing.1).ok_or_else(|| fails(swing.0))?;
        let first = Ladder::new(swing.0, swing.1, swing.2, line)?;
        let Some(over) = over else {
            return Ok(Self { line, swing: first, over: None, style, width, height: None });
        };
        // Both views on one side, one on the other: what they share is to and from the ball.
        for line in [line, Line::Ball] {
            let pair = Ladder::new(swing.0, swing.1, swing.2, line)
                .and_then(|first| Ok((first, Ladder::new(over.0, over.1, over.2, line)?)));
            if let Ok((swing, over)) = pair {
                return Ok(Self { line, swing, over: Some(over), style, width, height: None });
            }
        }
        Line::of(over.1).ok_or_else(|| fails(over.0))?;
        Err(ChartError::OtherView(swing.0.to_owned(), over.0.to_owned()))
    }
}
