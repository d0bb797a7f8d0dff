//! `raisewatch-sim`: plays a simulated lift, or a recorded trace, over the wire that real nodes speak.

use anyhow::Context;
use clap::{Parser, Subcommand};
use raisewatch_protocol::kit::Kit;
use raisewatch_protocol::mono::{Mono, Span};
use raisewatch_protocol::plan::Plan;
use raisewatch_protocol::topic;
use raisewatch_simulator::mqtt::{Broker, Mqtt};
use raisewatch_simulator::play::{Play, Trace};
use raisewatch_simulator::pty::Ports;
use raisewatch_simulator::wires::{self, Wires};
use raisewatch_simulator::{Lift, Script, file, logs};
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use tokio::sync::mpsc;

/// Plays a simulated lift, or a recorded trace, over the wire that real nodes speak. It lifts nothing and guards nothing.
#[derive(Debug, Parser)]
#[command(name = "raisewatch-sim", version)]
struct Cli {
    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, Subcommand)]
enum Command {
    /// Plays a lift by a script
    Run {
        /// The plan
        #[arg(long)]
        plan: PathBuf,
        /// The kit
        #[arg(long)]
        kit: PathBuf,
        /// The script
        #[arg(long)]
        script: PathBuf,
        /// Another seed is another day: other hands, other noise
        #[arg(long, default_value_t = 1)]
        seed: u64,
        /// Ends after so many seconds of the lift
        #[arg(long)]
        seconds: Option<f64>,
        #[command(flatten)]
        over: Over,
    },
    /// Plays a recorded trace: .jsonl, .csv or a log of NMEA sentences
    Play {
        /// The trace
        trace: PathBuf,
        /// The kit, for its ports
        #[arg(long)]
        kit: Option<PathBuf>,
        /// Site, for the topics
        #[arg(long)]
        site: Option<String>,
        /// Node, where the log names none
        #[arg(long, default_value = "n1")]
        node: String,
        #[command(flatten)]
        over: Over,
    },
}

/// Which wires.
#[derive(Debug, clap::Args)]
struct Over {
    /// How many times as fast as life
    #[arg(long, default_value_t = 1.0)]
    speed: f64,
    /// Over MQTT, to the broker at mqtt://host:port (user and password from RAISEWATCH_MQTT_USER and _PASSWORD)
    #[arg(long, value_name = "URL")]
    mqtt: Option<String>,
    /// Over pseudo-terminals, one for each port of the kit; their names are printed
    #[arg(long)]
    pty: bool,
    /// With --pty: links of steady names to the terminals, DIR/NODE
    #[arg(long, value_name = "DIR", requires = "pty")]
    links: Option<PathBuf>,
    /// To a file, as fast as it goes; - for the standard output
    #[arg(long, value_name = "FILE", conflicts_with_all = ["mqtt", "pty"])]
    to: Option<PathBuf>,
}

/// Why it ends otherwise than done: 1 failed, 2 misused or unreadable.
enum Ended {
    Misused(anyhow::Error),
    Failed(anyhow::Error),
}

fn main() -> ExitCode {
    let cli = Cli::parse();
    let filter = tracing_subscriber::EnvFilter::try_from_default_env().unwrap_or_else(|_| "info".into());
    tracing_subscriber::fmt().with_writer(std::io::stderr).with_env_filter(filter).init();
    match run(cli.command) {
        Ok(()) => ExitCode::SUCCESS,
        Err(Ended::Misused(error)) => told(&error, 2),
        Err(Ended::Failed(error)) => told(&error, 1),
    }
}

fn told(error: &anyhow::Error, code: u8) -> ExitCode {
    // Standard error may be closed; the exit status stays.
    let _ = writeln!(std::io::stderr(), "raisewatch-sim: {error:#}");
    ExitCode::from(code)
}

fn text_of(path: &Path) -> Result<String, Ended> {
    std::fs::read_to_string(path).with_context(|| path.display().to_string()).map_err(Ended::Misused)
}

fn misused(error: impl Into<anyhow::Error>) -> Ended {
    Ended::Misused(error.into())
}

fn kit_of(path: &Path) -> Result<Kit, Ended> {
    Kit::read(&text_of(path)?, &path.display().to_string()).map_err(misused)
}

fn run(command: Command) -> Result<(), Ended> {
    match command {
        Command::Run { plan, kit, script, seed, seconds, over } => {
            let plan = Plan::read(&text_of(&plan)?, &plan.display().to_string()).map_err(misused)?;
            let kit = kit_of(&kit)?;
            let script = Script::read(&text_of(&script)?, &script.display().to_string()).map_err(misused)?;
            let mut lift = Lift::new(&plan, &kit, &script, seed).map_err(misused)?;
            lift.until(seconds.map(|s| Mono(0) + Span::from_s(s)));
            if let Some(to) = &over.to {
                return write(to, |out| file::write(&mut lift, None, out));
            }
            carry(lift, Some(&kit), &plan.site, &over)
        }
        Command::Play { trace, kit, site, node, over } => {
            let text = text_of(&trace)?;
            let name = trace.display().to_string();
            let played = match trace.extension().and_then(|e| e.to_str()) {
                Some("csv") => logs::table(&text, &name, &node),
                Some("jsonl" | "json") => Trace::read(&text, &name),
                _ => logs::sentences(&text, &name, &node),
            };
            let played = played.map_err(misused)?;
            let kit = kit.map(|path| kit_of(&path)).transpose()?;
            if let Some(to) = &over.to {
                let mut played = played;
                return write(to, |out| file::copy(&mut played, out));
            }
            let site = match (site, &over.mqtt) {
                (Some(site), _) if topic::site_name(&site) => site,
                (None, None) => String::new(),
                (site, _) => return Err(misused(anyhow::anyhow!("--site: expected one word for the topics, found {site:?}"))),
            };
            carry(played, kit.as_ref(), &site, &over)
        }
    }
}

fn write(to: &Path, mut play: impl FnMut(&mut dyn Write) -> std::io::Result<usize>) -> Result<(), Ended> {
    let name = to.display().to_string();
    let written = if name == "-" {
        play(&mut std::io::BufWriter::new(std::io::stdout().lock()))
    } else {
        std::fs::File::create(to).and_then(|file| play(&mut std::io::BufWriter::new(file)))
    };
    let lines = written.with_context(|| name.clone()).map_err(Ended::Failed)?;
    tracing::info!("{lines} lines to {name}");
    Ok(())
}

fn carry<P: Play>(play: P, kit: Option<&Kit>, site: &str, over: &Over) -> Result<(), Ended> {
    if over.mqtt.is_none() && !over.pty {
        return Err(misused(anyhow::anyhow!("expected where it goes: --mqtt URL, --pty or --to FILE")));
    }
    let ports = match (over.pty, kit) {
        (false, _) => None,
        (true, Some(kit)) => Some(Ports::open(kit, over.links.as_deref()).map_err(|e| Ended::Failed(e.into()))?),
        (true, None) => return Err(misused(anyhow::anyhow!("--pty: expected --kit, which names the ports"))),
    };
    for port in ports.iter().flat_map(|p| &p.0) {
        // Printed for the person who opens the other end; a closed output ends us.
        writeln!(std::io::stdout(), "{} {}", port.kit_name, port.device).map_err(|e| Ended::Failed(e.into()))?;
    }
    let broker = over.mqtt.as_deref().map(Broker::at).transpose().map_err(misused)?.map(with_login);
    let runtime = tokio::runtime::Builder::new_multi_thread().worker_threads(1).enable_all().build();
    let runtime = runtime.map_err(|e| Ended::Failed(e.into()))?;
    runtime.block_on(async {
        let (mqtt, calls) = match &broker {
            Some(broker) => {
                let (mqtt, calls) = Mqtt::connect(broker, site, &play.nodes());
                (Some(mqtt), calls)
            }
            None => (None, mpsc::channel(1).1),
        };
        wires::run(play, Wires { mqtt, ports }, calls, over.speed).await.map(|_| ()).map_err(misused)
    })
}

fn with_login(broker: Broker) -> Broker {
    let login = std::env::var("RAISEWATCH_MQTT_USER").ok().zip(std::env::var("RAISEWATCH_MQTT_PASSWORD").ok());
    Broker { login, ..broker }
}
