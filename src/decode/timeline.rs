//! In: the packets of a clip's video track. Out: the times of the frames it shows, in order.
//!
//! One pass over the packets, none decoded. What the edit list hides (ISO/IEC 14496-12
//! `elst`) and VP8 frames that are never shown (RFC 6386, 9.1) are left out. The list is the
//! clip's frame numbering, so a frame has the same number wherever decoding began.

use ffmpeg_next::codec::Id;

use super::container::{Container, Track};
use super::error::DecodeError;
use super::ffi;

/// 30 minutes at 240 frames a second, and 8 bytes each: 3.5 MB.
pub const MAX_FRAMES: usize = 432_000;

pub(super) struct Timeline {
    /// Presentation times, rising, in ticks of the track.
    pub ticks: Vec<i64>,
    /// End of the last packet, ticks.
    pub end: i64,
    /// Packets that could not be read.
    pub broken: usize,
}

pub(super) fn read(clip: &mut Container, track: &Track) -> Result<Timeline, DecodeError> {
    let (mut ticks, mut end, mut broken) = (Vec::new(), i64::MIN, 0);
    ffi::keep_only(&mut clip.input, track.stream);
    while let Some(packet) = clip.next_packet(track.stream, &mut broken) {
        let unseen = ffi::is_hidden(&packet)
            // The last one of a file that was cut off.
            || packet.is_corrupt()
            || track.codec == Id::VP8 && packet.data().is_some_and(is_unshown_vp8);
        let Some(pts) = packet.pts().filter(|_| !unseen) else { continue };
        ticks.push(pts);
        end = end.max(pts.saturating_add(packet.duration().max(0)));
        if ticks.len() > MAX_FRAMES {
            return Err(DecodeError::Limit {
                file: clip.file.clone(),
                what: format!("has more than {MAX_FRAMES} pictures"),
                remedy: "cut it to the swing",
            });
        }
    }
    ticks.sort_unstable();
    ticks.dedup();
    Ok(Timeline { ticks, end, broken })
}

fn is_unshown_vp8(data: &[u8]) -> bool {
    data.first().is_some_and(|tag| tag & 0x10 == 0)
}

/// Middle of the steps between frames, ticks; 0 for fewer than two frames.
pub(super) fn median_step(ticks: &[i64]) -> i64 {
    let mut steps: Vec<i64> = ticks.windows(2).map(|w| w[1].saturating_sub(w[0])).collect();
    let middle = steps.len() / 2;
    if steps.is_empty() { 0 } else { *steps.select_nth_unstable(middle).1 }
}
