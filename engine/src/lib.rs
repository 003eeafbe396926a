//! etchlore engine (being built).
