//! The builder's guide, from inside the binary: Markdown made into pages with the console's own styles.
//!
//! A page of its own and not part of the console: it has no HOLD, and a screen that shows it is no screen
//! at the console.

use axum::extract::Path;
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use pulldown_cmark::{Options, Parser, html};
use rust_embed::RustEmbed;

#[derive(RustEmbed)]
#[folder = "config/guide/"]
struct Guide;

const FIRST: &str = "index.md";

/// `GET /guide/`.
pub(super) async fn first() -> Response {
    page(Path(FIRST.to_owned())).await
}

/// `GET /guide/NAME`: a page made of Markdown, or a drawing as it is.
pub(super) async fn page(Path(name): Path<String>) -> Response {
    let Some(file) = Guide::get(&name) else {
        return (
            StatusCode::NOT_FOUND,
            "there is no such page of the guide\n",
        )
            .into_response();
    };
    let Some(text) = name
        .strip_suffix(".md")
        .and_then(|_| std::str::from_utf8(&file.data).ok())
    else {
        let kind = if name.ends_with(".svg") {
            "image/svg+xml"
        } else {
            "application/octet-stream"
        };
        return ([(header::CONTENT_TYPE, kind)], file.data).into_response();
    };
    let kind = "text/html; charset=utf-8";
    ([(header::CONTENT_TYPE, kind)], made(&name, text)).into_response()
}

/// A page of this body, in the console's own styles.
pub(super) fn framed(title: &str, body: &str) -> String {
    format!(
        "<!doctype html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n\
         <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n<title>{title} - Standclear</title>\n\
         <link rel=\"icon\" href=\"/styles/mark.svg\" type=\"image/svg+xml\">\n\
         <link rel=\"stylesheet\" href=\"/styles/variables.css\">\n\
         <link rel=\"stylesheet\" href=\"/styles/guide.css\">\n</head>\n<body>\n<main>\n{body}</main>\n</body>\n</html>\n"
    )
}

fn made(name: &str, text: &str) -> String {
    let title = text
        .lines()
        .find_map(|l| l.strip_prefix("# "))
        .unwrap_or("Guide");
    let mut body = String::new();
    html::push_html(&mut body, Parser::new_ext(text, Options::ENABLE_TABLES));
    let back = match name {
        FIRST => "",
        _ => "<p><a href=\"index.md\">All pages of the guide</a></p>\n",
    };
    framed(title, &format!("{back}{body}"))
}

#[cfg(test)]
mod tests {
    use super::*;
    use axum::body::to_bytes;

    async fn get(name: &str) -> (StatusCode, String, String) {
        let answer = page(Path(name.to_owned())).await;
        let kind = answer.headers().get(header::CONTENT_TYPE);
        let kind = kind.and_then(|k| k.to_str().ok()).unwrap_or("").to_owned();
        let status = answer.status();
        let body = to_bytes(answer.into_body(), 1 << 20).await.expect("a body");
        (status, kind, String::from_utf8_lossy(&body).into_owned())
    }

    #[tokio::test]
    async fn every_page_of_the_guide_is_served_and_each_of_its_links_is_too() {
        let mut pages = 0;
        for name in Guide::iter().filter(|n| n.ends_with(".md")) {
            let (status, kind, body) = get(&name).await;
            assert_eq!(
                (status, kind.as_str()),
                (StatusCode::OK, "text/html; charset=utf-8"),
                "{name}"
            );
            assert!(body.contains("<h1>"), "{name}");
            // Tables are tables, and nothing of the Markdown is left.
            assert!(!body.contains("|---"), "{name}");
            for link in body
                .split("href=\"")
                .skip(1)
                .chain(body.split("src=\"").skip(1))
            {
                let target = link.split('"').next().expect("a target");
                if !target.starts_with('/') {
                    assert_eq!(get(target).await.0, StatusCode::OK, "{name}: {target}");
                }
            }
            pages += 1;
        }
        assert!(pages >= 6, "{pages}");
        assert_eq!(get("wiring.svg").await.1, "image/svg+xml");
        for bad in ["gone.md", "../machines/practice.toml", ""] {
            assert_eq!(get(bad).await.0, StatusCode::NOT_FOUND, "{bad}");
        }
    }
}
