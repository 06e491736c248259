//! The first picture somebody sees of a clip. In: a picture and the people in it. Out: the
//! picture with the largest body drawn on it. Says that somebody was found, measures nothing.

use std::sync::Mutex;

use image::RgbImage;

use super::observe::Instruments;
use crate::body::{Joint, PerJoint};
use crate::decode::{ClipInfo, Pictures};
use crate::error::Error;
use crate::frames::Pixel;
use crate::keypoints::{self, Landmark, Landmarks};
use crate::stills::outline;

/// Pictures of a clip that are looked at for somebody, spread over all of it.
const GLANCES: u32 = 8;

/// The network's left and right landmarks of a limb's points (POSE.md).
const PAIRS: [(usize, usize, Joint, Joint); 8] = [
    (11, 12, Joint::LeadShoulder, Joint::TrailShoulder),
    (13, 14, Joint::LeadElbow, Joint::TrailElbow),
    (15, 16, Joint::LeadWrist, Joint::TrailWrist),
    (23, 24, Joint::LeadHip, Joint::TrailHip),
    (25, 26, Joint::LeadKnee, Joint::TrailKnee),
    (27, 28, Joint::LeadAnkle, Joint::TrailAnkle),
    (29, 30, Joint::LeadHeel, Joint::TrailHeel),
    (31, 32, Joint::LeadToe, Joint::TrailToe),
];

/// The first picture of a clip, of a few spread over it, in which somebody is found: for a clip
/// that has to wait to be looked at. `None` where nobody is.
///
/// # Errors
/// When the clip cannot be decoded.
pub fn first_picture(
    info: &ClipInfo,
    instruments: &Instruments,
) -> Result<Option<RgbImage>, Error> {
    let step = info.duration_s / f64::from(GLANCES);
    for picture in Pictures::open(info, f64::NEG_INFINITY, f64::INFINITY, step)? {
        let found = Mutex::new(None);
        let show = |picture: &crate::decode::Picture, people: &[Landmarks]| {
            if let (false, Ok(mut found)) = (people.is_empty(), found.lock()) {
                *found = Some(drawn(&picture.pixels, people));
            }
        };
        keypoints::scan::<_, Error>(&instruments.networks, [picture], 1, show)?;
        if let Ok(Some(found)) = found.into_inner() {
            return Ok(Some(found));
        }
    }
    Ok(None)
}

/// The picture with the body of whoever looks largest; left and right need not be lead and
/// trail, which makes no difference to an outline.
pub fn drawn(picture: &RgbImage, people: &[Landmarks]) -> RgbImage {
    let largest = people.iter().max_by(|a, b| a.roi.side.total_cmp(&b.roi.side));
    largest.map_or_else(|| picture.clone(), |person| outline(picture, &points(person)))
}

fn points(person: &Landmarks) -> PerJoint<Option<Pixel>> {
    let mut points = PerJoint::from_fn(|_| None);
    let at = |i: usize| {
        let p = person.points[i].at;
        Some(Pixel::new(p.x + Landmark::HALF_PIXEL, p.y + Landmark::HALF_PIXEL))
    };
    for (left, right, lead, trail) in PAIRS {
        points[lead] = at(left);
        points[trail] = at(right);
    }
    points
}
