//! The wire drawing of a design: points, and lines between them.

use super::dice::Dice;

/// Points, members between them, and where it may stand.
#[derive(Default)]
pub struct Wire {
    /// mm.
    pub points: Vec<[f64; 3]>,
    /// By the numbers of their points.
    pub members: Vec<[usize; 2]>,
    /// Points that reach the ground.
    pub low: Vec<usize>,
    /// Members that follow each other in one line.
    pub line: Vec<usize>,
}

impl Wire {
    fn point(&mut self, at: [f64; 3]) -> usize {
        self.points.push(at);
        self.points.len() - 1
    }

    fn member(&mut self, from: usize, to: usize) -> usize {
        self.members.push([from, to]);
        self.members.len() - 1
    }

    /// The length of the shortest member, mm.
    pub fn shortest(&self) -> f64 {
        let length = |[a, b]: &[usize; 2]| distance(self.points[*a], self.points[*b]);
        self.members.iter().map(length).fold(f64::INFINITY, f64::min)
    }

    /// One of the kinds below, sometimes with a second body that does not touch it.
    pub fn throw(dice: &mut Dice) -> Wire {
        let mut wire = Wire::default();
        match dice.below(6) {
            0 => wire.beam(dice),
            1 => wire.stand(dice),
            2 => wire.portal(dice),
            3 => wire.grid(dice),
            4 => wire.ring(dice),
            _ => wire.tree(dice),
        }
        if dice.chance(0.06) {
            let from = wire.point([900.0, -700.0, 0.0]);
            let to = wire.point([900.0, -700.0, dice.between(100.0, 600.0)]);
            wire.member(from, to);
            wire.low.push(from);
        }
        wire
    }

    /// Members in a row, level, upright or oblique.
    fn beam(&mut self, dice: &mut Dice) {
        let along = match dice.below(4) {
            0 => [0.0, 0.0, 1.0],
            1 => dice.arrow(),
            2 => [0.0, 1.0, 0.0],
            _ => [1.0, 0.0, 0.0],
        };
        let count = 1 + dice.below(4);
        let mut reach = 0.0;
        let first = self.point([0.0; 3]);
        self.low.push(first);
        for _ in 0..count {
            reach += dice.ratio(80.0, 800.0);
            let next = self.point(along.map(|x| x * reach));
            let member = self.member(next - 1, next);
            self.line.push(member);
        }
        if dice.chance(0.7) {
            self.low.push(self.points.len() - 1);
        }
    }

    /// A column on a base of three or four legs, with an arm.
    fn stand(&mut self, dice: &mut Dice) {
        let (height, reach) = (dice.between(150.0, 900.0), dice.between(100.0, 400.0));
        let centre = self.point([0.0; 3]);
        let legs = 3 + dice.below(2);
        for i in 0..legs {
            let angle = (i as f64 + 0.3) * std::f64::consts::TAU / legs as f64;
            let foot = self.point([reach * angle.cos(), reach * angle.sin(), 0.0]);
            self.member(foot, centre);
            self.low.push(foot);
        }
        let head = self.point([0.0, 0.0, height]);
        self.member(centre, head);
        let tip = self.point([dice.between(60.0, 300.0), 0.0, height - dice.between(0.0, 100.0)]);
        self.member(head, tip);
    }

    /// Columns that carry a beam.
    fn portal(&mut self, dice: &mut Dice) {
        let (width, height) = (dice.between(200.0, 1500.0), dice.between(150.0, 900.0));
        let left = self.point([0.0; 3]);
        let right = self.point([width, 0.0, 0.0]);
        let tops = [self.point([0.0, 0.0, height]), self.point([width, 0.0, height])];
        let middle = self.point([width * dice.between(0.2, 0.8), 0.0, height]);
        self.member(left, tops[0]);
        self.member(right, tops[1]);
        let halves = [self.member(tops[0], middle), self.member(middle, tops[1])];
        self.line.extend(halves);
        self.low.extend([left, right]);
        if dice.chance(0.5) {
            self.member(left, right);
        }
        if dice.chance(0.4) {
            let back = self.point([width / 2.0, dice.between(150.0, 600.0), 0.0]);
            self.member(middle, back);
            self.low.push(back);
        }
    }

    /// A slab as strips that cross.
    fn grid(&mut self, dice: &mut Dice) {
        let (nx, ny) = (2 + dice.below(2), 2 + dice.below(3));
        let (dx, dy) = (dice.between(80.0, 400.0), dice.between(80.0, 400.0));
        for i in 0..nx {
            for j in 0..ny {
                let own = self.point([i as f64 * dx, j as f64 * dy, 0.0]);
                if i > 0 {
                    self.member(own - ny, own);
                }
                if j > 0 {
                    let member = self.member(own - 1, own);
                    if i == 0 {
                        self.line.push(member);
                    }
                }
            }
        }
        let last = nx * ny - 1;
        self.low.extend([0, ny - 1, last]);
        if dice.chance(0.5) {
            self.low.push(last + 1 - ny);
        }
    }

    /// A closed ring of three to five corners, sometimes with an apex.
    fn ring(&mut self, dice: &mut Dice) {
        let (corners, reach) = (3 + dice.below(3), dice.between(100.0, 600.0));
        for i in 0..corners {
            let angle = i as f64 * std::f64::consts::TAU / corners as f64;
            self.point([reach * angle.cos(), reach * angle.sin(), 0.0]);
        }
        for i in 0..corners {
            self.member(i, (i + 1) % corners);
            self.low.push(i);
        }
        if dice.chance(0.6) {
            let apex = self.point([0.0, 0.0, dice.between(100.0, 700.0)]);
            (0..corners).for_each(|i| {
                self.member(i, apex);
            });
        }
    }

    /// Members that each start at any point so far.
    fn tree(&mut self, dice: &mut Dice) {
        self.point([0.0; 3]);
        self.low.push(0);
        let count = 2 + dice.below(5);
        while self.members.len() < count {
            let from = dice.below(self.points.len());
            let (arrow, reach) = (dice.arrow(), dice.ratio(80.0, 700.0));
            let at = [0, 1, 2].map(|i| self.points[from][i] + reach * arrow[i]);
            if self.points.iter().all(|other| distance(*other, at) > 60.0) {
                let to = self.point(at);
                self.member(from, to);
                if dice.chance(0.4) {
                    self.low.push(to);
                }
            }
        }
    }
}

fn distance(a: [f64; 3], b: [f64; 3]) -> f64 {
    (0..3).map(|i| (a[i] - b[i]).powi(2)).sum::<f64>().sqrt()
}
