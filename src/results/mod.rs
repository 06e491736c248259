//! Stage 8. In: events, motion, calibration. Out: the plain, versioned result
//! (`swing.json`, schema `hubgauge.swing/1`) and the rows of `series.csv`.
