//! Where readings come from: MQTT, serial ports. Each source stamps what it hears and puts it into the inlet.

pub mod dial;
pub mod login;
pub mod mqtt;
pub mod pause;
pub mod serial;

use crate::inlet::Inlet;
use login::Login;
use raisewatch_protocol::kit::Kit;
use tokio::task::JoinSet;

/// Starts all sources of this kit: the broker, where there is one to dial, and each serial port.
///
/// Errors: a broker's address that is none. A broker or port that is away is none: it is told, and tried again.
pub fn start(
    kit: &Kit,
    site: &str,
    broker: Option<&str>,
    login: Option<&Login>,
    inlet: &Inlet,
    tasks: &mut JoinSet<()>,
) -> anyhow::Result<()> {
    if let Some(url) = broker {
        let client = format!("raisewatch-{site}-in-{}", std::process::id());
        let source = mqtt::MqttSource { options: dial::options(url, &client, login)?, site: site.to_owned(), said: kit.said };
        let inlet = inlet.clone();
        tasks.spawn(async move {
            source.run(inlet).await;
        });
    }
    for port in serial::of_kit(kit) {
        let inlet = inlet.clone();
        tasks.spawn(async move {
            port.run(inlet).await;
        });
    }
    Ok(())
}
