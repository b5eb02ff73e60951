//! `cowpath serve`: the pages, for phones and desks on the farm's network.

use std::{process::ExitCode, sync::Arc};

use clap::Args;
use cowpath_store::Farm;

use super::{Context, show};
use crate::{
    ask::{farm::Barn, live::Live},
    trouble::user,
    web,
};

/// Loopback: other machines see the pages only when they are told to.
pub const USUAL_ADDRESS: &str = "127.0.0.1:8423";

/// Serves the pages; the first line printed is their address
///
/// Only this machine sees them unless another address is named.
///
/// Example: cowpath serve --listen 0.0.0.0:8423
#[derive(Debug, Args)]
pub struct Serve {
    /// Address and port; port 0 picks a free one
    #[arg(long, value_name = "ADDR", default_value = USUAL_ADDRESS)]
    listen: String,
}

impl Serve {
    /// Serves until it is told to stop.
    pub fn run(&self, context: &Context) -> anyhow::Result<ExitCode> {
        // A farm that is there is only read by its pages: it may lie on a disk that is.
        let barn = if Farm::exists(&context.farm) {
            context.barn()?
        } else {
            Barn::found(&context.farm, context.now, &crate::clock::machine_zone_name())?
        };
        serve(barn, &self.listen)
    }
}

/// Serves a farm's pages until Ctrl-C.
pub fn serve(barn: Barn, listen: &str) -> anyhow::Result<ExitCode> {
    let live = Arc::new(Live::new(barn)?);
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
        web::serve(listener, live, async {
            let _ = tokio::signal::ctrl_c().await;
        })
        .await
    })?;
    Ok(ExitCode::SUCCESS)
}
