//! A 16-bit converter on I2C with an amplifier and a reference of its own. Each reading is asked for with
//! all its settings: one that was reset in between by a dip of its supply reads right again with the next.

use ads1x1x::{
    Ads1x1x, DataRate16Bit, FullScaleRange, TargetAddr, channel, ic, ic::Resolution16Bit, mode,
};
use embedded_hal::i2c::I2c;
use linux_embedded_hal::I2cdev;

use super::Converter;
use crate::config::VoltsConfig;

pub struct I2c16<I> {
    chip: Ads1x1x<I, ic::Ads1115, Resolution16Bit, mode::OneShot>,
    channel: u8,
    range: FullScaleRange,
    /// It has been told its range and rate.
    set_up: bool,
    /// What it gives next may belong to a conversion of before an error.
    doubtful: bool,
}

/// The ranges of the converter's amplifier, V.
pub const RANGES: [(f64, FullScaleRange); 5] = [
    (6.144, FullScaleRange::Within6_144V),
    (4.096, FullScaleRange::Within4_096V),
    (2.048, FullScaleRange::Within2_048V),
    (1.024, FullScaleRange::Within1_024V),
    (0.512, FullScaleRange::Within0_512V),
];

/// # Errors
/// The device cannot be opened, or the settings are none of the converter's.
pub fn open(config: &VoltsConfig) -> Result<I2c16<I2cdev>, String> {
    let bus = I2cdev::new(&config.device).map_err(|e| e.to_string())?;
    I2c16::new(bus, config)
}

impl<I: I2c> I2c16<I> {
    /// # Errors
    /// The settings are none of the converter's.
    pub fn new(bus: I, config: &VoltsConfig) -> Result<Self, String> {
        let address = match config.address {
            0x48 => TargetAddr::Gnd,
            0x49 => TargetAddr::Vdd,
            0x4A => TargetAddr::Sda,
            0x4B => TargetAddr::Scl,
            other => return Err(format!("has no address {other:#04x}")),
        };
        let range = RANGES.iter().find(|(v, _)| *v == config.full_scale_v);
        let (_, range) = range.ok_or("has no such range")?;
        Ok(Self {
            chip: Ads1x1x::new_ads1115(bus, address),
            channel: config.channel,
            range: *range,
            set_up: false,
            doubtful: true,
        })
    }

    fn try_poll(&mut self) -> nb::Result<i16, ads1x1x::Error<I::Error>> {
        if !self.set_up {
            let chip = &mut self.chip;
            chip.set_full_scale_range(self.range)?;
            chip.set_data_rate(DataRate16Bit::Sps860)?;
            self.set_up = true;
        }
        match self.channel {
            0 => self.chip.read(channel::SingleA0),
            1 => self.chip.read(channel::SingleA1),
            2 => self.chip.read(channel::SingleA2),
            _ => self.chip.read(channel::SingleA3),
        }
    }
}

impl<I: I2c + Send> Converter for I2c16<I> {
    fn poll(&mut self) -> Result<Option<i32>, String> {
        match self.try_poll() {
            Ok(_) if self.doubtful => {
                self.doubtful = false;
                Ok(None)
            }
            Ok(counts) => Ok(Some(i32::from(counts))),
            Err(nb::Error::WouldBlock) => Ok(None),
            Err(nb::Error::Other(e)) => {
                (self.set_up, self.doubtful) = (false, true);
                Err(format!("does not answer: {e:?}"))
            }
        }
    }
}
