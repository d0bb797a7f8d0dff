//! Where readings come from: MQTT, serial ports. Each source stamps what it hears and puts it into the inlet.

pub mod dial;
pub mod login;
