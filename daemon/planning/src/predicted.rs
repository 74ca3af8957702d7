//! Times, air, duty, wear and heat of a job before it is cut, and what vetting is told of them:
//! forecasts of `process` as plain facts.

use process::{Balance, ChartRow, CutShape, Heat, JobTime, Metal, Plan, delayed};
use program::{
    Chart, Energy, Facts, Forecast, Hot, Moment, Passage, Row, Times, Wait, Watch, passages,
};
use units::Point;

use crate::draft::Draft;
use crate::placed::{freed_by, pieces, placement};
use crate::row::Chosen;
use crate::stops::{PlannedStop, StopFor};

/// Sheets above this are no matter for the rule of heat, mm.
const THIN_MM: f64 = 3.0;
/// A pierce so near to one that was touched may go without a touch-off, mm; less on thin sheet
/// (common practice, numbers invented).
const SKIP_MM: f64 = 40.0;
const SKIP_THIN_MM: f64 = 20.0;
const SKIP_UP_TO_MM: f64 = 2.0;
/// So many in a row.
const SKIP_RUN: usize = 3;

/// What is predicted of a job: everything that facts point into.
#[derive(Default)]
pub struct Predicted {
    /// How each cut is passed.
    passages: Vec<Option<Passage>>,
    /// For each cut the last before it that frees a piece near its pierce, from 0.
    pub(crate) freed_by: Vec<Option<usize>>,
    /// The times; `None`: no setup or no chart row.
    pub(crate) time: Option<JobTime>,
    names: String,
    air: Option<process::AirForecast>,
    air_waits: Vec<Wait>,
    duty: Option<process::DutyForecast>,
    duty_waits: Vec<Wait>,
    wear: Option<process::WearForecast>,
    changes: Vec<usize>,
    times: Option<Times>,
    hot: Option<Vec<Hot>>,
    energy: Option<Energy>,
}

impl Predicted {
    /// Reckons what can be reckoned: with a setup and a row all of it. Linear in the pieces of path.
    #[must_use]
    pub fn new(draft: &Draft<'_>, watch: &dyn Watch) -> Self {
        let (table, list) = (draft.table, &draft.reading.cut_list);
        let row = draft.chosen.row();
        watch.phase("predicted times");
        let feed = row.map(ChartRow::feed_mm_s);
        let mut all = Self {
            passages: passages(list, &table.motion_facts(), feed),
            freed_by: freed_by(
                table,
                &draft.reading,
                draft.setup.as_ref(),
                draft.kerf_mm,
                watch,
            ),
            ..Self::default()
        };
        if let Chosen::Several(names) = &draft.chosen {
            all.names = names.join(", ");
        }
        if let (Some(setup), Some(row)) = (&draft.setup, row) {
            let job = Planned { draft, setup, row };
            let cuts = job.shapes(&all);
            let time = job.time(&cuts);
            all.supplies(&job, &time);
            all.times = Some(job.times(&cuts, &time));
            all.heat(&job, &time);
            all.time = Some(time);
        }
        all
    }

    /// Air, duty of the source, wear of the fitted set.
    fn supplies(&mut self, job: &Planned<'_>, time: &JobTime) {
        let (table, arcs) = (job.draft.table, &time.arcs);
        let duty = table.duty.forecast(job.row.amps, arcs);
        self.duty_waits = waits(&duty.waits);
        let mut air = table.air.forecast(arcs);
        if !duty.waits.is_empty() {
            // Air recovers in the waits for the source; what it wants beside them is planned round them.
            // The other way round nothing changes: arcs further apart fill no ten minutes more.
            let later = delayed(arcs, duty.waits.iter().map(|w| (w.before_cut, w.wait_s)));
            let beside = table.air.forecast(&later);
            (air.waits, air.hopeless, air.more) = (beside.waits, beside.hopeless, beside.more);
        }
        self.air_waits = waits(&air.waits);
        self.air = Some(air);
        self.duty = Some(duty);
        self.wear = table.worn.map(|set| set.forecast(arcs));
        self.changes = table.worn.map_or(Vec::new(), |set| set.changes(arcs));
    }

    /// Where the arc's power goes, and on thin sheet how hot it gets.
    fn heat(&mut self, job: &Planned<'_>, time: &JobTime) {
        let (setup, row) = (job.setup, job.row);
        let Some(metal) = Metal::named(&setup.material) else {
            return;
        };
        let kerf_mm = job.draft.kerf_mm.unwrap_or(row.kerf_mm);
        let balance = Balance::new(metal, row.amps, row.volts, kerf_mm, setup.thickness);
        self.energy = Some(energy(metal, &balance));
        if setup.thickness <= THIN_MM + 1e-9 {
            self.hot = Some(job.hot(&Heat::new(metal, setup.thickness, balance), time));
        }
    }

    /// Where the run is to stand until a supply has recovered, in order. Where both want a wait before one
    /// cut it is one stop, for the longer of the two, as long as both.
    pub(crate) fn planned_stops(&self) -> Vec<PlannedStop> {
        let stop = |cause| {
            move |w: &Wait| PlannedStop {
                cause,
                before_cut: w.before_cut,
                wait_s: w.wait_s,
            }
        };
        let air = self.air_waits.iter().map(stop(StopFor::AirWait));
        let mut all: Vec<PlannedStop> = air.collect();
        for duty in self.duty_waits.iter().map(stop(StopFor::DutyWait)) {
            match all.iter_mut().find(|s| s.before_cut == duty.before_cut) {
                None => all.push(duty),
                Some(both) => {
                    if duty.wait_s > both.wait_s {
                        both.cause = duty.cause;
                    }
                    both.wait_s += duty.wait_s;
                }
            }
        }
        all.extend(self.changes.iter().map(|before_cut| PlannedStop {
            cause: StopFor::ChangeDue,
            before_cut: *before_cut,
            wait_s: 0.0,
        }));
        all.sort_by_key(|s| s.before_cut);
        all
    }

    /// Where a thin sheet gets hottest.
    pub(crate) fn hottest(&self) -> Option<Hot> {
        let all = self.hot.as_ref()?.iter();
        all.max_by(|a, b| a.rise_k.total_cmp(&b.rise_k)).copied()
    }

    /// What vetting is told of them.
    #[must_use]
    pub fn facts<'a>(&'a self, draft: &'a Draft<'_>) -> Facts<'a> {
        let table = draft.table;
        let air = &table.air;
        Facts {
            slats: table.slats,
            motion: Some(table.motion_facts()),
            passages: Some(&self.passages),
            link: Some(table.link),
            has_chart: !table.chart.is_empty(),
            chart: self.chart(&draft.chosen),
            energy: self.energy,
            source: Some(program::Source {
                rated_amps: table.duty.rated_amps,
                rated_duty: table.duty.rated_duty,
            }),
            duty: self.duty.as_ref().map(|f| Forecast {
                short: moment(f.over),
                waits: &self.duty_waits,
                hopeless: f.hopeless,
                more: f.more,
                most: f.most_s,
                limit: f.allowed * 600.0,
            }),
            air: self.air.as_ref().map(|f| program::Air {
                forecast: Forecast {
                    short: moment(f.low),
                    waits: &self.air_waits,
                    hopeless: f.hopeless,
                    more: f.more,
                    most: f.wanted_l,
                    limit: air.low_bar,
                },
                receiver_l: air.receiver_l,
                compressor_l_min: air.compressor_l_min,
                torch_l_min: air.torch_l_min,
                low_bar: air.low_bar,
            }),
            wear: self.wear.map(|f| program::Wear {
                before: f.before,
                after: f.after,
                change_in: f.change_in,
            }),
            times: self.times,
            heat: self.hot.as_deref(),
            joined: draft.joined,
            reached_tolerance_mm: table.reached_tolerance_mm,
        }
    }

    fn chart<'a>(&'a self, chosen: &'a Chosen) -> Chart<'a> {
        match chosen {
            Chosen::NotGiven => Chart::NotGiven,
            Chosen::Missing(why) => Chart::Missing(why),
            Chosen::Several(_) => Chart::Several(&self.names),
            Chosen::Row {
                row,
                between,
                for_other,
            } => Chart::Row(Row {
                name: &row.name,
                amps: row.amps,
                volts: row.volts,
                thickness_mm: row.thickness_mm,
                feed_mm_s: row.feed_mm_s(),
                between: between.as_ref().map(|[a, b]| [a.as_str(), b.as_str()]),
                for_other: for_other.as_deref(),
            }),
        }
    }
}

/// A program with the setup and the row that it is planned with.
struct Planned<'a> {
    draft: &'a Draft<'a>,
    setup: &'a program::Setup,
    row: &'a ChartRow,
}

impl Planned<'_> {
    /// The cuts as far as their times go.
    fn shapes(&self, known: &Predicted) -> Vec<CutShape> {
        let placement = placement(self.setup);
        let cuts = self.draft.reading.cut_list.cuts.iter().enumerate();
        cuts.map(|(i, cut)| {
            let passage = known.passages.get(i).copied().flatten();
            CutShape {
                pierce: placement.place(cut.pierce),
                end: placement.place(cut.end()),
                path_s: (!cut.path.is_empty()).then(|| passage.map_or(0.0, |p| p.time_s)),
                freed_by: known.freed_by.get(i).copied().flatten(),
            }
        })
        .collect()
    }

    fn time(&self, cuts: &[CutShape]) -> JobTime {
        let table = self.draft.table;
        let corner = table.sheet_corner;
        let parked = table.park.moved(-corner.x, -corner.y);
        let mut time = process::estimate(&Plan {
            cuts,
            start: parked,
            park: parked,
            thickness_mm: self.setup.thickness,
            row: self.row,
            cycle: table.cycle,
            motion: table.motion,
            source: table.source,
        });
        // A run usually begins where referencing has left the torch: at the top of its travel.
        let traverse_z = table.slat_top_z + self.setup.thickness + table.cycle.safe_height_mm;
        let (motion, down_mm) = (table.motion, (table.travel[2] - traverse_z).abs());
        let down_s =
            process::stretch_s(down_mm, motion.z_rapid_mm_s, 0.0, 0.0, motion.z_accel_mm_s2);
        time.begin_later(down_s);
        time
    }

    fn times(&self, cuts: &[CutShape], time: &JobTime) -> Times {
        let table = self.draft.table;
        let near = if self.setup.thickness <= SKIP_UP_TO_MM + 1e-9 {
            SKIP_THIN_MM
        } else {
            SKIP_MM
        };
        let (mut skipped, mut run, mut touched): (usize, usize, Option<Point>) = (0, 0, None);
        for cut in cuts {
            let is_near = touched.is_some_and(|t| t.distance(cut.pierce) <= near);
            if is_near && run < SKIP_RUN {
                (skipped, run) = (skipped + 1, run + 1);
            } else {
                (touched, run) = (Some(cut.pierce), 0);
            }
        }
        let touch_s = process::touch_off_s(self.row, table.cycle, table.motion, table.source);
        Times {
            run_s: time.run_s,
            arc_on_s: time.arc_on_s,
            touches_skipped: time.touches_skipped,
            touches_to_skip: skipped,
            skip_saves_s: skipped as f64 * touch_s,
        }
    }

    fn hot(&self, heat: &Heat, time: &JobTime) -> Vec<Hot> {
        let (placement, feed) = (placement(self.setup), self.row.feed_mm_s());
        let cuts = self.draft.reading.cut_list.cuts.iter();
        let cuts = cuts.map(|c| (placement.place(c.pierce), pieces(c, placement, feed)));
        let found = heat.forecast(cuts, &time.arcs);
        let hot = found.iter().map(|p| Hot {
            cut: p.cut,
            at: p.at,
            rise_k: p.rise_k,
        });
        hot.collect()
    }
}

fn moment(low: Option<process::Low>) -> Option<Moment> {
    low.map(|l| Moment {
        cut: l.cut,
        at_s: l.at_s,
    })
}

fn waits(of: &[process::Wait]) -> Vec<Wait> {
    of.iter()
        .map(|w| Wait {
            before_cut: w.before_cut,
            at_s: w.at_s,
            wait_s: w.wait_s,
        })
        .collect()
}

fn energy(metal: Metal, b: &Balance) -> Energy {
    let [melting_low, melting_high] = metal.melting_share();
    Energy {
        power_w: b.power_w,
        melt_j_mm: b.melt_j_mm,
        side_w: b.side_w,
        side_power: Balance::SIDE_POWER,
        burning: b.burning,
        melting_low,
        melting_high,
    }
}
