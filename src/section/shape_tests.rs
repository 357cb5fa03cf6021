//! Shapes: what is refused, and that each is stated, read, described and drawn.

use super::shape::{Shape, ShapeKind};
use super::spec::SectionSpec;
use super::{Geometry, Part};
use stillbed_input::document::Reader;

fn message(shape: Shape) -> String {
    shape.check().unwrap_err().to_string()
}

#[test]
fn walls_that_meet_are_refused() {
    let tube = Shape::Tube { width: 0.04, height: 0.02, wall: 0.01, radius: None };
    assert_eq!(
        message(tube),
        "wall 10 mm: it stays below half of the smaller side, 10 mm; sizes go across, up, then thickness"
    );
}

#[test]
fn the_wall_of_a_pipe_is_less_than_its_radius() {
    let pipe = |wall| Shape::Pipe { diameter: 0.05, wall }.check();
    assert!(pipe(0.0249).is_ok() && pipe(0.025).is_err() && pipe(0.03).is_err());
}

#[test]
fn sizes_are_above_zero() {
    assert_eq!(message(Shape::Round { diameter: -0.01 }), "diameter -10 mm: a size is above 0");
    assert!(Shape::Rectangle { width: f64::NAN, height: 1.0 }.check().is_err());
}

#[test]
fn a_radius_fits_its_corner() {
    let tube = Shape::Tube { width: 0.04, height: 0.04, wall: 0.003, radius: Some(0.021) };
    assert_eq!(message(tube), "corner radius 21 mm: from 0 to 20 mm fits");
}

#[test]
fn the_root_of_an_i_fits_beside_its_web_and_between_its_flanges() {
    let shape = |width, height, flange, root_radius| {
        let web = 0.01;
        Shape::IShape { width, height, web, flange, root_radius }.check()
    };
    // Beside the web (50 - 10) / 2 mm, between the flanges 40 / 2 - 12 mm.
    assert!(shape(0.05, 0.1, 0.008, 0.0199).is_ok() && shape(0.05, 0.1, 0.008, 0.0201).is_err());
    assert!(shape(0.2, 0.04, 0.012, 0.0079).is_ok() && shape(0.2, 0.04, 0.012, 0.0081).is_err());
}

#[test]
fn the_root_of_a_channel_fits_beside_its_web_and_above_half_of_its_height() {
    let shape = |width, height, root_radius| {
        Shape::Channel { width, height, web: 0.006, flange: 0.008, root_radius }.check()
    };
    // Between the flanges 60 / 2 - 8 mm, beside the web 40 - 6 mm.
    assert!(shape(0.1, 0.06, 0.0219).is_ok() && shape(0.1, 0.06, 0.0221).is_err());
    assert!(shape(0.04, 0.2, 0.0339).is_ok() && shape(0.04, 0.2, 0.0341).is_err());
}

#[test]
fn an_outline_that_crosses_itself_is_refused() {
    let bow = Shape::Polygon { points: vec![[0.0, 0.0], [1.0, 1.0], [1.0, 0.0], [0.0, 1.0]] };
    assert!(message(bow).contains("does not cross itself"));
    let spike = Shape::Polygon { points: vec![[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [1.0, 0.5], [0.0, 1.0]] };
    assert!(message(spike).contains("does not cross itself"));
    let square = Shape::Polygon { points: vec![[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]] };
    assert!(square.check().is_ok());
}

#[test]
fn every_shape_is_read_from_its_example_stated_again_and_drawn() {
    for kind in &ShapeKind::ALL {
        let text = format!("parts = [{}]\n", kind.part("steel"));
        let reader = Reader::new("d.toml", &text);
        let read = SectionSpec::read(&reader.root()).unwrap();
        let shape = read.parts[0].shape.clone();
        assert_eq!(shape.key(), kind.key);
        assert!(kind.words.ends_with('.') && !kind.form.is_empty(), "{}", kind.key);
        let sizes: Vec<f64> = shape.sizes().iter().map(|(_, size)| *size).collect();
        let radii: Vec<Option<f64>> = shape.radii().iter().map(|(_, radius)| *radius).collect();
        assert_eq!(sizes.len(), kind.sizes.len());
        assert_eq!(radii, vec![Some(0.001); kind.radii.len()]);
        if !sizes.is_empty() {
            assert_eq!(kind.shape(&sizes, &radii), Some(shape.clone()));
            assert_eq!(shape.resized(&sizes), Some(shape.clone()));
            assert_eq!(kind.shape(&sizes[1..], &radii).is_some(), kind.counts().contains(&(sizes.len() - 1)));
        }
        let part = Part::new(shape, 0);
        assert_eq!(part.rings().len(), if part.shape.hollow().is_some() { 2 } else { 1 });
        assert!(Geometry::new(vec![part]).unwrap().moments()[0].area > 0.0, "{}", kind.key);
    }
}

#[test]
fn other_sizes_keep_the_radius_a_multiple_of_the_wall() {
    let tube = Shape::Tube { width: 0.06, height: 0.04, wall: 0.003, radius: Some(0.006) };
    let thicker = tube.resized(&[0.06, 0.04, 0.004]).unwrap();
    assert!((thicker.radii()[0].1.unwrap() - 0.008).abs() < 1e-12);
    assert_eq!(tube.resized(&[0.06, 0.04]), None);
}

#[test]
fn a_hollow_shape_knows_its_inside_and_any_its_thinnest_wall() {
    let tube = Shape::Tube { width: 0.06, height: 0.04, wall: 0.003, radius: None };
    let hollow = tube.hollow().unwrap();
    approx::assert_relative_eq!(hollow.clear, 0.034, max_relative = 1e-12);
    approx::assert_relative_eq!(hollow.area, 0.0024, max_relative = 1e-12);
    let Shape::Rectangle { width, height } = hollow.core else { panic!() };
    approx::assert_relative_eq!(width - height, 0.02, max_relative = 1e-12);
    approx::assert_relative_eq!(height, 0.037, max_relative = 1e-12);
    let pipe = Shape::Pipe { diameter: 0.05, wall: 0.002 }.hollow().unwrap();
    approx::assert_relative_eq!(pipe.clear, 0.046, max_relative = 1e-12);
    approx::assert_relative_eq!(pipe.area, 1.9635e-3, max_relative = 1e-4);
    let Shape::Round { diameter } = pipe.core else { panic!() };
    approx::assert_relative_eq!(diameter, 0.048, max_relative = 1e-12);
    let i = Shape::IShape { width: 0.055, height: 0.1, web: 0.0041, flange: 0.0057, root_radius: 0.0 };
    assert_eq!((i.wall(), i.largest()), (Some(0.0041), Some(("side", 0.1))));
    assert_eq!(Shape::Round { diameter: 0.03 }.largest(), Some(("diameter", 0.03)));
    assert!(Shape::Round { diameter: 0.03 }.wall().is_none());
}
