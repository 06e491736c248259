//! The few labels inside the picture. In: a scene and the picture's edges. Out: where each label
//! stands. A label that finds no free place is left out: its number stands in the strip anyway.
//!
//! Places are tried on both sides of what a label belongs to; one is free when neither the label
//! nor its pointer touches a face, a hand, a hub, another label, a box named by the caller, or
//! the edge. Of the free ones the near ones that hide little of the body and are far from the
//! hands (the club is there) win.

use super::Area;
use super::canvas::{Canvas, DARK, Ink, LIGHT, Line, along};
use super::marks::{self, Which, arc, body_points, hubs, travel};
use super::scene::StillScene;
use super::text::{CAPITAL, Fonts, Weight};
use crate::frames::Pixel;

/// Height of the letters, units.
const SIZE: f64 = 3.9;
const PADDING: Pixel = Pixel { x: 1.2, y: 1.1 };
/// Steps between places tried, and how far away the last one is, units.
const STEP: f64 = 2.5;
const FARTHEST: i32 = 18;
/// Within this distance of a hand the club is likely, statures.
const CLUB_NEAR: f64 = 0.3;

pub struct Label {
    pub text: String,
    pub area: Area,
    /// What it belongs to.
    pub anchor: Pixel,
    ink: Ink,
}

impl Label {
    pub fn draw(&self, canvas: &mut Canvas, fonts: &Fonts, unit: f64) {
        let pointer = Line { halo: 0.2 * unit, ..Line::new(LIGHT.faint(230), 0.22 * unit) };
        canvas.line(self.anchor, self.area.nearest(self.anchor), &pointer);
        let edge = Line { halo: 0.0, ..Line::new(self.ink, 0.35 * unit) };
        canvas.pill(&self.area, DARK.faint(225), &edge);
        let (x, y) = (self.area.left + PADDING.x * unit, self.area.bottom - PADDING.y * unit);
        if let Some(path) = fonts.path(Weight::Bold, SIZE * unit, &self.text, x, y) {
            canvas.fill(&path, self.ink);
        }
    }
}

/// Every label that finds a free place, most important first.
pub fn place(fonts: &Fonts, scene: &StillScene, bounds: &Area, unit: f64) -> Vec<Label> {
    let inside = bounds.grown(-1.2 * unit);
    let mark = marks::unit(scene, unit);
    let mut taken = kept_clear(scene, mark);
    let hands: Vec<Pixel> = scene.hand_areas().iter().map(Area::centre).collect();
    let body = body_points(scene);
    let mut labels: Vec<Label> = Vec::new();
    for (text, anchor, ink) in wanted(scene, mark) {
        let width = fonts.width(Weight::Bold, SIZE * unit, &text) + 2.0 * PADDING.x * unit;
        let height = (SIZE * CAPITAL + 2.0 * PADDING.y) * unit;
        let half = Pixel::new(width / 2.0, height / 2.0);
        let cost = |area: &Area| {
            let hidden = body.iter().filter(|p| area.contains(**p)).count();
            let club: f64 = hands
                .iter()
                .map(|hand| (CLUB_NEAR * scene.stature_px - area.distance(*hand)).max(0.0))
                .sum();
            area.distance(anchor)
                + 1.5 * unit * f64::from(u32::try_from(hidden).unwrap_or(u32::MAX))
                + club
        };
        let best = places(anchor, half, unit)
            .filter(|area| inside.holds(area) && is_free(area, anchor, &taken))
            .min_by(|a, b| cost(a).total_cmp(&cost(b)));
        if let Some(area) = best {
            taken.push(Obstacle { area: area.grown(0.8 * unit), holds_anchor: false });
            labels.push(Label { text, area, anchor, ink });
        }
    }
    labels
}

struct Obstacle {
    area: Area,
    /// A pointer may start in it: the hub's own neighbourhood.
    holds_anchor: bool,
}

fn kept_clear(scene: &StillScene, unit: f64) -> Vec<Obstacle> {
    let margin = 0.6 * unit;
    let strict = scene.head_area().into_iter().chain(scene.hand_areas());
    let strict = strict.chain(scene.keep_clear.iter().copied()).map(|area| area.grown(margin));
    let marks = hubs(scene).flat_map(|(_, hub)| {
        let around = |p: Pixel| Area::around(p, Pixel::new(4.2 * unit, 4.6 * unit));
        [Some(hub.now.at), hub.address].into_iter().flatten().map(around)
    });
    let small = |p: Pixel| Area::around(p, Pixel::new(unit, unit));
    let trunk = trunk_points(scene).into_iter().map(small);
    let anchors = wanted(scene, unit).into_iter().map(|(_, anchor, _)| small(anchor));
    strict
        .map(|area| Obstacle { area, holds_anchor: false })
        .chain(marks.chain(trunk).chain(anchors).map(|area| Obstacle { area, holds_anchor: true }))
        .collect()
}

/// The line between the hubs and the arc of its angle.
fn trunk_points(scene: &StillScene) -> Vec<Pixel> {
    let (Some(lower), Some(upper)) = (&scene.lower, &scene.upper) else { return Vec::new() };
    let (from, to) = (lower.now.at, upper.now.at);
    let mut points = arc(scene, from, to);
    points.extend((0..=12).map(|step| {
        let share = f64::from(step) / 12.0;
        Pixel::new(from.x + share * (to.x - from.x), from.y + share * (to.y - from.y))
    }));
    points
}

/// Texts with what they belong to.
fn wanted(scene: &StillScene, unit: f64) -> Vec<(String, Pixel, Ink)> {
    let mut wanted: Vec<(String, Pixel, Ink)> = hubs(scene)
        .filter_map(|(which, hub)| {
            let middle = travel(scene, which, hub, unit)
                .map(|(a, b)| Pixel::new(f64::midpoint(a.x, b.x), f64::midpoint(a.y, b.y)));
            let side = if which == Which::Lower { -1.6 * unit } else { 1.6 * unit };
            let anchor = middle.unwrap_or_else(|| along(hub.now.at, scene.up(), side));
            Some((hub.travel.clone()?, anchor, which.ink()))
        })
        .collect();
    if let (Some(lower), Some(upper), Some(lean)) = (&scene.lower, &scene.upper, &scene.lean) {
        let arc = arc(scene, lower.now.at, upper.now.at);
        wanted.extend(arc.get(arc.len() / 2).map(|middle| (lean.clone(), *middle, LIGHT)));
    }
    wanted
}

fn places(anchor: Pixel, half: Pixel, unit: f64) -> impl Iterator<Item = Area> {
    let sides = [-1.0, 1.0].into_iter();
    sides.flat_map(move |side| {
        (1..=FARTHEST).flat_map(move |out| {
            (-FARTHEST / 2..=FARTHEST / 2).map(move |down| {
                let x = anchor.x + side * (half.x + f64::from(out) * STEP * unit);
                let y = anchor.y + f64::from(down) * STEP * unit;
                Area::around(Pixel::new(x, y), half)
            })
        })
    })
}

fn is_free(area: &Area, anchor: Pixel, taken: &[Obstacle]) -> bool {
    let end = area.nearest(anchor);
    taken.iter().all(|obstacle| {
        let crossed = || {
            (0..=16).map(|step| f64::from(step) / 16.0).any(|share| {
                let x = anchor.x + share * (end.x - anchor.x);
                let y = anchor.y + share * (end.y - anchor.y);
                obstacle.area.contains(Pixel::new(x, y))
            })
        };
        !obstacle.area.overlaps(area) && (obstacle.holds_anchor || !crossed())
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::body::{Joint, PerJoint};
    use crate::stills::scene::tests::standing;
    use crate::stills::{HubMark, Mark};
    use proptest::prelude::*;

    const PICTURE: Area = Area::new(0.0, 0.0, 720.0, 1280.0);

    /// No label touches a face, a hand, a named box, a hub, the edge or another label.
    fn check(scene: &StillScene, labels: &[Label]) {
        let mut kept: Vec<Area> = scene.hand_areas();
        kept.extend(scene.head_area());
        kept.extend(&scene.keep_clear);
        for (index, label) in labels.iter().enumerate() {
            assert!(PICTURE.holds(&label.area));
            assert!(kept.iter().all(|area| !area.overlaps(&label.area)));
            assert!(hubs(scene).all(|(_, hub)| !label.area.contains(hub.now.at)));
            assert!(labels[..index].iter().all(|other| !other.area.overlaps(&label.area)));
        }
    }

    #[test]
    fn every_label_of_an_ordinary_picture_finds_its_place() {
        let (fonts, scene) = (Fonts::embedded().unwrap(), standing());
        let labels = place(&fonts, &scene, &PICTURE, 7.2);
        assert_eq!(labels.len(), 3);
        check(&scene, &labels);
        for label in &labels {
            assert!(label.area.distance(label.anchor) < 0.4 * scene.stature_px, "{}", label.text);
        }
    }

    #[test]
    fn a_named_box_is_kept_clear_and_a_full_picture_gets_no_label() {
        let fonts = Fonts::embedded().unwrap();
        let mut scene = standing();
        scene.keep_clear = place(&fonts, &scene, &PICTURE, 7.2).iter().map(|l| l.area).collect();
        let labels = place(&fonts, &scene, &PICTURE, 7.2);
        check(&scene, &labels);
        scene.keep_clear = vec![PICTURE];
        assert!(place(&fonts, &scene, &PICTURE, 7.2).is_empty());
    }

    fn point() -> impl Strategy<Value = Pixel> {
        (-50.0..770.0, -50.0..1330.0).prop_map(|(x, y)| Pixel::new(x, y))
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(64))]
        #[test]
        fn no_label_covers_what_matters_wherever_the_body_is(
            joints in prop::collection::vec(point(), Joint::COUNT),
            address in (point(), point()),
            stature_px in 100.0..1200.0,
            roll in -0.2..0.2,
        ) {
            let mark = |joint: Joint| Mark { at: joints[joint as usize], filled: false };
            let hub = |joint, address| HubMark {
                now: mark(joint),
                address: Some(address),
                travel: Some("12.3 ± 4.5 cm".into()),
            };
            let scene = StillScene {
                joints: PerJoint::from_fn(|joint| Some(mark(joint))),
                lower: Some(hub(Joint::LowerHub, address.0)),
                upper: Some(hub(Joint::UpperHub, address.1)),
                stature_px,
                roll,
                ..standing()
            };
            let fonts = Fonts::embedded().unwrap();
            check(&scene, &place(&fonts, &scene, &PICTURE, 7.2));
        }
    }
}
