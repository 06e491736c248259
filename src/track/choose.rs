//! Who is the golfer? In: everybody in each picture of a coarse scan (about 12 a second).
//! Out: where the golfer is through the clip and how his hands move. Pixels of the picture,
//! camera motion not taken out.
//!
//! Of those who swing ([`super::swing`]) the one who looks largest and stands nearest the
//! middle is taken: a second golfer in the next bay or a reflection swings too, but smaller.
//! It does not decide how slow the clip runs: where nobody swings at the clock's pace, a
//! swing slowed 2, 4 or 8 times counts, for clips whose slow motion nobody has stated.

use crate::decode::Clock;
use crate::frames::{PictureSize, Pixel};
use crate::keypoints::{Guide, Roi, Sighting};
use crate::signal;
use crate::units::Seconds;
use crate::warning::{Warned, Warning};

use super::body;
use super::people::{Path, Sample, link};
use super::swing::{self, Swing};
use super::{Golfer, HandSample, Marked, TrackError};

/// Fewest pictures of a person that count as somebody being there.
const FEWEST: usize = 4;

/// Pieces of one person's path: nearer than this (statures) and no longer apart than this, s.
const REJOIN: f64 = 0.35;
const REJOIN_S: f64 = 4.0;

/// A mark is on whoever's hips are within this of it (statures: half a body's length) in a
/// picture of the scan no further away in time than this, s.
const POINTED_AT: f64 = 0.5;
const POINTED_S: f64 = 0.5;

/// Paces at which a swing is looked for: the clock's own, then phones' slow motion whose
/// factor nobody has stated (240 or 120 pictures a second shown at 30, 60 at 30).
const SLOWNESS: [f64; 4] = [1.0, 2.0, 4.0, 8.0];

/// A square that differs from its neighbours' by more than this share of its side (centre) or
/// this |ln| of the side is a misreading and does not guide.
const GUIDE_CENTRE: f64 = 0.2;
const GUIDE_SIDE: f64 = 0.3;

/// The person who swings; where somebody has pointed at the golfer, that one.
///
/// # Errors
/// Nobody is in the picture or where it was pointed, or nobody swings.
pub fn choose(
    scan: &[Sighting],
    size: PictureSize,
    clock: &Clock,
    marked: Option<Marked>,
) -> Result<Warned<Golfer>, TrackError> {
    let mut paths = link(scan, clock);
    if paths.iter().all(|p| p.samples.len() < FEWEST) {
        return Err(TrackError::Nobody);
    }
    if let Some(marked) = marked {
        return pointed_at(paths, &marked, clock);
    }
    let (slowness, swings) = swings(&paths).ok_or(TrackError::NoSwing)?;
    let best = swings
        .iter()
        .max_by(|a, b| prominence(&paths, a, size).total_cmp(&prominence(&paths, b, size)))
        .ok_or(TrackError::NoSwing)?;
    let path = paths.swap_remove(best.0);
    let (path, others) = rejoin(path, paths);
    let warnings = warn(&path, &others, slowness);
    Ok(Warned { output: golfer(&path), warnings })
}

/// The person whose hips are nearest to the mark at its time; whoever else is there.
fn pointed_at(
    mut paths: Vec<Path<'_>>,
    marked: &Marked,
    clock: &Clock,
) -> Result<Warned<Golfer>, TrackError> {
    let time = clock.real(marked.file_s);
    let distance = |path: &Path<'_>| {
        let off = |s: &&Sample<'_>| (s.time - time).abs();
        let near = path.samples.iter().min_by(|a, b| off(a).total_cmp(&off(b)))?;
        let away = near.hip.distance(marked.at) / near.size;
        (off(&near) <= POINTED_S && away <= POINTED_AT).then_some(away)
    };
    let there = paths.iter().enumerate().filter_map(|(i, path)| Some((i, distance(path)?)));
    let (index, _) = there.min_by(|a, b| a.1.total_cmp(&b.1)).ok_or(TrackError::NobodyThere)?;
    let path = paths.swap_remove(index);
    let (path, _) = rejoin(path, paths);
    swings(std::slice::from_ref(&path)).ok_or(TrackError::MarkedDoesNotSwing)?;
    Ok(Warned::clean(golfer(&path)))
}

/// How slow the swings run, and for each person who swings the index of his path.
fn swings(paths: &[Path<'_>]) -> Option<(f64, Vec<(usize, Swing)>)> {
    let all = |swing: &dyn Fn(&Path<'_>) -> Option<Swing>| {
        let found = paths.iter().enumerate().filter_map(|(i, p)| Some((i, swing(p)?)));
        let found: Vec<(usize, Swing)> = found.collect();
        (!found.is_empty()).then_some(found)
    };
    let seen = SLOWNESS.into_iter().find_map(|slowness| {
        let swing = |p: &Path<'_>| swing::find(p, slowness).filter(|s| s.whole || slowness == 1.0);
        Some((slowness, all(&swing)?))
    });
    seen.or_else(|| Some((1.0, all(&swing::find_unseen)?)))
}

/// Size, more in the middle of the picture, more for a whole and sure swing.
fn prominence(paths: &[Path<'_>], found: &(usize, Swing), size: PictureSize) -> f64 {
    let (path, swing) = (&paths[found.0], found.1);
    let across: Vec<f64> = path.samples.iter().map(|s| s.hip.x).collect();
    let middle = size.centre().x;
    let aside = signal::median(&across).map_or(1.0, |x| ((x - middle) / middle).abs().min(1.0));
    let wholeness = if swing.whole { 1.0 } else { 0.5 };
    path.size() * (1.0 - 0.5 * aside) * wholeness * (0.5 + 0.5 * swing.sureness)
}

/// Adds the pieces of the golfer's own path that a missed stretch cut off.
fn rejoin<'a>(mut path: Path<'a>, mut others: Vec<Path<'a>>) -> (Path<'a>, Vec<Path<'a>>) {
    while let Some(i) = others.iter().position(|other| is_same(&path, other)) {
        let piece = others.swap_remove(i);
        path.samples.extend(piece.samples);
        path.samples.sort_by(|a, b| a.time.total_cmp(&b.time));
    }
    (path, others)
}

fn is_same(path: &Path<'_>, other: &Path<'_>) -> bool {
    let (early, late) =
        if other.first().time > path.last().time { (path, other) } else { (other, path) };
    let gap = late.first().time - early.last().time;
    let away = late.first().hip.distance(early.last().hip) / path.size();
    gap > 0.0
        && gap <= REJOIN_S
        && away <= REJOIN
        && (other.size() / path.size()).ln().abs() < GUIDE_SIDE
}

fn golfer(path: &Path<'_>) -> Golfer {
    let size_px = path.size();
    let hands = path.samples.iter().map(|s| HandSample {
        time: Seconds(s.time),
        hands: body::hands(s.person, s.size),
        size_px,
    });
    Golfer { guide: guide(&path.samples), hands: hands.collect() }
}

/// The square that each reading asks for next, misreadings left out.
fn guide(samples: &[Sample<'_>]) -> Guide {
    let wanted: Guide = samples.iter().map(|s| (s.file_s, s.person.next_roi())).collect();
    let sound = wanted.iter().enumerate().filter(|(i, (_, roi))| {
        let near = &wanted[i.saturating_sub(2)..(i + 3).min(wanted.len())];
        let typical = |value: fn(&(f64, Roi)) -> f64| {
            signal::median(&near.iter().map(value).collect::<Vec<_>>()).unwrap_or(f64::NAN)
        };
        let side = typical(|(_, r)| r.side);
        let centre = Pixel::new(typical(|(_, r)| r.centre.x), typical(|(_, r)| r.centre.y));
        (roi.side / side).ln().abs() <= GUIDE_SIDE
            && roi.centre.distance(centre) <= GUIDE_CENTRE * side
    });
    let sound: Vec<_> =
        sound.map(|(i, (file_s, roi))| (samples[i].time, (*file_s, *roi))).collect();
    let at = |time| {
        let side = blurred(&sound, time, SIDE_BLUR_S).side;
        Roi { side, ..blurred(&sound, time, GUIDE_BLUR_S) }
    };
    sound.iter().map(|(time, (file_s, _))| (*file_s, at(*time))).collect()
}

/// A reading's square jumps about by its own noise; a golfer does not. Weights of a normal curve of
/// this sd, seconds: the same clip coded or cropped otherwise then tilts trunk and arm by 1.1 degrees
/// at most (1.6 without), with 0.25 s by 3.1.
const GUIDE_BLUR_S: f64 = 0.1;
/// His size changes more slowly than where he is: with this the turns come out within 2.3 degrees,
/// with the same 0.1 s within 3.8.
const SIDE_BLUR_S: f64 = 0.5;

/// The mean square about a time, real seconds; weights of a normal curve of this sd.
fn blurred(squares: &[(f64, (f64, Roi))], time: f64, sd: f64) -> Roi {
    let mut mean = Roi { centre: Pixel::new(0.0, 0.0), side: 0.0, rotation: 0.0 };
    let mut sum = 0.0;
    for (t, (_, roi)) in squares.iter().filter(|(t, _)| (t - time).abs() < 4.0 * sd) {
        let weight = (-0.5 * ((t - time) / sd).powi(2)).exp();
        sum += weight;
        mean = mean.blend(roi, weight / sum);
    }
    mean
}

fn warn(path: &Path<'_>, others: &[Path<'_>], slowness: f64) -> Vec<Warning> {
    if others.iter().any(|o| swing::find(o, slowness).is_some()) {
        return vec![Warning::new(
            "Someone else swings in the picture too (another golfer or a reflection): the one \
             who looks larger and stands nearer the middle was measured."
                .to_owned(),
        )];
    }
    let (from, to) = (path.first().time, path.last().time);
    let beside = others
        .iter()
        .any(|o| o.samples.len() >= FEWEST && o.last().time >= from && o.first().time <= to);
    let note = "Someone else was in the picture: the one whose hands make the swing was measured.";
    if beside { vec![Warning::new(note)] } else { Vec::new() }
}

#[cfg(test)]
mod tests {
    use super::super::body::WRISTS;
    use super::super::puppets::{clip, clock, golfer, stander, walker};
    use super::*;
    use crate::units::Confidence;

    const SIZE: PictureSize = PictureSize { width: 720, height: 1280 };
    const HERE: Pixel = Pixel { x: 360.0, y: 700.0 };

    fn pick(scan: &[Sighting]) -> Result<Warned<Golfer>, TrackError> {
        choose(scan, SIZE, &clock(), None)
    }

    /// Sd-free check that the guide stays with the golfer who stands at `hip`.
    fn assert_follows(golfer: &Golfer, hip: Pixel, size: f64, fewest: usize) {
        assert!(golfer.guide.len() >= fewest, "{} of {fewest}", golfer.guide.len());
        for (time, roi) in &golfer.guide {
            assert!(roi.centre.distance(hip) < 0.12 * size, "at {time}: {:?}", roi.centre);
        }
        for hand in &golfer.hands {
            assert!((hand.size_px / size - 1.0).abs() < 0.1);
        }
    }

    #[test]
    fn a_lone_golfer_is_chosen_without_a_word() {
        let scan = clip(12.0, 3.0, |t| vec![golfer(t, HERE, 500.0)]);
        let out = pick(&scan).unwrap();
        assert!(out.warnings.is_empty());
        assert_follows(&out.output, HERE, 500.0, 36);
        assert_eq!(out.output.hands.len(), 36);
    }

    #[test]
    fn the_one_who_swings_is_chosen_over_a_larger_one_who_stands_or_walks() {
        let big = Pixel::new(560.0, 720.0);
        let scan = clip(12.0, 3.0, |t| vec![stander(t, big, 800.0), golfer(t, HERE, 500.0)]);
        let out = pick(&scan).unwrap();
        assert_follows(&out.output, HERE, 500.0, 36);
        assert_eq!(out.warnings.len(), 1);

        // Walks across in front, hides the golfer for a moment and swings his arms.
        let scan = clip(12.0, 3.0, |t| {
            let x = -200.0 + 400.0 * t;
            let walking = walker(t, Pixel::new(x, 720.0), 620.0);
            if (x - HERE.x).abs() < 70.0 {
                vec![walking]
            } else {
                vec![walking, golfer(t, HERE, 500.0)]
            }
        });
        let out = pick(&scan).unwrap();
        assert_follows(&out.output, HERE, 500.0, 28);
        assert_eq!(out.warnings.len(), 1);
    }

    #[test]
    fn two_people_of_one_size_may_cross() {
        let scan = clip(12.0, 3.0, |t| {
            let walking = walker(t, Pixel::new(800.0 - 330.0 * t, 700.0), 500.0);
            vec![golfer(t, HERE, 500.0), walking]
        });
        let out = pick(&scan).unwrap();
        assert_follows(&out.output, HERE, 500.0, 33);
    }

    #[test]
    fn of_two_who_swing_the_larger_one_in_the_middle_counts() {
        let far = Pixel::new(80.0, 640.0);
        let scan = clip(12.0, 3.0, |t| vec![golfer(t, far, 330.0), golfer(t - 0.1, HERE, 500.0)]);
        let out = pick(&scan).unwrap();
        assert_follows(&out.output, HERE, 500.0, 36);
        assert!(out.warnings[0].text.contains("swings in the picture too"));
    }

    #[test]
    fn the_one_pointed_at_is_taken_over_a_larger_one() {
        let far = Pixel::new(80.0, 640.0);
        let scan = clip(12.0, 3.0, |t| vec![golfer(t, far, 330.0), golfer(t - 0.1, HERE, 500.0)]);
        let point = |at, file_s| choose(&scan, SIZE, &clock(), Some(Marked { file_s, at }));
        let there = Pixel::new(far.x + 30.0, far.y - 40.0);
        assert_follows(&point(there, 1.2).unwrap().output, far, 330.0, 36);
        assert_follows(&point(HERE, 1.2).unwrap().output, HERE, 500.0, 36);
        let nobody = point(Pixel::new(700.0, 60.0), 1.2);
        assert_eq!(nobody.unwrap_err(), TrackError::NobodyThere);
        let both = clip(12.0, 3.0, |t| vec![stander(t, far, 330.0), golfer(t, HERE, 500.0)]);
        let stands = choose(&both, SIZE, &clock(), Some(Marked { file_s: 1.2, at: far }));
        assert_eq!(stands.unwrap_err(), TrackError::MarkedDoesNotSwing);
    }

    #[test]
    fn a_gap_in_the_scan_does_not_cut_the_golfer_in_two() {
        let scan = clip(12.0, 4.0, |t| {
            if (0.2..2.0).contains(&(t - 2.6)) || t < 0.4 {
                Vec::new()
            } else {
                vec![golfer(t, HERE, 500.0)]
            }
        });
        let out = pick(&scan).unwrap();
        assert!(out.warnings.is_empty());
        assert_follows(&out.output, HERE, 500.0, 25);
    }

    #[test]
    fn an_impact_that_nobody_saw_does_not_hide_the_swing() {
        let whole = clip(10.0, 3.0, |t| vec![golfer(t, HERE, 500.0)]);
        for from in 12..28 {
            for count in 1..3 {
                let mut scan = whole.clone();
                scan.iter_mut().skip(from).take(count).for_each(|s| s.people.clear());
                assert!(pick(&scan).is_ok(), "without {count} from {from}");
            }
        }
    }

    /// In the finish the lead hand is behind the neck: the network puts it at the hip now and then
    /// and says that it does not see it. Of two true swings none is lost by that.
    #[test]
    fn a_hand_that_is_hidden_in_the_finish_makes_no_second_swing() {
        let with_hidden_hand = |since: f64, time: f64| {
            let mut person = golfer(since, HERE, 500.0);
            if since >= 2.4 && (time * 12.0).round() % 3.0 > 0.0 {
                person.points[WRISTS.0].at.y += 0.45 * 500.0;
                person.points[WRISTS.0].visibility = Confidence::new(0.03).unwrap();
            }
            vec![person]
        };
        let swings = |golfer: &Golfer| crate::events::find_swings(&golfer.hands).len();
        let once = clip(12.0, 4.0, |t| with_hidden_hand(t, t));
        assert_eq!(swings(&pick(&once).unwrap().output), 1);
        // between the two the hands go back slowly the way that they came up from the ball
        let twice = clip(12.0, 8.5, |t| {
            let lowered = 2.4 - 0.27 * (t - 3.4).clamp(0.0, 1.0);
            with_hidden_hand(if t > 4.5 { t - 4.5 } else { t.min(lowered) }, t)
        });
        assert_eq!(swings(&pick(&twice).unwrap().output), 2);
    }

    #[test]
    fn slow_motion_that_nobody_stated_still_shows_the_golfer() {
        let scan = clip(12.0, 24.0, |t| vec![golfer(t / 8.0, HERE, 500.0)]);
        assert_follows(&pick(&scan).unwrap().output, HERE, 500.0, 280);
    }

    #[test]
    fn a_swing_cut_off_at_either_end_still_counts() {
        // Takeaway is at 1.0 s, the top at 1.86, impact at 2.13.
        let late = clip(12.0, 2.0, |t| vec![golfer(t + 1.75, HERE, 500.0)]);
        assert!(pick(&late).is_ok());
        let early = clip(12.0, 2.25, |t| vec![golfer(t, HERE, 500.0)]);
        assert!(pick(&early).is_ok());
    }

    #[test]
    fn nobody_and_nobody_who_swings_are_told_apart() {
        assert_eq!(pick(&[]).unwrap_err(), TrackError::Nobody);
        let empty = clip(12.0, 3.0, |_| Vec::new());
        assert_eq!(pick(&empty).unwrap_err(), TrackError::Nobody);
        let standing = clip(12.0, 3.0, |t| vec![stander(t, HERE, 500.0)]);
        assert_eq!(pick(&standing).unwrap_err(), TrackError::NoSwing);
        let walking = clip(12.0, 3.0, |t| vec![walker(t, Pixel::new(200.0 * t, 700.0), 500.0)]);
        assert_eq!(pick(&walking).unwrap_err(), TrackError::NoSwing);
        let addressing = clip(12.0, 1.0, |t| vec![golfer(0.2 * t, HERE, 500.0)]);
        assert_eq!(pick(&addressing).unwrap_err(), TrackError::NoSwing);
    }

    #[test]
    fn squares_that_jump_about_are_calmed_and_ones_that_move_are_not() {
        let roi = |i: i32| {
            let jump = if i % 2 == 0 { 4.0 } else { -4.0 };
            let centre = Pixel::new(100.0 + 5.0 * f64::from(i) + jump, 50.0);
            Roi { centre, side: 400.0, rotation: 0.0 }
        };
        let squares: Vec<_> =
            (0..40).map(|i| (f64::from(i) / 12.0, (f64::from(i) / 3.0, roi(i)))).collect();
        for i in 5..35 {
            let calm = blurred(&squares, f64::from(i) / 12.0, GUIDE_BLUR_S);
            assert!((calm.centre.x - 100.0 - 5.0 * f64::from(i)).abs() < 1.0, "{calm:?}");
            assert!((calm.side - 400.0).abs() < 1e-9);
        }
    }

    #[test]
    fn a_misread_square_does_not_guide() {
        let mut scan = clip(12.0, 3.0, |t| vec![golfer(t, HERE, 500.0)]);
        scan[10].people[0].points[34].at.y -= 300.0;
        scan[20].people[0].points[33].at.x += 200.0;
        scan[20].people[0].points[34].at.x += 200.0;
        assert_follows(&pick(&scan).unwrap().output, HERE, 500.0, 34);
    }

    #[test]
    fn the_same_scan_gives_the_same_golfer() {
        let scan = clip(12.0, 3.0, |t| {
            vec![golfer(t, HERE, 500.0), walker(t, Pixel::new(150.0 * t, 700.0), 500.0)]
        });
        assert_eq!(pick(&scan).unwrap(), pick(&scan).unwrap());
    }
}
