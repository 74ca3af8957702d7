//! One session at a terminal: what the machine asks for is typed out, what a person types is answered.

use std::io::{BufRead as _, Write as _};

use control::commissioning::{Standing, Step};
use control::view::{OpenStepView, Phase, View};
use control::{Answer, Ask, CheckId};
use tokio::sync::mpsc;

use crate::panel::Panel;

/// So often is a request made again whose state was over when it came.
const STALE: usize = 20;

/// What is typed, line by line.
pub type Typed = mpsc::UnboundedReceiver<String>;

/// The lines of this process's terminal.
pub fn typed() -> Typed {
    let (to, lines) = mpsc::unbounded_channel();
    // It waits for a person, and ends with the process.
    let _reader = std::thread::spawn(move || {
        for line in std::io::stdin().lock().lines().map_while(Result::ok) {
            if to.send(line).is_err() {
                return;
            }
        }
    });
    lines
}

fn say(text: &str) {
    // A terminal that has gone hears nothing; the steps time out by themselves.
    let _ = writeln!(std::io::stdout(), "{text}");
}

/// Makes these steps one after the other; whether all have passed.
///
/// # Errors
/// The panel has ended, or the terminal has.
pub async fn run(panel: &Panel, steps: &[Step], mut typed: Typed) -> Result<bool, String> {
    say("Type y or n and Enter to answer, h for HOLD, q to leave a step.");
    let at_rest = |v: &View| !matches!(v.phase, Phase::Starting | Phase::NoLink);
    until(panel, at_rest).await?;
    let mut all = true;
    for step in steps {
        let facts = step.facts();
        say(&format!(
            "\nStep {}, {}. {}\nIt passes: {}. ({})",
            step.number(),
            facts.name,
            facts.todo,
            facts.limit,
            facts.source
        ));
        clear(panel, &mut typed).await?;
        if *step == Step::DryFire {
            ready_to_fire(panel, &mut typed).await?;
        }
        if let Some(why) = asked(panel, Ask::CommissionStep { step: *step }).await? {
            say(&why);
            all = false;
            continue;
        }
        follow(panel, &mut typed).await?;
        all &= told(panel, *step);
    }
    clear(panel, &mut typed).await?;
    Ok(all)
}

/// How the step went.
fn told(panel: &Panel, step: Step) -> bool {
    let view = panel.latest().view.clone();
    let steps = view.commissioning.map(|c| c.steps).unwrap_or_default();
    let row = steps.into_iter().find(|s| s.step == step);
    let stands = row.as_ref().is_some_and(|r| r.standing == Standing::Stands);
    let measured = row.and_then(|r| r.measured).unwrap_or_default();
    let how = if stands { "passed" } else { "did not pass" };
    say(&format!("Step {} {how}. {measured}", step.number()));
    stands
}

/// Types what the open step asks for until it is over.
async fn follow(panel: &Panel, typed: &mut Typed) -> Result<(), String> {
    let mut published = panel.watch();
    let mut shown: Option<OpenStepView> = None;
    loop {
        let view = published.borrow_and_update().view.clone();
        let Some(open) = view.commissioning.and_then(|c| c.open) else {
            return Ok(());
        };
        if shown.as_ref() != Some(&open) {
            let before = shown.as_ref().map_or(0, |s| s.found.len());
            for wrong in open.found.iter().skip(before) {
                say(&format!("  Wrong: {wrong}"));
            }
            if let Some(says) = &open.says {
                let mark = if open.answer { " [y/n]" } else { "" };
                say(&format!("  {says}{mark}"));
            }
            shown = Some(open.clone());
        }
        tokio::select! {
            changed = published.changed() => changed.map_err(|_| "the panel has ended".to_owned())?,
            line = typed.recv() => {
                let line = line.ok_or("the terminal has gone: what was open is not on record")?;
                let ask = match (line.trim(), open.answer) {
                    ("h", _) => Ask::Hold { press: None },
                    ("q", _) => Ask::CommissionLeave,
                    ("y", true) => Ask::CommissionAnswer { yes: true },
                    ("n", true) => Ask::CommissionAnswer { yes: false },
                    _ => continue,
                };
                if let Some(why) = once(panel, view.generation, ask).await? {
                    say(&why);
                }
            }
        }
    }
}

/// Lets the person read each alarm and clear it.
async fn clear(panel: &Panel, typed: &mut Typed) -> Result<(), String> {
    loop {
        let view = panel.latest().view.clone();
        let Some(alarm) = view.alarms.first() else {
            return Ok(());
        };
        say(&format!("{} {} {}", alarm.what, alarm.why, alarm.remedy));
        let cause = alarm.cause;
        let _ = asked(panel, Ask::Seen { cause }).await?;
        if !yes(typed, "Is it put right, and may it be cleared?").await? {
            return Ok(());
        }
        if let Some(why) = asked(panel, Ask::Clear { cause }).await? {
            say(&why);
        }
    }
}

/// The dry fire wants what a start wants: permit test, axes referenced, self-test.
async fn ready_to_fire(panel: &Panel, typed: &mut Typed) -> Result<(), String> {
    let holds = |view: &View, check| {
        let mut all = view.checks.iter();
        all.any(|c| c.check == check && c.holds == Some(true))
    };
    if !holds(&panel.latest().view, CheckId::PermitTested)
        && yes(typed, "Is the source off, for a permit test?").await?
    {
        let (check, yes) = (CheckId::SourceOff, true);
        for ask in [Ask::Vouch { check, yes }, Ask::PermitTest] {
            if let Some(why) = asked(panel, ask).await? {
                say(&why);
            }
        }
    }
    if !holds(&panel.latest().view, CheckId::Referenced)
        && yes(
            typed,
            "The axes are to be referenced: the torch moves. Is everybody clear?",
        )
        .await?
    {
        if let Some(why) = asked(panel, Ask::Home).await? {
            say(&why);
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

async fn yes(typed: &mut Typed, question: &str) -> Result<bool, String> {
    say(&format!("{question} [y/n]"));
    loop {
        let line = typed.recv().await.ok_or("the terminal has gone")?;
        match line.trim() {
            "y" => return Ok(true),
            "n" => return Ok(false),
            _ => {}
        }
    }
}

/// Asks as of the latest view; why not, where it is refused.
async fn asked(panel: &Panel, ask: Ask) -> Result<Option<String>, String> {
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
            other => return Ok(refusal(other)),
        }
    }
    Ok(Some("The state changed too often: try again.".into()))
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
