//! Command-line types only.
