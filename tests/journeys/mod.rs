//! The commands as a user types them.

mod decode;
mod rules;
mod wrong_use;
