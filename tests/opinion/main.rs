//! A second opinion on how a sheet comes apart: random programs, judged by vetting and, from the true
//! paths that they were written from, by an independent polygon engine. Compared are the metal under
//! any place after any cut (also where the program draws the finished edge and asks for kerf compensation:
//! the engine then moves the edge aside by itself), which places still hang together, what the clamp holds, every loose piece
//! (its cut, area and box), and from these the rules of return path, voids and traverses over loose
//! pieces.
//!
//! Where the answer hangs on a bridge between 0.3 and 1.0 mm either is right (vetting says which
//! widths count): such places are left out, and counted.
//!
//! `STANDCLEAR_OPINIONS=FROM..TO` takes other seeds. What fails is kept in [`KEPT`].

mod check;
mod engine;
mod rules;
mod sheets;

use check::Tally;

/// Seeds that have failed once.
const KEPT: &[u64] = &[];

fn seeds() -> Vec<u64> {
    let Ok(range) = std::env::var("STANDCLEAR_OPINIONS") else {
        return KEPT.iter().copied().chain(1..=100).collect();
    };
    let (from, to) = range
        .split_once("..")
        .expect("STANDCLEAR_OPINIONS=FROM..TO");
    let number = |s: &str| s.parse::<u64>().expect("STANDCLEAR_OPINIONS=FROM..TO");
    (number(from)..number(to)).collect()
}

#[test]
fn vetting_and_a_polygon_engine_agree_on_how_a_sheet_comes_apart() {
    let seeds = seeds();
    let next = std::sync::atomic::AtomicUsize::new(0);
    let all = std::sync::Mutex::new(Tally::default());
    std::thread::scope(|scope| {
        for _ in 0..std::thread::available_parallelism().map_or(1, usize::from) {
            scope.spawn(|| {
                while let Some(seed) =
                    seeds.get(next.fetch_add(1, std::sync::atomic::Ordering::Relaxed))
                {
                    let tally = check::compared(*seed);
                    all.lock().expect("no panic").add(tally);
                }
            });
        }
    });
    let tally = all.into_inner().expect("no panic");
    println!("{tally}");
    assert!(
        tally.wrong.is_empty(),
        "{} differences\n{}",
        tally.wrong.len(),
        tally.wrong[..tally.wrong.len().min(12)].join("\n")
    );
    // What was compared is no empty list.
    if seeds.len() >= 100 {
        let per = |n: usize| n * 100 / seeds.len();
        for (what, count) in tally.counts() {
            assert!(
                per(count) >= 10,
                "{what}: {count} in {} programs",
                seeds.len()
            );
        }
        assert!(tally.left_out * 10 < tally.compared, "{tally}");
    }
}
