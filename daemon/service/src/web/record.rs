//! The page of what is on record of commissioning, to be read on any screen that may watch, and printed.

use axum::extract::State;
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use pulldown_cmark::{CodeBlockKind, Event, Tag, TagEnd, html};

use super::ask::on_disk;
use super::body::{Refusal, trouble};
use super::{Served, guide};

/// `GET /commissioning/`.
pub(super) async fn page(State(served): State<Served>) -> Result<Response, Refusal> {
    let proved = served.state.proved.clone();
    let text = on_disk(&served, move || proved()).await?;
    let text = text.map_err(|says| {
        let remedy = "Read it with `standclear commission --record`.";
        trouble(StatusCode::INTERNAL_SERVER_ERROR, "journal", says, remedy)
    })?;
    let kind = "text/html; charset=utf-8";
    Ok(([(header::CONTENT_TYPE, kind)], sheet(text)).into_response())
}

/// Its lines as they are: names in it are a person's, and no markup.
fn sheet(text: String) -> String {
    let lines = [
        Event::Start(Tag::CodeBlock(CodeBlockKind::Indented)),
        Event::Text(text.into()),
        Event::End(TagEnd::CodeBlock),
    ];
    let mut body = String::new();
    html::push_html(&mut body, lines.into_iter());
    guide::framed("Commissioning", &body)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_a_person_has_named_is_no_markup() {
        let page = sheet("Table <b>2</b> & 3\n 1* Papers\n".into());
        assert!(
            page.contains(
                "<pre><code>Table &lt;b&gt;2&lt;/b&gt; &amp; 3\n 1* Papers\n</code></pre>"
            )
        );
    }
}
