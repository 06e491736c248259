//! Second look. In: every picture of the swing and where the golfer is about. Out: the golfer
//! in each picture, or nobody.
//!
//! The guide gives a square at the picture's file time; the landmark network reads it, and
//! reads again in the square that the first reading asks for where that one is clearly
//! another. The square that counts is read by the golfer network too ([`Landmarks::golfer`]).
//! Both see a left-hander in the mirror, so that his clip is read as a right-hander's is.
//! Squares in pixels. It does not look for anybody outside the guide, and each
//! picture stands alone, so the answers do not depend on threads.
//!
//! The guide is best made of the squares that the scan read ([`Landmarks::roi`]), one every
//! 0.13 s of real time or closer. A wrong size is the guide's to avoid: asked for the next
//! square, the network corrects only a fifth of it at a time.

use std::f64::consts::FRAC_PI_4;

use super::crop::Sampling;
use super::roi::Shift;
use super::scan::read_settled;
use super::workers::map;
use super::{Guide, KeypointsError, Landmarks, Networks, Roi, Sighting};
use crate::decode::Picture;
use crate::frames::Handed;
use image::RgbImage;

/// A reading whose square is farther than this from the guide is of somebody else. The network
/// finds its way back from 25 % shift, sizes of 0.55 to 1.5 and 30 degrees (POSE.md section 5);
/// its own score does not notice that it reads another person.
const SAME_PERSON: Shift = Shift { centre: 0.25, size: 0.4, rotation: FRAC_PI_4 };

/// The golfer in every picture, `threads` pictures at a time, in time order.
///
/// # Errors
/// The first error of the pictures or of a network.
pub fn follow<F, E>(
    networks: &Networks,
    pictures: impl IntoIterator<Item = Result<Picture, F>>,
    guide: &Guide,
    threads: usize,
    handed: Handed,
) -> Result<Vec<Sighting>, E>
where
    E: From<F> + From<KeypointsError>,
{
    map(pictures, threads, |picture: &Picture| {
        let golfer = match place_at(guide, picture.time.seconds()) {
            Some(roi) => look(networks, &picture.pixels, roi, handed)?,
            None => None,
        };
        let people = golfer.into_iter().collect();
        Ok(vec![Sighting { time: picture.time, index: picture.index, people }])
    })
}

fn look(
    networks: &Networks,
    image: &RgbImage,
    expected: Roi,
    handed: Handed,
) -> Result<Option<Landmarks>, KeypointsError> {
    let how = (handed.into(), Sampling::Mean);
    let Some((mut person, square)) = read_settled(networks, image, expected, how)? else {
        return Ok(None);
    };
    if !expected.shift_to(&person.next_roi()).is_within(&SAME_PERSON) {
        return Ok(None);
    }
    person.golfer = Some(networks.golfer(&square)?);
    Ok(Some(person))
}

/// The guide's square at a file time: between its neighbours, or the nearest one at the ends.
#[must_use]
pub fn place_at(guide: &Guide, time: f64) -> Option<Roi> {
    let after = guide.partition_point(|(t, _)| *t < time);
    let Some((t1, next)) = guide.get(after) else { return guide.last().map(|(_, roi)| *roi) };
    let Some((t0, last)) = after.checked_sub(1).and_then(|i| guide.get(i)) else {
        return Some(*next);
    };
    Some(last.blend(next, (time - t0) / (t1 - t0)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frames::Pixel;

    fn roi(x: f64) -> Roi {
        Roi { centre: Pixel::new(x, 5.0), side: 10.0, rotation: 0.0 }
    }

    #[test]
    fn the_guide_is_interpolated_and_held_at_its_ends() {
        let guide = vec![(1.0, roi(0.0)), (2.0, roi(10.0)), (2.5, roi(20.0))];
        let x = |t| place_at(&guide, t).map(|roi| roi.centre.x);
        assert_eq!(x(0.0), Some(0.0));
        assert_eq!(x(1.0), Some(0.0));
        assert_eq!(x(1.5), Some(5.0));
        assert_eq!(x(2.25), Some(15.0));
        assert_eq!(x(9.0), Some(20.0));
        assert_eq!(place_at(&Vec::new(), 1.0), None);
    }
}
