//! Where readings come from: MQTT, serial ports. Each source stamps what it hears and puts it into the inlet.

pub mod dial;
pub mod login;
pub mod mqtt;
pub mod pause;
pub mod serial;
