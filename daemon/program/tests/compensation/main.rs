//! Kerf compensation against closed forms, a published contour, an independent polygon library, and
//! a second library that offsets lines and arcs.

mod known;
mod paths;
mod properties;

use cavalier_contours::polyline::{PlineSource, PlineSourceMut, PlineVertex, Polyline};
use program::{
    CarriedOut, Cut, Reading, ReadingRules, Setup, Severity, VetInput, compensated, read, vet,
};
use proptest::prelude::*;
use serde::Deserialize;
use units::{Point, Segment};

fn carried_out(text: &str, kerf_mm: f64) -> Reading {
    compensated(
        read(text.as_bytes(), &ReadingRules::default()),
        Some(kerf_mm),
    )
}

/// The one cut of a program that nothing refuses.
fn cut(text: &str, kerf_mm: f64) -> Cut {
    let mut reading = carried_out(text, kerf_mm);
    let refused: Vec<_> = reading
        .findings
        .iter()
        .filter(|f| f.severity == Severity::Refuse)
        .collect();
    assert!(refused.is_empty(), "{text}\n{refused:?}");
    assert_eq!(reading.cut_list.cuts.len(), 1);
    reading.cut_list.cuts.remove(0)
}

#[track_caller]
fn near(a: f64, b: f64, within: f64) {
    assert!((a - b).abs() <= within, "{a} is not {b}");
}

/// Green's theorem over lines and arcs.
fn area(path: &[Segment]) -> f64 {
    path.iter()
        .map(|s| {
            let (a, b) = (s.from(), s.to());
            let chord = (a.x * b.y - b.x * a.y) / 2.0;
            let r = s.radius().unwrap_or(0.0);
            chord + r * r * (s.sweep() - s.sweep().sin()) / 2.0
        })
        .sum()
}

fn length(path: &[Segment]) -> f64 {
    path.iter().map(Segment::length).sum()
}

fn distance(path: &[Segment], p: Point) -> f64 {
    path.iter()
        .map(|s| s.nearest(p).1)
        .fold(f64::INFINITY, f64::min)
}

/// A closed shape, anticlockwise.
#[derive(Clone, Debug)]
struct Shape {
    path: Vec<Segment>,
}

impl Shape {
    fn polygon(corners: &[(f64, f64)]) -> Self {
        let p = |i: usize| {
            let (x, y) = corners[i % corners.len()];
            Point::new(x, y)
        };
        let path = (0..corners.len()).map(|i| Segment::Line {
            from: p(i),
            to: p(i + 1),
        });
        Self {
            path: path.collect(),
        }
    }

    fn reversed(&self) -> Self {
        let path = self.path.iter().rev().map(|s| match *s {
            Segment::Line { from, to } => Segment::Line { from: to, to: from },
            Segment::Arc {
                from,
                to,
                centre,
                clockwise,
            } => Segment::Arc {
                from: to,
                to: from,
                centre,
                clockwise: !clockwise,
            },
        });
        Self {
            path: path.collect(),
        }
    }

    fn area(&self) -> f64 {
        area(&self.path)
    }

    /// The program that cuts it under `word`, pierced on the contour.
    fn program(&self, word: &str) -> String {
        let start = self.path[0].from();
        format!(
            "G21 G90\nG0 X{} Y{}\n{word}\nM3\n{}G40\nM5\nM2\n",
            start.x,
            start.y,
            self.words()
        )
    }

    fn words(&self) -> String {
        let line = |s: &Segment| match *s {
            Segment::Line { to, .. } => format!("G1 X{:.9} Y{:.9} F1000\n", to.x, to.y),
            Segment::Arc {
                from,
                to,
                centre,
                clockwise,
            } => format!(
                "{} X{:.9} Y{:.9} I{:.9} J{:.9} F1000\n",
                if clockwise { "G2" } else { "G3" },
                to.x,
                to.y,
                centre.x - from.x,
                centre.y - from.y
            ),
        };
        self.path.iter().map(line).collect()
    }

    /// The word that moves it outwards (`by_mm` above 0) or inwards.
    fn word(&self, by_mm: f64) -> &'static str {
        if (self.area() > 0.0) == (by_mm > 0.0) {
            "G42"
        } else {
            "G41"
        }
    }

    fn offset(&self, by_mm: f64) -> Vec<Segment> {
        let cut = cut(&self.program(self.word(by_mm)), 2.0 * by_mm.abs());
        closed(&cut);
        segments(&cut)
    }
}

fn segments(cut: &Cut) -> Vec<Segment> {
    cut.path.iter().map(|e| e.segment).collect()
}

#[track_caller]
fn closed(cut: &Cut) {
    let mut at = cut.pierce;
    for e in &cut.path {
        assert_eq!(e.segment.from(), at, "the path has no gaps");
        at = e.segment.to();
    }
    near(at.distance(cut.pierce), 0.0, 1e-9);
}

fn rectangle() -> Shape {
    Shape::polygon(&[(0.0, 0.0), (100.0, 0.0), (100.0, 50.0), (0.0, 50.0)])
}

fn refused_as_too_small(text: &str, kerf_mm: f64, what: &str) {
    let reading = carried_out(text, kerf_mm);
    assert!(
        reading
            .findings
            .iter()
            .any(|f| f.rule == "compensation-open"
                && f.severity == Severity::Refuse
                && f.at.is_some()
                && f.line.is_some()),
        "{what}: {:?}",
        reading.findings
    );
    // The path stays the programmed one, and is not tried again.
    let cut = &reading.cut_list.cuts[0];
    let state = cut.compensation.map(|c| c.carried_out);
    assert_eq!(state, Some(CarriedOut::Refused), "{what}");
    let again = compensated(reading.clone(), Some(kerf_mm));
    assert_eq!(again.findings, reading.findings);
}

fn polyline(path: &[Segment]) -> Polyline {
    let mut line = Polyline::new_closed();
    for s in path {
        // A bulge is the tangent of a quarter of the arc's sweep; a full turn goes in two halves.
        let halves = if s.sweep().abs() > core::f64::consts::PI {
            2
        } else {
            1
        };
        for k in 0..halves {
            let part = s.length() / f64::from(halves);
            let p = s.point_at(part * f64::from(k));
            line.add_vertex(PlineVertex::new(
                p.x,
                p.y,
                (s.sweep() / f64::from(halves) / 4.0).tan(),
            ));
        }
    }
    line
}
