//! In: hands in golf axes for the stated hand. Out: a warning when they do not fit it, which
//! means a wrong `--handed` (or a mirrored clip). Statures.
//!
//! Three signs along the target axis, from the pelvis: going back the hands move away from
//! the target; after the ball they are past their address place; at address they are not
//! well behind the pelvis, as those of a mirrored golfer seen down the line seem to be. The
//! weights part 136 rendered swings read with the right hand from the same swings read with
//! the wrong one (one of 136 amiss in each).

use super::motion::{Motion, SMOOTH};
use crate::frames::Handed;
use crate::warning::{Kind, Warning};

const ADDRESS: f64 = 1.5;
const THROUGH: f64 = 0.5;
/// The sum of the signs beyond which the hand is doubted; rendered swings: right ones
/// -0.5 to 0.07, wrong ones 0.08 to 0.55.
const DOUBT: f64 = 0.1;

/// Times of the hands at rest, well into the backswing, and after the ball.
pub(super) fn check(
    motion: &Motion,
    handed: Handed,
    rest: f64,
    back: f64,
    through: f64,
) -> Option<Warning> {
    let at = |t: f64| motion.target.local(t, SMOOTH).map(|l| l.value);
    let (rest, back, through) = (at(rest)?, at(back)?, at(through)?);
    let doubt = (back - rest) - ADDRESS * rest - THROUGH * (through - rest);
    let (stated, other) = match handed {
        Handed::Right => ("right", "left"),
        Handed::Left => ("left", "right"),
    };
    (doubt > DOUBT).then(|| {
        let text = format!(
            "The hands do not swing like those of a {stated}-handed golfer: if the clip is mirrored \
             (selfie camera), turn mirroring off; if the golfer plays {other}-handed, choose that hand."
        );
        Warning::of(Kind::OtherHand, text)
    })
}
