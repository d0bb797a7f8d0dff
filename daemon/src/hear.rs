//! `raisewatch hear`: prints all that arrives on a broker or a port, understood or not, and the kit lines that would
//! accept it. Judges nothing, records nothing, answers nobody.

mod ear;
mod guess;

use crate::clock::Clock;
use crate::sources::login::Login;
use crate::sources::pause::Pause;
use crate::sources::{dial, serial};
use crate::{Exit, Misuse};
use ear::Ear;
use rumqttc::{AsyncClient, Event, MqttOptions, Packet, QoS};
use std::io::Write;
use std::path::{Path, PathBuf};
use tokio::io::AsyncReadExt;

/// A line on a port is no longer; what goes on is shown in pieces.
const MAX_LINE: usize = 1024;

/// Arguments.
#[derive(Debug, clap::Args)]
pub struct HearArgs {
    /// Broker to listen to, such as mqtt://127.0.0.1:1883
    #[arg(long, conflicts_with = "port", required_unless_present = "port")]
    pub broker: Option<String>,
    /// Topics to listen to
    #[arg(long, default_value = "#", requires = "broker")]
    pub topic: String,
    /// File with the broker's user and password (or RAISEWATCH_MQTT_USER and RAISEWATCH_MQTT_PASSWORD)
    #[arg(long, requires = "broker")]
    pub login_file: Option<PathBuf>,
    /// Serial port to listen to, such as /dev/serial/by-id/…
    #[arg(long)]
    pub port: Option<String>,
    /// Its speed
    #[arg(long, default_value_t = 9600, requires = "port")]
    pub baud: u32,
    /// End after so many arrivals
    #[arg(long)]
    pub count: Option<u64>,
}

/// Listens until interrupted, or until `--count` is reached.
pub fn run(args: HearArgs) -> anyhow::Result<Exit> {
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build()?;
    let mut hearing = Hearing { ear: Ear::default(), clock: Clock::real(), left: args.count };
    runtime.block_on(async {
        tokio::select! {
            done = hearing.listen(&args) => done.map(|()| Exit::Done),
            stopped = tokio::signal::ctrl_c() => Ok(stopped.map(|()| Exit::Done)?),
        }
    })
}

struct Hearing {
    ear: Ear,
    clock: Clock,
    left: Option<u64>,
}

impl Hearing {
    async fn listen(&mut self, args: &HearArgs) -> anyhow::Result<()> {
        match (&args.broker, &args.port) {
            (Some(url), _) => {
                let file = args.login_file.as_ref().map(|file| file.display().to_string());
                let login = Login::find(file.as_deref(), Path::new("")).map_err(|fault| Misuse(fault.to_string()))?;
                let client = format!("raisewatch-hear-{}", std::process::id());
                let options = dial::options(url, &client, login.as_ref()).map_err(|fault| Misuse(format!("{fault:#}")))?;
                if !raisewatch_protocol::topic::valid_filter(&args.topic) {
                    return Err(Misuse(format!("topic `{}`: expected a filter such as # or raisewatch/+/n1/#", args.topic)).into());
                }
                self.broker(url, options, &args.topic).await
            }
            (None, Some(port)) => self.port(port, args.baud).await,
            (None, None) => Err(Misuse("expected --broker URL or --port DEVICE".into()).into()),
        }
    }

    async fn broker(&mut self, url: &str, mut options: MqttOptions, filter: &str) -> anyhow::Result<()> {
        options.set_max_packet_size(4 * 1024 * 1024, 64 * 1024);
        let (mut pause, mut told) = (Pause::default(), String::new());
        loop {
            let (client, mut wire) = AsyncClient::new(options.clone(), 4);
            let fault = loop {
                match wire.poll().await {
                    Ok(Event::Incoming(Packet::ConnAck(_))) => client.try_subscribe(filter, QoS::AtMostOnce)?,
                    Ok(Event::Incoming(Packet::SubAck(_))) => {
                        (pause, told) = (Pause::default(), String::new());
                        eprintln!("listening to {filter} on {url}");
                    }
                    Ok(Event::Incoming(Packet::Publish(publish))) => {
                        let now_s = self.clock.now().s();
                        let lines = self.ear.publish(&publish.topic, &publish.payload, publish.retain, now_s);
                        if self.print(&lines)? {
                            return Ok(());
                        }
                    }
                    Ok(_) => {}
                    Err(fault) => break fault.to_string(),
                }
            };
            if told != fault {
                eprintln!("{url}: {fault}; trying again");
                told = fault;
            }
            pause.wait().await;
        }
    }

    async fn port(&mut self, port: &str, baud: u32) -> anyhow::Result<()> {
        let (mut pause, mut told) = (Pause::default(), String::new());
        loop {
            let fault = match serial::open(port, baud) {
                Ok(mut opened) => {
                    eprintln!("listening to {port} at {baud} baud");
                    match self.lines(&mut opened, port, baud, &mut pause).await? {
                        Some(fault) => fault,
                        None => return Ok(()),
                    }
                }
                Err(fault) => fault.to_string(),
            };
            if told != fault {
                eprintln!("{port}: {fault}; trying again");
                told = fault;
            }
            pause.wait().await;
        }
    }

    /// Prints lines until the port is gone (gives why) or all that was asked for was heard.
    async fn lines(
        &mut self,
        opened: &mut tokio_serial::SerialStream,
        port: &str,
        baud: u32,
        pause: &mut Pause,
    ) -> anyhow::Result<Option<String>> {
        let (mut bytes, mut line) = ([0; 1024], Vec::new());
        loop {
            let got = match opened.read(&mut bytes).await {
                Ok(0) => return Ok(Some("it gave no bytes: unplugged".into())),
                Ok(got) => got,
                Err(fault) => return Ok(Some(fault.to_string())),
            };
            *pause = Pause::default();
            for &byte in &bytes[..got] {
                let ends = matches!(byte, b'\r' | b'\n');
                if !ends {
                    line.push(byte);
                }
                if (ends && !line.is_empty()) || line.len() >= MAX_LINE {
                    let lines = self.ear.line(port, baud, &line, self.clock.now().s());
                    line.clear();
                    if self.print(&lines)? {
                        return Ok(None);
                    }
                }
            }
        }
    }

    /// Prints what belongs to one arrival; true when that was the last to be printed.
    fn print(&mut self, lines: &[String]) -> anyhow::Result<bool> {
        let mut out = std::io::stdout().lock();
        for line in lines {
            writeln!(out, "{line}")?;
        }
        out.flush()?;
        if let Some(left) = &mut self.left {
            *left = left.saturating_sub(1);
        }
        Ok(self.left == Some(0))
    }
}
