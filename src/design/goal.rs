//! What the base is for: tip and work, the tap, the cut, running speeds, targets.

use super::named::Named;
use super::pouring::PourSpec;
use super::vary::Gaps;
use stillbed_input::document::{Allowed, Fields, Located};
use stillbed_input::problem::Place;
use stillbed_input::quantity::{Kind, Spread};
use stillbed_response::blow::Blow;
use stillbed_response::thermal::spec::ThermalSpec;

/// The two points between which the machine does its job.
#[derive(Debug, Clone, PartialEq)]
pub struct Tool {
    /// Name of the point at the tool.
    pub tip: Located<String>,
    /// Name of the point at the work; `ground` is the floor.
    pub work: Located<String>,
}

impl Tool {
    /// True when the work stands on the floor.
    #[must_use]
    pub fn works_on_ground(&self) -> bool {
        self.work.value == "ground"
    }
}

/// The tap of the ring-down.
#[derive(Debug, Clone, PartialEq)]
pub struct Tap {
    /// Name of the point that is struck.
    pub at: Located<String>,
    /// Unit direction, global axes.
    pub along: [f64; 3],
    /// Impulse, N s.
    pub impulse: Spread,
    /// Duration of the tap, s; 0 is an ideal impulse.
    pub duration: f64,
    /// Amplitude below which the base is quiet, m.
    pub settle_to: f64,
    /// Where it is stated.
    pub place: Place,
}

impl Tap {
    /// The tap with the `impulse`, N s, of a model.
    #[must_use]
    pub fn blow(&self, impulse: f64) -> Blow {
        Blow { impulse, duration: self.duration }
    }
}

/// The cut, for its stable depth.
#[derive(Debug, Clone, PartialEq)]
pub struct Cut {
    /// Unit direction in which chip thickness is measured, global axes.
    pub normal: [f64; 3],
    /// Cutting force per chip area, N/m2.
    pub cutting_stiffness: Spread,
}

/// A range of running speeds and the orders at which they excite.
#[derive(Debug, Clone, PartialEq)]
pub struct Speeds {
    /// Turns per second, lower limit first.
    pub range: (f64, f64),
    /// Multiples of the speed.
    pub orders: Vec<usize>,
    /// Unbalance, kg m.
    pub unbalance: Option<Spread>,
    /// Name of the point where the unbalance rotates.
    pub at: Option<Located<String>>,
}

/// A limit on one measure, SI.
#[derive(Debug, Clone, PartialEq)]
pub struct Target {
    /// Which measure.
    pub measure: Measure,
    /// Not below this.
    pub at_least: Option<f64>,
    /// Not above this.
    pub at_most: Option<f64>,
    /// Where it is stated.
    pub place: Place,
}

/// What a base is judged by.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Measure {
    /// First elastic frequency, Hz.
    FirstFrequency,
    /// Static stiffness between tip and work in its weakest direction, N/m.
    Stiffness,
    /// Dynamic stiffness at the worst peak, N/m.
    DynamicStiffness,
    /// Total mass, kg.
    Mass,
    /// Time after the tap until the motion stays below the stated amplitude, s.
    SettleTime,
    /// Total price, in the currency of the prices.
    Cost,
    /// Loss factor of the mode that decides the settle time.
    LossFactor,
}

impl Measure {
    /// All measures, in the order of a table.
    pub const ALL: [Measure; 7] = [
        Measure::FirstFrequency,
        Measure::Stiffness,
        Measure::DynamicStiffness,
        Measure::Mass,
        Measure::SettleTime,
        Measure::Cost,
        Measure::LossFactor,
    ];

    /// Its key in the design file.
    #[must_use]
    pub fn key(self) -> &'static str {
        match self {
            Measure::FirstFrequency => "first_frequency",
            Measure::Stiffness => "stiffness",
            Measure::DynamicStiffness => "dynamic_stiffness",
            Measure::Mass => "mass",
            Measure::SettleTime => "settle_time",
            Measure::Cost => "cost",
            Measure::LossFactor => "loss_factor",
        }
    }

    /// Its name as readers see it.
    #[must_use]
    pub fn title(self) -> &'static str {
        match self {
            Measure::FirstFrequency => "first frequency",
            Measure::Stiffness => "stiffness",
            Measure::DynamicStiffness => "dynamic stiffness",
            Measure::Mass => "mass",
            Measure::SettleTime => "settle time",
            Measure::Cost => "cost",
            Measure::LossFactor => "loss factor",
        }
    }

    /// What kind of quantity it is.
    #[must_use]
    pub fn kind(self) -> Kind {
        match self {
            Measure::FirstFrequency => Kind::Frequency,
            Measure::Stiffness | Measure::DynamicStiffness => Kind::Stiffness,
            Measure::Mass => Kind::Mass,
            Measure::SettleTime => Kind::Time,
            Measure::Cost | Measure::LossFactor => Kind::Ratio,
        }
    }

    /// True when more of it is better.
    #[must_use]
    pub fn more_is_better(self) -> bool {
        !matches!(self, Measure::Mass | Measure::SettleTime | Measure::Cost)
    }
}

/// Everything that the base is for.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Goal {
    /// Amplitude of motion at which losses are taken, m; `None` where no loss depends on amplitude.
    pub amplitude: Option<f64>,
    /// Tip and work.
    pub tool: Option<Tool>,
    /// The tap.
    pub tap: Option<Tap>,
    /// The cut.
    pub cut: Option<Cut>,
    /// Running speeds by name.
    pub speeds: Named<Speeds>,
    /// Limits that the base must meet.
    pub targets: Vec<Target>,
    /// Changes of temperature.
    pub thermal: Option<ThermalSpec>,
    /// What must stay free between parts.
    pub gaps: Gaps,
    /// How it is poured.
    pub pour: PourSpec,
}

impl Goal {
    /// Reads the key `amplitude` and the tables `tool`, `tap`, `cut`, `speeds`, `targets`, `thermal`,
    /// `gaps` and `pour` of the file.
    pub fn read(root: &Fields) -> Goal {
        let amplitude = root.list("amplitude", Kind::Length, 1, Allowed::Positive);
        Goal {
            amplitude: amplitude.map(|list| list[0]),
            tool: table(root, "tool", read_tool),
            tap: table(root, "tap", read_tap),
            cut: table(root, "cut", read_cut),
            speeds: Named::read_tables(root, "speeds", read_speeds),
            targets: root.fields("targets").map(read_targets).unwrap_or_default(),
            thermal: table(root, "thermal", ThermalSpec::read),
            gaps: Gaps::read(root),
            pour: table(root, "pour", |fields| Some(PourSpec::read(fields))).unwrap_or_default(),
        }
    }
}

fn table<T>(root: &Fields, key: &str, read: impl Fn(&Fields) -> Option<T>) -> Option<T> {
    let fields = root.fields(key)?;
    let found = read(&fields);
    fields.finish();
    found
}

fn read_tool(fields: &Fields) -> Option<Tool> {
    fields.need("tip", "\"POINT\"");
    fields.need("work", "\"POINT\" or \"ground\"");
    let (tip, work) = (fields.text("tip"), fields.text("work"));
    Some(Tool { tip: tip?, work: work? })
}

fn read_tap(fields: &Fields) -> Option<Tap> {
    fields.need("at", "\"POINT\"");
    let at = fields.text("at");
    let along = direction(fields, "along");
    let impulse = quantity_or(fields, "impulse", Kind::Impulse, 0.2);
    let duration = fields.list("duration", Kind::Time, 1, Allowed::NotNegative).map_or(0.0, |v| v[0]);
    let settle_to = fields.list("settle_to", Kind::Length, 1, Allowed::Positive).map_or(1e-6, |v| v[0]);
    Some(Tap { at: at?, along: along?, impulse, duration, settle_to, place: fields.place() })
}

fn read_cut(fields: &Fields) -> Option<Cut> {
    fields.need("cutting_stiffness", "\"1500 N/mm2\"");
    let normal = direction(fields, "normal");
    let stiffness = fields.quantity("cutting_stiffness", Kind::CuttingStiffness, Allowed::Positive);
    Some(Cut { normal: normal?, cutting_stiffness: stiffness? })
}

fn read_speeds(fields: &Fields) -> Option<Speeds> {
    fields.need("range", "\"2000, 12000 rpm\"");
    let range = fields.range("range", Kind::Frequency);
    let orders = if fields.has("orders") { fields.counts("orders") } else { Some(vec![1]) };
    let unbalance = fields.quantity("unbalance", Kind::Unbalance, Allowed::NotNegative);
    let at = fields.text("at");
    Some(Speeds { range: range?, orders: orders?, unbalance, at })
}

fn read_targets(fields: Fields) -> Vec<Target> {
    let mut targets = Vec::new();
    for measure in Measure::ALL {
        let Some(limits) = fields.fields(measure.key()) else {
            continue;
        };
        let limit = |key| limits.list(key, measure.kind(), 1, Allowed::NotNegative).map(|v| v[0]);
        let (at_least, at_most) = (limit("at_least"), limit("at_most"));
        if !limits.has("at_least") && !limits.has("at_most") {
            limits.refuse("at_least", "the target has no limit", "add at_least or at_most");
        }
        if let (Some(least), Some(most)) = (at_least, at_most)
            && least > most
        {
            limits.refuse("at_least", "at_least is above at_most, which nothing meets", "exchange the two");
        }
        let place = limits.place();
        limits.finish();
        targets.push(Target { measure, at_least, at_most, place });
    }
    fields.finish();
    targets
}

/// The unit vector at `key`.
fn direction(fields: &Fields, key: &str) -> Option<[f64; 3]> {
    fields.need(key, "\"1, 0, 0\"");
    let list = fields.list(key, Kind::Ratio, 3, Allowed::Any)?;
    let length = list.iter().map(|x| x * x).sum::<f64>().sqrt();
    if !(length > 0.0 && length.is_finite()) {
        fields.refuse(key, "a direction has a length; this one has none", "write it like \"1, 0, 0\"");
        return None;
    }
    Some([list[0] / length, list[1] / length, list[2] / length])
}

fn quantity_or(fields: &Fields, key: &str, kind: Kind, default: f64) -> Spread {
    fields.quantity(key, kind, Allowed::Positive).unwrap_or(Spread::exact(default))
}

#[cfg(test)]
mod tests {
    use super::*;
    use stillbed_input::document::Reader;

    fn read(text: &str) -> (Goal, Vec<String>) {
        let reader = Reader::new("d.toml", text);
        let root = reader.root();
        let goal = Goal::read(&root);
        root.finish();
        (goal, reader.finish().0.iter().map(|p| p.to_string()).collect())
    }

    #[test]
    fn a_direction_is_made_a_unit() {
        let (goal, said) = read("[tap]\nat = \"a\"\nalong = \"0, 3, 4\"\n");
        assert!(said.is_empty(), "{said:?}");
        assert_eq!(goal.tap.unwrap().along, [0.0, 0.6, 0.8]);
        assert!(read("[tap]\nat = \"a\"\nalong = \"0, 0, 0\"\n").1[0].contains("this one has none"));
    }

    #[test]
    fn a_tap_may_last() {
        let tap =
            |more: &str| read(&format!("[tap]\nat = \"a\"\nalong = \"1, 0, 0\"\n{more}")).0.tap.unwrap();
        assert_eq!(tap("duration = \"1 ms\"\n").blow(0.2), Blow { impulse: 0.2, duration: 1e-3 });
        assert_eq!(tap("").blow(0.2), Blow::ideal(0.2));
        let said = read("[tap]\nat = \"a\"\nalong = \"1, 0, 0\"\nduration = \"-1 ms\"\n").1;
        assert_eq!(said.len(), 1);
    }

    #[test]
    fn targets_are_limits_in_si() {
        let (goal, said) =
            read("[targets]\nmass = { at_most = \"140 kg\" }\nstiffness = { at_least = \"15 N/um\" }\n");
        assert!(said.is_empty(), "{said:?}");
        let stiffness = &goal.targets[0];
        assert_eq!((stiffness.measure, stiffness.at_least), (Measure::Stiffness, Some(15e6)));
        assert!(read("[targets]\nmas = { at_most = \"1 kg\" }\n").1[0].contains("did you mean \"mass\""));
    }

    #[test]
    fn speeds_are_turns_per_second() {
        let (goal, said) = read("[speeds.spindle]\nrange = \"1200, 6000 rpm\"\norders = [1, 2]\n");
        assert!(said.is_empty(), "{said:?}");
        let spindle = goal.speeds.get("spindle").unwrap();
        assert!((spindle.range.0 - 20.0).abs() < 1e-9 && spindle.orders == [1, 2]);
    }
}
