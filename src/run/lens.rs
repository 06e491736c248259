//! A clip's lens. In: the lens file, the golfer as filmed. Out: the golfer as a pinhole camera
//! would have seen him, which is what every later stage takes a picture to be, and points of
//! that picture back where they were filmed.

use std::borrow::Cow;
use std::path::Path;

use crate::calibration::Lens;
use crate::error::Error;
use crate::frames::{PictureSize, Pixel};
use crate::keypoints::Landmarks;
use crate::track::Track;
use crate::warning::Warning;

/// Landmarks are measured on pixel indices; image axes have the first pixel's centre at 0.5.
const HALF_PIXEL: f64 = 0.5;

/// # Errors
/// When the file cannot be read or is no lens of such pictures.
pub fn read(file: &Path, size: PictureSize) -> Result<Lens, Error> {
    let text = std::fs::read_to_string(file)
        .map_err(|source| Error::LensFile { file: file.to_owned(), source })?;
    Ok(Lens::parse(&text, size)?)
}

/// What the result says about it.
pub fn note(lens: &Lens, size: PictureSize) -> Warning {
    let focal = lens.log_focal();
    Warning(format!(
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
    for p in &mut marks.points {
        let seen = Pixel::new(p.at.x + HALF_PIXEL, p.at.y + HALF_PIXEL);
        // far outside the picture the model says nothing: such a point stays
        if let Some(at) = lens.straightened(seen) {
            p.at = Pixel::new(at.x - HALF_PIXEL, at.y - HALF_PIXEL);
        }
    }
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

    #[test]
    fn a_lens_file_that_is_none_is_refused_in_one_line() {
        let size = PictureSize { width: 720, height: 1280 };
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("lens.json");
        let missing = read(&file, size).unwrap_err();
        std::fs::write(&file, "{}").unwrap();
        let empty = read(&file, size).unwrap_err();
        for error in [missing, empty] {
            assert!(!error.to_string().contains('\n') && error.exit_code() == 2, "{error}");
        }
        std::fs::write(&file, FILE).unwrap();
        let said = note(&read(&file, size).unwrap(), size).0;
        assert!(said.contains("990 pixels"), "{said}");
    }
}
