//! The one place that knows the order of the stages. In: [`Options`]. Out: the result, and
//! in `options.out` its files.
//!
//! [`observe`] is the costly part, one clip at a time; [`evaluate`] turns what was observed
//! into numbers and is quick, so that a correction by hand need not look at the clip again.

mod by_hand;
pub mod evaluate;
mod faces;
mod first;
pub mod lens;
pub mod observe;
mod observed;
mod outputs;
pub mod pictures;
mod progress;
mod rod;
mod scene;
pub mod short_clip;
mod timings;
pub mod watcher;

use crate::decode;
use crate::error::Error;
use crate::options::Options;
use crate::results::SwingResult;
use crate::warning::Warning;

use evaluate::Evaluated;
pub use first::first_picture;
use observe::{Instruments, Observed};
use outputs::Prepared;
pub use scene::Look;
use watcher::Terminal;
pub use watcher::{Nobody, Step, Watcher};

/// A measured swing.
pub struct Measurement {
    pub result: SwingResult,
    pub evaluated: Evaluated,
    pub observed: Vec<Observed>,
}

/// Measures one swing and writes its files.
///
/// # Errors
/// When a clip cannot be read or shows no swing, or a file cannot be written.
pub fn measure(options: &Options) -> Result<Measurement, Error> {
    watched(options, |terminal| {
        let probed = probe(options)?;
        let instruments = terminal.time("load", || Instruments::load(options))?;
        measure_probed(probed, options, &instruments, terminal)
    })
}

/// The same with networks that are loaded already, for many swings.
///
/// # Errors
/// As there.
pub fn measure_with(options: &Options, instruments: &Instruments) -> Result<Measurement, Error> {
    watched(options, |terminal| measure_probed(probe(options)?, options, instruments, terminal))
}

fn watched(
    options: &Options,
    work: impl FnOnce(&Terminal) -> Result<Measurement, Error>,
) -> Result<Measurement, Error> {
    let prepared = options.out.as_deref().map(Prepared::new).transpose()?;
    let terminal = Terminal::new(options.progress);
    let measured = work(&terminal);
    terminal.finish();
    if let (Some(prepared), true) = (prepared, measured.is_ok()) {
        prepared.keep();
    }
    if options.timings && measured.is_ok() {
        eprint!("{}", terminal.lines());
    }
    measured
}

type Probed = (Vec<decode::ClipInfo>, Vec<Warning>);

/// All clips are probed first: a bad second file must not cost the work on the first.
fn probe(options: &Options) -> Result<Probed, Error> {
    let mut notes = Vec::new();
    let clips = options.clips().iter();
    let infos = clips.map(|clip| Ok(decode::probe(&clip.path)?.note(&mut notes)));
    let infos = infos.collect::<Result<Vec<_>, Error>>()?;
    Ok((infos, notes))
}

fn measure_probed(
    (infos, notes): Probed,
    options: &Options,
    instruments: &Instruments,
    terminal: &Terminal,
) -> Result<Measurement, Error> {
    let observed = infos
        .iter()
        .enumerate()
        .map(|(index, info)| look(info, index, options, instruments, terminal))
        .collect::<Result<Vec<_>, Error>>()?;
    let evaluated = terminal.time("evaluate", || evaluate::evaluate(&observed, options, notes))?;
    let measurement = Measurement { result: evaluated.result.clone(), evaluated, observed };
    if let Some(out) = &options.out {
        terminal.time("write", || outputs::write(&measurement, options, out))?;
    }
    Ok(measurement)
}

/// Looks at one clip; again where it turns out to be the view in which a person was marked.
fn look(
    info: &decode::ClipInfo,
    index: usize,
    options: &Options,
    instruments: &Instruments,
    watcher: &dyn Watcher,
) -> Result<Observed, Error> {
    let mut clip = options.clips()[index].clone();
    if let Some(view) = options.view(index) {
        clip.person = options.person(index, view);
    }
    let seen = observe::observe(info, &clip, options, instruments, watcher)?;
    let wanted = evaluate::person_wanted(&seen, index, options)?;
    if wanted == seen.person {
        return Ok(seen);
    }
    clip.person = wanted;
    observe::observe(info, &clip, options, instruments, watcher)
}
