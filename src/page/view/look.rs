//! Numbers, units and dates as the coach prefers them. In: values as they are written down,
//! [`Look`]. Out: text. Nothing is computed here but the unit.

use crate::chart;
use crate::events::Event;
use crate::geometry::Measure;
use crate::page::shown::{DateFormat, Decimal, Look, Units};
use crate::results::{SwingMeasure, Unit, Value, decimals_shown};

use super::words::say;

const MINUS: &str = "\u{2212}";
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
    let name = match (unit, look.units) {
        (Unit::Cm, Units::Cm) => say("unit.cm"),
        (Unit::Cm, Units::Inches) => say("unit.inches"),
        (Unit::Deg, _) => say("unit.degrees"),
        (Unit::S, _) => say("unit.seconds"),
        (Unit::Ratio, _) => "",
    };
    (look.style().shown(1.0, unit), name)
}

/// A number with the coach's decimal sign and a real minus.
#[must_use]
pub fn number(look: &Look, value: f64, decimals: usize) -> String {
    look.style().number(value, decimals).replace('-', MINUS)
}

/// `6.1 ± 0.9 cm`, without its sign where words say the direction.
#[must_use]
pub fn known(look: &Look, value: &Value, signed: bool) -> Option<String> {
    let Value::Known { value, sd, unit: of } = value else { return None };
    let (factor, name) = unit(look, *of);
    let (value, sd) = (value * factor, sd * factor);
    let places = decimals_shown(sd);
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

/// A sentence of numbers, set: an error stays with its number and a number with its unit, and a
/// minus is one.
#[must_use]
pub fn sentence(text: &str) -> String {
    let bound = chart::bound(text);
    let mut out = String::with_capacity(bound.len());
    let mut letters = bound.chars().peekable();
    let mut before = ' ';
    while let Some(letter) = letters.next() {
        let is_sign = letter == '-'
            && !before.is_alphanumeric()
            && letters.peek().is_some_and(char::is_ascii_digit);
        if is_sign {
            out.push_str(MINUS)
        } else {
            out.push(letter)
        }
        before = letter;
    }
    out
}

/// The day of a moment where the coach is, in the coach's order.
#[must_use]
pub fn day(look: &Look, unix_s: i64) -> String {
    let (year, month, day) = civil((unix_s + look.utc_offset_s).div_euclid(DAY_S));
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
            utc_offset_s: 0,
            token: "T".to_owned(),
            units: Units::Cm,
            decimal: Decimal::Point,
            date_format: DateFormat::YearMonthDay,
            blur: false,
        }
    }

    #[test]
    fn a_sentence_is_set_and_no_word_of_it_is_lost() {
        let said = "At the top the lower hub has moved 6.1 cm (± 0.9) away from the target (upper \
                    -0.4 ± 0.9 in, on-plane), and the trunk leans 12,5 degrees (± 1,5).";
        let set = sentence(said);
        assert!(set.contains("6.1\u{a0}cm (±\u{a0}0.9)"), "{set}");
        assert!(set.contains("\u{2212}0.4\u{a0}±\u{a0}0.9\u{a0}in,"), "{set}");
        assert_eq!(set.replace('\u{a0}', " ").replace('\u{2212}', "-"), said);
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
        // In the evening west of Greenwich the day is still the one before.
        assert_eq!(day(&Look { utc_offset_s: -8 * 3600, ..plain() }, 951_782_400), "2000-02-28");
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
