//! The doors: addresses that are listened on, what is behind them, and how long anyone may take.

use std::io;
use std::net::{IpAddr, Ipv4Addr, SocketAddr};
use std::sync::Arc;
use std::time::Duration;

use axum::Router;
use axum::extract::DefaultBodyLimit;
use axum::middleware::from_fn_with_state;
use axum::routing::{get, post};
use hyper::server::conn::http1;
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::service::TowerToHyperService;
use tokio::net::TcpListener;
use tokio::sync::Semaphore;

use super::guard::{Door, guard};
use super::lan::{self, Keys};
use super::store::Folder;
use super::work::App;
use super::{Options, WebError, assets, pairs, photos, tell, trays, upload};

/// Connections to a door at once; more wait to be taken.
const CONNECTIONS: usize = 128;
/// A request's head must have come by then.
const HEAD: Duration = Duration::from_secs(15);
/// Largest request but for photos: a calibration file is some kilobytes.
const SMALL: usize = 256 << 10;

/// Serves the page until the program is ended; `say` tells people where it is.
///
/// # Errors
/// A folder or an address that cannot be used.
pub fn serve(options: &Options, say: &mut dyn FnMut(&str) -> io::Result<()>) -> Result<(), WebError> {
    let (folder, bench) = Folder::open(&options.folder)?;
    let runtime =
        tokio::runtime::Builder::new_multi_thread().worker_threads(2).enable_all().build().map_err(WebError::System)?;
    runtime.block_on(async {
        let local = bind(SocketAddr::from((Ipv4Addr::LOCALHOST, options.port)), "--port").await?;
        let port = local.local_addr().map_err(WebError::System)?.port();
        let network = match options.lan {
            None => None,
            // Preferably the same port; where it is taken there, any.
            Some(wanted) => {
                let address = lan::address(wanted)?;
                let same = bind(SocketAddr::from((address, port)), "--lan=ADDRESS").await;
                Some(match same {
                    Ok(listener) => listener,
                    Err(_) => bind(SocketAddr::from((address, 0)), "--lan=ADDRESS").await?,
                })
            }
        };
        let keys = network.as_ref().map(|l| Keys::new(l.local_addr().map_err(WebError::System)?)).transpose()?;
        let app = Arc::new(App::new(folder, bench, keys));
        say(&greeting(&app, port)).map_err(WebError::Say)?;
        tokio::spawn(app.clone().measure_all());
        if let (Some(listener), Some(keys)) = (network, &app.lan) {
            let door = Door { hosts: hosts(keys.address()), is_lan: true };
            tokio::spawn(accept(listener, for_phones(app.clone(), door)));
        }
        let names = [format!("127.0.0.1:{port}"), format!("localhost:{port}")];
        accept(local, for_this_machine(app, Door { hosts: names.into(), is_lan: false })).await;
        Ok(())
    })
}

async fn bind(address: SocketAddr, option: &'static str) -> Result<TcpListener, WebError> {
    TcpListener::bind(address).await.map_err(|e| {
        let why = match e.kind() {
            io::ErrorKind::AddrInUse => "another program is there".to_owned(),
            kind => kind.to_string(),
        };
        WebError::Listen { address: address.to_string(), why, option }
    })
}

fn greeting(app: &App, port: u16) -> String {
    let mut text = format!(
        "Open  http://127.0.0.1:{port}/  in a browser on this machine.\nWork is kept in {}. Ctrl+C ends the server; nothing \
         is lost.\n",
        app.folder.path().display()
    );
    if let Some(keys) = &app.lan {
        text.push_str(&format!(
            "\nPhones in the same network scan this code, or open  {}\n\n{}\n\nThe code lets one phone in; the page shows the \
             next one. Photos go from the phone to this machine and nowhere else.\n",
            keys.link(),
            keys.qr_text()
        ));
    }
    text
}

fn hosts(address: SocketAddr) -> Arc<[String]> {
    let mut names = vec![address.to_string()];
    if address.port() == 80 {
        names.push(match address.ip() {
            IpAddr::V4(v4) => v4.to_string(),
            IpAddr::V6(v6) => format!("[{v6}]"),
        });
    }
    names.into()
}

/// Everything, for a browser on this machine.
fn for_this_machine(app: Arc<App>, door: Door) -> Router {
    let routes = Router::new()
        .route("/", get(assets::page))
        .route("/asset/{name}", get(assets::asset))
        .route("/sheet/{name}", get(assets::sheet))
        .route("/api/state", get(tell::state))
        .route("/api/events", get(tell::events))
        .route("/api/settings", post(trays::settings))
        .route("/api/demo", post(trays::demo))
        .route("/api/phone-code.svg", get(photos::phone_code))
        .route("/api/trays", post(trays::add))
        .route("/api/trays/{id}", post(trays::change))
        .route("/api/trays/{id}/photos", post(upload::photo).layer(DefaultBodyLimit::disable()))
        .route("/api/trays/{id}/result", get(trays::result))
        .route("/api/trays/{id}/curve.svg", get(trays::curve))
        .route("/api/trays/{id}/measurement.json", get(trays::json))
        .route("/api/trays/{id}/particles.csv", get(trays::csv))
        .route("/api/trays/{id}/report.html", get(trays::report))
        .route("/api/trays/{id}/sieve", get(pairs::sieve))
        .route("/api/trays/{id}/sieve.svg", get(pairs::sieve_plot))
        .route("/api/photos/{id}", post(photos::change))
        .route("/api/photos/{id}/particle", post(photos::particle))
        .route("/api/photos/{id}/outlines", get(photos::outlines))
        .route("/api/photos/{id}/picture", get(photos::picture))
        .route("/api/photos/{id}/small", get(photos::small))
        .route("/api/comparison", get(pairs::comparison))
        .route("/api/comparison.svg", get(pairs::comparison_plot))
        .route("/api/comparison.html", get(pairs::comparison_page))
        .route("/api/comparison.json", get(pairs::comparison_json));
    finish(routes, app, door)
}

/// What a phone needs: its own page, the names of the trays, and a way to put photos into them.
fn for_phones(app: Arc<App>, door: Door) -> Router {
    let routes = Router::new()
        .route("/", get(assets::phone_page))
        .route("/asset/{name}", get(assets::phone_asset))
        .route("/api/join", post(photos::join))
        .route("/api/phone", get(tell::phone))
        .route("/api/trays", post(trays::add))
        .route("/api/trays/{id}/photos", post(upload::photo).layer(DefaultBodyLimit::disable()));
    finish(routes, app, door)
}

fn finish(routes: Router<Arc<App>>, app: Arc<App>, door: Door) -> Router {
    let routes = routes.fallback(assets::nothing).layer(DefaultBodyLimit::max(SMALL));
    routes.layer(from_fn_with_state((app.clone(), door), guard)).with_state(app)
}

/// Takes connections as long as the program runs.
async fn accept(listener: TcpListener, routes: Router) {
    let places = Arc::new(Semaphore::new(CONNECTIONS));
    loop {
        let Ok(place) = places.clone().acquire_owned().await else { return };
        let Ok((stream, _)) = listener.accept().await else {
            // Out of file handles, for a moment.
            tokio::time::sleep(Duration::from_millis(100)).await;
            continue;
        };
        let service = TowerToHyperService::new(routes.clone());
        tokio::spawn(async move {
            let mut builder = http1::Builder::new();
            builder.timer(TokioTimer::new()).header_read_timeout(HEAD);
            // A connection that breaks off is nobody's fault.
            let _ = builder.serve_connection(TokioIo::new(stream), service).await;
            drop(place);
        });
    }
}
