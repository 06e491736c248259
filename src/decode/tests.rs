//! Tests of the whole stage on clips that the ffmpeg command makes.
