//! The real program, serving a place of its own.
#![allow(dead_code, clippy::unwrap_used, clippy::expect_used)]

use std::{
    io::{BufRead, BufReader, Read, Write},
    net::TcpStream,
    path::Path,
    process::{Child, Command, Stdio},
    time::{Duration, Instant},
};

use serde_json::Value;

use crate::common::Place;

/// A program that serves until it is dropped.
pub struct Served {
    child: Child,
    pub address: String,
}

impl Served {
    /// Serves a place, with an inbox or without.
    pub fn start(place: &Place, inbox: Option<&Path>) -> Served {
        let mut words = vec!["serve".to_owned(), "--listen".into(), "127.0.0.1:0".into()];
        if let Some(inbox) = inbox {
            words.extend(["--inbox".into(), inbox.display().to_string()]);
        }
        Served::of(place.command(words))
    }

    /// A command that serves, with whatever stands before it.
    pub fn of(mut command: Command) -> Served {
        let mut child = command.stdout(Stdio::piped()).spawn().unwrap();
        let mut line = String::new();
        BufReader::new(child.stdout.take().unwrap()).read_line(&mut line).unwrap();
        let address = line.trim().trim_start_matches("http://").trim_end_matches('/').to_owned();
        Served { child, address }
    }

    /// Sends a request and gives status and body.
    pub fn ask(&self, request: &str, body: &[u8]) -> (u16, String) {
        let mut line = TcpStream::connect(&self.address).unwrap();
        line.set_read_timeout(Some(Duration::from_secs(60))).unwrap();
        let head = format!(
            "{request} HTTP/1.1\r\nHost: {}\r\nConnection: close\r\nContent-Length: {}\r\n",
            self.address,
            body.len()
        );
        let kind = if request.contains("files") {
            "multipart/form-data; boundary=XX"
        } else {
            "application/x-www-form-urlencoded"
        };
        line.write_all(format!("{head}Content-Type: {kind}\r\n\r\n").as_bytes()).unwrap();
        line.write_all(body).unwrap();
        let mut answer = Vec::new();
        line.read_to_end(&mut answer).unwrap();
        let answer = String::from_utf8_lossy(&answer).into_owned();
        let status = answer.get(9..12).and_then(|word| word.parse().ok()).unwrap_or(0);
        (status, answer.split_once("\r\n\r\n").map(|(_, body)| body.to_owned()).unwrap_or_default())
    }

    /// What an address of the API says.
    pub fn json(&self, address: &str) -> Value {
        let (status, body) = self.ask(&format!("GET {address}"), b"");
        assert_eq!(status, 200, "{address}: {body}");
        serde_json::from_str(&body).unwrap()
    }

    /// Waits until Records says so.
    pub fn until(&self, what: &str, says: impl Fn(&Value) -> bool) -> Value {
        let began = Instant::now();
        loop {
            let records = self.json("/api/records");
            if says(&records) {
                return records;
            }
            assert!(began.elapsed() < Duration::from_secs(30), "{what}: {records:#}");
            std::thread::sleep(Duration::from_millis(50));
        }
    }
}

impl Drop for Served {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}
