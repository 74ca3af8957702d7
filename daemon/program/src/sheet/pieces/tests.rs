use units::Placement;

use super::*;
use crate::geometry::plane::Placer;
use crate::{ReadingRules, read};

const KERF: f64 = 1.45;
const SHEET: Point = Point::new(300.0, 200.0);

fn map_of(text: &str, used: &[Vec<Point>], kerf_mm: f64, clamp: Point) -> PieceMap {
    let reading = read(text.as_bytes(), &ReadingRules::default());
    let flat = Polylines::new(&reading.cut_list, &Placer::new(&Placement::default()));
    PieceMap::new(&MapInput {
        flat: &flat,
        sheet: SHEET,
        kerf_mm,
        used,
        clamp: Some(clamp),
        slats: Slats::default(),
        watch: &crate::Unwatched,
    })
    .expect("little path")
}

fn map(text: &str) -> PieceMap {
    map_of(text, &[], KERF, Point::new(280.0, 180.0))
}

fn p(x: f64, y: f64) -> Point {
    Point::new(x, y)
}

/// A rectangle as a cut of its own, without a lead-in.
fn rect(x0: f64, y0: f64, x1: f64, y1: f64) -> String {
    format!("G0 X{x0} Y{y0}\nM3\nG1 Y{y1} F600\nG1 X{x1}\nG1 Y{y0}\nG1 X{x0}\nM5\n")
}

#[test]
fn a_part_is_one_piece_with_the_sheet_until_its_outline_is_closed() {
    let m = map(&format!(
        "G21\n{}{}M2\n",
        rect(100.0, 80.0, 110.0, 90.0),
        rect(50.0, 50.0, 150.0, 130.0)
    ));
    let [slug, part] = m.pieces().try_into().expect("a slug and a part");
    assert_eq!((slug.freed_by, part.freed_by), (Some(1), Some(2)));
    assert!(slug.falls && !part.falls);
    let (w, h): (f64, f64) = (100.0 - KERF - 0.3, 80.0 - KERF - 0.3);
    // Its area as it comes free: the slug and its kerf are gone.
    let hole = (10.0 + KERF + 0.3) * (10.0 + KERF + 0.3);
    assert!(
        (part.area_mm2 - (w * h - hole)).abs() < 120.0,
        "{}",
        part.area_mm2
    );
    assert!((part.length_mm - w.hypot(h)).abs() < 5.0);
    assert!((part.bounds.width() - w).abs() < 1.0);
    // Just before the outline closes it still holds.
    let closing = m.moment(2, 359.0);
    let middle = p(70.0, 70.0);
    assert_eq!(m.under(middle, closing), Under::Piece(m.main()));
    assert_eq!(m.under(middle, m.end()), Under::Piece(part.id));
    assert_eq!(m.clamped(m.end()), Some(m.main()));
    // The slug has dropped: nothing lies there any more, though it was of that place.
    assert_eq!(m.under(p(105.0, 85.0), m.end()), Under::Nothing);
    assert_eq!(m.piece_at(p(105.0, 85.0), m.end()), Some(slug.id));
}

#[test]
fn a_piece_is_part_of_the_sheet_until_the_strand_that_frees_it_is_cut() {
    let m = map(&format!(
        "G21\n{}{}{}M2\n",
        rect(100.0, 80.0, 110.0, 90.0),
        rect(80.0, 60.0, 130.0, 110.0),
        rect(50.0, 50.0, 150.0, 130.0)
    ));
    let pieces = m.pieces();
    assert_eq!(pieces.len(), 3);
    for piece in &pieces {
        let freed = m.freed(piece.id);
        let outer = m.piece_at(piece.inside, freed);
        assert_eq!(outer, Some(m.main()), "not yet free: {piece:?}");
        assert_eq!(
            m.piece_at(piece.inside, freed + 1),
            Some(piece.id),
            "{piece:?}"
        );
    }
}

#[test]
fn the_clamp_may_be_on_the_part_that_comes_free() {
    let text = format!(
        "G21\n{}{}M2\n",
        rect(50.0, 50.0, 150.0, 130.0),
        rect(200.0, 50.0, 240.0, 130.0)
    );
    let m = map_of(&text, &[], KERF, p(100.0, 100.0));
    let part = &m.pieces()[0];
    assert!(part.clamped);
    assert_eq!(m.clamped(m.moment(1, 0.0)), Some(m.main()));
    assert_eq!(m.clamped(m.moment(2, 0.0)), Some(part.id));
}

/// A frame open by a bridge between where it is pierced (a disc of 1.6 kerfs) and where it ends: held?
fn tongue(bridge: f64, turn: f64) -> bool {
    let (sin, cos) = turn.to_radians().sin_cos();
    let at = |x: f64, y: f64| {
        let (x, y) = (x - 150.0, y - 100.0);
        format!(
            "X{:.4} Y{:.4}",
            150.0 + x * cos - y * sin,
            100.0 + x * sin + y * cos
        )
    };
    let (pierced, ends) = (bridge / 2.0 + 0.8 * KERF, bridge / 2.0 + KERF / 2.0);
    let text = format!(
        "G21 G0 {}\nM3\nG1 {} F600\nG1 {}\nG1 {}\nG1 {}\nG1 {}\nM5\nM2\n",
        at(120.0, 100.0 + pierced),
        at(120.0, 130.0),
        at(180.0, 130.0),
        at(180.0, 70.0),
        at(120.0, 70.0),
        at(120.0, 100.0 - ends),
    );
    map(&text).pieces().is_empty()
}

#[test]
fn bridges_of_1_0_mm_hold_and_of_0_3_mm_do_not_however_they_lie() {
    for k in 0..90 {
        let turn = f64::from(k) * 1.03;
        assert!(tongue(1.0, turn), "1.0 mm at {turn} degrees");
        assert!(!tongue(0.3, turn), "0.3 mm at {turn} degrees");
        assert!(tongue(5.0, turn), "5 mm at {turn} degrees");
        assert!(!tongue(-1.0, turn), "closed at {turn} degrees");
    }
}

#[test]
fn used_areas_are_gone_from_the_start_and_may_part_the_sheet() {
    let band = vec![
        p(100.0, -1.0),
        p(120.0, -1.0),
        p(120.0, 201.0),
        p(100.0, 201.0),
    ];
    let m = map_of("G21\nM2\n", &[band], KERF, p(280.0, 180.0));
    assert_eq!(m.under(p(110.0, 100.0), 1), Under::Nothing);
    let left = &m.pieces()[0];
    assert_eq!((left.freed_by, left.clamped), (None, false));
    assert!((left.area_mm2 - 100.0 * 200.0).abs() < 200.0);
    assert_eq!(m.under(p(200.0, 100.0), 1), Under::Piece(m.main()));
}

#[test]
fn a_cut_that_frees_a_piece_and_goes_on_inside_it_is_seen_in_its_own_order() {
    // The outline, then without a stop across it into the part.
    let text =
        "G21 G0 X50 Y50\nM3\nG1 Y130 F600\nG1 X150\nG1 Y50\nG1 X50\nG1 Y55\nG1 X100 Y90\nM5\nM2\n";
    let m = map(text);
    let inside = p(90.0, 83.0);
    assert_eq!(m.under(inside, m.moment(1, 300.0)), Under::Piece(m.main()));
    assert_ne!(m.under(inside, m.moment(1, 380.0)), Under::Piece(m.main()));
}

/// A plain flood fill from the clamp on a fine bitmap, after so many whole cuts: the second opinion.
fn flooded(rects: &[[f64; 4]], cuts: usize, at: Point) -> bool {
    let c = 0.2;
    let (w, h) = ((SHEET.x / c) as usize, (SHEET.y / c) as usize);
    let gone = |x: f64, y: f64| {
        rects[..cuts].iter().any(|[x0, y0, x1, y1]| {
            let dx = (x0 - x).max(x - x1).max(0.0);
            let dy = (y0 - y).max(y - y1).max(0.0);
            let out = dx.hypot(dy);
            let deep = (x - x0).min(x1 - x).min(y - y0).min(y1 - y);
            if out > 0.0 {
                out <= KERF / 2.0
            } else {
                deep <= KERF / 2.0
            }
        })
    };
    let mut metal = vec![false; w * h];
    for j in 0..h {
        for i in 0..w {
            metal[j * w + i] = !gone((i as f64 + 0.5) * c, (j as f64 + 0.5) * c);
        }
    }
    let mut stack = vec![((180.0 / c) as usize) * w + (280.0 / c) as usize];
    let goal = ((at.y / c) as usize) * w + (at.x / c) as usize;
    while let Some(k) = stack.pop() {
        if !metal[k] {
            continue;
        }
        if k == goal {
            return true;
        }
        metal[k] = false;
        let (i, j) = (k % w, k / w);
        if i > 0 {
            stack.push(k - 1)
        }
        if i + 1 < w {
            stack.push(k + 1)
        }
        if j > 0 {
            stack.push(k - w)
        }
        if j + 1 < h {
            stack.push(k + w)
        }
    }
    false
}

#[test]
fn the_backward_pass_agrees_with_a_flood_fill_after_every_cut() {
    // Rectangles at random; those whose kerfs leave something between 0.2 and 1.1 mm are left out,
    // for there either answer is right.
    use proptest::prelude::*;
    use proptest::test_runner::{Config, TestRunner};
    let one = (20_i32..240, 20_i32..140, 10_i32..60, 10_i32..60).prop_map(|(x, y, w, h)| {
        [
            f64::from(x),
            f64::from(y),
            f64::from(x + w),
            f64::from((y + h).min(195)),
        ]
    });
    let some = proptest::collection::vec(one, 2..5);
    let mut runner = TestRunner::new(Config {
        cases: 12,
        ..Config::default()
    });
    runner
        .run(&some, |rects| {
            let edges = |k: usize| rects.iter().flat_map(move |r| [r[k], r[k + 2]]);
            for k in [0, 1] {
                let all: Vec<f64> = edges(k).collect();
                for (i, a) in all.iter().enumerate() {
                    for b in &all[i + 1..] {
                        let bridge = (a - b).abs() - KERF;
                        prop_assume!(
                            !(-KERF + 0.01..1.2).contains(&bridge) || (a - b).abs() < 0.01
                        );
                    }
                }
            }
            let text: String = rects.iter().map(|r| rect(r[0], r[1], r[2], r[3])).collect();
            let m = map(&format!("G21\n{text}M2\n"));
            for cuts in 0..=rects.len() {
                let tick = m.moment(cuts + 1, 0.0);
                for r in &rects {
                    let at = p(
                        f64::midpoint(r[0], r[2]) + 0.1,
                        f64::midpoint(r[1], r[3]) + 0.1,
                    );
                    // A place so near to a kerf may lie in a cell of it.
                    let beside = |v: f64, k: usize| edges(k).any(|e| (v - e).abs() < 1.3);
                    if beside(at.x, 0) || beside(at.y, 1) {
                        continue;
                    }
                    let clamped =
                        m.piece_at(at, tick).is_some() && m.piece_at(at, tick) == m.clamped(tick);
                    prop_assert_eq!(
                        clamped,
                        flooded(&rects, cuts, at),
                        "{:?} after {}",
                        at,
                        cuts
                    );
                }
            }
            Ok(())
        })
        .expect("both opinions agree");
}

#[test]
fn more_path_than_any_sheet_takes_is_not_laid() {
    let mut text = "G21 G0 X0 Y0\nM3\n".to_owned();
    for _ in 0..100_000 {
        text += "G1 X20000 Y10000 F600\nX0 Y0\n";
    }
    let reading = read(text.as_bytes(), &ReadingRules::default());
    let flat = Polylines::new(&reading.cut_list, &Placer::new(&Placement::default()));
    let input = MapInput {
        flat: &flat,
        sheet: SHEET,
        kerf_mm: KERF,
        used: &[],
        clamp: None,
        slats: Slats::default(),
        watch: &crate::Unwatched,
    };
    assert!(PieceMap::new(&input).is_none());
}
