//! What is said about ball-flight numbers in practice. In: a quantity, the clubs. Out: remarks,
//! each with its source or the words that there is none (FACTS H). Never part of a verdict.

use serde::Serialize;

use super::Quantity;

/// Marks a remark that nobody has published.
pub const NO_SOURCE: &str = "common practice, no source";

#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
pub struct Remark {
    pub text: &'static str,
    pub source: &'static str,
}

/// What kind of club the coach named, as far as his word tells.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Club {
    Iron,
    Driver,
    Other,
}

/// Remarks that fit a quantity and the clubs it was read with; nothing without a club named.
#[must_use]
pub fn remarks(quantity: &str, clubs: &[&str]) -> Vec<Remark> {
    let has = |kind| clubs.iter().any(|club| club_of(club) == kind);
    let mut remarks = Vec::new();
    match quantity.parse() {
        Ok(Quantity::AttackAngle) if has(Club::Iron) => remarks.extend(IRON_ATTACK),
        Ok(Quantity::AttackAngle) if has(Club::Driver) => remarks.extend(DRIVER_ATTACK),
        Ok(Quantity::ClubPath) => remarks.extend(PATH),
        _ => {}
    }
    remarks
}

/// FACTS H1, H2.
const IRON_ATTACK: [Remark; 2] = [
    Remark {
        text: "with a mid-iron, elite men come down at about 4 deg and elite women at about 2.3",
        source: NO_SOURCE,
    },
    Remark { text: "8 to 9 deg down with a mid-iron is called too steep", source: NO_SOURCE },
];
/// FACTS H1, H5.
const DRIVER_ATTACK: [Remark; 2] = [
    Remark {
        text: "with a driver, elite men are near 1 deg down and elite women near 3 deg up",
        source: NO_SOURCE,
    },
    Remark {
        text: "professionals with a driver on a fairway 5 deg uphill: 3.6 deg up, sd 2.4",
        source: "Suzuki et al. 2021, Open Sports Sci J 14:137",
    },
];
/// FACTS H3, H4.
const PATH: [Remark; 2] = [
    Remark {
        text: "within 2 deg of the target line is called neutral, 6 deg out-to-in strongly so",
        source: NO_SOURCE,
    },
    Remark {
        text: "coming down steeper on the same plane also turns the path to in-to-out, by the change of attack over the tangent of the plane's angle",
        source: "geometry; approximate",
    },
];

/// `7 iron`, `7-iron`, `7i`, `driver`.
fn club_of(word: &str) -> Club {
    let word = word.to_lowercase();
    let short = word.strip_suffix('i').is_some_and(|rest| {
        let rest = rest.trim_end_matches([' ', '-']);
        !rest.is_empty() && rest.chars().all(|c| c.is_ascii_digit())
    });
    if word.contains("iron") || short {
        Club::Iron
    } else if word.contains("driver") {
        Club::Driver
    } else {
        Club::Other
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn remarks_fit_the_club_and_say_where_they_come_from() {
        for club in ["7 iron", "7-Iron", "7i", "6-i"] {
            let said = remarks("attack_angle", &[club]);
            assert!(said[0].text.contains("4 deg") && said[0].source == NO_SOURCE, "{club}");
        }
        assert!(remarks("attack_angle", &["Driver"])[1].source.contains("2021"));
        assert!(remarks("attack_angle", &["", "wedge", "i"]).is_empty());
        assert!(remarks("spin_rate", &["7 iron"]).is_empty());
    }

    #[test]
    fn the_geometry_is_that_of_the_facts() {
        // FACTS H4: plane 60, attack -4 -> path about 2.3 to the right.
        assert!((4.0 / 60_f64.to_radians().tan() - 2.3).abs() < 0.05);
    }
}
