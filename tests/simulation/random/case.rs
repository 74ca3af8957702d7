//! One job of chance: what its seed draws, and how it is run.

use std::hash::{Hash as _, Hasher as _};
use std::sync::Arc;
use std::time::Duration;

use control::view::{Phase, Waiting};
use link::Dialect;
use planning::Job;
use simulator::harness::{FaultKind, FaultSpec};
use standclear::config::Config;
use standclear::practice::table::table_settings;
use units::Time;

use super::account::Account;
use super::programs;
use super::restless::Restless;
use super::wishes::{self, Seen, State, Wish};
use crate::chance::Chance;
use crate::world::{Dead, Disobeys, Dying, Keys, Stall, Who, World};

/// Seeds above this draw what does not obey as well.
const DISOBEY_ABOVE: u64 = 20_000;
/// Seeds above this move the torch by hand as well.
pub const HANDS_ABOVE: u64 = 2_000_000_000;
/// Seeds above this draw the controller's dialect as well.
pub const DIALECTS_ABOVE: u64 = 4_000_000_000;
/// A job that has not ended by then does not end, table time.
const LIMIT: Duration = Duration::from_secs(3600);

/// Everything that the seed has drawn. Each of it can be taken away to find what matters.
#[derive(Clone, Debug)]
pub struct Case {
    seed: u64,
    /// The small test piece instead of a program of chance.
    small: bool,
    faults: Vec<Wrong>,
    /// Chance that a bit on the wire is turned over.
    bit_error_rate: f64,
    rough: bool,
    /// The controller stamps where the arc goes out, and the panel's dialect knows it.
    stamps: bool,
    /// The controller speaks `quill`: no numbers, no checks, nothing stamped or switched.
    quill: bool,
    /// A killed panel is back after this, ms.
    dead_ms: u64,
    /// So many things does the restless operator do.
    acts: u32,
    /// He may leave cuts out, or end the job.
    leaves: bool,
    /// He may leave tabs.
    tabs: bool,
    /// The operators look so often, ms.
    look_ms: u64,
    /// Who is kept from going on: after so many ms, and for how many.
    stalls: Vec<(u64, Who, u64)>,
    /// The emergency stop chain takes drives and coils and does not tell the controller.
    untold: bool,
    /// The pins keep no edges.
    polled: bool,
    /// A record is on the disk so late, ms.
    disk_ms: u64,
    /// What else does not obey, and when, ms.
    disobeys: Vec<(u64, Disobeys)>,
    /// A panel that dies loses what was not synced.
    power_cut: bool,
    /// What is asked for at drawn states.
    wishes: Vec<Wish>,
    /// A change of torch parts is begun in the first hold.
    change: bool,
    /// So many times is a key pressed that moves the torch by hand.
    keys: u32,
    /// The disk dies so many ms after switch-on, how, and for how many.
    dying: Option<(u64, Dead, Option<u64>)>,
}

/// Something that goes wrong, so far along all paths of the program.
#[derive(Clone, Copy, Debug)]
struct Wrong {
    kind: FaultKind,
    /// Part of the whole way; of the cut there it may be the pierce.
    part: f64,
    at_pierce: bool,
}

impl Case {
    pub fn of(seed: u64) -> Self {
        let mut chance = Chance::of(seed, 1);
        let mut faults = Vec::new();
        let mut part = chance.next();
        for _ in 0..chance.pick(&[0, 1, 1, 2, 2, 3]) {
            faults.push(Wrong {
                kind: chance.pick(&FaultKind::ALL),
                part,
                at_pierce: chance.happens(0.25),
            });
            // Often hard upon each other.
            part = match chance.below(3) {
                0 => part,
                1 => (part + chance.within(0.0, 0.01)).min(1.0),
                _ => chance.next(),
            };
        }
        let mut chance = Chance::of(seed, 2);
        let noisy = chance.happens(0.15);
        let restless = chance.happens(0.7);
        let mut late = Chance::of(seed, 4);
        let stalls = stalls(&mut late);
        let case = Self {
            seed,
            faults,
            bit_error_rate: if noisy {
                10_f64.powf(chance.within(-6.5, -4.0))
            } else {
                0.0
            },
            rough: chance.happens(0.15),
            stamps: !chance.happens(0.3),
            dead_ms: chance.pick(&[0, 5, 50, 400, 700, 2500]),
            acts: if restless {
                1 + chance.below(14) as u32
            } else {
                0
            },
            leaves: chance.happens(0.25),
            tabs: chance.happens(0.3),
            look_ms: chance.pick(&[100, 100, 100, 900, 4000]),
            stalls,
            untold: late.happens(0.5),
            polled: late.happens(0.2),
            ..disobedient(Self::quiet(seed))
        };
        if seed < DISOBEY_ABOVE {
            return case;
        }
        let mut case = case.wishing(wishes::draw);
        if seed > HANDS_ABOVE {
            case.keys = 1 + Chance::of(seed, 11).below(8) as u32;
        }
        if seed > DIALECTS_ABOVE {
            case.quill = Chance::of(seed, 12).happens(0.6);
            if case.quill {
                // It has no checks: a line that is spoilt is carried out as another, which no panel sees.
                case.bit_error_rate = 0.0;
            }
        }
        case
    }

    /// The small test piece, with the requests of a seed and what brings the machine to them.
    pub fn asking(seed: u64) -> Self {
        let case = Self {
            small: true,
            leaves: true,
            ..Self::quiet(seed)
        };
        case.wishing(|seed, chance| vec![wishes::at_once(seed, chance)])
    }

    /// With the requests of its seed, and what brings the machine to where the first is made.
    fn wishing(mut self, draw: fn(u64, &mut Chance) -> Vec<Wish>) -> Self {
        let mut chance = Chance::of(self.seed, 7);
        self.wishes = draw(self.seed, &mut chance);
        let part = chance.next();
        let when_ms = chance.within(7_000.0, 25_000.0) as u64;
        let lost = |kind: FaultKind, at_pierce: bool| Wrong {
            kind,
            part,
            at_pierce,
        };
        match self.wishes.first().map(|w| w.at) {
            // An arc that is lost in the pierce is tried again by itself.
            Some(State::Again(_)) => self.faults.push(lost(FaultKind::ArcLost, true)),
            // An arc that goes out at once is not waited for.
            Some(State::Stop(Waiting::ArcToGoOut)) => {
                self.faults.push(Wrong {
                    part: 0.0,
                    ..lost(FaultKind::ArcStuck, true)
                });
                self.wishes.push(wishes::hold_in_a_cut());
            }
            Some(State::Stop(_) | State::Other(Phase::Held)) => {
                self.wishes.push(wishes::hold_in_a_cut());
            }
            Some(State::Change(_)) => {
                self.change = true;
                self.wishes.push(wishes::hold_in_a_cut());
            }
            Some(State::Other(Phase::Latched)) => self.disobeys.push((when_ms, Disobeys::Stop)),
            Some(State::Other(Phase::NoLink)) => self.faults.push(lost(FaultKind::LinkCut, false)),
            _ => {}
        }
        self.disobeys.sort_by_key(|d| d.0);
        self
    }

    /// The program of a seed with one fault so far before the end of each of its cuts, and nothing else;
    /// where the controller stamps where the arc goes out, or not.
    pub fn near_ends(seed: u64, kind: FaultKind, before_mm: f64, stamps: bool) -> Vec<Self> {
        let (job, _) = programs::job(&Config::built_in(), seed);
        let lengths: Vec<f64> = job.cuts.iter().map(planning::JobCut::length_mm).collect();
        let all: f64 = lengths.iter().sum();
        let mut end = 0.0;
        let mut cases = Vec::new();
        for length in lengths {
            end += length;
            if before_mm < length {
                cases.push(Self {
                    faults: vec![Wrong {
                        kind,
                        part: (end - before_mm) / all,
                        at_pierce: false,
                    }],
                    stamps,
                    ..Self::quiet(seed)
                });
            }
        }
        cases
    }

    /// The program of a seed, with which nothing goes wrong.
    fn quiet(seed: u64) -> Self {
        Self {
            faults: Vec::new(),
            bit_error_rate: 0.0,
            rough: false,
            stamps: true,
            quill: false,
            dead_ms: 700,
            keys: 0,
            acts: 0,
            leaves: false,
            tabs: false,
            look_ms: 100,
            stalls: Vec::new(),
            untold: false,
            polled: false,
            disk_ms: 0,
            disobeys: Vec::new(),
            power_cut: false,
            wishes: Vec::new(),
            change: false,
            dying: None,
            small: false,
            seed,
        }
    }

    /// The same with one thing less.
    pub fn simpler(&self) -> Vec<Self> {
        let mut less = Vec::new();
        let mut with = |change: &dyn Fn(&mut Self)| {
            let mut case = self.clone();
            change(&mut case);
            less.push(case);
        };
        if self.acts > 0 {
            with(&|c| c.acts = 0);
            with(&|c| c.acts /= 2);
            with(&|c| c.acts -= 1);
        }
        if self.keys > 0 {
            with(&|c| c.keys = 0);
            with(&|c| c.keys -= 1);
        }
        for k in 0..self.faults.len() {
            with(&|c| {
                c.faults.remove(k);
            });
        }
        if self.bit_error_rate > 0.0 {
            with(&|c| c.bit_error_rate = 0.0);
        }
        if self.rough {
            with(&|c| c.rough = false);
        }
        if !self.stamps {
            with(&|c| c.stamps = true);
        }
        if self.quill {
            with(&|c| c.quill = false);
        }
        if self.leaves {
            with(&|c| c.leaves = false);
        }
        if self.tabs {
            with(&|c| c.tabs = false);
        }
        for k in 0..self.stalls.len() {
            with(&|c| {
                c.stalls.remove(k);
            });
        }
        if self.untold {
            with(&|c| c.untold = false);
        }
        if self.polled {
            with(&|c| c.polled = false);
        }
        if self.disk_ms > 0 {
            with(&|c| c.disk_ms = 0);
        }
        if self.power_cut {
            with(&|c| c.power_cut = false);
        }
        for k in 0..self.wishes.len() {
            with(&|c| {
                c.wishes.remove(k);
            });
            with(&|c| c.wishes[k].quiet_ms = 0);
            with(&|c| c.wishes[k].again = None);
        }
        if self.change {
            with(&|c| c.change = false);
        }
        if self.dying.is_some() {
            with(&|c| c.dying = None);
        }
        for k in 0..self.disobeys.len() {
            with(&|c| {
                c.disobeys.remove(k);
            });
        }
        if self.look_ms != 100 {
            with(&|c| c.look_ms = 100);
        }
        less
    }

    /// Cuts it.
    ///
    /// # Errors
    /// What went wrong, with the story of its end.
    pub fn run(&self) -> Result<Seen, String> {
        let mut config = if self.quill {
            Config::built_in_quill()
        } else {
            Config::built_in()
        };
        if !self.stamps && !self.quill {
            config.link.dialect = Arc::new(without_stamps(&config.link.dialect));
        }
        config.estop.told_to_controller = !self.untold;
        let (job, text) = if self.small {
            (
                crate::jobs::square(&config),
                "(the small test piece)".into(),
            )
        } else {
            programs::job(&config, self.seed)
        };
        let mut settings = table_settings(&config, self.seed, self.rough);
        settings.bit_error_rate = self.bit_error_rate;
        let faults: Vec<FaultSpec> = self.faults.iter().map(|w| w.placed(&job)).collect();
        let mut world = World::on(config, Arc::clone(&job), settings, &faults);
        world.polled = self.polled;
        world.stalls = self.stalls.iter().map(|s| stall(*s)).collect();
        let at = |s: &(u64, Disobeys)| (Time::from_ms(s.0), s.1);
        world.disobeys = self.disobeys.iter().map(at).collect();
        world.power_cut = self.power_cut;
        world.disk.late = (self.disk_ms > 0).then(|| Duration::from_millis(self.disk_ms));
        world.disk.dying = self.dying.map(|(at_ms, how, for_ms)| Dying {
            at: Time::from_ms(at_ms),
            how,
            until: for_ms.map(|ms| Time::from_ms(at_ms + ms)),
        });
        world.wishes.open.clone_from(&self.wishes);
        world.wishes.change = self.change;
        world.dead = Duration::from_millis(self.dead_ms);
        world.look_every = Duration::from_millis(self.look_ms);
        let chance = Chance::of(self.seed, 3);
        world.restless = Some(Restless::new(chance, self.acts, self.leaves, self.tabs));
        world.keys = (self.keys > 0).then(|| Keys::new(Chance::of(self.seed, 10), self.keys));
        if self.seed.is_multiple_of(8) {
            world.record();
        }
        let view = world.run(LIMIT);
        let stands =
            view.phase != Phase::Finished && world.disk.dead_for_good(world.now, Duration::ZERO);
        if stands {
            world.settle_dead_disk();
        }
        let mut account = Account::new(&world, &job, &view);
        account.stands = stands;
        if std::env::var_os("STANDCLEAR_DIGESTS").is_some() {
            eprintln!("digest of {}: {:016x}", self.seed, digest(&world, &account));
        }
        let mut wrong = world.watch.wrongs.clone();
        wrong.extend(account.settle());
        if !world.replays() {
            wrong.push("told the same, it does not do the same".into());
        }
        if wrong.is_empty() {
            return Ok(std::mem::take(&mut world.wishes.seen));
        }
        let why = wrong.join("\n  ");
        let bars = |a: &control::view::Allowed| Some(format!("{}: {}", a.ask, a.refused.as_ref()?));
        let barred: Vec<String> = view.allowed.iter().filter_map(bars).collect();
        let view = format!(
            "{:?} {:?} {:?}\nrefused: {barred:?}",
            view.phase, view.hold, view.cuts
        );
        Err(format!(
            "  {why}\n{faults:?}\n{text}\n{}\n{view}\n{:?}",
            world.story(120),
            account.truth
        ))
    }
}

/// A number that is another one if anything else was told, sent, cut or burnt: what only makes a job
/// faster leaves it as it was.
fn digest(world: &World, account: &Account) -> u64 {
    let mut hasher = std::hash::DefaultHasher::new();
    for (at, event, durable) in &world.events {
        (at.as_us(), format!("{event:?}"), durable).hash(&mut hasher);
    }
    for (at, bytes) in &world.sent {
        (at.as_us(), bytes).hash(&mut hasher);
    }
    format!("{:?}", account.truth).hash(&mut hasher);
    hasher.finish()
}

/// In some jobs of seeds above [`DISOBEY_ABOVE`] the disk is late, a contact sticks, a mirror lies, or
/// somebody strikes a button.
fn disobedient(case: Case) -> Case {
    let mut chance = Chance::of(case.seed, 6);
    if case.seed < DISOBEY_ABOVE {
        return case;
    }
    let disk_ms = chance.pick(&[0, 0, 0, 3, 60, 400, 1900]);
    let power_cut = chance.happens(0.3);
    let mut disobeys = Vec::new();
    let mut hard = chance.happens(0.3);
    for _ in 0..chance.below(4) {
        let at_ms = chance.within(6_000.0, 120_000.0) as u64;
        let what = if std::mem::take(&mut hard) {
            // One thing of the table at a time.
            chance.pick(&Disobeys::HARD)
        } else {
            let ms = chance.pick(&[1, 8, 25, 90, 400, 3000]);
            chance.pick(&[Disobeys::Stop, Disobeys::Button { ms }, Disobeys::Edges])
        };
        disobeys.push((at_ms, what));
    }
    disobeys.sort_by_key(|d| d.0);
    Case {
        dying: dying(&mut Chance::of(case.seed, 8)),
        disk_ms,
        power_cut,
        disobeys,
        ..case
    }
}

/// In a fifth of the disobedient jobs the disk dies: for a while, or for good.
fn dying(chance: &mut Chance) -> Option<(u64, Dead, Option<u64>)> {
    if !chance.happens(0.2) {
        return None;
    }
    let at_ms = chance.within(5_000.0, 90_000.0) as u64;
    let how = chance.pick(&[Dead::Told, Dead::Told, Dead::Untold, Dead::Gone]);
    let for_ms = chance.pick(&[
        None,
        Some(300),
        Some(1_900),
        Some(2_600),
        Some(9_000),
        Some(30_000),
    ]);
    Some((at_ms, how, for_ms.filter(|_| how != Dead::Gone)))
}

/// In a third of all jobs somebody is kept from going on, up to four times.
fn stalls(chance: &mut Chance) -> Vec<(u64, Who, u64)> {
    if !chance.happens(0.33) {
        return Vec::new();
    }
    let mut all: Vec<_> = (0..=chance.below(4))
        .map(|_| {
            let at_ms = chance.within(10_000.0, 150_000.0) as u64;
            let who = chance.pick(&Who::ALL);
            // 10 ms to 3 s.
            (at_ms, who, 10_f64.powf(chance.within(1.0, 3.48)) as u64)
        })
        .collect();
    all.sort_by_key(|s| s.0);
    all
}

fn stall((at_ms, who, span_ms): (u64, Who, u64)) -> Stall {
    Stall {
        at: Time::from_ms(at_ms),
        who,
        span: Duration::from_millis(span_ms),
    }
}

impl Wrong {
    fn placed(&self, job: &Job) -> FaultSpec {
        let lengths: Vec<f64> = job.cuts.iter().map(planning::JobCut::length_mm).collect();
        let mut mm = self.part * lengths.iter().sum::<f64>();
        let mut cut = 0;
        while cut + 1 < lengths.len() && mm > lengths[cut] {
            mm -= lengths[cut];
            cut += 1;
        }
        FaultSpec {
            kind: self.kind,
            cut: cut + 1,
            mm: (!self.at_pierce).then(|| mm.min(lengths[cut] - 0.2)),
        }
    }
}

/// The same dialect of a controller that stamps nothing.
fn without_stamps(dialect: &Dialect) -> Dialect {
    let mut text: toml::Table = dialect.source().parse().expect("it was read before");
    text.remove("stamps");
    if let Some(answers) = text.get_mut("answer").and_then(|a| a.as_array_mut()) {
        answers.retain(|a| a.get("means").and_then(|m| m.as_str()) != Some("stamp"));
    }
    Dialect::from_toml(&text.to_string()).expect("less of a dialect is one as well")
}
