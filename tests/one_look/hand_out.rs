//! Stills and short clips as they are handed out: complete, playable, faces hidden where asked.
//! With HUBGAUGE_LOOK=FOLDER they are kept there to be looked at.

use std::path::Path;

use hubgauge::body::Joint;
use hubgauge::calibration::View;
use hubgauge::decode::{self, Picture, Pictures};
use hubgauge::events::Event;
use hubgauge::frames::Pixel;
use hubgauge::run::evaluate::evaluate;
use hubgauge::run::pictures::{Moment, PHONE, Wish, still};
use hubgauge::run::short_clip::short_clip;
use hubgauge::run::{Look, Measurement};
use hubgauge::track::CameraMotion;
use image::RgbImage;

use super::{SEEN, options};

fn measurement(clips: usize) -> Measurement {
    let observed = SEEN[..clips].to_vec();
    let evaluated = evaluate(&observed, &options(clips), Vec::new()).unwrap();
    Measurement { result: evaluated.result.clone(), evaluated, observed }
}

fn keep(name: &str, bytes: &[u8]) {
    if let Ok(folder) = std::env::var("HUBGAUGE_LOOK") {
        std::fs::write(Path::new(&folder).join(name), bytes).unwrap();
    }
}

const HIDDEN: Look = Look { blur_faces: true, skeleton: false };

/// The clip read back, with the frames' real time in the swing.
fn film(view: View, look: Look, name: &str) -> Vec<Picture> {
    let clip = short_clip(&measurement(2), view, look).unwrap().unwrap();
    let folder = tempfile::TempDir::new().unwrap();
    let file = folder.path().join(format!("clip.{}", clip.ending));
    std::fs::write(&file, &clip.bytes).unwrap();
    keep(&format!("{name}.{}", clip.ending), &clip.bytes);
    let info = decode::probe(&file).unwrap();
    assert!(info.warnings.is_empty(), "{:?}", info.warnings);
    let info = info.output;
    assert_eq!(clip.ending, "mp4");
    assert!(info.codec.contains("h264"), "{}", info.codec);
    assert!(info.size.width <= 720 && !info.has_sound);
    assert!(clip.bytes.len() < 8_000_000, "{} bytes", clip.bytes.len());
    let pictures = Pictures::open(&info, f64::NEG_INFINITY, f64::INFINITY, 0.0).unwrap();
    pictures.map(|p| p.unwrap()).collect()
}

/// Mean difference inside and outside a box.
fn differences(a: &RgbImage, b: &RgbImage, centre: (f64, f64), half: f64) -> (f64, f64) {
    let (mut sums, mut counts) = ([0.0; 2], [0.0; 2]);
    for ((x, y, p), q) in a.enumerate_pixels().zip(b.pixels()) {
        let (dx, dy) = ((f64::from(x) - centre.0).abs(), (f64::from(y) - centre.1).abs());
        let (inside, outside) = (dx.max(dy) < half, dx.max(dy) > 4.0 * half);
        if inside || outside {
            let off: u32 = p.0.iter().zip(q.0).map(|(p, q)| u32::from(p.abs_diff(q))).sum();
            sums[usize::from(outside)] += f64::from(off) / 3.0;
            counts[usize::from(outside)] += 1.0;
        }
    }
    (sums[0] / counts[0], sums[1] / counts[1])
}

#[test]
fn the_short_clip_shows_the_whole_swing_slowly_and_hides_the_face_on_every_frame() {
    let plain = film(View::FaceOn, Look::default(), "face-on");
    let hidden = film(View::FaceOn, HIDDEN, "face-on_hidden");
    let whole = plain[plain.len() - 1].time.seconds() - plain[0].time.seconds();
    let measured = measurement(2);
    let viewed = &measured.evaluated.views[0];
    let takeaway = viewed.events.takeaway.unwrap().value;
    let finish = viewed.events.finish.unwrap().value;
    assert!(whole > 4.0 * (finish - takeaway), "{whole}");
    assert_eq!(plain.len(), hidden.len());
    let from = (takeaway - 0.4).max(viewed.lifted.frames[0].time.0);
    for (a, b) in plain.iter().zip(&hidden) {
        let time = from + (a.time.seconds() - plain[0].time.seconds()) / 4.0;
        let near = viewed.lifted.frames.iter();
        let frame = near.min_by(|p, q| (p.time.0 - time).abs().total_cmp(&(q.time.0 - time).abs()));
        let head = frame.unwrap().points[Joint::Head].at;
        let half = 0.03 * frame.unwrap().log_stature_px.value.exp();
        let (inside, outside) = differences(&a.pixels, &b.pixels, (head.x, head.y), half);
        assert!(inside > 2.0 && outside < 1.5, "at {time:.3}: {inside:.2} {outside:.2}");
    }
}

#[test]
fn a_clip_filmed_down_the_line_is_made_too() {
    let shown = film(View::DownTheLine, HIDDEN, "down-the-line_hidden");
    assert!(shown.len() > 30);
}

#[test]
fn stills_are_made_on_demand_as_they_are_written() {
    let measured = measurement(1);
    let wish = |moment, look, longest| Wish { view: View::FaceOn, moment, look, longest };
    for moment in Moment::all() {
        let drawn = still(&measured, &wish(moment, HIDDEN, Some(PHONE))).unwrap().unwrap();
        assert!(drawn.width().max(drawn.height()) <= PHONE);
        let name = Wish::name(View::FaceOn, moment);
        keep(&format!("{name}.png"), &hubgauge::stills::encode_png(&drawn).unwrap());
    }
    let top = Moment::At(Event::Top);
    let [plain, hidden] = [Look::default(), HIDDEN]
        .map(|look| still(&measured, &wish(top, look, None)).unwrap().unwrap());
    assert_eq!(plain.dimensions(), hidden.dimensions());
    assert!(plain != hidden);
    let other = Wish { view: View::DownTheLine, ..wish(top, HIDDEN, None) };
    assert!(still(&measured, &other).unwrap().is_none());
}

/// How many pixels of the still at the top are drawn on where the upright line through the lower
/// hub's place at address runs, below the hub.
fn drawn_at_address(motion: CameraMotion) -> usize {
    let mut observed = SEEN[..1].to_vec();
    observed[0].track.motion = motion;
    let evaluated = evaluate(&observed, &options(1), Vec::new()).unwrap();
    let measured = Measurement { result: evaluated.result.clone(), evaluated, observed };
    let viewed = &measured.evaluated.views[0];
    let (from, to) = viewed.events.address;
    let frames = viewed.lifted.frames.iter();
    let hubs: Vec<_> = frames
        .filter(|f| (from.0..=to.0).contains(&f.time.0))
        .map(|f| (f.points[Joint::LowerHub].at, f.log_stature_px.value.exp()))
        .collect();
    let mean = |of: fn(&(Pixel, f64)) -> f64| hubs.iter().map(of).sum::<f64>() / hubs.len() as f64;
    let (x, y, stature) = (mean(|h| h.0.x), mean(|h| h.0.y), mean(|h| h.1));
    let top = viewed.events.top.value;
    let near = viewed.lifted.frames.iter();
    let frame = near.min_by(|a, b| (a.time.0 - top).abs().total_cmp(&(b.time.0 - top).abs()));
    let seen = &measured.observed[0];
    let at = seen.timestamp(frame.unwrap().index).unwrap();
    let plain = decode::picture_at(&seen.info, at).unwrap().pixels;
    let wish = Wish {
        view: View::FaceOn,
        moment: Moment::At(Event::Top),
        look: Look::default(),
        longest: None,
    };
    let drawn = still(&measured, &wish).unwrap().unwrap();
    // No picture this wide is enlarged before it is drawn on.
    assert!(plain.width() >= 720 && drawn.width() == plain.width());
    let inside = |&(px, py, _): &(u32, u32, &image::Rgb<u8>)| {
        let (dx, dy) = (f64::from(px) - x, f64::from(py) - y - 0.19 * stature);
        dx.abs() < 0.02 * stature && dy.abs() < 0.03 * stature
    };
    let pairs = plain.enumerate_pixels().filter(inside);
    pairs.filter(|(px, py, p)| *p != drawn.get_pixel(*px, *py)).count()
}

#[test]
fn a_place_at_address_is_drawn_only_where_the_camera_is_known() {
    let [still, unknown] = [CameraMotion::Still, CameraMotion::Untrusted].map(drawn_at_address);
    assert!(still > 50 && unknown == 0, "{still} {unknown}");
}
