//! Response: motion in frequency and time, temperature, and the recorded tap read back.

pub mod accuracy;
