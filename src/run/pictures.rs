//! The stills of a measurement: one at each event for each clip, and address beside top. In: the
//! measurement, which still. Out: the picture, or the folder of all of them; command line and
//! page get the same.

use std::path::Path;

use image::RgbImage;

use crate::calibration::View;
use crate::decode;
use crate::error::Error;
use crate::events::Event;
use crate::results::{self, ResultError, write_atomically};
use crate::sheet::{PHOTO_SHAPE, PLACES, Photo, Places, Still};
use crate::stills::{self, StillScene};

use super::Measurement;
use super::scene::{ClipScene, Look};

/// What a still shows.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Moment {
    At(Event),
    /// Address beside top.
    AddressAndTop,
}

impl Moment {
    /// Every still of a clip.
    pub fn all() -> impl Iterator<Item = Self> {
        Event::ALL.into_iter().map(Self::At).chain([Self::AddressAndTop])
    }
}

/// One still.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Wish {
    pub view: View,
    pub moment: Moment,
    pub look: Look,
    /// Longest side at most, pixels: [`PHONE`], or what a page has room for.
    pub longest: Option<u32>,
}

/// A picture no longer than this is sharp on any phone and quickly sent, pixels.
pub const PHONE: u32 = 1600;

impl Wish {
    /// The still's file name without its ending: `face-on_top`.
    #[must_use]
    pub fn name(view: View, moment: Moment) -> String {
        match moment {
            Moment::At(event) => format!("{}_{}", view.name(), results::event_key(event)),
            Moment::AddressAndTop => format!("{}_address_top", view.name()),
        }
    }

    /// Which still has this name.
    #[must_use]
    pub fn named(name: &str) -> Option<(View, Moment)> {
        let views = [View::FaceOn, View::DownTheLine];
        let mut all = views.into_iter().flat_map(|v| Moment::all().map(move |m| (v, m)));
        all.find(|(view, moment)| Self::name(*view, *moment) == name)
    }
}

/// Draws one still; `None` where the swing has no such view or event.
///
/// # Errors
/// When the clip cannot be read any more, or a face is to be hidden that was not found.
pub fn still(measured: &Measurement, wish: &Wish) -> Result<Option<RgbImage>, Error> {
    let views = &measured.evaluated.views;
    let Some(viewed) = views.iter().find(|v| v.calibration.view == wish.view) else {
        return Ok(None);
    };
    let clip = ClipScene { seen: &measured.observed[viewed.clip], viewed, look: wish.look };
    let drawn = match wish.moment {
        Moment::At(event) => match picture(measured, &clip, event)? {
            Some((picture, scene)) => stills::annotate(&picture, &scene)?,
            None => return Ok(None),
        },
        Moment::AddressAndTop => {
            let (address, top) =
                (picture(measured, &clip, Event::Address)?, picture(measured, &clip, Event::Top)?);
            let (Some(address), Some(top)) = (address, top) else { return Ok(None) };
            stills::pair((&address.0, &address.1), (&top.0, &top.1))?
        }
    };
    Ok(Some(match wish.longest {
        Some(most) => stills::at_most(drawn, most),
        None => drawn,
    }))
}

/// Draws and writes all stills of a measurement, and where golfer and faces are in them: the
/// sheet cuts its pictures by it and can hide faces later.
pub fn write(measured: &Measurement, look: Look, folder: &Path) -> Result<(), Error> {
    let mut places = Places::new();
    for viewed in &measured.evaluated.views {
        let view = viewed.calibration.view;
        for moment in Moment::all() {
            let wish = Wish { view, moment, look, longest: None };
            let Some(drawn) = still(measured, &wish)? else { continue };
            let file = folder.join(format!("{}.png", Wish::name(view, moment)));
            write_atomically(&file, &stills::encode_png(&drawn)?)?;
        }
        for event in Event::ALL {
            let name = format!("{}.png", Wish::name(view, Moment::At(event)));
            places.extend(place(measured, view, event, look).map(|place| (name, place)));
        }
    }
    let text = serde_json::to_vec_pretty(&places).map_err(ResultError::Json)?;
    Ok(write_atomically(&folder.join(PLACES), &text)?)
}

/// Where the golfer and the faces are in an event's still.
fn place(measured: &Measurement, view: View, event: Event, look: Look) -> Option<Still> {
    let viewed = measured.evaluated.views.iter().find(|v| v.calibration.view == view)?;
    let clip = ClipScene { seen: &measured.observed[viewed.clip], viewed, look };
    let frame = clip.frame_near(viewed.events.at(event)?.value)?;
    let scene = clip.at_event(&measured.result, event, frame);
    let entry = measured.result.clips.iter().find(|clip| clip.view == view)?;
    Some(Still::of(&scene, entry.width, entry.height))
}

/// An event's picture for the pupil's sheet, cut to the golfer.
///
/// # Errors
/// As [`still`].
pub fn photo(measured: &Measurement, wish: &Wish, caption: &str) -> Result<Option<Photo>, Error> {
    let Moment::At(event) = wish.moment else { return Ok(None) };
    let Some(still) = still(measured, wish)? else { return Ok(None) };
    let Some(entry) = measured.result.clips.iter().find(|clip| clip.view == wish.view) else {
        return Ok(None);
    };
    let aspect = f64::from(entry.height) / f64::from(entry.width.max(1));
    let place = place(measured, wish.view, event, wish.look);
    Ok(Photo::cut(&still, aspect, place.as_ref(), false, PHOTO_SHAPE, caption))
}

/// An event's picture and what is to be drawn on it.
fn picture(
    measured: &Measurement,
    clip: &ClipScene<'_>,
    event: Event,
) -> Result<Option<(RgbImage, StillScene)>, Error> {
    let Some(time) = clip.viewed.events.at(event) else { return Ok(None) };
    let Some(frame) = clip.frame_near(time.value) else { return Ok(None) };
    let Some(stamp) = clip.seen.timestamp(frame.index) else { return Ok(None) };
    let picture = decode::picture_at(&clip.seen.info, stamp)?.pixels;
    Ok(Some((picture, clip.at_event(&measured.result, event, frame))))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_of_stills_lead_back_to_them() {
        for view in [View::FaceOn, View::DownTheLine] {
            for moment in Moment::all() {
                assert_eq!(Wish::named(&Wish::name(view, moment)), Some((view, moment)));
            }
        }
        assert_eq!(Wish::name(View::FaceOn, Moment::AddressAndTop), "face-on_address_top");
        for other in ["", "face-on", "../face-on_top", "face-on_top.png"] {
            assert_eq!(Wish::named(other), None);
        }
    }
}
