//! Response: motion in frequency and time, temperature, and the recorded tap read back.

pub mod accuracy;
pub mod answer;
pub mod blow;
pub mod cut;
pub mod floor;
pub mod frequency;
pub mod modal;
pub mod peak;
pub mod ringdown;
pub mod settle;
pub mod sound;
pub mod speeds;
pub mod stations;
pub mod tap;
