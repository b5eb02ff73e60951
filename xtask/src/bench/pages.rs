//! How long until a page's first byte, when people ask fifty times a second?

#![allow(clippy::disallowed_methods, reason = "a stopwatch")]

use std::{
    io::{Read as _, Write as _},
    net::TcpStream,
    path::Path,
    thread,
    time::{Duration, Instant},
};

use anyhow::{Context as _, anyhow, bail};

use super::{
    Line,
    herd::{self, Size},
    line, measure,
    served::{self, Served, ms_to_first_byte},
    told,
};

/// Between two requests: fifty a second.
const EVERY: Duration = Duration::from_millis(20);
/// Requests of one kind.
const REQUESTS: usize = 500;

/// Round, Cow and Boxes pages of a herd at fifty requests a second.
pub fn of_herd(program: &Path, size: &Size, most_ms: f64) -> anyhow::Result<Vec<Line>> {
    let (before, day) = herd::logs_by_day(size)?;
    let farm = herd::fresh("pages")?;
    herd::import(program, &farm, &herd::files(&before)?)?;
    let first = herd::round(program, &farm, None)?;
    let served = served::serve(program, &farm, &[])?;
    let cows = cows(&served)?;
    let ready_s = served::until_idle(&served);
    let picked = |at: usize| cows[at * 7 % cows.len()].as_str();
    let who = size.words();
    let mut lines = vec![told(format!("first round after reading all logs, {who}"), first.words())];
    lines.push(told(
        format!("everything at hand after serving began, {who}"),
        format!("{ready_s:.1} s of processor"),
    ));
    let mixed = |at: usize| {
        if at.is_multiple_of(2) { "/round".to_owned() } else { format!("/cow/{}", picked(at)) }
    };
    lines.push(asked(&served, &format!("Round and Cow pages in turn, {who}"), most_ms, &mixed)?);
    let dates = (0..300).map(days_before).collect::<anyhow::Result<Vec<String>>>()?;
    let boxes = |at: usize| format!("/boxes?date={}&animal={}", dates[at * 7 % dates.len()], picked(at));
    lines.push(asked(&served, &format!("Boxes pages of a day each, {who}"), most_ms, &boxes)?);
    for days in [90, 300] {
        let from = days_before(days)?;
        let what = format!("Cow pages over {days} days, {who}");
        let spans = |at: usize| format!("/cow/{}?from={from}", picked(at));
        let first_ms = ms_to_first_byte(&served.address, &spans(0))?;
        lines.push(told(format!("the first of the {what}"), format!("{first_ms:.0} ms")));
        // Pages that take seconds are not asked for fifty times a second.
        if first_ms < 1000.0 {
            lines.push(asked(&served, &what, most_ms, &spans)?);
        } else {
            let others = (1..6).map(|at| ms_to_first_byte(&served.address, &spans(at)));
            let others = others.collect::<anyhow::Result<Vec<f64>>>()?;
            let most = others.iter().copied().fold(0.0, f64::max);
            lines.push(line(
                what,
                format!("{most:.0} ms, the most of five, one by one"),
                format!("≤ {most_ms:.0} ms"),
                most <= most_ms,
            ));
        }
    }
    herd::import(program, &farm, &herd::files(&day)?)?;
    let first_ms = ms_to_first_byte(&served.address, "/round")?;
    lines.push(told(format!("first Round page after a day's new rows, {who}"), format!("{first_ms:.0} ms")));
    Ok(lines)
}

fn asked(
    served: &Served,
    what: &str,
    most_ms: f64,
    page: &(dyn Fn(usize) -> String + Sync),
) -> anyhow::Result<Line> {
    let before_s = measure::running_s(&served.program);
    let mut taken = at_fifty_a_second(&served.address, page)?;
    let processor_ms = 1000.0 * (measure::running_s(&served.program) - before_s) / REQUESTS as f64;
    taken.sort_by(f64::total_cmp);
    let at = |share: f64| taken[((taken.len() - 1) as f64 * share).round() as usize];
    Ok(line(
        what,
        format!(
            "first byte after {:.1} ms (median), {:.1} ms (p99), {:.1} ms (most) by the clock; {processor_ms:.1} ms of processor a page",
            at(0.5),
            at(0.99),
            at(1.0)
        ),
        format!("p99 ≤ {most_ms:.0} ms"),
        at(0.99) <= most_ms,
    ))
}

fn at_fifty_a_second(address: &str, page: &(dyn Fn(usize) -> String + Sync)) -> anyhow::Result<Vec<f64>> {
    let begun = Instant::now();
    thread::scope(|scope| {
        let asking: Vec<_> = (0..REQUESTS)
            .map(|at| {
                thread::sleep((begun + EVERY * at as u32).saturating_duration_since(Instant::now()));
                scope.spawn(move || ms_to_first_byte(address, &page(at)))
            })
            .collect();
        asking.into_iter().map(|one| one.join().map_err(|_| anyhow!("a request stopped"))?).collect()
    })
}

/// Herd numbers of the cows in the herd.
fn cows(served: &Served) -> anyhow::Result<Vec<String>> {
    let mut stream = TcpStream::connect(&served.address)?;
    let asked = format!("GET /api/herd HTTP/1.0\r\nHost: {}\r\n\r\n", served.address);
    stream.write_all(asked.as_bytes())?;
    let mut answer = String::new();
    stream.read_to_string(&mut answer)?;
    let (_, body) = answer.split_once("\r\n\r\n").context("an answer without a body")?;
    let rows: serde_json::Value = serde_json::from_str(body).context("the herd list is not JSON")?;
    let list = rows.as_array().cloned().unwrap_or_default();
    let cows: Vec<String> = list.iter().filter_map(|row| row["animal"].as_str().map(str::to_owned)).collect();
    if cows.is_empty() { bail!("the served farm has no cows") } else { Ok(cows) }
}

/// The day so many days before the herds' last one.
fn days_before(days: i64) -> anyhow::Result<String> {
    use jiff::ToSpan as _;
    Ok(jiff::civil::date(2026, 3, 2).checked_sub(days.days())?.to_string())
}
