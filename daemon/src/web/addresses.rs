//! The addresses under which pages are reached, and their QR codes for the terminal.

use super::doors::Doors;
use super::roles::Role;
use qrcode::render::unicode::Dense1x2;
use raisewatch_protocol::mono::Mono;
use std::net::{IpAddr, Ipv4Addr, SocketAddr};

/// Addresses of this machine on which `listen` can be reached: those of its networks first, itself last.
pub fn reachable(listen: SocketAddr) -> Vec<SocketAddr> {
    if !listen.ip().is_unspecified() {
        return vec![listen];
    }
    let found = if_addrs::get_if_addrs().unwrap_or_default();
    let mut ips: Vec<IpAddr> =
        found.iter().filter(|face| !face.is_loopback() && !face.is_link_local()).map(|face| face.ip()).filter(IpAddr::is_ipv4).collect();
    ips.sort();
    ips.dedup();
    ips.push(IpAddr::V4(Ipv4Addr::LOCALHOST));
    ips.into_iter().map(|ip| SocketAddr::new(ip, listen.port())).collect()
}

/// One page with a fresh code.
pub struct Door {
    /// `spotter`, `tower A`, `lead`, `view`.
    pub name: String,
    /// One address per network.
    pub urls: Vec<String>,
}

/// A door for each role, each with a fresh code.
pub fn doors(doors: &Doors, towers: &[String], scheme: &str, reach: &[SocketAddr], now: Mono) -> std::io::Result<Vec<Door>> {
    let mut roles = vec![Role::Spotter];
    roles.extend(towers.iter().cloned().map(Role::Tower));
    roles.extend([Role::Lead, Role::View]);
    roles.into_iter().map(|role| door(doors, role, scheme, reach, now)).collect()
}

/// A door for this role.
pub fn door(doors: &Doors, role: Role, scheme: &str, reach: &[SocketAddr], now: Mono) -> std::io::Result<Door> {
    let name = match &role {
        Role::View => "view".into(),
        Role::Spotter => "spotter".into(),
        Role::Tower(id) => format!("tower {id}"),
        Role::Lead => "lead".into(),
    };
    let code = doors.code(role, now)?;
    Ok(Door { name, urls: reach.iter().map(|at| format!("{scheme}://{at}/pair/{code}")).collect() })
}

/// A QR code of half blocks.
pub struct Qr {
    /// Where the text is dark on a light ground.
    pub dark_on_light: String,
    /// Where the text is light on a dark ground.
    pub light_on_dark: String,
}

/// The address as a QR code for a terminal.
pub fn qr(url: &str) -> Option<Qr> {
    let code = qrcode::QrCode::with_error_correction_level(url, qrcode::EcLevel::L).ok()?;
    let render = |dark, light| code.render::<Dense1x2>().dark_color(dark).light_color(light).quiet_zone(true).build();
    Some(Qr { dark_on_light: render(Dense1x2::Dark, Dense1x2::Light), light_on_dark: render(Dense1x2::Light, Dense1x2::Dark) })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_fixed_address_is_the_only_one() {
        let at: SocketAddr = "10.0.0.5:8470".parse().unwrap();
        assert_eq!(reachable(at), [at]);
        let any = reachable("0.0.0.0:8470".parse().unwrap());
        assert_eq!(any.last().unwrap().to_string(), "127.0.0.1:8470");
    }

    #[test]
    fn each_role_has_a_door_of_its_own() {
        let all = Doors::default();
        let reach = ["10.0.0.5:80".parse().unwrap(), "127.0.0.1:80".parse().unwrap()];
        let made = doors(&all, &["A".into(), "B".into()], "http", &reach, Mono(0)).unwrap();
        let names: Vec<_> = made.iter().map(|door| door.name.as_str()).collect();
        assert_eq!(names, ["spotter", "tower A", "tower B", "lead", "view"]);
        let code = made[2].urls[0].rsplit('/').next().unwrap();
        assert_eq!(all.pair(code, None, Mono(0)).unwrap().1.role, Role::Tower("B".into()));
        assert!(qr(&made[0].urls[0]).unwrap().light_on_dark.lines().count() > 10);
    }
}
