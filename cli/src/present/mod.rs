//! The engine's facts for people and programs.

pub(crate) mod board;
pub(crate) mod diagnostics;
pub(crate) mod diagram;
pub(crate) mod relations;
pub(crate) mod sarif;
pub(crate) mod text;
pub(crate) mod why;
pub(crate) mod wire;
