//! Parse, call, print the error chain, exit code.
fn main() {}
