//! One lift, live: sources, watch, sinks and pages put together, for `watch` and for `rehearse`.

use crate::clock::{self, Clock};
use crate::drive::Driver;
use crate::inlet::Inlet;
use crate::judge::Judge;
use crate::load::Lift;
use crate::run::{Ended, Frame, Loop};
use crate::sinks::hub::Hub;
use crate::sinks::lines::{self, Look};
use crate::sinks::{RecordingState, mqtt, recording};
use crate::sources::login::Login;
use crate::terminal::Terminal;
use crate::web::crew::{Composer, Crew, Fixed};
use crate::web::doors::Doors;
use crate::web::pace::Pace;
use crate::web::past::Past;
use crate::web::roles::Role;
use crate::web::server::serve;
use crate::web::tls::{self, Seal};
use crate::web::words::Words;
use crate::web::{Limits, Web, addresses, router};
use crate::{Exit, sources, typed};
use anyhow::Context;
use raisewatch_protocol::intake::Intake;
use raisewatch_protocol::trace::{Arrival, TraceLine};
use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;
use tokio::net::TcpListener;
use tokio::signal::unix::{Signal, SignalKind, signal};
use tokio::sync::{broadcast, mpsc, watch};
use tokio::task::JoinSet;

/// Lines that may wait for standard output, MQTT and pages. A minute of many calls; what is older is stale anyhow.
const ROOM: usize = 1024;
/// Lines that may wait for the disk: more than a minute of 16 nodes at 20 Hz.
const RECORDING_ROOM: usize = 64 * 1024;
/// Where pages are served if nothing else is said.
pub const USUAL_LISTEN: &str = "0.0.0.0:8470";
/// How long sinks may take to finish at the end.
const FINISH: Duration = Duration::from_secs(15);

/// What a live lift needs.
pub struct Setup {
    /// Plan, kit and phrases; or a kit alone.
    pub lift: Lift,
    /// The broker to dial.
    pub broker: Option<String>,
    /// Its login.
    pub login: Option<Login>,
    /// Where pages are served; `None` means the usual place, or any free port if that is taken.
    pub listen: Option<SocketAddr>,
    /// Whether reads need no code.
    pub open: bool,
    /// Folder with the pages' certificate, where they are to come under TLS.
    pub tls: Option<PathBuf>,
    /// Where recordings go; `None` records nothing.
    pub record: Option<PathBuf>,
    /// How standard output looks.
    pub look: Look,
    /// The clock; faster than life in rehearsal.
    pub clock: Clock,
    /// Whether this is a rehearsal.
    pub rehearsal: bool,
}

/// A live lift that runs.
pub struct Live {
    /// Shows the pages' addresses.
    pub terminal: Arc<Terminal>,
    stop: watch::Sender<bool>,
    looping: tokio::task::JoinHandle<Ended>,
    tasks: JoinSet<()>,
    sinks: JoinSet<()>,
    printed: std::thread::JoinHandle<()>,
    recording: Option<Kept>,
}

impl Setup {
    /// Starts everything, with `judge` as the watch.
    ///
    /// Errors: a port that is taken, a broker's address that is none.
    pub async fn start<J: Judge + 'static>(self, judge: J) -> anyhow::Result<Live> {
        let (listener, at) = listen(self.listen).await?;
        let seal = self.seal(at)?;
        let (inlet, outlet) = Inlet::new(self.clock.clone());
        let (stop, stopping) = watch::channel(false);
        let (frames, framed) = watch::channel(Arc::new(Frame::default()));
        let (mut hub, mut sinks, mut tasks) = (Hub::default(), JoinSet::new(), JoinSet::new());

        let printed = lines::run(self.look, hub.attach_spoken("standard output", ROOM));
        if let Some(url) = &self.broker {
            let options = mqtt::options(url, &self.lift.site, self.login.as_ref())?;
            sinks.spawn(mqtt::run(options, self.lift.site.clone(), hub.attach_spoken("MQTT", ROOM)));
        }
        let recording = self.recording(&mut hub, framed.clone());
        let state = recording.as_ref().map(|recording| recording.state.clone());
        let pages = Pages::new(&self, inlet.clone(), at, seal.as_ref(), stopping.clone(), state);
        sinks.spawn(pages.composer.run(framed, hub.attach_spoken("pages", ROOM)));
        tasks.spawn(serve(listener, seal.map(|seal| seal.acceptor), router(pages.web), Limits::default(), stopping.clone()));
        tasks.spawn(pages.terminal.clone().show_next(pages.paired));
        sources::start(&self.lift.kit, &self.lift.site, self.broker.as_deref(), self.login.as_ref(), &inlet, &mut tasks)?;
        typed::read_standard_input(inlet.clone(), pages.terminal.clone());

        inlet.put(TraceLine { t_ms: inlet.now(), what: Arrival::Wall { wall: clock::wall() } }).await?;
        let driver = Driver::new(judge, Intake::new(&self.lift.kit));
        let looping = Loop { driver, hub, outlet, clock: self.clock.clone(), frames };
        let looping = tokio::spawn(looping.run(stopping));
        Ok(Live { terminal: pages.terminal, stop, looping, tasks, sinks, printed, recording })
    }

    fn seal(&self, at: SocketAddr) -> anyhow::Result<Option<Seal>> {
        let Some(folder) = &self.tls else { return Ok(None) };
        let addresses: Vec<_> = addresses::reachable(at).iter().map(SocketAddr::ip).collect();
        tls::seal(folder, &addresses).map(Some)
    }

    /// Begins the recording. One that cannot begin is told as failed, and never stops the lift.
    fn recording(&self, hub: &mut Hub, framed: watch::Receiver<Arc<Frame>>) -> Option<Kept> {
        let folder = self.record.as_ref()?;
        let begun = std::fs::create_dir_all(folder).map_err(anyhow::Error::from).and_then(|()| self.recording_file(folder));
        match begun {
            Ok((path, recording)) => {
                let (thread, state) = recording::spawn(recording, hub.attach("recording", RECORDING_ROOM), framed);
                Some(Kept { path, state, thread: Some(thread) })
            }
            Err(fault) => {
                let text = format!("nothing is recorded: {fault:#}");
                tracing::error!("{text}");
                let failed = RecordingState { state: "failed", text: Some(text), ..RecordingState::default() };
                Some(Kept { path: folder.clone(), state: watch::channel(failed).1, thread: None })
            }
        }
    }

    fn recording_file(&self, folder: &Path) -> anyhow::Result<(PathBuf, recording::Recording)> {
        let file = |file: &Path, text: &str| recording::Kept { file: file.display().to_string(), text: text.to_owned() };
        let lift = &self.lift;
        let head = recording::Head {
            plan: lift.plan.as_ref().map(|(name, text)| file(name, text)),
            kit: Some(file(&lift.kit_file.0, &lift.kit_file.1)),
            phrases: lift.phrases_file.as_ref().map(|(name, text)| file(Path::new(name), text)),
            opened: clock::wall(),
            opened_at: self.clock.now(),
        };
        let path = folder.join(recording::file_name(&lift.site, head.opened));
        let recording = recording::Recording::create(&path, head)?;
        Ok((path, recording))
    }
}

/// A recording that runs, or that could not begin.
struct Kept {
    path: PathBuf,
    state: watch::Receiver<RecordingState>,
    thread: Option<std::thread::JoinHandle<RecordingState>>,
}

impl Kept {
    /// Waits for the end of the file and tells its path; false where something of it was lost.
    async fn finish(self, terminal: &Terminal) -> bool {
        let Some(thread) = self.thread else { return false };
        let ended = tokio::task::spawn_blocking(|| thread.join());
        let fault = match tokio::time::timeout(FINISH, ended).await {
            Ok(Ok(Ok(ended))) if ended.state != "failed" => None,
            Ok(Ok(Ok(ended))) => Some(ended.text.unwrap_or_default()),
            Ok(_) => Some("its writer failed".to_owned()),
            Err(_) => Some("the disk does not take it".to_owned()),
        };
        let kept = fault.is_none();
        let loss = fault.map(|fault| format!(" (not all of it: {fault})")).unwrap_or_default();
        terminal.print(&format!("recording {}{loss}", self.path.display()));
        kept
    }
}

/// What the pages need.
struct Pages {
    web: Arc<Web>,
    composer: Composer,
    terminal: Arc<Terminal>,
    paired: mpsc::Receiver<Role>,
}

impl Pages {
    fn new(
        setup: &Setup,
        inlet: Inlet,
        at: SocketAddr,
        seal: Option<&Seal>,
        stop: watch::Receiver<bool>,
        recording: Option<watch::Receiver<RecordingState>>,
    ) -> Self {
        let (out, composed) = watch::channel(None);
        let (calls, _) = broadcast::channel(ROOM);
        let (tell_paired, paired) = mpsc::channel(16);
        let (doors, crew) = (Arc::new(Doors::default()), Arc::new(Crew::default()));
        let towers = setup.lift.towers.clone();
        let words = Words::new(&setup.lift.phrases.of_pages());
        let fixed = Fixed {
            plan: setup.lift.plan.is_some(),
            words: words.tag().to_owned(),
            rehearsal: setup.rehearsal,
            speed: setup.clock.speed(),
        };
        let terminal = Terminal::new(doors.clone(), towers.clone(), at, seal, setup.rehearsal && setup.look == Look::Plain);
        let past = Arc::new(Past::default());
        let composer = Composer {
            fixed,
            crew: crew.clone(),
            past: past.clone(),
            recording,
            out,
            calls: calls.clone(),
            clock: terminal.clock().clone(),
        };
        let web = Web {
            inlet,
            frames: composed,
            calls,
            past,
            pace: Pace::default(),
            words,
            towers,
            doors,
            paired: tell_paired,
            crew,
            clock: terminal.clock().clone(),
            open: setup.open,
            sealed: seal.is_some(),
            limits: Limits::default(),
            stop,
        };
        Pages { web: Arc::new(web), composer, terminal: Arc::new(terminal), paired }
    }
}

/// Listens where asked; where nothing was asked, at the usual place or, if that is taken, at any free port.
async fn listen(asked: Option<SocketAddr>) -> anyhow::Result<(TcpListener, SocketAddr)> {
    let listener = match asked {
        Some(at) => TcpListener::bind(at).await.with_context(|| format!("pages: cannot listen on {at}"))?,
        None => match TcpListener::bind(USUAL_LISTEN).await {
            Ok(listener) => listener,
            Err(_) => TcpListener::bind("0.0.0.0:0").await.context("pages: cannot listen on any port")?,
        },
    };
    let at = listener.local_addr()?;
    Ok((listener, at))
}

impl Live {
    /// Ends the lift: the loop first, then the sinks when they have told the last of it.
    pub async fn finish(mut self) -> Exit {
        self.stop.send_replace(true);
        let ended = (&mut self.looping).await;
        self.tasks.abort_all();
        let finished = async { while self.sinks.join_next().await.is_some() {} };
        if tokio::time::timeout(FINISH, finished).await.is_err() {
            tracing::warn!("MQTT or pages did not finish in time");
        }
        let kept = match self.recording.take() {
            Some(recording) => recording.finish(&self.terminal).await,
            None => true,
        };
        within(FINISH, self.printed, "standard output");
        match ended {
            Ok(Ended::Clean { lost: 0 }) if kept => Exit::Done,
            Ok(Ended::Clean { .. }) => Exit::Loss,
            Ok(Ended::Failed) | Err(_) => Exit::Failed,
        }
    }
}

/// Waits for a thread, but not for ever: a terminal that is held would hold the program.
fn within(longest: Duration, thread: std::thread::JoinHandle<()>, name: &str) {
    let pause = Duration::from_millis(10);
    for _ in 0..longest.as_millis() / pause.as_millis() {
        if thread.is_finished() {
            return;
        }
        std::thread::sleep(pause);
    }
    tracing::warn!("{name} did not finish in time");
}

/// SIGINT and SIGTERM. Made before anything is started, so that neither ends the program unheard.
pub struct Asked {
    interrupt: Signal,
    terminate: Signal,
}

impl Asked {
    /// Listens to both from now on.
    pub fn new() -> std::io::Result<Self> {
        Ok(Asked { interrupt: signal(SignalKind::interrupt())?, terminate: signal(SignalKind::terminate())? })
    }

    /// Waits for either.
    pub async fn stop(&mut self) {
        tokio::select! {
            _ = self.interrupt.recv() => {}
            _ = self.terminate.recv() => {}
        }
    }
}
