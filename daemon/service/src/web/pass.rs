//! The PIN that is set at the console, and the passes of the screens that have given it.
//!
//! Kept in memory alone, the PIN as its argon2 hash: a panel that starts anew knows none. A pass is good
//! while its screen is there, and for a while after, so that a page may be loaded again.

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

use argon2::Argon2;

/// Fewer digits are guessed within days at the rate that is let through (ours).
const DIGITS: std::ops::RangeInclusive<usize> = 6..=12;
/// Wrong PINs that are looked at within [`WINDOW`]; then none is. From everywhere together: at five a
/// minute half of all 6-digit PINs take 70 days.
const TRIES: usize = 5;
const WINDOW: Duration = Duration::from_secs(60);
/// A pass without a screen is good for so long.
const RELOAD: Duration = Duration::from_secs(10);
/// Passes at a time: the oldest without a screen goes first.
const PASSES: usize = 16;
/// Of hash, salt and pass.
const BYTES: usize = 16;

/// Why no pass is given.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum NotEntered {
    NoPin,
    Wrong,
    TooMany { wait_s: u64 },
    Failed,
}

#[derive(Clone, Default)]
pub(super) struct Passes(Arc<Mutex<State>>);

#[derive(Default)]
struct State {
    pin: Option<Hashed>,
    /// Counts the PINs that were set: what was tried against an older one gives nothing.
    set: u64,
    /// When wrong ones were given, or are being looked at.
    wrong: Vec<Instant>,
    passes: BTreeMap<String, Pass>,
}

#[derive(Clone, Copy)]
struct Hashed {
    salt: [u8; BYTES],
    hash: [u8; BYTES],
}

struct Pass {
    screens: usize,
    /// Without a screen it is good until then.
    until: Instant,
}

/// A screen that has come with a pass, for as long as it is there.
pub(super) struct Shown {
    passes: Passes,
    pass: String,
}

fn hash(pin: &str, salt: &[u8; BYTES]) -> Option<[u8; BYTES]> {
    let mut hash = [0; BYTES];
    let hashed = Argon2::default().hash_password_into(pin.as_bytes(), salt, &mut hash);
    hashed.ok().map(|()| hash)
}

/// From the system's own source.
fn random() -> Option<[u8; BYTES]> {
    let mut bytes = [0; BYTES];
    let flags = rustix::rand::GetRandomFlags::empty();
    let got = rustix::rand::getrandom(&mut bytes, flags);
    (got == Ok(BYTES)).then_some(bytes)
}

/// Takes as long wherever the two differ.
fn same(a: &[u8; BYTES], b: &[u8; BYTES]) -> bool {
    a.iter().zip(b).fold(0, |all, (a, b)| all | (a ^ b)) == 0
}

impl Passes {
    /// Whole values only: nothing is left half done by a panic under this lock. Hashing happens outside.
    fn lock(&self) -> MutexGuard<'_, State> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Takes this PIN from now on; no pass of before is good any more.
    pub fn set_pin(&self, pin: &str) -> Result<(), String> {
        if !DIGITS.contains(&pin.len()) || !pin.bytes().all(|b| b.is_ascii_digit()) {
            return Err("a PIN has 6 to 12 digits".into());
        }
        let hashed = random().and_then(|salt| {
            Some(Hashed {
                salt,
                hash: hash(pin, &salt)?,
            })
        });
        let hashed = hashed.ok_or("the system gives no random numbers")?;
        let mut state = self.lock();
        state.pin = Some(hashed);
        state.set += 1;
        state.wrong.clear();
        state.passes.clear();
        Ok(())
    }

    /// Whether one is set.
    pub fn has_pin(&self) -> bool {
        self.lock().pin.is_some()
    }

    /// No PIN, and no pass.
    pub fn remove_pin(&self) {
        let mut state = self.lock();
        state.pin = None;
        state.set += 1;
        state.passes.clear();
    }

    /// Gives a pass for the PIN. It takes some tens of milliseconds.
    pub fn enter(&self, pin: &str, now: Instant) -> Result<String, NotEntered> {
        let (hashed, set) = {
            let mut state = self.lock();
            let hashed = state.pin.ok_or(NotEntered::NoPin)?;
            state
                .wrong
                .retain(|at| now.saturating_duration_since(*at) < WINDOW);
            if state.wrong.len() >= TRIES {
                let first = state.wrong.first().copied().unwrap_or(now);
                let wait = WINDOW.saturating_sub(now.saturating_duration_since(first));
                let wait_s = wait.as_secs() + 1;
                return Err(NotEntered::TooMany { wait_s });
            }
            // It counts while it is looked at: a hundred at once are no hundred tries.
            state.wrong.push(now);
            (hashed, state.set)
        };
        // Longer than any PIN it is none, and costs nothing.
        let right = *DIGITS.end() >= pin.len()
            && same(
                &hash(pin, &hashed.salt).ok_or(NotEntered::Failed)?,
                &hashed.hash,
            );
        if !right {
            return Err(NotEntered::Wrong);
        }
        let pass: String = random()
            .ok_or(NotEntered::Failed)?
            .iter()
            .map(|b| format!("{b:02x}"))
            .collect();
        let mut state = self.lock();
        if state.set != set {
            return Err(NotEntered::Wrong);
        }
        if let Some(k) = state.wrong.iter().position(|at| *at == now) {
            state.wrong.remove(k);
        }
        state.passes.retain(|_, p| p.screens > 0 || p.until > now);
        if state.passes.len() >= PASSES {
            let idle = state.passes.iter().filter(|(_, p)| p.screens == 0);
            let oldest = idle.min_by_key(|(_, p)| p.until).map(|(k, _)| k.clone());
            match oldest {
                Some(oldest) => state.passes.remove(&oldest),
                None => return Err(NotEntered::Failed),
            };
        }
        let until = now + RELOAD;
        state
            .passes
            .insert(pass.clone(), Pass { screens: 0, until });
        Ok(pass)
    }

    /// Whether this pass is good.
    pub fn holds(&self, pass: &str, now: Instant) -> bool {
        let state = self.lock();
        let pass = state.passes.get(pass);
        pass.is_some_and(|p| p.screens > 0 || p.until > now)
    }

    /// A screen has come with it; `None`: it is not good.
    pub fn show(&self, pass: &str, now: Instant) -> Option<Shown> {
        let mut state = self.lock();
        let held = state.passes.get_mut(pass)?;
        if held.screens == 0 && held.until <= now {
            return None;
        }
        held.screens += 1;
        Some(Shown {
            passes: self.clone(),
            pass: pass.to_owned(),
        })
    }

    fn gone(&self, pass: &str, now: Instant) {
        if let Some(held) = self.lock().passes.get_mut(pass) {
            held.screens = held.screens.saturating_sub(1);
            held.until = now + RELOAD;
        }
    }
}

impl Drop for Shown {
    fn drop(&mut self) {
        self.passes.gone(&self.pass, Instant::now());
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const PIN: &str = "428613";

    fn with_pin() -> Passes {
        let passes = Passes::default();
        passes.set_pin(PIN).expect("six digits");
        passes
    }

    #[test]
    fn a_pin_has_digits_enough_and_no_other_is_taken() {
        let passes = Passes::default();
        let now = Instant::now();
        assert_eq!(passes.enter(PIN, now), Err(NotEntered::NoPin));
        for bad in [
            "",
            "12345",
            "1234567890123",
            "12345a",
            "１２３４５６",
            "123 456",
        ] {
            assert!(passes.set_pin(bad).is_err(), "{bad}");
        }
        passes.set_pin(PIN).expect("six digits");
        for wrong in ["428612", "42861", "4286133", ""] {
            assert_eq!(passes.enter(wrong, now), Err(NotEntered::Wrong), "{wrong}");
        }
        let pass = passes.enter(PIN, now).expect("the PIN");
        assert!(passes.holds(&pass, now) && !passes.holds("", now));
        let other = passes.enter(PIN, now).expect("the PIN");
        assert_ne!(pass, other, "each screen has its own");
        let again = with_pin();
        let (a, b) = (passes.lock().pin, again.lock().pin);
        assert_ne!(a.expect("set").hash, b.expect("set").hash, "salted");
    }

    #[test]
    fn after_five_wrong_ones_none_is_looked_at_for_a_minute_not_even_the_right_one() {
        let passes = with_pin();
        let now = Instant::now();
        for k in 0..5 {
            let at = now + Duration::from_secs(k);
            assert_eq!(passes.enter("000000", at), Err(NotEntered::Wrong));
        }
        let at = now + Duration::from_secs(20);
        let locked = passes.enter(PIN, at);
        assert_eq!(locked, Err(NotEntered::TooMany { wait_s: 41 }));
        let after = now + WINDOW;
        assert!(passes.enter(PIN, after).is_ok(), "the first has lapsed");
        // Right ones are not counted.
        let passes = with_pin();
        assert!((0..8).all(|_| passes.enter(PIN, now).is_ok()));
    }

    #[test]
    fn a_pass_lapses_with_its_screen_and_with_another_pin() {
        let passes = with_pin();
        let now = Instant::now();
        let pass = passes.enter(PIN, now).expect("the PIN");
        let late = now + RELOAD;
        assert!(!passes.holds(&pass, late), "no screen came with it");
        assert!(passes.show(&pass, late).is_none());
        let first = passes.show(&pass, now).expect("good");
        let second = passes.show(&pass, now).expect("good");
        let hours = now + Duration::from_secs(36_000);
        assert!(passes.holds(&pass, hours), "while a screen is there");
        drop(first);
        assert!(passes.holds(&pass, hours), "the other is there");
        drop(second);
        assert!(passes.holds(&pass, Instant::now()), "loaded again");
        assert!(!passes.holds(&pass, hours));
        let shown = passes.show(&pass, Instant::now()).expect("good");
        passes.set_pin("654321").expect("six digits");
        assert!(!passes.holds(&pass, Instant::now()));
        drop(shown);
        assert!(
            !passes.holds(&pass, Instant::now()),
            "it does not come back"
        );
        let pass = passes.enter("654321", now).expect("the PIN");
        passes.remove_pin();
        assert!(!passes.holds(&pass, now));
        assert_eq!(passes.enter("654321", now), Err(NotEntered::NoPin));
    }

    #[test]
    fn passes_are_bounded() {
        let passes = with_pin();
        let now = Instant::now();
        let all: Vec<_> = (0..PASSES as u64 + 4)
            .map(|k| {
                passes
                    .enter(PIN, now + Duration::from_millis(k))
                    .expect("the PIN")
            })
            .collect();
        assert_eq!(passes.lock().passes.len(), PASSES);
        assert!(!passes.holds(&all[0], now) && passes.holds(&all[PASSES], now));
    }
}
