//! `cowpath serve`: the pages, for phones and desks on the farm's network.

use std::{
    path::{Path, PathBuf},
    process::ExitCode,
    sync::Arc,
};

use clap::Args;
use cowpath_store::Farm;
use jiff::Timestamp;

use super::{Context, show};
use crate::{
    ask::{farm::Barn, inbox, live::Live},
    trouble::user,
    web,
};

/// Loopback: other machines see the pages only when they are told to.
pub const USUAL_ADDRESS: &str = "127.0.0.1:8423";

/// Said where nothing can be kept.
const ONLY_READ: &str = "The farm's file can only be read here: every page is shown, and what is answered, marked, set or sent \
                         is not kept and says so.";

/// Serves the pages; the first line printed is their address
///
/// Only this machine sees them unless another address is named. Of a folder named as the inbox each file is read once
/// it is complete; nothing in it is moved, and Records says what was done.
///
/// Example: cowpath serve --inbox logs --listen 0.0.0.0:8423
#[derive(Debug, Args)]
pub struct Serve {
    /// Address and port; port 0 picks a free one
    #[arg(long, value_name = "ADDR", default_value = USUAL_ADDRESS)]
    listen: String,
    /// Folder whose files are read as they come
    #[arg(long, value_name = "DIR")]
    inbox: Option<PathBuf>,
}

impl Serve {
    /// Serves until it is told to stop.
    pub fn run(&self, context: &Context) -> anyhow::Result<ExitCode> {
        if let Some(folder) = &self.inbox {
            may_be_inbox(folder, &context.farm)?;
        }
        // A farm that is there is only read by its pages until somebody brings a file: it may lie on a disk that is.
        let barn = if Farm::exists(&context.farm) {
            context.barn()?
        } else {
            Barn::found(&context.farm, context.now, &crate::clock::machine_zone_name())?
        };
        if barn.store.is_only_read()? {
            show::aside(ONLY_READ);
        }
        let now = context.now_named.then_some(context.now);
        serve(barn, &self.listen, self.inbox.as_deref(), now)
    }
}

/// Whether a folder can be watched.
fn may_be_inbox(folder: &Path, farm: &Path) -> anyhow::Result<()> {
    let next = "make the folder, or name another one: `cowpath serve --inbox DIR`";
    if let Err(error) = std::fs::read_dir(folder) {
        return Err(user(
            format!("{} cannot be the inbox: {error}", folder.display()),
            "nothing was changed",
            next,
        ));
    }
    let whole = |path: &Path| std::fs::canonicalize(path).ok();
    if whole(farm).is_some_and(|farm| Some(farm) == whole(folder)) {
        return Err(user("the inbox cannot be the farm's own folder", "nothing was changed", next));
    }
    Ok(())
}

/// Serves a farm's pages until Ctrl-C; watches an inbox where one is named. `now` counts as now where it is named.
pub fn serve(
    barn: Barn,
    listen: &str,
    folder: Option<&Path>,
    now: Option<Timestamp>,
) -> anyhow::Result<ExitCode> {
    let live = Arc::new(Live::new(barn)?.with_now(now));
    let runtime = tokio::runtime::Builder::new_multi_thread().worker_threads(2).enable_all().build()?;
    runtime.block_on(async {
        let listener = tokio::net::TcpListener::bind(listen).await.map_err(|error| {
            user(
                format!("pages cannot be served at {listen}: {error}"),
                "nothing was changed",
                match error.kind() {
                    std::io::ErrorKind::AddrInUse => {
                        "another program has that port: name another one, or `--listen 127.0.0.1:0` for any free one"
                    }
                    std::io::ErrorKind::PermissionDenied => "name a port of 1024 or more, like 127.0.0.1:8423",
                    _ => "name an address of this machine and a port, like 127.0.0.1:8423 or 0.0.0.0:8423",
                },
            )
        })?;
        // Pages are served also where nobody can read their address here.
        let _ = show::line(&format!("http://{}/", listener.local_addr()?));
        // What the round needs is reckoned before the first page asks for it.
        Live::keep_ready(&live);
        // What an upload left behind that was killed with the program.
        web::clear_uploads(&live.dir());
        if let Some(folder) = folder {
            inbox::watch(&live, folder);
        }
        web::serve(listener, live, async {
            let _ = tokio::signal::ctrl_c().await;
        })
        .await
    })?;
    Ok(ExitCode::SUCCESS)
}
