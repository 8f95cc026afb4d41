//! The middle of many timings.

use std::time::Duration;

/// The time below which a share (0 to 1) of some timings lies, in seconds; 0.5 gives the median.
/// No timings give NaN.
pub fn quantile(times: &mut [Duration], share: f64) -> f64 {
    times.sort_unstable();
    let last = times.len().saturating_sub(1);
    let at = (share * last as f64).round() as usize;
    times.get(at).map_or(f64::NAN, Duration::as_secs_f64)
}
