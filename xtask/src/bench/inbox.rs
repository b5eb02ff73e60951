//! How long after a day's rows lie complete in the inbox does an open page hear of the changed round?

#![allow(clippy::disallowed_methods, reason = "a stopwatch")]

use std::{
    fs,
    io::{BufRead as _, BufReader, Read as _, Write as _},
    net::TcpStream,
    path::Path,
    sync::mpsc::{Receiver, channel},
    thread,
    time::{Duration, Instant},
};

use anyhow::{Context as _, bail};

use super::{
    Line, herd, line, scoring,
    served::{self, Served},
    word,
};

/// Mornings that are measured, each on a farm of its own.
const RUNS: usize = 5;
/// After how long nothing is waited for any more.
const AT_MOST: Duration = Duration::from_secs(60);

/// From the moment the file is there under its name: to the event, and to the whole page with the new round.
pub fn heard(program: &Path) -> anyhow::Result<Vec<Line>> {
    let (base, day) = scoring::known(program, &herd::SMALL)?;
    let visits = day.join("visits.csv");
    let (mut told_s, mut shown_s) = (Vec::new(), Vec::new());
    for _ in 0..RUNS {
        let (event_s, page_s) = once(program, &base, &visits)?;
        told_s.push(event_s);
        shown_s.push(page_s);
    }
    told_s.sort_by(f64::total_cmp);
    shown_s.sort_by(f64::total_cmp);
    let one = |what: &str, seconds: &[f64]| {
        let (median_s, most_s) = (seconds[RUNS / 2], seconds[RUNS - 1]);
        line(
            format!(
                "a day's visits ({} rows) put into the inbox, {}: {what}",
                herd::rows(&visits).unwrap_or(0),
                herd::SMALL.words()
            ),
            format!("after {median_s:.2} s (median of {RUNS}), {most_s:.2} s (most) by the clock"),
            "≤ 1 s",
            most_s <= 1.0,
        )
    };
    Ok(vec![
        one("an open page is told of the changed round", &told_s),
        one("the page with the new round is there, asked for when told", &shown_s),
    ])
}

/// Seconds to the event, and to the page.
fn once(program: &Path, base: &Path, visits: &Path) -> anyhow::Result<(f64, f64)> {
    let (farm, inbox) = (herd::fresh("inbox-farm")?, herd::fresh("inbox")?);
    let file = farm.join(cowpath_store::FILE_NAME);
    fs::copy(base.join(cowpath_store::FILE_NAME), &file)?;
    fs::File::open(&file)?.sync_all()?;
    // Beside the inbox and on the same disk, so that it comes whole by a change of name.
    let beside = farm.join("coming.csv");
    fs::copy(visits, &beside)?;
    let served = served::serve(program, &farm, &["--inbox", &word(&inbox)])?;
    served::until_idle(&served);
    let before = page(&served, "/round")?;
    let marks = listened(&served)?;
    let (_, old) = marks.recv_timeout(AT_MOST).context("no event told the round's mark")?;
    fs::rename(&beside, inbox.join("day.csv"))?;
    let begun = Instant::now();
    let told = loop {
        let (when, mark) = marks.recv_timeout(AT_MOST).context("no event came within a minute")?;
        if mark != old {
            break when;
        }
    };
    let after = page(&served, "/round")?;
    let shown = Instant::now();
    if before == after {
        bail!("the page is the same after a day's rows");
    }
    Ok(((told - begun).as_secs_f64(), (shown - begun).as_secs_f64()))
}

/// Marks of the round as they are told, each with when it came.
fn listened(served: &Served) -> anyhow::Result<Receiver<(Instant, String)>> {
    let mut stream = TcpStream::connect(&served.address)?;
    write!(stream, "GET /events HTTP/1.1\r\nHost: {}\r\n\r\n", served.address)?;
    let (tell, told) = channel();
    // It ends with the server, or when nobody hears it any more.
    thread::spawn(move || {
        for line in BufReader::new(stream).lines().map_while(Result::ok) {
            let Some(mark) = line.strip_prefix("data:") else { continue };
            if tell.send((Instant::now(), mark.trim().to_owned())).is_err() {
                return;
            }
        }
    });
    Ok(told)
}

/// A whole page.
fn page(served: &Served, path: &str) -> anyhow::Result<String> {
    let mut stream = TcpStream::connect(&served.address)?;
    stream.set_read_timeout(Some(AT_MOST))?;
    write!(stream, "GET {path} HTTP/1.0\r\nHost: {}\r\n\r\n", served.address)?;
    let mut answer = Vec::new();
    stream.read_to_end(&mut answer)?;
    let text = String::from_utf8_lossy(&answer);
    let (head, body) = text.split_once("\r\n\r\n").context("an answer without a body")?;
    if !head.contains(" 200 ") {
        bail!("{path} was answered with {}", head.lines().next().unwrap_or(""));
    }
    Ok(body.to_owned())
}
