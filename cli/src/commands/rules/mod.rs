//! The commands of `rules`.

pub(crate) mod about;
pub(crate) mod changes;
pub(crate) mod check;
pub(crate) mod coverage;
pub(crate) mod draft;
pub(crate) mod format;
pub(crate) mod list;
pub(crate) mod mend;
pub(crate) mod overlaps;
pub(crate) mod show;
pub(crate) mod write;
