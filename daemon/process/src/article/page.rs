//! The page to print: plain text that is also Markdown.

use std::fmt::Write as _;

use super::model::Fitted;
use super::{Feature, Report};

/// Writes the page.
#[must_use]
pub fn page(report: &Report) -> String {
    let mut out = String::new();
    // Writing into a string does not fail.
    let _ = write(&mut out, report);
    out
}

/// One line of a name from outside: it must not begin a heading or a column of its own.
fn plain(words: &str) -> String {
    let one = |c: char| if c.is_control() || c == '|' { ' ' } else { c };
    words.chars().map(one).collect()
}

fn write(out: &mut String, r: &Report) -> std::fmt::Result {
    let a = &r.article;
    writeln!(out, "# First article: {}\n", plain(&a.name))?;
    writeln!(
        out,
        "- material: {}, {} mm",
        plain(&a.material),
        a.thickness_mm
    )?;
    let row = r.row.as_ref().map_or_else(
        || "not known".to_owned(),
        |row| format!("{}, kerf {} mm", plain(&row.name), row.kerf_mm),
    );
    writeln!(out, "- chart row: {row}")?;
    writeln!(out, "- plates measured: {}", r.plates)?;
    if let Some(edge) = &a.edge {
        writeln!(out, "- edge: {}", plain(edge))?;
    }
    if let Some(t) = a.temperature_c {
        writeln!(out, "- temperature when measured: {t} C")?;
    }
    if let Some(n) = a.set_pierces {
        writeln!(out, "- pierces of the nozzle before: {n}")?;
    }
    if let Some((x, y)) = a.lost_motion_mm {
        writeln!(
            out,
            "- lost motion from commissioning: X {x:.3} mm, Y {y:.3} mm"
        )?;
    }
    writeln!(out, "\n## What the readings say\n")?;
    chosen(out, &r.chosen)?;
    for says in &r.cannot_tell {
        writeln!(out, "- Cannot be told: {says}.")?;
    }
    writeln!(out, "\n## What to change\n")?;
    if r.proposals.is_empty() {
        writeln!(out, "{}", r.nothing)?;
    }
    for (i, p) in r.proposals.iter().enumerate() {
        writeln!(out, "{}. {}", i + 1, plain(&p.says))?;
    }
    writeln!(out, "\n## By ISO 9013\n\n{}", r.iso_9013.says)?;
    writeln!(out, "\n## Other models of the same readings\n")?;
    writeln!(
        out,
        "| model | sx | sy | g | do | dh | bx | by | chi2/freedoms | |"
    )?;
    writeln!(out, "|---|---|---|---|---|---|---|---|---|---|")?;
    for f in std::iter::once(&r.chosen).chain(&r.others) {
        row_of(out, f)?;
    }
    writeln!(out, "\n## Readings, mm\n")?;
    writeln!(
        out,
        "| reading | what | drawn | measured | differs | left over |"
    )?;
    writeln!(out, "|---|---|---|---|---|---|")?;
    for (reading, left) in a.readings.iter().zip(&r.chosen.left_over_mm) {
        let what = match reading.feature {
            Feature::OutsideX => "outside X".to_owned(),
            Feature::OutsideY => "outside Y".to_owned(),
            Feature::HoleX => "hole X".to_owned(),
            Feature::HoleY => "hole Y".to_owned(),
            Feature::Centres { dx, dy } => format!("centres {dx}, {dy}"),
        };
        let (name, n, m) = (
            plain(&reading.name),
            reading.nominal_mm,
            reading.measured_mm,
        );
        let off = m - n;
        writeln!(
            out,
            "| {name} | {what} | {n:.2} | {m:.2} | {off:+.2} | {left:+.3} |"
        )?;
    }
    Ok(())
}

fn chosen(out: &mut String, f: &Fitted) -> std::fmt::Result {
    writeln!(out, "Model {}: {}.\n", f.model, f.says)?;
    writeln!(out, "| unknown | value | standard error | 95 % from | to |")?;
    writeln!(out, "|---|---|---|---|---|")?;
    for v in &f.values {
        let n = |n: Option<f64>| n.map_or("not told".to_owned(), |n| format!("{n:+.5}"));
        let error = v
            .standard_error
            .map_or("-".to_owned(), |e| format!("{e:.5}"));
        writeln!(
            out,
            "| {} | {} | {error} | {} | {} |",
            v.of,
            n(v.value),
            n(v.low),
            n(v.high)
        )?;
    }
    writeln!(
        out,
        "\nsx, sy, g in mm per mm; do, dh (edges inside the metal, each side), bx, by in mm.\n"
    )?;
    let fits = match (f.rejected, f.chance) {
        (true, _) => "REJECTED: the readings are not what this model makes of them",
        (false, Some(_)) => "the readings are no worse than stated",
        (false, None) => "no reading is left over to check with",
    };
    writeln!(
        out,
        "- chi2 {:.1} of {} freedoms: {fits}.",
        f.chi2, f.freedoms
    )
}

fn row_of(out: &mut String, f: &Fitted) -> std::fmt::Result {
    let cell = |names: &[&str], digits: usize| {
        let found = names.iter().find_map(|of| f.value(of));
        found.map_or("-".to_owned(), |(v, _)| format!("{v:+.digits$}"))
    };
    let name = f.model;
    let difference = f.value("bx - by").map(|(v, _)| format!("bx - by {v:+.3}"));
    let (bx, by) = (cell(&["bx"], 3), cell(&["by"], 3));
    let bx = difference.unwrap_or(bx);
    writeln!(
        out,
        "| {name} | {} | {} | {} | {} | {} | {bx} | {by} | {:.1}/{} | {} |",
        cell(&["sx"], 5),
        cell(&["sy"], 5),
        cell(&["g"], 5),
        cell(&["do", "do = dh"], 3),
        cell(&["dh", "do = dh"], 3),
        f.chi2,
        f.freedoms,
        if f.rejected { "rejected" } else { "" }
    )
}
