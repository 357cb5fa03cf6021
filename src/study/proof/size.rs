//! Published cases of sizing: the size that gives a value, least mass from the stock, a skeleton moved
//! outward, rows of the stock.

use super::{Evaluator, Inputs};
use crate::size::{Inverse, InverseRequest, Options, Sizing, Watch};
use stillbed_design::{Design, Measure};
use stillbed_input::problem::Problem;
use stillbed_material::{Medium, Role, Table};
use stillbed_section::stock::Stock;
use stillbed_section::{Geometry, Part};

/// The evaluators by their name in the column `case`.
pub(super) const EVALUATORS: &[(&str, Evaluator)] =
    &[("size-sought", sought), ("size-least", least), ("size-outward", outward), ("stock-row", stock_row)];

/// A cantilever along x whose section has `parts`; `more` is text of the design before its build.
fn cantilever(length: f64, more: &str, parts: &str) -> Result<Design, String> {
    let text = format!(
        r#"
[points]
wall = "0, 0, 0 m"
tip = "{length}, 0, 0 m"
[members.arm]
from = "wall"
to = "tip"
section = "bar"
[anchors.wall]
at = "wall"
hold = "all"
[tool]
tip = "tip"
work = "ground"
[tap]
at = "tip"
along = "0, 0, 1"
impulse = "0.5 N s"
settle_to = "1 um"
{more}
[builds.bar]
sections.bar.parts = [{parts}]
"#
    );
    let reading = Design::read("case.toml", &text, &Table::built_in());
    reading.design.ok_or_else(|| said(&reading.problems))
}

fn said(problems: &[Problem]) -> String {
    problems.iter().map(Problem::to_string).collect::<Vec<String>>().join("; ")
}

fn material(name: &str, youngs: f64, density: f64, loss: f64) -> String {
    format!(
        "[materials.{name}]\nrole = \"skeleton\"\nyoungs_modulus = \"{youngs} Pa\"\npoissons_ratio = 0.3\ndensity = \"{density} kg/m3\"\nloss_factor = {loss}\n"
    )
}

/// The design of a bar of one shape, with a mass at its tip where the row gives one.
fn bar(inputs: &Inputs, more: &str) -> Result<Design, String> {
    let loss = inputs.number("loss").unwrap_or(0.001);
    let mut given = material("metal", inputs.number("youngs")?, inputs.number("density")?, loss);
    if let Ok(head) = inputs.number("head") {
        given.push_str(&format!("[masses.head]\nat = \"tip\"\nmass = \"{head} kg\"\n"));
    }
    let parts = format!("{{ {} = \"{} mm\", of = \"metal\" }}", inputs.text("shape")?, inputs.text("size")?);
    cantilever(inputs.number("length")?, &format!("{given}{more}"), &parts)
}

fn measure(name: &str) -> Result<Measure, String> {
    Measure::ALL.into_iter().find(|m| m.key() == name).ok_or_else(|| format!("no measure {name}"))
}

fn sought(inputs: &Inputs) -> Result<Vec<f64>, String> {
    let design = bar(inputs, "")?;
    let measure = measure(inputs.text("measure")?)?;
    let value = inputs.text("value")?.replace('_', " ");
    let value = stillbed_input::quantity::single(&value, measure.kind()).map_err(|fault| fault.message)?;
    let asking = InverseRequest { size: format!("bar.1.{}", inputs.text("find")?), measure, value };
    let found =
        Inverse::compute(&design, &design.builds[0], &asking, 3).map_err(|problems| said(&problems))?;
    found.found_m.map(|size| vec![size]).ok_or(found.answer)
}

fn sized(design: &Design) -> Result<Sizing, String> {
    let watch = Watch { progress: &|_, _| (), stop: &|| false };
    let options = Options { count: 3, ..Options::default() };
    let sizing = Sizing::compute(design, &design.builds[0], &Stock::built_in(), &options, &watch);
    sizing.map(|(sizing, _)| sizing).map_err(|problems| said(&problems))
}

fn least(inputs: &Inputs) -> Result<Vec<f64>, String> {
    let (target, value) = (inputs.text("target")?, inputs.text("value")?.replace('_', " "));
    let more = format!(
        "[targets]\n{target} = {{ at_least = \"{value}\" }}\n[vary.bar]\nsection = \"bar\"\nstock = \"{}, metal\"\n",
        inputs.text("stock")?
    );
    let sizing = sized(&bar(inputs, &more)?)?;
    sizing.best.map(|best| vec![best.mass_kg]).ok_or(sizing.answer)
}

/// Position of the skeleton, mm, and stiffness at the tip, N/mm, of the best candidate.
fn outward(inputs: &Inputs) -> Result<Vec<f64>, String> {
    let number = |name: &str| inputs.number(name);
    let mut more = material("metal", number("metal")?, 7850.0, 0.001);
    more.push_str(&material("fill", number("fill")?, 2200.0, 0.01).replace("skeleton", "fill"));
    more.push_str(&format!(
        "[targets]\nstiffness = {{ at_least = \"{} N/m\" }}\n[vary.place]\nsection = \"bar\"\npart = 2\nat = {{ from = \"0, 0 mm\", to = \"0, {} mm\", steps = {} }}\n",
        number("value")?,
        number("to")?,
        number("steps")?
    ));
    let parts = format!(
        "{{ rectangle = \"{} x {} mm\", of = \"fill\" }}, {{ tube = \"{} mm\", of = \"metal\" }}",
        number("width")?,
        number("height")?,
        inputs.text("tube")?
    );
    let sizing = sized(&cantilever(number("length")?, &more, &parts)?)?;
    let best = sizing.best.ok_or(sizing.answer)?;
    let place = best.choice.get("place").cloned().unwrap_or_default();
    let place = stillbed_input::quantity::list(&place, stillbed_input::quantity::Kind::Length, 2)
        .map_err(|fault| fault.message)?;
    let stiffness = best.stiffness_n_per_m.ok_or("no stiffness")?;
    Ok(vec![1e3 * place[1], 1e-3 * stiffness])
}

/// Mass, kg/m, area, cm2, and second moments, cm4, of a row of the stock, standing upright.
fn stock_row(inputs: &Inputs) -> Result<Vec<f64>, String> {
    let form = inputs.text("form")?.replace('_', " ");
    let wanted = inputs.text("size")?;
    let stock = Stock::built_in();
    let sizes = stock.find(&form, "structural steel").map_err(|(message, _)| message)?;
    let same = |size: &str| size.replace(' ', "").trim_end_matches("mm") == wanted;
    let size = sizes.iter().find(|s| same(&s.size)).ok_or_else(|| format!("no {form} {wanted}"))?;
    let unit = [Medium::isotropic("case", Role::Skeleton, 1.0, 0.3, 7850.0, 0.0)];
    let part = Part::new(size.shape(true, 0.0), 0);
    let solution = Geometry::new(vec![part]).and_then(|g| g.solve(&unit, 1.0)).map_err(|f| f.to_string())?;
    let stiffness = solution.as_stated.stiffness;
    let second = [stiffness.ei_y_n_m2.re, stiffness.ei_z_n_m2.re].map(|i| 1e8 * i);
    let mut row = vec![solution.mass_per_length, 1e4 * solution.parts[0].area_m2];
    row.extend(&second[..if form.starts_with("round") { 1 } else { 2 }]);
    Ok(row)
}

#[cfg(test)]
mod tests {
    #[test]
    fn every_case_of_sizing_holds() {
        assert_eq!(super::super::failing("size"), Vec::<String>::new());
    }
}
