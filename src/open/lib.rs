//! A design alive in the browser: requests in, replies out.
//!
//! The caller owns the socket, the file and the threads; here is what a request may do, what the page shows, and
//! in which order answers come.
//!
//! ```text
//! request   a request as it came, a reply as it goes
//! http      both on a connection
//! guard     which requests are answered: address, origin, token
//! newest    a queue that holds the last question alone
//! board     what the page shows, by field, and what changed since
//! folder    the folder of the design
//! sheet     the text of the design as it stands in its file, with undo
//! repair    the repair of a problem, where its help names one
//! change    gestures as changes of the text
//! listing   what the drawing consists of, and where problems stand in it
//! answers   the answers beside the drawing, one step after another
//! effects   what a change would do to the stated values
//! questions size, pour, thermal, response and tap on the same page
//! sketches  designs to start from
//! desk      all of these together
//! routes    which request does what
//! ```

mod answers;
mod board;
mod change;
mod desk;
mod effects;
mod folder;
mod guard;
mod http;
mod listing;
mod newest;
mod questions;
mod repair;
mod request;
mod routes;
mod sheet;
mod sketches;

pub use desk::Desk;
pub use folder::Folder;
pub use guard::Guard;
pub use http::{read_request, write_reply};
pub use request::{Method, Reply, Request};
pub use routes::reply;
pub use sketches::{SKETCHES, Sketch};
