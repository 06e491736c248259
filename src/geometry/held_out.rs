//! Errors and coverage on rendered swings of bodies that the corrector never saw.
//!
//! Reads the file that `scripts/held_out.py` writes (path in `HUBGAUGE_HELD_OUT`); ignored
//! otherwise: `HUBGAUGE_HELD_OUT=f cargo test --lib held_out -- --ignored --nocapture`.

use std::collections::BTreeMap;

use nalgebra::Vector3;

use super::pose::{Body, wrap};
use super::{Measure, Motion, ViewInput, motion};
use crate::body::{Joint, PerJoint};
use crate::calibration::{Calibration, CalibrationRequest, View, calibrate};
use crate::decode::Clock;
use crate::events::{Event, Events, ImpactSource, detect};
use crate::frames::{Attitude, Handed, PictureSize, Pixel, Vector};
use crate::lift::{Bearing, CameraGuess, Lifted, LiftedFrame, LiftedPoint};
use crate::track::CameraMotion;
use crate::units::{Estimate, Seconds};

#[derive(serde::Deserialize)]
struct Clip {
    kind: String,
    view: i64,
    size: [u32; 2],
    stature: f64,
    t: Vec<f64>,
    phase: Vec<u32>,
    clip: [f64; 4],
    clip_sd: [f64; 4],
    clip_truth: [f64; 4],
    px: Vec<f64>,
    px_sd: Vec<f64>,
    depth: Vec<f64>,
    depth_sd: Vec<f64>,
    lsp: Vec<f64>,
    lsp_sd: Vec<f64>,
    vec: Vec<f64>,
    vec_sd: Vec<f64>,
    truth: Vec<f64>,
    /// Seconds by which the pictures of a second clip come later than its clock says.
    #[serde(default)]
    shift: f64,
    #[serde(default)]
    second: Option<Box<Clip>>,
}

impl Clip {
    fn lifted(&self) -> Lifted {
        let guess = |i: usize| Estimate::new(self.clip[i], self.clip_sd[i]);
        let camera =
            CameraGuess { pitch: guess(0), roll: guess(1), azimuth: guess(2), log_focal: guess(3) };
        let frames = (0..self.t.len()).map(|f| self.frame(f)).collect();
        Lifted { camera, frames }
    }

    fn frame(&self, f: usize) -> LiftedFrame {
        let points = PerJoint::from_fn(|j| {
            let k = f * Joint::COUNT + j as usize;
            LiftedPoint {
                at: Pixel::new(self.px[2 * k], self.px[2 * k + 1]),
                sd: Pixel::new(self.px_sd[2 * k], self.px_sd[2 * k + 1]),
                depth: Estimate::new(self.depth[k], self.depth_sd[k]),
            }
        });
        let line = |v: usize| {
            let of = |a: &[f64]| {
                Vector::new(a[f * 12 + v * 3], a[f * 12 + v * 3 + 1], a[f * 12 + v * 3 + 2])
            };
            Bearing { vector: of(&self.vec), sd: of(&self.vec_sd) }
        };
        LiftedFrame {
            time: Seconds(self.t[f]),
            index: f,
            filled: false,
            points,
            log_stature_px: Estimate::new(self.lsp[f], self.lsp_sd[f]),
            trunk: line(0),
            shoulders: line(1),
            hips: line(2),
            lead_arm: line(3),
        }
    }

    /// The truth as if the corrector had found it, with the sd it states.
    fn exact(&self) -> Lifted {
        let focal = self.clip_truth[3].exp() * f64::from(self.size[0].max(self.size[1]));
        let centre = PictureSize { width: self.size[0], height: self.size[1] }.centre();
        let mut lifted = self.lifted();
        let guess = |i: usize| Estimate::new(self.clip_truth[i], self.clip_sd[i]);
        lifted.camera =
            CameraGuess { pitch: guess(0), roll: guess(1), azimuth: guess(2), log_focal: guess(3) };
        for (f, frame) in lifted.frames.iter_mut().enumerate() {
            let at = |j: Joint| {
                let k = 3 * (f * Joint::COUNT + j as usize);
                Vector3::new(self.truth[k], self.truth[k + 1], self.truth[k + 2]) / self.stature
            };
            let hub = at(Joint::LowerHub);
            for j in Joint::ALL {
                let p = at(j);
                let point = &mut frame.points[j];
                point.at = Pixel::new(centre.x + focal * p.x / p.z, centre.y + focal * p.y / p.z);
                point.depth.value = p.z - hub.z;
            }
            frame.log_stature_px.value = (focal / hub.z).ln();
            let line = |a: Joint, b: Joint| Vector::from(at(a) - at(b));
            frame.trunk.vector = line(Joint::UpperHub, Joint::LowerHub);
            frame.shoulders.vector = line(Joint::LeadShoulder, Joint::TrailShoulder);
            frame.hips.vector = line(Joint::LeadHip, Joint::TrailHip);
            frame.lead_arm.vector = line(Joint::LeadWrist, Joint::LeadShoulder);
        }
        lifted
    }

    fn body(&self, f: usize) -> Body {
        let a = self.clip_truth;
        let golf =
            Attitude { pitch: a[0], roll: a[1], azimuth: a[2] }.golf_from_camera(Handed::Right).0;
        let p = |j: Joint| {
            let k = 3 * (f * Joint::COUNT + j as usize);
            golf * Vector3::new(self.truth[k], self.truth[k + 1], self.truth[k + 2])
        };
        Body {
            lower: p(Joint::LowerHub),
            upper: p(Joint::UpperHub),
            head: p(Joint::Head),
            trunk: p(Joint::UpperHub) - p(Joint::LowerHub),
            shoulders: p(Joint::LeadShoulder) - p(Joint::TrailShoulder),
            hips: p(Joint::LeadHip) - p(Joint::TrailHip),
            arm: p(Joint::LeadWrist) - p(Joint::LeadShoulder),
        }
    }

    fn events(&self) -> Option<Events> {
        let of = |phase: u32| -> Vec<f64> {
            self.t.iter().zip(&self.phase).filter(|(_, p)| **p == phase).map(|(t, _)| *t).collect()
        };
        let still = of(0);
        let (first, last) = (*still.first()?, *still.last()?);
        let middle = |phase: u32| {
            let t = of(phase);
            t.get(t.len() / 2).map(|t| Estimate::new(*t, 0.0))
        };
        Some(Events {
            address: (Seconds(first), Seconds(last)),
            takeaway: middle(1),
            arm_level_back: middle(2),
            top: middle(3)?,
            transition: middle(4),
            impact: middle(5),
            finish: middle(7),
            impact_source: ImpactSource::Hands,
            by_hand: Vec::new(),
        })
    }

    fn calibration(&self, lifted: &Lifted, events: &Events) -> Option<Calibration> {
        let view = if self.view == 0 { View::FaceOn } else { View::DownTheLine };
        let size = PictureSize { width: self.size[0], height: self.size[1] };
        let stature = Some(Estimate::new(self.stature, CalibrationRequest::STATED_STATURE_SD));
        let request =
            CalibrationRequest { stature, ..CalibrationRequest::new(view, Handed::Right, size) };
        calibrate(lifted, events, &request).map_err(|e| eprintln!("{e}")).ok().map(|c| c.output)
    }
}

/// Events of every clip: the script's, or (`HUBGAUGE_FOUND`) as found in each clip by itself.
fn all_events(clip: &Clip, lifted: &[Lifted]) -> Option<Vec<Events>> {
    if std::env::var("HUBGAUGE_FOUND").is_ok() {
        return found(lifted);
    }
    let events = clip.events()?;
    let shift = clip.second.as_ref().map_or(0.0, |s| s.shift);
    Some(vec![events.clone(), moved(&events, -shift)])
}

fn moved(events: &Events, by: f64) -> Events {
    let one = |e: Estimate| Estimate::new(e.value + by, e.sd);
    Events {
        address: (Seconds(events.address.0.0 + by), Seconds(events.address.1.0 + by)),
        takeaway: events.takeaway.map(one),
        arm_level_back: events.arm_level_back.map(one),
        top: one(events.top),
        transition: events.transition.map(one),
        impact: events.impact.map(one),
        finish: events.finish.map(one),
        ..events.clone()
    }
}

fn found(lifted: &[Lifted]) -> Option<Vec<Events>> {
    let clock = Clock { first_s: 0.0, stretch: 1.0 };
    lifted
        .iter()
        .map(|l| detect(l, Handed::Right, None, &clock).map(|e| e.output))
        .collect::<Result<_, _>>()
        .map_err(|e| eprintln!("{e}"))
        .ok()
}

/// The fitted swing, and what was known of the clocks before.
fn measure(clip: &Clip, events: &dyn Fn(&[Lifted]) -> Option<Vec<Events>>) -> Option<Motion> {
    let clips: Vec<&Clip> = std::iter::once(clip).chain(clip.second.as_deref()).collect();
    let lifted: Vec<Lifted> = clips.iter().map(|c| c.lifted()).collect();
    let events = events(&lifted)?;
    let calibrations: Vec<Calibration> = clips
        .iter()
        .zip(&lifted)
        .zip(&events)
        .map(|((c, l), e)| c.calibration(l, e))
        .collect::<Option<_>>()?;
    let inputs: Vec<ViewInput> = (0..clips.len())
        .map(|i| ViewInput {
            lifted: &lifted[i],
            events: &events[i],
            calibration: &calibrations[i],
            camera_motion: CameraMotion::Still,
        })
        .collect();
    motion(&inputs).map_err(|e| eprintln!("{e}")).ok().map(|m| m.output)
}

/// The swings that are looked at: every n-th (`HUBGAUGE_EVERY`), from the k-th (`HUBGAUGE_FROM`).
fn lines(text: &str) -> impl Iterator<Item = Clip> + '_ {
    let number = |name: &str| std::env::var(name).ok().map(|n| n.parse::<usize>().unwrap());
    text.lines()
        .skip(number("HUBGAUGE_FROM").unwrap_or(0))
        .step_by(number("HUBGAUGE_EVERY").unwrap_or(1))
        .map(|line| serde_json::from_str::<Clip>(line).unwrap())
        .filter(|clip| clip.view <= 1)
}

/// Errors and their sd.
type Errors = Vec<(f64, f64)>;

fn quantile(values: &mut [f64], q: f64) -> f64 {
    values.sort_by(f64::total_cmp);
    values[((values.len() - 1) as f64 * q).round() as usize]
}

fn bias(errors: &Errors) -> f64 {
    quantile(&mut errors.iter().map(|e| e.0).collect::<Vec<_>>(), 0.5)
}

fn print(name: &str, errors: &Errors) {
    let mut size: Vec<f64> = errors.iter().map(|(e, _)| e.abs()).collect();
    let within = |k: f64| {
        errors.iter().filter(|(e, sd)| e.abs() <= k * sd).count() as f64 / errors.len() as f64
            * 100.0
    };
    let mut sd: Vec<f64> = errors.iter().map(|(_, sd)| *sd).collect();
    let (half, most) = (quantile(&mut size, 0.5), quantile(&mut size, 0.9));
    println!(
        "{name:40} {:6} {half:7.2} /{most:7.2}  sd {:6.2}  in 1 sd {:3.0} %  in 2 sd {:3.0} %",
        errors.len(),
        quantile(&mut sd, 0.5),
        within(1.0),
        within(2.0)
    );
}

#[test]
#[ignore = "needs the file that scripts/held_out.py writes"]
fn held_out() {
    let path = std::env::var("HUBGAUGE_HELD_OUT").unwrap();
    let text = std::fs::read_to_string(path).unwrap();
    let mut table: BTreeMap<(bool, i64, usize), Errors> = BTreeMap::new();
    let mut clips = 0;
    let started = std::time::Instant::now();
    let mut at_impact = table.clone();
    let mut clocks = Errors::new();
    for clip in lines(&text) {
        let events = |lifted: &[Lifted]| all_events(&clip, lifted);
        let Some(motion) = measure(&clip, &events) else { continue };
        clips += 1;
        if let (Some(got), Some(second)) = (motion.offset, &clip.second) {
            clocks.push(((got.value + second.shift) * 1e3, got.sd * 1e3));
        }
        let still: Vec<Body> =
            (0..clip.t.len()).filter(|f| clip.phase[*f] == 0).map(|f| clip.body(f)).collect();
        let address = Body::mean(&still);
        for f in (0..clip.t.len()).filter(|f| (2..=5).contains(&clip.phase[*f])) {
            let truth = clip.body(f).measures(&address);
            for m in Measure::ALL {
                let Ok(got) = motion.frames[f].get(m) else { continue };
                let (mut error, mut unit) = (got.value - truth[m as usize], 100.0);
                if !m.is_length() {
                    error = wrap(error);
                    unit = 1f64.to_degrees();
                }
                let key = (clip.kind.contains("wild"), clip.view, m as usize);
                let row = (error * unit, got.estimate().sd * unit);
                table.entry(key).or_default().push(row);
                if (clip.t[f] - SCRIPT[2].1).abs() < 1.0 / 60.0 {
                    at_impact.entry(key).or_default().push(row);
                }
            }
        }
    }
    println!(
        "{clips} clips, {:.0} ms a clip",
        started.elapsed().as_secs_f64() * 1e3 / f64::from(clips)
    );
    if !clocks.is_empty() {
        print("clocks, ms", &clocks);
    }
    let mut sums: BTreeMap<(&str, &str), Errors> = BTreeMap::new();
    for ((wild, view, m), errors) in &table {
        let kind = if *wild { "wild" } else { "plain" };
        let side = if *view == 0 { "face-on" } else { "down-the-line" };
        print(&format!("{kind} {side} {:?}", Measure::ALL[*m]), errors);
        print(
            &format!("  at impact, bias {:.2}", bias(&at_impact[&(*wild, *view, *m)])),
            &at_impact[&(*wild, *view, *m)],
        );
        let what = if Measure::ALL[*m].is_length() { "lengths" } else { "angles" };
        sums.entry((what, kind)).or_default().extend(errors);
        sums.entry((what, "all")).or_default().extend(errors);
    }
    for ((what, kind), errors) in &sums {
        print(&format!("{kind} {what}"), errors);
    }
    assert!(clips > 0);
}

/// Golfer times of the renderer's script (../shared/lifting/README.md).
const SCRIPT: [(Event, f64); 3] =
    [(Event::Takeaway, 1.0), (Event::Top, 1.86), (Event::Impact, 2.13)];

impl Clip {
    /// When the lead arm is truly level, back and down.
    fn level(&self, from: f64, to: f64, sign: f64) -> Option<f64> {
        let elevation = |f: usize| {
            let b = self.body(f).arm;
            sign * b.z.atan2(b.xy().norm())
        };
        let inside = |f: &usize| (from..=to).contains(&self.t[*f]);
        let k = (1..self.t.len())
            .filter(inside)
            .find(|&k| elevation(k - 1) < 0.0 && elevation(k) >= 0.0)?;
        let share = elevation(k - 1) / (elevation(k - 1) - elevation(k));
        Some(self.t[k - 1] + share * (self.t[k] - self.t[k - 1]))
    }

    fn true_events(&self) -> Vec<(Event, f64)> {
        let wild = self.kind.contains("wild");
        let mut events: Vec<(Event, f64)> = if wild { Vec::new() } else { SCRIPT.to_vec() };
        events.extend(self.level(1.0, 1.9, 1.0).map(|t| (Event::ArmLevelBack, t)));
        events.extend(self.level(1.8, 2.2, -1.0).map(|t| (Event::Transition, t)));
        events
    }
}

/// Found in each clip by itself, there with its true points, and after the fit.
fn timed(clip: &Clip) -> Option<[Events; 3]> {
    let alone = found(&[clip.lifted()])?.remove(0);
    let exact = found(&[clip.exact()])?.remove(0);
    let fitted = measure(clip, &|lifted| found(lifted))?.events;
    Some([alone, exact, fitted])
}

#[test]
#[ignore = "needs the file that scripts/held_out.py writes"]
fn held_out_events() {
    let path = std::env::var("HUBGAUGE_HELD_OUT").unwrap();
    let text = std::fs::read_to_string(path).unwrap();
    let mut table: BTreeMap<(bool, i64, Event, usize), Errors> = BTreeMap::new();
    for clip in lines(&text) {
        let Some(found) = timed(&clip) else { continue };
        for (event, truth) in clip.true_events() {
            for (stage, events) in found.iter().enumerate() {
                let got = events.at(event).unwrap_or(Estimate::new(9.0, 1.0));
                let key = (clip.kind.contains("wild"), clip.view, event, stage);
                table.entry(key).or_default().push(((got.value - truth) * 1e3, got.sd * 1e3));
            }
        }
    }
    let mut all = Errors::new();
    for ((wild, view, event, stage), errors) in &table {
        let kind = if *wild { "wild" } else { "plain" };
        let side = if *view == 0 { "face-on" } else { "down-the-line" };
        let stage = ["clip", "exact", "fit"][*stage];
        print(&format!("{kind} {side} {event:?} {stage}, bias {:.1}", bias(errors)), errors);
        if stage == "fit" {
            all.extend(errors);
        }
    }
    print("all times, ms", &all);
}
