//! `raisewatch rehearse`: the same watch over the same wire, with the simulator in place of the towers.
//!
//! The simulator speaks MQTT to a broker of our own on this machine; crew and instruments are its, pages, findings, calls
//! and recording are as in a real lift, with the flag REHEARSAL. Nothing of it reaches a real tower.

use crate::clock::{Clock, wall};
use crate::live::{Asked, Live, Setup};
use crate::load::{Loaded, load, loaded};
use crate::sinks::lines::Look;
use crate::sources::dial;
use crate::{Exit, Misuse, broker};
use anyhow::Context;
use raisewatch_protocol::mono::{Mono, Span};
use raisewatch_simulator::mqtt::{Broker, Mqtt};
use raisewatch_simulator::{Lift, Script};
use raisewatch_watch::watch::Watch;
use rumqttc::{AsyncClient, Event, Packet, QoS};
use std::net::{Ipv4Addr, SocketAddr};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::Duration;
use tokio::time::MissedTickBehavior;

/// The lift that is rehearsed where no other is named; ships in docs/examples/rehearsal.
const PLAN: &str = include_str!("../../docs/examples/rehearsal/plan.toml");
const KIT: &str = include_str!("../../docs/examples/rehearsal/kit.toml");
const SCRIPT: &str = include_str!("../../docs/examples/rehearsal/script.toml");

/// Faster than this, a packet's way over the broker is a noticeable part of a second of the rehearsal.
const FASTEST: f64 = 20.0;

/// How often the simulator and the pace look at the clock, real time.
const BEAT: Duration = Duration::from_millis(2);
/// How far the clock may run ahead of what came through the broker: well under the second after which silence is a stop.
const AHEAD: Span = Span::ms(150);
/// Nothing coming through for so long, real time, is a fault.
const STUCK: Duration = Duration::from_secs(60);

/// Arguments.
#[derive(Debug, clap::Args)]
pub struct RehearseArgs {
    /// The plan file; the demo's if not given
    #[arg(requires = "kit", requires = "script")]
    pub plan: Option<PathBuf>,
    /// The kit file
    #[arg(long, requires = "plan")]
    pub kit: Option<PathBuf>,
    /// What is done, and what goes wrong
    #[arg(long, requires = "plan")]
    pub script: Option<PathBuf>,
    /// End when the script ends
    #[arg(long)]
    pub headless: bool,
    /// How many times as fast as life, up to 20
    #[arg(long, default_value_t = 1.0)]
    pub speed: f64,
    /// Another seed is another crew, another floor, other noise
    #[arg(long, default_value_t = 1)]
    pub seed: u64,
    /// Where the pages are served [default: 0.0.0.0:8470, or any free port]
    #[arg(long, value_name = "ADDRESS")]
    pub listen: Option<SocketAddr>,
    /// Let anybody on the network look at the pages, without a code
    #[arg(long)]
    pub open: bool,
    /// Serve the pages under TLS, with the certificate of this folder; made there if there is none
    #[arg(long, value_name = "FOLDER")]
    pub tls: Option<PathBuf>,
    /// Folder for the recording
    #[arg(long, value_name = "FOLDER", default_value = "recordings")]
    pub record: PathBuf,
    /// How findings and calls are printed
    #[arg(long, value_enum, default_value_t)]
    pub lines: Look,
}

/// Rehearses until the script ends (headless) or until it is stopped.
pub fn run(args: RehearseArgs) -> anyhow::Result<Exit> {
    if !(args.speed.is_finite() && args.speed > 0.0 && args.speed <= FASTEST) {
        return Err(Misuse(format!("--speed: expected more than 0 and at most {FASTEST}, found {}", args.speed)).into());
    }
    let (lift, script) = files(&args)?;
    let misuse = |fault: &dyn std::fmt::Display| Misuse(fault.to_string());
    let watch = Watch::new(&lift.plan, &lift.kit, lift.phrases.clone()).map_err(|fault| misuse(&fault))?;
    let truth = Lift::new(&lift.plan, &lift.kit, &script, args.seed).map_err(|fault| misuse(&fault))?;
    let broker = broker::start(SocketAddr::from((Ipv4Addr::LOCALHOST, 0)), None)?;
    let (site, clock) = (lift.plan.site.clone(), Clock::paced(args.speed));
    let setup = Setup {
        lift: lift.into(),
        broker: Some(broker.url.clone()),
        login: None,
        listen: args.listen,
        open: args.open,
        tls: args.tls,
        record: Some(args.record),
        look: args.lines,
        clock: clock.clone(),
        rehearsal: true,
    };
    let runtime = tokio::runtime::Runtime::new()?;
    let exit = runtime.block_on(async {
        let asked = Asked::new()?;
        let live = setup.start(watch).await?;
        live.terminal.print(&format!("REHEARSAL of {:?}, times {}, {}", script.title, args.speed, wall()));
        live.terminal.show();
        let handed = Arc::new(AtomicU64::new(0));
        let pacing = pace(&broker.url, &clock, &handed)?;
        let played = simulate(truth, &site, &broker.url, &clock, &handed);
        let played = async {
            tokio::select! { played = played => played, fault = pacing => Err(fault) }
        };
        play(live, played, asked, args.headless).await
    });
    runtime.shutdown_background();
    exit
}

/// Plays the lift over MQTT by this clock until its script is over. `handed`: up to when its lines were handed over, µs of the clock.
async fn simulate(mut lift: Lift, site: &str, url: &str, clock: &Clock, handed: &AtomicU64) -> anyhow::Result<()> {
    let (mqtt, mut calls) = Mqtt::connect(&Broker::at(url)?, site, &lift.mqtt_nodes());
    let mut beat = tokio::time::interval(BEAT);
    beat.set_missed_tick_behavior(MissedTickBehavior::Skip);
    while !lift.over() {
        tokio::select! {
            biased;
            Some(call) = calls.recv() => lift.hear(&call),
            _ = beat.tick() => {
                let now = clock.now();
                for line in lift.advance(now) {
                    mqtt.send(&line);
                }
                handed.store(now.0, Ordering::Release);
            }
        }
    }
    mqtt.close().await;
    Ok(())
}

/// Lets the clock run as far as packets come through: sends over the broker, again and again, up to when the simulator has handed
/// its lines over, and allows a little more than what has come back. Ends only by a fault: the broker is gone, or nothing came back for [`STUCK`].
fn pace(url: &str, clock: &Clock, handed: &Arc<AtomicU64>) -> anyhow::Result<impl Future<Output = anyhow::Error> + use<>> {
    const TOPIC: &str = "rehearsal/pace";
    let (clock, handed, options) = (clock.clone(), handed.clone(), dial::options(url, "rehearsal-pace", None)?);
    Ok(async move {
        let (client, mut polled) = AsyncClient::new(options, 16);
        loop {
            let came = match tokio::time::timeout(STUCK, polled.poll()).await {
                Err(_) => return anyhow::anyhow!("the broker of the rehearsal passes nothing on"),
                Ok(Err(fault)) => return anyhow::Error::from(fault).context("the broker of the rehearsal"),
                Ok(Ok(came)) => came,
            };
            let sent = match came {
                Event::Incoming(Packet::ConnAck(_)) => client.try_subscribe(TOPIC, QoS::AtMostOnce),
                Event::Incoming(Packet::SubAck(_)) => client.try_publish(TOPIC, QoS::AtMostOnce, false, "0"),
                Event::Incoming(Packet::Publish(back)) => {
                    let at = std::str::from_utf8(&back.payload).ok().and_then(|text| text.parse().ok()).unwrap_or(0);
                    clock.allow(Mono(at) + AHEAD);
                    tokio::time::sleep(BEAT).await;
                    client.try_publish(TOPIC, QoS::AtMostOnce, false, handed.load(Ordering::Acquire).to_string())
                }
                _ => Ok(()),
            };
            if let Err(fault) = sent {
                return anyhow::Error::from(fault).context("the broker of the rehearsal");
            }
        }
    })
}

/// Plays to the end of the script, or until it is stopped; then ends the lift.
async fn play(live: Live, played: impl Future<Output = anyhow::Result<()>>, mut asked: Asked, headless: bool) -> anyhow::Result<Exit> {
    let ended = tokio::select! {
        ended = played => Some(ended.context("the simulator")?),
        () = asked.stop() => None,
    };
    if ended.is_some() {
        live.terminal.print("The script has ended.");
        if !headless {
            live.terminal.print("The pages stay until you press Ctrl-C.");
            asked.stop().await;
        }
    }
    Ok(live.finish().await)
}

fn files(args: &RehearseArgs) -> anyhow::Result<(Loaded, Script)> {
    let (mut lift, text, name) = match (&args.plan, &args.kit, &args.script) {
        (Some(plan), Some(kit), Some(script)) => {
            let text = std::fs::read_to_string(script).map_err(|fault| Misuse(format!("{}: {fault}", script.display())))?;
            (load(plan, kit)?, text, script.display().to_string())
        }
        _ => {
            let none = |name: &str| anyhow::bail!("the demo has no phrase file {name}");
            let demo = loaded(PLAN.into(), Path::new("rehearsal/plan.toml"), KIT.into(), Path::new("rehearsal/kit.toml"), none)?;
            (demo, SCRIPT.to_owned(), "rehearsal/script.toml".to_owned())
        }
    };
    let script = Script::read(&text, &name).map_err(|fault| Misuse(fault.to_string()))?;
    // The broker is the rehearsal's own and closed to others: the simulated crew sets its steps there, whatever the hall's kit allows.
    lift.kit.said = true;
    Ok((lift, script))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn args(files: Option<[&str; 3]>) -> RehearseArgs {
        let house = Path::new(env!("CARGO_MANIFEST_DIR")).parent().unwrap();
        let file = |at: usize| files.map(|f| house.join(f[at]));
        RehearseArgs {
            plan: file(0),
            kit: file(1),
            script: file(2),
            headless: true,
            speed: 1.0,
            seed: 1,
            listen: None,
            open: false,
            tls: None,
            record: "x".into(),
            lines: Look::Plain,
        }
    }

    #[test]
    fn the_demo_reads_and_stands() {
        let (lift, script) = files(&args(None)).unwrap();
        assert!(Lift::new(&lift.plan, &lift.kit, &script, 1).is_ok());
    }

    #[test]
    fn the_simulated_crew_is_heard_whatever_the_kit_allows_in_the_hall() {
        let own = args(Some(["docs/examples/tanners-yard.toml", "tests/scenarios/kits/p3.toml", "docs/examples/rehearsal/script.toml"]));
        let hall = load(own.plan.as_ref().unwrap(), own.kit.as_ref().unwrap()).unwrap();
        assert!(!hall.kit.said, "this kit takes no words from the broker");
        let (lift, _) = files(&own).unwrap();
        assert!(lift.kit.said);
    }
}
