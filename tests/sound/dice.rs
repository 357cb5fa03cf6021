//! Numbers from a seed, the same on every machine.

/// A generator of the splitmix kind.
pub struct Dice(u64);

impl Dice {
    /// One that always throws the same for a seed.
    pub fn new(seed: u64) -> Dice {
        Dice(seed.wrapping_mul(0x9e37_79b9_7f4a_7c15) ^ 0x5bd1_e995)
    }

    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// From 0 to below 1.
    pub fn unit(&mut self) -> f64 {
        (self.next() >> 11) as f64 / (1u64 << 53) as f64
    }

    /// From 0 to below `n`.
    pub fn below(&mut self, n: usize) -> usize {
        (self.unit() * n as f64) as usize
    }

    /// Evenly between `low` and `high`.
    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }

    /// Between `low` and `high`, both above 0, evenly over their logarithm.
    pub fn ratio(&mut self, low: f64, high: f64) -> f64 {
        low * (high / low).powf(self.unit())
    }

    /// True in a part `chance` of the throws.
    pub fn chance(&mut self, chance: f64) -> bool {
        self.unit() < chance
    }

    /// One of `list`.
    pub fn pick<'a, T>(&mut self, list: &'a [T]) -> &'a T {
        &list[self.below(list.len())]
    }

    /// A direction in space, evenly over the sphere, as the text of three numbers.
    pub fn direction(&mut self) -> String {
        let [x, y, z] = self.arrow();
        format!("{x:.4}, {y:.4}, {z:.4}")
    }

    /// A direction in space, evenly over the sphere.
    pub fn arrow(&mut self) -> [f64; 3] {
        loop {
            let v = [0; 3].map(|_| self.between(-1.0, 1.0));
            let size = v.iter().map(|x| x * x).sum::<f64>().sqrt();
            if (0.2..1.0).contains(&size) {
                return v.map(|x| x / size);
            }
        }
    }
}
