//! Made-up grounds before made-up feet, with a rod or without, and what else lies about: mats with
//! and without a border, seams, planks, mowing stripes, painted lines, hoses, twigs and tools,
//! shadows, the club. Test code; nothing here is a picture of anything.

use std::f64::consts::{FRAC_PI_2, TAU};

use super::field::Field;
use crate::dice::Dice;

impl Dice {
    fn colour(&mut self, low: f64, high: f64) -> [f64; 3] {
        let v = self.between(low, high);
        [(); 3].map(|()| (v * self.between(0.6, 1.4)).clamp(5.0, 250.0))
    }

    /// Along the target line or square to it, about.
    fn way(&mut self, sd: f64) -> f64 {
        self.normal(sd) + if self.chance(0.5) { FRAC_PI_2 } else { 0.0 }
    }
}

/// Metres along target and ball from the middle of the feet.
type Place = [f64; 2];

enum Thing {
    /// Its half width, how strong its colour is and over what its sides fade; whether it is
    /// still there at the top.
    Strip {
        ends: [Place; 2],
        half: f64,
        colour: [f64; 3],
        alpha: f64,
        soft: f64,
        stays: bool,
    },
    /// With a border of a half width at some distance from its edge; 0: none.
    Mat {
        at: Place,
        half: Place,
        turn: f64,
        colour: [f64; 3],
        border: [f64; 2],
        line: [f64; 3],
    },
    Seams {
        turn: f64,
        period: [f64; 2],
        half: f64,
        colour: [f64; 3],
        alpha: f64,
        shift: f64,
    },
    Stripes {
        turn: f64,
        period: f64,
        depth: f64,
    },
    Body {
        at: Place,
        turn: f64,
        depth: f64,
    },
    Hose {
        at: Place,
        radius: f64,
        half: f64,
        colour: [f64; 3],
    },
}

/// Looks at the feet from `at` (metres along target and ball, up).
pub struct Camera {
    focal: f64,
    pub width: usize,
    pub height: usize,
    at: [f64; 3],
    pitch: f64,
    roll: f64,
    azimuth: f64,
}

impl Camera {
    fn draw(dice: &mut Dice) -> Self {
        let side = dice.chance(0.35);
        let azimuth = if side { FRAC_PI_2 } else { 0.0 } + dice.normal(0.07);
        let (far, high) = (dice.between(2.8, 5.5), dice.between(0.7, 1.6));
        let toward = if side { 0.4 } else { 0.0 };
        let at = [-azimuth.sin() * far, azimuth.cos() * far + toward, high];
        let (width, height) = if dice.chance(0.75) { (720, 1280) } else { (1280, 720) };
        let pitch = ((high - 0.9) / far).atan() + dice.normal(0.03);
        let focal = 1280.0 * dice.between(0.70, 0.95);
        Self { focal, width, height, at, pitch, roll: dice.normal(0.02), azimuth }
    }

    /// Right, down, ahead.
    fn axes(&self) -> [[f64; 3]; 3] {
        let (sa, ca) = self.azimuth.sin_cos();
        let (sp, cp) = self.pitch.sin_cos();
        let (sr, cr) = self.roll.sin_cos();
        let (right, level) = ([ca, sa, 0.0], [sa, -ca, 0.0]);
        let ahead = [level[0] * cp, level[1] * cp, -sp];
        let down = [-level[0] * sp, -level[1] * sp, -cp];
        let mix = |a: f64, b: f64| [0, 1, 2].map(|i| a * right[i] + b * down[i]);
        [mix(cr, sr), mix(-sr, cr), ahead]
    }

    pub fn ground(&self, [px, py]: [f64; 2]) -> Option<Place> {
        let [x, y, z] = self.axes();
        let u = (px - self.width as f64 / 2.0) / self.focal;
        let v = (py - self.height as f64 / 2.0) / self.focal;
        let ray = [0, 1, 2].map(|i| x[i] * u + y[i] * v + z[i]);
        let reach = -self.at[2] / ray[2];
        (ray[2] < -0.02).then(|| [self.at[0] + reach * ray[0], self.at[1] + reach * ray[1]])
    }

    pub fn pixel(&self, world: [f64; 3]) -> [f64; 2] {
        let [x, y, z] = self.axes();
        let from = [0, 1, 2].map(|i| world[i] - self.at[i]);
        let dot = |a: [f64; 3]| a[0] * from[0] + a[1] * from[1] + a[2] * from[2];
        let on = |side: usize, a: [f64; 3]| side as f64 / 2.0 + self.focal * dot(a) / dot(z);
        [on(self.width, x), on(self.height, y)]
    }

    pub fn px_per_m(&self) -> f64 {
        self.focal / self.at.iter().map(|v| v * v).sum::<f64>().sqrt()
    }
}

pub struct Scene {
    pub camera: Camera,
    things: Vec<Thing>,
    /// Direction of the rod from target toward ball, radians.
    pub rod: Option<f64>,
    base: [f64; 3],
    grain: [f64; 2],
    seed: u64,
    blur: f64,
    noise: f64,
}

impl Scene {
    pub fn draw(dice: &mut Dice, with_rod: bool) -> Self {
        let camera = Camera::draw(dice);
        let green = dice.between(50.0, 130.0);
        let base = if dice.chance(0.5) {
            [green * dice.between(0.6, 1.0), green, green * dice.between(0.3, 0.6)]
        } else {
            dice.colour(50.0, 190.0)
        };
        let sun = dice.between(0.0, 0.6);
        let mut things = Vec::new();
        litter(dice, &mut things);
        let rod = with_rod.then(|| lay_rod(dice, &mut things, sun));
        shade(dice, &mut things, sun);
        let ball = [[0.04, 0.74], [0.08, 0.74]];
        things.push(strip(ball, 0.02, [240.0; 3]));
        Self {
            camera,
            things,
            rod,
            base,
            grain: [dice.between(8.0, 60.0), dice.between(0.05, 0.4)],
            seed: dice.0 >> 20,
            blur: dice.between(0.4, 1.0),
            noise: dice.between(0.3, 2.0),
        }
    }
}

fn strip(ends: [Place; 2], half: f64, colour: [f64; 3]) -> Thing {
    Thing::Strip { ends, half, colour, alpha: 1.0, soft: 0.001, stays: true }
}

fn ends(at: Place, way: f64, long: f64) -> [Place; 2] {
    let (sin, cos) = way.sin_cos();
    [-0.5, 0.5].map(|k| [at[0] + k * long * cos, at[1] + k * long * sin])
}

fn litter(dice: &mut Dice, things: &mut Vec<Thing>) {
    if dice.chance(0.3) {
        let depth = dice.between(0.05, 0.2);
        things.push(Thing::Stripes { turn: dice.way(0.3), period: dice.between(0.3, 1.5), depth });
    }
    if dice.chance(0.25) {
        let colour =
            if dice.chance(0.5) { dice.colour(150.0, 240.0) } else { dice.colour(10.0, 50.0) };
        let cross = if dice.chance(0.5) { dice.between(0.4, 1.6) } else { f64::INFINITY };
        things.push(Thing::Seams {
            turn: dice.way(0.1),
            period: [dice.between(0.12, 1.4), cross],
            half: dice.between(0.002, 0.006),
            colour,
            alpha: dice.between(0.3, 1.0),
            shift: dice.uniform(),
        });
    }
    if dice.chance(0.4) {
        let border = if dice.chance(0.5) { dice.between(0.004, 0.02) } else { 0.0 };
        let inset = if dice.chance(0.5) { border } else { dice.between(0.03, 0.12) };
        things.push(Thing::Mat {
            at: [dice.normal(0.15), dice.between(0.2, 0.8)],
            half: [dice.between(0.5, 0.8), dice.between(0.4, 0.8)],
            turn: dice.normal(0.06),
            colour: dice.colour(30.0, 160.0),
            border: [border, inset],
            line: dice.colour(140.0, 250.0),
        });
    }
    if dice.chance(0.25) {
        let at = [dice.normal(0.5), dice.between(0.2, 1.5)];
        let painted = ends(at, dice.way(0.4), dice.between(1.0, 8.0));
        things.push(strip(painted, dice.between(0.01, 0.05), dice.colour(180.0, 250.0)));
    }
    if dice.chance(0.2) {
        things.push(Thing::Hose {
            at: [dice.normal(1.0), dice.between(0.0, 4.0)],
            radius: dice.between(0.8, 4.0),
            half: dice.between(0.004, 0.012),
            colour: dice.colour(60.0, 230.0),
        });
    }
    if dice.chance(0.3) {
        // as a rod, but shorter or longer, and any way
        let long = if dice.chance(0.5) { dice.between(0.1, 0.9) } else { dice.between(1.5, 2.5) };
        let at = [dice.normal(0.5), dice.between(0.1, 1.6)];
        let laid = ends(at, dice.between(0.0, TAU), long);
        things.push(strip(laid, dice.between(0.003, 0.008), dice.colour(40.0, 240.0)));
    }
}

/// White, orange, yellow or red, along the toes or the ball.
fn lay_rod(dice: &mut Dice, things: &mut Vec<Thing>, sun: f64) -> f64 {
    const COLOURS: [[f64; 3]; 4] =
        [[235.0, 235.0, 230.0], [240.0, 110.0, 30.0], [235.0, 225.0, 60.0], [225.0, 60.0, 60.0]];
    let way = dice.normal(0.04);
    let long = if dice.chance(0.8) { 1.22 } else { 1.14 };
    let front = if dice.chance(0.5) { dice.between(0.2, 0.4) } else { dice.between(0.6, 0.95) };
    let at = [dice.normal(0.12), front];
    let colour = COLOURS[(dice.uniform() * 4.0) as usize].map(|v| v * dice.between(0.85, 1.0));
    let half = dice.between(0.004, 0.006);
    if sun > 0.2 {
        let beside = [at[0], front + dice.between(-0.008, 0.008)];
        let ends = ends(beside, way, long);
        let (half, colour) = (1.3 * half, [0.0; 3]);
        things.push(Thing::Strip { ends, half, colour, alpha: sun, soft: 0.002, stays: true });
    }
    things.push(strip(ends(at, way, long), half, colour));
    way
}

fn shade(dice: &mut Dice, things: &mut Vec<Thing>, sun: f64) {
    if sun < 0.1 {
        return;
    }
    let way = dice.between(0.0, TAU);
    let (sin, cos) = way.sin_cos();
    things.push(Thing::Body { at: [0.9 * cos, 0.9 * sin], turn: way, depth: sun });
    let dark = |ends, half, soft, stays| Thing::Strip {
        ends,
        half,
        colour: [0.0; 3],
        alpha: sun,
        soft,
        stays,
    };
    let club = [[0.05, 0.72], [0.05 + 0.9 * cos, 0.72 + 0.9 * sin]];
    things.push(dark(club, 0.008, 0.004, false));
    if dice.chance(0.3) {
        let at = [dice.normal(1.0), dice.between(0.0, 2.0)];
        let pole = [at, [at[0] + 3.0 * cos, at[1] + 3.0 * sin]];
        things.push(dark(pole, dice.between(0.01, 0.04), 0.01, true));
    }
}

/// Value noise.
fn noise(x: f64, y: f64, seed: u64) -> f64 {
    let hash = |i: i64, j: i64| {
        let mut h = (i as u64).wrapping_mul(0x9E37_79B9_7F4A_7C15)
            ^ (j as u64).wrapping_mul(0xC2B2_AE3D_27D4_EB4F)
            ^ seed.wrapping_mul(0x1656_67B1_9E37_79F9);
        h ^= h >> 29;
        h = h.wrapping_mul(0xBF58_476D_1CE4_E5B9);
        h ^= h >> 32;
        (h >> 11) as f64 / (1_u64 << 53) as f64 - 0.5
    };
    let (i, j) = (x.floor() as i64, y.floor() as i64);
    let smooth = |t: f64| t * t * (3.0 - 2.0 * t);
    let (u, v) = (smooth(x - x.floor()), smooth(y - y.floor()));
    let row = |j: i64| hash(i, j) * (1.0 - u) + hash(i + 1, j) * u;
    row(j) * (1.0 - v) + row(j + 1) * v
}

fn turned(p: Place, at: Place, turn: f64) -> Place {
    let (sin, cos) = turn.sin_cos();
    let d = [p[0] - at[0], p[1] - at[1]];
    [d[0] * cos + d[1] * sin, d[1] * cos - d[0] * sin]
}

fn cover(distance: f64, half: f64, soft: f64) -> f64 {
    ((half + soft - distance) / (2.0 * soft)).clamp(0.0, 1.0)
}

impl Thing {
    /// What is painted at a place, and how strongly.
    fn paint(&self, p: Place, under: [f64; 3], seed: u64, later: bool) -> Option<([f64; 3], f64)> {
        match self {
            Self::Strip { stays: false, .. } if later => None,
            Self::Strip { ends: [a, b], half, colour, alpha, soft, .. } => {
                let way = (b[1] - a[1]).atan2(b[0] - a[0]);
                let [u, v] = turned(p, *a, way);
                let long = (b[0] - a[0]).hypot(b[1] - a[1]);
                (0.0..long).contains(&u).then(|| (*colour, alpha * cover(v.abs(), *half, *soft)))
            }
            Self::Mat { at, half, turn, colour, border: [border, inset], line } => {
                let q = turned(p, *at, *turn);
                let edge = (half[0] - q[0].abs()).min(half[1] - q[1].abs());
                let grain = 14.0 * noise(p[0] * 120.0, p[1] * 120.0, seed);
                let on_border = *border > 0.0 && (edge - inset).abs() < *border;
                let colour = if on_border { *line } else { colour.map(|v| v + grain) };
                (edge > 0.0).then_some((colour, 1.0))
            }
            Self::Seams { turn, period, half, colour, alpha, shift } => {
                let q = turned(p, [0.0, *shift], *turn);
                let near =
                    |v: f64, p: f64| p.is_finite() && ((v / p).round() * p - v).abs() < *half;
                (near(q[1], period[0]) || near(q[0], period[1])).then_some((*colour, *alpha))
            }
            Self::Stripes { turn, period, depth } => {
                let q = turned(p, [0.0; 2], *turn);
                let dark = (q[1] / period).rem_euclid(2.0) < 1.0;
                dark.then(|| (under.map(|v| v * (1.0 - depth)), 1.0))
            }
            Self::Body { at, turn, depth } => {
                let moved = if later { 0.1 } else { 0.0 };
                let q = turned(p, [at[0] + moved, at[1] + moved], *turn);
                let out = (q[0] / 0.9).hypot(q[1] / 0.22);
                Some((under.map(|v| v * (1.0 - depth)), cover(out, 1.0, 0.1)))
            }
            Self::Hose { at, radius, half, colour } => {
                let off = (p[0] - at[0]).hypot(p[1] - at[1]) - radius;
                (off.abs() < *half).then_some((*colour, 1.0))
            }
        }
    }
}

impl Scene {
    fn colour(&self, p: Place, later: bool) -> [f64; 3] {
        let [depth, size] = self.grain;
        let grain: f64 = [1.0, 4.3, 17.0]
            .iter()
            .map(|k| noise(p[0] * k / size, p[1] * k / size, self.seed) / k.powf(0.35))
            .sum();
        let mut colour = [0, 1, 2].map(|c| self.base[c] + grain * depth * (0.8 + 0.2 * c as f64));
        for thing in &self.things {
            if let Some((paint, how)) = thing.paint(p, colour, self.seed, later) {
                colour = [0, 1, 2].map(|c| colour[c] + (paint[c] - colour[c]) * how);
            }
        }
        colour
    }

    /// The feet, and at address the club, before the ground.
    fn seen(&self, p: [f64; 2], later: bool) -> [f64; 3] {
        let camera = &self.camera;
        let px = camera.px_per_m();
        let off = |at: [f64; 2]| [(p[0] - at[0]) / px, (p[1] - at[1]) / px];
        for side in [-0.21, 0.21] {
            let [x, y] = off(camera.pixel([side, 0.05, 0.03]));
            if (x / 0.06).hypot(y / 0.09) < 1.0 {
                return [30.0, 30.0, 40.0];
            }
        }
        if !later {
            let head = camera.pixel([0.05, 0.72, 0.03]);
            let hands = camera.pixel([0.03, 0.33, 0.78]);
            let [x, y] = off(head);
            if x.abs() < 0.045 && y.abs() < 0.025 {
                return [90.0; 3];
            }
            let way = (hands[1] - head[1]).atan2(hands[0] - head[0]);
            let [along, beside] = turned(p, head, way);
            if along > 0.0 && beside.abs() < 0.0055 * px {
                return [200.0; 3];
            }
        }
        camera.ground(p).map_or([170.0; 3], |place| self.colour(place, later))
    }

    /// The rows from `top` down.
    pub fn band(&self, top: usize, later: bool, dice: &mut Dice) -> Field {
        const SUB: [f64; 2] = [0.25, 0.75];
        let (width, height) = (self.camera.width, self.camera.height - top);
        let mut pixels = Vec::with_capacity(width * height);
        for y in top..self.camera.height {
            for x in 0..width {
                let parts = SUB.iter().flat_map(|v| SUB.map(|u| [x as f64 + u, y as f64 + v]));
                let colours: Vec<_> = parts.map(|p| self.seen(p, later)).collect();
                pixels.push(super::field::mean(&colours).map(|v| v as f32));
            }
        }
        let mut field = Field { width, height, pixels }.smoothed(self.blur);
        for value in field.pixels.iter_mut().flatten() {
            *value = (*value + dice.normal(self.noise) as f32).round().clamp(0.0, 255.0);
        }
        field
    }
}
