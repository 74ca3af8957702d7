//! A 12-bit converter on SPI: eight channels, read by four bytes. After a start bit, single-ended and the
//! channel's number the converter answers with a zero and twelve bits, highest first; while the clock goes
//! on it gives the same bits once more, lowest first, which shows whether anything disturbed the wire.

use embedded_hal::spi::SpiDevice;
use linux_embedded_hal::SpidevDevice;
use linux_embedded_hal::spidev::{SpiModeFlags, SpidevOptions};

use super::Converter;
use crate::config::VoltsConfig;

/// Slow enough for the converter at 2.7 V and for a cable of a hand's length (data sheets of such
/// converters, from memory).
const CLOCK_HZ: u32 = 1_000_000;

pub struct Spi12<S> {
    bus: S,
    channel: u8,
}

/// # Errors
/// The device cannot be opened or set up.
pub fn open(config: &VoltsConfig) -> Result<Spi12<SpidevDevice>, String> {
    let mut bus = SpidevDevice::open(&config.device).map_err(|e| e.to_string())?;
    let options = SpidevOptions::new()
        .bits_per_word(8)
        .max_speed_hz(CLOCK_HZ)
        .mode(SpiModeFlags::SPI_MODE_0)
        .build();
    bus.configure(&options).map_err(|e| e.to_string())?;
    Ok(Spi12::new(bus, config.channel))
}

impl<S> Spi12<S> {
    pub fn new(bus: S, channel: u8) -> Self {
        Self { bus, channel }
    }
}

impl<S: SpiDevice + Send> Converter for Spi12<S> {
    fn poll(&mut self) -> Result<Option<i32>, String> {
        let asked = 0b11 << 30 | u32::from(self.channel & 0b111) << 27;
        let mut bytes = asked.to_be_bytes();
        let sent = self.bus.transfer_in_place(&mut bytes);
        sent.map_err(|e| format!("the transfer failed: {e:?}"))?;
        let answer = u32::from_be_bytes(bytes);
        if answer >> 25 & 1 != 0 {
            return Err("does not answer: its line stands high".into());
        }
        let counts = answer >> 13 & 0xFFF;
        // The lowest bit is not given twice.
        let again = (answer >> 2 & 0x7FF).reverse_bits() >> 21;
        if again != counts >> 1 {
            return Err(format!(
                "gave {counts:#05x}, and with its bits turned round another: its wires are disturbed, or \
                 this is another converter"
            ));
        }
        Ok(i32::try_from(counts).ok())
    }
}
