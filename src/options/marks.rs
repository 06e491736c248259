//! Marks that the coach sets in a picture. In: text such as `face-on:412,1102,655,1098`.
//! Out: checked lines in pixels of the upright picture, origin at its top-left corner.

use super::OptionsError;
use crate::calibration::{Segment, View};
use crate::frames::Pixel;

/// Two marks nearer than this say nothing about direction or length: a mark is set to
/// about 2 pixels by hand, which would be a tenth of it.
pub(super) const SHORTEST_LINE_PX: f64 = 20.0;
/// No picture that [`crate::decode`] accepts is wider or higher.
pub(super) const LARGEST_PX: f64 = 16_384.0;

/// A value for one clip, or for all when it names none.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ForClip<T> {
    pub view: Option<View>,
    pub value: T,
}

/// Splits `face-on:VALUE` into the view and the value's text.
pub(super) fn split_view(text: &str) -> (Option<View>, &str) {
    if let Some(rest) = text.strip_prefix("face-on:") {
        (Some(View::FaceOn), rest)
    } else if let Some(rest) = text.strip_prefix("down-the-line:") {
        (Some(View::DownTheLine), rest)
    } else {
        (None, text)
    }
}

/// Reads `[VIEW:]x1,y1,x2,y2`.
///
/// # Errors
/// When these are not four numbers within a picture, or the points are too near each other.
pub fn parse_line(flag: &'static str, text: &str) -> Result<ForClip<Segment>, OptionsError> {
    let (view, rest) = split_view(text);
    let numbers: Result<Vec<f64>, _> = rest.split(',').map(|n| n.trim().parse()).collect();
    let Ok([x1, y1, x2, y2]) = numbers.as_deref() else {
        return Err(OptionsError::NotALine { flag, text: text.to_owned() });
    };
    if ![x1, y1, x2, y2].iter().all(|n| (0.0..=LARGEST_PX).contains(*n)) {
        return Err(OptionsError::NotALine { flag, text: text.to_owned() });
    }
    let line = Segment { from: Pixel::new(*x1, *y1), to: Pixel::new(*x2, *y2) };
    if line.from.distance(line.to) < SHORTEST_LINE_PX {
        return Err(OptionsError::LineTooShort { flag });
    }
    Ok(ForClip { view, value: line })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_may_name_its_clip() {
        let plain = parse_line("--vertical", "10, 20,30,400.5").unwrap();
        assert_eq!(plain.view, None);
        assert_eq!(plain.value.to, Pixel::new(30.0, 400.5));
        let named = parse_line("--vertical", "down-the-line:10,20,30,400").unwrap();
        assert_eq!(named.view, Some(View::DownTheLine));
    }

    #[test]
    fn what_is_no_line_is_refused() {
        for text in
            ["", "1,2,3", "1,2,3,4,5", "a,b,c,d", "NaN,0,100,100", "-5,0,100,100", "side:0,0,9,99"]
        {
            let error = parse_line("--vertical", text).unwrap_err();
            assert!(matches!(error, OptionsError::NotALine { .. }), "{text}: {error}");
        }
        let error = parse_line("--vertical", "10,10,15,15").unwrap_err();
        assert!(matches!(error, OptionsError::LineTooShort { .. }));
    }
}
