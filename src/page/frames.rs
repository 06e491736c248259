//! Frame by frame. In: a swing's clip and a frame number. Out: that frame as the decoder gives
//! it, and where the body is in every frame. Pixels of the upright clip.

use std::collections::{BTreeMap, HashMap};
use std::sync::{Arc, Mutex};

use serde::Serialize;

use super::measured::Measured;
use super::picture;
use super::reply::{Refusal, Reply};
use super::state::{Page, held};
use crate::body::Joint;
use crate::calibration::View;
use crate::decode::{DecodeError, Frames};
use crate::frames::Handed;
use crate::run::evaluate::Viewed;
use crate::run::lens;
use crate::run::observe::Observed;
use crate::track::PictureFromReference;

/// The exact frame as JPEG, its longer side at most `most` pixels.
///
/// # Errors
/// When there is no such frame, or the clip cannot be decoded.
pub fn frame(page: &Page, swing: &Measured, view: View, index: usize, most: u32) -> Reply<Vec<u8>> {
    let (seen, _) = part(swing, view)?;
    if index >= seen.info.frames.len() {
        return Err(Refusal::missing("frame"));
    }
    let told = |error: DecodeError| Refusal::failed(error.to_string());
    let film = film(page, seen).map_err(told)?;
    let picture = held(&film).picture(index).map_err(told)?;
    picture::jpeg(&picture::at_most(&picture, most))
}

fn film(page: &Page, seen: &Observed) -> Result<Arc<Mutex<Frames>>, DecodeError> {
    let name = seen.info.path.display().to_string();
    let mut films = held(&page.films);
    if let Some(film) = films.get(&name) {
        return Ok(film);
    }
    let film = Arc::new(Mutex::new(Frames::open(&seen.info)?));
    films.put(&name, Arc::clone(&film));
    Ok(film)
}

fn part(swing: &Measured, view: View) -> Reply<(&Observed, &Viewed)> {
    let measurement = &swing.measurement;
    let viewed = measurement.evaluated.views.iter().find(|v| v.calibration.view == view);
    let viewed = viewed.ok_or_else(|| Refusal::missing("view of this swing"))?;
    let seen = measurement.observed.get(viewed.clip);
    Ok((seen.ok_or_else(|| Refusal::missing("clip"))?, viewed))
}

/// Where the body is.
#[derive(Debug, Serialize)]
pub struct TrackShown {
    /// Width and height of the upright picture.
    size: [u32; 2],
    frame_count: usize,
    frames: Vec<FrameShown>,
    /// Frame of each event.
    events: BTreeMap<&'static str, usize>,
    /// How far the true vertical leans to the right in the picture, radians.
    roll: f64,
    /// Ends of the rod that was found and taken for the target line.
    #[serde(skip_serializing_if = "Option::is_none")]
    rod: Option<[[f64; 2]; 2]>,
}

#[derive(Debug, Serialize)]
struct FrameShown {
    index: usize,
    /// Real time since the clip's first frame, seconds.
    t: f64,
    points: HashMap<Joint, [f64; 2]>,
}

/// # Errors
/// When the swing has no such view.
pub fn track(swing: &Measured, view: View) -> Reply<TrackShown> {
    let (seen, viewed) = part(swing, view)?;
    let cameras: BTreeMap<usize, PictureFromReference> =
        seen.track.frames.iter().map(|f| (f.index, f.camera)).collect();
    let frames = viewed.lifted.frames.iter().map(|frame| {
        let camera = cameras.get(&frame.index).copied().unwrap_or(PictureFromReference::STILL);
        let at = |joint: Joint| {
            let at = camera.apply(lens::filmed(seen.lens.as_ref(), frame.points[joint].at));
            (joint, [tenth(at.x), tenth(at.y)])
        };
        FrameShown {
            index: frame.index,
            t: frame.time.0,
            points: Joint::ALL.into_iter().map(at).collect(),
        }
    });
    let roll = viewed.calibration.attitude.roll;
    let events = swing.measurement.result.events.iter().filter_map(|(event, entry)| {
        Some((crate::results::event_key(*event), *entry.frames.get(&view)?))
    });
    let rod = viewed.calibration.rod.and_then(|rod| seen.sticks.get(rod));
    Ok(TrackShown {
        size: [seen.info.size.width, seen.info.size.height],
        frame_count: seen.info.frames.len(),
        frames: frames.collect(),
        events: events.collect(),
        roll: if viewed.calibration.handed == Handed::Left { -roll } else { roll },
        rod: rod.map(|rod| [rod.from, rod.to].map(|end| [tenth(end.x), tenth(end.y)])),
    })
}

/// A tenth of a pixel is finer than any mark.
fn tenth(x: f64) -> f64 {
    (x * 10.0).round() / 10.0
}
