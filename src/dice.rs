//! Numbers for tests that look random and are the same in every run and on every machine: a
//! congruential generator (Knuth's MMIX constants), Box and Muller 1958 for normal ones.

pub struct Dice(pub u64);

impl Dice {
    /// Above 0 and below 1.
    pub fn uniform(&mut self) -> f64 {
        self.0 =
            self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        ((self.0 >> 11) as f64 + 0.5) / (1_u64 << 53) as f64
    }

    pub fn normal(&mut self, sd: f64) -> f64 {
        sd * (-2.0 * self.uniform().ln()).sqrt() * (std::f64::consts::TAU * self.uniform()).cos()
    }

    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.uniform()
    }

    pub fn chance(&mut self, p: f64) -> bool {
        self.uniform() < p
    }
}
