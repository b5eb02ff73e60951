//! Herd sizes as a person writes them.

/// Most herd sizes of a plan.
pub const MOST_SIZES: usize = 120;

/// That so many sizes are not reckoned at once.
pub fn too_many(sizes: usize) -> String {
    format!("{sizes} herd sizes are more than {MOST_SIZES}: take larger steps, like 60-180/10")
}

/// Herd sizes as a person writes them: `60,90,120`, `60-180/4`.
///
/// # Errors
/// Says what was not understood.
pub fn sizes(words: &str) -> Result<Vec<usize>, String> {
    let wrong = |part: &str| format!("`{part}` is no herd size: write them like 60,90,120 or 60-180/10");
    let mut all = Vec::new();
    for part in words.split([',', ' ']).map(str::trim).filter(|part| !part.is_empty()) {
        let (span, step) = part.split_once('/').map_or((part, "1"), |(span, step)| (span, step));
        let number = |text: &str| text.trim().parse::<usize>().map_err(|_| wrong(part));
        match span.split_once(['-', '–']) {
            None => all.push(number(span)?),
            Some((low, high)) => {
                let (low, high, step) = (number(low)?, number(high)?, number(step)?);
                if step == 0 || high < low {
                    return Err(wrong(part));
                }
                let sizes = (high - low) / step + 1;
                if MOST_SIZES < sizes {
                    return Err(too_many(sizes));
                }
                all.extend((low..=high).step_by(step));
            }
        }
    }
    all.sort_unstable();
    all.dedup();
    Ok(all)
}
