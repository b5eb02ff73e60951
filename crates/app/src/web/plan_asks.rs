//! Questions that people bring to the Plan page, each a link that fills its form.

use std::collections::BTreeMap;

use cowpath_core::traffic::{Setup, Traffic};

use super::plan_drawn::around;

/// A question.
pub struct Ask {
    /// In words.
    pub words: &'static str,
    /// Where it is answered.
    pub link: String,
    /// Whether this is what was asked.
    pub current: bool,
}

/// In words, herd sizes, and fields of the form.
type Asked<'a> = (&'static str, String, &'a [(&'a str, &'a str)]);

/// Boxes of which none can be spared for the tenth of the cows that are fresh.
const FEW_BOXES: usize = 6;

/// Herd sizes for one box more: those about the farm's own, so that the same is said of it, and on to what one more holds.
fn wider(setup: &Setup) -> String {
    let own = setup.boxes.max(1);
    let (about, last) = around(setup);
    let high = (9 * setup.cows * (own + 1) / own / 8).max(72 * (own + 1));
    if high <= last {
        return about;
    }
    let step = (high - last).div_ceil(5);
    format!("{about},{}-{}/{step}", last + step, last + 5 * step)
}

/// What people ask of these pens.
pub fn asks(setup: &Setup, words: &BTreeMap<String, String>) -> Vec<Ask> {
    let about = around(setup).0;
    let one_more = (setup.boxes + 1).to_string();
    // Hours can only be held beside hours: where none are known some stand as asked, to be mended in the form.
    let rounds: &[(&str, &str)] = &[("fetch", "6/18"), ("other-fetch", "6/14/22")];
    let fetch = if setup.fetching.rounds_h == [6.0, 14.0, 22.0] { "6/18" } else { "6/14/22" };
    let known = [("other-fetch", fetch)];
    let other_hours = if setup.fetching.rounds_h.is_empty() { rounds } else { &known };
    let feed = if setup.feeding.delivered_h.len() < 2 { "6/16" } else { "6" };
    let (other_name, other) =
        if setup.traffic == Traffic::Free { ("Guided traffic", "guided") } else { ("Free traffic", "free") };
    // The pen for fresh cows takes one of the boxes; where there are few, it is one more.
    let fresh_cows = if setup.boxes < FEW_BOXES { wider(setup) } else { about.clone() };
    let fresh: &[(&str, &str)] = if setup.boxes < FEW_BOXES {
        &[("other-boxes", &one_more), ("other-fresh-pen", "30/1")]
    } else {
        &[("other-fresh-pen", "30/1")]
    };
    let other = [("other-traffic", other)];
    let all: [Asked<'_>; 10] = [
        ("How many more cows?", about.clone(), &[]),
        ("One more box", wider(setup), &[("other-boxes", &one_more)]),
        ("Other fetch hours", about.clone(), other_hours),
        ("Fresh feed at other hours", about.clone(), &[("other-feed", feed)]),
        ("Feed pushed more often", about.clone(), &[("other-pushes", "5/8/11/14/17/20/23")]),
        ("Intervals an hour longer", about.clone(), &[("other-shortest", "+1")]),
        ("Intervals an hour shorter", about.clone(), &[("other-shortest", "-1")]),
        ("A pen for fresh cows", fresh_cows, fresh),
        ("From a parlour, twice a day", about.clone(), &[("parlour", "2")]),
        (other_name, about, &other),
    ];
    all.iter()
        .map(|(name, cows, fields)| {
            let mut link = format!("/plan?cows={}", cows.replace('/', "%2F").replace(',', "%2C"));
            for (field, value) in *fields {
                link.push_str(&format!("&{field}={}", value.replace('/', "%2F").replace('+', "%2B")));
            }
            let typed: BTreeMap<&str, &str> = words
                .iter()
                .map(|(field, value)| (field.as_str(), value.trim()))
                .filter(|(_, value)| !value.is_empty())
                .collect();
            let these: BTreeMap<&str, &str> =
                fields.iter().copied().chain([("cows", cows.as_str())]).collect();
            Ask { words: name, link, current: typed == these }
        })
        .collect()
}
