//! In: lifted frames of the dense window, sound, departures. Out: the events, with what is missing said.
//! Order: rough swing from the hands' height, top, start, arm level, impact, finish.

use super::motion::Motion;
use super::strike::{Strike, find_strikes};
use super::swings::{SwingSpan, find_swings, pick};
use super::{
    Event, Events, EventsError, ImpactSource, address, ball, finish, handed, impact, level, marked,
    top,
};
use crate::decode::{Clock, Sound};
use crate::frames::Handed;
use crate::lift::Lifted;
use crate::track::Departure;
use crate::units::{Estimate, Seconds};
use crate::warning::{Warned, Warning};

/// An address shorter than this is hardly still, seconds.
const STILL: f64 = 0.12;

/// What a clip tells of impact beside the body.
#[derive(Clone, Copy, Debug)]
pub struct Signs<'a> {
    pub sound: Option<&'a Sound>,
    pub clock: &'a Clock,
    /// What may be the ball leaving its place.
    pub departures: &'a [Departure],
}

/// The events of the swing in `lifted`, without what the ball tells. Which of several swings was
/// taken is [`pick`]'s to say: this repeats no such note.
pub fn detect(
    lifted: &Lifted,
    handed: Handed,
    sound: Option<&Sound>,
    clock: &Clock,
) -> Result<Warned<Events>, EventsError> {
    detect_marked(lifted, handed, &Signs { sound, clock, departures: &[] }, &[])
}

/// The same with the ball and with events that somebody has set by hand; of two marks for one the
/// later counts.
pub fn detect_marked(
    lifted: &Lifted,
    handed: Handed,
    signs: &Signs<'_>,
    marks: &[(Event, Estimate)],
) -> Result<Warned<Events>, EventsError> {
    let motion = Motion::new(lifted, handed)?;
    let strikes = signs.sound.map_or_else(Vec::new, |s| find_strikes(s, signs.clock));
    let span = pick(&find_swings(&motion.samples()), &strikes)?.output;
    if span.top.0 < motion.u.first() + 2.5 * motion.step {
        return Err(EventsError::StartsAfterTop);
    }
    let first = top::find(&motion, &span).ok_or(EventsError::NoSwing)?;
    let start = address::find(&motion, span.start.0, first.value);
    let impact =
        find_impact(&motion, &span, start.as_ref(), first.value, (&strikes, signs.departures));
    let top = match (&start, impact) {
        (Some(start), Some((impact, _))) => {
            top::refine(&motion, first.value, start.takeaway.value, impact.value)
        }
        _ => None,
    };
    let mut events = assemble(&motion, &span, start.as_ref(), top.unwrap_or(first), impact);
    if !marks.is_empty() {
        events = marked::settle(&motion, events, marks, span.impact.0)?;
    }
    let warnings = remarks(&motion, handed, &events, &span);
    Ok(Warned { output: events, warnings })
}

fn find_impact(
    motion: &Motion,
    span: &SwingSpan,
    start: Option<&address::Start>,
    top: f64,
    (strikes, departures): (&[Strike], &[Departure]),
) -> Option<(Estimate, ImpactSource)> {
    let rest = start.and_then(|s| motion.target.median(s.window.0.0, s.window.1.0));
    let hands = impact::from_hands(motion, rest, top, span.impact.0)?;
    let told = impact::with_sound(hands, strikes);
    let ball = ball::left(hands, departures);
    let (estimate, source) = ball.map_or(told, |ball| with_ball(hands, &ball, strikes, told));
    (estimate.value <= motion.u.last() + motion.step).then_some((estimate, source))
}

/// A strike heard as the ball left tells more than the hands; which of strike and ball is surer
/// is the source. A departure without a strike, where hands and a strike agree (`told`) on
/// another time, is not the ball's.
fn with_ball(
    hands: Estimate,
    ball: &Departure,
    strikes: &[Strike],
    told: (Estimate, ImpactSource),
) -> (Estimate, ImpactSource) {
    let Some(strike) = ball::heard(ball, strikes) else {
        if told.1 == ImpactSource::Sound {
            return told;
        }
        return (ball::within(hands, ball), ImpactSource::Ball);
    };
    let heard = Estimate::new(strike.time.0, Strike::sd());
    let source = if ball::sd(ball) < heard.sd { ImpactSource::Ball } else { ImpactSource::Sound };
    (ball::within(heard, ball), source)
}

fn assemble(
    motion: &Motion,
    span: &SwingSpan,
    start: Option<&address::Start>,
    top: Estimate,
    impact: Option<(Estimate, ImpactSource)>,
) -> Events {
    let first = Seconds(motion.u.first());
    let takeaway = start.map(|s| s.takeaway);
    let from = takeaway.map_or(first.0, |t| t.value);
    let struck = impact.map_or(span.impact.0, |(i, _)| i.value);
    Events {
        address: start.map_or((first, first), |s| s.window),
        takeaway,
        arm_level_back: level::rising(motion, from, top.value),
        top,
        transition: level::falling(motion, top.value, struck),
        impact: impact.map(|(i, _)| i),
        finish: impact.and_then(|(i, _)| finish::rest(motion, i.value)),
        impact_source: impact.map_or(ImpactSource::Hands, |(_, source)| source),
        by_hand: Vec::new(),
    }
}

fn remarks(motion: &Motion, hand: Handed, events: &Events, span: &SwingSpan) -> Vec<Warning> {
    let mut said = Vec::new();
    let mut say = |text: &str| said.push(Warning::new(text));
    if events.takeaway.is_none() {
        say("The clip starts after the golfer has taken the club back: there is no address to \
             measure from. Start filming two seconds earlier.");
    } else if events.address.1.0 - events.address.0.0 < STILL {
        say(
            "The golfer hardly stands still before the swing (or the clip starts just before it): \
             the address position is uncertain.",
        );
    }
    if events.arm_level_back.is_none() && events.takeaway.is_some() {
        say("The lead arm never comes level with the ground going back: a short backswing.");
    }
    if events.transition.is_none() && events.impact.is_some() {
        say("The lead arm is not seen level with the ground coming down.");
    }
    if events.impact.is_none() {
        say("The clip ends before the ball is struck: keep filming until the golfer stands still.");
    } else if events.finish.is_none() {
        say("The clip ends before the golfer comes to rest after the swing.");
    }
    let rest = f64::midpoint(events.address.0.0, events.address.1.0);
    let back = events.top.value - 0.35 * span.backswing();
    let through = (span.impact.0 + 0.1).min(motion.u.last());
    // Without an address there is nothing to compare with.
    if events.takeaway.is_some() {
        said.extend(handed::check(motion, hand, rest, back, through));
    }
    said
}
