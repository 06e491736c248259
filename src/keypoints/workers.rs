//! Pictures in parallel. In: an iterator of pictures and a job for one picture. Out: the
//! answers in the order of the pictures.
//!
//! A picture waits in a short queue until a worker is free, so memory does not grow with the
//! clip. Jobs see one picture each and nothing of the others: the answers do not depend on
//! the number of threads or on their timing.

use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{Receiver, Sender, channel, sync_channel};
use std::sync::{Arc, Mutex, PoisonError};

use super::{KeypointsError, Sighting};
use crate::decode::Picture;

type Answer = Result<Sighting, KeypointsError>;

/// Runs `job` on every picture with `threads` workers (at least one). The first error of the
/// pictures or of a job ends it.
pub(super) fn map_pictures<F, E>(
    pictures: impl IntoIterator<Item = Result<Picture, F>>,
    threads: usize,
    job: impl Fn(&Picture) -> Answer + Sync,
) -> Result<Vec<Sighting>, E>
where
    E: From<F> + From<KeypointsError>,
{
    let threads = threads.max(1);
    let (queue, waiting) = sync_channel(threads);
    let (answers, answered) = channel();
    let waiting = Arc::new(Mutex::new(waiting));
    let failed = AtomicBool::new(false);
    let fed = std::thread::scope(|scope| {
        for _ in 0..threads {
            let (waiting, answers) = (Arc::clone(&waiting), answers.clone());
            scope.spawn(|| work(waiting, answers, &job, &failed));
        }
        drop((waiting, answers));
        for picture in pictures {
            // A closed queue means that the workers are gone; the scope passes their panic on.
            if failed.load(Ordering::Relaxed) || queue.send(picture?).is_err() {
                break;
            }
        }
        drop(queue);
        Ok::<(), F>(())
    });
    fed?;
    let mut sightings = answered.into_iter().collect::<Result<Vec<_>, _>>()?;
    sightings.sort_by_key(|sighting| sighting.index);
    Ok(sightings)
}

fn work(
    waiting: Arc<Mutex<Receiver<Picture>>>,
    answers: Sender<Answer>,
    job: impl Fn(&Picture) -> Answer,
    failed: &AtomicBool,
) {
    loop {
        // A queue is whole whatever happened to the thread that held it.
        let next = waiting.lock().unwrap_or_else(PoisonError::into_inner).recv();
        let Ok(picture) = next else { return };
        if failed.load(Ordering::Relaxed) {
            continue;
        }
        let answer = job(&picture);
        if answer.is_err() {
            failed.store(true, Ordering::Relaxed);
        }
        if answers.send(answer).is_err() {
            return;
        }
    }
}
