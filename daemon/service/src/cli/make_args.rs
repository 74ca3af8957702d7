//! The flags of `standclear make`: lengths carry their unit.

use std::path::PathBuf;

use clap::{Args, Subcommand, ValueEnum};
use units::Point;

use super::Format;

/// A length with its unit as typed (`100mm`, `4in`), mm.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Length(pub f64);

/// Millimetres in an inch (exact by definition, NIST SP 811).
const INCH_MM: f64 = 25.4;

impl std::str::FromStr for Length {
    type Err = String;
    fn from_str(text: &str) -> Result<Self, String> {
        let text = text.trim();
        let (digits, unit) = match (text.strip_suffix("mm"), text.strip_suffix("in")) {
            (Some(digits), _) => (digits, 1.0),
            (None, Some(digits)) => (digits, INCH_MM),
            (None, None) => return Err("the unit is missing: write 100mm or 4in".into()),
        };
        let number: f64 = digits
            .trim()
            .parse()
            .map_err(|_| "a number with its unit is wanted, such as 100mm or 4in".to_owned())?;
        if !number.is_finite() {
            return Err("a finite number is wanted".into());
        }
        Ok(Self(number * unit))
    }
}

/// A place on the sheet as typed (`120mm,80mm`).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Place(pub Point);

impl std::str::FromStr for Place {
    type Err = String;
    fn from_str(text: &str) -> Result<Self, String> {
        let (x, y) = text
            .split_once(',')
            .ok_or("two lengths are wanted, such as 120mm,80mm")?;
        let (x, y): (Length, Length) = (x.parse()?, y.parse()?);
        Ok(Self(Point::new(x.0, y.0)))
    }
}

/// Which side of a line is kept.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Keep {
    /// Left of the way from start to end; of `--x`, which runs up: left.
    Left,
    /// Right of it.
    Right,
    /// Above a line of `--y`: left of its way.
    Above,
    /// Below a line of `--y`: right of its way.
    Below,
}

impl Keep {
    pub(crate) fn left(self) -> bool {
        matches!(self, Self::Left | Self::Above)
    }
}

/// `standclear make`.
#[derive(Clone, Debug, Args)]
pub struct MakeArgs {
    #[command(subcommand)]
    pub shape: MakeShape,
    /// What lies on the table: material, thickness, sheet, clamp
    #[arg(long, value_name = "FILE", global = true)]
    pub setup: Option<PathBuf>,
    /// The machine file [default: as `vet`]
    #[arg(long, value_name = "FILE", global = true)]
    pub config: Option<PathBuf>,
    /// Where on the sheet its middle lies (of holes: the first's); left out: the first free place
    #[arg(long, value_name = "X,Y", global = true, allow_hyphen_values = true)]
    pub at: Option<Place>,
    /// Write the program here and print its report; left out: the program goes to stdout if vetting
    /// does not refuse it, the report to stderr
    #[arg(long, value_name = "FILE", global = true)]
    pub out: Option<PathBuf>,
    /// How it is printed
    #[arg(long, value_name = "FORMAT", default_value = "text", global = true)]
    pub format: Format,
}

/// What to cut: finished sizes, with their units.
#[derive(Clone, Copy, Debug, Subcommand)]
pub enum MakeShape {
    /// A round part
    Disc {
        #[arg(long, value_name = "LENGTH", allow_hyphen_values = true)]
        diameter: Length,
    },
    /// A round part with a round hole
    Ring {
        #[arg(long, value_name = "LENGTH", allow_hyphen_values = true)]
        outer: Length,
        #[arg(long, value_name = "LENGTH", allow_hyphen_values = true)]
        inner: Length,
    },
    /// A rectangular part
    Rectangle {
        /// Along X
        #[arg(long, value_name = "LENGTH", allow_hyphen_values = true)]
        width: Length,
        /// Along Y
        #[arg(long, value_name = "LENGTH", allow_hyphen_values = true)]
        height: Length,
        /// Of its corners
        #[arg(long, value_name = "LENGTH", allow_hyphen_values = true)]
        radius: Option<Length>,
    },
    /// A slot with round ends
    Slot {
        #[arg(long, value_name = "LENGTH", allow_hyphen_values = true)]
        length: Length,
        #[arg(long, value_name = "LENGTH", allow_hyphen_values = true)]
        width: Length,
        /// Degrees, anticlockwise from X
        #[arg(long, default_value_t = 0.0, allow_hyphen_values = true)]
        angle: f64,
    },
    /// A straight cut: from place to place, or across the sheet up to a bridge at each edge
    Line {
        #[arg(long, value_name = "X,Y", requires = "to", allow_hyphen_values = true)]
        from: Option<Place>,
        #[arg(
            long,
            value_name = "X,Y",
            requires = "from",
            allow_hyphen_values = true
        )]
        to: Option<Place>,
        /// Up the sheet, at this X
        #[arg(long, value_name = "LENGTH", conflicts_with_all = ["from", "y"], allow_hyphen_values = true)]
        x: Option<Length>,
        /// Across the sheet, at this Y
        #[arg(
            long,
            value_name = "LENGTH",
            conflicts_with = "from",
            allow_hyphen_values = true
        )]
        y: Option<Length>,
        /// Which side is kept: the kerf lies on the other
        #[arg(long, default_value = "right")]
        keep: Keep,
    },
    /// A row or grid of round holes
    Holes {
        #[arg(long)]
        count: u32,
        #[arg(long, value_name = "LENGTH", allow_hyphen_values = true)]
        diameter: Length,
        /// From middle to middle
        #[arg(
            long,
            value_name = "LENGTH",
            default_value = "0mm",
            allow_hyphen_values = true
        )]
        pitch: Length,
        /// Of a row: degrees, anticlockwise from X
        #[arg(long, default_value_t = 0.0, allow_hyphen_values = true)]
        angle: f64,
        #[arg(long, default_value_t = 1)]
        rows: u32,
        /// From row to row [default: the pitch]
        #[arg(long, value_name = "LENGTH", allow_hyphen_values = true)]
        row_pitch: Option<Length>,
    },
}
