//! Marks on the ground whose places are known. In: text such as `face-on:412,1102,120cm,-60cm`.
//! Out: the point in the picture and its place in metres; whether several go together is for
//! [`crate::calibration`] to say.

use super::marks::LARGEST_PX;
use super::{GroundMark, Options, OptionsError, marks, parse_length};
use crate::frames::Pixel;

const FLAG: &str = "--ground";

impl Options {
    /// `[VIEW:]x,y,TARGET,BALL`: one more mark. The two lengths count from any zero that all marks
    /// of the clip share.
    ///
    /// # Errors
    /// When it is no such mark, or it is unclear which clip it belongs to.
    pub fn set_ground(&mut self, text: &str) -> Result<(), OptionsError> {
        let (view, rest) = marks::split_view(text);
        let mark = parse(rest)?;
        self.one(FLAG, view)?.ground.push(mark);
        Ok(())
    }
}

fn parse(text: &str) -> Result<GroundMark, OptionsError> {
    let wrong = || OptionsError::NotOnGround { flag: FLAG, text: text.to_owned() };
    let parts: Vec<&str> = text.split(',').map(str::trim).collect();
    let [x, y, target, ball] = parts.as_slice() else { return Err(wrong()) };
    let pixel = |text: &str| {
        let number = text.parse::<f64>().ok().filter(|n| (0.0..=LARGEST_PX).contains(n));
        number.ok_or_else(wrong)
    };
    let at = Pixel::new(pixel(x)?, pixel(y)?);
    Ok(GroundMark { at, target_m: signed(target)?, ball_m: signed(ball)? })
}

/// A length that may lie on either side of zero; zero itself needs no unit.
fn signed(text: &str) -> Result<f64, OptionsError> {
    match text.strip_prefix('-') {
        Some(rest) => Ok(-signed_free(rest)?),
        None => signed_free(text),
    }
}

fn signed_free(text: &str) -> Result<f64, OptionsError> {
    if text == "0" { Ok(0.0) } else { Ok(parse_length(FLAG, text)?.0) }
}

#[cfg(test)]
mod tests {
    use super::super::Clip;
    use super::*;
    use crate::calibration::View;

    #[test]
    fn marks_gather_on_the_clip_they_name() {
        let clip = |view| Clip::new("a.mp4".into(), Some(view));
        let mut options = Options::new(vec![clip(View::FaceOn), clip(View::DownTheLine)]).unwrap();
        options.set_ground("down-the-line:10,20,0,0").unwrap();
        options.set_ground("down-the-line: 30, 40.5, -60cm, 1.2m").unwrap();
        let [face, line] = options.clips() else { panic!() };
        assert!(face.ground.is_empty());
        let second = GroundMark { at: Pixel::new(30.0, 40.5), target_m: -0.6, ball_m: 1.2 };
        assert_eq!(line.ground[1], second);
        assert_eq!(
            options.set_ground("10,20,0,0"),
            Err(OptionsError::WhichClip { flag: "--ground" })
        );
    }

    #[test]
    fn what_is_no_mark_is_refused_in_one_line() {
        for text in
            ["", "1,2,3cm", "1,2,3,4", "a,2,3cm,4cm", "-1,2,3cm,4cm", "1,2,--3cm,0", "1,2,NaN,0"]
        {
            let said = parse(text).unwrap_err().to_string();
            assert!(!said.contains('\n') && said.contains("--ground"), "{said}");
        }
    }
}
