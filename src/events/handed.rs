//! In: hands in golf axes for the stated hand. Out: a warning when they go the wrong way,
//! which means a wrong `--handed` (or a mirrored clip). Statures.

use super::motion::{Motion, SMOOTH};
use crate::frames::Handed;
use crate::warning::Warning;

/// Hands move at least this far along the target line in half a backswing.
const BACK: f64 = 0.08;

/// Hands must go away from the target going back, then end nearer to it than at the top.
pub(super) fn check(
    motion: &Motion,
    handed: Handed,
    takeaway: f64,
    level: f64,
    follow: f64,
) -> Option<Warning> {
    let at = |t: f64| motion.target.local(t, SMOOTH).map(|l| l.value);
    let (start, back, through) = (at(takeaway)?, at(level)?, at(follow)?);
    // Along the line of sight the depth is too noisy to accuse anybody.
    let clear = BACK.max(3.0 * motion.target_sd);
    let (stated, other) = match handed {
        Handed::Right => ("right", "left"),
        Handed::Left => ("left", "right"),
    };
    (back - start > clear && through - back < -clear).then(|| {
        Warning(format!(
            "The hands swing back toward what should be the target for a {stated}-handed golfer: \
             if the golfer plays {other}-handed, measure again with --handed {other}; if the clip \
             is mirrored (selfie camera), turn mirroring off."
        ))
    })
}
