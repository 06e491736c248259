//! The swing as a clip to hand out. In: a measurement, which view. Out: the bytes of an
//! annotated slow-motion clip, address to finish, small enough for any phone.
//!
//! Every displayed frame is drawn with both hubs, the line between them and the verticals
//! through their places at address, and the event's name about each event. Frames are taken,
//! drawn and coded one after the other: one is in memory at a time. No frame is made up: slow
//! means shown longer. It has no sound.

use image::{RgbImage, imageops};

use crate::calibration::View;
use crate::decode::{Coding, Encoder, Pictures};
use crate::error::Error;
use crate::events::Event;
use crate::frames::Pixel;
use crate::lift::LiftedFrame;
use crate::results;
use crate::stills::{self, StillScene};

use super::Measurement;
use super::scene::{ClipScene, Look};

/// A downswing of 0.25 s (FACTS A3.5) then lasts a second: long enough to be seen.
const SLOWER: f64 = 4.0;
/// Widest picture, pixels: sharp on a phone held upright, and quickly sent.
const WIDEST: u32 = 720;
/// Frames a second of real time; with [`SLOWER`] about 30 a second on the screen.
const PER_S: f64 = 125.0;
/// Shown before takeaway and after the finish, seconds of real time.
const LEAD_S: f64 = 0.4;
const TAIL_S: f64 = 0.3;
/// An event's name stands this long before and after it, seconds of real time.
const NAMED_S: f64 = 0.06;
/// A frame this far from any that was read has no body to draw, seconds of real time.
const READ_S: f64 = 0.02;
/// The last frame stays, seconds on the screen.
const LAST_S: f64 = 1.0;

/// A clip to hand out.
pub struct ShortClip {
    pub bytes: Vec<u8>,
    /// `mp4` or `webm`.
    pub ending: &'static str,
}

/// Makes the clip of one view; `None` where the swing has no such view.
///
/// # Errors
/// When the clip cannot be read any more, or no clip can be written.
pub fn short_clip(
    measured: &Measurement,
    view: View,
    look: Look,
) -> Result<Option<ShortClip>, Error> {
    let views = &measured.evaluated.views;
    let Some(viewed) = views.iter().find(|v| v.calibration.view == view) else {
        return Ok(None);
    };
    let clip = ClipScene { seen: &measured.observed[viewed.clip], viewed, look };
    let coding = Coding::available()?;
    let size = clip.seen.info.size;
    let factor = (f64::from(WIDEST) / f64::from(size.width)).min(1.0);
    let film = Film {
        from: start(&clip),
        factor,
        size: (even(size.width, factor), even(size.height, factor)),
        clip,
    };
    let bytes = film.make(coding)?;
    Ok(Some(ShortClip { bytes, ending: coding.ending() }))
}

/// The file's name without its ending: `face-on_swing`.
#[must_use]
pub fn name(view: View) -> String {
    format!("{}_swing", view.name())
}

fn start(clip: &ClipScene<'_>) -> f64 {
    let events = &clip.viewed.events;
    let first = clip.viewed.lifted.frames.first().map_or(0.0, |f| f.time.0);
    events.takeaway.map_or(first, |t| t.value - LEAD_S).max(first)
}

fn end(clip: &ClipScene<'_>) -> f64 {
    let last = clip.viewed.lifted.frames.last().map_or(0.0, |f| f.time.0);
    clip.viewed.events.finish.map_or(last, |t| t.value + TAIL_S).min(last)
}

/// Coding takes even sizes only.
#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "below the side's own")]
fn even(side: u32, factor: f64) -> u32 {
    ((f64::from(side) * factor).round() as u32 & !1).max(2)
}

struct Film<'a> {
    clip: ClipScene<'a>,
    /// Real time of its first frame.
    from: f64,
    size: (u32, u32),
    factor: f64,
}

impl Film<'_> {
    fn make(&self, coding: Coding) -> Result<Vec<u8>, Error> {
        let clock = &self.clip.seen.clock;
        let (from, to) = (clock.file(self.from), clock.file(end(&self.clip)));
        let pictures = Pictures::open(&self.clip.seen.info, from, to, clock.stretch / PER_S)?;
        let mut encoder = Encoder::start(coding, self.size)?;
        let mut shown = 0.0;
        for picture in pictures {
            let picture = picture?;
            let time = clock.real(picture.time.seconds());
            let Some(drawn) = self.draw(&picture.pixels, time)? else { continue };
            shown = SLOWER * (time - self.from).max(0.0);
            encoder.push(&drawn, shown)?;
        }
        Ok(encoder.finish(shown + LAST_S)?)
    }

    /// The frame as it is shown. Where nobody was read it is shown plain; unless faces are to be
    /// hidden: then it is left out, since nobody knows where they are.
    fn draw(&self, picture: &RgbImage, time: f64) -> Result<Option<RgbImage>, Error> {
        let (width, height) = self.size;
        let small = if picture.dimensions() == self.size {
            picture.clone()
        } else {
            imageops::thumbnail(picture, width, height)
        };
        let near = self.clip.frame_near(time);
        match near.filter(|frame| (frame.time.0 - time).abs() <= READ_S) {
            Some(frame) => Ok(Some(stills::overlay(&small, &self.scene(frame))?)),
            None if self.clip.look.blur_faces => Ok(None),
            None => Ok(Some(small)),
        }
    }

    fn scene(&self, frame: &LiftedFrame) -> StillScene {
        let mut scene = self.clip.plain(frame, true).mapped(self.factor, Pixel::new(0.0, 0.0));
        let now = |event: &Event| {
            let at = self.clip.viewed.events.at(*event);
            at.is_some_and(|at| (at.value - frame.time.0).abs() <= NAMED_S)
        };
        if let Some(event) = Event::ALL.iter().find(|event| now(event)) {
            scene.title = results::event_name(*event).to_owned();
        }
        scene
    }
}
