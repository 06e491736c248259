//! Error statistics of all events over swings with known truth.

use super::rendered::Wrists;
use super::synthetic::{Rng, Script, add_click, lifted, noise};
use super::*;
use crate::decode::{Clock, Sound};
use crate::frames::Handed;
use crate::track::Departure;

const CLOCK: Clock = Clock { first_s: 0.0, stretch: 1.0 };

fn quantile(mut values: Vec<f64>, share: f64) -> f64 {
    values.sort_by(f64::total_cmp);
    values[((values.len() - 1) as f64 * share).round() as usize]
}

fn draw(rng: &mut Rng, seed: u64) -> Script {
    let fps = [25.0, 30.0, 60.0, 60.0, 120.0, 240.0][(rng.uniform() * 6.0) as usize];
    Script {
        azimuth: if rng.uniform() < 0.5 { 0.2 * rng.normal() * 0.5 } else { 1.57 },
        handed: if rng.uniform() < 0.2 { Handed::Left } else { Handed::Right },
        fps,
        tempo: 0.75 + 0.65 * rng.uniform(),
        backswing: 0.6 + 0.5 * rng.uniform(),
        downswing: 0.21 + 0.12 * rng.uniform(),
        turn: 1.9 + 0.8 * rng.uniform(),
        lean: 0.02 + 0.08 * rng.uniform(),
        waggle: if rng.uniform() < 0.3 { 0.05 } else { 0.0 },
        practice: (rng.uniform() < 0.2).then_some(0.9),
        noise: 0.004 + 0.004 * rng.uniform(),
        drop: if rng.uniform() < 0.3 { 7 } else { usize::MAX },
        uneven: rng.uniform() < 0.3,
        fill: seed.is_multiple_of(2),
        seed,
        ..Script::default()
    }
}

const NAMES: [&str; 5] = ["takeaway", "level back", "top", "transition", "impact"];

/// Errors and stated sd by event.
#[derive(Default)]
struct Table([Vec<(f64, f64)>; 5]);

impl Table {
    fn add(&mut self, found: &Events, want: [Option<f64>; 5], who: &str) {
        let got =
            [found.takeaway, found.arm_level_back, Some(found.top), found.transition, found.impact];
        for k in 0..NAMES.len() {
            match (got[k], want[k]) {
                (Some(got), Some(want)) => {
                    let error = got.value - want;
                    if error.abs() > 2.0 * BARS[k].1 {
                        println!("far off: {} {error:.3} sd {:.3} {who}", NAMES[k], got.sd);
                    }
                    self.0[k].push((error, got.sd));
                }
                (None, Some(_)) => {
                    println!("missing: {} {who}", NAMES[k]);
                    self.0[k].push((9.0, 1.0));
                }
                (_, None) => {}
            }
        }
    }

    /// Prints the table; true when every event keeps its limits and its sd.
    fn holds(&self, title: &str, limits: &Limits) -> bool {
        println!("{title}");
        let mut holds = true;
        for k in 0..NAMES.len() {
            let row = &self.0[k];
            let size: Vec<f64> = row.iter().map(|e| e.0.abs()).collect();
            let (half, most) = (quantile(size.clone(), 0.5), quantile(size, 0.9));
            let bias = quantile(row.iter().map(|e| e.0).collect(), 0.5);
            let within = |n: f64| {
                row.iter().filter(|e| e.0.abs() <= n * e.1).count() as f64 / row.len() as f64
            };
            println!(
                "{:12} n {:4} median {:5.1} ms, 90 % {:5.1} ms, bias {:5.1} ms, within 1 sd {:.2}, 2 sd {:.2}",
                NAMES[k],
                row.len(),
                half * 1e3,
                most * 1e3,
                bias * 1e3,
                within(1.0),
                within(2.0)
            );
            holds &= half <= limits[k].0 && most <= limits[k].1;
            holds &= within(2.0) >= 0.75;
        }
        holds
    }
}

/// Median and 90 %, seconds.
type Limits = [(f64, f64); 5];

/// Top and impact: one and two frames at 60 a second; takeaway 0.1 s for 90 %: the
/// project's bars. The others have none: what they reach.
const BARS: Limits = [(0.05, 0.1), (0.02, 0.05), (0.0167, 0.0334), (0.01, 0.02), (0.0167, 0.0334)];

/// With a corrector's points, on these few and widely changed swings: the bars at the
/// median; at 90 % what an early corrector lets them reach (top: 34 ms over all 136 swings
/// of the two sets, against 14 ms with 0.4 % of noise).
const CORRECTED: Limits =
    [(0.05, 0.1), (0.04, 0.08), (0.0167, 0.045), (0.01, 0.03), (0.0167, 0.0334)];

#[test]
fn synthetic_swings_meet_the_bars_and_the_sd_is_honest() {
    let mut rng = Rng(5);
    let mut table = Table::default();
    for seed in 0..150 {
        let script = draw(&mut rng, seed);
        let found = detect(&lifted(&script), script.handed, None, &CLOCK)
            .unwrap_or_else(|e| panic!("{e}: {script:?}"))
            .output;
        let (up, down) = script.level();
        let want = [script.takeaway(), up, script.top(), down, script.impact()].map(Some);
        table.add(&found, want, &format!("{script:?}"));
    }
    assert!(table.holds("synthetic", &BARS), "see the table");
}

#[test]
fn rendered_swings_meet_the_bars_and_the_sd_is_honest() {
    let swings = rendered::load();
    let mut holds = true;
    let cases = [
        ("exact points", Wrists::Noisy(0.0003), &BARS),
        ("noise of 0.4 % of stature", Wrists::Noisy(0.004), &BARS),
        ("the corrector's points", Wrists::Lifted, &CORRECTED),
    ];
    for (title, wrists, limits) in cases {
        let mut table = Table::default();
        for (seed, swing) in (1..).zip(&swings) {
            for fps in [30.0, 60.0, 120.0] {
                let who = format!("{} view {} {fps} fps", swing.swing, swing.view);
                let lifted = swing.lifted(fps, wrists, seed);
                let found = match detect(&lifted, swing.handed(), None, &CLOCK) {
                    Ok(found) => found,
                    Err(error) => {
                        println!("{who}: {error}");
                        holds = false;
                        continue;
                    }
                };
                let (up, down) = swing.level();
                let at = |t: f64| Some(swing.real(t));
                table.add(&found.output, [at(1.0), up, at(1.86), down, at(2.13)], &who);
            }
        }
        holds &= table.holds(title, limits);
    }
    assert!(holds, "see the tables");
}

#[test]
fn a_strike_in_the_sound_sharpens_impact_and_a_decoy_does_not_mislead() {
    let script = Script { noise: 0.005, fps: 30.0, ..Script::default() };
    let swing = lifted(&script);
    let heard = script.impact() + 4.0 / 343.0;
    let mut sound = noise(48_000, 4.0, 0.01);
    add_click(&mut sound, heard - 0.9, 0.6);
    add_click(&mut sound, heard + 0.35, 0.6);
    let decoys = detect(&swing, Handed::Right, Some(&sound), &CLOCK).unwrap().output;
    assert_eq!(decoys.impact_source, ImpactSource::Hands);
    add_click(&mut sound, heard, 0.5);
    let events = detect(&swing, Handed::Right, Some(&sound), &CLOCK).unwrap().output;
    assert_eq!(events.impact_source, ImpactSource::Sound);
    let impact = events.impact.unwrap();
    assert!((impact.value - script.impact()).abs() < 0.006, "{impact:?}");
    assert!(impact.sd < 0.007 && impact.sd < decoys.impact.unwrap().sd);
}

#[test]
fn a_ball_that_left_settles_impact_and_another_patch_does_not() {
    let script = Script { noise: 0.005, fps: 30.0, ..Script::default() };
    let swing = lifted(&script);
    let heard = script.impact() + 4.0 / 343.0;
    let mut sound = noise(48_000, 4.0, 0.01);
    add_click(&mut sound, heard, 0.5);
    let struck = |from: f64, to: f64, sound: Option<&Sound>| {
        let [from, to] = [from, to].map(|off| Seconds(script.impact() + off));
        let departures = [Departure { from, to, clear: 4000.0 }];
        let signs = Signs { sound, clock: &CLOCK, departures: &departures };
        let events = detect_marked(&swing, Handed::Right, &signs, &[]).unwrap().output;
        (events.impact_source, events.impact.unwrap())
    };
    let off = |impact: Estimate| (impact.value - script.impact()).abs();

    let (source, ball) = struck(-0.001, 0.007, None);
    assert_eq!(source, ImpactSource::Ball);
    assert!(off(ball) < 0.006 && ball.sd < 0.005, "{ball:?}");
    // At 30 frames a second the sound is surer, at 120 the ball is.
    let (source, both) = struck(-0.01, 0.023, Some(&sound));
    assert_eq!(source, ImpactSource::Sound);
    assert!(off(both) < 0.006 && both.sd < 0.007, "{both:?}");
    assert_eq!(struck(-0.001, 0.007, Some(&sound)).0, ImpactSource::Ball);
    // Hands and strike agree on another time.
    let (source, heard) = struck(0.035, 0.068, Some(&sound));
    assert_eq!(source, ImpactSource::Sound);
    assert!(off(heard) < 0.006, "{heard:?}");
    // Too late for a ball that these hands struck.
    assert_eq!(struck(0.2, 0.233, None).0, ImpactSource::Hands);
}

#[test]
fn events_move_with_the_clock() {
    let here = Script { noise: 0.005, ..Script::default() };
    let there = Script { shift: 7.25, ..here.clone() };
    let a = detect(&lifted(&here), Handed::Right, None, &CLOCK).unwrap().output;
    let b = detect(&lifted(&there), Handed::Right, None, &CLOCK).unwrap().output;
    for event in Event::ALL {
        let (a, b) = (a.at(event).unwrap(), b.at(event).unwrap());
        assert!((b.value - a.value - 7.25).abs() < 1e-6, "{event:?} {a:?} {b:?}");
        assert!((b.sd - a.sd).abs() < 1e-6);
    }
}

#[test]
fn the_address_window_is_still_and_excludes_the_waggle() {
    let script = Script { waggle: 0.05, wait: 2.0, noise: 0.002, ..Script::default() };
    let events = detect(&lifted(&script), Handed::Right, None, &CLOCK).unwrap().output;
    let (from, to) = events.settled_address().unwrap();
    assert!(from.0 > script.takeaway() - 0.62, "{from:?}");
    assert!(to.0 < script.takeaway() + 0.06 && to.0 - from.0 > 0.2, "{from:?} {to:?}");
}

fn said(script: &Script, handed: Handed) -> (Events, String) {
    let found = detect(&lifted(script), handed, None, &CLOCK).unwrap();
    let text: Vec<String> = found.warnings.into_iter().map(|w| w.text).collect();
    (found.output, text.join("\n"))
}

#[test]
fn a_clip_that_starts_late_or_ends_early_is_said() {
    let whole = Script { noise: 0.003, ..Script::default() };
    let (events, text) = said(&whole, Handed::Right);
    assert_eq!(text, "");
    assert!(Event::ALL.iter().all(|e| events.at(*e).is_some()));

    let late = Script { keep: (whole.takeaway() + 0.3, 9.0), ..whole.clone() };
    let (events, text) = said(&late, Handed::Right);
    assert!(events.takeaway.is_none() && events.at(Event::Address).is_none());
    assert!((events.top.value - whole.top()).abs() < 0.02);
    assert!(text.contains("starts after"), "{text}");

    let early = Script { keep: (0.0, whole.impact() + 0.25), ..whole.clone() };
    let (events, text) = said(&early, Handed::Right);
    assert!(events.impact.is_some() && events.finish.is_none());
    assert!(text.contains("comes to rest"), "{text}");

    let cut = Script { keep: (0.0, whole.impact() - 0.06), ..whole.clone() };
    let (events, text) = said(&cut, Handed::Right);
    assert!(events.impact.is_none() && events.finish.is_none());
    assert!(text.contains("before the ball is struck"), "{text}");

    let after = Script { keep: (whole.top() + 0.02, 9.0), ..whole.clone() };
    let error = detect(&lifted(&after), Handed::Right, None, &CLOCK).unwrap_err();
    assert!(matches!(error, EventsError::StartsAfterTop | EventsError::NoSwing));
}

#[test]
fn a_clip_without_a_swing_or_without_a_golfer_is_an_error() {
    let still = Script { no_swing: true, waggle: 0.05, noise: 0.005, ..Script::default() };
    assert_eq!(detect(&lifted(&still), Handed::Right, None, &CLOCK), Err(EventsError::NoSwing));
    let few = Script { keep: (0.0, 0.1), ..Script::default() };
    assert!(matches!(
        detect(&lifted(&few), Handed::Right, None, &CLOCK),
        Err(EventsError::TooFewFrames { .. })
    ));
}

#[test]
fn a_wrong_hand_is_noticed_and_a_right_one_is_not() {
    for handed in [Handed::Right, Handed::Left] {
        let other = if handed == Handed::Right { Handed::Left } else { Handed::Right };
        let script = Script { handed, noise: 0.005, ..Script::default() };
        assert!(!said(&script, handed).1.contains("choose that hand"));
        assert!(said(&script, other).1.contains("choose that hand"));
    }
}

#[test]
fn the_pelvis_starts_back_before_the_hands() {
    let script = Script { noise: 0.003, ..Script::default() };
    let swing = lifted(&script);
    let events = detect(&swing, Handed::Right, None, &CLOCK).unwrap().output;
    let pelvis = pelvis_start_back(&swing, Handed::Right, &events).unwrap();
    assert!((pelvis.value - (script.top() - 0.05)).abs() < 0.01, "{pelvis:?}");
    let (from, to) = transition_window(&events, Some(pelvis)).unwrap();
    assert!(from.0 == pelvis.value && to.0 == events.transition.unwrap().value);
}
