//! The properties of a material, and the limits that a sensible value of each lies within.
//!
//! The names are those of the design file and of `data/materials.csv`. A value outside physical limits
//! is an error; one outside the range of all known materials is a warning.

use serde::{Serialize, Serializer};
use stillbed_input::problem::{Place, Problem};
use stillbed_input::quantity::{Kind, Spread, figures, show};

/// A property of a material that is a number with a unit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Property {
    /// Young's modulus; along the fibre for a fibrous material.
    YoungsModulus,
    /// Poisson's ratio.
    PoissonsRatio,
    /// Shear modulus, where it does not follow from the two above: wood, laminates.
    ShearModulus,
    /// Mass per volume.
    Density,
    /// Loss factor in tension: energy lost per radian over energy stored.
    LossFactor,
    /// Loss factor in shear, where it differs.
    ShearLossFactor,
    /// Linear thermal expansion.
    Expansion,
    /// Thermal conductivity.
    Conductivity,
    /// Specific heat capacity.
    HeatCapacity,
    /// Tensile strength; yield of a ductile metal.
    Strength,
    /// Compressive strength.
    CompressiveStrength,
    /// Solid fraction of one narrow class of grains, poured loose.
    LoosePacking,
    /// Solid fraction of one narrow class of grains after vibration.
    VibratedPacking,
    /// Weight of hardener per weight of resin.
    HardenerRatio,
    /// Heat set free by the cure, per mass of mixed binder.
    HeatOfReaction,
    /// Pre-exponential factor of the rate of cure.
    RateConstant,
    /// Activation energy of the cure over the gas constant.
    ActivationTemperature,
    /// Time in which a mixed batch can be worked.
    PotLife,
    /// Mass in the test cup for which the maker states its times.
    CupMass,
    /// Heat transfer coefficient at the surface of that cup.
    CupLoss,
    /// Peak temperature in that cup.
    ExothermPeak,
    /// Time of that peak, from mixing.
    ExothermTime,
    /// Temperature that a curing pour must not exceed.
    MaxTemperature,
    /// Volume shrinkage of the neat binder in curing.
    CureShrinkage,
}

/// The values that a property can have, and those it usually has.
struct Limits {
    /// Open interval that physics allows.
    physical: (f64, f64),
    /// True when zero, its lower end, is allowed too.
    zero: bool,
    /// Range of known materials; a value outside is doubtful.
    usual: (f64, f64),
}

impl Limits {
    fn allow(&self, x: f64) -> bool {
        self.physical.0 < x && x < self.physical.1 || self.zero && x == 0.0
    }

    fn expect(&self, x: f64) -> bool {
        self.usual.0 <= x && x <= self.usual.1
    }

    fn words(&self) -> String {
        match self.physical {
            (low, high) if high.is_finite() => format!("it lies between {low} and {high}"),
            _ if self.zero => "it is at least 0".to_string(),
            _ => "it is above 0".to_string(),
        }
    }
}

impl Property {
    /// Every property, in the order in which they are listed.
    pub const ALL: &'static [Property] = &[
        Property::YoungsModulus,
        Property::PoissonsRatio,
        Property::ShearModulus,
        Property::Density,
        Property::LossFactor,
        Property::ShearLossFactor,
        Property::Expansion,
        Property::Conductivity,
        Property::HeatCapacity,
        Property::Strength,
        Property::CompressiveStrength,
        Property::LoosePacking,
        Property::VibratedPacking,
        Property::HardenerRatio,
        Property::HeatOfReaction,
        Property::RateConstant,
        Property::ActivationTemperature,
        Property::PotLife,
        Property::CupMass,
        Property::CupLoss,
        Property::ExothermPeak,
        Property::ExothermTime,
        Property::MaxTemperature,
        Property::CureShrinkage,
    ];

    /// Its name in files, such as `youngs_modulus`.
    pub fn name(self) -> &'static str {
        match self {
            Property::YoungsModulus => "youngs_modulus",
            Property::PoissonsRatio => "poissons_ratio",
            Property::ShearModulus => "shear_modulus",
            Property::Density => "density",
            Property::LossFactor => "loss_factor",
            Property::ShearLossFactor => "shear_loss_factor",
            Property::Expansion => "expansion",
            Property::Conductivity => "conductivity",
            Property::HeatCapacity => "heat_capacity",
            Property::Strength => "strength",
            Property::CompressiveStrength => "compressive_strength",
            Property::LoosePacking => "loose_packing",
            Property::VibratedPacking => "vibrated_packing",
            Property::HardenerRatio => "hardener_ratio",
            Property::HeatOfReaction => "heat_of_reaction",
            Property::RateConstant => "rate_constant",
            Property::ActivationTemperature => "activation_temperature",
            Property::PotLife => "pot_life",
            Property::CupMass => "cup_mass",
            Property::CupLoss => "cup_loss",
            Property::ExothermPeak => "exotherm_peak",
            Property::ExothermTime => "exotherm_time",
            Property::MaxTemperature => "max_temperature",
            Property::CureShrinkage => "cure_shrinkage",
        }
    }

    /// The property of that name.
    pub fn named(name: &str) -> Option<Property> {
        Property::ALL.iter().copied().find(|property| property.name() == name)
    }

    /// What it measures.
    pub fn kind(self) -> Kind {
        match self {
            Property::YoungsModulus
            | Property::ShearModulus
            | Property::Strength
            | Property::CompressiveStrength => Kind::Stress,
            Property::Density => Kind::Density,
            Property::Expansion => Kind::Expansion,
            Property::Conductivity => Kind::Conductivity,
            Property::HeatCapacity => Kind::HeatCapacity,
            Property::HeatOfReaction => Kind::HeatPerMass,
            Property::RateConstant => Kind::Rate,
            Property::ActivationTemperature => Kind::TemperatureChange,
            Property::PotLife | Property::ExothermTime => Kind::Time,
            Property::CupMass => Kind::Mass,
            Property::CupLoss => Kind::Film,
            Property::MaxTemperature | Property::ExothermPeak => Kind::Temperature,
            Property::PoissonsRatio
            | Property::LossFactor
            | Property::ShearLossFactor
            | Property::LoosePacking
            | Property::VibratedPacking
            | Property::HardenerRatio
            | Property::CureShrinkage => Kind::Ratio,
        }
    }

    /// Its key in JSON, which includes the unit, such as `youngs_modulus_pa`.
    pub fn key(self) -> String {
        let unit = match self.kind() {
            Kind::Stress => "_pa",
            Kind::Density => "_kg_per_m3",
            Kind::Expansion => "_per_k",
            Kind::Conductivity => "_w_per_m_k",
            Kind::HeatCapacity => "_j_per_kg_k",
            Kind::HeatPerMass => "_j_per_kg",
            Kind::Rate => "_per_s",
            Kind::Mass => "_kg",
            Kind::Film => "_w_per_m2_k",
            Kind::Temperature | Kind::TemperatureChange => "_k",
            Kind::Time => "_s",
            _ => "",
        };
        format!("{}{unit}", self.name())
    }

    /// `value` in SI as a person reads it.
    pub fn show(self, value: f64) -> String {
        match self.kind() {
            Kind::Temperature => format!("{} °C", figures(value - 273.15, 3)),
            Kind::Time if value >= 60.0 => format!("{} min", figures(value / 60.0, 3)),
            kind => show(value, kind),
        }
    }

    fn limits(self) -> Limits {
        let any = f64::INFINITY;
        let within = |low, high, usual| Limits { physical: (low, high), zero: false, usual };
        let positive = |usual| within(0.0, any, usual);
        let not_negative = |usual| Limits { physical: (0.0, any), zero: true, usual };
        match self {
            Property::YoungsModulus => positive((1e4, 1.3e12)),
            Property::ShearModulus => positive((3e3, 6e11)),
            Property::PoissonsRatio => within(-1.0, 0.5, (-0.1, 0.5)),
            Property::Density => positive((20.0, 23_000.0)),
            Property::LossFactor | Property::ShearLossFactor => not_negative((0.0, 2.0)),
            Property::Expansion => within(-any, any, (-2e-5, 5e-4)),
            Property::Conductivity => positive((0.01, 2500.0)),
            Property::HeatCapacity => positive((100.0, 5000.0)),
            Property::Strength | Property::CompressiveStrength => positive((1e4, 1e10)),
            Property::LoosePacking | Property::VibratedPacking => within(0.0, 1.0, (0.3, 0.75)),
            Property::HardenerRatio => positive((0.005, 3.0)),
            Property::HeatOfReaction => not_negative((0.0, 1e6)),
            Property::RateConstant => positive((1.0, 1e20)),
            Property::ActivationTemperature => positive((2000.0, 30_000.0)),
            Property::PotLife | Property::ExothermTime => positive((60.0, 2e5)),
            Property::CupMass => positive((1e-3, 5.0)),
            Property::CupLoss => positive((1.0, 50.0)),
            Property::ExothermPeak => positive((300.0, 600.0)),
            Property::MaxTemperature => positive((280.0, 600.0)),
            Property::CureShrinkage => within(-1.0, 1.0, (-0.02, 0.15)),
        }
    }

    /// What is wrong or doubtful about `spread` as a value of this property, reported at `place`.
    pub fn judge(self, spread: &Spread, place: &Place) -> Vec<Problem> {
        let Spread { value, low, high, .. } = *spread;
        let show = |x: f64| self.show(x);
        let mut problems = Vec::new();
        if low > high {
            let message = format!("low {} is above high {}", show(low), show(high));
            problems.push(Problem::error(place.clone(), message).with_help("exchange the two"));
        } else if value < low || value > high {
            let message = format!("the value {} lies outside {} to {}", show(value), show(low), show(high));
            let help = "low and high are the limits below and above which 5 % of the cases lie";
            problems.push(Problem::error(place.clone(), message).with_help(help));
        }
        let limits = self.limits();
        let mut judged = vec![value];
        judged.extend([low, high].iter().filter(|x| **x != value));
        for x in judged {
            if !limits.allow(x) {
                let message = format!("{} of {} is not physical", self.words(), show(x));
                problems.push(Problem::error(place.clone(), message).with_help(limits.words()));
            } else if !limits.expect(x) {
                let message = format!("{} of {} is doubtful", self.words(), show(x));
                problems.push(Problem::warning(place.clone(), message).with_help(self.doubt(x, &limits)));
            }
        }
        problems
    }

    /// Its name in words with the article: `a Young's modulus`.
    fn words(self) -> String {
        match self {
            Property::YoungsModulus => "a Young's modulus".to_string(),
            Property::PoissonsRatio => "a Poisson's ratio".to_string(),
            Property::Expansion
            | Property::ActivationTemperature
            | Property::ExothermPeak
            | Property::ExothermTime => {
                format!("an {}", self.name().replace('_', " "))
            }
            _ => format!("a {}", self.name().replace('_', " ")),
        }
    }

    fn doubt(self, x: f64, limits: &Limits) -> String {
        let likely: &[(f64, &str)] = match self.kind() {
            Kind::Stress => &[(1e9, "GPa"), (1e6, "MPa")],
            Kind::Density => &[(1e3, "g/cm3")],
            Kind::Expansion => &[(1e-6, "um/m K")],
            Kind::Ratio => &[(0.01, "%")],
            _ => &[],
        };
        match likely.iter().find(|(size, _)| limits.expect(x * size)) {
            Some((_, unit)) => format!("did you mean {} {unit}?", figures(x, 3)),
            None => {
                let (low, high) = limits.usual;
                format!("materials lie between {} and {}", self.show(low), self.show(high))
            }
        }
    }
}

impl Serialize for Property {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(self.name())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn said(property: Property, spread: impl Into<Spread>) -> Vec<String> {
        property.judge(&spread.into(), &Place::default()).iter().map(Problem::to_string).collect()
    }

    #[test]
    fn names_lead_back_to_their_property() {
        for property in Property::ALL {
            assert_eq!(Property::named(property.name()), Some(*property));
        }
        assert_eq!(Property::named("stiffness"), None);
        assert_eq!(Property::YoungsModulus.key(), "youngs_modulus_pa");
        assert_eq!(Property::LossFactor.key(), "loss_factor");
    }

    #[test]
    fn a_slip_of_the_unit_is_doubted_and_the_likely_unit_named() {
        assert_eq!(
            said(Property::Density, 2.7),
            ["a density of 2.7 kg/m³ is doubtful; did you mean 2.7 g/cm3?"]
        );
        assert_eq!(
            said(Property::YoungsModulus, 200.0),
            ["a Young's modulus of 0.2 kPa is doubtful; did you mean 200 GPa?"]
        );
        assert_eq!(said(Property::LossFactor, 3.0), ["a loss factor of 3 is doubtful; did you mean 3 %?"]);
        let expansion = &said(Property::Expansion, 12.0)[0];
        assert!(expansion.ends_with("is doubtful; did you mean 12 um/m K?"), "{expansion}");
    }

    #[test]
    fn a_time_of_a_minute_or_more_is_shown_in_minutes() {
        assert_eq!(
            [30.0, 60.0, 1800.0].map(|time| Property::PotLife.show(time)),
            ["30 s", "1 min", "30 min"]
        );
    }

    #[test]
    fn what_no_material_can_have_is_refused() {
        assert_eq!(said(Property::Density, -5.0), ["a density of -5 kg/m³ is not physical; it is above 0"]);
        assert_eq!(
            said(Property::PoissonsRatio, 0.5),
            ["a Poisson's ratio of 0.5 is not physical; it lies between -1 and 0.5"]
        );
        assert_eq!(
            said(Property::LossFactor, -0.1),
            ["a loss factor of -0.1 is not physical; it is at least 0"]
        );
        assert!(said(Property::LossFactor, 0.0).is_empty());
    }

    #[test]
    fn a_spread_has_its_value_inside() {
        let spread = Spread::between(18e9, 24e9, 14e9);
        assert_eq!(
            said(Property::YoungsModulus, spread),
            ["low 24 GPa is above high 14 GPa; exchange the two"]
        );
        let spread = Spread::between(30e9, 14e9, 24e9);
        assert!(said(Property::YoungsModulus, spread)[0].starts_with("the value 30 GPa lies outside"));
    }
}
