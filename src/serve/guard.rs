//! Who may see and use the screen.
//!
//! On the loopback interface: whoever sits at the computer. But a page from elsewhere, open in that person's browser, could
//! send forms to it (cross-site request forgery), or have its own name point to it (DNS rebinding). So a request has to name
//! the server by an address, `localhost` or the name that was given, which a page from elsewhere cannot; and one that changes
//! anything must not come from another origin. Beyond that interface it takes the token as well, compared in constant time.

use axum::http::header::{AUTHORIZATION, COOKIE, HOST, ORIGIN};
use axum::http::{HeaderMap, Method, StatusCode};
use rustix::rand::{GetRandomFlags, getrandom};
use sha2::{Digest, Sha256};
use std::net::IpAddr;
use subtle::ConstantTimeEq;

/// The fewest characters of a token: guessing takes longer than any bench stands.
const TOKEN_MIN: usize = 16;
const TOKEN_MAX: usize = 1024;
/// The header by which browsers say where a request comes from.
const FETCH_SITE: &str = "sec-fetch-site";
/// Name of the cookie.
const TICKET: &str = "railproof";

/// What opens the screen. Only a salted digest of it is kept.
pub struct Token {
    salt: [u8; 32],
    digest: [u8; 32],
}

/// Why a text is no token.
#[derive(Debug, thiserror::Error)]
pub enum TokenError {
    /// It is too short, too long or has blanks inside.
    #[error("a token has {TOKEN_MIN} to {TOKEN_MAX} characters without blanks; `openssl rand -hex 24` makes one")]
    Unfit,
    /// The system gives no chance.
    #[error("the system gives no random bytes: {0}")]
    NoChance(#[from] rustix::io::Errno),
}

impl Token {
    /// The token that a file holds.
    ///
    /// # Errors
    /// A text that is none.
    pub fn new(text: &str) -> Result<Self, TokenError> {
        let text = text.trim();
        if !(TOKEN_MIN..=TOKEN_MAX).contains(&text.len()) || text.contains(char::is_whitespace) {
            return Err(TokenError::Unfit);
        }
        let mut salt = [0; 32];
        let mut filled = 0;
        while filled < salt.len() {
            filled += getrandom(&mut salt[filled..], GetRandomFlags::empty())?;
        }
        let digest = salted(&salt, b"token", text);
        Ok(Self { salt, digest })
    }

    /// Whether it is this one. Digests of one length are compared, so that the time tells nothing.
    pub fn is(&self, text: &str) -> bool {
        salted(&self.salt, b"token", text.trim()).ct_eq(&self.digest).into()
    }

    /// What a browser keeps that has shown it: holds until the server ends, and does not tell the token.
    pub fn ticket(&self) -> String {
        hex(&salted(&self.salt, b"ticket", &hex(&self.digest)))
    }

    fn is_ticket(&self, text: &str) -> bool {
        text.as_bytes().ct_eq(self.ticket().as_bytes()).into()
    }
}

fn salted(salt: &[u8], purpose: &[u8], text: &str) -> [u8; 32] {
    Sha256::new().chain_update(salt).chain_update(purpose).chain_update(text).finalize().into()
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

/// From where the screen may be used.
#[derive(Default)]
pub struct Access {
    /// What it takes beside; nothing where only this computer can reach it.
    pub token: Option<Token>,
    /// The name under which a proxy with TLS shows it.
    pub behind: Option<String>,
}

impl Access {
    /// Whether a request may be answered at all, whoever sent it.
    pub fn refuses(&self, method: &Method, headers: &HeaderMap) -> Option<(StatusCode, &'static str)> {
        let host = text(headers, HOST.as_str());
        if !host.is_some_and(|host| self.is_ours(host)) {
            let why = "This server is not known by that name. Use its address, or name it with --behind-proxy.";
            return Some((StatusCode::MISDIRECTED_REQUEST, why));
        }
        let is_read = matches!(*method, Method::GET | Method::HEAD);
        let foreign_site = text(headers, FETCH_SITE).is_some_and(|site| !["same-origin", "none"].contains(&site));
        let foreign_origin = match (headers.get(ORIGIN), host) {
            (None, _) => false,
            (Some(origin), Some(host)) => {
                let origin = origin.to_str().unwrap_or_default();
                let of = origin.strip_prefix("http://").or_else(|| origin.strip_prefix("https://"));
                !of.is_some_and(|of| of.eq_ignore_ascii_case(host))
            }
            (Some(_), None) => true,
        };
        if !is_read && (foreign_site || foreign_origin) {
            return Some((StatusCode::FORBIDDEN, "This was sent by a page from elsewhere, and was not done."));
        }
        None
    }

    /// Whether a request comes from somebody who has shown the token, where it takes one.
    pub fn knows(&self, headers: &HeaderMap) -> bool {
        let Some(token) = &self.token else { return true };
        let bearer = text(headers, AUTHORIZATION.as_str()).and_then(|value| value.strip_prefix("Bearer "));
        if let Some(bearer) = bearer {
            return token.is(bearer);
        }
        let cookies =
            headers.get_all(COOKIE).iter().filter_map(|value| value.to_str().ok()).flat_map(|all| all.split(';'));
        let mut tickets = cookies.filter_map(|cookie| cookie.trim().strip_prefix(TICKET)?.strip_prefix('='));
        tickets.any(|ticket| token.is_ticket(ticket))
    }

    /// The cookie of somebody who has just shown the token.
    pub fn cookie(&self, token: &Token) -> String {
        let secure = if self.behind.is_some() { "; Secure" } else { "" };
        format!("{TICKET}={}; Path=/; HttpOnly; SameSite=Strict{secure}", token.ticket())
    }

    /// Whether a `Host` names this server. A name that anybody can have point anywhere does not.
    fn is_ours(&self, host: &str) -> bool {
        let (name, port) = match host.strip_prefix('[').and_then(|rest| rest.split_once(']')) {
            Some((address, port)) => (address, port),
            None => host.split_once(':').map_or((host, ""), |(name, _)| (name, &host[name.len()..])),
        };
        let port_is_right = port.is_empty() || port.strip_prefix(':').is_some_and(|port| port.parse::<u16>().is_ok());
        let is_known = self.behind.as_deref().is_some_and(|known| known.eq_ignore_ascii_case(name));
        port_is_right && (is_known || name.eq_ignore_ascii_case("localhost") || name.parse::<IpAddr>().is_ok())
    }
}

fn text<'a>(headers: &'a HeaderMap, name: &str) -> Option<&'a str> {
    headers.get(name)?.to_str().ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn headers(pairs: &[(&'static str, &str)]) -> HeaderMap {
        pairs.iter().map(|(name, value)| (name.parse().expect("a name"), value.parse().expect("a value"))).collect()
    }

    fn refused(method: Method, pairs: &[(&'static str, &str)]) -> Option<u16> {
        let access = Access { behind: Some("bench.saltmarsh.example".into()), ..Access::default() };
        access.refuses(&method, &headers(pairs)).map(|(status, _)| status.as_u16())
    }

    #[test]
    fn a_name_that_is_not_ours_is_refused() {
        for host in ["127.0.0.1:8600", "localhost:8600", "[::1]:8600", "192.168.1.9", "Bench.Saltmarsh.example"] {
            assert_eq!(refused(Method::GET, &[("host", host)]), None, "{host}");
        }
        for host in ["rebound.example:8600", "", "127.0.0.1.rebound.example", "[::1", "localhost:x", "[::1]x"] {
            assert_eq!(refused(Method::GET, &[("host", host)]), Some(421), "{host}");
        }
        assert_eq!(refused(Method::GET, &[]), Some(421));
    }

    #[test]
    fn a_form_from_elsewhere_is_refused_and_a_link_is_not() {
        let here = ("host", "localhost:8600");
        assert_eq!(refused(Method::POST, &[here, ("origin", "http://localhost:8600")]), None);
        assert_eq!(refused(Method::POST, &[here]), None, "no browser leaves the origin out");
        for origin in ["http://localhost:8601", "http://elsewhere.example", "null", "file://localhost:8600"] {
            assert_eq!(refused(Method::POST, &[here, ("origin", origin)]), Some(403), "{origin}");
            assert_eq!(refused(Method::GET, &[here, ("origin", origin)]), None);
        }
        for site in ["cross-site", "same-site"] {
            assert_eq!(refused(Method::POST, &[here, (FETCH_SITE, site)]), Some(403));
        }
    }

    #[test]
    fn a_token_opens_by_header_and_by_ticket() {
        let token = Token::new(" 0123456789abcdef\n").expect("long enough");
        assert!(token.is("0123456789abcdef") && !token.is("0123456789abcdeg") && !token.is(""));
        let ticket = token.ticket();
        assert!(!ticket.contains("0123456789abcdef"));
        let access = Access { token: Some(token), behind: None };
        let knows = |pairs: &[(&'static str, &str)]| access.knows(&headers(pairs));
        assert!(knows(&[("authorization", "Bearer 0123456789abcdef")]));
        assert!(knows(&[("cookie", &format!("other=1; railproof={ticket}"))]));
        assert!(!knows(&[("cookie", "railproof=; railproofs=1")]) && !knows(&[]));
        assert!(!knows(&[("authorization", "Bearer wrong"), ("cookie", &format!("railproof={ticket}"))]));
    }

    #[test]
    fn what_can_be_guessed_is_no_token() {
        for text in ["", "short", "0123456789 abcdef", &"x".repeat(2000)] {
            assert!(Token::new(text).is_err(), "{text}");
        }
    }
}
