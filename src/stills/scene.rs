//! What a still shows. In: positions in this picture and finished texts. Out: the same, moved
//! or enlarged, and the boxes that labels keep clear of.

use super::Area;
use crate::body::{Joint, PerJoint};
use crate::frames::Pixel;

/// Half width and half height of the box around the middle between the ears that holds the
/// whole head and its hair, statures. Winter 2009 (after Drillis and Contini 1966) has the head
/// 0.130 of the stature high; the rest is margin for hair, a cap and a tilted head.
const HEAD_HALF: Pixel = Pixel { x: 0.080, y: 0.090 };
/// From the wrist to the middle of the closed hand and half the side of its box, statures; the
/// same table has the hand 0.108 of the stature long.
const HAND_AHEAD: f64 = 0.045;
const HAND_HALF: f64 = 0.060;

/// A point in this picture; `filled` when it was estimated, not seen.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Mark {
    pub at: Pixel,
    pub filled: bool,
}

/// A hub now and at address.
#[derive(Clone, Debug, PartialEq)]
pub struct HubMark {
    pub now: Mark,
    /// Where it was at address, carried into this picture; none at address itself.
    pub address: Option<Pixel>,
    /// Its travel, finished: `6.1 ± 0.9 cm`.
    pub travel: Option<String>,
}

/// The sign in front of a fact.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Symbol {
    LowerHub,
    UpperHub,
    Trunk,
    None,
}

/// One line of the strip.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Fact {
    pub symbol: Symbol,
    pub text: String,
}

/// Everything that is drawn on one picture.
#[derive(Clone, Debug, PartialEq)]
pub struct StillScene {
    /// `Top`.
    pub title: String,
    /// `face-on, 1.86 s`.
    pub detail: String,
    pub lower: Option<HubMark>,
    pub upper: Option<HubMark>,
    /// The trunk's angle against the vertical, finished: `12.5 ± 1.5°`.
    pub lean: Option<String>,
    /// How far the true vertical leans to the right in this picture, radians.
    pub roll: f64,
    pub joints: PerJoint<Option<Mark>>,
    /// One stature at the golfer's distance, pixels.
    pub stature_px: f64,
    /// How much larger this picture is than the clip's reference picture (camera motion); 1 for
    /// a camera that stood still.
    pub camera_scale: f64,
    /// More boxes that no label may cover: the club where it is known.
    pub keep_clear: Vec<Area>,
    pub facts: Vec<Fact>,
    pub skeleton: bool,
    /// Whether faces are hidden.
    pub blur_face: bool,
    /// Boxes around other people's heads, hidden with the golfer's.
    pub other_faces: Vec<Area>,
}

impl StillScene {
    /// Unit vector of true up in this picture.
    #[must_use]
    pub fn up(&self) -> Pixel {
        let (sin, cos) = self.roll.sin_cos();
        Pixel::new(sin, -cos)
    }

    #[must_use]
    pub fn head_area(&self) -> Option<Area> {
        let head = self.joints[Joint::Head]?;
        let half = Pixel::new(HEAD_HALF.x * self.stature_px, HEAD_HALF.y * self.stature_px);
        Some(Area::around(head.at, half))
    }

    /// The boxes of both hands, each ahead of its wrist along the forearm.
    #[must_use]
    pub fn hand_areas(&self) -> Vec<Area> {
        [(Joint::LeadElbow, Joint::LeadWrist), (Joint::TrailElbow, Joint::TrailWrist)]
            .into_iter()
            .filter_map(|(elbow, wrist)| {
                let wrist = self.joints[wrist]?.at;
                let ahead = self.joints[elbow].map_or(0.0, |elbow| {
                    HAND_AHEAD * self.stature_px / elbow.at.distance(wrist).max(1.0)
                });
                let elbow = self.joints[elbow].map_or(wrist, |elbow| elbow.at);
                let centre = Pixel::new(
                    wrist.x + ahead * (wrist.x - elbow.x),
                    wrist.y + ahead * (wrist.y - elbow.y),
                );
                let half = HAND_HALF * self.stature_px;
                Some(Area::around(centre, Pixel::new(half, half)))
            })
            .collect()
    }

    /// Enlarged by `factor` about the picture's corner, then shifted.
    #[must_use]
    pub fn mapped(&self, factor: f64, shift: Pixel) -> Self {
        let point = |p: Pixel| Pixel::new(p.x * factor + shift.x, p.y * factor + shift.y);
        let mark = |mark: Mark| Mark { at: point(mark.at), ..mark };
        let hub = |hub: &HubMark| HubMark {
            now: mark(hub.now),
            address: hub.address.map(point),
            travel: hub.travel.clone(),
        };
        let area = |area: &Area| {
            let (from, to) = (
                point(Pixel::new(area.left, area.top)),
                point(Pixel::new(area.right, area.bottom)),
            );
            Area::new(from.x, from.y, to.x, to.y)
        };
        Self {
            lower: self.lower.as_ref().map(hub),
            upper: self.upper.as_ref().map(hub),
            joints: PerJoint::from_fn(|joint| self.joints[joint].map(mark)),
            stature_px: self.stature_px * factor,
            keep_clear: self.keep_clear.iter().map(area).collect(),
            other_faces: self.other_faces.iter().map(area).collect(),
            ..self.clone()
        }
    }
}

#[cfg(test)]
pub mod tests {
    use super::*;

    /// An invented golfer at the top in a 720x1280 picture, one stature 500 pixels.
    pub fn standing() -> StillScene {
        let hub = |x: f64, y: f64, address: f64| HubMark {
            now: Mark { at: Pixel::new(x, y), filled: false },
            address: Some(Pixel::new(address, y)),
            travel: Some("6.1 ± 0.9 cm".into()),
        };
        let fact = |symbol, text: &str| Fact { symbol, text: text.into() };
        StillScene {
            title: "Top".into(),
            detail: "face-on, 1.86 s".into(),
            lower: Some(hub(332.0, 624.0, 349.0)),
            upper: Some(hub(354.0, 525.0, 338.0)),
            lean: Some("12.5 ± 1.5°".into()),
            roll: 0.0,
            joints: PerJoint::from_fn(|joint| Some(Mark { at: place(joint), filled: false })),
            stature_px: 500.0,
            camera_scale: 1.0,
            keep_clear: Vec::new(),
            facts: vec![
                fact(Symbol::UpperHub, "Upper hub 5.0 ± 0.8 cm toward the target"),
                fact(Symbol::LowerHub, "Lower hub 6.1 ± 0.9 cm away from the target"),
            ],
            skeleton: true,
            blur_face: false,
            other_faces: Vec::new(),
        }
    }

    fn place(joint: Joint) -> Pixel {
        let (x, y) = match joint {
            Joint::LowerHub => (332.0, 624.0),
            Joint::UpperHub => (354.0, 525.0),
            Joint::Head => (357.0, 440.0),
            Joint::LeadShoulder => (375.0, 490.0),
            Joint::TrailShoulder => (320.0, 490.0),
            Joint::LeadElbow => (330.0, 440.0),
            Joint::TrailElbow => (285.0, 440.0),
            Joint::LeadWrist => (320.0, 378.0),
            Joint::TrailWrist => (300.0, 378.0),
            Joint::LeadHip => (356.0, 625.0),
            Joint::TrailHip => (308.0, 625.0),
            Joint::LeadKnee => (395.0, 735.0),
            Joint::TrailKnee => (295.0, 735.0),
            Joint::LeadAnkle => (412.0, 860.0),
            Joint::TrailAnkle => (285.0, 860.0),
            Joint::LeadHeel => (408.0, 875.0),
            Joint::TrailHeel => (290.0, 875.0),
            Joint::LeadToe => (440.0, 890.0),
            Joint::TrailToe => (268.0, 890.0),
        };
        Pixel::new(x, y)
    }

    #[test]
    fn mapping_moves_every_position_and_no_text() {
        let scene = standing();
        let moved = scene.mapped(2.0, Pixel::new(10.0, -5.0));
        assert_eq!(moved.lower.unwrap().now.at, Pixel::new(674.0, 1243.0));
        assert_eq!(moved.upper.unwrap().address, Some(Pixel::new(686.0, 1045.0)));
        assert_eq!(moved.joints[Joint::Head].unwrap().at, Pixel::new(724.0, 875.0));
        assert_eq!((moved.stature_px, moved.facts), (1000.0, scene.facts));
    }

    #[test]
    fn the_hand_box_lies_ahead_of_the_wrist() {
        let hands = standing().hand_areas();
        assert_eq!(hands.len(), 2);
        assert!(hands[0].contains(Pixel::new(320.0, 378.0)) && hands[0].centre().y < 378.0);
    }

    #[test]
    fn up_leans_with_the_roll() {
        let level = standing();
        assert_eq!(level.up(), Pixel::new(0.0, -1.0));
        assert!(StillScene { roll: 0.1, ..level }.up().x > 0.0);
    }
}
