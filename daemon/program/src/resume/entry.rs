//! A new lead-in: from whole scrap beside the path back to the place where the cut goes on.

use units::{Point, Segment};

use super::Lost;
use super::ground::Ground;
use crate::cuts::polylines::SAGITTA_MM;
use crate::geometry::plane::off_mm;

/// The least way from the pierce to the path, mm (common practice, no source); never under 2 kerfs.
const OFF_MM: f64 = 4.0;
/// Places along a lead-in are looked at this far apart, mm.
const STEP_MM: f64 = 0.4;
/// ... and so near to each other beside its joint, mm.
const NEAR_STEP_MM: f64 = 0.05;
/// Between a lead-in's kerf and any other contour's stays so much metal, mm (common practice, no
/// source).
const APART_MM: f64 = 1.0;
/// The least metal between the pierce and any other contour's kerf, mm.
const PIERCE_APART_MM: f64 = 2.0;
/// The hole of a pierce, in kerfs (vetting's own figure).
const PIERCE_KERFS: f64 = 1.6;

/// How far a pierce stays from any path but the one that it is for, mm.
fn pierce_apart_mm(kerf_mm: f64) -> f64 {
    (PIERCE_KERFS * kerf_mm + kerf_mm) / 2.0 + PIERCE_APART_MM
}

/// Ways into the path at `joint_mm`, the one that is liked best first. `lost`: beyond its high end
/// the path is whole.
pub(super) fn search<'g>(
    ground: &'g Ground<'_, '_>,
    cut: usize,
    joint_mm: f64,
    lost: &Lost,
) -> impl Iterator<Item = Segment> + 'g {
    // Taken up on the program's own lead-in: what is left of that is still to be cut. So is the way
    // out, whose metal a pierce too near to it would take.
    let own = ground.lead_in_from(cut, joint_mm);
    let out = ground.way_out(cut);
    let w = ground.kerf_mm;
    let to_come = ground.ways_in_near(ground.along(cut, joint_mm).0, cut);
    candidates(ground, cut, joint_mm, lost).filter(move |lead| {
        fits(ground, cut, lead)
            && to_come.iter().all(|path| leaves_whole(path, lead, w))
            && clear_of(&own, lead, w)
            && clear_of(&out, lead, w)
            && off_mm(&out, lead.from()) >= pierce_apart_mm(w)
    })
}

/// Whether a lead-in comes to its joint from ahead: one from behind would cut into what lies before.
pub(super) fn from_ahead(
    ground: &Ground<'_, '_>,
    cut: usize,
    joint_mm: f64,
    lead: &Segment,
) -> bool {
    let (joint, (dx, dy)) = ground.along(cut, joint_mm);
    let from = lead.from();
    (from.x - joint.x) * dx + (from.y - joint.y) * dy > 0.0
}

/// Whether a lead-in leaves the metal whole in which another cut is to be begun.
fn leaves_whole(path: &[Point], lead: &Segment, kerf_mm: f64) -> bool {
    let n = (lead.length() / STEP_MM).ceil().max(1.0) as u32;
    off_mm(path, lead.from()) >= pierce_apart_mm(kerf_mm)
        && (1..=n).all(|k| {
            let p = lead.point_at(lead.length() * f64::from(k) / f64::from(n));
            off_mm(path, p) >= kerf_mm + APART_MM
        })
}

/// Whether a lead-in stays a kerf off a path but for its joint.
fn clear_of(path: &[Point], lead: &Segment, kerf_mm: f64) -> bool {
    let n = (lead.length() / STEP_MM).ceil().max(1.0) as u32;
    (0..n).all(|k| {
        let p = lead.point_at(lead.length() * f64::from(k) / f64::from(n));
        p.distance(lead.to()) < 2.0 * kerf_mm || off_mm(path, p) >= kerf_mm
    })
}

fn candidates<'g>(
    ground: &'g Ground<'_, '_>,
    cut: usize,
    joint_mm: f64,
    lost: &Lost,
) -> impl Iterator<Item = Segment> + 'g {
    let w = ground.kerf_mm;
    let least = OFF_MM.max(2.0 * w);
    let length = ground.length_mm(cut);
    let (joint, _) = ground.along(cut, joint_mm);
    let high_mm = lost.high_mm;
    // Abreast of whole path first; then abreast of what is cut, where the scrap beyond the kerf
    // is whole as well.
    let ahead = [3.0 * w, 3.0 * w + 3.0, 3.0 * w + 6.0, 3.0 * w + 10.0]
        .map(|by| high_mm.max(joint_mm) + by)
        .into_iter()
        .filter(move |s| *s < length);
    let behind = [0.0, 0.5, 1.0, 1.5, 2.0]
        .map(|by| joint_mm - by * least)
        .into_iter()
        .filter(|s| *s > 0.0);
    ahead.chain(behind).flat_map(move |s| {
        let (p, (dx, dy)) = ground.along(cut, s);
        [1.0, 1.5, 2.0].into_iter().flat_map(move |by| {
            [1.0, -1.0].into_iter().map(move |side| {
                let off = by * least * side;
                Segment::Line {
                    from: p.moved(-dy * off, dx * off),
                    to: joint,
                }
            })
        })
    })
}

/// Whether a lead-in lies in scrap that is whole and held, clear of everything that is kept.
fn fits(ground: &Ground<'_, '_>, cut: usize, lead: &Segment) -> bool {
    let w = ground.kerf_mm;
    let (pierce, joint) = (lead.from(), lead.to());
    let Some(contour) = ground.contour(cut) else {
        return false;
    };
    let on_scrap = |p: Point| !contour.on_part(p) && ground.is_scrap(p);
    let least = OFF_MM.max(2.0 * w);
    if !on_scrap(pierce)
        || contour.distance(pierce) < least - 0.1
        || !ground.whole(pierce)
        || ground.off_others_mm(pierce, cut) < pierce_apart_mm(w)
    {
        return false;
    }
    let length = lead.length();
    // Near its joint it may come round a corner of the part: a fine look at whether it cuts into it.
    let near_mm = (3.0 * w).min(length);
    let m = (near_mm / NEAR_STEP_MM).ceil().max(1.0) as u32;
    let cuts_in = (1..m).any(|k| {
        let p = lead.point_at(length - near_mm * f64::from(k) / f64::from(m));
        contour.on_part(p) && contour.distance(p) > SAGITTA_MM
    });
    if cuts_in {
        return false;
    }
    let n = (length / STEP_MM).ceil().max(1.0) as u32;
    (0..n).all(|k| {
        let s = length * f64::from(k) / f64::from(n);
        let p = lead.point_at(s);
        // Near the joint it runs into the old kerf: that is its end.
        let near = p.distance(joint) < 2.0 * w;
        on_scrap(p) && (near || ground.holds(p)) && ground.off_others_mm(p, cut) >= w + APART_MM
    })
}
