//! Starting and stopping. In: [`OpenOptions`]. Out: a page that is served until Ctrl-C.

use std::io::Write as _;
use std::net::Ipv4Addr;
use std::sync::Arc;

use tokio::net::TcpListener;

use super::api::routes;
use super::guard::{guarded, token};
use super::state::Page;
use super::{OpenOptions, PageError, glance, queue, watch};
use crate::error::Error;
use crate::options::{Clip, Options};
use crate::run::observe::Instruments;

/// Threads that answer requests; the measuring has its own.
const THREADS: usize = 2;

/// Serves the page until it is stopped.
///
/// # Errors
/// When the port is taken, or the library cannot be used.
pub fn open(options: &OpenOptions) -> Result<(), PageError> {
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .worker_threads(THREADS)
        .enable_all()
        .build()
        .map_err(PageError::Stopped)?;
    let served = runtime.block_on(serve(options));
    // A measurement under way is taken up again at the next start.
    runtime.shutdown_background();
    served
}

async fn serve(options: &OpenOptions) -> Result<(), PageError> {
    let listen = |source| PageError::Listen { port: options.port, source };
    let listener = TcpListener::bind((Ipv4Addr::LOCALHOST, options.port)).await.map_err(listen)?;
    let port = listener.local_addr().map_err(listen)?.port();
    let token = token()?;
    let page = Arc::new(Page::new(options.clone(), token.clone())?);
    work(&page)?;
    let routes = guarded(&token, port, routes(page));
    announce(&format!("http://127.0.0.1:{port}/{token}/"), options.browser);
    tokio::select! {
        ended = axum::serve(listener, routes) => ended.map_err(PageError::Stopped),
        () = stopped() => Ok(()),
    }
}

/// Starts what goes on beside the answering of requests: measuring, and the watched folder.
fn work(page: &Arc<Page>) -> Result<(), PageError> {
    let (measuring, watching) = (Arc::clone(page), Arc::clone(page));
    let start = |name: &str, work: Box<dyn FnOnce() + Send>| {
        let started = std::thread::Builder::new().name(name.to_owned()).spawn(work);
        started.map(drop).map_err(PageError::Stopped)
    };
    start("measuring", Box::new(move || measure(&measuring)))?;
    start("watching", Box::new(move || watch::work(&watching)))
}

/// The networks are loaded while the coach still looks for the clip.
fn measure(page: &Arc<Page>) {
    let load = || -> Result<Instruments, Error> {
        Instruments::load(&Options::new(vec![Clip::new("any".into(), None)])?)
    };
    match load() {
        Ok(instruments) => std::thread::scope(|threads| {
            threads.spawn(|| glance::work(page, &instruments));
            queue::work(page, &instruments);
        }),
        // They are part of the program: this is no mishap of the day.
        Err(error) => eprintln!("hubgauge: {error}"),
    }
}

fn announce(address: &str, browser: bool) {
    // Whoever closed standard output does not want to read it.
    let _ = writeln!(
        std::io::stdout(),
        "The page is open on this machine only:\n{address}\nCtrl-C stops it."
    );
    let _ = std::io::stdout().flush();
    if browser && open::that_detached(address).is_err() {
        eprintln!("No browser could be started: open the address above in one.");
    }
}

/// Ctrl-C, or a polite request to end.
async fn stopped() {
    let interrupt = tokio::signal::ctrl_c();
    #[cfg(unix)]
    {
        use tokio::signal::unix::{SignalKind, signal};
        if let Ok(mut terminate) = signal(SignalKind::terminate()) {
            tokio::select! { _ = interrupt => {}, _ = terminate.recv() => {} }
            return;
        }
        let _ = tokio::signal::ctrl_c().await;
    }
    #[cfg(not(unix))]
    let _ = interrupt.await;
}
