//! Writes the generated pages of `docs/`: `cargo xtask validation`, `tables`, `cli` and `nile-race`.
//!
//! With `--check` a page is compared and not written; exit code 1 says that it is stale. `cargo test` makes the same
//! comparison, from the same code.

mod bench;
mod bring_in;
mod deb;
mod foretell;
mod nile_race;
mod open_data;
mod oracle;
mod program;
mod simpy_race;
mod traffic;

#[path = "../../crates/core/tests/cases/mod.rs"]
mod cases;
#[path = "../../crates/app/tests/cli_page/page.rs"]
mod cli_page;
#[path = "../../crates/core/tests/pages/mod.rs"]
mod pages;

use std::path::{Path, PathBuf};
use std::process::ExitCode;

use anyhow::{Context as _, anyhow};

const HELP: &str = "\
cargo xtask validation [--check]   published cases → docs/validation.md
cargo xtask tables [--check]       declared tables → docs/tables.md
cargo xtask cli [--check]          help of every command → docs/cli.md
cargo xtask open-data [--write]    forecasts of real milkings, where the open data set is at hand; COWPATH names the program
cargo xtask oracle [--write]       the judge beside an oracle that knows how the cases were made: a quarter, heats, illnesses
cargo xtask bring-in [--write]     simulated herds asked who comes by herself, against their logs; COWPATH names the program
cargo xtask bench [--write] [NAME…] speed and memory of the release program on simulated herds; --write keeps it in docs/speed.md;
                                   without a name all but the validation of 20 herds, with `all` that too
cargo xtask deb                    a Debian package in target/deb, with manual pages, completions and a systemd unit
cargo xtask traffic [--write]      simulated pens beside common practice and published herds, speed by cows, boxes and days
cargo xtask foretell [--write]     pens fitted to half of a simulated farm's days, held beside the other half; COWPATH names the program
cargo xtask simpy-race [--write]   the simulated pen beside the same one written for SimPy, timed in one run; --write keeps it in docs/validation.md
cargo xtask nile-race [--write]    the local level's fit beside statsmodels', timed in one run; --write keeps it in docs/validation.md
";

/// Herds on which figures are reported; none of them is looked at while a model is made.
const SEEDS: [u64; 4] = [101, 102, 103, 104];

fn main() -> ExitCode {
    let words: Vec<String> = std::env::args().skip(1).collect();
    let words: Vec<&str> = words.iter().map(String::as_str).collect();
    let done = match words[..] {
        ["validation"] => validation().and_then(|page| write("validation.md", &page)),
        ["validation", "--check"] => validation().and_then(|page| check("validation.md", &page)),
        ["deb"] => deb::run().map(|package| println!("{}", package.display())),
        ["tables"] => write("tables.md", &pages::tables::page()),
        ["tables", "--check"] => check("tables.md", &pages::tables::page()),
        ["cli"] => commands().and_then(|page| write("cli.md", &page)),
        ["cli", "--check"] => commands().and_then(|page| check("cli.md", &page)),
        ["bring-in"] => bring_in::run(&SEEDS, 120, 75).map(|text| println!("{text}")),
        ["bring-in", "--write"] => {
            bring_in::run(&SEEDS, 120, 75).and_then(|text| fill("validation.md", "bring-in", &text))
        }
        ["bring-in", ref seeds @ ..] => seeds
            .iter()
            .map(|seed| seed.parse().map_err(|_| anyhow!("`{seed}` is not a seed")))
            .collect::<anyhow::Result<Vec<u64>>>()
            .and_then(|seeds| bring_in::run(&seeds, 120, 75))
            .map(|text| println!("{text}")),
        ["open-data"] => open_data::run().map(|text| text.iter().for_each(|text| println!("{text}"))),
        ["open-data", "--write"] => open_data::run()
            .and_then(|text| text.map_or(Ok(()), |text| fill("validation.md", "open-data", &text))),
        ["oracle"] => oracle::run().map(|text| println!("{text}")),
        ["oracle", "--write"] => oracle::run().and_then(|text| fill("validation.md", "oracle", &text)),
        ["bench", "--write", ref names @ ..] => {
            bench::run(names).and_then(|text| fill("speed.md", "speed", &text))
        }
        ["bench", ref names @ ..] => bench::run(names).map(|text| println!("\n{text}")),
        ["traffic"] => traffic::run().map(|_| ()),
        ["traffic", "--write"] => traffic::run().and_then(|text| fill("validation.md", "traffic", &text)),
        ["foretell"] => foretell::run(&SEEDS).map(|_| ()),
        ["foretell", "--write"] => {
            foretell::run(&SEEDS).and_then(|text| fill("validation.md", "foretell", &text))
        }
        ["simpy-race"] => simpy_race::race().map(|_| ()),
        ["simpy-race", "--write"] => {
            simpy_race::race().and_then(|text| fill("validation.md", "simpy-race", &text))
        }
        ["nile-race"] => nile_race::run().map(|_| ()),
        ["nile-race", "--write"] => {
            nile_race::run().and_then(|text| fill("validation.md", "nile-race", &text))
        }
        _ => {
            eprint!("{HELP}");
            return ExitCode::from(1);
        }
    };
    match done {
        Ok(()) => ExitCode::SUCCESS,
        Err(trouble) => {
            eprintln!("{trouble:#}");
            ExitCode::from(1)
        }
    }
}

/// `docs/validation.md` with its published part as the cases now stand.
fn validation() -> anyhow::Result<String> {
    let outcomes = cases::run(&root().join("crates/core/tests/cases")).map_err(|faults| anyhow!(faults))?;
    let page = read("validation.md")?;
    pages::put(&page, pages::validation::PLACE, &pages::validation::published(&outcomes))
        .map_err(|fault| anyhow!("docs/validation.md: {fault}"))
}

/// `docs/cli.md` as the program now says, built first.
fn commands() -> anyhow::Result<String> {
    let built = std::process::Command::new(std::env::var("CARGO").unwrap_or_else(|_| "cargo".into()))
        .args(["build", "--quiet", "--package", "cowpath"])
        .current_dir(root())
        .status()
        .context("cargo could not be started")?;
    anyhow::ensure!(built.success(), "cowpath could not be built");
    // This program and that one are built into the same folder.
    let own = std::env::current_exe().context("the folder of built programs is not known")?;
    let program = own.with_file_name(format!("cowpath{}", std::env::consts::EXE_SUFFIX));
    cli_page::page(&program).map_err(|fault| anyhow!(fault))
}

/// Fills one place of a page; every command that measures keeps its figures this way.
fn fill(page: &str, place: &str, text: &str) -> anyhow::Result<()> {
    let filled = pages::put(&read(page)?, place, text).map_err(|fault| anyhow!("docs/{page}: {fault}"))?;
    write(page, &filled)
}

fn write(page: &str, text: &str) -> anyhow::Result<()> {
    let path = root().join("docs").join(page);
    std::fs::write(&path, text).with_context(|| format!("docs/{page} could not be written"))?;
    println!("docs/{page} written");
    Ok(())
}

fn check(page: &str, text: &str) -> anyhow::Result<()> {
    anyhow::ensure!(
        read(page)? == text,
        "docs/{page} is stale: run the command without --check and commit it"
    );
    println!("docs/{page} is as the code says");
    Ok(())
}

fn read(page: &str) -> anyhow::Result<String> {
    std::fs::read_to_string(root().join("docs").join(page))
        .with_context(|| format!("docs/{page} could not be read"))
}

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..")
}
