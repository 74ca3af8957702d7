//! Pins by the processor's registers (`rppal`), on the boards that it knows. Compiled everywhere, of use
//! on such a board alone; not yet tried on one.
//!
//! Its wait cannot be woken and counts whole milliseconds, and the kernel gives nothing back of what
//! registers were set to: a process that is killed leaves the permit's pin as it was driven last.

use std::time::Duration;

use control::Output;
use rppal::gpio::{Error, Gpio, InputPin, OutputPin, Trigger};

use super::character::Numbers;
use super::{Edge, Lines, SLICE};
use crate::config::PinsConfig;
use crate::outputs::OutputLines;
use crate::pins::{Clock as _, Monotonic, PinsError};

/// Whether this is a board with pins. Maps their registers and takes none.
pub fn look() -> Result<String, PinsError> {
    Gpio::new().map_err(|e| no_board(&e))?;
    Ok("this board's processor has registers that rppal knows".into())
}

/// The pins of one machine file.
pub struct BoardLines {
    gpio: Gpio,
    inputs: Vec<InputPin>,
    permit: OutputPin,
    clock: Monotonic,
    /// The kernel counts the edges of each pin, those too that found its queue full.
    numbers: Numbers,
}

impl BoardLines {
    /// Takes the pins: the permit low first of all.
    pub fn open(config: &PinsConfig, clock: Monotonic) -> Result<Self, PinsError> {
        let gpio = Gpio::new().map_err(|e| no_board(&e))?;
        let number = config.permit.ok_or_else(|| PinsError {
            says: "the machine file names no pin for the permit".into(),
            remedy: "Set pins.permit".into(),
        })?;
        let mut permit = gpio
            .get(small(number))
            .map_err(|e| bad_pin("permit", number, &e))?
            .into_output_low();
        // At the end it stays an output that is low: an input would hang in the air.
        permit.set_reset_on_drop(false);
        let mut inputs = Vec::with_capacity(config.inputs.len());
        for input in &config.inputs {
            let wrong = |e: Error| bad_pin(&input.signal, input.pin, &e);
            let pin = gpio.get(small(input.pin)).map_err(wrong)?;
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
            numbers: Numbers::new(inputs.len()),
            inputs,
            permit,
            clock,
        })
    }
}

impl Lines for BoardLines {
    fn levels(&mut self, high: &mut Vec<bool>) -> Result<(), PinsError> {
        high.clear();
        high.extend(self.inputs.iter().map(InputPin::is_high));
        Ok(())
    }

    fn wait_edges(&mut self, span: Duration, edges: &mut Vec<Edge>) -> Result<(), PinsError> {
        let pins: Vec<&InputPin> = self.inputs.iter().collect();
        // Edges seen before are kept (no reset): one that fell between reading and waiting ends
        // the wait at once, and one that has come and gone is still given.
        let seen = self
            .gpio
            .poll_interrupts(&pins, false, Some(whole_ms(span)))
            .map_err(|e| PinsError {
                says: format!("the pins cannot be waited on: {e}"),
                remedy: "The panel takes this as an emergency stop: see to the board, then start \
                         the panel again"
                    .into(),
            })?;
        let Some((pin, event)) = seen else {
            return Ok(());
        };
        if let Some(input) = self.inputs.iter().position(|i| i.pin() == pin.pin()) {
            let ns = u64::try_from(event.timestamp.as_nanos()).unwrap_or(u64::MAX);
            edges.push(Edge {
                input,
                high: event.trigger == Trigger::RisingEdge,
                // Kernels before 5.7 stamp by another clock, which is far ahead of this one.
                at: Some(self.clock.of_kernel(ns)).filter(|at| *at <= self.clock.now()),
                lost: self.numbers.lost_before(input, event.seqno),
            });
        }
        Ok(())
    }

    fn longest_wait(&self) -> Duration {
        SLICE
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

impl Drop for BoardLines {
    fn drop(&mut self) {
        self.permit.set_low();
    }
}

/// The pins of the optional outputs.
pub struct OutputRegisters(Vec<(Output, OutputPin)>);

impl OutputRegisters {
    /// Takes them, low.
    pub fn open(config: &PinsConfig) -> Result<Self, PinsError> {
        let gpio = Gpio::new().map_err(|e| no_board(&e))?;
        let mut all = Vec::with_capacity(config.outputs.len());
        for &(output, number) in &config.outputs {
            let pin = gpio.get(small(number));
            let pin = pin.map_err(|e| bad_pin(output.name(), number, &e))?;
            let mut pin = pin.into_output_low();
            // As the permit's: at the end it stays an output that is low.
            pin.set_reset_on_drop(false);
            all.push((output, pin));
        }
        Ok(Self(all))
    }
}

impl OutputLines for OutputRegisters {
    fn drive(&mut self, output: Output, on: bool) -> Result<(), String> {
        for (_, pin) in self.0.iter_mut().filter(|(of, _)| *of == output) {
            if on {
                pin.set_high();
            } else {
                pin.set_low();
            }
        }
        Ok(())
    }
}

impl Drop for OutputRegisters {
    fn drop(&mut self) {
        for (_, pin) in &mut self.0 {
            pin.set_low();
        }
    }
}

/// The machine file is refused with a number that is too great for these boards.
fn small(number: u32) -> u8 {
    u8::try_from(number).unwrap_or(u8::MAX)
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
            says: "pins.backend = \"rppal\": this is not a board whose registers it knows".into(),
            remedy: "Set pins.backend = \"character-device\", which any Linux board has, or use \
                     `standclear practice` here"
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

fn bad_pin(signal: &str, number: u32, e: &Error) -> PinsError {
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
