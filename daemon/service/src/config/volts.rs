//! `[volts]`: the converter that the arc volts are read by.

use std::path::PathBuf;

use process::VoltsScale;
use serde::Deserialize;

/// Which kind of converter.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
pub enum ConverterKind {
    /// Eight channels, a reference beside it, four bytes a reading with its bits given twice.
    #[serde(rename = "spi-12-bit")]
    Spi12Bit,
    /// Four channels, a reference and an amplifier of its own, 860 conversions a second.
    #[serde(rename = "i2c-16-bit")]
    I2c16Bit,
}

/// The converter and how its input stands to the arc.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct VoltsConfig {
    /// Which kind.
    pub converter: ConverterKind,
    /// The kernel's device, such as `/dev/spidev0.0` or `/dev/i2c-1`.
    pub device: PathBuf,
    /// With I2C: its address on the bus.
    #[serde(default = "address")]
    pub address: u16,
    /// Its channel, against ground.
    #[serde(default)]
    pub channel: u8,
    /// V at the converter's input at its highest count: with SPI that of its reference, with I2C one of
    /// the amplifier's ranges.
    pub full_scale_v: f64,
    /// V at the converter's input while the torch is dead.
    #[serde(default)]
    pub offset_v: f64,
    /// V at the converter's input below which its wire is off; left out: that cannot be told.
    pub wire_off_below_v: Option<f64>,
}

fn address() -> u16 {
    0x48
}

/// Up to here arc volts must be readable: what a new arc may have at most, V (process handbook, invented).
const READS_TO_V: f64 = 250.0;
/// A loose wire must read as a torch that is not dead: so far from nothing, V (process handbook: 5).
const LOOSE_READS_V: f64 = 5.0;

/// The ranges of the I2C converter's amplifier, V.
const RANGES_V: [f64; 5] = [6.144, 4.096, 2.048, 1.024, 0.512];

/// Key, what is wrong with its value, what to do.
pub type WrongVolts = (&'static str, String, String);

impl VoltsConfig {
    /// How counts become arc volts.
    #[must_use]
    pub fn scale(&self, divider: f64) -> VoltsScale {
        let counts = match self.converter {
            ConverterKind::Spi12Bit => 4096.0,
            ConverterKind::I2c16Bit => 32768.0,
        };
        VoltsScale {
            volts_per_count: self.full_scale_v / counts,
            offset_v: self.offset_v,
            divider,
            wire_off_below_v: self.wire_off_below_v,
        }
    }

    /// The first thing that is wrong.
    ///
    /// # Errors
    /// Key, value and what to do.
    pub fn check(&self, divider: f64) -> Result<(), WrongVolts> {
        let wrong = |key, says: String, remedy: String| Err((key, says, remedy));
        let spi = self.converter == ConverterKind::Spi12Bit;
        let channels = if spi { 8 } else { 4 };
        if self.device.as_os_str().is_empty() {
            let remedy = "Name the converter's device, such as /dev/spidev0.0 or /dev/i2c-1";
            return wrong("volts.device", "is empty".into(), remedy.into());
        }
        if self.channel >= channels {
            return wrong(
                "volts.channel",
                format!("is {}: this converter has {channels}", self.channel),
                format!("Give 0 to {}", channels - 1),
            );
        }
        if !spi && !(0x48..=0x4B).contains(&self.address) {
            return wrong(
                "volts.address",
                format!("is {:#04x}", self.address),
                "Give 0x48 to 0x4b, as the converter's address pin is wired".into(),
            );
        }
        let full = self.full_scale_v;
        if spi && !(1.0..=5.5).contains(&full) {
            return wrong(
                "volts.full_scale_v",
                format!("is {full} V, outside 1 to 5.5 V"),
                "Give the voltage of the converter's reference".into(),
            );
        }
        if !spi && !RANGES_V.contains(&full) {
            return wrong(
                "volts.full_scale_v",
                format!("is {full} V, which is no range of the converter"),
                "Give 6.144, 4.096, 2.048, 1.024 or 0.512".into(),
            );
        }
        if !(self.offset_v >= 0.0 && self.offset_v < full) {
            return wrong(
                "volts.offset_v",
                format!("is {} V, outside 0 to {full} V", self.offset_v),
                "Give what the input stands at with the torch dead".into(),
            );
        }
        let reads_to = (full - self.offset_v) * divider;
        if reads_to < READS_TO_V {
            return wrong(
                "volts.full_scale_v",
                format!(
                    "lets no more than {reads_to:.0} arc volts be read with source.divider = {divider}; \
                     a new arc may have {READS_TO_V:.0}"
                ),
                "Divide the arc volts further, or take a wider range".into(),
            );
        }
        let Some(off) = self.wire_off_below_v else {
            return Ok(());
        };
        let reads = (self.offset_v - off) * divider;
        if !(off > 0.0 && reads >= LOOSE_READS_V) {
            return wrong(
                "volts.wire_off_below_v",
                format!(
                    "is {off} V: a loose wire must read {LOOSE_READS_V:.0} arc volts or more below \
                     volts.offset_v, and the level above nothing"
                ),
                format!(
                    "Give more than 0 and at most {:.3}, or leave it out",
                    self.offset_v - LOOSE_READS_V / divider
                ),
            );
        }
        Ok(())
    }
}
