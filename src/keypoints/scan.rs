//! First look. In: pictures of the clip, thinned. Out: everybody in each of them.
//!
//! Each picture stands alone: detector, then the landmark network twice for each person, the
//! second time in the square that the first reading asks for (POSE.md section 3.6); then the
//! detector again with these people covered, until it finds nobody new. Squares in pixels.
//! It does not follow a person from picture to picture.

use super::workers::map_pictures;
use super::{KeypointsError, Landmark, Landmarks, Networks, Roi, Sighting};
use crate::decode::Picture;
use image::{Rgb, RgbImage};

/// People read in one picture; a golfer, a teacher and two more.
const PEOPLE: usize = 4;

/// The network's own limit for "a person is there" (`min_detection_confidence` of the graph).
pub(super) const PERSON: f64 = 0.5;

/// Two readings whose body points lie this close on average, as a share of the square, are one
/// person: a tenth is about 20 cm, and no two people stand in each other.
const SAME: f64 = 0.1;

/// The cover reaches this far past the outermost points, as a share of the square: the crown of
/// the head and the fingers lie outside them.
const COVER_MARGIN: f64 = 0.08;

/// Body landmarks, without the auxiliary ones.
const BODY: usize = 33;

/// Everybody in every picture, `threads` pictures at a time, in time order. `show` is called
/// with each picture as soon as it has been read, from the thread that read it.
///
/// # Errors
/// The first error of the pictures or of a network.
pub fn scan<F, E>(
    networks: &Networks,
    pictures: impl IntoIterator<Item = Result<Picture, F>>,
    threads: usize,
    show: impl Fn(&Picture, &[Landmarks]) + Sync,
) -> Result<Vec<Sighting>, E>
where
    E: From<F> + From<KeypointsError>,
{
    map_pictures(pictures, threads, |picture| {
        let people = look(networks, &picture.pixels)?;
        show(picture, &people);
        Ok(Sighting { time: picture.time, index: picture.index, people })
    })
}

fn look(networks: &Networks, image: &RgbImage) -> Result<Vec<Landmarks>, KeypointsError> {
    let mut people: Vec<Landmarks> = Vec::new();
    let mut rest = Rest::new(image);
    while people.len() < PEOPLE {
        let known = people.len();
        for found in networks.detect(&rest.image)? {
            let Some(person) = read_twice(networks, image, found.roi)? else { continue };
            if people.len() < PEOPLE && !people.iter().any(|other| is_same(other, &person)) {
                people.push(person);
            }
        }
        if people.len() == known {
            break;
        }
        people[known..].iter().for_each(|person| rest.cover(person));
    }
    Ok(people)
}

/// The picture without the people found so far. The detector sees the most striking person and
/// hardly the others: of two golfers side by side it gave one 0.94 and the other 0.24, and
/// 0.94 once the first was covered. Covered alone, nobody was seen in his place.
struct Rest {
    image: RgbImage,
    cover: Rgb<u8>,
}

impl Rest {
    fn new(image: &RgbImage) -> Self {
        Self { image: image.clone(), cover: mean_colour(image) }
    }

    /// Paints over the box around the body.
    fn cover(&mut self, person: &Landmarks) {
        let margin = COVER_MARGIN * person.roi.side;
        let body = &person.points[..BODY];
        let span = |at: fn(&Landmark) -> f64| {
            let low = body.iter().map(at).fold(f64::INFINITY, f64::min);
            let high = body.iter().map(at).fold(f64::NEG_INFINITY, f64::max);
            (index(low - margin), index(high + margin))
        };
        let ((left, right), (top, bottom)) = (span(|p| p.at.x), span(|p| p.at.y));
        for y in top..bottom.min(self.image.height()) {
            for x in left..right.min(self.image.width()) {
                self.image.put_pixel(x, y, self.cover);
            }
        }
    }
}

/// The nearest pixel index that is not negative.
#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "saturates")]
fn index(position: f64) -> u32 {
    position.round() as u32
}

fn mean_colour(image: &RgbImage) -> Rgb<u8> {
    let mut sums = [0_u64; 3];
    for pixel in image.pixels() {
        for (sum, value) in sums.iter_mut().zip(pixel.0) {
            *sum += u64::from(value);
        }
    }
    let count = u64::from(image.width()) * u64::from(image.height());
    Rgb(sums.map(|sum| u8::try_from(sum / count.max(1)).unwrap_or(u8::MAX)))
}

/// The person near `roi`, read again in the square that the first reading asks for.
fn read_twice(
    networks: &Networks,
    image: &RgbImage,
    roi: Roi,
) -> Result<Option<Landmarks>, KeypointsError> {
    match read(networks, image, roi)? {
        Some(first) => read(networks, image, first.next_roi()),
        None => Ok(None),
    }
}

/// The person in `roi`, if one is there.
pub(super) fn read(
    networks: &Networks,
    image: &RgbImage,
    roi: Roi,
) -> Result<Option<Landmarks>, KeypointsError> {
    if !roi.is_usable() {
        return Ok(None);
    }
    let person = networks.landmarks(image, roi)?;
    Ok((person.person.get() >= PERSON).then_some(person))
}

fn is_same(a: &Landmarks, b: &Landmarks) -> bool {
    let pairs = a.points.iter().zip(&b.points).take(BODY);
    let total: f64 = pairs.map(|(p, q)| p.at.distance(q.at)).sum();
    total < SAME * a.roi.side.min(b.roi.side) * 33.0
}
