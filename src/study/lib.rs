//! Studies: what a base should be made of, how large it should be, and whether the program can be trusted.
//!
//! ```text
//! measures    the measures of one build at one draw, by which builds are compared
//! solved      a build solved at one draw, and the measures that follow from it
//! converged   the same with as many modes as the measures need, and their error
//! nominal     what the nominal solution of a build hands to the draws
//! spread      draws of the uncertain values, percentiles, chances, origins of a spread
//! partial     an answer for the builds that can be solved when others cannot
//! guesses     guessed values, and how much of an answer rests on them
//! seats       joints and feet that follow from their laws
//! doubt       numerical and model errors of a measure, besides its spread
//! misses      targets that are missed, and by how much
//! judged      the targets, judged alike by all commands that solve the builds
//! equal       section scales that make builds equal in mass, stiffness or cost
//! beats       how often one build beats another
//! lead        one build of a comparison, and how far it leads another
//! build_facts what the verdict needs to know of each build
//! verdict     which build is best, and how surely
//! rigid_walls what walls that give do to the verdict
//! compare     the answer of `compare`
//! in_bodies   where in a body the energy of a motion sits
//! modes       the answer of `modes`
//! sections    the answer of `section`
//! response    the answer of `response`
//! ringdown    the answer of `ringdown`, and the sound of a tap
//! thermal     the answer of `thermal`
//! machine     the machine as faces in space, and how their places move
//! shapes      mode shapes for a drawing that can be turned
//! tap         a recorded tap test compared with a build
//! pour        what to weigh, mix and pour, and how it cures
//! size        sizes that meet the targets at least mass or cost
//! proof       published cases computed again
//! ```

mod beats;
mod build_facts;
pub mod compare;
pub mod converged;
pub mod doubt;
pub mod equal;
pub mod guesses;
pub mod in_bodies;
mod judged;
mod lead;
pub mod machine;
pub mod measures;
pub mod misses;
pub mod modes;
pub mod nominal;
pub mod partial;
pub mod pour;
pub mod proof;
pub mod response;
mod rigid_walls;
pub mod ringdown;
pub mod seats;
pub mod sections;
pub mod shapes;
pub mod size;
pub mod solved;
pub mod spread;
pub mod tap;
pub mod thermal;
pub mod verdict;

#[cfg(test)]
#[path = "../../tests/seeds/mod.rs"]
mod seeds;

#[cfg(test)]
mod design_sample;

#[cfg(test)]
#[path = "../frame/sample.rs"]
pub mod sample;
