//! Open pages are told of a changed round: at once, after rows were read, and no longer than the server runs.

use std::{
    io::{BufRead, BufReader, Write},
    net::{SocketAddr, TcpStream},
    sync::Arc,
    time::{Duration, Instant},
};

use jiff::{Timestamp, tz::TimeZone};

use super::{box_days, whole};
use crate::{
    ask::{farm::Barn, live::Live, take_in},
    web::{Answers, events::MOST_LISTENERS},
};

/// A served farm that is told to stop when the test says so.
struct Served {
    address: SocketAddr,
    stop: tokio::sync::oneshot::Sender<()>,
    ended: tokio::task::JoinHandle<anyhow::Result<()>>,
}

async fn serve(answers: Arc<dyn Answers>) -> Served {
    let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await.unwrap();
    let address = listener.local_addr().unwrap();
    let (stop, stopped) = tokio::sync::oneshot::channel::<()>();
    let ended = tokio::spawn(crate::web::serve(listener, answers, async {
        let _ = stopped.await;
    }));
    Served { address, stop, ended }
}

/// Opens `/events`; the answer's head has been read.
fn open(address: SocketAddr) -> (String, BufReader<TcpStream>) {
    let mut line = TcpStream::connect(address).unwrap();
    line.set_read_timeout(Some(Duration::from_secs(20))).unwrap();
    line.write_all(b"GET /events HTTP/1.1\r\nHost: localhost\r\n\r\n").unwrap();
    let mut reader = BufReader::new(line);
    let mut head = String::new();
    while !head.ends_with("\r\n\r\n") {
        assert_ne!(reader.read_line(&mut head).unwrap(), 0, "{head}");
    }
    (head, reader)
}

/// The next event's data; `None` where the server ended it.
fn next(reader: &mut BufReader<TcpStream>) -> Option<String> {
    loop {
        let mut line = String::new();
        if reader.read_line(&mut line).ok()? == 0 {
            return None;
        }
        if let Some(data) = line.strip_prefix("data: ") {
            return Some(data.trim().to_owned());
        }
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_changed_round_is_told_and_nothing_else() {
    let (folder, live) = box_days::read(&box_days::three_makes()[..1]);
    let served = serve(Arc::<Live>::clone(&live)).await;
    let address = served.address;
    let (head, mut reader) = tokio::task::spawn_blocking(move || open(address)).await.unwrap();
    assert!(head.starts_with("HTTP/1.1 200") && head.contains("text/event-stream"), "{head}");
    let (first, mut reader) = tokio::task::spawn_blocking(move || (next(&mut reader), reader)).await.unwrap();
    let before = live.round(None).unwrap().mark();
    assert_eq!(first.as_deref(), Some(before.as_str()), "the mark of the round, and nothing else");

    // Another process reads a file.
    let log = folder.path().join("later.csv");
    std::fs::write(&log, "animal,box,started_at,ended_at,outcome,milk_kg\n87,1,2026-03-03T05:00:00Z,2026-03-03T05:07:00Z,milked,9\n")
        .unwrap();
    let mut barn = Barn::open(folder.path()).unwrap();
    let now: Timestamp = "2026-12-01T00:00:00Z".parse().unwrap();
    take_in::take_in(&mut barn, &[log], &TimeZone::UTC, now, &mut |_, _| {}).unwrap();
    let begun = Instant::now();
    let (second, reader) = tokio::task::spawn_blocking(move || (next(&mut reader), reader)).await.unwrap();
    assert!(begun.elapsed() < Duration::from_secs(5), "{:?}", begun.elapsed());
    assert_eq!(second, Some(live.round(None).unwrap().mark()));
    assert_ne!(second, first);

    // It ends when it is told to, with the page still listening.
    let begun = Instant::now();
    served.stop.send(()).unwrap();
    served.ended.await.unwrap().unwrap();
    assert!(begun.elapsed() < Duration::from_secs(3), "{:?}", begun.elapsed());
    let mut reader = reader;
    assert_eq!(tokio::task::spawn_blocking(move || next(&mut reader)).await.unwrap(), None);
}

#[tokio::test(flavor = "multi_thread")]
async fn there_are_so_many_places_and_no_more_and_each_is_given_back() {
    let served = serve(Arc::new(whole())).await;
    let address = served.address;
    tokio::task::spawn_blocking(move || {
        let mut open_pages: Vec<_> = (0..MOST_LISTENERS).map(|_| open(address)).collect();
        assert!(open_pages.iter().all(|(head, _)| head.starts_with("HTTP/1.1 200")));
        let (head, _) = open(address);
        assert!(head.starts_with("HTTP/1.1 503") && head.contains("retry-after: 60"), "{head}");
        // A page is asked for as before.
        let mut line = TcpStream::connect(address).unwrap();
        line.write_all(b"GET /round HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n").unwrap();
        let mut answer = String::new();
        BufReader::new(line).read_line(&mut answer).unwrap();
        assert!(answer.starts_with("HTTP/1.1 200"), "{answer}");
        // A page that is closed makes room.
        open_pages.pop();
        let begun = Instant::now();
        loop {
            let (head, _line) = open(address);
            if head.starts_with("HTTP/1.1 200") {
                break;
            }
            assert!(begun.elapsed() < Duration::from_secs(20), "{head}");
            std::thread::sleep(Duration::from_millis(100));
        }
    })
    .await
    .unwrap();
    served.stop.send(()).unwrap();
    served.ended.await.unwrap().unwrap();
}

#[test]
fn the_round_s_mark_is_that_of_the_api() {
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
    runtime.block_on(async {
        let answer = super::get(whole(), "/api/round").await;
        let mark = whole().round.mark();
        assert_eq!(answer.headers["etag"], format!("W/\"{mark}\""));
        let page = super::get(whole(), "/round").await.text;
        assert!(page.contains(&format!("data-mark=\"{mark}\"")));
        assert!(!super::get(whole(), "/round?at=2026-03-02T05:30").await.text.contains("data-mark"));
    });
}
