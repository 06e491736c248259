//! Checked settings. In: what the command line or the page was given. Out: values that the
//! stages can rely on.
