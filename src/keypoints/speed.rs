//! What a picture costs. `cargo test --lib keypoints::speed -- --ignored --nocapture` prints
//! milliseconds and ratios; a busy machine spoils the first, hardly the second.

use std::time::Instant;

use super::*;
use crate::frames::Handed;

/// The least of a few interleaved rounds is the least disturbed.
const ROUNDS: usize = 5;

/// Pictures in a round.
const PICTURES: usize = 8;

fn milliseconds(mut work: impl FnMut()) -> f64 {
    let start = Instant::now();
    work();
    start.elapsed().as_secs_f64() * 1000.0
}

#[test]
#[ignore = "a measurement, not a check"]
fn milliseconds_per_picture() {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures/keypoints/face_on_top.png");
    let small = image::open(path).unwrap().to_rgb8();
    let filter = image::imageops::FilterType::Triangle;
    let image = image::imageops::resize(&small, 720, 1280, filter);
    let networks = [Accuracy::Full, Accuracy::Heavy].map(|a| Networks::load(a).unwrap());
    let roi = networks[0].detect(&image).unwrap()[0].roi;
    let guide: Guide = vec![(0.0, roi)];
    let read = |n: &Networks, threads: usize| {
        let pictures = (0..PICTURES).map(|i| super::tests::fine(i, image.clone()));
        follow::<_, KeypointsError>(n, pictures, &guide, threads, Handed::Right).unwrap();
    };
    let mut least = [f64::INFINITY; 6];
    for _ in 0..ROUNDS {
        let each = f64::from(u32::try_from(PICTURES).unwrap());
        let round = [
            milliseconds(|| {
                drop(Square::new(&image, roi, Facing::AsSeen, Sampling::Mean).unwrap());
            }),
            milliseconds(|| drop(networks[0].detect(&image).unwrap())),
            milliseconds(|| read(&networks[0], 1)) / each,
            milliseconds(|| read(&networks[0], 2)) / each,
            milliseconds(|| read(&networks[1], 1)) / each,
            milliseconds(|| read(&networks[1], 2)) / each,
        ];
        least.iter_mut().zip(round).for_each(|(l, r)| *l = l.min(r));
    }
    let names = ["crop", "detector", "full, 1 thread", "full, 2", "heavy, 1", "heavy, 2"];
    for (name, ms) in names.iter().zip(least) {
        println!("{name:16} {ms:7.2} ms a picture, {:.2} of full with 1 thread", ms / least[2]);
    }
}
