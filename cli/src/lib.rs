//! etchlore command line (being built).
