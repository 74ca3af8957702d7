//! The board's own pins. Compiled everywhere, of use on a board with such pins alone; not yet
//! tried on one.

use std::time::Duration;

use rppal::gpio::{Error, Gpio, InputPin, OutputPin, Trigger};

use super::{Edge, Lines};
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
    /// The kernel's count of edges at each input, as of the last that was given.
    seen: Vec<u32>,
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
            seen: vec![0; inputs.len()],
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

    fn wait_edge(&mut self, span: Duration) -> Result<Option<Edge>, PinsError> {
        let pins: Vec<&InputPin> = self.inputs.iter().collect();
        // Edges seen before are kept (no reset): one that fell between reading and waiting ends
        // the wait at once, and one that has come and gone is still given.
        match self
            .gpio
            .poll_interrupts(&pins, false, Some(whole_ms(span)))
        {
            Ok(seen) => Ok(seen.and_then(|(pin, event)| {
                let input = self.inputs.iter().position(|i| i.pin() == pin.pin())?;
                Some(Edge {
                    input,
                    high: event.trigger == Trigger::RisingEdge,
                    // The kernel counts the edges of each pin, those that found its queue full too.
                    missed: self.seen.get_mut(input).is_none_or(|last| {
                        let before = std::mem::replace(last, event.seqno);
                        event.seqno != before.wrapping_add(1)
                    }),
                })
            })),
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

/// The backend waits for whole milliseconds and leaves out what is less: a wait of 0.7 ms would be
/// none, again and again until its moment comes. So it is rounded up, and up to 1 ms late.
fn whole_ms(span: Duration) -> Duration {
    let ms = span.as_nanos().div_ceil(1_000_000);
    Duration::from_millis(u64::try_from(ms).unwrap_or(u64::MAX))
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_wait_for_part_of_a_millisecond_is_a_wait() {
        let ms = |us| whole_ms(Duration::from_micros(us)).as_millis();
        assert_eq!(
            [ms(0), ms(1), ms(700), ms(1000), ms(1001), ms(2000)],
            [0, 1, 1, 1, 2, 2]
        );
    }
}
