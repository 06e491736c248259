//! hubgauge measures from phone clips how far a golfer's two hubs (pelvis centre and
//! breastbone centre) moved in the swing, with honest uncertainty.
//!
//! | stage | in | out |
//! | --- | --- | --- |
//! | [`decode`] | clip | timed pictures, timed sound |
//! | [`keypoints`] | picture | landmarks |
//! | [`track`] | landmarks of all pictures | one golfer through time, camera motion taken out |
//! | [`lift`] | track | true points and directions in camera axes, with sd |
//! | [`events`] | hands, arms, sound | address ... finish, with sd |
//! | [`calibration`] | body, coach's marks | camera and scale, with sd |
//! | [`geometry`] | all of these, one or two views | motion in golf axes, with sd by cause |
//! | [`results`] | motion, events | `swing.json`, `series.csv` |
//! | [`compare`] | results before and after | change with interval and verdict |
//! | [`stills`] | pictures, points, result | annotated pictures |
//! | [`record`] | results, clips, the coach's words | the library on disk (SQLite) |
//! | [`chart`] | results, series, comparisons | ladder, map, differences, history: SVG, PNG, PDF |
//! | [`sheet`] | results, stills, the coach's words and tasks | the pupil's page |
//!
//! [`run`] alone calls them in order; [`desk`] holds the commands around the library,
//! [`page`] the coach's page.
#![deny(unsafe_code)]

pub mod units;
pub mod frames;
pub mod body;
pub mod signal;
pub mod warning;
pub mod error;
#[cfg(test)]
mod dice;

pub mod decode;
pub mod keypoints;
pub mod track;
pub mod lift;
pub mod events;
pub mod calibration;
pub mod geometry;
pub mod results;
pub mod compare;
pub mod stills;
pub mod record;
pub mod chart;
pub mod sheet;

pub mod options;
pub mod cli;
pub mod run;
pub mod desk;
pub mod page;
