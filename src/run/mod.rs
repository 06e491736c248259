//! The one place that knows the order of the stages.
