//! A still for the sheet. In: a still of `measure --out` and where the head and the body are in
//! it (`stills/places.json`, shares of the picture's width and height). Out: the picture without
//! its strip of text, cut to the golfer, faces hidden if asked.

use std::collections::BTreeMap;
use std::sync::Arc;

use image::RgbImage;
use image::imageops;
use serde::{Deserialize, Serialize};

use crate::body::Joint;
use crate::frames::Pixel;
use crate::stills::{Area, StillScene, blur};

/// A cut picture with what stands below it.
#[derive(Clone, Debug, PartialEq)]
pub struct Photo {
    pub picture: Arc<RgbImage>,
    pub caption: String,
}

/// Left, top, right, bottom as shares of width and height.
pub type Box4 = [f64; 4];

/// Where things are in one still.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Still {
    /// Every face that is known, the golfer's first.
    pub faces: Vec<Box4>,
    /// The golfer from hands and head to feet.
    pub body: Box4,
    /// The faces are hidden already.
    pub hidden: bool,
}

impl Still {
    /// Where things are in a scene, for a picture of this size (pixels) before it is enlarged.
    #[must_use]
    pub fn of(scene: &StillScene, width: u32, height: u32) -> Self {
        let (width, height) = (f64::from(width.max(1)), f64::from(height.max(1)));
        let share = |a: &Area| [a.left / width, a.top / height, a.right / width, a.bottom / height];
        let head = scene.head_area().map(|head| head.grown(FACE_MARGIN * scene.stature_px));
        let parts = head.iter().copied().chain(scene.hand_areas());
        let joints = Joint::ALL.into_iter().filter_map(|joint| scene.joints[joint]);
        let points = joints.map(|mark| Area::around(mark.at, Pixel::new(1.0, 1.0)));
        let body = parts.chain(points).reduce(|all, part| all.union(&part));
        Self {
            faces: head.iter().chain(&scene.other_faces).map(share).collect(),
            body: body.as_ref().map_or([0.0, 0.0, 1.0, 1.0], share),
            hidden: scene.blur_face,
        }
    }
}

/// The file beside the stills that holds [`Places`].
pub const PLACES: &str = "places.json";

/// Every still of a folder by its file's name.
pub type Places = BTreeMap<String, Still>;

/// A face has this much room around the head's box, statures: the head's place has an error.
const FACE_MARGIN: f64 = 0.02;
/// Room around the body, of its height.
const ROOM: f64 = 0.08;
/// Labels stand in a still up to so far around the body, of its shorter side (their letters are
/// sized by it): a narrower cut would go through them.
const LABELS: f64 = 0.76;
/// Enough for print at the size it has on the sheet, pixels.
const WIDEST: u32 = 640;

impl Photo {
    /// Cut so that width is `shape` of height; `aspect` is height of width of the picture without
    /// its strip. Nothing when faces are to be hidden and it is not
    /// known where they are.
    #[must_use]
    pub fn cut(
        still: &RgbImage,
        aspect: f64,
        place: Option<&Still>,
        hide: bool,
        shape: f64,
        caption: &str,
    ) -> Option<Self> {
        let width = f64::from(still.width());
        let height = (aspect * width).min(f64::from(still.height()));
        let mut picture = still.clone();
        match place {
            Some(place) if hide && !place.hidden => {
                if place.faces.is_empty() {
                    return None;
                }
                for face in &place.faces {
                    blur(&mut picture, &scaled(*face, width, height));
                }
            }
            None if hide => return None,
            _ => {}
        }
        let body = place.map_or([0.0, 0.0, 1.0, 1.0], |place| place.body);
        let area = around(scaled(body, width, height), (width, height), shape);
        let cut = imageops::crop_imm(
            &picture,
            whole(area.left),
            whole(area.top),
            whole(area.width()).max(1),
            whole(area.height()).max(1),
        )
        .to_image();
        Some(Self { picture: Arc::new(narrowed(cut)), caption: caption.to_owned() })
    }
}

fn scaled(part: Box4, width: f64, height: f64) -> Area {
    let [left, top, right, bottom] = part;
    Area::new(left * width, top * height, right * width, bottom * height)
}

/// The body with room around it, in the shape asked for, inside the picture; smaller than the
/// body where the picture is too small for the shape.
fn around(body: Area, picture: (f64, f64), shape: f64) -> Area {
    let room = ROOM * body.height();
    let (wide, high) = (body.width() + 2.0 * room, body.height() + 2.0 * room);
    let labels = LABELS * picture.0.min(picture.1);
    let height = high.max(wide.max(labels) / shape).min(picture.1).min(picture.0 / shape);
    let (half_width, half_height) = (height * shape / 2.0, height / 2.0);
    let centre = body.centre();
    let x = centre.x.clamp(half_width, picture.0 - half_width);
    let y = centre.y.clamp(half_height, picture.1 - half_height);
    Area::new(x - half_width, y - half_height, x + half_width, y + half_height)
}

fn narrowed(picture: RgbImage) -> RgbImage {
    if picture.width() <= WIDEST {
        return picture;
    }
    let height = f64::from(picture.height()) * f64::from(WIDEST) / f64::from(picture.width());
    imageops::resize(&picture, WIDEST, whole(height).max(1), imageops::FilterType::Triangle)
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "held between 0 and 65535 first"
)]
fn whole(length: f64) -> u32 {
    length.floor().clamp(0.0, 65_535.0) as u32
}

#[cfg(test)]
mod tests {
    use super::*;
    use image::Rgb;

    fn still() -> (RgbImage, Still) {
        let stripes = |x: u32, y: u32| if (x + y).is_multiple_of(2) { 255 } else { 0 };
        let picture = RgbImage::from_fn(300, 600, |x, y| Rgb([stripes(x, y); 3]));
        let face = [0.45, 0.2, 0.55, 0.3];
        let place = Still { faces: vec![face], body: [0.3, 0.2, 0.7, 0.9], hidden: false };
        (picture, place)
    }

    #[test]
    fn the_strip_is_gone_and_the_shape_is_kept() {
        let (picture, place) = still();
        for shape in [0.5, 0.66, 1.0, 2.0] {
            let photo = Photo::cut(&picture, 5.0 / 3.0, Some(&place), false, shape, "Top").unwrap();
            let (width, height) = photo.picture.dimensions();
            let got = f64::from(width) / f64::from(height);
            assert!((got / shape - 1.0).abs() < 0.03, "{shape}: {width} x {height}");
            assert!(height <= 500);
        }
    }

    #[test]
    fn a_face_is_hidden_or_there_is_no_picture() {
        let (picture, place) = still();
        let photo = Photo::cut(&picture, 5.0 / 3.0, Some(&place), true, 0.6, "").unwrap();
        let grey = photo.picture.pixels().filter(|p| (100..156).contains(&p.0[0])).count();
        assert!(grey > 800, "{grey}");
        assert_eq!(Photo::cut(&picture, 5.0 / 3.0, None, true, 0.6, ""), None);
        let blind = Still { faces: vec![], ..place };
        assert_eq!(Photo::cut(&picture, 5.0 / 3.0, Some(&blind), true, 0.6, ""), None);
        let hidden = Still { hidden: true, ..blind };
        assert!(Photo::cut(&picture, 5.0 / 3.0, Some(&hidden), true, 0.6, "").is_some());
    }
}
