//! The good files and every change of them. After a change of words, correct the line here by hand.

mod hung;
mod kits;
mod rig;

pub use hung::HUNG;
pub use kits::KITS;
pub use rig::RIG;

/// A plan with nothing wrong.
pub const PLAN: &str = r#"title = "Demo"
site = "demo"
working-height = "1.2 m"
trim-height = "5.0 m"
pace = "25 mm/s"

[[piece]]
id = "front"
from = ["0 m", "0 m"]
to = ["8 m", "0 m"]
weight = "8.5 kg/m"

[[tower]]
id = "A"
at = "1 m"
rated = "500 lb"
least = "15 lb"
per-turn = "25 mm"

[[tower]]
id = "B"
at = "7 m"
rated = "500 lb"
least = "15 lb"
per-turn = "25 mm"

[[load]]
name = "wash"
weight = "10.4 kg"
at = ["0.4 m", "7.6 m"]

[[cable]]
name = "multicore"
weight = "7.7 kg"
from = "0 m"
to = "8 m"
"#;

/// A kit with nothing wrong, for it.
pub const KIT: &str = r#"[[node]]
id = "n1"
tower = "A"
over = "mqtt"

[node.channel.truss-along]
at = "1 m"

[node.channel.head-load]
unit = "N"

[[node]]
id = "n2"
tower = "B"
over = "xdr"
port = "/dev/ttyUSB0"

[node.channel.truss-along]
at = "7 m"
"#;
