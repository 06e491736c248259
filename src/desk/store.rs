//! Measuring for a pupil on record. In: checked options, what to store. Out: the result, stored.

use crate::cli::desk::StoreArgs;
use crate::error::Error;
use crate::options::Options;
use crate::record::{Keep, NewSwing};
use crate::results::SwingResult;
use crate::run;
use crate::units::Metres;

/// Measures; with a pupil named, his hand and height are used and the result is stored.
///
/// # Errors
/// When the pupil is not on record, nothing can be measured, or nothing can be stored.
pub fn measure(mut options: Options, store: &StoreArgs) -> Result<SwingResult, Error> {
    let Some(name) = &store.pupil else { return Ok(run::measure(&options)?.result) };
    // All that can be refused is refused before the long work.
    let mut library = super::open(&store.at)?;
    let pupil = library.pupil(name)?;
    let day = library.day(store.day.day.as_deref())?;
    options.handed = pupil.handed;
    options.stature = options.stature.or(pupil.stature_m.map(Metres));
    let result = run::measure(&options)?.result;
    let keep = match (pupil.keep_pictures, store.copy_clips) {
        (false, _) => Keep::Nothing,
        (true, true) => Keep::Copy,
        (true, false) => Keep::InPlace,
    };
    let clips = options.clips().iter().map(|clip| clip.path.clone()).collect();
    let swing = NewSwing { clips, ..super::new_swing(store.said.clone()) };
    let lesson = library.lesson(name, Some(&day))?;
    library.add_swing(lesson, &swing, &result, keep)?;
    Ok(result)
}
