//! Pictures for a browser. In: a decoded picture. Out: JPEG bytes or file, no larger than asked.

use std::borrow::Cow;
use std::path::Path;

use image::codecs::jpeg::JpegEncoder;
use image::{ExtendedColorType, ImageEncoder as _, RgbImage};

use super::reply::{Refusal, Reply};
use crate::results::write_atomically;

/// No difference is seen from here on while marking points.
const QUALITY: u8 = 88;
/// Longer side of the first picture of a clip: a card on the bench.
const CARD: u32 = 960;

/// # Errors
/// Never for a picture in memory; the encoder's own otherwise.
pub fn jpeg(picture: &RgbImage) -> Reply<Vec<u8>> {
    let mut bytes = Vec::new();
    let (width, height) = picture.dimensions();
    JpegEncoder::new_with_quality(&mut bytes, QUALITY)
        .write_image(picture, width, height, ExtendedColorType::Rgb8)
        .map_err(|e| Refusal::failed(e.to_string()))?;
    Ok(bytes)
}

/// # Errors
/// As for JPEG.
pub fn png(picture: &RgbImage) -> Reply<Vec<u8>> {
    crate::stills::encode_png(picture).map_err(|e| Refusal::failed(e.to_string()))
}

/// The picture, made smaller where its longer side is above `most`.
pub fn at_most(picture: &RgbImage, most: u32) -> Cow<'_, RgbImage> {
    let (width, height) = picture.dimensions();
    let long = width.max(height);
    if long <= most {
        return Cow::Borrowed(picture);
    }
    let scaled = |side: u32| {
        let side = u64::from(side) * u64::from(most) / u64::from(long);
        u32::try_from(side).unwrap_or(most).max(1)
    };
    Cow::Owned(image::imageops::thumbnail(picture, scaled(width), scaled(height)))
}

/// # Errors
/// When the disk refuses.
pub fn write_jpeg(path: &Path, picture: &RgbImage) -> Reply<()> {
    let bytes = jpeg(&at_most(picture, CARD))?;
    write_atomically(path, &bytes).map_err(|e| Refusal::failed(e.to_string()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_picture_is_made_smaller_never_larger() {
        let picture = RgbImage::new(720, 1280);
        assert_eq!(at_most(&picture, 640).dimensions(), (360, 640));
        assert_eq!(at_most(&picture, 4000).dimensions(), (720, 1280));
        assert_eq!(at_most(&picture, 0).dimensions(), (1, 1));
        assert_eq!(&jpeg(&picture).unwrap()[..2], [0xff, 0xd8]);
    }
}
