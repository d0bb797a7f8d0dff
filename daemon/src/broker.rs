//! The broker inside the daemon, for a crew that has none and for rehearsals.
//!
//! It lives in threads of its own for the life of the process (the library cannot be stopped). One listener speaks
//! MQTT 3.1.1, the next port MQTT 5. It has no TLS: on a network that others share use a broker of your own.

use crate::sources::login::Login;
use anyhow::Context;
use rumqttd::{Broker, Config, ConnectionSettings, RouterConfig, ServerSettings};
use std::collections::HashMap;
use std::net::{IpAddr, Ipv4Addr, SocketAddr, TcpListener, TcpStream};
use std::time::Duration;

/// Nodes, beacons and tools of one lift; a few hundred would be a mistake or an attack.
const CONNECTIONS: usize = 100;
/// The largest packet taken. A reading is about 150 bytes, a call under 1 kB.
const LARGEST_PACKET: usize = 20 * 1024;
/// Kept per topic filter: its memory grows with this, and a reading is worthless after a second.
const SEGMENT: usize = 64 * 1024;

/// A broker that runs.
#[derive(Debug)]
pub struct OwnBroker {
    /// Where clients on this machine reach it.
    pub url: String,
    /// Where it listens for MQTT 3.1.1.
    pub listen: SocketAddr,
    /// Where it listens for MQTT 5.
    pub listen_v5: SocketAddr,
}

/// Starts the broker on `listen` (MQTT 3.1.1) and the port above it (MQTT 5), and waits until it answers.
///
/// With a login it takes only that user. Errors: a port is taken or not allowed, with its address.
pub fn start(listen: SocketAddr, login: Option<&Login>) -> anyhow::Result<OwnBroker> {
    let (listen, listen_v5) = two_free_ports(listen)?;
    let broker = Broker::new(config(listen, listen_v5, login));
    std::thread::Builder::new().name("broker".into()).spawn(move || serve(broker)).context("starting the broker's thread")?;
    for address in [listen, listen_v5] {
        wait_until_it_answers(address)?;
    }
    Ok(OwnBroker { url: format!("mqtt://{}", local(listen)), listen, listen_v5 })
}

fn serve(mut broker: Broker) {
    let ended = broker.start();
    // Sources notice by themselves that the broker is gone and say so on every page; this line says why.
    tracing::error!(?ended, "the broker inside the daemon ended");
}

/// The address under which this machine itself reaches what listens on `listen`.
fn local(listen: SocketAddr) -> SocketAddr {
    if listen.ip().is_unspecified() { SocketAddr::new(IpAddr::V4(Ipv4Addr::LOCALHOST), listen.port()) } else { listen }
}

/// Checks both ports before the library does, which would only log that it failed. Port 0 asks for any two.
fn two_free_ports(listen: SocketAddr) -> anyhow::Result<(SocketAddr, SocketAddr)> {
    let first = TcpListener::bind(listen).with_context(|| format!("own broker: cannot listen on {listen}"))?;
    let first_at = first.local_addr()?;
    let next_at = if listen.port() == 0 { listen } else { SocketAddr::new(listen.ip(), listen.port().saturating_add(1)) };
    let next = TcpListener::bind(next_at).with_context(|| format!("own broker (MQTT 5): cannot listen on {next_at}"))?;
    Ok((first_at, next.local_addr()?))
}

fn config(listen: SocketAddr, listen_v5: SocketAddr, login: Option<&Login>) -> Config {
    let auth = login.map(|login| HashMap::from([(login.user.clone(), login.password.clone())]));
    let server = |name: &str, listen| {
        let connections = ConnectionSettings {
            connection_timeout_ms: 5_000,
            max_payload_size: LARGEST_PACKET,
            max_inflight_count: 100,
            auth: auth.clone(),
            external_auth: None,
            dynamic_filters: true,
        };
        let settings = ServerSettings { name: name.to_owned(), listen, tls: None, next_connection_delay_ms: 1, connections };
        Some(HashMap::from([(name.to_owned(), settings)]))
    };
    Config {
        router: RouterConfig {
            max_connections: CONNECTIONS,
            max_outgoing_packet_count: 200,
            max_segment_size: SEGMENT,
            max_segment_count: 4,
            ..RouterConfig::default()
        },
        v4: server("mqtt-3", listen),
        v5: server("mqtt-5", listen_v5),
        ..Config::default()
    }
}

/// Waits, at most 30 s, until something takes connections at `listen`.
fn wait_until_it_answers(listen: SocketAddr) -> anyhow::Result<()> {
    let address = local(listen);
    let mut last = None;
    for _ in 0..1500 {
        match TcpStream::connect_timeout(&address, Duration::from_millis(200)) {
            Ok(_) => return Ok(()),
            Err(fault) => last = Some(fault),
        }
        std::thread::sleep(Duration::from_millis(20));
    }
    Err(anyhow::anyhow!("own broker: nothing answers on {address} after 30 s: {last:?}"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_taken_port_is_named() {
        let taken = TcpListener::bind("127.0.0.1:0").unwrap();
        let at = taken.local_addr().unwrap();
        let fault = format!("{:#}", start(at, None).unwrap_err());
        assert!(fault.contains(&at.to_string()), "{fault}");
    }

    #[test]
    fn clients_of_this_machine_get_an_address_that_can_be_dialled() {
        assert_eq!(local("0.0.0.0:1883".parse().unwrap()).to_string(), "127.0.0.1:1883");
        assert_eq!(local("[::]:1883".parse().unwrap()).to_string(), "127.0.0.1:1883");
        assert_eq!(local("10.1.2.3:9".parse().unwrap()).to_string(), "10.1.2.3:9");
    }
}
