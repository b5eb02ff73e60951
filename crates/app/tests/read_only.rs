//! The real program on a farm that can only be read: every page answers, and what cannot be kept is said.
#![cfg(target_os = "linux")]
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::print_stdout)]

mod common;
#[path = "common/served.rs"]
mod served;

use std::{
    fs,
    os::unix::{
        fs::{MetadataExt, PermissionsExt},
        process::CommandExt,
    },
    path::Path,
    process::{Command, Stdio},
};

use common::Place;
use served::Served;

/// The farm's folder laid over itself, to be read only, and then a program in its place.
const ONLY_READ: &str = r#"mount --bind "$0" "$0" && mount -o remount,ro,bind "$0" && exec "$@""#;
/// Ways to a view of the disks of one's own: as anybody, where the system lets one, and as its administrator.
const OWN_DISKS: [&[&str]; 2] = [&["--user", "--map-root-user", "--mount"], &["--mount"]];

/// What comes before a command that is to see a folder as one that can only be read; none where the system forbids it.
fn only_read(folder: &Path) -> Option<Command> {
    let with = |words: &[&str]| {
        let mut command = Command::new("unshare");
        command.args(words).args(["sh", "-c", ONLY_READ]).arg(folder);
        command
    };
    let tried = OWN_DISKS.into_iter().find(|words| {
        let told = with(words).arg("touch").arg(folder.join("trial")).stderr(Stdio::piped()).output();
        told.is_ok_and(|told| String::from_utf8_lossy(&told.stderr).contains("Read-only"))
    });
    tried.map(with)
}

/// The program on a place's farm, in a shell of its own that can only read it.
fn command(place: &Place, mut before: Command, words: &[&str]) -> Command {
    let own = place.command(words);
    before.arg(own.get_program()).args(own.get_args());
    before
}

#[test]
fn every_page_answers_and_says_what_cannot_be_kept() {
    let place = Place::demo(12, 1, 45);
    let before = || {
        let before = only_read(&place.farm());
        if before.is_none() {
            println!("not tried: this system lets nobody lay a read-only disk over a folder");
        }
        before
    };
    let Some(serving) = before() else { return };
    let bytes = fs::read(place.farm().join("farm.sqlite")).unwrap();
    let served = Served::of(command(&place, serving, &["serve", "--listen", "127.0.0.1:0"]));
    let cow = served.json("/api/herd")[0]["animal"].as_str().unwrap().to_owned();

    // Every address that is there to be read, as the program's own list has them.
    let routes = include_str!("../src/web/mod.rs").lines().filter_map(|line| {
        let (path, rest) = line.trim().strip_prefix(".route(\"")?.split_once('"')?;
        let path = path.replace("{animal}", &cow);
        let stream = path.ends_with("/events") || path.contains('{');
        (rest.contains("get(") && !stream).then_some(path)
    });
    let routes: Vec<String> = routes.collect();
    assert!(30 < routes.len(), "{routes:?}");
    for route in &routes {
        let words = match route.as_str() {
            "/cow" | "/api/cow" => format!("?animal={cow}"),
            _ => String::new(),
        };
        let (status, body) = served.ask(&format!("GET {route}{words}"), b"");
        assert!(matches!(status, 200 | 303), "{route}: {status} {body}");
    }
    let (status, _) = served.ask("GET /round?at=2026-02-20T05:30", b"");
    assert_eq!(status, 200);

    // What would be kept is refused in words, by page and for programs.
    let files = b"--XX\r\nContent-Disposition: form-data; name=\"files\"; filename=\"visits.csv\"\r\n\r\n\
        animal,box,started_at,ended_at,outcome,milk_kg\r\n--XX--\r\n";
    let done = format!("animal={cow}");
    for (what, request, sent, said) in [
        ("settings", "POST /records/settings", &b"name=Other"[..], "can only be read"),
        ("a mark", "POST /bring-in/done", done.as_bytes(), "can only be read"),
        ("files", "POST /records/files", &files[..], "Read-only"),
        ("files of a program", "POST /api/files", &files[..], "Read-only"),
    ] {
        let (status, body) = served.ask(request, sent);
        assert!((400..600).contains(&status) && body.contains(said), "{what}: {status} {body}");
    }
    drop(served);

    // Commands read as well, and say what they cannot keep.
    let run = |words: &[&str]| {
        let told = command(&place, before().unwrap(), words).output().unwrap();
        (told.status.code(), String::from_utf8_lossy(&told.stderr).into_owned())
    };
    assert_eq!(run(&["round"]).0, Some(0));
    assert_eq!(run(&["cow", &cow]).0, Some(0));
    assert_eq!(run(&["check"]).0, Some(0));
    let (code, said) = run(&["settings", "--name", "Other"]);
    assert!(code == Some(1) && said.contains("cannot be written to"), "{said}");
    let (code, said) = run(&["import", "logs/visits.csv"]);
    assert!(code == Some(1) && said.contains("Do: "), "{said}");

    // Nothing came of it.
    assert!(bytes == fs::read(place.farm().join("farm.sqlite")).unwrap(), "the file changed");
}

#[test]
fn who_may_only_read_reads_beside_a_program_that_may_write() {
    const NOBODY: u32 = 65534;
    if fs::metadata("/proc/self").map(|own| own.uid()).unwrap_or(1) != 0 {
        println!("not tried: only the system's administrator can run a program as somebody else");
        return;
    }
    let place = Place::demo(12, 1, 45);
    fs::set_permissions(place.dir.path(), fs::Permissions::from_mode(0o755)).unwrap();
    // The program may lie where nobody else may go.
    let own = place.command([""; 0]);
    let program = place.dir.path().join("cowpath");
    fs::copy(own.get_program(), &program).unwrap();
    let run = |words: &[&str]| {
        let mut command = Command::new(&program);
        let told = command.args(own.get_args()).args(words).uid(NOBODY).gid(NOBODY).output().unwrap();
        (told.status.code(), String::from_utf8_lossy(&told.stderr).into_owned())
    };
    // Alone there is no way to read safely, and it is said what to do.
    let (code, said) = run(&["round"]);
    assert!(code == Some(1) && said.contains("copy the farm's file"), "{said}");
    let served = Served::start(&place, None);
    served.json("/api/round");
    assert_eq!(run(&["round"]), (Some(0), String::new()));
    let (code, said) = run(&["settings", "--name", "Other"]);
    assert!(code == Some(1) && said.contains("cannot be written to"), "{said}");
}
