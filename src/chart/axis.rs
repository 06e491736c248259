//! A number line. In: the values to be shown, the room there is. Out: round tick values and where
//! a value stands.

/// Ticks are at least this far apart.
const TICK_ROOM: f64 = 44.0;

#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Axis {
    /// Values at the two ends.
    pub low: f64,
    pub high: f64,
    /// Places of the two ends.
    pub from: f64,
    pub to: f64,
    /// Between two ticks.
    step: f64,
}

impl Axis {
    /// Covers all the values (finite ones) and `at_least` on both sides of nothing, with ends on
    /// ticks.
    #[must_use]
    pub fn around(values: impl IntoIterator<Item = f64>, from: f64, to: f64) -> Self {
        let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
        for value in values.into_iter().filter(|value| value.is_finite()) {
            low = low.min(value);
            high = high.max(value);
        }
        if low > high {
            (low, high) = (-1.0, 1.0);
        }
        if high - low < 1e-6 {
            (low, high) = (low - 1.0, high + 1.0);
        }
        let step = step((high - low) * TICK_ROOM / (to - from).abs().max(1.0));
        let (low, high) = ((low / step).floor() * step, (high / step).ceil() * step);
        Self { low, high, from, to, step }
    }

    /// The same ticks between other ends.
    #[must_use]
    pub fn between(&self, low: f64, high: f64, from: f64, to: f64) -> Self {
        Self { low, high, from, to, step: self.step }
    }

    #[must_use]
    pub fn place(&self, value: f64) -> f64 {
        let share = (value - self.low) / (self.high - self.low);
        self.from + share * (self.to - self.from)
    }

    #[must_use]
    pub fn ticks(&self) -> Vec<f64> {
        let mut ticks = Vec::new();
        let mut n = (self.low / self.step - 1e-9).ceil();
        while n * self.step <= self.high + 1e-9 * self.step {
            ticks.push(n * self.step + 0.0);
            n += 1.0;
        }
        ticks
    }

    /// Decimals that tell the ticks apart.
    #[must_use]
    pub fn decimals(&self) -> usize {
        [1.0, 0.1, 0.01, 0.001].iter().position(|unit| self.step >= unit - 1e-9).unwrap_or(4)
    }
}

/// At least `least`: 1, 2 or 5 times a power of ten.
fn step(least: f64) -> f64 {
    let power = 10f64.powf(least.log10().floor());
    let fits = [1.0, 2.0, 5.0].into_iter().map(|n| n * power).find(|step| *step >= least);
    fits.unwrap_or(10.0 * power)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ticks_are_round_and_have_room() {
        let axis = Axis::around([-6.3, 0.0, 11.8], 100.0, 500.0);
        assert_eq!((axis.low, axis.high), (-8.0, 12.0));
        assert_eq!(axis.ticks().len(), 11);
        let places: Vec<f64> = axis.ticks().iter().map(|t| axis.place(*t)).collect();
        assert!(places.windows(2).all(|pair| pair[1] - pair[0] >= 39.0), "{places:?}");
        assert!((axis.place(0.0) - 260.0).abs() < 1e-9);
        assert_eq!(axis.decimals(), 0);
    }

    #[test]
    fn no_values_and_one_value_still_make_a_line() {
        assert_eq!(Axis::around([f64::NAN], 0.0, 100.0).ticks(), [-1.0, 0.0, 1.0]);
        let one = Axis::around([3.0], 0.0, 300.0);
        assert!(one.low < 3.0 && one.high > 3.0);
        assert_eq!(Axis::around([0.01, 0.03], 0.0, 200.0).decimals(), 3);
    }
}
