//! Batches over threads, in order, in bounded memory.
//!
//! The reader hands each batch to the workers with a letter box for its result, and the letter boxes, in order, to the writer. The queue of
//! letter boxes is short: so the reader waits for the writer, and no more than a few batches exist at any time.

use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{Receiver, RecvTimeoutError, SyncSender, sync_channel};
use std::sync::{Arc, Mutex, PoisonError};
use std::thread;
use std::time::Duration;

use crate::failure::Failure;

/// How often a wait looks whether the run is to stop: a reader may wait for a stream that sends nothing.
const LOOK: Duration = Duration::from_millis(100);

/// Runs batches of `read` through `workers`, and their results in order through `write`. Ends early, without a failure, when `stop` is
/// set; a reader that waits for its input is then left to the end of the process.
pub(crate) fn run<B: Send + 'static, D: Send + 'static>(
    mut read: impl FnMut() -> Result<Option<B>, Failure> + Send + 'static,
    workers: Vec<impl FnMut(B) -> D + Send + 'static>,
    mut write: impl FnMut(D) -> Result<(), Failure>,
    stop: &Arc<AtomicBool>,
) -> Result<(), Failure> {
    let ahead = workers.len() + 2;
    let (to_workers, work) = sync_channel::<(B, SyncSender<D>)>(1);
    let (to_writer, boxes) = sync_channel::<Receiver<D>>(ahead);
    let stopped = Arc::clone(stop);
    let reader = thread::spawn(move || -> Result<(), Failure> {
        while !stopped.load(Ordering::Relaxed) {
            let Some(batch) = read()? else { break };
            let (give, take) = sync_channel(1);
            // Nobody listens any more where writing has failed: then that failure is the one to tell.
            if to_writer.send(take).is_err() || to_workers.send((batch, give)).is_err() {
                break;
            }
        }
        Ok(())
    });
    let work = Arc::new(Mutex::new(work));
    for mut worker in workers {
        let work = Arc::clone(&work);
        thread::spawn(move || {
            loop {
                let next = work.lock().unwrap_or_else(PoisonError::into_inner).recv();
                let Ok((batch, give)) = next else { break };
                let _ = give.send(worker(batch));
            }
        });
    }
    loop {
        let result = match boxes.recv_timeout(LOOK) {
            Ok(result) => result,
            Err(RecvTimeoutError::Disconnected) => break,
            Err(RecvTimeoutError::Timeout) if stop.load(Ordering::Relaxed) => return Ok(()),
            Err(RecvTimeoutError::Timeout) => continue,
        };
        let Ok(done) = result.recv() else {
            return Err(Failure::Unreadable(
                "a thread of this run failed, as said above; nothing was written".to_owned(),
                "please report it".to_owned(),
            ));
        };
        write(done)?;
    }
    drop(boxes);
    reader.join().unwrap_or_else(|_| {
        Err(Failure::Unreadable(
            "reading failed, as said above; nothing was written".to_owned(),
            "please report it".to_owned(),
        ))
    })
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::run;
    use crate::failure::Failure;
    use std::sync::Arc;
    use std::sync::atomic::AtomicBool;

    #[test]
    fn results_come_in_order_and_failures_end_it() {
        let stop = Arc::new(AtomicBool::new(false));
        let numbers = |upto: u64| {
            let mut next = 0;
            move || {
                next += 1;
                Ok((next <= upto).then_some(next))
            }
        };
        let work = || {
            (0..4)
                .map(|_| {
                    |n: u64| {
                        // The later ones are done sooner.
                        std::thread::sleep(std::time::Duration::from_micros(200 - n % 7 * 25));
                        n * 10
                    }
                })
                .collect::<Vec<_>>()
        };
        let mut seen = Vec::new();
        let all = run(
            numbers(200),
            work(),
            |n| {
                seen.push(n);
                Ok(())
            },
            &stop,
        );
        assert!(all.is_ok());
        assert_eq!(seen, (1..=200).map(|n| n * 10).collect::<Vec<u64>>());
        let mut count = 0;
        let full = run(
            numbers(u64::MAX - 1),
            work(),
            |_| {
                count += 1;
                if count == 5 {
                    Err(Failure::BrokenPipe)
                } else {
                    Ok(())
                }
            },
            &stop,
        );
        assert!(matches!(full, Err(Failure::BrokenPipe)));
    }
}
