//! The lens file of a clip. In: text such as `face-on:phone.json`. Out: which clip it is for;
//! [`crate::calibration::Lens`] reads what it says.

use super::{Options, OptionsError, fill, marks};

const FLAG: &str = "--lens";

impl Options {
    /// `[VIEW:]FILE`; without a view for every clip: both were filmed with one phone.
    ///
    /// # Errors
    /// When no file is named, or it names a clip that is not there.
    pub fn set_lens(&mut self, text: &str) -> Result<(), OptionsError> {
        let (view, file) = marks::split_view(text);
        if file.trim().is_empty() {
            return Err(OptionsError::Needs { flag: FLAG, needs: "the name of a file" });
        }
        if view.is_some() {
            return self.give_one(FLAG, view, |clip| &mut clip.lens, file.into());
        }
        self.clips.iter_mut().try_for_each(|clip| fill(FLAG, &mut clip.lens, file.into()))
    }

    /// One of a whole batch: for those of its clips that have none, where `set_lens` would take
    /// it. A swing without a clip of the view that it names does not need it.
    ///
    /// # Errors
    /// When no file is named, or the view of a clip is not known.
    pub fn lend_lens(&mut self, text: &str) -> Result<(), OptionsError> {
        let (view, file) = marks::split_view(text);
        if file.trim().is_empty() {
            return Err(OptionsError::Needs { flag: FLAG, needs: "the name of a file" });
        }
        for clip in self.clips.iter_mut().filter(|clip| clip.lens.is_none()) {
            if view.is_some() && clip.view.is_none() {
                return Err(OptionsError::UnknownView { flag: FLAG });
            }
            if view.is_none() || view == clip.view {
                clip.lens = Some(file.into());
            }
        }
        Ok(())
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

    #[test]
    fn a_batch_lends_its_lens_to_clips_without_one() {
        let clip = |view| Clip::new("a.mp4".into(), view);
        let own = Clip { lens: Some("own.json".into()), ..clip(Some(View::FaceOn)) };
        let lenses = |clips: Vec<Clip>, text: &str| {
            let mut options = Options::new(clips).unwrap();
            options.lend_lens(text)?;
            Ok(options.clips().iter().map(|c| c.lens.clone()).collect::<Vec<_>>())
        };
        let side = || clip(Some(View::DownTheLine));
        let (own_lens, lent) = (Some("own.json".into()), Some("phone.json".into()));
        let both = lenses(vec![own.clone(), side()], "phone.json");
        assert_eq!(both, Ok(vec![own_lens, lent.clone()]));
        assert_eq!(lenses(vec![side()], "face-on:phone.json"), Ok(vec![None]));
        assert_eq!(lenses(vec![side()], "down-the-line:phone.json"), Ok(vec![lent]));
        let unknown = lenses(vec![clip(None)], "face-on:phone.json");
        assert_eq!(unknown, Err(OptionsError::UnknownView { flag: "--lens" }));
        assert!(lenses(vec![side()], "face-on:").is_err());
    }
}
