//! One session at a terminal: what the machine asks for is typed out, what a person types is answered.

use std::io::{BufRead as _, Write};
use std::sync::Arc;

use control::commissioning::{Standing, Step};
use control::view::{Follows, OpenStepView, Phase, View};
use control::{Answer, Ask, CheckId};
use tokio::sync::mpsc;

use crate::panel::Panel;

/// So often is a request made again whose state was over when it came.
const STALE: usize = 20;

/// What hands do at a simulated table. The error is in the table's words.
pub type AtTheTable = dyn Fn() -> Result<(), String> + Send + Sync;

/// A person at a terminal.
pub struct Terminal {
    /// What is typed, line by line.
    typed: mpsc::UnboundedReceiver<String>,
    out: Box<dyn Write + Send>,
    /// Hands that do what is asked for, on `t`; `None`: the table is real.
    hands: Option<Arc<AtTheTable>>,
}

impl Terminal {
    /// The one of this process.
    #[must_use]
    pub fn here(hands: Option<Arc<AtTheTable>>) -> Self {
        let (to, typed) = mpsc::unbounded_channel();
        // It waits for a person, and ends with the process.
        let _reader = std::thread::spawn(move || {
            for line in std::io::stdin().lock().lines().map_while(Result::ok) {
                if to.send(line).is_err() {
                    return;
                }
            }
        });
        Self {
            typed,
            out: Box::new(std::io::stdout()),
            hands,
        }
    }

    fn say(&mut self, text: &str) {
        // A terminal that has gone hears nothing; the steps time out by themselves.
        let _ = writeln!(self.out, "{text}").and_then(|()| self.out.flush());
    }

    async fn line(&mut self) -> Result<String, String> {
        let line = self.typed.recv().await;
        let line = line.ok_or("the terminal has gone: what was open is not on record")?;
        Ok(line.trim().to_owned())
    }

    async fn yes(&mut self, question: &str) -> Result<bool, String> {
        self.say(&format!("{question} [y/n]"));
        loop {
            match self.line().await?.as_str() {
                "y" => return Ok(true),
                "n" => return Ok(false),
                "t" => self.at_the_table(),
                _ => {}
            }
        }
    }

    fn at_the_table(&mut self) {
        let done = self.hands.as_ref().map(|hands| hands());
        match done {
            None => self.say("This table is a real one: go there."),
            Some(Ok(())) => {}
            Some(Err(why)) => self.say(&why),
        }
    }
}

/// Makes these steps one after the other; whether all have passed.
///
/// # Errors
/// The panel has ended, or the terminal has.
pub async fn run(panel: &Panel, steps: &[Step], mut terminal: Terminal) -> Result<bool, String> {
    let terminal = &mut terminal;
    terminal.say("Type y or n and Enter to answer, h for HOLD, q to leave a step.");
    let at_rest = |v: &View| !matches!(v.phase, Phase::Starting | Phase::NoLink);
    until(panel, at_rest).await?;
    let mut all = true;
    for step in steps {
        let facts = step.facts();
        terminal.say(&format!(
            "\nStep {}, {}. {}\nIt passes: {}. ({})",
            step.number(),
            facts.name,
            facts.todo,
            facts.limit,
            facts.source
        ));
        clear(panel, terminal).await?;
        if let Some(why) = shut(panel, *step) {
            terminal.say(&why);
            all = false;
            continue;
        }
        if *step == Step::DryFire {
            ready_to_fire(panel, terminal).await?;
        }
        if let Some(why) = begun(panel, *step).await? {
            terminal.say(&why);
            all = false;
            continue;
        }
        follow(panel, terminal).await?;
        all &= told(panel, terminal, *step);
    }
    clear(panel, terminal).await?;
    Ok(all)
}

/// Why the step cannot be begun whatever is made ready for it; `None`: it may be.
fn shut(panel: &Panel, step: Step) -> Option<String> {
    let table = panel.latest().view.commissioning.clone()?;
    let row = table.steps.into_iter().find(|s| s.step == step)?;
    row.refused.filter(|_| row.barred_by.is_none())
}

/// How the step went.
fn told(panel: &Panel, terminal: &mut Terminal, step: Step) -> bool {
    let view = panel.latest().view.clone();
    let steps = view.commissioning.map(|c| c.steps).unwrap_or_default();
    let row = steps.into_iter().find(|s| s.step == step);
    let stands = row.as_ref().is_some_and(|r| r.standing == Standing::Stands);
    let measured = row.and_then(|r| r.measured).unwrap_or_default();
    let how = if stands { "passed" } else { "did not pass" };
    terminal.say(&format!("Step {} {how}. {measured}", step.number()));
    stands
}

/// Types what the open step asks for until it is over.
async fn follow(panel: &Panel, terminal: &mut Terminal) -> Result<(), String> {
    let mut published = panel.watch();
    let mut shown: Option<OpenStepView> = None;
    loop {
        let view = published.borrow_and_update().view.clone();
        let Some(open) = view.commissioning.and_then(|c| c.open) else {
            return Ok(());
        };
        let asks = |o: &OpenStepView| (o.says.clone(), o.left, o.found.len());
        if shown.as_ref().map(asks) != Some(asks(&open)) {
            let before = shown.as_ref().map_or(0, |s| s.found.len());
            for wrong in open.found.iter().skip(before) {
                terminal.say(&format!("  Wrong: {wrong}"));
            }
            if let Some(says) = &open.says {
                let mark = match (open.answer, open.follows) {
                    (false, _) => "",
                    (true, None) => " [y/n]",
                    (true, Some(Follows::Pulses)) => " [y: the permit relay is pulsed / n]",
                    (true, Some(Follows::Fires)) => " [y: the torch is fired / n]",
                };
                terminal.say(&format!("  {says}{mark}"));
            }
            shown = Some(open.clone());
        }
        tokio::select! {
            changed = published.changed() => changed.map_err(|_| "the panel has ended".to_owned())?,
            line = terminal.line() => {
                let ask = match (line?.as_str(), open.answer) {
                    ("h", _) => Ask::Hold { press: None },
                    ("q", _) => Ask::CommissionLeave,
                    ("y", true) => Ask::CommissionAnswer { yes: true },
                    ("n", true) => Ask::CommissionAnswer { yes: false },
                    ("t", _) => {
                        terminal.at_the_table();
                        continue;
                    }
                    _ => continue,
                };
                if let Some(why) = once(panel, view.generation, ask).await? {
                    terminal.say(&why);
                }
            }
        }
    }
}

/// Lets the person read each alarm and clear it.
async fn clear(panel: &Panel, terminal: &mut Terminal) -> Result<(), String> {
    loop {
        let view = panel.latest().view.clone();
        let Some(alarm) = view.alarms.first() else {
            return Ok(());
        };
        terminal.say(&format!("{} {} {}", alarm.what, alarm.why, alarm.remedy));
        let cause = alarm.cause;
        let _ = asked(panel, Ask::Seen { cause }).await?;
        let unseen = |v: &View| v.alarms.iter().any(|a| a.cause == cause && !a.seen);
        until(panel, |v| !unseen(v)).await?;
        if !terminal
            .yes("Is it put right, and may it be cleared?")
            .await?
        {
            return Ok(());
        }
        match asked(panel, Ask::Clear { cause }).await? {
            Some(why) => terminal.say(&why),
            // It has gone, or is there anew.
            None => {
                let old = |v: &View| v.alarms.iter().any(|a| a.cause == cause && a.seen);
                until(panel, |v| !old(v)).await?;
            }
        }
    }
}

/// The dry fire wants what a start wants: permit test, axes referenced, self-test.
async fn ready_to_fire(panel: &Panel, terminal: &mut Terminal) -> Result<(), String> {
    let holds = |view: &View, check| {
        let mut all = view.checks.iter();
        all.any(|c| c.check == check && c.holds == Some(true))
    };
    if !holds(&panel.latest().view, CheckId::PermitTested)
        && terminal
            .yes("Is the source off, for a permit test?")
            .await?
    {
        let (check, yes) = (CheckId::SourceOff, true);
        for ask in [Ask::Vouch { check, yes }, Ask::PermitTest] {
            if let Some(why) = asked(panel, ask).await? {
                terminal.say(&why);
            }
        }
    }
    if !holds(&panel.latest().view, CheckId::Referenced)
        && terminal
            .yes("The axes are to be referenced: the torch moves. Is everybody clear?")
            .await?
    {
        if let Some(why) = asked(panel, Ask::Home).await? {
            terminal.say(&why);
        }
        until(panel, |v| v.phase != Phase::Homing).await?;
        let _ = asked(panel, Ask::ConfirmPlace).await?;
    }
    Ok(())
}

/// Waits until the view is so.
async fn until(panel: &Panel, so: impl Fn(&View) -> bool) -> Result<(), String> {
    let mut published = panel.watch();
    let waited = published.wait_for(|p| so(&p.view)).await;
    waited.map(|_| ()).map_err(|_| "the panel has ended".into())
}

/// Asks as of the latest view; why not, where it is refused.
async fn asked(panel: &Panel, ask: Ask) -> Result<Option<String>, String> {
    Ok(answered(panel, ask).await?.1)
}

/// The same, with the generation that was asked as of.
async fn answered(panel: &Panel, ask: Ask) -> Result<(u64, Option<String>), String> {
    let mut published = panel.watch();
    for _ in 0..STALE {
        // Seen here, so that a state that follows while the request is on its way is not waited for in vain.
        let generation = published.borrow_and_update().view.generation;
        let answer = panel.ask(generation, ask.clone()).await;
        match answer.map_err(|e| e.to_string())? {
            Answer::Refused { reason, .. } if reason == "stale" => {
                let changed = published.changed().await;
                changed.map_err(|_| "the panel has ended".to_owned())?;
            }
            other => return Ok((generation, refusal(other))),
        }
    }
    Ok((0, Some("The state changed too often: try again.".into())))
}

/// Begins a step, and waits for the view that shows it open: the answer comes before that.
async fn begun(panel: &Panel, step: Step) -> Result<Option<String>, String> {
    let (before, why) = answered(panel, Ask::CommissionStep { step }).await?;
    if why.is_none() {
        until(panel, |v| v.generation > before).await?;
    }
    Ok(why)
}

/// Asks as of the view that the person saw.
async fn once(panel: &Panel, generation: u64, ask: Ask) -> Result<Option<String>, String> {
    let answer = panel
        .ask(generation, ask)
        .await
        .map_err(|e| e.to_string())?;
    Ok(refusal(answer))
}

fn refusal(answer: Answer) -> Option<String> {
    match answer {
        Answer::Refused { says, remedy, .. } => Some(format!("{says} {remedy}")),
        Answer::Accepted | Answer::AlreadySo => None,
    }
}

#[cfg(test)]
mod tests;
