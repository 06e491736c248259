//! What a camera that turned, zoomed and stepped shows of a point at a known nearness. In: a
//! place in the key picture and its nearness. Out: the place in another picture, and how that
//! changes with everything unknown. Pixels; turns in radians; steps and nearness in units of
//! the golfer's distance, so that nearness is 1 at the golfer and 0 at the horizon.

use nalgebra::{
    Matrix2x3, Matrix3, Matrix3x1, Rotation3, RowVector3, SMatrix, SVector, Vector2, Vector3,
};

use crate::frames::Pixel;

/// Unknowns of one picture: three of the turn, the zoom's logarithm, three of the step.
pub(super) const NUMBERS: usize = 7;
pub(super) const ZOOM: usize = 3;
pub(super) const STEP: usize = 4;
pub(super) type Numbers = SVector<f64, NUMBERS>;
pub(super) type Normal = SMatrix<f64, NUMBERS, NUMBERS>;

/// The camera of one picture beside that of its key.
#[derive(Clone, Copy, Debug)]
pub(super) struct Eye {
    rotation: Rotation3<f64>,
    /// Logarithm of the magnification.
    zoom: f64,
    step: Vector3<f64>,
}

#[derive(Clone, Copy, Debug)]
pub(super) struct Lens {
    pub centre: Pixel,
    pub focal: f64,
}

/// A place in the other picture and its derivatives.
pub(super) struct Sight {
    pub at: Vector2<f64>,
    pub by_eye: SMatrix<f64, 2, NUMBERS>,
    pub by_nearness: Vector2<f64>,
    /// By the logarithm of the focal length.
    pub by_focal: Vector2<f64>,
}

impl Eye {
    pub fn key() -> Self {
        Self { rotation: Rotation3::identity(), zoom: 0.0, step: Vector3::zeros() }
    }

    pub fn changed(&self, by: &Numbers) -> Self {
        let turn = Rotation3::new(by.fixed_rows::<3>(0).into_owned());
        Self {
            rotation: turn * self.rotation,
            zoom: self.zoom + by[ZOOM],
            step: self.step + by.fixed_rows::<3>(STEP),
        }
    }

    /// What the prior pulls towards zero; a turn is as likely as any other.
    pub fn held(&self) -> Numbers {
        let mut numbers = Numbers::zeros();
        numbers[ZOOM] = self.zoom;
        numbers.fixed_rows_mut::<3>(STEP).copy_from(&self.step);
        numbers
    }
}

impl Lens {
    fn ray(&self, p: Pixel) -> Vector3<f64> {
        Vector3::new((p.x - self.centre.x) / self.focal, (p.y - self.centre.y) / self.focal, 1.0)
    }

    pub fn see(&self, eye: &Eye, p: Pixel, nearness: f64) -> Sight {
        let ray = self.ray(p);
        let turned = eye.rotation * (ray - eye.step * nearness);
        let (x, y) = (turned.x / turned.z, turned.y / turned.z);
        let zoom = self.focal * eye.zoom.exp();
        let slope = Matrix2x3::new(1.0, 0.0, -x, 0.0, 1.0, -y) * (zoom / turned.z);
        let outward = Vector2::new(zoom * x, zoom * y);
        let turning = slope * eye.rotation.matrix();
        let mut by_eye = SMatrix::<f64, 2, NUMBERS>::zeros();
        by_eye.fixed_columns_mut::<3>(0).copy_from(&(slope * -turned.cross_matrix()));
        by_eye.set_column(ZOOM, &outward);
        by_eye.fixed_columns_mut::<3>(STEP).copy_from(&(turning * -nearness));
        Sight {
            at: Vector2::new(self.centre.x, self.centre.y) + outward,
            by_eye,
            by_nearness: turning * -eye.step,
            by_focal: outward + turning * Vector3::new(-ray.x, -ray.y, 0.0),
        }
    }

    /// The map of everything at one nearness: a plane square to the key picture's line of sight.
    pub fn map(&self, eye: &Eye, nearness: f64) -> Matrix3<f64> {
        let (f, c) = (self.focal, self.centre);
        let zoom = f * eye.zoom.exp();
        let into = Matrix3::new(zoom, 0.0, c.x, 0.0, zoom, c.y, 0.0, 0.0, 1.0);
        let from = Matrix3::new(1.0 / f, 0.0, -c.x / f, 0.0, 1.0 / f, -c.y / f, 0.0, 0.0, 1.0);
        let step = Matrix3x1::from(eye.step * nearness) * RowVector3::new(0.0, 0.0, 1.0);
        into * eye.rotation.matrix() * (Matrix3::identity() - step) * from
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::track::camera::project;

    const LENS: Lens = Lens { centre: Pixel { x: 360.0, y: 640.0 }, focal: 1100.0 };
    const AT: Pixel = Pixel { x: 150.0, y: 900.0 };

    fn eye() -> Eye {
        Eye::key().changed(&Numbers::from([0.02, -0.03, 0.01, 0.004, 0.005, -0.003, 0.002]))
    }

    #[test]
    fn derivatives_are_those_of_the_place() {
        const BY: f64 = 1e-6;
        let sight = LENS.see(&eye(), AT, 0.7);
        for i in 0..NUMBERS {
            let mut by = Numbers::zeros();
            by[i] = BY;
            let moved = (LENS.see(&eye().changed(&by), AT, 0.7).at - sight.at) / BY;
            assert!((moved - sight.by_eye.column(i)).norm() < 0.01, "{i}");
        }
        let nearer = (LENS.see(&eye(), AT, 0.7 + BY).at - sight.at) / BY;
        assert!((nearer - sight.by_nearness).norm() < 1e-3);
        let longer = Lens { focal: LENS.focal * (1.0 + BY), ..LENS };
        let longer = (longer.see(&eye(), AT, 0.7).at - sight.at) / BY;
        assert!((longer - sight.by_focal).norm() < 1e-2);
    }

    #[test]
    fn the_map_takes_points_where_the_camera_sees_them() {
        for nearness in [0.0, 0.4, 1.3] {
            let seen = LENS.see(&eye(), AT, nearness).at;
            let mapped = project(&LENS.map(&eye(), nearness), AT);
            assert!(mapped.distance(Pixel::new(seen.x, seen.y)) < 1e-9);
        }
        // By hand: 0.01 of the golfer's distance to the right moves him 11 pixels to the left.
        let aside = Eye::key().changed(&Numbers::from([0.0, 0.0, 0.0, 0.0, 0.01, 0.0, 0.0]));
        assert!((project(&LENS.map(&aside, 1.0), AT).x - (AT.x - 11.0)).abs() < 1e-9);
        assert!(project(&LENS.map(&aside, 0.0), AT).distance(AT) < 1e-9);
    }
}
