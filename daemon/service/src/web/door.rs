//! Who is let in: only pages that this panel has served itself.
//!
//! A page of another site in the same browser can send requests here, and can make its own name
//! point at this machine. Both are told by what the browser adds by itself and no page can change:
//! the host that was asked for, and the origin of the page that asks. A page of another site gets the
//! console's own page, which a link may lead to, and nothing else: a question alone makes work here.

use std::net::IpAddr;
use std::sync::Arc;
use std::time::Duration;

use axum::extract::{Request, State};
use axum::http::{HeaderMap, Method, StatusCode, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};

use super::body::trouble;
use crate::seldom::Seldom;

/// Who was turned away is logged so often.
const LOGGED_EVERY: Duration = Duration::from_millis(500);

/// What a request is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Asks {
    /// The console's page itself, which a link elsewhere may lead to.
    ForThePage,
    /// Anything else that only reads.
    ToRead,
    /// Whatever may change something, and the socket that tells.
    ToChange,
}

/// Lets a request pass, or says why not.
pub(super) async fn keep(State(own): State<Arc<str>>, request: Request, next: Next) -> Response {
    let only_read = request.method() == Method::GET || request.method() == Method::HEAD;
    let asks = if !only_read || is_upgrade(&request) {
        Asks::ToChange
    } else if matches!(request.uri().path(), "/" | "/index.html") {
        Asks::ForThePage
    } else {
        Asks::ToRead
    };
    match judge(request.headers(), asks, &own) {
        Ok(()) => next.run(request).await,
        Err((field, says)) => {
            static SELDOM: Seldom = Seldom::new();
            if let Some(others) = SELDOM.now(LOGGED_EVERY) {
                tracing::warn!(
                    field,
                    says,
                    path = request.uri().path(),
                    others,
                    "turned away"
                );
            }
            let remedy = "Open the console at the address that the panel prints.";
            trouble(StatusCode::FORBIDDEN, field, says, remedy).into_response()
        }
    }
}

fn is_upgrade(request: &Request) -> bool {
    request.headers().contains_key(header::UPGRADE) || request.uri().path() == "/api/watch"
}

/// What this machine is called where names are told by mDNS: its own, below `local`.
pub(super) fn own_name() -> Arc<str> {
    let own = std::fs::read_to_string("/proc/sys/kernel/hostname").unwrap_or_default();
    let first = own.trim().split('.').next().unwrap_or_default();
    format!("{first}.local").into()
}

/// `own`: the one name besides addresses by which this panel may be asked. Nobody beyond its own network can
/// make that name point anywhere.
fn judge(headers: &HeaderMap, asks: Asks, own: &str) -> Result<(), (&'static str, String)> {
    let mut hosts = headers.get_all(header::HOST).iter();
    let (Some(host), None) = (hosts.next(), hosts.next()) else {
        return Err(("Host", "one host must be named".into()));
    };
    let Ok(host) = host.to_str() else {
        return Err(("Host", "not readable".into()));
    };
    // A name can be made to point here by whoever owns it; an address cannot.
    let name = without_port(host);
    let address = name.trim_start_matches('[').trim_end_matches(']');
    let named = name.eq_ignore_ascii_case("localhost") || name.eq_ignore_ascii_case(own);
    if !named && address.parse::<IpAddr>().is_err() {
        return Err(("Host", format!("`{host}` is not an address of this panel")));
    }
    if asks == Asks::ForThePage {
        return Ok(());
    }
    if let Some(site) = headers.get("sec-fetch-site")
        && site != "same-origin"
        && site != "none"
    {
        return Err(("Sec-Fetch-Site", "a page of another site asks".into()));
    }
    if asks == Asks::ToRead {
        return Ok(());
    }
    // A browser always says where a page that sends this comes from; a tool on this machine that
    // says nothing is no page.
    for origin in headers.get_all(header::ORIGIN) {
        if origin.to_str().ok() != Some(&format!("http://{host}")) {
            return Err(("Origin", format!("{origin:?} is not this panel's page")));
        }
    }
    Ok(())
}

fn without_port(host: &str) -> &str {
    if host.starts_with('[') {
        return host.split_inclusive(']').next().unwrap_or(host);
    }
    host.split(':').next().unwrap_or(host)
}

#[cfg(test)]
mod tests {
    use super::*;

    use Asks::{ForThePage, ToChange, ToRead};

    fn asked(pairs: &[(&'static str, &str)], asks: Asks) -> Option<&'static str> {
        let mut headers = HeaderMap::new();
        for (name, value) in pairs {
            headers.append(*name, value.parse().expect("a header"));
        }
        judge(&headers, asks, "table.local")
            .err()
            .map(|(field, _)| field)
    }

    #[test]
    fn a_page_of_this_panel_is_let_in() {
        let hosts = ["127.0.0.1:7430", "localhost:7430", "[::1]:7430", "10.0.0.7"];
        for host in hosts.into_iter().chain(["Table.local:7430"]) {
            let origin = format!("http://{host}");
            assert_eq!(
                asked(&[("host", host), ("origin", &origin)], ToChange),
                None
            );
        }
        let typed = [("host", "127.0.0.1:7430"), ("sec-fetch-site", "none")];
        assert_eq!(asked(&typed, ToRead), None);
    }

    #[test]
    fn a_name_made_to_point_here_is_turned_away_even_for_reading() {
        for host in [
            "evil.example:7430",
            "localhost.evil.example",
            "",
            "127.0.0.1.evil.example",
            "other.local:7430",
            "table.local.evil.example",
            "table",
        ] {
            assert_eq!(asked(&[("host", host)], ForThePage), Some("Host"), "{host}");
        }
        assert_eq!(asked(&[], ForThePage), Some("Host"));
        let twice = [("host", "127.0.0.1:1"), ("host", "evil.example")];
        assert_eq!(asked(&twice, ForThePage), Some("Host"));
    }

    #[test]
    fn a_page_of_another_site_or_another_port_is_turned_away() {
        let host = ("host", "127.0.0.1:7430");
        for origin in [
            "http://evil.example",
            "http://127.0.0.1:9999",
            "null",
            "https://127.0.0.1:7430",
        ] {
            assert_eq!(asked(&[host, ("origin", origin)], ToChange), Some("Origin"));
        }
        for site in ["cross-site", "same-site"] {
            let asks = [host, ("sec-fetch-site", site)];
            assert_eq!(asked(&asks, ToChange), Some("Sec-Fetch-Site"));
            assert_eq!(asked(&asks, ToRead), Some("Sec-Fetch-Site"));
            assert_eq!(asked(&asks, ForThePage), None, "a link to the console");
        }
    }
}
