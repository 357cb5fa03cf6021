//! The results of the response studies as they are shown and serialised: one entry for each build.

use super::cut::{Lobe, StableDepth};
use super::floor::{FloorMotion, FloorPath};
use super::frequency::FrequencyResponse;
use super::peak::Peak;
use super::speeds::{Clash, OrderLine, UnbalanceMotion};
use serde::Serialize;

/// How one build responds to a lasting force. Results that the design does not ask for are empty or `None`.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct BuildResponse {
    /// Key of the build.
    pub name: String,
    /// The build's name as readers see it.
    pub label: String,
    /// The curve between the two stations, with its peaks.
    #[serde(flatten)]
    pub curve: FrequencyResponse,
    /// Inverse of the greatest compliance, N/m.
    pub dynamic_stiffness_n_per_m: Option<f64>,
    /// Error bound of that from modes that were not computed, N/m.
    pub dynamic_stiffness_error_n_per_m: Option<f64>,
    /// Frequency of the greatest compliance, Hz.
    pub peak_frequency_hz: Option<f64>,
    /// Depth of cut that is stable at every speed, m.
    pub stable_depth_m: Option<f64>,
    /// Frequency at which a deeper cut chatters, Hz.
    pub chatter_frequency_hz: Option<f64>,
    /// Stability limit of the cut over speed.
    pub lobes: Vec<Lobe>,
    /// Running speeds that meet a mode, or nearly.
    pub clashes: Vec<Clash>,
    /// Lines of a plot of frequency over speed.
    pub order_lines: Vec<OrderLine>,
    /// Motion from unbalance, one entry for each range of speeds that states an unbalance.
    pub unbalance: Vec<UnbalanceMotion>,
    /// Response of the observed station to floor motion along x, y and z; none for a floating base.
    pub floor_paths: Vec<FloorPath>,
    /// Motion from the floor.
    pub floor: Option<FloorMotion>,
}

impl BuildResponse {
    /// The `curve` of a build and its `worst` peak, which need not be along the same direction; the other
    /// results are added where the design asks for them.
    pub fn new(name: &str, label: &str, curve: FrequencyResponse, worst: Option<Peak>) -> BuildResponse {
        BuildResponse {
            name: name.to_string(),
            label: label.to_string(),
            curve,
            dynamic_stiffness_n_per_m: worst.and_then(|peak| peak.dynamic_stiffness_n_per_m),
            dynamic_stiffness_error_n_per_m: worst
                .and_then(|peak| Some(peak.stiffness_error * peak.dynamic_stiffness_n_per_m?)),
            // Where nothing moves, there is no frequency of the largest motion.
            peak_frequency_hz: worst
                .filter(|peak| peak.dynamic_stiffness_n_per_m.is_some())
                .map(|peak| peak.frequency_hz),
            stable_depth_m: None,
            chatter_frequency_hz: None,
            lobes: Vec::new(),
            clashes: Vec::new(),
            order_lines: Vec::new(),
            unbalance: Vec::new(),
            floor_paths: Vec::new(),
            floor: None,
        }
    }

    /// The same with the stable depth of cut and its lobes.
    pub fn with_cut(mut self, stable: Option<StableDepth>, lobes: Vec<Lobe>) -> BuildResponse {
        self.stable_depth_m = stable.map(|found| found.depth_m);
        self.chatter_frequency_hz = stable.map(|found| found.frequency_hz);
        self.lobes = lobes;
        self
    }
}

#[cfg(test)]
mod tests {
    use super::super::cut::{lobes, stable_depth};
    use super::super::modal::tests::single;
    use super::super::peak::worst_peak;
    use super::*;

    #[test]
    fn keys_of_the_response_are_as_promised() {
        let model = single(1e7, 40.0, 0.02);
        let curve = FrequencyResponse::compute(&model, 0, 0, (1.0, 200.0)).unwrap();
        let pair = model.pair(0, 0);
        let build = BuildResponse::new("cast", "Cast", curve, worst_peak(&model, 0, 0))
            .with_cut(stable_depth(&pair, 1.5e9), lobes(&pair, 1.5e9, 2));
        let found = serde_json::to_value(build).unwrap();
        assert_eq!(found["name"], "cast");
        for key in ["frequency_hz", "real_m_per_n", "imaginary_m_per_n", "clashes", "lobes", "peaks"] {
            assert!(found[key].is_array(), "{key}");
        }
        approx::assert_relative_eq!(found["dynamic_stiffness_n_per_m"].as_f64().unwrap(), 2e5);
        approx::assert_relative_eq!(
            found["peak_frequency_hz"].as_f64().unwrap(),
            79.577_471_545_9,
            max_relative = 1e-6
        );
        approx::assert_relative_eq!(
            found["stable_depth_m"].as_f64().unwrap(),
            0.2 / 1500.0,
            max_relative = 1e-9
        );
    }
}
