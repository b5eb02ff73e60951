//! Pages asked of the router in-process, with fixed answers: no port, no farm.

mod box_days;
mod bringing;
mod costs;
mod doors;
mod farm;
mod her;
mod kept;
mod listening;
mod minding;
mod names;
mod open_door;
mod pictures;
mod planning;
mod records;
mod states;
mod strips;

use std::{net::SocketAddr, sync::Arc};

use axum::{
    body::{Body, to_bytes},
    http::{HeaderMap, Request, StatusCode},
};
use tower::ServiceExt;

use self::farm::FixedFarm;
use super::router;

/// An answer of the router.
struct Answered {
    status: StatusCode,
    headers: HeaderMap,
    text: String,
}

fn listen() -> SocketAddr {
    "127.0.0.1:8423".parse().unwrap()
}

/// Sends one request.
async fn send(farm: FixedFarm, request: Request<Body>) -> Answered {
    send_to(Arc::new(farm), request).await
}

/// Sends one request to any farm.
async fn send_to(farm: Arc<dyn super::Answers>, request: Request<Body>) -> Answered {
    let response = router(farm, listen()).oneshot(request).await.unwrap();
    let (parts, body) = response.into_parts();
    let bytes = to_bytes(body, usize::MAX).await.unwrap();
    Answered {
        status: parts.status,
        headers: parts.headers,
        text: String::from_utf8(bytes.to_vec()).unwrap(),
    }
}

/// Asks for an address as a browser on the farm's own PC does.
async fn get(farm: FixedFarm, address: &str) -> Answered {
    let request = Request::get(address).header("host", "localhost:8423").body(Body::empty()).unwrap();
    send(farm, request).await
}

/// The farm with everything.
fn whole() -> FixedFarm {
    FixedFarm::of(farm::full())
}

/// Serves the fixed farm until the process ends, for the browser tests and for looking at the pages:
/// `COWPATH_LISTEN=127.0.0.1:8423 cargo test -p cowpath serve_the_fixed_farm -- --ignored`
#[tokio::test]
#[ignore = "serves until it is stopped; for the browser tests"]
async fn serve_the_fixed_farm() {
    let address = std::env::var("COWPATH_LISTEN").unwrap_or_else(|_| "127.0.0.1:8423".into());
    let listener = tokio::net::TcpListener::bind(address).await.unwrap();
    let farm = match std::env::var("COWPATH_STATE").as_deref() {
        Ok("nothing-read") => FixedFarm { herd: Vec::new(), ..FixedFarm::of(farm::without_calls(0, 0)) },
        Ok("none-judged") => FixedFarm::of(farm::without_calls(0, 44)),
        Ok("too-many") => FixedFarm::of(farm::too_many()),
        Ok("no-calls") => FixedFarm::of(farm::without_calls(118, 3)),
        _ => whole(),
    };
    println!("http://{}/", listener.local_addr().unwrap());
    super::serve(listener, Arc::new(farm), std::future::pending()).await.unwrap();
}
