//! Turns each answer into blocks; each file lists the columns of its answer and has a function `blocks`.
//!
//! ```text
//! full_report  all answers about a design, as one page
//! compare      builds side by side
//! section      sections with their stiffness and loss
//! modes        natural frequencies, loss factors, energy shares
//! response     response to a harmonic force
//! floor        response to floor vibration
//! ringdown     decay after a tap
//! thermal      temperature and own weight
//! mix          recipes
//! pour         batch sheets
//! size         stock sizes
//! tap          recorded taps
//! materials    the table of materials
//! joints       the table of joints and feet
//! proof        published cases
//! basis        method, spreads, sources and cautions of a page
//! guesses      inputs without a stated spread
//! seats        joints and feet that follow from their laws
//! missed       missed targets
//! spread       limits from draws, and the amplitude of losses
//! ```

mod basis;
pub mod compare;
mod floor;
pub mod full_report;
mod guesses;
pub mod joints;
pub mod materials;
mod missed;
pub mod mix;
pub mod modes;
pub mod pour;
pub mod proof;
pub mod response;
pub mod ringdown;
pub mod seats;
pub mod section;
pub mod size;
mod spread;
pub mod tap;
pub mod thermal;
