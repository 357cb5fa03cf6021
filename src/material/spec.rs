//! The materials and mixes that the design file states.

use super::{Compaction, Figure, GrainShape, Material, Property, Role};
use stillbed_input::document::{Allowed, Fields, Located};
use stillbed_input::problem::{Place, suggest};
use stillbed_input::quantity::{Kind, Spread};

/// One ingredient and its share by weight.
#[derive(Debug, Clone, PartialEq)]
pub struct IngredientSpec {
    /// Name of its material.
    pub of: Located<String>,
    /// Share by weight, in the units of the recipe.
    pub share: Spread,
}

/// One kind of grains.
#[derive(Debug, Clone, PartialEq)]
pub struct AggregateSpec {
    /// Material and share.
    pub ingredient: IngredientSpec,
    /// Smallest and largest grain, m; a smallest grain of zero has been replaced by the size of fines.
    pub grain: Option<(f64, f64)>,
    /// Shape of the grains; `None` for the shape of the material.
    pub shape: Option<GrainShape>,
    /// Solid fraction by volume when poured.
    pub loose: Option<Spread>,
    /// Solid fraction by volume when vibrated.
    pub packed: Option<Spread>,
    /// Its place in the file.
    pub place: Place,
}

/// The air in a cast mix.
#[derive(Debug, Clone, PartialEq)]
pub enum AirSpec {
    /// Predicted from the binder demand of the packed grains and the compaction.
    Predict,
    /// Stated, as a fraction of the volume.
    Stated(Spread),
}

/// Measurements of a test bar of the mix, which replace the prediction.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct MeasuredSpec {
    /// kg/m3.
    pub density: Option<Spread>,
    /// Pa.
    pub youngs_modulus: Option<Spread>,
    /// Ratio.
    pub loss_factor: Option<Spread>,
}

/// A mix given as a recipe.
#[derive(Debug, Clone, PartialEq)]
pub struct MixSpec {
    /// Binder: resin with its hardener.
    pub binder: IngredientSpec,
    /// The aggregates, at least one kind of grains.
    pub aggregates: Vec<AggregateSpec>,
    /// Pigment.
    pub pigment: Option<IngredientSpec>,
    /// Air.
    pub air: AirSpec,
    /// Place of the air in the file, or else of the mix.
    pub air_place: Place,
    /// Resin to hardener, by weight.
    pub hardener_ratio: Option<(f64, f64)>,
    /// Measurements of a test bar.
    pub measured: MeasuredSpec,
    /// How the mix is compacted in the mould.
    pub compaction: Compaction,
    /// Its place in the file.
    pub place: Place,
}

/// A material defined in the design, or some properties of a known one.
#[derive(Debug, Clone, PartialEq)]
pub struct MaterialSpec {
    /// Its role.
    pub role: Option<Role>,
    /// Its properties.
    pub figures: Vec<(Property, Spread)>,
    /// Its place in the file.
    pub place: Place,
}

impl MaterialSpec {
    /// Reads one material.
    pub fn read(fields: &Fields) -> Option<MaterialSpec> {
        let role = fields.word("role", &Role::ALL.map(Role::name)).and_then(|found| {
            let role = Role::named(&found.value);
            if role.is_none() {
                let message = format!("\"{}\" is no role", found.value);
                fields.refuse("role", message, "known: skeleton, fill, void");
            }
            role
        });
        let mut figures = Vec::new();
        for property in Property::ALL {
            if let Some(spread) = fields.quantity(property.name(), property.kind(), Allowed::Any) {
                for problem in property.judge(&spread, &fields.place_of(property.name())) {
                    fields.say(problem);
                }
                figures.push((*property, spread));
            }
        }
        Some(MaterialSpec { role, figures, place: fields.place() })
    }

    /// The material `known`, or a new one called `name`, with what is stated here replacing its
    /// properties.
    pub fn over(&self, known: Option<&Material>, name: &str) -> Material {
        let mut material = known.cloned().unwrap_or(Material::new(name, Role::Skeleton));
        material.role = self.role.unwrap_or(material.role);
        for (property, spread) in &self.figures {
            material.set(*property, Figure::stated(*spread, "design"));
        }
        material
    }
}

impl MixSpec {
    /// Reads one mix.
    pub fn read(fields: &Fields) -> Option<MixSpec> {
        fields.need("binder", "{ of = \"epoxy\", share = 2 }");
        fields.need("aggregates", "[{ of = \"basalt\", share = 11, grain = \"2 to 5 mm\" }]");
        let binder = fields.fields("binder").and_then(closed(IngredientSpec::read));
        let pigment = fields.fields("pigment").and_then(closed(IngredientSpec::read));
        let aggregates: Option<Vec<_>> = fields
            .array("aggregates")
            .and_then(|list| list.into_iter().map(closed(AggregateSpec::read)).collect());
        let air = read_air(fields);
        let hardener_ratio = fields.ratio("hardener_ratio");
        let measured = fields.fields("measured").and_then(closed(MeasuredSpec::read)).unwrap_or_default();
        let mix = MixSpec {
            binder: binder?,
            aggregates: aggregates?,
            pigment,
            air,
            air_place: if fields.has("air") { fields.place_of("air") } else { fields.place() },
            hardener_ratio,
            measured,
            compaction: read_compaction(fields),
            place: fields.place(),
        };
        mix.check(fields);
        Some(mix)
    }

    /// All ingredients: binder, aggregates, pigment.
    pub fn ingredients(&self) -> impl Iterator<Item = &IngredientSpec> {
        let grains = self.aggregates.iter().map(|aggregate| &aggregate.ingredient);
        std::iter::once(&self.binder).chain(grains).chain(self.pigment.as_ref())
    }

    fn check(&self, fields: &Fields) {
        if self.aggregates.is_empty() {
            fields.refuse(
                "aggregates",
                "the mix has no aggregate",
                "add one, or name the binder as material",
            );
        }
        if let Some((resin, hardener)) = self.hardener_ratio
            && hardener > resin
        {
            fields.doubt(
                "hardener_ratio",
                format!("{resin} : {hardener} has more hardener than resin"),
                "resin comes first; is the ratio reversed?",
            );
        }
    }
}

impl IngredientSpec {
    fn read(fields: &Fields) -> Option<IngredientSpec> {
        fields.need("of", "\"MATERIAL\"");
        fields.need("share", "2");
        let of = fields.text("of");
        let share = fields.quantity("share", Kind::Ratio, Allowed::Positive);
        Some(IngredientSpec { of: of?, share: share? })
    }
}

impl AggregateSpec {
    fn read(fields: &Fields) -> Option<AggregateSpec> {
        let ingredient = IngredientSpec::read(fields);
        let mut grain = fields.range("grain", Kind::Length);
        if let Some((smallest, largest)) = grain {
            if smallest < 0.0 || largest <= 0.0 {
                fields.refuse("grain", "a grain must be larger than zero", "write it like \"0.3 to 0.8 mm\"");
            }
            if smallest == 0.0 {
                grain = Some((finest_grain(largest), largest));
            }
        }
        let shape = fields.word("shape", &GrainShape::ALL.map(GrainShape::name)).and_then(|found| {
            let shape = GrainShape::named(&found.value);
            if shape.is_none() {
                let message = format!("\"{}\" is no shape of grains", found.value);
                fields.refuse("shape", message, suggest(&found.value, GrainShape::ALL.map(GrainShape::name)));
            }
            shape
        });
        let packing = |key| fields.quantity(key, Kind::Ratio, Allowed::Between(0.2, 0.98));
        let (loose, packed) = (packing("loose"), packing("packed"));
        if let (Some(loose), Some(packed)) = (loose, packed)
            && loose.value > packed.value
        {
            fields.refuse(
                "loose",
                "poured grains lie denser than vibrated ones",
                "exchange loose and packed",
            );
        }
        Some(AggregateSpec { ingredient: ingredient?, grain, shape, loose, packed, place: fields.place() })
    }
}

impl MeasuredSpec {
    fn read(fields: &Fields) -> Option<MeasuredSpec> {
        Some(MeasuredSpec {
            density: fields.quantity("density", Kind::Density, Allowed::Positive),
            youngs_modulus: fields.quantity("youngs_modulus", Kind::Stress, Allowed::Positive),
            loss_factor: fields.quantity("loss_factor", Kind::Ratio, Allowed::NotNegative),
        })
    }
}

/// The smallest grain, m, of an aggregate sold by its largest sieve, m, alone, as in `"0 to 0.6 mm"`.
///
/// This is the sieve below which grains count as fines, of which washed sand holds a few per cent. A
/// powder that is about as fine itself is taken to have grains down to a tenth of its largest.
///
/// # Source
/// - `en12620`: fines are what passes 0.063 mm; from memory
fn finest_grain(largest: f64) -> f64 {
    const FINES: f64 = 0.063e-3;
    if largest > 2.0 * FINES { FINES } else { largest / 10.0 }
}

fn read_air(fields: &Fields) -> AirSpec {
    if fields.is_word("air", "predict") || !fields.has("air") {
        return AirSpec::Predict;
    }
    fields.quantity("air", Kind::Ratio, Allowed::Between(0.0, 0.6)).map_or(AirSpec::Predict, AirSpec::Stated)
}

fn read_compaction(fields: &Fields) -> Compaction {
    let time = fields.quantity("vibrated_for", Kind::Time, Allowed::NotNegative).map(|t| t.value);
    let pressure = fields.quantity("vacuum_pressure", Kind::Stress, Allowed::Positive).map(|p| p.value);
    let how = fields.word("compaction", &Compaction::NAMES);
    let name = how.as_ref().map_or("vibrated", |how| how.value.as_str());
    let Some(compaction) = Compaction::named(name, time, pressure) else {
        let message = format!("\"{name}\" is no way to compact a mix");
        fields.refuse("compaction", message, suggest(name, Compaction::NAMES));
        return Compaction::default();
    };
    let idle = |key: &str, asks: &str| {
        let message = format!("the mix is {}, so that {key} says nothing", compaction.words());
        fields.refuse(key, message, format!("leave it out, or write compaction = \"{asks}\""));
    };
    match compaction {
        Compaction::Vibrated { .. } if pressure.is_some() => idle("vacuum_pressure", "vacuum"),
        Compaction::Vacuum { .. } if time.is_some() => idle("vibrated_for", "vibrated"),
        Compaction::ByHand if time.is_some() => idle("vibrated_for", "vibrated"),
        Compaction::ByHand if pressure.is_some() => idle("vacuum_pressure", "vacuum"),
        _ => {}
    }
    compaction
}

/// Reads a table and then reports its unknown keys.
fn closed<T>(read: impl Fn(&Fields) -> Option<T>) -> impl Fn(Fields) -> Option<T> {
    move |fields| {
        let found = read(&fields);
        fields.finish();
        found
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use stillbed_input::document::Reader;

    fn read(text: &str) -> (Option<MixSpec>, Vec<String>) {
        let reader = Reader::new("d.toml", text);
        let root = reader.root();
        let mix = MixSpec::read(&root);
        root.finish();
        (mix, reader.finish().0.iter().map(|p| p.to_string()).collect())
    }

    const SAND: &str = "aggregates = [{ of = \"quartz sand\", share = 80, grain = \"0.3 to 0.8 mm\" }]\n";

    #[test]
    fn a_recipe_by_weight() {
        let (mix, said) = read(&format!(
            "binder = {{ of = \"epoxy\", share = 20 }}\n{SAND}pigment = {{ of = \"iron oxide\", share = 0.25 }}\nair = \"3 %\"\nhardener_ratio = \"100 : 30\"\n"
        ));
        let mix = mix.unwrap();
        assert!(said.is_empty(), "{said:?}");
        assert_eq!(mix.air, AirSpec::Stated(Spread::exact(0.03)));
        assert_eq!(mix.ingredients().count(), 3);
    }

    #[test]
    fn what_was_measured_of_a_bar_is_read() {
        let measured =
            "measured = { density = \"2.1 g/cm3\", youngs_modulus = \"18 GPa\", loss_factor = 0.02 }\n";
        let (mix, said) = read(&format!("binder = {{ of = \"epoxy\", share = 20 }}\n{SAND}{measured}"));
        assert!(said.is_empty(), "{said:?}");
        let MeasuredSpec { density, youngs_modulus, loss_factor } = mix.unwrap().measured;
        let values = [density, youngs_modulus, loss_factor].map(|spread| spread.unwrap().value);
        assert_eq!(values, [2100.0, 18e9, 0.02]);
    }

    #[test]
    fn compaction_is_read_and_what_says_nothing_refused() {
        let of = |text: &str| read(&format!("binder = {{ of = \"epoxy\", share = 20 }}\n{SAND}{text}"));
        assert_eq!(of("").0.unwrap().compaction, Compaction::default());
        let (mix, said) = of("compaction = \"vacuum\"\nvacuum_pressure = \"100 mbar\"\n");
        assert!(said.is_empty(), "{said:?}");
        assert_eq!(mix.unwrap().compaction, Compaction::Vacuum { pressure: 1e4 });
        assert_eq!(
            of("vibrated_for = \"2 min\"\n").0.unwrap().compaction,
            Compaction::Vibrated { time: 120.0 }
        );
        let (_, said) = of("compaction = \"by hand\"\nvibrated_for = \"2 min\"\n");
        assert!(said[0].contains("tamped by hand, so that vibrated_for says nothing"), "{said:?}");
        let (_, said) = of("compaction = \"by hnd\"\n");
        assert!(said[0].contains("did you mean \"by hand\"?"), "{said:?}");
    }

    #[test]
    fn a_ratio_with_more_hardener_than_resin_is_doubted() {
        let (_, said) = read(&format!(
            "binder = {{ of = \"epoxy\", share = 30 }}\n{SAND}hardener_ratio = \"30 : 100\"\n"
        ));
        assert_eq!(said.len(), 1);
        assert!(said[0].contains("is the ratio reversed?"));
    }

    #[test]
    fn sand_sold_from_zero_begins_at_its_fines() {
        let grain = |text: &str| {
            let sand = format!("[{{ of = \"quartz sand\", share = 4, grain = \"{text}\" }}]");
            let (mix, said) =
                read(&format!("binder = {{ of = \"epoxy\", share = 1 }}\naggregates = {sand}\n"));
            assert!(said.is_empty(), "{said:?}");
            mix.unwrap().aggregates[0].grain.unwrap()
        };
        assert_eq!(grain("0 to 0.6 mm"), (0.063e-3, 0.6e-3));
        assert_eq!(grain("0 to 0.1 mm"), (0.1e-3 / 10.0, 0.1e-3));
    }
}
