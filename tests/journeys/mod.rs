//! The commands as a user types them.

mod bulk;
mod context;
mod decode;
mod keep;
mod lab;
mod rules;
mod wrong_use;
