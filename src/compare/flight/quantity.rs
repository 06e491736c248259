//! Ball-flight quantities by name. In: a name such as `attack_angle`. Out: what its sign means,
//! which units it may have, the words for a change.
//!
//! Signs hold for both hands, seen as a right-handed player's: a left-handed one is mirrored. A
//! device that counts right as + for everybody has its sign turned for a left-handed pupil.
//! Quantities of other names are kept and compared too, with nothing known about their sign.

use std::str::FromStr;

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Quantity {
    AttackAngle,
    ClubPath,
    FaceAngle,
    FaceToPath,
    DynamicLoft,
    SwingDirection,
    SwingPlane,
    LowPoint,
    ClubSpeed,
    BallSpeed,
    LaunchAngle,
    LaunchDirection,
    SpinRate,
    SpinAxis,
    Carry,
    Total,
    Side,
    Apex,
}

/// What a unit measures; units of one kind are turned into each other.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    Angle,
    Speed,
    Length,
    Spin,
    Time,
    Ratio,
}

/// Every unit, its kind and its size in the kind's first unit. Mile and yard: the international
/// yard of 1959, 0.9144 m.
pub const UNITS: [(&str, Kind, f64); 10] = [
    ("deg", Kind::Angle, 1.0),
    ("m/s", Kind::Speed, 1.0),
    ("km/h", Kind::Speed, 1.0 / 3.6),
    ("mph", Kind::Speed, 0.44704),
    ("rpm", Kind::Spin, 1.0),
    ("m", Kind::Length, 1.0),
    ("yd", Kind::Length, 0.9144),
    ("cm", Kind::Length, 0.01),
    ("s", Kind::Time, 1.0),
    ("ratio", Kind::Ratio, 1.0),
];

/// The kind of a unit and its size in the kind's first unit.
#[must_use]
pub fn unit(name: &str) -> Option<(Kind, f64)> {
    UNITS.iter().find(|(known, ..)| *known == name).map(|&(_, kind, size)| (kind, size))
}

impl Quantity {
    pub const ALL: [Self; 18] = [
        Self::AttackAngle,
        Self::ClubPath,
        Self::FaceAngle,
        Self::FaceToPath,
        Self::DynamicLoft,
        Self::SwingDirection,
        Self::SwingPlane,
        Self::LowPoint,
        Self::ClubSpeed,
        Self::BallSpeed,
        Self::LaunchAngle,
        Self::LaunchDirection,
        Self::SpinRate,
        Self::SpinAxis,
        Self::Carry,
        Self::Total,
        Self::Side,
        Self::Apex,
    ];

    /// Its name in a column: `attack_angle`.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::AttackAngle => "attack_angle",
            Self::ClubPath => "club_path",
            Self::FaceAngle => "face_angle",
            Self::FaceToPath => "face_to_path",
            Self::DynamicLoft => "dynamic_loft",
            Self::SwingDirection => "swing_direction",
            Self::SwingPlane => "swing_plane",
            Self::LowPoint => "low_point",
            Self::ClubSpeed => "club_speed",
            Self::BallSpeed => "ball_speed",
            Self::LaunchAngle => "launch_angle",
            Self::LaunchDirection => "launch_direction",
            Self::SpinRate => "spin_rate",
            Self::SpinAxis => "spin_axis",
            Self::Carry => "carry",
            Self::Total => "total",
            Self::Side => "side",
            Self::Apex => "apex",
        }
    }

    #[must_use]
    pub fn kind(self) -> Kind {
        match self {
            Self::ClubSpeed | Self::BallSpeed => Kind::Speed,
            Self::LowPoint | Self::Carry | Self::Total | Self::Side | Self::Apex => Kind::Length,
            Self::SpinRate => Kind::Spin,
            _ => Kind::Angle,
        }
    }

    /// What the sign means, for right-handed players; mirrored for left-handed ones.
    #[must_use]
    pub fn sign(self) -> &'static str {
        match self {
            Self::AttackAngle => "+ the club head moves up at impact, - down",
            Self::ClubPath => "+ in-to-out, - out-to-in, at impact",
            Self::SwingDirection => "+ in-to-out, - out-to-in, of the arc's plane over the ground",
            Self::FaceAngle => "+ open, - closed, against the target line",
            Self::FaceToPath => "+ open, - closed, against the club path",
            Self::DynamicLoft => "loft of the face at impact, + looking up",
            Self::SwingPlane => "from level, 0 to 90",
            Self::LowPoint => "+ past the ball toward the target, - before the ball",
            Self::LaunchAngle => "+ up",
            Self::LaunchDirection => "+ right of the target line",
            Self::SpinAxis => "+ tilted so that the ball curves right",
            Self::Side => "+ right of the target line",
            Self::ClubSpeed | Self::BallSpeed | Self::SpinRate => "never negative",
            Self::Carry | Self::Total | Self::Apex => "never negative",
        }
    }

    /// Which way a change goes: `changed by 2.0 deg downward`.
    fn way(self) -> (&'static str, &'static str) {
        match self {
            Self::AttackAngle => ("upward", "downward"),
            Self::ClubPath | Self::SwingDirection => ("toward in-to-out", "toward out-to-in"),
            Self::FaceAngle | Self::FaceToPath => ("toward open", "toward closed"),
            Self::SwingPlane => ("more upright", "flatter"),
            Self::LowPoint => ("toward the target", "away from the target"),
            Self::ClubSpeed | Self::BallSpeed => ("faster", "slower"),
            Self::LaunchAngle | Self::Apex => ("higher", "lower"),
            Self::LaunchDirection | Self::Side | Self::SpinAxis => {
                ("toward the open face's side", "toward the closed face's side")
            }
            Self::Carry | Self::Total => ("longer", "shorter"),
            Self::DynamicLoft | Self::SpinRate => ("more", "less"),
        }
    }
}

impl FromStr for Quantity {
    type Err = ();

    fn from_str(name: &str) -> Result<Self, ()> {
        Self::ALL.into_iter().find(|quantity| quantity.name() == name).ok_or(())
    }
}

/// The words for a change of a quantity, known or not.
#[must_use]
pub fn way(quantity: &str, change: f64) -> &'static str {
    let known = quantity.parse::<Quantity>().map(Quantity::way);
    let (plus, minus) = known.unwrap_or(("more", "less"));
    if change < 0.0 { minus } else { plus }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_name_reads_back_and_has_a_unit_of_its_kind() {
        for quantity in Quantity::ALL {
            assert_eq!(quantity.name().parse(), Ok(quantity));
            assert!(UNITS.iter().any(|(_, kind, _)| *kind == quantity.kind()));
            assert!(!quantity.sign().is_empty());
        }
        assert_eq!("attack".parse::<Quantity>(), Err(()));
    }

    #[test]
    fn units_have_their_published_sizes() {
        // International yard and pound agreement, 1959: 0.9144 m; a mile is 1760 yards.
        assert_eq!(unit("yd"), Some((Kind::Length, 0.9144)));
        let (_, mph) = unit("mph").unwrap();
        assert!((mph - 1760.0 * 0.9144 / 3600.0).abs() < 1e-12);
        assert_eq!(unit("furlong"), None);
    }
}
