//! The commands of `rules`.

pub(crate) mod about;
pub(crate) mod check;
pub(crate) mod format;
pub(crate) mod list;
pub(crate) mod show;
pub(crate) mod write;
