//! Pictures in parallel. In: an iterator of pictures, or of small groups of them, and a job for
//! one. Out: the answers in the order of the pictures.
//!
//! An item waits in a short queue until a worker is free, so memory does not grow with the
//! clip. Jobs see one item each and nothing of the others: the answers do not depend on
//! the number of threads or on their timing.

use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{Receiver, Sender, channel, sync_channel};
use std::sync::{Arc, Mutex, PoisonError};

use super::{KeypointsError, Sighting};

type Answer = Result<Vec<Sighting>, KeypointsError>;

/// Runs `job` on every item with `threads` workers (at least one). The first error of the
/// pictures or of a job ends it.
pub(super) fn map<T, F, E>(
    items: impl IntoIterator<Item = Result<T, F>>,
    threads: usize,
    job: impl Fn(&T) -> Answer + Sync,
) -> Result<Vec<Sighting>, E>
where
    T: Send,
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
        for item in items {
            // A closed queue means that the workers are gone; the scope passes their panic on.
            if failed.load(Ordering::Relaxed) || queue.send(item?).is_err() {
                break;
            }
        }
        drop(queue);
        Ok::<(), F>(())
    });
    fed?;
    let answered = answered.into_iter().collect::<Result<Vec<_>, _>>()?;
    let mut sightings: Vec<Sighting> = answered.into_iter().flatten().collect();
    sightings.sort_by_key(|sighting| sighting.index);
    Ok(sightings)
}

fn work<T>(
    waiting: Arc<Mutex<Receiver<T>>>,
    answers: Sender<Answer>,
    job: impl Fn(&T) -> Answer,
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
