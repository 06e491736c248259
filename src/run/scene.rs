//! What a picture of a measured clip shows. In: what was seen, the clip's view, the result. Out:
//! positions in one picture and finished texts, for [`crate::stills`] to draw. Every number is
//! read from the result.

use crate::body::{Joint, PerJoint};
use crate::calibration::View;
use crate::events::Event;
use crate::frames::{Handed, Pixel};
use crate::geometry::Measure;
use crate::lift::LiftedFrame;
use crate::results::{self, SwingResult, Value};
use crate::stills::{Fact, HubMark, Mark, StillScene, Symbol};
use crate::track::{CameraMotion, PictureFromReference};

use super::evaluate::Viewed;
use super::faces;
use super::lens;
use super::observe::Observed;

/// How pictures are to look.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub struct Look {
    /// Every face that was found, the golfer's and others', is made unrecognisable.
    pub blur_faces: bool,
    pub skeleton: bool,
}

/// What a view shows: travel of the lower and the upper hub, the trunk's angle.
type Shown = [Measure; 3];

fn shown(view: View) -> Shown {
    match view {
        View::FaceOn => [Measure::LowerHubTarget, Measure::UpperHubTarget, Measure::SpineTilt],
        View::DownTheLine => [Measure::LowerHubBall, Measure::UpperHubBall, Measure::ForwardBend],
    }
}

/// One measured clip, ready to be drawn.
#[derive(Clone, Copy)]
pub struct ClipScene<'a> {
    pub seen: &'a Observed,
    pub viewed: &'a Viewed,
    pub look: Look,
}

impl ClipScene<'_> {
    /// The lifted frame nearest to a real time of the clip.
    pub fn frame_near(&self, time: f64) -> Option<&LiftedFrame> {
        let distance = |f: &&LiftedFrame| (f.time.0 - time).abs();
        self.viewed.lifted.frames.iter().min_by(|a, b| distance(a).total_cmp(&distance(b)))
    }

    /// An event's picture with the numbers at it.
    pub fn at_event(&self, result: &SwingResult, event: Event, frame: &LiftedFrame) -> StillScene {
        let values = shown(self.viewed.calibration.view)
            .map(|measure| result.measures.get(&event).and_then(|all| all.get(&measure)).cloned());
        let moved = event != Event::Address;
        let mut scene = self.plain(frame, moved);
        let [lower, upper, lean] = &values;
        let travel = |value: &Option<Value>| value.as_ref().filter(|_| moved).and_then(Value::size);
        if let Some(hub) = &mut scene.lower {
            hub.travel = travel(lower);
        }
        if let Some(hub) = &mut scene.upper {
            hub.travel = travel(upper);
        }
        scene.title = results::capitalised(results::event_name(event));
        scene.lean = lean.as_ref().and_then(Value::size);
        scene.facts = facts(self.viewed.calibration.view, &values);
        scene
    }

    /// Hubs, trunk, limbs and the places at address; no numbers.
    pub fn plain(&self, frame: &LiftedFrame, with_address: bool) -> StillScene {
        let camera = self.camera_at(frame.index);
        let shown = |p: Pixel| camera.apply(self.filmed(p));
        let (scale, turn) = camera.scale_and_turn(self.filmed(frame.points[Joint::LowerHub].at));
        let mark = |joint: Joint| Mark { at: shown(frame.points[joint].at), filled: frame.filled };
        let hub = |joint: Joint| {
            let address = self.at_address(joint).filter(|_| with_address);
            Some(HubMark { now: mark(joint), address: address.map(shown), travel: None })
        };
        let seconds = frame.time.0 + self.viewed.offset_s;
        StillScene {
            title: String::new(),
            detail: format!("{}, {seconds:.2} s", self.viewed.calibration.view.name()),
            lower: hub(Joint::LowerHub),
            upper: hub(Joint::UpperHub),
            lean: None,
            roll: self.roll(turn),
            joints: PerJoint::from_fn(|joint| Some(mark(joint))),
            stature_px: frame.log_stature_px.value.exp() * scale,
            camera_scale: scale,
            keep_clear: Vec::new(),
            facts: Vec::new(),
            skeleton: self.look.skeleton,
            blur_face: self.look.blur_faces,
            other_faces: self.other_faces(frame),
        }
    }

    fn other_faces(&self, frame: &LiftedFrame) -> Vec<crate::stills::Area> {
        let file_s = self.seen.clock.file(frame.time.0);
        faces::hidden_at(&self.seen.others, file_s, &self.seen.clock)
    }

    fn camera_at(&self, index: usize) -> PictureFromReference {
        let frame = self.seen.track.frames.iter().find(|f| f.index == index);
        frame.map_or(PictureFromReference::STILL, |f| f.camera)
    }

    /// A lifted point where the reference picture shows it.
    fn filmed(&self, at: Pixel) -> Pixel {
        lens::filmed(self.seen.lens.as_ref(), at)
    }

    /// Mean position of a joint at address in the reference picture. None where the camera's own
    /// motion is not known: nobody can say where in another picture that place is.
    fn at_address(&self, joint: Joint) -> Option<Pixel> {
        if self.seen.track.motion == CameraMotion::Untrusted {
            return None;
        }
        let (from, to) = self.viewed.events.address;
        let at: Vec<Pixel> = self
            .viewed
            .lifted
            .frames
            .iter()
            .filter(|f| (from.0..=to.0).contains(&f.time.0))
            .map(|f| f.points[joint].at)
            .collect();
        let mean =
            |part: fn(&Pixel) -> f64| crate::signal::mean(&at.iter().map(part).collect::<Vec<_>>());
        Some(Pixel::new(mean(|p| p.x)?, mean(|p| p.y)?))
    }

    /// How far the true vertical leans to the right in this picture, radians.
    fn roll(&self, turn: f64) -> f64 {
        let calibration = &self.viewed.calibration;
        let mirrored = calibration.handed == Handed::Left;
        let roll = calibration.attitude.roll;
        turn + if mirrored { -roll } else { roll }
    }
}

fn facts(view: View, values: &[Option<Value>; 3]) -> Vec<Fact> {
    let symbols = [Symbol::LowerHub, Symbol::UpperHub, Symbol::Trunk];
    shown(view)
        .into_iter()
        .zip(values)
        .zip(symbols)
        .filter_map(|((measure, value), symbol)| {
            let text = results::fact(measure, value.as_ref()?)?;
            Some(Fact { symbol, text })
        })
        .collect()
}
