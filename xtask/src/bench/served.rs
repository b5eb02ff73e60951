//! A farm that is served while it is measured.

#![allow(clippy::disallowed_methods, reason = "a stopwatch")]

use std::{
    io::{BufRead as _, BufReader, Read as _, Write as _},
    net::TcpStream,
    path::Path,
    process::{Child, Command, Stdio},
    thread,
    time::{Duration, Instant},
};

use anyhow::{Context as _, bail};

use super::{herd, measure, word};

/// A served farm; stopped when dropped.
pub struct Served {
    /// The program that serves it.
    pub program: Child,
    /// Host and port.
    pub address: String,
}

impl Drop for Served {
    fn drop(&mut self) {
        // It ends with this process at the latest; nothing of it is kept.
        let _ = self.program.kill();
        let _ = self.program.wait();
    }
}

/// How long a page's first byte takes, ms.
pub fn ms_to_first_byte(address: &str, page: &str) -> anyhow::Result<f64> {
    let begun = Instant::now();
    Ok((first_byte(address, page)? - begun).as_secs_f64() * 1000.0)
}

/// Asks for a page on a connection of its own; when its first byte came. The page must be whole and there.
fn first_byte(address: &str, page: &str) -> anyhow::Result<Instant> {
    let mut stream = TcpStream::connect(address)?;
    stream.set_read_timeout(Some(Duration::from_secs(60)))?;
    let asked = format!(
        "GET {page} HTTP/1.1\r\nHost: {address}\r\nAccept-Encoding: gzip\r\nConnection: close\r\n\r\n"
    );
    stream.write_all(asked.as_bytes())?;
    let mut answer = vec![0];
    stream.read_exact(&mut answer).with_context(|| format!("{page} was not answered within a minute"))?;
    let came = Instant::now();
    stream.read_to_end(&mut answer)?;
    if !answer.starts_with(b"HTTP/1.1 200") {
        let head = String::from_utf8_lossy(&answer[..answer.len().min(200)]).into_owned();
        bail!("{page} was answered with {head}");
    }
    Ok(came)
}

/// Serves a farm on a free port, with more words of the command line; it has answered once when this returns.
pub fn serve(program: &Path, farm: &Path, more: &[&str]) -> anyhow::Result<Served> {
    let mut program = Command::new(program)
        .args(["--farm", &word(farm), "--now", herd::NOW, "serve", "--listen", "127.0.0.1:0"])
        .args(more)
        .stdout(Stdio::piped())
        .spawn()
        .context("the pages could not be served")?;
    let mut first = String::new();
    if let Some(out) = program.stdout.take() {
        BufReader::new(out).read_line(&mut first)?;
    }
    let address = first.trim().trim_start_matches("http://").trim_end_matches('/').to_owned();
    let served = Served { program, address };
    first_byte(&served.address, "/round").context("the served farm did not answer")?;
    Ok(served)
}

/// Waits until the served farm has nothing left to make ready; how much processor time that took, s.
pub fn until_idle(served: &Served) -> f64 {
    let mut before_s = -1.0;
    loop {
        let now_s = measure::running_s(&served.program);
        if now_s <= before_s {
            return now_s;
        }
        before_s = now_s;
        thread::sleep(Duration::from_millis(2500));
    }
}
