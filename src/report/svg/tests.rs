use super::*;
use crate::arbitrary::any_block;
use crate::block::{Bar, Bars};
use crate::demo;
use crate::unit::Unit;
use proptest::prelude::*;

proptest! {
    #![proptest_config(crate::seeds::cases(256))]

    #[test]
    fn any_content_makes_a_drawing(block in any_block()) {
        for size in [Size::Wide, Size::Narrow] {
            let Some(svg) = draw(&block, size, "d") else { continue };
            check_well_formed(&svg);
            for name in ["d", "x", "y", "x1", "x2", "y1", "y2", "points", "width", "height", "transform"] {
                for value in svg.split(&format!(" {name}=\"")).skip(1).filter_map(|part| part.split('"').next()) {
                    prop_assert!(!value.contains("NaN") && !value.contains("inf"), "{name}={value}");
                }
            }
        }
    }
}

fn all() -> Vec<String> {
    let blocks = demo::blocks();
    let sizes = [Size::Wide, Size::Narrow];
    sizes.iter().flat_map(|size| blocks.iter().filter_map(|block| draw(block, *size, "d"))).collect()
}

/// Checks that all elements are opened and closed in order; panics on unescaped text or unquoted
/// attributes.
fn check_well_formed(svg: &str) {
    let mut open: Vec<&str> = Vec::new();
    for part in svg.split('<').skip(1) {
        let (tag, _) = part.split_once('>').unwrap_or_else(|| panic!("no end in {part:?}"));
        if let Some(name) = tag.strip_prefix('/') {
            assert_eq!(open.pop(), Some(name), "{svg}");
        } else {
            open.push(tag.split(' ').next().unwrap());
            assert_eq!(tag.matches('"').count() % 2, 0, "{tag}");
        }
    }
    assert!(open.is_empty(), "{open:?}");
}

#[test]
fn every_drawing_is_well_formed_and_named() {
    let drawings = all();
    assert_eq!(drawings.len(), 10);
    for svg in drawings {
        check_well_formed(&svg);
        assert!(svg.starts_with("<svg xmlns=\"http://www.w3.org/2000/svg\""), "{svg}");
        assert!(svg.contains("<title id=\"d-title\">") && svg.contains("<desc id=\"d-desc\">"));
        assert!(!svg.contains("NaN") && !svg.contains("inf"), "{svg}");
        // The content security policy forbids inline styles.
        assert!(!svg.contains(" style=") && !svg.contains("<style"));
    }
}

#[test]
fn text_of_the_user_stays_text() {
    let evil = "</svg><script>alert(1)</script>\" onload=\"x & y";
    let bars = Bars {
        title: evil.to_string(),
        unit: Unit::NONE,
        key: String::new(),
        bars: vec![Bar::new(evil, Some(1.0.into()))],
    };
    let svg = draw(&Block::Bars(bars), Size::Wide, "d").unwrap();
    check_well_formed(&svg);
    assert!(!svg.contains("<script") && svg.contains("&lt;script&gt;") && svg.contains("x &amp; y"), "{svg}");
}

#[test]
fn bars_are_to_scale() {
    let bar = |v: f64| Bar::new("b", Some(v.into()));
    let bars = Bars {
        title: String::new(),
        unit: Unit::NONE,
        key: String::new(),
        bars: vec![bar(2.0), bar(1.0), Bar::new("none", None)],
    };
    let svg = draw(&Block::Bars(bars), Size::Wide, "d").unwrap();
    let widths: Vec<f64> = svg
        .split("height=\"18\"")
        .filter_map(|part| part.rsplit_once("width=\"")?.1.split('"').next()?.parse().ok())
        .collect();
    assert_eq!(widths.len(), 2, "{svg}");
    assert!((widths[0] - 2.0 * widths[1]).abs() <= 0.2, "{widths:?}");
}

#[test]
fn a_section_keeps_its_proportions() {
    let svg = draw(&Block::Picture(demo::section()), Size::Wide, "d").unwrap();
    let path = svg.split_once("id=\"d-area-0\"><path d=\"M").unwrap().1;
    let corners: Vec<Vec<f64>> = path
        .split('Z')
        .next()
        .unwrap()
        .split(' ')
        .map(|pair| pair.split(',').map(|v| v.parse().unwrap()).collect())
        .collect();
    let (wide, tall) = (corners[1][0] - corners[0][0], corners[0][1] - corners[2][1]);
    assert!((wide / tall - 110.0 / 80.0).abs() < 2e-3, "{wide} {tall}");
}
