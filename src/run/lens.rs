//! A clip's lens. In: the lens file, the golfer as filmed. Out: the golfer as a pinhole camera
//! would have seen him, which is what every later stage takes a picture to be, and points of
//! that picture back where they were filmed.

use std::borrow::Cow;
use std::path::Path;

use crate::calibration::Lens;
use crate::error::Error;
use crate::frames::{PictureSize, Pixel};
use crate::keypoints::{Landmark, Landmarks, Roi};
use crate::track::Track;
use crate::warning::Warning;

/// # Errors
/// When the file cannot be read or is no lens of such pictures.
pub fn read(file: &Path, size: PictureSize) -> Result<Lens, Error> {
    Ok(Lens::parse(&text(file)?, size)?)
}

/// Before any clip is looked at.
///
/// # Errors
/// When the file cannot be read or is no lens at all.
pub fn check(file: &Path) -> Result<(), Error> {
    Ok(Lens::check(&text(file)?)?)
}

fn text(file: &Path) -> Result<String, Error> {
    std::fs::read_to_string(file)
        .map_err(|source| Error::LensFile { file: file.to_owned(), source })
}

/// What the result says about it.
pub fn note(lens: &Lens, size: PictureSize) -> Warning {
    let focal = lens.log_focal();
    Warning::new(format!(
        "The lens is known from a calibration: its distortion is taken out, the focal length is {:.0} pixels (+- {:.1} %).",
        focal.value.exp() * size.long(),
        100.0 * focal.sd
    ))
}

/// The track with its landmarks straightened.
pub fn straight<'a>(track: &'a Track, lens: Option<&Lens>) -> Cow<'a, Track> {
    let Some(lens) = lens else { return Cow::Borrowed(track) };
    let mut track = track.clone();
    for marks in track.frames.iter_mut().filter_map(|f| f.landmarks.as_mut()) {
        straighten(marks, lens);
    }
    Cow::Owned(track)
}

fn straighten(marks: &mut Landmarks, lens: &Lens) {
    let (roi, stretch) = straight_region(&marks.roi, lens);
    marks.roi = roi;
    for p in &mut marks.points {
        // far outside the picture the model says nothing: such a point stays
        if let Some(at) = of_index(lens, p.at) {
            p.at = at;
        }
        p.z *= stretch;
    }
}

/// The corrector reads landmarks relative to their region: it goes where its middle goes, with
/// the size and the turn that the lens gives to what is about it.
fn straight_region(roi: &Roi, lens: &Lens) -> (Roi, f64) {
    let about = |x: f64, y: f64| {
        let step = roi.side / 4.0;
        of_index(lens, Pixel::new(roi.centre.x + step * x, roi.centre.y + step * y))
    };
    let all =
        (about(0.0, 0.0), about(-1.0, 0.0), about(1.0, 0.0), about(0.0, -1.0), about(0.0, 1.0));
    let (Some(centre), Some(left), Some(right), Some(top), Some(bottom)) = all else {
        return (*roi, 1.0);
    };
    let across = [right.x - left.x, right.y - left.y];
    let down = [bottom.x - top.x, bottom.y - top.y];
    let area = across[0] * down[1] - across[1] * down[0];
    let stretch = area.max(0.0).sqrt() / (roi.side / 2.0);
    let turn = (across[1] - down[0]).atan2(across[0] + down[1]);
    let (side, rotation) = (roi.side * stretch, roi.rotation + turn);
    (Roi { centre, side, rotation }, stretch)
}

/// The same for a point counted from the centre of the first pixel.
fn of_index(lens: &Lens, p: Pixel) -> Option<Pixel> {
    let half = Landmark::HALF_PIXEL;
    let at = lens.straightened(Pixel::new(p.x + half, p.y + half))?;
    Some(Pixel::new(at.x - half, at.y - half))
}

/// Where a point of the straight picture was filmed.
pub fn filmed(lens: Option<&Lens>, straight: Pixel) -> Pixel {
    lens.map_or(straight, |lens| lens.seen(straight))
}

/// Where a filmed point lies in the straight picture.
pub fn straight_point(lens: Option<&Lens>, filmed: Pixel) -> Pixel {
    lens.and_then(|lens| lens.straightened(filmed)).unwrap_or(filmed)
}

#[cfg(test)]
mod tests {
    use std::f64::consts::FRAC_PI_2;

    use super::*;

    const FILE: &str = r#"{"image_size": [720, 1280], "camera_matrix": [[990, 0, 359], [0, 990, 641], [0, 0, 1]],
        "dist_coeffs": [0.1, -0.2, 0, 0, 0]}"#;

    #[test]
    fn a_point_goes_straight_and_back_and_without_a_lens_stays() {
        let lens = Lens::parse(FILE, PictureSize { width: 720, height: 1280 }).unwrap();
        let filmed_at = Pixel::new(80.0, 1100.0);
        let at = straight_point(Some(&lens), filmed_at);
        assert!(at.distance(filmed_at) > 1.0);
        assert!(filmed(Some(&lens), at).distance(filmed_at) < 1e-6);
        assert_eq!(straight_point(None, filmed_at), filmed_at);
        assert_eq!(filmed(None, filmed_at), filmed_at);
    }

    /// A lens that only shifts moves the region as its points; one that bends turns and sizes it
    /// as a small cross at its middle.
    #[test]
    fn the_region_goes_with_its_landmarks() {
        let size = PictureSize { width: 720, height: 1280 };
        let roi = Roi { centre: Pixel::new(400.0, 900.0), side: 300.0, rotation: 0.2 };
        let shifting = FILE.replace("0.1, -0.2", "0, 0").replace("359", "349.5");
        let lens = Lens::parse(&shifting, size).unwrap();
        let (moved, stretch) = straight_region(&roi, &lens);
        assert!(moved.centre.distance(Pixel::new(410.0, 898.5)) < 1e-6, "{moved:?}");
        assert!((stretch - 1.0).abs() < 1e-9 && (moved.rotation - 0.2).abs() < 1e-9);

        let lens = Lens::parse(&FILE.replace("0, 0, 0]", "0.02, 0.03, 0]"), size).unwrap();
        let (moved, stretch) = straight_region(&roi, &lens);
        // A lens also shears: one of two square directions turns by as much more as the other
        // turns less.
        let seen = [0.0, FRAC_PI_2].map(|square| {
            let (sin, cos) = (roi.rotation + square).sin_cos();
            let [a, b] = [-1.0, 1.0].map(|way| {
                let step = way * roi.side / 4.0;
                let end = Pixel::new(roi.centre.x + step * cos, roi.centre.y + step * sin);
                of_index(&lens, end).unwrap()
            });
            ((b.y - a.y).atan2(b.x - a.x) - square, a.distance(b) / (roi.side / 2.0))
        });
        let turned = f64::midpoint(seen[0].0, seen[1].0);
        assert!((turned - moved.rotation).abs() < 0.004, "{turned} {moved:?}");
        let sized = (seen[0].1 * seen[1].1).sqrt();
        assert!(
            (sized - stretch).abs() < 0.01 && (stretch - 1.0).abs() > 0.01,
            "{sized} {stretch}"
        );
        assert!((moved.side - roi.side * stretch).abs() < 1e-9);
    }

    #[test]
    fn a_lens_file_that_is_none_is_refused_in_one_line() {
        let size = PictureSize { width: 720, height: 1280 };
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("lens.json");
        let missing = [read(&file, size).unwrap_err(), check(&file).unwrap_err()];
        std::fs::write(&file, "{}").unwrap();
        let empty = [read(&file, size).unwrap_err(), check(&file).unwrap_err()];
        for error in missing.into_iter().chain(empty) {
            assert!(!error.to_string().contains('\n') && error.exit_code() == 2, "{error}");
        }
        std::fs::write(&file, FILE).unwrap();
        let said = note(&read(&file, size).unwrap(), size).text;
        assert!(said.contains("990 pixels"), "{said}");
    }
}
