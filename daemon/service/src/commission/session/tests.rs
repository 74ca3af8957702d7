//! Sessions with a make-believe machine behind them: each request is answered as its script says.

use std::sync::{Mutex, PoisonError};

use control::commissioning::{Hand, Wire};
use control::view::{CommissioningView, StepView};
use tokio::sync::watch;
use units::Time;

use super::*;
use crate::panel::{Asked, Published};

/// What was typed out so far.
#[derive(Clone, Default)]
struct Paper(Arc<Mutex<Vec<u8>>>);

impl Write for Paper {
    fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
        self.lock().extend_from_slice(bytes);
        Ok(bytes.len())
    }

    fn flush(&mut self) -> std::io::Result<()> {
        Ok(())
    }
}

impl Paper {
    fn lock(&self) -> std::sync::MutexGuard<'_, Vec<u8>> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn text(&self) -> String {
        String::from_utf8_lossy(&self.lock()).into_owned()
    }
}

/// The machine's side of a session, and the person's.
struct Bench {
    asks: mpsc::Receiver<Asked>,
    published: watch::Sender<Arc<Published>>,
    keys: Option<mpsc::UnboundedSender<String>>,
    paper: Paper,
    panel: Panel,
}

/// At rest, with this step open and no alarm.
fn view(generation: u64, open: Option<OpenStepView>) -> View {
    let step = StepView {
        step: Step::Papers,
        standing: Standing::Missing,
        here: true,
        measured: None,
        simulated: false,
        refused: None,
        barred_by: None,
    };
    View {
        generation,
        phase: Phase::Idle,
        alarms: vec![],
        hold: None,
        commissioning: Some(CommissioningView {
            steps: vec![step],
            open,
        }),
        ..crate::web::fixtures::view()
    }
}

fn question(says: &str, left: usize) -> OpenStepView {
    OpenStepView {
        step: Step::Papers,
        says: Some(says.into()),
        answer: true,
        follows: None,
        wire: None,
        left,
        measured: vec![],
        found: vec![],
        levels: vec![],
    }
}

impl Bench {
    fn new() -> (Self, Terminal) {
        let (to, asks) = mpsc::channel(4);
        let first = Published {
            seq: 0,
            at: Time::ZERO,
            view: view(1, None),
        };
        let (published, follow) = watch::channel(Arc::new(first));
        let (keys, typed) = mpsc::unbounded_channel();
        let paper = Paper::default();
        let terminal = Terminal {
            typed,
            out: Box::new(paper.clone()),
            hands: None,
        };
        let bench = Self {
            asks,
            published,
            keys: Some(keys),
            paper,
            panel: Panel::new(to, follow),
        };
        (bench, terminal)
    }

    fn publish(&self, view: View) {
        let seq = self.published.borrow().seq + 1;
        let at = Time::ZERO;
        self.published
            .send_replace(Arc::new(Published { seq, at, view }));
    }

    fn types(&self, line: &str) {
        let keys = self.keys.as_ref().expect("a terminal");
        keys.send(line.into()).expect("somebody listens");
    }

    async fn next(&mut self) -> Asked {
        self.asks.recv().await.expect("a request")
    }
}

/// Both sides at once, the machine's first: how the session went, and what was typed out. What `play` gives is kept
/// until the session is over.
async fn session<F: Future>(play: impl FnOnce(Bench) -> F) -> (Result<bool, String>, String) {
    let (bench, terminal) = Bench::new();
    let (panel, paper) = (bench.panel.clone(), bench.paper.clone());
    let (_kept, went) = tokio::join!(play(bench), run(&panel, &[Step::Papers], terminal));
    (went, paper.text())
}

fn passed(generation: u64) -> View {
    let mut view = view(generation, None);
    if let Some(table) = &mut view.commissioning {
        table.steps[0].standing = Standing::Stands;
        table.steps[0].measured = Some("Signed.".into());
    }
    view
}

fn stale() -> Answer {
    Answer::Refused {
        reason: "stale".into(),
        says: "The screen showed an older state.".into(),
        remedy: "Look, and press again.".into(),
    }
}

#[tokio::test]
async fn a_request_whose_state_is_over_when_it_comes_is_made_again_of_the_next_one() {
    let (went, text) = session(|mut bench| async move {
        let first = bench.next().await;
        assert_eq!(first.generation, 1);
        // The next state is there before the answer is: it must not be waited for in vain.
        bench.publish(view(2, None));
        first.answer.send(stale()).expect("it waits");
        let again = bench.next().await;
        assert_eq!((again.generation, again.ask), (2, first.ask));
        bench.publish(passed(3));
        again.answer.send(Answer::Accepted).expect("it waits");
    })
    .await;
    assert_eq!(went, Ok(true), "{text}");
    assert!(text.contains("Step 1 passed. Signed."), "{text}");
}

#[tokio::test]
async fn a_step_whose_view_comes_after_its_answer_is_followed_all_the_same() {
    let (went, text) = session(|mut bench| async move {
        let begun = bench.next().await;
        begun.answer.send(Answer::Accepted).expect("it waits");
        for _ in 0..10 {
            tokio::task::yield_now().await;
        }
        bench.publish(view(2, Some(question("Is it signed?", 1))));
        bench.types("y");
        let answer = bench.next().await;
        bench.publish(passed(3));
        answer.answer.send(Answer::Accepted).expect("it waits");
    })
    .await;
    assert_eq!(went, Ok(true), "{text}");
    assert!(text.contains("Is it signed? [y/n]"), "{text}");
}

#[tokio::test]
async fn a_state_that_changes_for_ever_is_given_up_and_told() {
    let (went, text) = session(|mut bench| async move {
        for generation in 2..2 + STALE as u64 {
            let asked = bench.next().await;
            bench.publish(view(generation, None));
            asked.answer.send(stale()).expect("it waits");
        }
    })
    .await;
    assert_eq!(went, Ok(false));
    assert!(
        text.contains("The state changed too often: try again."),
        "{text}"
    );
}

#[tokio::test]
async fn what_is_refused_is_typed_out_with_what_to_do_and_the_step_has_not_passed() {
    let (went, text) = session(|mut bench| async move {
        let asked = bench.next().await;
        let no = Answer::Refused {
            reason: "running".into(),
            says: "Something is under way.".into(),
            remedy: "Wait.".into(),
        };
        asked.answer.send(no).expect("it waits");
    })
    .await;
    assert_eq!(went, Ok(false));
    assert!(text.contains("Something is under way. Wait."), "{text}");
}

#[tokio::test]
async fn each_question_and_each_wrong_is_typed_once_whatever_the_levels_do() {
    let (went, text) = session(|mut bench| async move {
        let begun = bench.next().await;
        let mut open = question("Is it signed?", 2);
        bench.publish(view(2, Some(open.clone())));
        begun.answer.send(Answer::Accepted).expect("it waits");
        for closed in [true, false, true] {
            open.levels = vec![control::view::LevelView {
                wire: Wire::AirOk,
                closed,
                changed: None,
            }];
            bench.publish(view(2, Some(open.clone())));
            tokio::task::yield_now().await;
        }
        open.found.push("It is not signed.".into());
        bench.publish(view(3, Some(open.clone())));
        tokio::task::yield_now().await;
        bench.types("y");
        let answer = bench.next().await;
        // An answer is to the question that was seen.
        assert_eq!(answer.generation, 3);
        assert_eq!(answer.ask, Ask::CommissionAnswer { yes: true });
        bench.publish(view(4, None));
        answer.answer.send(Answer::Accepted).expect("it waits");
    })
    .await;
    assert_eq!(went, Ok(false));
    assert_eq!(
        text.matches("Wrong: It is not signed.").count(),
        1,
        "{text}"
    );
    assert_eq!(text.matches("Is it signed? [y/n]").count(), 2, "{text}");
}

#[tokio::test]
async fn the_keys_do_what_they_say_and_nothing_else_does_anything() {
    let (went, text) = session(|mut bench| async move {
        let begun = bench.next().await;
        let mut open = question("", 2);
        (open.says, open.answer) = (Some("Press it.".into()), false);
        open.wire = Some((Wire::HoldButton, Hand::Work));
        bench.publish(view(2, Some(open)));
        begun.answer.send(Answer::Accepted).expect("it waits");
        // Nothing is asked: yes and no are none, and a real table has nobody at it.
        for line in ["y", "n", "", "yes", "t", "h"] {
            bench.types(line);
        }
        let hold = bench.next().await;
        assert_eq!(hold.ask, Ask::Hold { press: None });
        hold.answer.send(Answer::Accepted).expect("it waits");
        bench.types("q");
        let leave = bench.next().await;
        assert_eq!(leave.ask, Ask::CommissionLeave);
        bench.publish(view(3, None));
        leave.answer.send(Answer::Accepted).expect("it waits");
    })
    .await;
    assert_eq!(went, Ok(false));
    assert!(
        text.contains("This table is a real one: go there."),
        "{text}"
    );
    assert!(!text.contains("Press it. ["), "no question: {text}");
}

#[tokio::test]
async fn before_a_yes_that_fires_or_pulses_it_is_said() {
    for (follows, says) in [
        (Follows::Pulses, "[y: the permit relay is pulsed / n]"),
        (Follows::Fires, "[y: the torch is fired / n]"),
    ] {
        let (_, text) = session(|mut bench| async move {
            let begun = bench.next().await;
            let mut open = question("Is everybody clear?", 4);
            open.follows = Some(follows);
            bench.publish(view(2, Some(open)));
            begun.answer.send(Answer::Accepted).expect("it waits");
            bench.types("n");
            let answer = bench.next().await;
            assert_eq!(answer.ask, Ask::CommissionAnswer { yes: false });
            bench.publish(view(3, None));
            answer.answer.send(Answer::Accepted).expect("it waits");
        })
        .await;
        assert!(
            text.contains(&format!("Is everybody clear? {says}")),
            "{text}"
        );
    }
}

#[tokio::test]
async fn a_terminal_or_a_panel_that_has_gone_ends_the_session_in_words() {
    let (went, _) = session(|mut bench| async move {
        let begun = bench.next().await;
        bench.publish(view(2, Some(question("Is it signed?", 2))));
        begun.answer.send(Answer::Accepted).expect("it waits");
        bench.keys = None;
        // The panel is still there.
        bench
    })
    .await;
    assert_eq!(
        went,
        Err("the terminal has gone: what was open is not on record".into())
    );
    let (went, _) = session(|mut bench| async move {
        let begun = bench.next().await;
        drop(bench.published);
        begun.answer.send(Answer::Accepted).expect("it waits");
    })
    .await;
    assert_eq!(went, Err("the panel has ended".into()));
}

#[tokio::test]
async fn alarms_are_read_and_cleared_before_a_step_as_a_person_says() {
    let mut with = view(2, None);
    with.alarms = crate::web::fixtures::view().alarms;
    with.alarms.truncate(1);
    with.alarms[0].seen = false;
    let mut read = with.clone();
    read.alarms[0].seen = true;
    let cause = with.alarms[0].cause;
    let (went, text) = session(|mut bench| async move {
        bench.publish(with);
        let seen = bench.next().await;
        assert_eq!(seen.ask, Ask::Seen { cause });
        seen.answer.send(Answer::Accepted).expect("it waits");
        bench.publish(read);
        bench.types("y");
        let clear = bench.next().await;
        assert_eq!(clear.ask, Ask::Clear { cause });
        clear.answer.send(Answer::Accepted).expect("it waits");
        // What the view shows late is not asked for once more.
        tokio::task::yield_now().await;
        bench.publish(view(3, None));
        let begun = bench.next().await;
        assert_eq!(begun.ask, Ask::CommissionStep { step: Step::Papers });
        bench.publish(passed(4));
        begun.answer.send(Answer::Accepted).expect("it waits");
    })
    .await;
    assert_eq!(went, Ok(true), "{text}");
    assert!(
        text.contains("Is it put right, and may it be cleared? [y/n]"),
        "{text}"
    );
}
