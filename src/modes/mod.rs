//! Modes: natural frequencies, loss factors, decay, and where the energy sits.
