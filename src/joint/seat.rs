//! A joint or a foot by what a builder knows of it, and what it is once its loads at rest are known.

use super::derived::{Derived, Stuff};
use super::hold::Margins;
use super::spec::{SeatKind, SeatSpec};
use stillbed_input::quantity::{Draw, Spread, figures};

/// A joint or a foot that follows from its law.
#[derive(Debug, Clone, PartialEq)]
pub struct Seat {
    /// As the design states it.
    pub spec: SeatSpec,
    /// What it is; `None` before its materials and loads are known.
    pub derived: Option<Derived>,
    /// Least and largest force that presses it at one of its places at rest, N; `None` without weight.
    pub pressed: Option<[f64; 2]>,
    /// Before it opens or slips, under weight and the stated tap; `None` where that is not known.
    pub margins: Option<Margins>,
}

impl Seat {
    /// As stated, with nothing known of its loads.
    #[must_use]
    pub fn stated(spec: SeatSpec) -> Seat {
        Seat { spec, derived: None, pressed: None, margins: None }
    }

    /// Derives its springs under a `load`, N, that presses it beside its bolts; the indices of its spreads in a draw
    /// stay. False where it has none under that load, and then nothing is changed.
    pub fn derive(&mut self, stuffs: &[Stuff], load: f64) -> bool {
        let Some(mut found) = self.spec.derive(stuffs, load) else { return false };
        if let Some(known) = &self.derived {
            found.loss.index = known.loss.index;
            found.across.index = known.across.index;
            found.along.index = known.along.index;
        }
        self.derived = Some(found);
        true
    }

    /// What it says when its springs are `factor` times those of its law: the share of its area that carries, or the
    /// constant that would be another.
    #[must_use]
    pub fn means(&self, factor: &Spread) -> Option<String> {
        let derived = self.derived.as_ref()?;
        let with_limits = |value: f64, one: f64, other: f64, unit: &str| {
            let (low, high) = if one < other { (one, other) } else { (other, one) };
            let text = |x: f64| figures(x, 2);
            format!("{}{unit} ({} to {}{unit})", text(value), text(low), text(high))
        };
        let grown = |power: f64| [factor.value, factor.low, factor.high].map(|f| f.powf(power));
        let parts = match &self.spec.kind {
            SeatKind::Air { .. } => {
                let [value, low, high] = grown(-1.0);
                return Some(format!(
                    "as if its air were {} times as much",
                    with_limits(value, low, high, "")
                ));
            }
            SeatKind::Ball { .. } => {
                let [value, low, high] = grown(3.0);
                return Some(format!(
                    "as if it were pressed {} times as hard",
                    with_limits(value, low, high, "")
                ));
            }
            SeatKind::Levelling { .. } => return None,
            SeatKind::Bolted(_) => "the plate",
            SeatKind::Film { .. } => "the film",
            SeatKind::Slide { .. } => "the slide",
            SeatKind::Rubber { .. } => "the pad",
        };
        let shares = grown(1.0 / derived.carried_power).map(|share| share * self.spec.carries.value);
        if shares[0] <= 1.0 {
            let [value, low, high] = shares.map(|share| 100.0 * share.min(1.0));
            return Some(format!(
                "as if {parts} carried on {} of its area",
                with_limits(value, low, high, " %")
            ));
        }
        let [value, low, high] = grown(-1.0);
        match &self.spec.kind {
            SeatKind::Bolted(_) | SeatKind::Slide { .. } => {
                Some(format!("as if its C were {} of the table's", with_limits(value, low, high, "")))
            }
            _ => Some(format!(
                "as if its thickness were {} of what is stated",
                with_limits(value, low, high, "")
            )),
        }
    }

    /// What its spring of a freedom is multiplied by in `draw`.
    #[must_use]
    pub fn factor(&self, freedom: usize, draw: &Draw) -> f64 {
        let Some(derived) = &self.derived else { return 1.0 };
        let along = if self.spec.is_along(freedom) { derived.along.at(draw) } else { 1.0 };
        derived.across.at(draw) * along
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;
    use stillbed_input::document::Reader;

    fn seat(text: &str, way: &str, load: f64) -> Seat {
        let reader = Reader::new("d.toml", text);
        let mut seat = Seat::stated(SeatSpec::read_joint(&reader.root(), way).unwrap());
        let rubber = Stuff {
            name: "rubber".to_string(),
            youngs_modulus: Spread::exact(2e6),
            poissons_ratio: 0.49,
            loss: Spread::exact(0.1),
        };
        assert!(seat.derive(&[rubber], load));
        seat
    }

    const SLIDE: &str = "slide = \"60 x 200 mm\"\nfinish = \"scraped\"\nload = \"500 N\"\n";

    /// Scraped faces have m = 0.5, so that a share s of the area under the same load has √s of the stiffness.
    #[test]
    fn a_share_of_the_area_is_told_from_the_stiffness_and_gives_it() {
        let whole = seat(SLIDE, "slide", 0.0);
        let told = whole.means(&Spread::between(0.6325, 0.5, 0.8)).unwrap();
        assert_eq!(told, "as if the slide carried on 40 % (25 to 64 %) of its area");
        let part = seat(&format!("{SLIDE}carries = 0.4\n"), "slide", 0.0);
        let push = |seat: &Seat| seat.derived.as_ref().unwrap().springs;
        for (part, whole) in push(&part).into_iter().zip(push(&whole)) {
            assert_relative_eq!(part, whole * 0.4f64.sqrt(), max_relative = 1e-12);
        }
        assert!(whole.means(&Spread::exact(2.0)).unwrap().contains("C were 0.5 "));
    }

    #[test]
    fn a_factor_replaces_the_limits_of_the_law() {
        let whole = seat(SLIDE, "slide", 0.0).derived.unwrap();
        let text = format!("{SLIDE}factor = {{ value = 0.5, low = 0.4, high = 0.6 }}\n");
        let found = seat(&text, "slide", 0.0).derived.unwrap();
        assert_relative_eq!(found.springs[0], 0.5 * whole.springs[0], max_relative = 1e-12);
        assert_relative_eq!(found.across.low, 0.8, max_relative = 1e-12);
        assert_relative_eq!(found.across.high, 1.2, max_relative = 1e-12);
    }

    #[test]
    fn springs_along_the_faces_have_a_further_factor() {
        let mut seat = seat(&format!("{SLIDE}normal = \"z\"\n"), "slide", 0.0);
        let derived = seat.derived.as_mut().unwrap();
        (derived.across.index, derived.along.index) = (Some(0), Some(1));
        let draw = Draw { values: vec![2.0, 3.0] };
        let factors: Vec<f64> = (0..6).map(|freedom| seat.factor(freedom, &draw)).collect();
        assert_eq!(factors, [6.0, 6.0, 2.0, 2.0, 2.0, 6.0]);
        assert_eq!(seat.factor(0, &Draw::default()), 1.0);
    }

    #[test]
    fn a_slide_that_nothing_presses_holds_nothing() {
        let reader = Reader::new("d.toml", "slide = \"60 x 200 mm\"\nfinish = \"scraped\"\n");
        let mut seat = Seat::stated(SeatSpec::read_joint(&reader.root(), "slide").unwrap());
        assert!(!seat.derive(&[], 0.0) && seat.derived.is_none());
        assert!(seat.derive(&[], 100.0));
        let light = seat.derived.clone().unwrap().springs[0];
        assert!(seat.derive(&[], 400.0));
        assert_relative_eq!(seat.derived.unwrap().springs[0], 2.0 * light, max_relative = 1e-12);
    }
}
