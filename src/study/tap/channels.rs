//! Ties between the channels of a record and points and directions of the design.
//!
//! A tie names a point and an axis as the design does: `column_top x`, or `column_top -x` where the sensor is
//! mounted the other way round. `tip` and `work` are the points of the tool. The channel titles of a record
//! are read in the same way, with a dot, a blank or an underscore between: `tip.z`.

use stillbed_design::{Build, Design};
use stillbed_input::problem::{Place, Problem, suggest};
use stillbed_response::stations::Station;

/// A channel tied to a point and direction of the design.
#[derive(Debug, Clone, PartialEq)]
pub struct Tie {
    /// Point and axis as written.
    pub name: String,
    /// The motion that it measures.
    pub station: Station,
}

/// Point and direction of `text`, if it ends with an axis.
fn split(text: &str) -> Option<(&str, [f64; 3])> {
    let (point, axis) = text.trim().rsplit_once([' ', '.', '_'])?;
    let (sign, axis) = match axis.strip_prefix(['-', '+']) {
        Some(rest) => (if axis.starts_with('-') { -1.0 } else { 1.0 }, rest),
        None => (1.0, axis),
    };
    let place = ["x", "y", "z"].iter().position(|known| known.eq_ignore_ascii_case(axis))?;
    let mut along = [0.0; 3];
    along[place] = sign;
    Some((point.trim(), along))
}

/// Index of the point called `name`, which is one of the drawing or of the tool.
fn point(design: &Design, build: &Build, name: &str) -> Option<usize> {
    let position = |name: &str| build.drawing.points.position(name);
    let tool = design.goal.tool.as_ref();
    position(name).or_else(|| match name {
        "tip" => position(&tool?.tip.value),
        "work" => position(&tool?.work.value),
        _ => None,
    })
}

fn tie(design: &Design, build: &Build, text: &str) -> Option<Tie> {
    let (name, along) = split(text)?;
    let point = point(design, build, name)?;
    Some(Tie { name: text.trim().to_string(), station: Station::at(point, along) })
}

/// The ties that the titles of a record give; `None` for a title that names no point.
pub fn ties_by_title<'a>(
    design: &Design,
    build: &Build,
    titles: impl Iterator<Item = &'a str>,
) -> Vec<Option<Tie>> {
    titles.map(|title| tie(design, build, title)).collect()
}

/// The ties of a list such as `"tip z, column_top -x"`; `-` leaves a channel out.
///
/// # Errors
/// An item that is not a point and an axis, with the nearest known point.
pub fn read_ties(design: &Design, build: &Build, list: &str) -> Result<Vec<Option<Tie>>, Problem> {
    let wrong = |item: &str| {
        let place = Place::key("--channels");
        let points = build.drawing.points.iter().map(|(name, _)| name);
        match split(item) {
            Some((name, _)) => Problem::error(place, format!("no point \"{name}\""))
                .with_help(suggest(name, points.chain(["tip", "work"]))),
            None => Problem::error(place, format!("\"{}\" is no point and axis", item.trim()))
                .with_help("write it like \"tip z, column_top -x\"; \"-\" leaves a channel out"),
        }
    };
    list.split(',')
        .map(|item| match item.trim() {
            "-" => Ok(None),
            _ => tie(design, build, item).map(Some).ok_or_else(|| wrong(item)),
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::design_sample::stand;

    #[test]
    fn points_and_axes_are_known_by_name() {
        let design = stand();
        let build = design.build("cast").unwrap();
        let ties = read_ties(&design, build, "tip z, column_head -x, -").unwrap();
        let probe = build.drawing.points.position("probe").unwrap();
        assert_eq!(ties[0].as_ref().unwrap().station, Station::at(probe, [0.0, 0.0, 1.0]));
        let head = build.drawing.points.position("column_head").unwrap();
        assert_eq!(ties[1].as_ref().unwrap().station, Station::at(head, [-1.0, 0.0, 0.0]));
        assert!(ties[2].is_none());
        let titles = ties_by_title(&design, build, ["arm_end.y", "arm_end_z", "acc x", "left"].into_iter());
        assert_eq!(titles.iter().map(Option::is_some).collect::<Vec<_>>(), [true, true, false, false]);
        let said = read_ties(&design, build, "colum_head x").unwrap_err().to_string();
        assert!(said.contains("did you mean \"column_head\""), "{said}");
        assert!(read_ties(&design, build, "tip").unwrap_err().to_string().contains("no point and axis"));
    }
}
