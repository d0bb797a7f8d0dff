//! `raisewatch watch`: watches a raise from real readings.

use crate::clock::Clock;
use crate::judge::Judge;
use crate::live::{Asked, Setup};
use crate::load::{Lift, kit_alone, load};
use crate::no_plan::NoPlan;
use crate::sinks::lines::Look;
use crate::sources::dial;
use crate::sources::login::Login;
use crate::{Exit, Misuse, broker};
use raisewatch_protocol::kit::Transport;
use raisewatch_protocol::topic::site_name;
use raisewatch_watch::watch::Watch;
use std::net::SocketAddr;
use std::path::{Path, PathBuf};

/// Arguments.
#[derive(Debug, clap::Args)]
pub struct WatchArgs {
    /// The plan file; without one nothing is judged, and what comes is recorded
    pub plan: Option<PathBuf>,
    /// The kit file
    #[arg(long)]
    pub kit: PathBuf,
    /// Without a plan: the site under which nodes speak over MQTT
    #[arg(long, value_name = "NAME", conflicts_with = "plan", default_value = NO_SITE, value_parser = site)]
    pub site: String,
    /// The broker, such as mqtt://10.0.0.5:1883; in place of the kit's. User and password come from RAISEWATCH_MQTT_USER and
    /// RAISEWATCH_MQTT_PASSWORD or from the kit's login-file
    #[arg(long, value_name = "URL", conflicts_with = "own_broker")]
    pub broker: Option<String>,
    /// Be the broker: MQTT 3.1.1 at this address, MQTT 5 at the port above it
    #[arg(long, value_name = "ADDRESS", num_args = 0..=1, default_missing_value = "0.0.0.0:1883")]
    pub own_broker: Option<SocketAddr>,
    /// Where the pages are served [default: 0.0.0.0:8470]
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
    /// Record nothing
    #[arg(long)]
    pub no_record: bool,
    /// How findings and calls are printed
    #[arg(long, value_enum, default_value_t)]
    pub lines: Look,
}

/// What a site is called where nothing names it.
const NO_SITE: &str = "no-plan";

fn site(name: &str) -> Result<String, String> {
    if site_name(name) { Ok(name.to_owned()) } else { Err("expected one level of a topic, without / + #".into()) }
}

/// Watches until it is stopped (Ctrl-C or SIGTERM).
pub fn run(args: WatchArgs) -> anyhow::Result<Exit> {
    match &args.plan {
        Some(plan) => {
            let lift = load(plan, &args.kit)?;
            let watch = Watch::new(&lift.plan, &lift.kit, lift.phrases.clone()).map_err(|fault| Misuse(fault.to_string()))?;
            watch_lift(args, lift.into(), watch)
        }
        None => {
            let lift = kit_alone(&args.kit, &args.site)?;
            let judge = NoPlan::new(&lift.kit, lift.phrases.clone());
            watch_lift(args, lift, judge)
        }
    }
}

fn watch_lift<J: Judge + 'static>(args: WatchArgs, lift: Lift, judge: J) -> anyhow::Result<Exit> {
    if let Some(url) = args.broker.as_deref().or(lift.kit.broker.as_deref()) {
        // A password in the address is refused here, before anything is started or printed.
        dial::options(url, "check", None).map_err(|fault| Misuse(format!("{fault:#}")))?;
    }
    let login = Login::find(lift.kit.login_file.as_deref(), args.kit.parent().unwrap_or(Path::new("")))
        .map_err(|fault| Misuse(format!("{fault:#}")))?;
    let dial = address(&args, &lift.kit, login.as_ref())?;
    let unplanned = lift.plan.is_none();
    let setup = Setup {
        lift,
        broker: dial,
        login,
        listen: args.listen,
        open: args.open,
        tls: args.tls,
        record: (!args.no_record).then_some(args.record),
        look: args.lines,
        clock: Clock::real(),
        rehearsal: false,
    };
    let runtime = tokio::runtime::Runtime::new()?;
    let exit = runtime.block_on(async {
        let mut asked = Asked::new()?;
        let live = setup.start(judge).await?;
        live.terminal.print("raisewatch advises only: no safety function, no control of any winch.");
        if unplanned {
            live.terminal.print(&format!("No plan. Recording only: nothing is judged. Nodes speak under raisewatch/{}/.", args.site));
        }
        live.terminal.show();
        asked.stop().await;
        Ok(live.finish().await)
    });
    // Reading standard input cannot be called off; it must not hold the end up.
    runtime.shutdown_background();
    exit
}

/// The broker to dial, started first where it is our own; `None` where no node speaks MQTT and none is named.
fn address(args: &WatchArgs, kit: &raisewatch_protocol::kit::Kit, login: Option<&Login>) -> anyhow::Result<Option<String>> {
    if let Some(url) = &args.broker {
        return Ok(Some(url.clone()));
    }
    let own = args.own_broker.or_else(|| kit.own_broker.then(|| SocketAddr::from(([0, 0, 0, 0], 1883))));
    if let Some(at) = own {
        let broker = broker::start(at, login)?;
        tracing::info!(mqtt_3 = %broker.listen, mqtt_5 = %broker.listen_v5, login = login.is_some(), "the broker inside listens");
        return Ok(Some(broker.url));
    }
    let speaks_mqtt = kit.nodes.iter().any(|node| node.over == Transport::Mqtt);
    match &kit.broker {
        Some(url) => Ok(Some(url.clone())),
        None if speaks_mqtt => Err(Misuse(format!(
            "{}: nodes speak MQTT, but no broker is named: expected `broker = \"mqtt://host:port\"` or `own-broker = true` there, or --broker or --own-broker here",
            args.kit.display()
        ))
        .into()),
        None => Ok(None),
    }
}
