//! The data that the page's script needs of a block, as JSON beside its drawing.

use crate::block::{Axis, Block, Curve, Edge, Surface, Tone, Wireframe};
use crate::csv;
use crate::scale::Scale;
use crate::svg::{Plot, Size, colours, plot_box};
use crate::view::{RISE, TURN};
use maud::{Markup, PreEscaped, html};
use serde_json::{Value, json};

/// The data of `block` in a script element of type JSON, which browsers do not run.
pub(super) fn script(block: &Block) -> Markup {
    let mut data = match block {
        Block::Curve(curve) => curve_data(curve),
        Block::Wireframe(wireframe) => wireframe_data(wireframe),
        _ => json!({}),
    };
    if let Some(values) = csv::values(block) {
        data["file"] = json!(file_name(&values.title));
        // For a curve the script makes the CSV from the points.
        if !matches!(block, Block::Curve(_)) {
            data["csv"] = json!(csv::write(&values));
        }
    }
    // With `<` and `&` escaped, nothing in the data can close the element.
    let text = data.to_string().replace('<', "\\u003c").replace('&', "\\u0026");
    html! { script type="application/json" class="data" { (PreEscaped(text)) } }
}

/// A file name made of a title, without extension.
fn file_name(title: &str) -> String {
    let words: Vec<String> = title
        .split(|c: char| !c.is_ascii_alphanumeric())
        .filter(|word| !word.is_empty())
        .map(str::to_ascii_lowercase)
        .collect();
    let name: String = words.join("-").chars().take(60).collect();
    if name.is_empty() { "drawing".to_string() } else { name }
}

/// `value` rounded to six figures.
fn short(value: f64) -> Value {
    format!("{value:.5e}").parse::<f64>().map_or(Value::Null, |v| json!(v))
}

fn curve_data(curve: &Curve) -> Value {
    let (wide, narrow) = (plot_box(curve, Size::Wide), plot_box(curve, Size::Narrow));
    let field = |plot: &Plot| json!([plot.left, plot.top, plot.width, plot.height]);
    let point = |p: [f64; 2]| json!([short(p[0] / curve.x.unit.size), short(p[1] / curve.y.unit.size)]);
    let series: Vec<Value> = curve
        .series
        .iter()
        .map(|series| {
            let finite = |p: &[f64; 2]| p[0].is_finite() && p[1].is_finite();
            let points = series.points.iter().map(|p| if finite(p) { point(*p) } else { Value::Null });
            let points: Vec<Value> = points.collect();
            let tap: Vec<Value> = series.tap.iter().map(tone).collect();
            json!({ "name": series.name, "scattered": series.scattered, "points": points, "tap": tap })
        })
        .collect();
    json!({
        "kind": "curve",
        "wide": field(&wide),
        "narrow": field(&narrow),
        "x": axis(&curve.x, &wide.x),
        "y": axis(&curve.y, &wide.y),
        "series": series,
    })
}

fn axis(axis: &Axis, scale: &Scale) -> Value {
    json!({
        "title": axis.title,
        "unit": axis.unit.name,
        "key": axis.key,
        "size": axis.unit.size,
        "log": axis.log,
        "low": scale.low / axis.unit.size,
        "high": scale.high / axis.unit.size,
    })
}

fn tone(tone: &Tone) -> Value {
    json!({ "frequency": tone.frequency_hz, "loss": tone.loss_factor, "heard": tone.heard })
}

/// A coordinate in tenths of a millimetre.
fn coordinate(value: f64) -> Value {
    if value.is_finite() && value.abs() < 1e9 { json!((value * 1e4).round() as i64) } else { Value::Null }
}

/// A displacement relative to the largest, in thousandths.
fn thousandths(value: f64) -> Value {
    if value.is_finite() { json!((value * 1e3).round() as i64) } else { Value::Null }
}

/// A component of a unit vector.
fn part(value: f64) -> Value {
    if value.is_finite() { json!((value * 1e4).round() / 1e4) } else { Value::Null }
}

/// What the page's script draws a machine from, as JSON.
///
/// Points in tenths of a millimetre, motions in thousandths of their largest displacement, x, y and z of one point after
/// those of another.
/// Faces as `[of, seen through, normal, rings]` and divides as `[normal, behind, before, faces]`. `of` is the look
/// of a material, or -1 for a mass, -2 for a foot, -3 for a patch; a ring alternates points and edges, which are 0
/// for a cut, 1 for a sharp edge, and 2 more than the number of the normal beyond a smooth one.
pub fn wireframe_data(wireframe: &Wireframe) -> Value {
    let place = |p: &[f64; 3]| json!(p.map(coordinate));
    let motions: Vec<Value> = wireframe
        .motions
        .iter()
        .map(|motion| {
            let size = |d: &[f64; 3]| Some(d[0].hypot(d[1]).hypot(d[2])).filter(|size| size.is_finite());
            let most = motion.shape.iter().filter_map(size).fold(f64::MIN_POSITIVE, f64::max);
            let moved = |d: &[f64; 3]| d.map(|v| thousandths(v / most));
            json!({
                "name": motion.name,
                "tone": tone(&motion.tone),
                "shape": motion.shape.iter().flat_map(moved).collect::<Vec<_>>(),
            })
        })
        .collect();
    let mut normals: Vec<[f64; 3]> = Vec::new();
    let mut numbered = |normal: &[f64; 3]| {
        let same = |own: &[f64; 3]| (0..3).all(|i| (own[i] - normal[i]).abs() < 1e-6);
        normals.iter().position(same).unwrap_or_else(|| {
            normals.push(*normal);
            normals.len() - 1
        })
    };
    let faces: Vec<Value> = wireframe
        .faces
        .iter()
        .map(|face| {
            let of = match face.of {
                Surface::Material(n) => json!(wireframe.materials.get(n).map_or(n, |filling| filling.look)),
                Surface::Mass => json!(-1),
                Surface::Foot => json!(-2),
                Surface::Patch => json!(-3),
            };
            let mut edge = |edge: &Edge| match edge {
                Edge::Cut => 0,
                Edge::Sharp => 1,
                Edge::Smooth(normal) => 2 + numbered(normal),
            };
            let mut ring = |ring: &Vec<(usize, Edge)>| -> Vec<usize> {
                ring.iter().flat_map(|(point, own)| [*point, edge(own)]).collect()
            };
            let rings: Vec<Vec<usize>> = face.rings.iter().map(&mut ring).collect();
            json!([of, u8::from(face.seen_through), numbered(&face.normal), rings])
        })
        .collect();
    let number = |divide: Option<usize>| divide.map_or(json!(-1), |number| json!(number));
    let divides: Vec<Value> = wireframe
        .divides
        .iter()
        .map(|own| json!([numbered(&own.normal), number(own.behind), number(own.before), own.faces]))
        .collect();
    let names: Vec<Value> = wireframe
        .names
        .iter()
        .map(|own| {
            let lines =
                [own.name.replace('_', " "), own.detail.clone()].into_iter().filter(|l| !l.is_empty());
            Value::Array(
                [json!(own.point), json!(own.matters)].into_iter().chain(lines.map(Value::from)).collect(),
            )
        })
        .collect();
    json!({
        "kind": "wireframe",
        "colours": colours(),
        "file": file_name(&wireframe.title),
        "turn": TURN,
        "rise": RISE,
        "points": wireframe.points.iter().map(place).collect::<Vec<_>>(),
        "lines": wireframe.lines.iter().map(|line| &line.through).collect::<Vec<_>>(),
        "names": names,
        "faces": faces,
        "divides": divides,
        "normals": normals.iter().map(|normal| normal.map(part)).collect::<Vec<_>>(),
        "motions": motions,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::demo;

    #[test]
    fn data_cannot_end_its_element() {
        let mut curve = demo::ringdown();
        curve.series[0].name = "</script><script>alert(1)</script>".to_string();
        let text = script(&Block::Curve(curve)).into_string();
        assert_eq!(text.matches("</script>").count(), 1);
        let json = text.split_once('>').unwrap().1.strip_suffix("</script>").unwrap();
        let data: Value = serde_json::from_str(json).unwrap();
        assert_eq!(data["series"][0]["name"], "</script><script>alert(1)</script>");
    }

    #[test]
    fn values_are_in_the_unit_shown() {
        let data = curve_data(&demo::ringdown());
        assert_eq!(data["x"]["high"], 500.0);
        assert_eq!(data["series"][0]["points"][500][0], 500.0);
        assert_eq!(short(1.0 / 3.0), json!(0.333_333));
        assert_eq!(short(f64::NAN), Value::Null);
    }

    #[test]
    fn names_of_files_are_plain() {
        assert_eq!(file_name("Motion after a tap: \"x/..\""), "motion-after-a-tap-x");
        assert_eq!(file_name("鋳物"), "drawing");
    }
}
