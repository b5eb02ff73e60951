//! `cowpath demo`: a simulated herd's logs, read like any farm's, its round, and its pages.

use std::{
    fs,
    path::{Path, PathBuf},
    process::ExitCode,
};

use anyhow::Context as _;
use clap::Args;
use cowpath_core::say::number;
use cowpath_herdsim::Scenario;

use super::{Context, Format, import, round, serve, show};
use crate::{
    ask::{farm::Barn, rounding, take_in, view},
    trouble::user,
};

/// Says which herd a folder holds, so that a farm's own folder is never taken for a demo's.
const MARK: &str = "demo.txt";

/// Makes a simulated herd's logs, reads them as any farm's, prints the round and serves the pages
///
/// Example: cowpath demo --cows 120 --boxes 2 --days 120
#[derive(Debug, Args)]
pub struct Demo {
    /// Cows in milk
    #[arg(long, default_value_t = 120, value_parser = clap::value_parser!(u32).range(2..=5000))]
    cows: u32,
    /// Boxes
    #[arg(long, default_value_t = 2, value_parser = clap::value_parser!(u32).range(1..=60))]
    boxes: u32,
    /// Days of logs
    #[arg(long, default_value_t = 120, value_parser = clap::value_parser!(u32).range(2..=1500))]
    days: u32,
    /// Which herd; the same seed gives the same rows
    #[arg(long, default_value_t = Scenario::DEMO_SEED)]
    seed: u64,
    /// Only print the round
    #[arg(long)]
    no_serve: bool,
    /// Address the pages are served at
    #[arg(long, value_name = "ADDR", default_value = serve::USUAL_ADDRESS)]
    listen: String,
}

impl Demo {
    /// Everything needed to see the main job.
    pub fn run(&self, context: &Context) -> anyhow::Result<ExitCode> {
        let dir = if context.farm_named { context.farm.clone() } else { context.farm.join("demo") };
        let logs = dir.join("logs");
        let herd = format!(
            "simulated herd: {} cows, {} boxes, {} days, seed {}\n",
            self.cows, self.boxes, self.days, self.seed
        );
        make_room(&dir, &herd)?;
        let scenario = Scenario::demo(self.cows, self.boxes, self.days, self.seed);
        let zone = scenario.zone.iana_name().unwrap_or("UTC").to_owned();
        let boxes = number::things(self.boxes as usize, "box", "boxes");
        show::aside(&format!("Making the logs of {} cows and {boxes} over {} days …", self.cows, self.days));
        cowpath_herdsim::write(&scenario, &logs, None).context("the simulated logs could not be written")?;
        fs::write(dir.join(MARK), &herd)?;
        // The herd is invented, and so is its day: rows up to its last morning are not of the future.
        let now = context
            .now
            .max(scenario.last_day.at(23, 59, 0, 0).to_zoned_datetime(scenario.zone.clone())?.timestamp());
        let mut barn = Barn::found(&dir, now, &zone)?;
        let mut settings = barn.store.settings()?;
        settings.name = scenario.name.clone();
        barn.store.save_settings(&settings)?;
        let taken = take_in::take_in(&mut barn, &log_files(&logs)?, &scenario.zone, now, &mut |_, _| {})?;
        import::print(&taken, Format::Text)?;
        show::line("")?;
        let view = view::at(&barn, None)?;
        match &view {
            Some(view) => {
                view.keep(&mut barn)?;
                round::print(&rounding::of_view(&barn, view)?, Format::Text)?;
            }
            None => round::print(&rounding::round(&barn, None, now)?, Format::Text)?,
        }
        show::line(&format!(
            "\nThe herd is simulated. Its logs lie in {}, its farm in {}.",
            logs.display(),
            dir.display()
        ))?;
        if self.no_serve {
            return Ok(ExitCode::SUCCESS);
        }
        show::line("Its pages, until you press Ctrl-C:")?;
        serve::serve(barn, &self.listen, None, Some(now))
    }
}

/// Makes the folder, and clears away an older demo herd of another make; a farm that is no demo's is left alone.
fn make_room(dir: &Path, herd: &str) -> anyhow::Result<()> {
    let mark = dir.join(MARK);
    let holds = fs::read_to_string(&mark).ok();
    if holds.is_none() && cowpath_store::Farm::exists(dir) {
        return Err(user(
            format!("{} holds a farm that is not a demo's", dir.display()),
            "nothing was changed",
            "name another folder: `cowpath --farm DIR demo`",
        ));
    }
    if holds.as_deref().is_some_and(|holds| holds != herd) {
        cowpath_store::Farm::remove(dir)?;
        if dir.join("logs").is_dir() {
            fs::remove_dir_all(dir.join("logs"))?;
        }
    }
    fs::create_dir_all(dir.join("logs")).map_err(|error| {
        user(
            format!("{} cannot be written: {error}", dir.display()),
            "nothing was changed",
            "name a folder that you may write: `cowpath --farm DIR demo`",
        )
    })
}

fn log_files(logs: &Path) -> anyhow::Result<Vec<PathBuf>> {
    let mut files: Vec<PathBuf> = fs::read_dir(logs)?
        .filter_map(|entry| entry.ok().map(|entry| entry.path()))
        .filter(|path| path.extension().is_some_and(|ending| ending == "csv"))
        .collect();
    files.sort();
    Ok(files)
}
