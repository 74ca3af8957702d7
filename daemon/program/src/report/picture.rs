//! The report as a drawing: the sheet, the path in its order, what is loose in the end, the clamp,
//! and each finding's numbered flag. A page of SVG that needs nothing beside it.

use std::fmt::Write as _;

use units::{Bounds, Placement, Point};

use crate::cuts::compensation;
use crate::cuts::polylines::Polylines;
use crate::geometry::plane::Placer;
use crate::report::{Finding, Severity};
use crate::{Loose, Reading, Report, Setup};

/// So many flags are drawn; the list below the drawing tells the rest.
const FLAGS: usize = 60;
/// So many points are drawn of all paths together, at most (a path keeps its two ends).
const POINTS: usize = 100_000;
/// The drawing is so wide, pixels.
const WIDE: f64 = 1200.0;

/// What a drawing is made from.
#[derive(Clone, Copy, Debug)]
pub struct Picture<'a> {
    /// What the program is called.
    pub name: &'a str,
    /// The program as read.
    pub reading: &'a Reading,
    /// What lies on the table.
    pub setup: Option<&'a Setup>,
    /// Kerf, mm.
    pub kerf_mm: Option<f64>,
    /// What vetting says.
    pub report: &'a Report,
    /// What is loose in the end.
    pub loose: &'a [Loose],
}

/// Draws a program that was read and vetted.
#[must_use]
pub fn draw(picture: &Picture<'_>) -> String {
    if compensation::is_due(&picture.reading.cut_list) {
        let reading = compensation::compensated(picture.reading.clone(), picture.kerf_mm);
        let reading = &reading;
        return Page::new(&Picture {
            reading,
            ..*picture
        })
        .draw();
    }
    Page::new(picture).draw()
}

struct Page<'a> {
    of: &'a Picture<'a>,
    flat: Polylines,
    area: Bounds,
    /// Pixels a millimetre.
    scale: f64,
}

impl<'a> Page<'a> {
    fn new(of: &'a Picture<'a>) -> Self {
        let placement = of.setup.map_or_else(Placement::default, |s| Placement {
            origin: s.origin,
            rotation_deg: s.rotation,
        });
        let flat = Polylines::new(&of.reading.cut_list, &Placer::new(&placement));
        let mut area: Option<Bounds> = of.setup.map(|s| Bounds {
            low: Point::default(),
            high: s.sheet,
        });
        for cut in 0..flat.cuts() {
            for p in flat
                .line(cut)
                .points
                .iter()
                .filter(|p| p.x.is_finite() && p.y.is_finite())
            {
                area.get_or_insert(Bounds::of(*p)).add(*p);
            }
        }
        let mut area = area.unwrap_or(Bounds {
            low: Point::default(),
            high: Point::new(100.0, 100.0),
        });
        let margin = 0.03 * area.width().max(area.height()).max(1.0);
        area.low = area.low.moved(-margin, -margin);
        area.high = area.high.moved(margin, margin);
        let scale = WIDE / area.width().max(area.height() / 2.0);
        Self {
            of,
            flat,
            area,
            scale,
        }
    }

    /// A place on the page: y grows downwards there.
    fn at(&self, p: Point) -> (f64, f64) {
        let tenth = |v: f64| (v * 10.0).round() / 10.0;
        (
            tenth((p.x - self.area.low.x) * self.scale),
            tenth((self.area.high.y - p.y) * self.scale),
        )
    }

    fn way(&self, points: &[Point], closed: bool, step: usize) -> String {
        let mut d = String::new();
        let last = points.len().saturating_sub(1);
        for (k, p) in points.iter().enumerate() {
            if k % step == 0 || k == last {
                let (x, y) = self.at(*p);
                let _ = write!(d, "{}{x} {y}", if k == 0 { "M" } else { "L" });
            }
        }
        if closed {
            d.push('Z');
        }
        d
    }

    fn draw(&self) -> String {
        let (name, report) = (self.of.name, self.of.report);
        let flags: Vec<(usize, &Finding)> = report
            .findings
            .iter()
            .enumerate()
            .map(|(k, f)| (k + 1, f))
            .collect();
        let list_top = self.area.height() * self.scale + 20.0;
        let width = (self.area.width() * self.scale).max(600.0);
        let height = list_top + 22.0 * (flags.len().min(FLAGS) as f64 + 3.0);
        let mut out = String::new();
        let _ = write!(
            out,
            "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{width:.0}\" height=\"{height:.0}\" viewBox=\"0 0 {width:.0} {height:.0}\" font-family=\"sans-serif\">\n\
             <title>{}</title>\n\
             <defs><pattern id=\"loose\" width=\"6\" height=\"6\" patternUnits=\"userSpaceOnUse\" patternTransform=\"rotate(45)\"><path d=\"M0 0V6\" stroke=\"#33383c\" stroke-width=\"1.5\"/></pattern>\
             <pattern id=\"stands\" width=\"8\" height=\"8\" patternUnits=\"userSpaceOnUse\"><path d=\"M0 0L8 8M8 0L0 8\" stroke=\"#1b1e20\" stroke-width=\"1.2\"/></pattern></defs>\n\
             <rect width=\"100%\" height=\"100%\" fill=\"#f2f0ea\"/>\n",
            escape(name)
        );
        self.sheet(&mut out);
        for loose in self.of.loose {
            let d = self.way(&loose.outline, true, 1 + loose.outline.len() / 2000);
            let _ = writeln!(
                out,
                "<path d=\"{d}\" fill=\"url(#loose)\" data-freed-by=\"{}\"/>",
                loose.cut
            );
        }
        self.paths(&mut out);
        self.clamp(&mut out);
        for (number, f) in flags.iter().take(FLAGS) {
            self.flag(&mut out, *number, f);
        }
        let _ = writeln!(
            out,
            "<text x=\"10\" y=\"{list_top}\" font-size=\"15\" font-weight=\"700\">{}: {:?}, {} cuts</text>",
            escape(name),
            report.verdict,
            report.cuts
        );
        for (row, (number, f)) in flags.iter().take(FLAGS).enumerate() {
            let y = list_top + 22.0 * (row as f64 + 1.0);
            let line = f.line.map_or_else(String::new, |l| format!(", line {l}"));
            let _ = writeln!(
                out,
                "<text x=\"10\" y=\"{y}\" font-size=\"13\" fill=\"{}\">{number}  {}{line}: {}</text>",
                ink(f.severity),
                escape(&f.rule),
                escape(&f.says)
            );
        }
        if flags.len() > FLAGS {
            let y = list_top + 22.0 * (FLAGS as f64 + 1.0);
            let _ = writeln!(
                out,
                "<text x=\"10\" y=\"{y}\" font-size=\"13\">and {} more</text>",
                flags.len() - FLAGS
            );
        }
        out.push_str("</svg>\n");
        out
    }

    fn sheet(&self, out: &mut String) {
        let Some(setup) = self.of.setup else {
            return;
        };
        let (x, y) = self.at(Point::new(0.0, setup.sheet.y));
        let (w, h) = (setup.sheet.x * self.scale, setup.sheet.y * self.scale);
        let _ = writeln!(
            out,
            "<rect x=\"{x}\" y=\"{y}\" width=\"{w:.1}\" height=\"{h:.1}\" fill=\"#b9bec0\" stroke=\"#1b1e20\" stroke-width=\"2\"/>"
        );
        for used in &setup.used {
            let _ = writeln!(
                out,
                "<path d=\"{}\" fill=\"#3c4145\"/>",
                self.way(used, true, 1)
            );
        }
        for k in &setup.keepouts {
            let (x, y) = self.at(k.at.moved(-k.size.x / 2.0, k.size.y / 2.0));
            let _ = writeln!(
                out,
                "<rect x=\"{x}\" y=\"{y}\" width=\"{:.1}\" height=\"{:.1}\" fill=\"url(#stands)\" stroke=\"#1b1e20\"/>",
                k.size.x * self.scale,
                k.size.y * self.scale
            );
        }
    }

    /// The kerfs, numbered in their order while there are few, with thin ways between them.
    fn paths(&self, out: &mut String) {
        let kerf = (self.of.kerf_mm.unwrap_or(1.0) * self.scale).max(1.2);
        let all: usize = (0..self.flat.cuts())
            .map(|c| self.flat.line(c).points.len())
            .sum();
        let step = 1 + all / POINTS;
        let few = self.flat.cuts() <= 200;
        let mut before: Option<Point> = None;
        for cut in 0..self.flat.cuts() {
            let points = self.flat.line(cut).points;
            let (Some(&first), Some(&last)) = (points.first(), points.last()) else {
                continue;
            };
            if let Some(from) = before {
                let d = self.way(&[from, first], false, 1);
                let _ = writeln!(
                    out,
                    "<path d=\"{d}\" fill=\"none\" stroke=\"#6a7074\" stroke-width=\"0.8\" stroke-dasharray=\"5 4\"/>"
                );
            }
            before = Some(last);
            let d = self.way(points, false, step);
            let _ = writeln!(
                out,
                "<path d=\"{d}\" fill=\"none\" stroke=\"#fbfaf5\" stroke-width=\"{kerf:.1}\" stroke-linecap=\"round\" stroke-linejoin=\"round\"/>"
            );
            let (x, y) = self.at(first);
            let _ = writeln!(
                out,
                "<circle cx=\"{x}\" cy=\"{y}\" r=\"3\" fill=\"#1b1e20\"/>"
            );
            if few {
                let _ = writeln!(
                    out,
                    "<text x=\"{:.1}\" y=\"{:.1}\" font-size=\"11\">{}</text>",
                    x + 4.0,
                    y - 4.0,
                    cut + 1
                );
            }
        }
    }

    fn clamp(&self, out: &mut String) {
        let Some(clamp) = self.of.setup.and_then(|s| s.clamp) else {
            return;
        };
        let (x, y) = self.at(clamp);
        let _ = writeln!(
            out,
            "<rect x=\"{:.1}\" y=\"{:.1}\" width=\"24\" height=\"24\" fill=\"#f2f0ea\" stroke=\"none\"/><rect x=\"{:.1}\" y=\"{:.1}\" width=\"24\" height=\"24\" fill=\"url(#stands)\" stroke=\"#1b1e20\" stroke-width=\"2\"/><text x=\"{:.1}\" y=\"{:.1}\" font-size=\"12\">clamp</text>",
            x - 12.0,
            y - 12.0,
            x - 12.0,
            y - 12.0,
            x + 15.0,
            y + 4.0
        );
    }

    fn flag(&self, out: &mut String, number: usize, f: &Finding) {
        let Some(at) = f.at else {
            return;
        };
        let (x, y) = self.at(at);
        let wide = if number < 10 { 18.0 } else { 26.0 };
        let _ = writeln!(
            out,
            "<g data-rule=\"{}\"><path d=\"M{x} {y}V{:.1}H{:.1}V{:.1}H{x}\" fill=\"{}\" stroke=\"#1b1e20\" stroke-width=\"1.2\"/><text x=\"{:.1}\" y=\"{:.1}\" font-size=\"13\" font-weight=\"700\" fill=\"#ffffff\">{number}</text></g>",
            escape(&f.rule),
            y - 34.0,
            x + wide,
            y - 16.0,
            ink(f.severity),
            x + 5.0,
            y - 20.0
        );
    }
}

fn ink(severity: Severity) -> &'static str {
    match severity {
        Severity::Refuse => "#9e1b14",
        Severity::Warn => "#8a5a00",
        Severity::Note => "#2d4a5c",
    }
}

fn escape(text: &str) -> String {
    text.chars()
        .filter(|c| !c.is_control())
        .flat_map(|c| match c {
            '<' => "&lt;".chars().collect::<Vec<_>>(),
            '>' => "&gt;".chars().collect(),
            '&' => "&amp;".chars().collect(),
            '"' => "&quot;".chars().collect(),
            c => vec![c],
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::vetting::rules::frame;
    use crate::{ReadingRules, read, vet_in_full};

    fn drawn(program: &str) -> (String, crate::Vetting) {
        let setup = frame::setup();
        let input = frame::input(&setup);
        let reading = read(program.as_bytes(), &ReadingRules::default());
        let vetting = vet_in_full(&reading, &input);
        let svg = draw(&Picture {
            name: "hinge <plates>",
            reading: &reading,
            setup: Some(&setup),
            kerf_mm: input.kerf_mm,
            report: &vetting.report,
            loose: &vetting.loose,
        });
        (svg, vetting)
    }

    #[test]
    fn the_drawing_shows_sheet_cuts_loose_pieces_clamp_and_flags() {
        let (svg, vetting) =
            drawn(&frame::PROGRAM.replace("G1 X48\nM5", "G1 X48\nM5\nG0 X0 Y20\nM3\nG1 X-20\nM5"));
        assert_eq!(vetting.loose.len(), 2);
        for part in [
            "hinge &lt;plates&gt;",
            "data-freed-by=\"1\"",
            "data-freed-by=\"2\"",
            ">clamp<",
            "data-rule=\"pierce-in-void\"",
        ] {
            assert!(svg.contains(part), "{part} is not in {svg}");
        }
        assert!(!svg.contains("NaN") && !svg.contains("inf"));
        assert_eq!(
            svg.matches("<path").count(),
            svg.matches("<path d=").count()
        );
    }

    #[test]
    fn each_finding_with_a_place_has_a_flag_with_its_number_in_the_list() {
        let (svg, vetting) = drawn(&frame::PROGRAM.replace("G1 X100", "G1 X400"));
        for (k, f) in vetting.report.findings.iter().enumerate() {
            let listed = format!(">{}  {}", k + 1, f.rule);
            assert!(svg.contains(&listed), "{listed}");
            assert_eq!(
                f.at.is_some(),
                svg.contains(&format!("\">{}</text></g>", k + 1)),
                "{f:?}"
            );
        }
    }

    #[test]
    fn a_program_that_cuts_nothing_is_drawn_too() {
        let (svg, _) = drawn("G21\nM2\n");
        assert!(svg.starts_with("<svg") && svg.ends_with("</svg>\n"));
    }
}
