//! What all pages have: head, ways to the other pages, and where news is said.

use super::assets::address;
use crate::record::stored::Verdict;
use crate::report::{look, visible_within};
use crate::serve::web::Site;
use maud::{DOCTYPE, Markup, html};

/// What a page holds.
pub struct Page {
    pub title: String,
    pub body: Markup,
    /// The address of its stream, where it changes by itself.
    pub live: Option<String>,
    /// Whether the ways to the other pages are shown: not at the door.
    pub is_open: bool,
}

/// The whole page.
pub fn page(site: &Site, page: &Page) -> String {
    let (maker, model) = site.workshop.maker_and_model();
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                title { (page.title) " · " (maker) }
                link rel="preload" href=(address("regular.otf")) as="font" type="font/otf" crossorigin;
                link rel="preload" href=(address("semibold.otf")) as="font" type="font/otf" crossorigin;
                link rel="stylesheet" href=(address("screen.css"));
                link rel="icon" href="data:,";
                script src=(address("screen.js")) defer {}
            }
            body data-live=[page.live.as_deref()] data-boot=(site.boot) {
                a class="skip" href="#main" { "To the content" }
                header class="top" {
                    p class="house" { strong { (maker) } span { (model) } }
                    @if page.is_open {
                        nav aria-label="Pages" {
                            a href="/" { @if site.benches.len() > 1 { "Benches" } @else { "Bench" } }
                            a href="/today" { "Today" }
                        }
                        form class="find" action="/units" method="get" role="search" {
                            label for="find" { "Unit" }
                            input id="find" name="serial" autocomplete="off" autocapitalize="characters" spellcheck="false"
                                placeholder="serial number" maxlength="120";
                            button { "Show" }
                        }
                    }
                }
                p id="lost" class="lost" role="alert" hidden { }
                main id="main" tabindex="-1" { (page.body) }
                p id="said" class="unseen" role="status" aria-live="polite" { }
            }
        }
    }
    .into_string()
}

/// A page that says one thing.
pub fn notice(title: &str, why: &str) -> Page {
    let body = html! {
        section class="card narrow" {
            h1 { (title) }
            p { (crate::report::visible(why)) }
            p { a class="button" href="/" { "Back to the bench" } }
        }
    };
    Page { title: title.into(), body, live: None, is_open: true }
}

/// Where the token is shown.
pub fn door(was_wrong: bool) -> Page {
    let body = html! {
        section class="card narrow" {
            h1 { "Bench screen" }
            @if was_wrong { p class="trouble" role="alert" { "That is not the token of this bench." } }
            form method="post" action="/enter" {
                label for="token" { "Token" }
                input id="token" name="token" type="password" autocomplete="current-password" required autofocus;
                button class="go" { "Enter" }
            }
        }
    };
    Page { title: "Enter".into(), body, live: None, is_open: false }
}

/// The address of a unit's page.
pub fn unit_path(serial: &str) -> String {
    format!("/units/{}", encoded(serial))
}

/// The address of a run's page.
pub fn run_path(serial: &str, run: &str) -> String {
    format!("{}/{}", unit_path(serial), encoded(run))
}

/// A text as a part of an address (RFC 3986, 2.3).
fn encoded(text: &str) -> String {
    let is_plain = |byte: u8| byte.is_ascii_alphanumeric() || b"-._~".contains(&byte);
    let one = |byte: u8| if is_plain(byte) { char::from(byte).to_string() } else { format!("%{byte:02X}") };
    text.bytes().map(one).collect()
}

/// A decision in its colour, with its mark and its words.
pub fn decision(verdict: Verdict) -> Markup {
    html! { span class={ "decision " (super::assets::class(verdict)) } { (look::mark(verdict)) " " (look::words(verdict)) } }
}

/// A name that is shown large, safe and short.
pub fn name(text: &str) -> String {
    visible_within(text, 120)
}

#[cfg(test)]
mod tests {
    use super::*;

    // Outside: percent-encoding of reserved characters and of UTF-8, RFC 3986, 2.1 and 2.5; how: from memory
    #[test]
    fn a_serial_number_becomes_part_of_an_address() {
        assert_eq!(run_path("SM-0001", "0198-a"), "/units/SM-0001/0198-a");
        assert_eq!(unit_path("SM 1&2#é?\"<"), "/units/SM%201%262%23%C3%A9%3F%22%3C");
    }
}
