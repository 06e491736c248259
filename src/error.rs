//! One variant per stage. The message says what is wrong and what to do next.
