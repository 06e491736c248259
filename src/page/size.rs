//! Sizes of files as people write them. In: `500MB`, `4 GB`. Out: bytes, decimal units (SI).

use super::PageError;

const UNITS: [(&str, u64); 3] = [("KB", 1_000), ("MB", 1_000_000), ("GB", 1_000_000_000)];
/// More than any file system holds in one file.
const LARGEST: u64 = 1_000_000_000_000_000;

/// # Errors
/// When it is no whole number with a unit, or nothing at all.
pub fn parse_size(text: &str) -> Result<u64, PageError> {
    let bare: String = text.chars().filter(|c| !c.is_whitespace()).collect();
    let bare = bare.to_uppercase();
    let bytes = UNITS
        .iter()
        .find_map(|(unit, size)| bare.strip_suffix(unit)?.parse::<u64>().ok()?.checked_mul(*size));
    bytes
        .filter(|bytes| (1..=LARGEST).contains(bytes))
        .ok_or_else(|| PageError::Size(text.chars().filter(|c| !c.is_control()).take(40).collect()))
}

/// `61.3 MB`, `4 GB`.
#[must_use]
pub fn said(bytes: u64) -> String {
    #[expect(clippy::cast_precision_loss, reason = "three digits are shown")]
    let (number, unit) = match bytes {
        0..1_000_000 => (bytes as f64 / 1e3, "KB"),
        1_000_000..1_000_000_000 => (bytes as f64 / 1e6, "MB"),
        _ => (bytes as f64 / 1e9, "GB"),
    };
    let text = format!("{number:.1}");
    format!("{} {unit}", text.trim_end_matches(".0"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_size_has_a_unit() {
        assert_eq!(parse_size("4GB").unwrap(), 4_000_000_000);
        assert_eq!(parse_size("500 mb").unwrap(), 500_000_000);
        for text in ["", "4", "GB", "-1GB", "0MB", "1e9GB", "99999999999GB"] {
            assert!(parse_size(text).is_err(), "{text}");
        }
    }

    #[test]
    fn sizes_are_said_in_three_digits_or_so() {
        assert_eq!(said(4_000_000_000), "4 GB");
        assert_eq!(said(61_340_000), "61.3 MB");
        assert_eq!(said(900), "0.9 KB");
    }
}
