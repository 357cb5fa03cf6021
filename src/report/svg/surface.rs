//! The faces of a machine, drawn from the far ones to the near ones, each over those before it.
//!
//! Faces that look away are left out, but for those of a part that is seen through: they hide what lies behind it.
//! Faces in a row that look alike and do not lie over each other become one element. The page's script does the
//! same for other views (`script/surface.js`).

use super::palette::{PAPER, STEPS, TEXT, amplitude, grey, hatching, series, series_class, tint};
use crate::block::{Edge, Face, Surface, Wireframe};
use crate::number::tenths;
use crate::view::towards;
use maud::{Markup, html};

/// Opacity of a face that is seen through.
const GLASS: f64 = 0.6;
/// Where light comes from: a unit vector, global axes.
const LIGHT: [f64; 3] = [0.36, -0.48, 0.8];

/// Where a point is drawn; `None` where it has no place.
pub(super) type Place = Option<(f64, f64)>;

/// How a face looks: what is drawn alike in a row becomes one element.
#[derive(Clone, Copy, PartialEq)]
struct Look {
    of: Surface,
    shade: usize,
    seen_through: bool,
    front: bool,
}

/// Faces drawn as one.
struct Row {
    look: Look,
    /// Box (left, top, right, bottom) and divide of each face.
    boxes: Vec<([f64; 4], usize)>,
    area: String,
    rings: Vec<Vec<(f64, f64)>>,
    /// By step of amplitude; all in the first at rest.
    edges: [String; STEPS],
}

/// The faces of `wireframe` with its points `at` these places; with the `amplitudes` of the points while it moves,
/// edges are coloured by them.
pub(super) fn draw(wireframe: &Wireframe, at: &[Place], amplitudes: Option<&[f64]>) -> Markup {
    let viewer = towards();
    let facing = |normal: &[f64; 3]| (0..3).map(|i| normal[i] * viewer[i]).sum::<f64>();
    let mut rows: Vec<Row> = Vec::new();
    for (divide, number) in order(wireframe, &viewer) {
        let Some(face) = wireframe.faces.get(number) else { continue };
        let front = facing(&face.normal) > 1e-6;
        let (true, Some(rings)) = (front || face.seen_through, placed(face, at)) else { continue };
        let lit: f64 = (0..3).map(|i| face.normal[i] * LIGHT[i]).sum();
        let shade = if lit > 0.6 { 0 } else { 1 + usize::from(lit < 0.2) };
        let look = Look { of: face.of, shade, seen_through: face.seen_through, front };
        let own = (bounds(&rings), divide);
        if !rows
            .last()
            .is_some_and(|row| row.look == look && row.boxes.iter().all(|other| apart(&own, other)))
        {
            let edges = std::array::from_fn(|_| String::new());
            rows.push(Row { look, boxes: Vec::new(), area: String::new(), rings: Vec::new(), edges });
        }
        if let Some(row) = rows.last_mut() {
            row.boxes.push(own);
            row.area += &rings.iter().map(|ring| closed(ring)).collect::<String>();
            if front {
                edges(face, at, amplitudes, &facing, &mut row.edges);
            }
            row.rings.extend(rings);
        }
    }
    html! { @for row in &rows { (shown(row, wireframe, amplitudes.is_some())) } }
}

/// The divide and number of each face, the far ones first.
fn order(wireframe: &Wireframe, viewer: &[f64; 3]) -> Vec<(usize, usize)> {
    let mut order = Vec::new();
    // What is still to be visited: a divide, or the faces of one.
    let mut left: Vec<(usize, bool)> =
        if wireframe.divides.is_empty() { Vec::new() } else { vec![(0, false)] };
    while let Some((number, faces)) = left.pop() {
        let Some(divide) = wireframe.divides.get(number) else { continue };
        if faces {
            order.extend(divide.faces.iter().map(|face| (number, *face)));
            continue;
        }
        let before = (0..3).map(|i| divide.normal[i] * viewer[i]).sum::<f64>() >= 0.0;
        let (far, near) =
            if before { (divide.behind, divide.before) } else { (divide.before, divide.behind) };
        left.extend(near.map(|near| (near, false)));
        left.push((number, true));
        left.extend(far.map(|far| (far, false)));
    }
    order
}

fn placed(face: &Face, at: &[Place]) -> Option<Vec<Vec<(f64, f64)>>> {
    let place = |(point, _): &(usize, Edge)| at.get(*point).copied().flatten();
    face.rings.iter().map(|ring| ring.iter().map(place).collect()).collect()
}

fn bounds(rings: &[Vec<(f64, f64)>]) -> [f64; 4] {
    let empty = [f64::INFINITY, f64::INFINITY, f64::NEG_INFINITY, f64::NEG_INFINITY];
    rings.iter().flatten().fold(empty, |b, (x, y)| [b[0].min(*x), b[1].min(*y), b[2].max(*x), b[3].max(*y)])
}

/// True for faces that do not lie over each other: in one plane, or beside each other as they are seen.
fn apart((a, one): &([f64; 4], usize), (b, other): &([f64; 4], usize)) -> bool {
    one == other || a[2] < b[0] || b[2] < a[0] || a[3] < b[1] || b[3] < a[1]
}

fn closed(ring: &[(f64, f64)]) -> String {
    let corner = |(i, (x, y)): (usize, &(f64, f64))| format!("{}{x} {y}", if i == 0 { "M" } else { "L" });
    let mut ring = ring.to_vec();
    // Corners that fall on each other as drawn are one.
    ring.dedup();
    ring.iter().enumerate().map(corner).collect::<String>() + "z"
}

/// Adds the edges of a face that are seen to `paths`.
fn edges(
    face: &Face,
    at: &[Place],
    amplitudes: Option<&[f64]>,
    facing: &dyn Fn(&[f64; 3]) -> f64,
    paths: &mut [String; STEPS],
) {
    let part = |i: usize| amplitudes.and_then(|all| all.get(i)).copied().unwrap_or(0.0);
    for ring in &face.rings {
        let mut end = None;
        for (i, (from, edge)) in ring.iter().enumerate() {
            let (to, _) = ring[(i + 1) % ring.len()];
            let seen = match edge {
                Edge::Sharp => true,
                Edge::Smooth(normal) => facing(normal) <= 1e-6,
                Edge::Cut => false,
            };
            let (true, Some(a), Some(b)) = (seen, at[*from], at[to]) else { continue };
            if a == b {
                end = end.filter(|(last, _)| last == from).map(|(_, step)| (to, step));
                continue;
            }
            let step = (((part(*from) + part(to)) / 2.0 * STEPS as f64) as usize).min(STEPS - 1);
            let path = &mut paths[step];
            if end != Some((*from, step)) {
                *path += &format!("M{} {}", a.0, a.1);
            }
            *path += &format!("L{} {}", b.0, b.1);
            end = Some((to, step));
        }
    }
}

fn shown(row: &Row, wireframe: &Wireframe, moving: bool) -> Markup {
    let Look { of, shade, seen_through, front } = row.look;
    let n = match of {
        Surface::Material(n) => wireframe.materials.get(n).map_or(n, |filling| filling.look),
        _ => 0,
    };
    let (class, fill) = match of {
        Surface::Patch => {
            return html! {
                @if front {
                    path class="mark" d=(row.area) stroke=(TEXT) stroke-width="0.9" stroke-dasharray="4 2.5" {}
                }
            };
        }
        // The far side of what is seen through hides what lies behind it.
        _ if !front => ("paper".to_string(), PAPER.to_string()),
        Surface::Material(_) => (format!("t{} shade{shade}", n % 5), tint(n, shade)),
        Surface::Mass => (format!("block shade{shade}"), grey(shade)),
        Surface::Foot => ("pad".to_string(), TEXT.to_string()),
    };
    html! {
        path class=(class) d=(row.area) fill=(fill)
            fill-opacity=[(seen_through && front).then_some(GLASS)] {}
        @if front {
            @if matches!(of, Surface::Material(_)) && !moving {
                @let (path, dots) = hatching(n, &row.rings);
                path class=(series_class(n)) d=(path) stroke=(series(n)) stroke-width=(if dots { 1.6 } else { 0.7 })
                    stroke-dasharray=[dots.then_some("0 6")] stroke-opacity="0.7" {}
            }
            @for (step, path) in row.edges.iter().enumerate().filter(|(_, path)| !path.is_empty()) {
                @if moving {
                    path class=(format!("a{step}")) data-step=(step) d=(path) stroke=(amplitude(step))
                        stroke-width=(tenths(1.2 + 0.4 * step as f64)) {}
                } @else {
                    path class="outline" d=(path) stroke=(TEXT) stroke-width="0.9" {}
                }
            }
        }
    }
}
