//! The seal: proof that a job was vetted, bound to everything that decides what happens.

use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

use crate::report::{Acceptance, Finding, Report, Severity, Verdict};

/// Proof that a job was vetted and that every warning was accepted.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Seal(String);

impl Seal {
    /// The hash, as lower case hex.
    #[must_use]
    pub fn hash(&self) -> &str {
        &self.0
    }
}

/// Why no seal was given.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum NoSeal {
    /// A finding refuses.
    #[error("refused by {rule}: {says}")]
    Refused {
        /// The rule.
        rule: String,
        /// What it says.
        says: String,
    },
    /// A warning is not accepted yet.
    #[error("the warning {rule} is not accepted yet: {says}")]
    NotAccepted {
        /// The rule.
        rule: String,
        /// What it says.
        says: String,
    },
}

/// Seals a vetted job: binds every part that decides what happens, the report and the acceptances.
///
/// Each warning needs an acceptance that names its rule and its place in the report, with a reason
/// that is not blank. Everything is hashed with its length in front, so that nothing can slide from
/// one part into the next.
///
/// # Errors
/// [`NoSeal`] when a finding refuses or a warning is not accepted.
pub fn seal(report: &Report, acceptances: &[Acceptance], parts: &[&[u8]]) -> Result<Seal, NoSeal> {
    let refused = report
        .findings
        .iter()
        .find(|f| f.severity == Severity::Refuse);
    if let Some(f) = refused {
        return Err(NoSeal::Refused {
            rule: f.rule.clone(),
            says: f.says.clone(),
        });
    }
    if report.verdict == Verdict::Refused {
        return Err(NoSeal::Refused {
            rule: "verdict".to_owned(),
            says: "The report says refused and names no finding.".to_owned(),
        });
    }
    for (place, f) in report.findings.iter().enumerate() {
        if f.severity == Severity::Warn && !is_accepted(place, f, acceptances) {
            return Err(NoSeal::NotAccepted {
                rule: f.rule.clone(),
                says: f.says.clone(),
            });
        }
    }
    let mut hash = Sha256::new();
    add(&mut hash, b"standclear seal 1");
    add(&mut hash, &canonical(report));
    add(&mut hash, &canonical(acceptances));
    Ok(Seal(finished(hash, parts)))
}

/// A name for what a value holds: lower case hex. It proves nothing; a [`Seal`] does. For types of
/// numbers, text and lists only.
#[must_use]
pub fn hash<T: Serialize + ?Sized>(value: &T) -> String {
    finished(Sha256::new(), &[&canonical(value)])
}

fn finished(mut hash: Sha256, parts: &[&[u8]]) -> String {
    hash.update((parts.len() as u64).to_be_bytes());
    for part in parts {
        add(&mut hash, part);
    }
    hash.finalize().iter().map(|b| format!("{b:02x}")).collect()
}

fn is_accepted(place: usize, finding: &Finding, acceptances: &[Acceptance]) -> bool {
    acceptances
        .iter()
        .any(|a| a.finding == place && a.rule == finding.rule && !a.reason.trim().is_empty())
}

fn add(hash: &mut Sha256, part: &[u8]) {
    hash.update((part.len() as u64).to_be_bytes());
    hash.update(part);
}

/// JSON has one order of keys here: that of the fields.
fn canonical<T: Serialize + ?Sized>(value: &T) -> Vec<u8> {
    // These types hold no map with keys other than text, so writing them cannot fail.
    serde_json::to_vec(value).unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::vetting::rules::frame;

    fn accept(rule: &str, finding: usize, reason: &str) -> Acceptance {
        Acceptance {
            rule: rule.to_owned(),
            finding,
            reason: reason.to_owned(),
        }
    }

    #[test]
    fn a_clear_job_is_sealed_and_any_change_breaks_the_seal() {
        let report = frame::report(frame::PROGRAM);
        let one = seal(&report, &[], &[b"program", b"setup"]).expect("sealed");
        assert_eq!(one.hash().len(), 64);
        assert_eq!(seal(&report, &[], &[b"program", b"setup"]), Ok(one.clone()));
        for parts in [
            &[&b"programs"[..], b"etup"][..],
            &[b"program", b"setup", b""],
            &[b"programsetup"],
            &[b"setup", b"program"],
        ] {
            assert_ne!(seal(&report, &[], parts), Ok(one.clone()));
        }
        let mut other = report.clone();
        other.time_s = Some(1.0);
        assert_ne!(seal(&other, &[], &[b"program", b"setup"]), Ok(one));
    }

    #[test]
    fn a_refusal_bars_the_seal() {
        let report = frame::report(&frame::PROGRAM.replace("M5\nM2", "M2"));
        let no = seal(&report, &[accept("torch-left-on", 0, "never mind")], &[]);
        assert!(matches!(no, Err(NoSeal::Refused { rule, .. }) if rule == "torch-left-on"));
    }

    #[test]
    fn every_warning_needs_its_own_acceptance_with_a_reason() {
        let report = frame::report(
            &frame::PROGRAM
                .replace("M2\n", "")
                .replacen("M3", "M3\nM3", 1),
        );
        assert_eq!(report.verdict, Verdict::Warned);
        let first = accept("torch-on-twice", 0, "seen");
        for wrong in [
            vec![],
            vec![first.clone()],
            vec![first.clone(), accept("end-missing", 1, "  ")],
            vec![first.clone(), accept("end-missing", 0, "seen")],
            vec![first.clone(), accept("torch-on-twice", 1, "seen")],
        ] {
            assert!(matches!(
                seal(&report, &wrong, &[]),
                Err(NoSeal::NotAccepted { .. })
            ));
        }
        let right = vec![first, accept("end-missing", 1, "whole, I looked")];
        assert!(seal(&report, &right, &[]).is_ok());
    }
}
