//! A Debian package by one command: the program, its manual pages, completions, guides, and a unit that serves a farm.
//!
//! The package is put together in a folder and closed by `dpkg-deb`, which every Debian machine has. Times in it are those
//! of the last commit, so that the same source gives the same package.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use anyhow::{Context as _, bail};

/// Builds the package and gives its path.
pub fn run() -> anyhow::Result<PathBuf> {
    let root = crate::root();
    let commit = said("git", &["rev-parse", "--short=12", "HEAD"]).unwrap_or_else(|_| "from source".into());
    let built = Command::new(env!("CARGO"))
        .current_dir(&root)
        .args(["build", "--release", "--package", "cowpath"])
        .env("COWPATH_BUILD", &commit)
        .status()?;
    if !built.success() {
        bail!("the program could not be built");
    }
    let architecture = said("dpkg-deb", &["--version"])
        .and_then(|_| said("dpkg", &["--print-architecture"]))
        .context("dpkg-deb is needed: packages are made on Debian or a system like it")?;
    let target = std::env::var_os("CARGO_TARGET_DIR").map_or_else(|| root.join("target"), PathBuf::from);
    let tree = target.join("deb").join("cowpath");
    let _ = fs::remove_dir_all(&tree);
    let program = place(&tree, "usr/bin/cowpath", &target.join("release/cowpath"), 0o755)?;
    let manual = tree.join("usr/share/man/man1");
    asked(Command::new(&program).arg("manual").arg(&manual))?;
    for page in fs::read_dir(&manual)?.collect::<Result<Vec<_>, _>>()? {
        asked(Command::new("gzip").args(["-9", "-n"]).arg(page.path()))?;
    }
    for (shell, to) in [
        ("bash", "usr/share/bash-completion/completions/cowpath"),
        ("zsh", "usr/share/zsh/vendor-completions/_cowpath"),
        ("fish", "usr/share/fish/vendor_completions.d/cowpath.fish"),
    ] {
        let out = Command::new(&program).args(["completions", shell]).output()?;
        if !out.status.success() {
            bail!("no completions for {shell}");
        }
        write(&tree, to, &out.stdout, 0o644)?;
    }
    place(&tree, "usr/lib/systemd/system/cowpath.service", &root.join("packaging/cowpath.service"), 0o644)?;
    let doc = "usr/share/doc/cowpath";
    for file in ["README.md", "CHANGELOG.md", "LICENSE-MIT", "LICENSE-APACHE"] {
        place(&tree, &format!("{doc}/{file}"), &root.join(file), 0o644)?;
    }
    for guide in fs::read_dir(root.join("docs/guide"))?.collect::<Result<Vec<_>, _>>()? {
        let name = guide.file_name().to_string_lossy().into_owned();
        place(&tree, &format!("{doc}/guide/{name}"), &guide.path(), 0o644)?;
    }
    let version = env!("CARGO_PKG_VERSION");
    let control = fs::read_to_string(root.join("packaging/control"))?
        .replace("@VERSION@", version)
        .replace("@ARCHITECTURE@", architecture.trim())
        .replace("@KILOBYTES@", &(bytes(&tree)? / 1024).to_string())
        .replace("@LIBC@", &libc(&program)?);
    write(&tree, "DEBIAN/control", control.as_bytes(), 0o644)?;
    let package = target.join("deb").join(format!("cowpath_{version}_{}.deb", architecture.trim()));
    let time = said("git", &["log", "-1", "--format=%ct"]).unwrap_or_else(|_| "0".into());
    asked(
        Command::new("dpkg-deb")
            .args(["--root-owner-group", "-Zxz", "--build"])
            .arg(&tree)
            .arg(&package)
            .env("SOURCE_DATE_EPOCH", time.trim()),
    )?;
    Ok(package)
}

/// Newest C library whose words the program asks for, as `2.34`.
fn libc(program: &Path) -> anyhow::Result<String> {
    let bytes = fs::read(program)?;
    let mark = b"GLIBC_2.";
    let mut newest = 17;
    for place in bytes.windows(mark.len()).enumerate().filter(|(_, own)| own == mark).map(|(place, _)| place)
    {
        let digits: String = bytes[place + mark.len()..]
            .iter()
            .take(2)
            .map(|byte| char::from(*byte))
            .take_while(char::is_ascii_digit)
            .collect();
        newest = newest.max(digits.parse::<u32>().unwrap_or(0));
    }
    Ok(format!("2.{newest}"))
}

fn place(tree: &Path, to: &str, from: &Path, mode: u32) -> anyhow::Result<PathBuf> {
    let bytes = fs::read(from).with_context(|| from.display().to_string())?;
    write(tree, to, &bytes, mode)
}

fn write(tree: &Path, to: &str, bytes: &[u8], mode: u32) -> anyhow::Result<PathBuf> {
    use std::os::unix::fs::PermissionsExt as _;
    let path = tree.join(to);
    if let Some(folder) = path.parent() {
        fs::create_dir_all(folder)?;
    }
    fs::write(&path, bytes)?;
    fs::set_permissions(&path, fs::Permissions::from_mode(mode))?;
    Ok(path)
}

fn bytes(folder: &Path) -> anyhow::Result<u64> {
    let mut sum = 0;
    for entry in fs::read_dir(folder)? {
        let entry = entry?;
        let about = entry.metadata()?;
        sum += if about.is_dir() { bytes(&entry.path())? } else { about.len() };
    }
    Ok(sum)
}

fn said(program: &str, words: &[&str]) -> anyhow::Result<String> {
    let out = Command::new(program).args(words).current_dir(crate::root()).output()?;
    if !out.status.success() {
        bail!("{program} {} failed", words.join(" "));
    }
    Ok(String::from_utf8(out.stdout)?.trim().to_owned())
}

fn asked(command: &mut Command) -> anyhow::Result<()> {
    let out = command.output()?;
    if !out.status.success() {
        bail!("{command:?} failed: {}", String::from_utf8_lossy(&out.stderr));
    }
    Ok(())
}
