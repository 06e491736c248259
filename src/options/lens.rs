//! The lens file of a clip. In: text such as `face-on:phone.json`. Out: which clip it is for;
//! [`crate::calibration::Lens`] reads what it says.

use super::{Options, OptionsError, fill, marks};

impl Options {
    /// `[VIEW:]FILE`; without a view for every clip: both were filmed with one phone.
    ///
    /// # Errors
    /// When no file is named, or it names a clip that is not there.
    pub fn set_lens(&mut self, text: &str) -> Result<(), OptionsError> {
        const FLAG: &str = "--lens";
        let (view, file) = marks::split_view(text);
        if file.trim().is_empty() {
            return Err(OptionsError::Needs { flag: FLAG, needs: "the name of a file" });
        }
        if view.is_some() {
            return self.give_one(FLAG, view, |clip| &mut clip.lens, file.into());
        }
        self.clips.iter_mut().try_for_each(|clip| fill(FLAG, &mut clip.lens, file.into()))
    }
}

#[cfg(test)]
mod tests {
    use super::super::{Clip, Options, OptionsError};
    use crate::calibration::View;

    #[test]
    fn a_lens_is_for_every_clip_or_for_the_one_it_names() {
        let clip = |view| Clip::new("a.mp4".into(), Some(view));
        let two = || Options::new(vec![clip(View::FaceOn), clip(View::DownTheLine)]).unwrap();
        let mut options = two();
        options.set_lens("phone.json").unwrap();
        assert!(options.clips().iter().all(|c| c.lens.as_deref() == Some("phone.json".as_ref())));
        assert_eq!(options.set_lens("phone.json"), Err(OptionsError::Twice { flag: "--lens" }));
        let mut options = two();
        options.set_lens("down-the-line:phone.json").unwrap();
        assert!(options.clips()[0].lens.is_none() && options.clips()[1].lens.is_some());
        assert!(two().set_lens("face-on:").is_err());
    }
}
