//! An operator who puts to the console over HTTP what a person would press.

use std::net::SocketAddr;
use std::path::Path;
use std::sync::Arc;

use control::Ask;
use control::view::View;
use planning::Job;
use serde_json::{Value, json};
use standclear::config::Config;
use standclear::library::{Accepted, Library};
use standclear::practice::operator::{Hands, Operator};
use standclear::runner::Automatic as _;
use units::Time;

use super::{PATIENCE, client};

/// The name under which warnings are accepted.
const BY: &str = "operated";

/// A job and an operator who wants it cut.
pub struct Operated<H> {
    address: SocketAddr,
    operator: Operator<H>,
    pub job: Arc<Job>,
    /// How the file of the program begins.
    file: String,
}

impl<H: Hands> Operated<H> {
    /// The program of the library of this state whose file begins so, and hands at the table.
    pub fn new(
        address: SocketAddr,
        config: &Arc<Config>,
        state: &Path,
        file: &str,
        hands: H,
    ) -> Result<Self, String> {
        let view = view(address)?;
        let library = Arc::new(Library::new(Arc::clone(config), state, None, None));
        library.reckon_with(view.parts.supplies);
        let listed = library.list();
        let id = listed
            .iter()
            .find(|l| l.file.starts_with(file))
            .map(|l| l.id.clone())
            .ok_or_else(|| format!("{file} is not in the library"))?;
        let chosen = tokio::runtime::Builder::new_current_thread()
            .enable_all()
            .build()
            .map_err(|e| e.to_string())?
            .block_on(library.chosen(&id))
            .map_err(|e| e.to_string())?;
        let accepted = accepted(&chosen.prepared.report);
        let job = library
            .seal_chosen(
                &chosen,
                &chosen.version,
                &accepted,
                planning::Pauses::Accepted,
            )
            .map_err(|e| e.to_string())?;
        Ok(Self {
            address,
            operator: Operator::new(hands, Arc::clone(&job)),
            job,
            file: file.to_owned(),
        })
    }

    /// Does what the operator would at this view.
    ///
    /// # Errors
    /// The console does not answer.
    pub fn look(&mut self, now: Time, view: &View) -> Result<(), String> {
        match self.operator.consider(now, view) {
            Some(ask) => self.ask(view, &ask),
            None => Ok(()),
        }
    }

    /// What the operator would ask at this view, not asked yet.
    pub fn wants(&mut self, now: Time, view: &View) -> Option<Ask> {
        self.operator.consider(now, view)
    }

    /// Loads the program.
    ///
    /// # Errors
    /// The console does not answer, or does not list it.
    pub fn load(&self, view: &View) -> Result<(), String> {
        let get = |path: &str| {
            client::get(self.address, path, PATIENCE)
                .map(|answer| answer.json())
                .map_err(|e| format!("{path}: {e}"))
        };
        let told = get("/api/programs")?;
        let programs = told["programs"].as_array().cloned().unwrap_or_default();
        let is = |p: &&Value| {
            p["file"]
                .as_str()
                .is_some_and(|f| f.starts_with(&self.file))
        };
        let id = programs
            .iter()
            .find(is)
            .and_then(|p| p["id"].as_str())
            .ok_or_else(|| format!("the console does not list {}", self.file))?;
        let read = get(&format!("/api/program?id={id}"))?;
        let report = serde_json::from_value(read["report"].clone()).map_err(|e| e.to_string())?;
        let body = json!({
            "generation": view.generation, "id": id, "version": read["version"],
            "accepted": accepted(&report),
        });
        self.post("/api/load", &body)
    }

    /// Puts a request to the console.
    ///
    /// # Errors
    /// The console does not answer.
    pub fn ask(&self, view: &View, ask: &Ask) -> Result<(), String> {
        match ask {
            Ask::Load { .. } => self.load(view),
            Ask::Resume { .. } => self.resume(),
            other => {
                let ask = serde_json::to_value(other).map_err(|e| e.to_string())?;
                let body = json!({"generation": view.generation, "ask": ask});
                self.post("/api/ask", &body)
            }
        }
    }

    /// Goes on by the first way that leaves nothing uncut, else by the first.
    fn resume(&self) -> Result<(), String> {
        let ways = client::get(self.address, "/api/ways?back_mm=0", PATIENCE)
            .map_err(|e| format!("/api/ways: {e}"))?
            .json();
        let plans = ways["ways"]["plans"].as_array().cloned();
        let plans = plans.unwrap_or_default();
        let whole = |p: &&Value| p["uncut_mm"].as_f64().is_some_and(|mm| mm <= 0.0);
        let Some(plan) = plans.iter().find(whole).or(plans.first()) else {
            return Ok(());
        };
        let body = json!({
            "generation": ways["generation"], "plan": plan["id"], "back_mm": 0.0, "accepted": BY,
        });
        self.post("/api/resume", &body)
    }

    /// A refusal is an answer: the operator looks again.
    fn post(&self, path: &str, body: &Value) -> Result<(), String> {
        let answer = client::post(self.address, path, &body.to_string(), PATIENCE)
            .map_err(|e| format!("{path}: {e}"))?;
        // The state goes on while a request is on its way: that is no news.
        let stale = answer.json()["reason"] == "stale";
        if answer.status != 200 || (answer.json()["answer"] == "refused" && !stale) {
            println!("  {path} {body}: {} {}", answer.status, answer.body);
        }
        Ok(())
    }
}

/// What is published now.
///
/// # Errors
/// It is no view.
pub fn view(address: SocketAddr) -> Result<View, String> {
    let mut snapshot = client::snapshot(address);
    serde_json::from_value(snapshot["view"].take()).map_err(|e| e.to_string())
}

fn accepted(report: &program::Report) -> Vec<Accepted> {
    let all = report.accepted_for(BY).into_iter();
    all.map(|a| Accepted {
        finding: a.finding,
        rule: a.rule,
        reason: a.reason,
    })
    .collect()
}
