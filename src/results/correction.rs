//! What the coach has set by hand. In: JSON. Out: the same, kept in the result.
//!
//! Corrections are applied in order; of two that say the same thing the later one counts. Points
//! are pixels of the upright clip, frames count displayed frames from 0. A list without its last
//! entry gives the result as it was before: nothing else is remembered.

use serde::{Deserialize, Serialize};

use crate::body::Joint;
use crate::calibration::{GroundMark, Place, View};
use crate::events::Event;
use crate::frames::{Handed, Pixel};

use super::event_name;
use crate::warning::counted;

/// One thing set by hand.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(tag = "kind", rename_all = "snake_case", deny_unknown_fields)]
pub enum Correction {
    /// An event is on this frame.
    Event {
        view: View,
        event: Event,
        frame: usize,
    },
    /// A point of the body is here on this frame.
    Point {
        view: View,
        frame: usize,
        joint: Joint,
        at: Pixel,
    },
    /// Two points on something of known length.
    Reference {
        view: View,
        from: Pixel,
        to: Pixel,
        length_m: f64,
        place: Place,
    },
    /// Two points on an edge that is vertical in the world.
    Vertical {
        view: View,
        from: Pixel,
        to: Pixel,
    },
    /// Two points on the ground along the target line.
    TargetLine {
        view: View,
        from: Pixel,
        to: Pixel,
    },
    /// Points on the ground whose places are known; four fix the camera.
    Ground {
        view: View,
        marks: Vec<GroundMark>,
    },
    /// A rod on the ground that was found is not taken for the target line.
    NoRod {
        view: View,
    },
    /// The pupil among several people, marked at the hips.
    Person {
        view: View,
        frame: usize,
        at: Pixel,
    },
    /// Which view a clip shows; clips count in the order given, from 0.
    View {
        clip: usize,
        view: View,
    },
    Handed {
        handed: Handed,
    },
}

impl Correction {
    /// In a coach's words, for a note: `top (face-on, frame 223)`.
    #[must_use]
    pub fn words(&self) -> String {
        match self {
            Self::Event { view, event, frame } => {
                format!("{} ({}, frame {frame})", event_name(*event), view.name())
            }
            Self::Point { view, frame, joint, .. } => {
                format!("{} ({}, frame {frame})", joint.name(), view.name())
            }
            Self::Reference { view, length_m, .. } => {
                format!("a length of {:.0} cm ({})", 100.0 * length_m, view.name())
            }
            Self::Vertical { view, .. } => format!("the vertical ({})", view.name()),
            Self::TargetLine { view, .. } => format!("the target line ({})", view.name()),
            Self::Ground { view, marks } => {
                format!("{} on the ground ({})", counted(marks.len(), "mark"), view.name())
            }
            Self::NoRod { view } => format!("no rod looked for ({})", view.name()),
            Self::Person { view, .. } => format!("the pupil ({})", view.name()),
            Self::View { clip, view } => format!("clip {} is {}", clip + 1, view.name()),
            Self::Handed { handed: Handed::Left } => "left-handed".to_owned(),
            Self::Handed { handed: Handed::Right } => "right-handed".to_owned(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_page_s_json_is_read() {
        let text = r#"[
            {"kind":"event","view":"face-on","event":"top","frame":223},
            {"kind":"point","view":"face-on","frame":223,"joint":"lower_hub","at":[332.5,624]},
            {"kind":"reference","view":"face-on","from":[1,2],"to":[300,4],"length_m":1.22,"place":"ball-line"},
            {"kind":"vertical","view":"down-the-line","from":[1,2],"to":[3,400]},
            {"kind":"target_line","view":"face-on","from":[1,2],"to":[300,4]},
            {"kind":"ground","view":"face-on","marks":[{"at":[1,2],"target_m":0,"ball_m":-0.5},
                {"at":[300,2],"target_m":1.5,"ball_m":-0.5}]},
            {"kind":"no_rod","view":"down-the-line"},
            {"kind":"person","view":"face-on","frame":10,"at":[100,200]},
            {"kind":"view","clip":0,"view":"face-on"},
            {"kind":"handed","handed":"left"}
        ]"#;
        let list: Vec<Correction> = serde_json::from_str(text).unwrap();
        assert_eq!(list.len(), 10);
        assert_eq!(list[0].words(), "top (face-on, frame 223)");
        assert_eq!(list[1].words(), "lower hub (face-on, frame 223)");
        assert_eq!(list[5].words(), "2 marks on the ground (face-on)");
        assert_eq!(list[6].words(), "no rod looked for (down-the-line)");
        let again = serde_json::to_string(&list).unwrap();
        assert_eq!(serde_json::from_str::<Vec<Correction>>(&again).unwrap(), list);
        for wrong in [
            r#"[{"kind":"event","view":"face-on","event":"peak","frame":1}]"#,
            r#"[{"kind":"event","view":"face-on","event":"top","frame":-1}]"#,
            r#"[{"kind":"event","view":"face-on","event":"top","frame":1,"more":2}]"#,
            r#"[{"kind":"colour"}]"#,
        ] {
            assert!(serde_json::from_str::<Vec<Correction>>(wrong).is_err(), "{wrong}");
        }
    }
}
