//! First look. In: pictures of the clip, thinned. Out: everybody in each of them.
//!
//! For each picture: detector, in parts of the picture where it sees nobody in the whole; then the
//! landmark network for each person, a second time in the
//! square that the first reading asks for where that one is clearly another (POSE.md section
//! 3.6), and once more in the mirror: the square to read next is in the middle between what both
//! ask for, so that a mirrored clip gives the mirrored square; then the detector again with these
//! people covered, until it finds nobody new. This last look is done in the first of [`GROUP`]
//! pictures, and in the others where it found somebody. Groups stand alone, so the answers do not
//! depend on threads. Squares in pixels. It does not follow a person from picture to picture.

use std::f64::consts::PI;

use super::crop::{Facing, Sampling};
use super::roi::Shift;
use super::workers::map;
use super::{KeypointsError, Landmark, Landmarks, Networks, Roi, Sighting, Square};
use crate::decode::Picture;
use image::{Rgb, RgbImage};

/// People read in one picture; a golfer, a teacher and two more.
const PEOPLE: usize = 4;

/// Somebody beside the golfer who is in the picture for less than a quarter of a second (three
/// pictures of a scan of twelve a second) neither swings nor matters.
const GROUP: usize = 3;

/// The network's own limit for "a person is there" (`min_detection_confidence` of the graph).
pub(super) const PERSON: f64 = 0.5;

/// A first reading whose next square is within this is kept.
///
/// Measured on four rendered swings with a guide from the scan every 0.13 s: no picture was
/// beyond it (90 % within 1.2 %, 3.3 %, 2.8 degrees). There one reading was nearer to what the
/// scan itself gives for the picture (0.28 to 0.51 % of the side) than a second reading was
/// (0.41 to 0.64 %), as a reading's own noise is about 0.4 %; with 0.27 s between the guide's
/// squares up to 4 % of the pictures were beyond it, with 0.4 s up to 10 %.
pub(super) const SETTLED: Shift = Shift { centre: 0.06, size: 0.06, rotation: 6.0 * PI / 180.0 };

/// The scan does not know the golfer yet, and the networks find people best as they learnt to.
const AS_IT_IS: (Facing, Sampling) = (Facing::AsSeen, Sampling::Point);
const MIRRORED: (Facing, Sampling) = (Facing::Mirrored, Sampling::Point);

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
    map(groups(pictures.into_iter()), threads, |group: &Vec<Picture>| {
        let mut crowded = true;
        let mut seen = Vec::new();
        for picture in group {
            let (people, others) = look(networks, &picture.pixels, crowded)?;
            crowded = others;
            show(picture, &people);
            seen.push(Sighting { time: picture.time, index: picture.index, people });
        }
        Ok(seen)
    })
}

/// The pictures by [`GROUP`]; an error takes the place of its group.
fn groups<F>(
    mut pictures: impl Iterator<Item = Result<Picture, F>>,
) -> impl Iterator<Item = Result<Vec<Picture>, F>> {
    std::iter::from_fn(move || {
        let group: Result<Vec<Picture>, F> = pictures.by_ref().take(GROUP).collect();
        match group {
            Ok(group) if group.is_empty() => None,
            other => Some(other),
        }
    })
}

/// Everybody in a picture, and whether looking behind those whom the detector saw first found
/// anybody; without `behind` only those.
fn look(
    networks: &Networks,
    image: &RgbImage,
    behind: bool,
) -> Result<(Vec<Landmarks>, bool), KeypointsError> {
    let mut people: Vec<Landmarks> = Vec::new();
    add(networks, image, image, &mut people)?;
    let striking = people.len();
    if !behind || striking == 0 {
        return Ok((people, false));
    }
    let mut rest = Rest::new(image);
    let mut covered = 0;
    while people.len() < PEOPLE && covered < people.len() {
        people[covered..].iter().for_each(|person| rest.cover(person));
        covered = people.len();
        add(networks, image, &rest.image, &mut people)?;
    }
    let others = people.len() > striking;
    Ok((people, others))
}

/// Adds those whom the detector sees in `rest`, read in the whole picture.
fn add(
    networks: &Networks,
    image: &RgbImage,
    rest: &RgbImage,
    people: &mut Vec<Landmarks>,
) -> Result<(), KeypointsError> {
    let mut seen = networks.detect(rest)?;
    if seen.is_empty() && people.is_empty() {
        seen = networks.detect_small(rest)?;
    }
    for found in seen {
        let Some((mut person, _)) = read_settled(networks, image, found.roi, AS_IT_IS)? else {
            continue;
        };
        if let Some((mirrored, _)) = read(networks, image, person.roi, MIRRORED)? {
            person.agree_on_square(&mirrored);
        }
        if people.len() < PEOPLE && !people.iter().any(|other| is_same(other, &person)) {
            people.push(person);
        }
    }
    Ok(())
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

/// The person near `roi`, read again in the square that the first reading asks for unless that
/// is much the same; and the square that counts.
pub(super) fn read_settled(
    networks: &Networks,
    image: &RgbImage,
    roi: Roi,
    how: (Facing, Sampling),
) -> Result<Option<(Landmarks, Square)>, KeypointsError> {
    let Some(first) = read(networks, image, roi, how)? else { return Ok(None) };
    let next = first.0.next_roi();
    if roi.shift_to(&next).is_within(&SETTLED) {
        return Ok(Some(first));
    }
    read(networks, image, next, how)
}

/// The person in `roi`, if one is there.
fn read(
    networks: &Networks,
    image: &RgbImage,
    roi: Roi,
    how: (Facing, Sampling),
) -> Result<Option<(Landmarks, Square)>, KeypointsError> {
    if !roi.is_usable() {
        return Ok(None);
    }
    let square = Square::new(image, roi, how.0, how.1)?;
    let person = networks.landmarks(&square)?;
    Ok((person.person.get() >= PERSON).then_some((person, square)))
}

fn is_same(a: &Landmarks, b: &Landmarks) -> bool {
    let pairs = a.points.iter().zip(&b.points).take(BODY);
    let total: f64 = pairs.map(|(p, q)| p.at.distance(q.at)).sum();
    total < SAME * a.roi.side.min(b.roi.side) * 33.0
}
