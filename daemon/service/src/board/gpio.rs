//! The board's own pins. Compiled everywhere, of use on a board with such pins alone; not yet
//! tried on one.

use std::time::Duration;

use rppal::gpio::{Error, Gpio, InputPin, OutputPin, Trigger};

use super::Lines;
use crate::config::PinsConfig;
use crate::pins::PinsError;

/// Whether this is a board with pins. Maps their registers and takes none.
pub fn look() -> Result<String, PinsError> {
    Gpio::new().map_err(|e| no_board(&e))?;
    Ok("this board has pins".into())
}

/// The pins of one machine file.
pub struct BoardLines {
    gpio: Gpio,
    inputs: Vec<InputPin>,
    permit: OutputPin,
}

impl BoardLines {
    /// Takes the pins: the permit low first of all.
    pub fn open(config: &PinsConfig) -> Result<Self, PinsError> {
        let gpio = Gpio::new().map_err(|e| no_board(&e))?;
        let number = config.permit.ok_or_else(|| PinsError {
            says: "the machine file names no pin for the permit".into(),
            remedy: "Set pins.permit".into(),
        })?;
        let permit = gpio
            .get(number)
            .map_err(|e| bad_pin("permit", number, &e))?
            .into_output_low();
        let mut inputs = Vec::with_capacity(config.inputs.len());
        for input in &config.inputs {
            let wrong = |e: Error| bad_pin(&input.signal, input.pin, &e);
            let pin = gpio.get(input.pin).map_err(wrong)?;
            let mut pin = match input.pull.as_str() {
                "up" => pin.into_input_pullup(),
                "down" => pin.into_input_pulldown(),
                _ => pin.into_input(),
            };
            // Synchronous: the waiting is done by the one thread that reads. An asynchronous
            // interrupt may end in silence.
            pin.set_interrupt(Trigger::Both, None).map_err(wrong)?;
            inputs.push(pin);
        }
        Ok(Self {
            gpio,
            inputs,
            permit,
        })
    }
}

impl Lines for BoardLines {
    fn levels(&mut self, high: &mut Vec<bool>) -> Result<(), PinsError> {
        high.clear();
        high.extend(self.inputs.iter().map(InputPin::is_high));
        Ok(())
    }

    fn wait_edge(&mut self, span: Duration) -> Result<(), PinsError> {
        let pins: Vec<&InputPin> = self.inputs.iter().collect();
        // Edges seen before are kept (no reset): one that fell between reading and waiting ends
        // the wait at once.
        match self.gpio.poll_interrupts(&pins, false, Some(span)) {
            Ok(_) => Ok(()),
            Err(e) => Err(PinsError {
                says: format!("the pins cannot be waited on: {e}"),
                remedy: "The panel takes this as an emergency stop: see to the board, then start \
                         the panel again"
                    .into(),
            }),
        }
    }

    fn set_permit(&mut self, high: bool) -> Result<(), PinsError> {
        if high {
            self.permit.set_high();
        } else {
            self.permit.set_low();
        }
        Ok(())
    }
}

fn no_board(e: &Error) -> PinsError {
    match e {
        Error::UnknownModel => PinsError {
            says: "this is not a board with the pins that the machine file's backend \"board\" \
                   drives"
                .into(),
            remedy: "Use `standclear practice` here, or run the panel on a board with such pins"
                .into(),
        },
        Error::PermissionDenied(what) => PinsError {
            says: format!("the pins may not be used: {what}"),
            remedy: "Add this user to the group gpio and log in again, and install the udev rules \
                     of this project"
                .into(),
        },
        other => PinsError {
            says: format!("the pins cannot be used: {other}"),
            remedy: "See to the board; `standclear check --config FILE` looks again".into(),
        },
    }
}

fn bad_pin(signal: &str, number: u8, e: &Error) -> PinsError {
    PinsError {
        says: format!("pin {number} for {signal} cannot be had: {e}"),
        remedy: "End whatever else uses it, or wire the signal to another pin and name that".into(),
    }
}
