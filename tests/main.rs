//! What a user or a standard would check.
