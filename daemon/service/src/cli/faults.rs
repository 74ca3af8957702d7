//! What `--fault` understands: `KIND@CUT[:MM]`, `wire=NAME` and `noise=RATE`.

use std::str::FromStr;

use simulator::harness::{FaultKind, FaultSpec, Input, WireFault};

/// For `--help`.
pub const HELP: &str = "Let something go wrong; may be repeated.

KIND@CUT[:MM]  at cut CUT (from 1), MM along its path; without MM at its pierce or touch-off.
               KIND: arc-lost, no-arc, arc-stuck, contact-stuck, no-contact, estop, link-cut,
               controller-reset, air-low, tip-over, and (headless) panel-killed: the panel's
               process is killed there and started again
wire=NAME      from the start on something is wrong with the wires of the table, which is then not on record
               as commissioned: INPUT:open, INPUT:closed, INPUT:inverted, INPUT:bouncing, INPUT:INPUT
               (crossed), k1-welded, k2-welded, k3-stuck, start-open, volts-inverted, volts-open,
               volts-ratio. INPUT: fire_on, arc_ok, contact, estop, hold_button, air_ok, torch_seated,
               permit_closed, sense_isolated
noise=RATE     chance that a bit on the wire is turned over, such as 1e-5";

/// Most of a wire's bits may not be wrong: nothing would get through, and nothing be learnt.
const MOST_NOISE: f64 = 0.01;

/// One `--fault`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum FaultArg {
    /// Something goes wrong at a place.
    At(FaultSpec),
    /// Something is wrong with the wires.
    Wire(WireFault),
    /// Bits on the wire are turned over at this rate (0 to 0.01).
    Noise(f64),
}

impl FromStr for FaultArg {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        if let Some(rate) = text.strip_prefix("noise=") {
            return match rate.parse::<f64>() {
                Ok(rate) if (0.0..=MOST_NOISE).contains(&rate) => Ok(Self::Noise(rate)),
                _ => Err(format!(
                    "noise={rate}: a rate from 0 to {MOST_NOISE} is wanted"
                )),
            };
        }
        if let Some(name) = text.strip_prefix("wire=") {
            return WireFault::named(name).map(Self::Wire).ok_or_else(|| {
                let inputs = Input::ALL.map(Input::name).join(", ");
                format!(
                    "wire={name}: there is no such fault. INPUT:open, :closed, :inverted, :bouncing or :INPUT \
                     (crossed) of {inputs}; or k1-welded, k2-welded, k3-stuck, start-open, volts-inverted, \
                     volts-open, volts-ratio"
                )
            });
        }
        let (name, place) = match text.split_once('@') {
            Some((name, place)) => (name, Some(place)),
            None => (text, None),
        };
        let kind = FaultKind::ALL
            .into_iter()
            .find(|kind| kind.name() == name)
            .ok_or_else(|| format!("there is no kind {name:?}: the kinds are {}", names()))?;
        let place = place.ok_or_else(|| format!("say where: {name}@CUT or {name}@CUT:MM"))?;
        let (cut, mm) = at(place)?;
        Ok(Self::At(FaultSpec { kind, cut, mm }))
    }
}

fn names() -> String {
    let mut all = FaultKind::ALL.map(FaultKind::name).to_vec();
    all.push("wire=NAME");
    all.push("noise=RATE");
    all.join(", ")
}

fn at(place: &str) -> Result<(usize, Option<f64>), String> {
    let (cut, mm) = match place.split_once(':') {
        Some((cut, mm)) => (cut, Some(mm)),
        None => (place, None),
    };
    let cut = match cut.parse::<usize>() {
        Ok(n) if n >= 1 => n,
        _ => return Err(format!("{cut:?} is no cut: they are counted from 1")),
    };
    let Some(mm) = mm else {
        return Ok((cut, None));
    };
    match mm.parse::<f64>() {
        Ok(mm) if mm >= 0.0 && mm.is_finite() => Ok((cut, Some(mm))),
        _ => Err(format!(
            "{mm:?} is no place along a cut: give mm from its pierce"
        )),
    }
}
