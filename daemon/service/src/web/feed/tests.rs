use control::view::{ArcView, CutState, CutView, Phase};
use proptest::prelude::*;
use units::{Point, Time};

use super::*;
use crate::web::fixtures::view;

fn feed(view: View) -> Feed {
    let published = Arc::new(Published {
        seq: 0,
        at: Time::ZERO,
        view,
    });
    Feed {
        table: Table {
            name: "table".into(),
            practice: true,
            opens_on: None,
            lacks: Vec::new(),
        },
        now: Mutex::new(Now {
            n: 0,
            fields: fields(&published.view),
            published,
            out: broadcast::Sender::new(KEPT_MESSAGES),
        }),
        joined: Notify::new(),
    }
}

fn publish(feed: &Feed, seq: u64, view: View) {
    feed.advance(Arc::new(Published {
        seq,
        at: Time::from_ms(seq * 50),
        view,
    }));
}

fn told(text: &str) -> Told {
    serde_json::from_str(text).expect("a message of ours")
}

/// What a screen has after a message.
fn drawn(before: Option<Value>, message: &Told) -> Value {
    match message {
        Told::Snapshot { view, .. } => to_value(view),
        Told::Delta { set, cuts, .. } => {
            let Some(Value::Object(mut view)) = before else {
                panic!("a delta comes after a snapshot")
            };
            view.extend(set.clone());
            for (k, cut) in cuts {
                let k: usize = k.parse().expect("a place");
                view["cuts"][k] = to_value(cut);
            }
            Value::Object(view)
        }
        Told::Dropped { .. } => panic!("not here"),
    }
}

/// Numbers that survive text exactly: this is about messages, not about decimals.
fn eighths(most: u32) -> impl Strategy<Value = f64> {
    (0..most).prop_map(|n| f64::from(n) / 8.0)
}

fn any_view() -> impl Strategy<Value = View> {
    let cuts = prop::collection::vec((0..4usize, eighths(800)), 0..5);
    (0..4u64, any::<bool>(), eighths(4800), cuts).prop_map(|(generation, on, x, cuts)| {
        let mut v = view();
        v.generation = generation;
        v.phase = if on { Phase::Running } else { Phase::Held };
        v.torch.arc = if on { ArcView::On } else { ArcView::Off };
        v.torch.place = on.then(|| Point::new(x, 1.0));
        v.cuts = cuts
            .into_iter()
            .map(|(state, to)| CutView {
                state: [
                    CutState::ToDo,
                    CutState::Now,
                    CutState::Done,
                    CutState::Skipped,
                ][state],
                done: vec![[0.0, to]],
            })
            .collect();
        v
    })
}

proptest! {
    #[test]
    fn a_screen_that_follows_the_deltas_has_what_the_machine_published(
        views in prop::collection::vec(any_view(), 1..20),
        joins_at in 0..20usize,
    ) {
        let feed = feed(view());
        let mut screen = None;
        let mut follows = None;
        for (k, v) in views.iter().enumerate() {
            if k == joins_at.min(views.len() - 1) {
                let (snapshot, rest) = feed.join(None);
                screen = Some(drawn(None, &told(&snapshot)));
                follows = Some(rest);
            }
            publish(&feed, k as u64 + 1, v.clone());
        }
        let mut follows = follows.expect("it has joined");
        let mut last = None;
        while let Ok(text) = follows.try_recv() {
            let message = told(&text);
            if let Told::Delta { n, .. } = message {
                prop_assert!(last.is_none_or(|l: u64| n == l + 1));
                last = Some(n);
            }
            screen = Some(drawn(screen, &message));
        }
        let published = views.last().map(to_value);
        prop_assert_eq!(screen, published);
    }
}

#[test]
fn a_view_that_has_not_changed_is_still_told_so_that_the_beat_goes_on() {
    let feed = feed(view());
    let (_, mut follows) = feed.join(None);
    publish(&feed, 1, view());
    let Told::Delta { n, set, cuts, .. } = told(&follows.try_recv().expect("a message")) else {
        panic!("a delta")
    };
    assert_eq!(n, 1);
    assert!(set.is_empty() && cuts.is_empty());
}

#[test]
fn one_cut_that_moves_on_is_told_alone() {
    let mut v = view();
    let feed = feed(v.clone());
    let (_, mut follows) = feed.join(None);
    v.cuts[1].done = vec![[0.0, 12.5]];
    publish(&feed, 1, v);
    let Told::Delta { set, cuts, .. } = told(&follows.try_recv().expect("a message")) else {
        panic!("a delta")
    };
    assert!(set.is_empty(), "{set:?}");
    assert_eq!(cuts.keys().collect::<Vec<_>>(), ["1"]);
}

#[test]
fn a_screen_that_does_not_keep_up_is_told_how_many_it_missed() {
    let feed = feed(view());
    let (_, mut follows) = feed.join(None);
    let most = KEPT_MESSAGES as u64;
    for seq in 1..=most {
        publish(&feed, seq, view());
    }
    assert!(
        follows.try_recv().is_ok(),
        "as many as are kept: nothing is missed"
    );
    for seq in 1..=most + 5 {
        publish(&feed, seq, view());
    }
    let missed = follows.try_recv();
    assert!(
        matches!(missed, Err(broadcast::error::TryRecvError::Lagged(n)) if n >= 5),
        "{missed:?}"
    );
}

#[tokio::test]
async fn while_nobody_watches_nothing_is_worked_out_and_the_first_screen_begins_with_what_is_now() {
    let at = |seq: u64| {
        Arc::new(Published {
            seq,
            at: Time::from_ms(seq * 50),
            view: view(),
        })
    };
    let feed = Arc::new(feed(view()));
    let (publish, published) = watch::channel(at(0));
    let (end, stop) = watch::channel(false);
    let latest = published.clone();
    let telling = tokio::spawn(tell(Arc::clone(&feed), published, stop));
    for seq in 1..=5 {
        publish.send_replace(at(seq));
        tokio::task::yield_now().await;
    }
    assert_eq!(feed.lock().n, 0, "nobody watched");
    let now = latest.borrow().clone();
    let (snapshot, mut follows) = feed.join(Some(now));
    let Told::Snapshot { n, at_s, .. } = told(&snapshot) else {
        panic!("a snapshot comes first");
    };
    assert_eq!((n, at_s), (1, 0.25));
    publish.send_replace(at(6));
    let next = timeout(TAKES_NOTHING, follows.recv()).await;
    let next = next.expect("in time").expect("it is told again");
    assert!(matches!(told(&next), Told::Delta { n: 2, .. }), "{next}");
    let _ = end.send(true);
    telling.await.expect("it ends");
}
