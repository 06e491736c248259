//! Numbers, units and dates as the coach prefers them. In: values as they are written down,
//! [`Look`]. Out: text. Nothing is computed here but the unit.

use crate::events::Event;
use crate::geometry::Measure;
use crate::page::shown::{DateFormat, Decimal, Look, Units};
use crate::results::{SwingMeasure, Unit, Value};

use super::words::say;

/// Centimetres in an inch, exactly (international yard and pound agreement, 1959).
const CM_PER_INCH: f64 = 2.54;
const GIGABYTE: u64 = 1_000_000_000;
const DAY_S: i64 = 86_400;

/// The address of something on this page.
#[must_use]
pub fn at(look: &Look, path: &str) -> String {
    format!("/{}/{path}", look.token)
}

/// A number in the coach's unit: factor, and the unit's name after the number.
#[must_use]
pub fn unit(look: &Look, unit: Unit) -> (f64, &str) {
    match (unit, look.units) {
        (Unit::Cm, Units::Cm) => (1.0, say("unit.cm")),
        (Unit::Cm, Units::Inches) => (1.0 / CM_PER_INCH, say("unit.inches")),
        (Unit::Deg, _) => (1.0, say("unit.degrees")),
        (Unit::S, _) => (1.0, say("unit.seconds")),
        (Unit::Ratio, _) => (1.0, ""),
    }
}

/// As many decimals as the error deserves: the rule of the coach's table ([`crate::results`]).
#[must_use]
pub fn decimals(sd: f64) -> usize {
    match sd {
        s if s >= 9.95 => 0,
        s if s >= 0.095 => 1,
        s if s >= 0.0095 => 2,
        _ => 3,
    }
}

/// A number with the coach's decimal sign and a real minus.
#[must_use]
pub fn number(look: &Look, value: f64, decimals: usize) -> String {
    let mut text = format!("{value:.decimals$}");
    if text.trim_matches(['-', '0', '.']).is_empty() {
        text = text.trim_start_matches('-').to_owned();
    }
    let text = text.replace('-', "\u{2212}");
    if look.decimal == Decimal::Comma { text.replace('.', ",") } else { text }
}

/// `6.1 ± 0.9 cm`, without its sign where words say the direction.
#[must_use]
pub fn known(look: &Look, value: &Value, signed: bool) -> Option<String> {
    let Value::Known { value, sd, unit: of } = value else { return None };
    let (factor, name) = unit(look, *of);
    let (value, sd) = (value * factor, sd * factor);
    let places = decimals(sd);
    let value = if signed { value } else { value.abs() };
    let space = if name.is_empty() || name == "°" { "" } else { "\u{a0}" };
    Some(format!(
        "{}\u{a0}±\u{a0}{}{space}{name}",
        number(look, value, places),
        number(look, sd, places)
    ))
}

/// The key under which a serialisable name is written down.
#[must_use]
pub fn key(name: impl serde::Serialize) -> String {
    match serde_json::to_value(name) {
        Ok(serde_json::Value::String(key)) => key,
        _ => String::new(),
    }
}

#[must_use]
pub fn event_name(event: Event) -> &'static str {
    match event {
        Event::Address => say("event.address"),
        Event::Takeaway => say("event.takeaway"),
        Event::ArmLevelBack => say("event.arm_level_back"),
        Event::Top => say("event.top"),
        Event::Transition => say("event.transition"),
        Event::Impact => say("event.impact"),
        Event::Finish => say("event.finish"),
    }
}

/// The measure's name, and what plus and minus mean.
#[must_use]
pub fn measure_words(measure: Measure) -> [String; 3] {
    let key = key(measure);
    ["name", "plus", "minus"].map(|part| say(&format!("measure.{key}.{part}")).to_owned())
}

#[must_use]
pub fn swing_measure_name(measure: SwingMeasure) -> String {
    say(&format!("measure.{}.name", key(measure))).to_owned()
}

/// The sentence of [`crate::results::answer`] in the coach's unit and decimals: every number is
/// followed by its unit, or by the brackets of its error, which share the unit.
#[must_use]
pub fn sentence(look: &Look, text: &str) -> String {
    let name = unit(look, Unit::Cm).1;
    let words: Vec<&str> = text.split(' ').collect();
    let mut length_last = false;
    let told: Vec<String> = (0..words.len())
        .map(|i| {
            let bare = words[i].trim_matches(['(', ')', ',', ';']);
            if bare == "cm" || bare == "degrees" {
                length_last = bare == "cm";
                return if length_last {
                    words[i].replace("cm", name)
                } else {
                    words[i].to_owned()
                };
            }
            let Ok(value) = bare.parse::<f64>() else { return words[i].to_owned() };
            let length = unit_ahead(&words[i + 1..]).unwrap_or(length_last);
            let factor = if length { unit(look, Unit::Cm).0 } else { 1.0 };
            let places = bare.split_once('.').map_or(0, |(_, after)| after.len());
            words[i].replace(bare, &number(look, value * factor, places))
        })
        .collect();
    // An error stays with its number, a number with its unit.
    told.join(" ")
        .replace(" ± ", "\u{a0}±\u{a0}")
        .replace("(± ", "(±\u{a0}")
        .replace(&format!(" {name}"), &format!("\u{a0}{name}"))
}

/// Whether the unit that follows at once, or after an error, is a length.
fn unit_ahead(words: &[&str]) -> Option<bool> {
    let bare: Vec<&str> =
        words.iter().take(3).map(|w| w.trim_matches(['(', ')', ',', ';'])).collect();
    let unit = match bare.as_slice() {
        ["±", _, unit, ..] | [unit, ..] => *unit,
        [] => return None,
    };
    matches!(unit, "cm" | "degrees").then_some(unit == "cm")
}

/// The day of a moment, in the coach's order. UTC: a clip says no time zone.
#[must_use]
pub fn day(look: &Look, unix_s: i64) -> String {
    let (year, month, day) = civil(unix_s.div_euclid(DAY_S));
    match look.date_format {
        DateFormat::YearMonthDay => format!("{year}-{month:02}-{day:02}"),
        DateFormat::DayMonthYear => format!("{day}.{month}.{year}"),
        DateFormat::MonthDayYear => format!("{month}/{day}/{year}"),
    }
}

/// `2026-11-25` in the coach's order; other text unchanged.
#[must_use]
pub fn written_day(look: &Look, text: &str) -> String {
    let parts: Vec<&str> = text.split('-').collect();
    let [year, month, day] = parts.as_slice() else { return text.to_owned() };
    let plain = |t: &str| t.trim_start_matches('0').to_owned();
    match look.date_format {
        DateFormat::YearMonthDay => text.to_owned(),
        DateFormat::DayMonthYear => format!("{}.{}.{year}", plain(day), plain(month)),
        DateFormat::MonthDayYear => format!("{}/{}/{year}", plain(month), plain(day)),
    }
}

/// Year, month, day of a day counted from 1970-01-01 (proleptic Gregorian; Fliegel and
/// Van Flandern 1968).
fn civil(days: i64) -> (i64, i64, i64) {
    let l = days + 2_440_588 + 68_569;
    let n = 4 * l / 146_097;
    let l = l - (146_097 * n + 3) / 4;
    let i = 4000 * (l + 1) / 1_461_001;
    let l = l - 1461 * i / 4 + 31;
    let j = 80 * l / 2447;
    let day = l - 2447 * j / 80;
    let l = j / 11;
    (100 * (n - 49) + i + l, j + 2 - 12 * l, day)
}

/// `3.4 MB`, `4.0 GB`.
#[must_use]
pub fn file_size(look: &Look, bytes: u64) -> String {
    let (tenth, name) = if bytes < GIGABYTE { (100_000, "MB") } else { (GIGABYTE / 10, "GB") };
    let tenths = bytes / tenth;
    let sign = if look.decimal == Decimal::Comma { ',' } else { '.' };
    format!("{}{sign}{}\u{a0}{name}", tenths / 10, tenths % 10)
}

#[cfg(test)]
pub mod tests {
    use super::*;

    pub fn plain() -> Look {
        Look {
            token: "T".to_owned(),
            units: Units::Cm,
            decimal: Decimal::Point,
            date_format: DateFormat::YearMonthDay,
            blur: false,
        }
    }

    #[test]
    fn inches_and_commas_reach_every_number_of_the_sentence() {
        let said = "At the top the lower hub has moved 6.1 cm (± 0.9) away from the target; the \
                    trunk leans 12.5 degrees (± 1.5) toward the target.";
        assert_eq!(sentence(&plain(), said).replace('\u{a0}', " "), said);
        let look = Look { units: Units::Inches, decimal: Decimal::Comma, ..plain() };
        assert_eq!(
            sentence(&look, said).replace('\u{a0}', " "),
            "At the top the lower hub has moved 2,4 in (± 0,4) away from the target; the trunk \
             leans 12,5 degrees (± 1,5) toward the target."
        );
        let none = "no movement (lower -0.4 ± 0.9 cm, upper 1.5 ± 0.8 cm)";
        assert_eq!(
            sentence(&look, none).replace('\u{a0}', " "),
            "no movement (lower \u{2212}0,2 ± 0,4 in, upper 0,6 ± 0,3 in)"
        );
    }

    #[test]
    fn days_are_those_of_the_calendar() {
        // `date -u -d @SECONDS`, GNU coreutils.
        for (seconds, date) in
            [(0, "1970-01-01"), (951_782_400, "2000-02-29"), (1_795_637_534, "2026-11-25")]
        {
            assert_eq!(day(&plain(), seconds), date);
        }
        let look = Look { date_format: DateFormat::DayMonthYear, ..plain() };
        assert_eq!(day(&look, 951_782_400), "29.2.2000");
        assert_eq!(written_day(&look, "2026-11-05"), "5.11.2026");
    }

    #[test]
    fn a_value_keeps_the_decimals_its_error_deserves() {
        let value = Value::Known { value: -6.13, sd: 0.912, unit: Unit::Cm };
        let look = plain();
        assert_eq!(known(&look, &value, true).unwrap(), "\u{2212}6.1\u{a0}±\u{a0}0.9\u{a0}cm");
        assert_eq!(known(&look, &value, false).unwrap(), "6.1\u{a0}±\u{a0}0.9\u{a0}cm");
        assert_eq!(file_size(&look, 1_255_842), "1.2\u{a0}MB");
        assert_eq!(file_size(&look, 4_000_000_000), "4.0\u{a0}GB");
    }
}
