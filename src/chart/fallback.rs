//! The fonts of this machine, for letters that the built-in typeface lacks. In: a letter. Out: the
//! font that has it: a plain upright one of medium weight where there is one.
//!
//! The list of fonts is read once, when the first such letter comes; the choice depends on the
//! fonts' names alone, so that it is the same each time.

use std::cmp::Reverse;
use std::sync::{Arc, OnceLock};

use fontdb::{Database, FaceInfo, ID, Style};
use rustybuzz::ttf_parser;

use super::lettering::FontFile;

struct System {
    fonts: Database,
    /// Best first.
    order: Vec<ID>,
}

fn system() -> &'static System {
    static SYSTEM: OnceLock<System> = OnceLock::new();
    SYSTEM.get_or_init(|| {
        let mut fonts = Database::new();
        fonts.load_system_fonts();
        let mut faces: Vec<&FaceInfo> = fonts.faces().collect();
        faces.sort_by_cached_key(|face| rank(face));
        let order = faces.into_iter().map(|face| face.id).collect();
        System { fonts, order }
    })
}

/// Plain before fancy, then by name.
fn rank(face: &FaceInfo) -> (bool, bool, Reverse<bool>, u16, String, u32) {
    let family = face.families.first().map_or("", |(name, _)| name.as_str());
    let plain = ["Sans", "Gothic", "Hei"].iter().any(|word| family.contains(word));
    (
        face.style != Style::Normal,
        face.monospaced,
        Reverse(plain),
        face.weight.0.abs_diff(450),
        face.post_script_name.clone(),
        face.index,
    )
}

/// A font with an outline for the letter.
pub fn font_with(letter: char) -> Option<FontFile> {
    let System { fonts, order } = system();
    let id = order.iter().find(|id| {
        let draws = |data: &[u8], index| draws(data, index, letter);
        fonts.with_face_data(**id, draws).unwrap_or(false)
    })?;
    let copied = |data: &[u8], index| FontFile { data: Arc::new(data.to_vec()), index };
    fonts.with_face_data(*id, copied)
}

/// Fonts of coloured pictures have no outlines.
fn draws(data: &[u8], index: u32, letter: char) -> bool {
    let Ok(face) = ttf_parser::Face::parse(data, index) else { return false };
    face.glyph_index(letter).is_some_and(|glyph| face.glyph_bounding_box(glyph).is_some())
}
