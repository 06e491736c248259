//! The list of corrections as a file or the page gives it. In: JSON text. Out: checked
//! [`Correction`]s. Whether a frame or a view is there is for the measurement to say.

use super::marks::{LARGEST_PX, SHORTEST_LINE_PX};
use super::{Options, OptionsError, Person, REFERENCE_M};
use crate::calibration::View;
use crate::frames::{Handed, Pixel};
use crate::results::Correction;

/// More is no correcting by hand, and each takes a part of the second there is.
const MOST: usize = 500;
/// The same for the marks on the ground; four are enough.
const MOST_GROUND: usize = 50;

impl Options {
    /// Takes a JSON list of corrections; the whole list, not one more.
    ///
    /// # Errors
    /// When it is no such list, or an entry cannot be.
    pub fn set_corrections(&mut self, text: &str) -> Result<(), OptionsError> {
        let list: Vec<Correction> = serde_json::from_str(text)
            .map_err(|error| OptionsError::NoCorrections(error.to_string()))?;
        self.correct(list)
    }

    /// The same for a list that has been read.
    ///
    /// # Errors
    /// When an entry cannot be.
    pub fn correct(&mut self, list: Vec<Correction>) -> Result<(), OptionsError> {
        if list.len() > MOST {
            return Err(OptionsError::NoCorrections(format!("more than {MOST} entries")));
        }
        for (index, correction) in list.iter().enumerate() {
            check(correction, self.clips().len()).map_err(|why| {
                OptionsError::NoCorrections(format!("entry {}: {why}", index + 1))
            })?;
        }
        self.corrections = list;
        Ok(())
    }

    /// The pupil's hand: set by hand before stated.
    #[must_use]
    pub fn hand(&self) -> Handed {
        let set = self.corrections.iter().rev().find_map(|c| match c {
            Correction::Handed { handed } => Some(*handed),
            _ => None,
        });
        set.unwrap_or(self.handed)
    }

    /// What a clip is stated to show: set by hand before stated; `None`: to be recognised.
    #[must_use]
    pub fn view(&self, clip: usize) -> Option<View> {
        let set = self.corrections.iter().rev().find_map(|c| match c {
            Correction::View { clip: at, view } if *at == clip => Some(*view),
            _ => None,
        });
        set.or_else(|| self.clips().get(clip)?.view)
    }

    /// Whom the coach has pointed at in a clip of this view.
    #[must_use]
    pub fn person(&self, clip: usize, view: View) -> Option<Person> {
        let set = self.corrections.iter().rev().find_map(|c| match c {
            &Correction::Person { view: of, frame, at } if of == view => Some(Person { frame, at }),
            _ => None,
        });
        set.or_else(|| self.clips().get(clip)?.person)
    }
}

fn check(correction: &Correction, clips: usize) -> Result<(), String> {
    match correction {
        Correction::Point { at, .. } | Correction::Person { at, .. } => point(*at),
        Correction::Vertical { from, to, .. } | Correction::TargetLine { from, to, .. } => {
            line(*from, *to)
        }
        Correction::Ground { marks, .. } if marks.len() > MOST_GROUND => {
            Err(format!("more than {MOST_GROUND} marks on the ground"))
        }
        Correction::Ground { marks, .. } if marks.is_empty() => {
            Err("no mark on the ground is given".to_owned())
        }
        // Whether they go together is for the calibration to say.
        Correction::Ground { marks, .. } => marks.iter().try_for_each(|mark| point(mark.at)),
        Correction::Reference { from, to, length_m, .. } => {
            let (low, high) = REFERENCE_M;
            if !(low..=high).contains(length_m) {
                return Err(format!("length_m must be between {low} and {high}"));
            }
            line(*from, *to)
        }
        Correction::View { clip, .. } if *clip >= clips => {
            Err(format!("there is no clip {clip}: clips count from 0"))
        }
        Correction::View { .. }
        | Correction::Event { .. }
        | Correction::Handed { .. }
        | Correction::NoRod { .. } => Ok(()),
    }
}

fn point(at: Pixel) -> Result<(), String> {
    // A point of the body may lie a little outside the picture.
    let near = -LARGEST_PX..=2.0 * LARGEST_PX;
    if near.contains(&at.x) && near.contains(&at.y) {
        Ok(())
    } else {
        Err("a point lies far outside any picture".to_owned())
    }
}

fn line(from: Pixel, to: Pixel) -> Result<(), String> {
    point(from)?;
    point(to)?;
    if from.distance(to) < SHORTEST_LINE_PX {
        return Err(format!("mark points at least {SHORTEST_LINE_PX} pixels apart"));
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::super::Clip;
    use super::*;

    fn options() -> Options {
        Options::new(vec![Clip::new("a.mp4".into(), None)]).unwrap()
    }

    #[test]
    fn the_last_word_counts_and_a_shorter_list_takes_it_back() {
        let mut options = options();
        options
            .set_corrections(
                r#"[{"kind":"handed","handed":"left"},{"kind":"view","clip":0,"view":"face-on"},
                    {"kind":"view","clip":0,"view":"down-the-line"}]"#,
            )
            .unwrap();
        assert_eq!((options.hand(), options.view(0)), (Handed::Left, Some(View::DownTheLine)));
        options.correct(options.corrections[..2].to_vec()).unwrap();
        assert_eq!(options.view(0), Some(View::FaceOn));
        options.correct(Vec::new()).unwrap();
        assert_eq!((options.hand(), options.view(0)), (Handed::Right, None));
    }

    #[test]
    fn what_cannot_be_is_refused_in_one_line() {
        for text in [
            "",
            "{}",
            "[1]",
            r#"[{"kind":"view","clip":1,"view":"face-on"}]"#,
            r#"[{"kind":"vertical","view":"face-on","from":[1,2],"to":[3,4]}]"#,
            r#"[{"kind":"point","view":"face-on","frame":1,"joint":"head","at":[1e9,4]}]"#,
            r#"[{"kind":"reference","view":"face-on","from":[1,2],"to":[300,4],"length_m":0,"place":"feet"}]"#,
        ] {
            let error = options().set_corrections(text).unwrap_err();
            assert!(matches!(error, OptionsError::NoCorrections(_)), "{text}");
            assert!(!error.to_string().contains('\n'));
        }
    }
}
