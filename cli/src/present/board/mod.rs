//! A board's account for people and programs: one view of it, written as text, JSON, and pages.

pub(crate) mod changes;
pub(crate) mod cost;
pub(crate) mod html;
pub(crate) mod json;
pub(crate) mod markdown;
pub(crate) mod report;
pub(crate) mod text;
pub(crate) mod view;
