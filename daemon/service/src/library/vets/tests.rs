use std::sync::atomic::AtomicUsize;
use std::sync::mpsc;

use super::*;
use crate::config::Config;
use crate::library::Library;

fn chosen() -> Arc<Chosen> {
    let config = Arc::new(Config::built_in());
    let library = Library::new(config, std::path::Path::new("/nowhere"), None, None);
    library.choose("demo/hinge-plates.nc").expect("built in")
}

fn key(name: &str) -> Key {
    (name.into(), "version".into(), String::new())
}

/// A vetting that goes on until it is told to end, or until nobody waits; it counts itself.
struct Slow {
    began: Arc<AtomicUsize>,
    stopped: mpsc::Receiver<bool>,
    told: mpsc::Sender<bool>,
    go: Arc<(Mutex<bool>, std::sync::Condvar)>,
}

impl Slow {
    fn new() -> Self {
        let (told, stopped) = mpsc::channel();
        Self {
            began: Arc::default(),
            stopped,
            told,
            go: Arc::default(),
        }
    }

    fn vet(&self) -> impl FnOnce(&Wanted) -> Told + Send + 'static {
        let (began, go, told) = (
            Arc::clone(&self.began),
            Arc::clone(&self.go),
            self.told.clone(),
        );
        move |wanted| {
            began.fetch_add(1, Ordering::SeqCst);
            let mut end = go.0.lock().expect("a lock");
            while !*end && wanted.go_on() {
                let soon = std::time::Duration::from_millis(1);
                end = go.1.wait_timeout(end, soon).expect("a lock").0;
            }
            let _ = told.send(!wanted.go_on());
            if wanted.go_on() {
                Ok(chosen())
            } else {
                Err(LibraryError::Stopped)
            }
        }
    }

    fn end(&self) {
        *self.go.0.lock().expect("a lock") = true;
        self.go.1.notify_all();
    }
}

/// Asks and waits in a task of its own.
fn ask(vets: &Arc<Vets>, name: &str, slow: &Slow) -> tokio::task::JoinHandle<Told> {
    let (vets, key, vet) = (Arc::clone(vets), key(name), slow.vet());
    tokio::spawn(async move { vets.shared(key, vet).await })
}

async fn until(what: impl Fn() -> bool) {
    while !what() {
        tokio::task::yield_now().await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn all_who_ask_share_one_vetting_and_the_next_finds_it_at_hand() {
    let (vets, slow) = (Arc::new(Vets::default()), Slow::new());
    let asking: Vec<_> = (0..12).map(|_| ask(&vets, "a", &slow)).collect();
    until(|| slow.began.load(Ordering::SeqCst) == 1).await;
    slow.end();
    for one in asking {
        one.await.expect("a task").expect("vetted");
    }
    ask(&vets, "a", &slow)
        .await
        .expect("a task")
        .expect("at hand");
    assert_eq!(slow.began.load(Ordering::SeqCst), 1);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_vetting_that_one_of_two_still_waits_for_goes_on_and_one_that_nobody_waits_for_ends() {
    let (vets, slow) = (Arc::new(Vets::default()), Slow::new());
    let (one, two) = (ask(&vets, "a", &slow), ask(&vets, "a", &slow));
    until(|| slow.began.load(Ordering::SeqCst) == 1).await;
    one.abort();
    let _ = one.await;
    assert!(slow.stopped.try_recv().is_err(), "one still waits");
    two.abort();
    let _ = two.await;
    let stopped = tokio::task::block_in_place(|| slow.stopped.recv());
    assert_eq!(stopped, Ok(true));
    until(|| vets.lock().running.is_empty()).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn vettings_are_made_one_after_the_other_and_no_more_than_a_few_may_wait() {
    let (vets, slow) = (Arc::new(Vets::default()), Slow::new());
    let asking: Vec<_> = (0..TOGETHER)
        .map(|n| ask(&vets, &n.to_string(), &slow))
        .collect();
    until(|| vets.lock().running.len() == TOGETHER).await;
    until(|| slow.began.load(Ordering::SeqCst) == 1).await;
    let more = ask(&vets, "more", &slow).await.expect("a task");
    assert!(matches!(more, Err(LibraryError::Busy)), "{more:?}");
    assert_eq!(slow.began.load(Ordering::SeqCst), 1);
    slow.end();
    for one in asking {
        one.await.expect("a task").expect("vetted");
    }
    assert_eq!(slow.began.load(Ordering::SeqCst), TOGETHER);
}

#[test]
fn what_was_asked_for_longest_ago_makes_room() {
    let (vets, chosen) = (Vets::default(), chosen());
    for n in 0..KEPT_PROGRAMS {
        vets.keep(key(&n.to_string()), &chosen);
    }
    assert!(vets.kept(&key("0")).is_some(), "asked for again");
    vets.keep(key("new"), &chosen);
    assert!(vets.kept(&key("0")).is_some());
    assert!(vets.kept(&key("1")).is_none(), "the longest ago");
    assert!(vets.kept(&key("new")).is_some());
}
