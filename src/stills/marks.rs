//! Draws the body's marks. In: a scene. Out: hubs, ghosts, verticals, travel, trunk, skeleton.

use super::canvas::{self, Canvas, DARK, Ink, LIGHT, LOWER, Line, UPPER, along, single};
use super::scene::{HubMark, StillScene};
use crate::body::{Joint, PerJoint};
use crate::frames::Pixel;

/// How far the vertical through the address position runs below and above it, statures: from
/// the lower hub to the knees, from the upper hub to the collar.
const LOWER_REACH: (f64, f64) = (0.24, 0.03);
const UPPER_REACH: (f64, f64) = (0.04, 0.09);
/// Share of the trunk's length at which its angle is drawn.
const ARC_AT: f64 = 0.52;

/// The bones of the thin skeleton.
const BONES: [(Joint, Joint); 14] = [
    (Joint::LeadShoulder, Joint::TrailShoulder),
    (Joint::LeadHip, Joint::TrailHip),
    (Joint::LeadShoulder, Joint::LeadElbow),
    (Joint::LeadElbow, Joint::LeadWrist),
    (Joint::TrailShoulder, Joint::TrailElbow),
    (Joint::TrailElbow, Joint::TrailWrist),
    (Joint::LeadHip, Joint::LeadKnee),
    (Joint::LeadKnee, Joint::LeadAnkle),
    (Joint::TrailHip, Joint::TrailKnee),
    (Joint::TrailKnee, Joint::TrailAnkle),
    (Joint::LeadAnkle, Joint::LeadToe),
    (Joint::TrailAnkle, Joint::TrailToe),
    (Joint::LeadHeel, Joint::LeadToe),
    (Joint::TrailHeel, Joint::TrailToe),
];

/// Size of marks, a share of the stature, and within which share of the text's unit it stays.
const OF_STATURE: f64 = 0.010;
const OF_UNIT: (f64, f64) = (0.6, 1.0);

/// Marks keep their size on the body, as far as a reader can still see them.
pub fn unit(scene: &StillScene, text: f64) -> f64 {
    (OF_STATURE * scene.stature_px).clamp(OF_UNIT.0 * text, OF_UNIT.1 * text)
}

/// Which hub: decides shape, ink and the side of its arrow.
#[derive(Clone, Copy, PartialEq, Eq)]
pub enum Which {
    Lower,
    Upper,
}

impl Which {
    pub fn ink(self) -> Ink {
        match self {
            Self::Lower => LOWER,
            Self::Upper => UPPER,
        }
    }

    pub fn shape(self, centre: Pixel, radius: f64) -> Option<tiny_skia::Path> {
        match self {
            Self::Lower => canvas::circle(centre, radius),
            Self::Upper => canvas::diamond(centre, radius),
        }
    }
}

/// Both hubs of a scene that are there.
pub fn hubs(scene: &StillScene) -> impl Iterator<Item = (Which, &HubMark)> {
    let lower = scene.lower.as_ref().map(|hub| (Which::Lower, hub));
    let upper = scene.upper.as_ref().map(|hub| (Which::Upper, hub));
    lower.into_iter().chain(upper)
}

pub fn draw(canvas: &mut Canvas, scene: &StillScene, unit: f64) {
    for (which, hub) in hubs(scene) {
        vertical(canvas, scene, which, hub, unit);
    }
    if scene.skeleton {
        skeleton(canvas, scene, unit);
    }
    trunk(canvas, scene, unit);
    for (which, hub) in hubs(scene) {
        ghost(canvas, which, hub, unit);
        if let Some((from, to)) = travel(scene, which, hub, unit) {
            arrow(canvas, from, to, which.ink(), unit);
        }
    }
    for (which, hub) in hubs(scene) {
        marker(canvas, which, hub.now.at, hub.now.filled, unit);
    }
}

/// The vertical through the address position, kept out of the face.
fn vertical(canvas: &mut Canvas, scene: &StillScene, which: Which, hub: &HubMark, unit: f64) {
    let Some(address) = hub.address else { return };
    let (below, above) = if which == Which::Lower { LOWER_REACH } else { UPPER_REACH };
    let up = scene.up();
    let foot = along(address, up, -below * scene.stature_px);
    let head = scene.head_area().map(|area| area.grown(unit));
    let steps = 24;
    let top = (0..=steps)
        .map(|step| f64::from(step) / f64::from(steps) * (above + below) * scene.stature_px)
        .map(|length| along(foot, up, length))
        .take_while(|p| head.is_none_or(|head| !head.contains(*p)))
        .last();
    if let Some(top) = top {
        canvas.line(foot, top, &Line { halo: 0.25 * unit, ..Line::new(which.ink(), 0.45 * unit) });
    }
}

/// From the vertical through the address position to the hub, square to the vertical; none
/// where the two are too close for an arrow.
pub fn travel(
    scene: &StillScene,
    which: Which,
    hub: &HubMark,
    unit: f64,
) -> Option<(Pixel, Pixel)> {
    let address = hub.address?;
    let up = scene.up();
    let across = Pixel::new(-up.y, up.x);
    let gap = (hub.now.at.x - address.x) * across.x + (hub.now.at.y - address.y) * across.y;
    let side = if which == Which::Lower { -2.9 * unit } else { 2.9 * unit };
    let to = along(hub.now.at, up, side);
    (gap.abs() >= 0.8 * unit).then(|| (along(to, across, -gap), to))
}

fn arrow(canvas: &mut Canvas, from: Pixel, to: Pixel, ink: Ink, unit: f64) {
    let length = from.distance(to);
    let ahead = Pixel::new((to.x - from.x) / length, (to.y - from.y) / length);
    let aside = Pixel::new(-ahead.y, ahead.x);
    let head = (1.9 * unit).min(length);
    let neck = along(to, ahead, -head);
    let corners = [to, along(neck, aside, 1.1 * unit), along(neck, aside, -1.1 * unit)];
    let edge = Line { halo: 0.35 * unit, ..Line::new(ink, 0.3 * unit) };
    if length > head {
        canvas.line(from, neck, &Line { halo: 0.35 * unit, ..Line::new(ink, 0.8 * unit) });
    }
    if let Some(path) = canvas::polyline(&corners, true) {
        canvas.stroke(&path, &edge);
        canvas.fill(&path, ink);
    }
}

/// The hub's place at address: a thin outline of its shape.
fn ghost(canvas: &mut Canvas, which: Which, hub: &HubMark, unit: f64) {
    if let Some(path) = hub.address.and_then(|address| which.shape(address, 1.35 * unit)) {
        canvas.stroke(&path, &Line { halo: 0.25 * unit, ..Line::new(which.ink(), 0.35 * unit) });
    }
}

/// A hub now: full, or hollow where it was estimated.
pub fn marker(canvas: &mut Canvas, which: Which, at: Pixel, filled: bool, unit: f64) {
    if let Some(path) = which.shape(at, 1.35 * unit) {
        canvas.stroke(&path, &Line { halo: 0.45 * unit, ..Line::new(which.ink(), 0.6 * unit) });
        if !filled {
            canvas.fill(&path, which.ink());
        }
    }
}

/// The line between the hubs, and its angle against the vertical through the lower one.
fn trunk(canvas: &mut Canvas, scene: &StillScene, unit: f64) {
    let (Some(lower), Some(upper)) = (&scene.lower, &scene.upper) else { return };
    let (from, to) = (lower.now.at, upper.now.at);
    if scene.lean.is_some() {
        wedge(canvas, scene, from, to, unit);
    }
    canvas.line(from, to, &Line { halo: 0.4 * unit, ..Line::new(LIGHT, 0.75 * unit) });
}

/// Places on the arc from the vertical to the trunk line, about the lower hub.
pub fn arc(scene: &StillScene, from: Pixel, to: Pixel) -> Vec<Pixel> {
    let up = scene.up();
    let radius = ARC_AT * from.distance(to);
    let start = up.y.atan2(up.x);
    let end = (to.y - from.y).atan2(to.x - from.x);
    let turn = (end - start + std::f64::consts::PI).rem_euclid(std::f64::consts::TAU)
        - std::f64::consts::PI;
    let steps = 24;
    (0..=steps)
        .map(|step| start + turn * f64::from(step) / f64::from(steps))
        .map(|angle| Pixel::new(from.x + radius * angle.cos(), from.y + radius * angle.sin()))
        .collect()
}

fn wedge(canvas: &mut Canvas, scene: &StillScene, from: Pixel, to: Pixel, unit: f64) {
    let arc = arc(scene, from, to);
    let sector: Vec<Pixel> = std::iter::once(from).chain(arc.iter().copied()).collect();
    if let Some(path) = canvas::polyline(&sector, true) {
        canvas.fill(&path, DARK.faint(110));
    }
    let vertical = along(from, scene.up(), (ARC_AT + 0.12) * from.distance(to));
    let thin = Line { halo: 0.25 * unit, ..Line::new(LIGHT, 0.35 * unit) };
    canvas.line(from, vertical, &thin);
    if let Some(path) = canvas::polyline(&arc, false) {
        canvas.stroke(&path, &Line { halo: 0.25 * unit, ..Line::new(LIGHT, 0.45 * unit) });
    }
}

/// Thin and see-through; joints as small rings, full where seen.
fn skeleton(canvas: &mut Canvas, scene: &StillScene, unit: f64) {
    let line = Line { halo: 0.2 * unit, ..Line::new(LIGHT.faint(150), 0.3 * unit) };
    for (from, to) in BONES {
        if let (Some(from), Some(to)) = (scene.joints[from], scene.joints[to]) {
            canvas.line(from.at, to.at, &line);
        }
    }
    for joint in Joint::ALL {
        let skipped = matches!(joint, Joint::LowerHub | Joint::UpperHub | Joint::Head);
        let Some(mark) = scene.joints[joint].filter(|_| !skipped) else { continue };
        if let Some(path) = canvas::circle(mark.at, 0.55 * unit) {
            canvas.stroke(&path, &Line { width: 0.3 * unit, ..line });
            if !mark.filled {
                canvas.fill(&path, LIGHT.faint(200));
            }
        }
    }
}

/// The skeleton alone, bold enough for a small picture.
pub fn bones(canvas: &mut Canvas, points: &PerJoint<Option<Pixel>>, unit: f64) {
    let line = Line { halo: 0.3 * unit, ..Line::new(LIGHT, 0.5 * unit) };
    for (from, to) in BONES {
        if let (Some(from), Some(to)) = (points[from], points[to]) {
            canvas.line(from, to, &line);
        }
    }
}

/// Points along every bone and the trunk: what a label had better not hide.
pub fn body_points(scene: &StillScene) -> Vec<Pixel> {
    let trunk = [(Joint::LowerHub, Joint::UpperHub), (Joint::UpperHub, Joint::Head)];
    let mut points = Vec::new();
    for (from, to) in BONES.into_iter().chain(trunk) {
        if let (Some(from), Some(to)) = (scene.joints[from], scene.joints[to]) {
            points.extend((0..=6).map(|step| {
                let share = f64::from(step) / 6.0;
                Pixel::new(
                    from.at.x + share * (to.at.x - from.at.x),
                    from.at.y + share * (to.at.y - from.at.y),
                )
            }));
        }
    }
    points
}

/// The trunk's sign in the strip.
pub fn trunk_sign(canvas: &mut Canvas, centre: Pixel, unit: f64) {
    let mut builder = tiny_skia::PathBuilder::new();
    builder.move_to(single(centre.x - 0.7 * unit), single(centre.y + 1.5 * unit));
    builder.line_to(single(centre.x + 0.7 * unit), single(centre.y - 1.5 * unit));
    if let Some(path) = builder.finish() {
        canvas.stroke(&path, &Line { halo: 0.0, ..Line::new(LIGHT, 0.75 * unit) });
    }
}
