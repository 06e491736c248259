//! The stills of a measurement: one at each event for each clip, and address beside top.
//! Every number drawn is read from the result.

use std::path::Path;

use image::RgbImage;

use crate::body::{Joint, PerJoint};
use crate::calibration::View;
use crate::decode;
use crate::error::Error;
use crate::events::Event;
use crate::frames::{Handed, Pixel};
use crate::geometry::Measure;
use crate::lift::LiftedFrame;
use crate::options::Options;
use crate::results::{self, SwingResult, Value, write_atomically};
use crate::stills::{self, Fact, HubMark, Mark, StillScene, Symbol};
use crate::track::PictureFromReference;

use super::Measurement;
use super::evaluate::Viewed;
use super::lens;
use super::observe::Observed;

/// What a view shows: travel of the lower and the upper hub, the trunk's angle.
type Shown = [Measure; 3];

fn shown(view: View) -> Shown {
    match view {
        View::FaceOn => [Measure::LowerHubTarget, Measure::UpperHubTarget, Measure::SpineTilt],
        View::DownTheLine => [Measure::LowerHubBall, Measure::UpperHubBall, Measure::ForwardBend],
    }
}

/// Draws and writes all stills of a measurement.
pub fn write(measured: &Measurement, options: &Options, folder: &Path) -> Result<(), Error> {
    for viewed in &measured.evaluated.views {
        let clip = ClipStills { seen: &measured.observed[viewed.clip], viewed, options };
        clip.write(&measured.result, folder)?;
    }
    Ok(())
}

struct ClipStills<'a> {
    seen: &'a Observed,
    viewed: &'a Viewed,
    options: &'a Options,
}

impl ClipStills<'_> {
    fn write(&self, result: &SwingResult, folder: &Path) -> Result<(), Error> {
        let view = self.viewed.calibration.view.name();
        let mut pair = Vec::new();
        for event in Event::ALL {
            let Some((picture, scene)) = self.still(result, event)? else { continue };
            let png = stills::encode_png(&stills::annotate(&picture, &scene)?)?;
            let key = results::event_key(event);
            write_atomically(&folder.join(format!("{view}_{key}.png")), &png)?;
            if matches!(event, Event::Address | Event::Top) {
                pair.push((picture, scene));
            }
        }
        if let [address, top] = pair.as_slice() {
            let both = stills::pair((&address.0, &address.1), (&top.0, &top.1))?;
            let png = stills::encode_png(&both)?;
            write_atomically(&folder.join(format!("{view}_address_top.png")), &png)?;
        }
        Ok(())
    }

    fn still(
        &self,
        result: &SwingResult,
        event: Event,
    ) -> Result<Option<(RgbImage, StillScene)>, Error> {
        let Some(frame) = self.frame_at(event) else { return Ok(None) };
        let Some(time) = self.seen.timestamp(frame.index) else { return Ok(None) };
        let picture = decode::picture_at(&self.seen.info, time)?.pixels;
        Ok(Some((picture, self.scene(result, event, frame))))
    }

    /// The lifted frame nearest to the event.
    fn frame_at(&self, event: Event) -> Option<&LiftedFrame> {
        let time = self.viewed.events.at(event)?.value;
        let distance = |f: &&LiftedFrame| (f.time.0 - time).abs();
        self.viewed.lifted.frames.iter().min_by(|a, b| distance(a).total_cmp(&distance(b)))
    }

    fn scene(&self, result: &SwingResult, event: Event, frame: &LiftedFrame) -> StillScene {
        let camera = self.camera_at(frame.index);
        let (scale, turn) = camera.scale_and_turn(self.filmed(frame.points[Joint::LowerHub].at));
        let values = shown(self.viewed.calibration.view)
            .map(|measure| result.measures.get(&event).and_then(|all| all.get(&measure)).cloned());
        let [lower, upper, lean] = values;
        let hub = |joint: Joint, travel: Option<&Value>| {
            let now = Mark {
                at: camera.apply(self.filmed(frame.points[joint].at)),
                filled: frame.filled,
            };
            let moved = event != Event::Address;
            Some(HubMark {
                now,
                address: self
                    .at_address(joint)
                    .filter(|_| moved)
                    .map(|p| camera.apply(self.filmed(p))),
                travel: travel.filter(|_| moved).and_then(Value::size),
            })
        };
        let mark = |joint| {
            Some(Mark {
                at: camera.apply(self.filmed(frame.points[joint].at)),
                filled: frame.filled,
            })
        };
        let view = self.viewed.calibration.view.name();
        StillScene {
            title: capitalised(results::event_name(event)),
            detail: format!("{view}, {:.2} s", frame.time.0 + self.viewed.offset_s),
            lower: hub(Joint::LowerHub, lower.as_ref()),
            upper: hub(Joint::UpperHub, upper.as_ref()),
            lean: lean.as_ref().and_then(Value::size),
            roll: self.roll(turn),
            joints: PerJoint::from_fn(mark),
            stature_px: frame.log_stature_px.value.exp() * scale,
            camera_scale: scale,
            keep_clear: Vec::new(),
            facts: facts(self.viewed.calibration.view, &[lower, upper, lean]),
            skeleton: self.options.skeleton,
            blur_face: self.options.blur_faces,
        }
    }

    fn camera_at(&self, index: usize) -> PictureFromReference {
        let frame = self.seen.track.frames.iter().find(|f| f.index == index);
        frame.map_or(PictureFromReference::STILL, |f| f.camera)
    }

    /// A lifted point where the reference picture shows it.
    fn filmed(&self, at: Pixel) -> Pixel {
        lens::filmed(self.seen.lens.as_ref(), at)
    }

    /// Mean position of a joint at address in the reference picture.
    fn at_address(&self, joint: Joint) -> Option<Pixel> {
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

fn capitalised(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |c| c.to_uppercase().chain(letters).collect())
}
