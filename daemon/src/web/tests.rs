//! The pages' server against real connections: what is served, what is refused and in which words.

use super::crew::{Composer, Crew, Fixed};
use super::doors::Doors;
use super::pace::Pace;
use super::past::Past;
use super::roles::Role;
use super::server::serve;
use super::words::Words;
use super::{Limits, Web, router};
use crate::clock::Clock;
use crate::drive::Driver;
use crate::inlet::Inlet;
use crate::judge::scripted::Scripted;
use crate::run::{Frame, Loop};
use crate::sinks::hub::Hub;
use raisewatch_protocol::intake::Intake;
use raisewatch_protocol::kit::Kit;
use raisewatch_watch::phrases::Phrases;
use std::net::SocketAddr;
use std::sync::Arc;
use std::time::Duration;
use tokio::io::{AsyncBufReadExt, AsyncReadExt, AsyncWriteExt, BufReader};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::{broadcast, mpsc, watch};

struct Site {
    at: SocketAddr,
    doors: Arc<Doors>,
    clock: Clock,
    stop: watch::Sender<bool>,
    serving: tokio::task::JoinHandle<()>,
}

/// A whole site: the run loop with a scripted watch behind real pages.
async fn site(open: bool, limits: Limits) -> Site {
    let clock = Clock::real();
    let (inlet, outlet) = Inlet::new(clock.clone());
    let (frames, framed) = watch::channel(Arc::new(Frame::default()));
    let (stop, stopping) = watch::channel(false);
    let (out, composed) = watch::channel(None);
    let (calls, _) = broadcast::channel(64);
    let mut hub = Hub::default();
    let queue = hub.attach("pages", 100);
    let kit = Kit { broker: None, own_broker: false, login_file: None, said: false, nodes: vec![] };
    let driver = Driver::new(Scripted::default(), Intake::new(&kit));
    tokio::spawn(Loop { driver, hub, outlet, clock: clock.clone(), frames }.run(stopping.clone()));
    let (crew, doors) = (Arc::new(Crew::default()), Arc::new(Doors::default()));
    let fixed = Fixed { plan: true, words: "w".into(), rehearsal: false, speed: 1.0 };
    let past = Arc::new(Past::default());
    let composer =
        Composer { fixed, crew: crew.clone(), past: past.clone(), recording: None, out, calls: calls.clone(), clock: clock.clone() };
    tokio::spawn(composer.run(framed, queue));
    let (paired, _) = mpsc::channel(16);
    let web = Web {
        inlet,
        frames: composed,
        calls,
        past,
        pace: Pace::default(),
        words: Words::new(&Phrases::default().of_pages()),
        towers: vec!["A".into(), "B".into()],
        doors: doors.clone(),
        paired,
        crew,
        clock: clock.clone(),
        open,
        sealed: false,
        limits,
        stop: stopping.clone(),
    };
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let at = listener.local_addr().unwrap();
    let serving = tokio::spawn(serve(listener, None, router(Arc::new(web)), limits, stopping));
    Site { at, doors, clock, stop, serving }
}

struct Got {
    code: u16,
    head: String,
    body: String,
}

impl Site {
    async fn closed() -> Site {
        site(false, Limits::default()).await
    }

    fn cookie(&self, role: Role) -> String {
        let code = self.doors.code(role, self.clock.now()).unwrap();
        let (token, _) = self.doors.pair(&code, None, self.clock.now()).unwrap();
        format!("Cookie: raisewatch={token}\r\n")
    }

    /// One request as bytes on the wire; `more` are further header lines.
    async fn ask(&self, method: &str, path: &str, more: &str, body: &str) -> Got {
        let mut tcp = TcpStream::connect(self.at).await.unwrap();
        let head = format!("{method} {path} HTTP/1.1\r\nHost: {}\r\nConnection: close\r\n{more}", self.at);
        tcp.write_all(format!("{head}Content-Length: {}\r\n\r\n{body}", body.len()).as_bytes()).await.unwrap();
        let mut whole = Vec::new();
        tcp.read_to_end(&mut whole).await.unwrap();
        let whole = String::from_utf8_lossy(&whole).into_owned();
        let (head, body) = whole.split_once("\r\n\r\n").unwrap_or((&whole, ""));
        let code = head.split(' ').nth(1).and_then(|code| code.parse().ok()).unwrap_or(0);
        Got { code, head: head.to_ascii_lowercase(), body: body.to_owned() }
    }

    async fn say(&self, cookie: &str, body: &str) -> Got {
        self.ask("POST", "/say", cookie, body).await
    }

    /// Opens `/live`.
    async fn live(&self, cookie: &str) -> BufReader<TcpStream> {
        let mut tcp = TcpStream::connect(self.at).await.unwrap();
        tcp.write_all(format!("GET /live HTTP/1.1\r\nHost: {}\r\n{cookie}\r\n", self.at).as_bytes()).await.unwrap();
        BufReader::new(tcp)
    }
}

/// Reads on until a line holds `text`; panics where the stream ends first.
async fn until(live: &mut BufReader<TcpStream>, text: &str) -> String {
    loop {
        let mut line = String::new();
        assert_ne!(live.read_line(&mut line).await.unwrap(), 0, "the stream ended before {text:?}");
        if line.contains(text) {
            return line;
        }
    }
}

#[tokio::test]
async fn without_a_session_nothing_is_read_or_said() {
    let site = Site::closed().await;
    for (method, path) in [("GET", "/live"), ("POST", "/say"), ("POST", "/me")] {
        let got = site.ask(method, path, "", r#"{"said":"stop"}"#).await;
        assert_eq!(got.code, 401, "{path}");
        assert!(got.body.contains("not paired"), "{path}: {}", got.body);
    }
    for path in ["/spotter", "/tower/A", "/desk"] {
        assert_eq!(site.ask("GET", path, "", "").await.code, 401, "{path}");
    }
    let forged = format!("Cookie: raisewatch={}\r\n", "0".repeat(64));
    assert_eq!(site.say(&forged, r#"{"said":"stop"}"#).await.code, 401);
}

#[tokio::test]
async fn open_reads_let_everybody_look_and_stop_but_no_more() {
    let site = site(true, Limits::default()).await;
    assert_eq!(site.ask("GET", "/spotter", "", "").await.code, 200);
    until(&mut site.live("").await, "event: view").await;
    assert_eq!(site.say("", r#"{"said":"stop"}"#).await.code, 200);
    assert_eq!(site.say("", r#"{"said":"release"}"#).await.code, 403);
    assert_eq!(site.say("", r#"{"step":"raise"}"#).await.code, 403);
}

#[tokio::test]
async fn a_code_opens_its_page_once() {
    let site = Site::closed().await;
    let code = site.doors.code(Role::Tower("B".into()), site.clock.now()).unwrap();
    let got = site.ask("GET", &format!("/pair/{code}?name=Ivo%20K"), "", "").await;
    assert_eq!(got.code, 303);
    assert!(got.head.contains("location: /tower/b"), "{}", got.head);
    let cookie = got.head.lines().find_map(|line| line.strip_prefix("set-cookie: ")).unwrap();
    for part in ["httponly", "samesite=strict", "path=/"] {
        assert!(cookie.contains(part), "{cookie}");
    }
    let cookie = format!("Cookie: {}\r\n", cookie.split(';').next().unwrap());
    assert_eq!(site.ask("GET", "/tower/B", &cookie, "").await.code, 200);
    assert_eq!(site.ask("GET", "/me", &cookie, "").await.body, r#"{"looks":true,"name":"Ivo K","role":"tower","tower":"B"}"#);

    let again = site.ask("GET", &format!("/pair/{code}"), "", "").await;
    assert_eq!(again.code, 410);
    assert!(again.body.contains("used already") && !again.head.contains("set-cookie"), "{}", again.body);
    let wrong = site.ask("GET", "/pair/AAAAAAAA", "", "").await;
    assert!(wrong.code == 410 && wrong.body.contains("not a code of this lift"));
}

#[tokio::test]
async fn a_browser_that_looks_ahead_does_not_use_up_a_code() {
    let site = Site::closed().await;
    let code = site.doors.code(Role::Spotter, site.clock.now()).unwrap();
    let path = format!("/pair/{code}");
    assert_eq!(site.ask("GET", &path, "Sec-Purpose: prefetch\r\n", "").await.code, 503);
    assert_eq!(site.ask("GET", &path, "", "").await.code, 303);
}

#[tokio::test]
async fn each_role_says_what_is_its_own() {
    let site = Site::closed().await;
    let (spotter, lead, a) = (site.cookie(Role::Spotter), site.cookie(Role::Lead), site.cookie(Role::Tower("A".into())));
    let refused = site.say(&spotter, r#"{"said":"release","finding":"stop-said-all-1"}"#).await;
    assert_eq!((refused.code, refused.body.contains("lead's")), (403, true), "{}", refused.body);
    assert_eq!(site.say(&lead, r#"{"said":"release","finding":"stop-said-all-1","by":"Mara"}"#).await.code, 200);
    assert_eq!(site.say(&spotter, r#"{"step":"raise"}"#).await.code, 403);
    assert_eq!(site.say(&lead, r#"{"step":"raise","by":"Mara"}"#).await.code, 200);
    assert_eq!(site.say(&a, r#"{"said":"pinned","tower":"A"}"#).await.code, 200);
    assert_eq!(site.say(&a, r#"{"said":"pinned","tower":"B"}"#).await.code, 403);
    assert_eq!(site.say(&a, r#"{"said":"heard"}"#).await.code, 200);
    // A reading is not for a page to say, whoever holds it.
    assert_eq!(site.say(&lead, r#"{"node":"n1","presence":"online"}"#).await.code, 403);
}

#[tokio::test]
async fn what_the_watch_refuses_comes_back_in_its_words() {
    let site = Site::closed().await;
    let lead = site.cookie(Role::Lead);
    let got = site.say(&lead, r#"{"said":"zero","tower":"A","channel":"head-load"}"#).await;
    assert_eq!(got.code, 409);
    assert_eq!(got.body, r#"{"ok":false,"text":"Zero refused: 3 readings, expected 10."}"#);
}

#[tokio::test]
async fn another_pages_origin_is_refused() {
    let site = Site::closed().await;
    let lead = site.cookie(Role::Lead);
    let stop = r#"{"said":"stop"}"#;
    let with = |line: String| format!("{lead}{line}\r\n");
    for forged in ["Origin: http://evil.example", "Origin: null", "Sec-Fetch-Site: cross-site", "Sec-Fetch-Site: same-site"] {
        let got = site.say(&with(forged.into()), stop).await;
        assert_eq!((got.code, got.body.contains("not ours")), (403, true), "{forged}");
    }
    let ours = format!("Origin: http://{}\r\nSec-Fetch-Site: same-origin", site.at);
    assert_eq!(site.say(&with(ours), stop).await.code, 200);
}

#[tokio::test]
async fn too_long_and_garbled_words_are_refused_clearly() {
    let site = Site::closed().await;
    let lead = site.cookie(Role::Lead);
    let long = format!(r#"{{"said":"note","value":"{}"}}"#, "x".repeat(5000));
    let got = site.say(&lead, &long).await;
    assert_eq!((got.code, got.body.contains("4096")), (413, true), "{}", got.body);
    for bad in ["", "{", "[]", r#"{"said":"dance"}"#, r#"{"step":"climb"}"#, r#"{"said":"stop","extra":1}"#, "\u{0}"] {
        let got = site.say(&lead, bad).await;
        assert_eq!(got.code, 400, "{bad:?}: {}", got.body);
        assert!(got.body.contains("expected"), "{bad:?}: {}", got.body);
    }
}

#[tokio::test]
async fn a_client_that_dawdles_is_cut_off_and_others_do_not_notice() {
    let limits = Limits { patience: Duration::from_secs(3), ..Limits::default() };
    let site = site(false, limits).await;
    let lead = site.cookie(Role::Lead);
    let mut never_ends_its_head = TcpStream::connect(site.at).await.unwrap();
    never_ends_its_head.write_all(b"GET /spotter HTTP/1.1\r\nHost:").await.unwrap();
    let mut never_sends_its_body = TcpStream::connect(site.at).await.unwrap();
    let head = format!("POST /say HTTP/1.1\r\nHost: {}\r\n{lead}Content-Length: 15\r\n\r\n{{", site.at);
    never_sends_its_body.write_all(head.as_bytes()).await.unwrap();
    assert_eq!(site.say(&lead, r#"{"said":"stop"}"#).await.code, 200);

    let mut rest = String::new();
    never_ends_its_head.read_to_string(&mut rest).await.unwrap();
    assert!(rest.starts_with("HTTP/1.1 408") && rest.contains("too slowly"), "{rest}");
    let mut answer = BufReader::new(never_sends_its_body);
    assert!(until(&mut answer, "HTTP/1.1").await.contains("408"));
    until(&mut answer, "did not arrive in time").await;
}

#[tokio::test]
async fn more_connections_than_there_is_room_for_are_closed() {
    let limits = Limits { connections: 2, ..Limits::default() };
    let site = site(true, limits).await;
    let mut one = site.live("").await;
    let mut two = site.live("").await;
    until(&mut one, "event: view").await;
    until(&mut two, "event: view").await;
    let mut rest = Vec::new();
    let mut third = TcpStream::connect(site.at).await.unwrap();
    // Closed without a word; a reset says the same.
    assert_eq!(third.read_to_end(&mut rest).await.unwrap_or(0), 0);
    drop(one);
    until(&mut two, "event: view").await;
}

#[tokio::test]
async fn no_path_leads_out_of_the_pages() {
    let site = site(true, Limits::default()).await;
    for path in [
        "/pages/../Cargo.toml",
        "/pages/%2e%2e/Cargo.toml",
        "/pages/..%2f..%2fCargo.toml",
        "/pages//etc/passwd",
        "/pages/%2fetc%2fpasswd",
        "/pages/",
        "/pages/look.css%00.html",
        "/etc/passwd",
        "/tower/..%2fdesk",
        "/tower/C",
        "/tower/a",
    ] {
        let got = site.ask("GET", path, "", "").await;
        assert_eq!(got.code, 404, "{path}: {}", got.body);
    }
    let got = site.ask("GET", "/tower/C", "", "").await;
    assert_eq!(got.body, "The plan's towers are A, B.\n");
}

#[tokio::test]
async fn every_answer_carries_the_headers() {
    let site = Site::closed().await;
    let lead = site.cookie(Role::Lead);
    let cases = [("GET", "/"), ("GET", "/desk"), ("GET", "/pages/look.css"), ("GET", "/nowhere"), ("POST", "/say"), ("PUT", "/say")];
    for (method, path) in cases {
        let got = site.ask(method, path, &lead, "{").await;
        for header in [
            "content-security-policy: default-src 'self'; frame-ancestors 'none'; base-uri 'none'; form-action 'none'",
            "x-content-type-options: nosniff",
            "x-frame-options: deny",
            "referrer-policy: no-referrer",
            "cross-origin-resource-policy: same-origin",
            "cross-origin-opener-policy: same-origin",
            "cache-control: no-",
        ] {
            assert!(got.head.contains(header), "{method} {path}: {header} not in\n{}", got.head);
        }
    }
    assert_eq!(site.ask("PUT", "/say", &lead, "").await.code, 405);
}

#[tokio::test]
async fn files_carry_their_kind_and_are_not_sent_twice() {
    let site = Site::closed().await;
    let css = site.ask("GET", "/pages/look.css", "", "").await;
    assert!(css.code == 200 && css.head.contains("content-type: text/css"));
    let tag = css.head.lines().find_map(|line| line.strip_prefix("etag: ")).unwrap();
    let again = site.ask("GET", "/pages/look.css", &format!("If-None-Match: {tag}\r\n"), "").await;
    assert_eq!((again.code, again.body.as_str()), (304, ""));
    assert!(site.ask("GET", "/pages/js/live.js", "", "").await.head.contains("content-type: text/javascript"));
    assert!(site.ask("GET", "/pages/fonts/call.woff2", "", "").await.head.contains("content-type: font/woff2"));
    let packed = site.ask("GET", "/pages/look.css", "Accept-Encoding: gzip\r\n", "").await;
    assert!(packed.head.contains("content-encoding: gzip"), "{}", packed.head);
}

#[tokio::test]
async fn a_page_opened_late_sees_the_state_at_once_and_a_stop_reaches_every_page() {
    let site = Site::closed().await;
    let lead = site.cookie(Role::Lead);
    assert_eq!(site.say(&lead, r#"{"step":"raise","by":"Mara"}"#).await.code, 200);
    let mut pages = vec![];
    for _ in 0..50 {
        pages.push(site.live(&lead).await);
    }
    for page in &mut pages {
        until(page, "event: view").await;
        until(page, r#""step":"raise""#).await;
    }
    assert_eq!(site.say(&site.cookie(Role::View), r#"{"said":"stop","by":"Ivo"}"#).await.code, 200);
    for page in &mut pages {
        until(page, "event: call").await;
        assert!(until(page, "data:").await.contains("Stop, said by Ivo."));
    }
}

#[tokio::test]
async fn on_deck_a_page_is_told_only_what_it_draws() {
    let site = Site::closed().await;
    let lead = site.cookie(Role::Lead);
    for (path, desk) in [("/live", true), ("/live?deck", false), ("/live?other", true)] {
        let mut tcp = TcpStream::connect(site.at).await.unwrap();
        tcp.write_all(format!("GET {path} HTTP/1.1\r\nHost: {}\r\n{lead}\r\n", site.at).as_bytes()).await.unwrap();
        let mut page = BufReader::new(tcp);
        until(&mut page, "event: view").await;
        let line = until(&mut page, "data:").await;
        assert!(line.contains("\"towers\""), "{path}: {line}");
        for key in ["\"people\"", "\"recording\"", "\"clock\""] {
            assert_eq!(line.contains(key), desk, "{path}: {key} in {line}");
        }
    }
}

#[tokio::test]
async fn views_end_when_the_watch_has_failed_and_the_pages_are_told_why() {
    let site = Site::closed().await;
    let lead = site.cookie(Role::Lead);
    let mut page = site.live(&lead).await;
    until(&mut page, "event: view").await;
    assert_eq!(site.say(&lead, r#"{"said":"note","value":"fail"}"#).await.code, 409);
    until(&mut page, "event: not-watching").await;
    until(&mut page, "asked to fail").await;
    site.stop.send_replace(true);
    let mut rest = String::new();
    page.read_to_string(&mut rest).await.unwrap();
    assert!(!rest.contains("event: view"), "{rest}");
}

#[tokio::test]
async fn open_streams_do_not_hold_the_end_up() {
    let site = Site::closed().await;
    let mut page = site.live(&site.cookie(Role::View)).await;
    until(&mut page, "event: view").await;
    site.stop.send_replace(true);
    site.serving.await.unwrap();
    let mut rest = Vec::new();
    page.read_to_end(&mut rest).await.unwrap();
}

/// Opens `/live` as a socket and reads the answer's head. `more` are further header lines.
async fn upgrade(site: &Site, more: &str) -> (String, BufReader<TcpStream>) {
    let mut tcp = TcpStream::connect(site.at).await.unwrap();
    let ask = "Connection: Upgrade\r\nUpgrade: websocket\r\nSec-WebSocket-Version: 13\r\nSec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\n";
    tcp.write_all(format!("GET /live HTTP/1.1\r\nHost: {}\r\n{ask}{more}\r\n", site.at).as_bytes()).await.unwrap();
    let mut reading = BufReader::new(tcp);
    let mut head = String::new();
    while !head.ends_with("\r\n\r\n") {
        assert_ne!(reading.read_line(&mut head).await.unwrap(), 0, "ended: {head}");
    }
    (head, reading)
}

/// The next message of a socket: its first byte (kind and end) and what it carries. RFC 6455 section 5.2.
async fn message(socket: &mut BufReader<TcpStream>) -> (u8, String) {
    let mut head = [0; 2];
    socket.read_exact(&mut head).await.unwrap();
    let length = match head[1] {
        126 => u64::from(socket.read_u16().await.unwrap()),
        127 => socket.read_u64().await.unwrap(),
        short => u64::from(short),
    };
    let mut bytes = vec![0; usize::try_from(length).unwrap()];
    socket.read_exact(&mut bytes).await.unwrap();
    (head[0], String::from_utf8_lossy(&bytes).into_owned())
}

#[tokio::test]
async fn by_socket_a_page_is_told_the_same() {
    let site = Site::closed().await;
    let cookie = site.cookie(Role::Spotter);
    let (head, mut socket) = upgrade(&site, &cookie).await;
    assert!(head.starts_with("HTTP/1.1 101"), "{head}");
    let (kind, first) = message(&mut socket).await;
    assert_eq!(kind, 0x81, "one whole text");
    assert!(first.starts_with("view\n{"), "{first}");
    assert_eq!(site.say(&cookie, r#"{"said":"stop","by":"Ivo"}"#).await.code, 200);
    while !message(&mut socket).await.1.starts_with("call\n{") {}
    site.stop.send_replace(true);
    while message(&mut socket).await.0 != 0x88 {}
}

#[tokio::test]
async fn a_socket_is_for_paired_pages_of_our_own() {
    let site = Site::closed().await;
    let cookie = site.cookie(Role::Spotter);
    assert!(upgrade(&site, "").await.0.starts_with("HTTP/1.1 401"));
    for forged in ["Origin: http://evil.example", "Origin: null", "Sec-Fetch-Site: cross-site"] {
        let (head, _) = upgrade(&site, &format!("{cookie}{forged}\r\n")).await;
        assert!(head.starts_with("HTTP/1.1 403"), "{forged}: {head}");
    }
    let (head, _) = upgrade(&site, &format!("{cookie}Origin: http://{}\r\n", site.at)).await;
    assert!(head.starts_with("HTTP/1.1 101"), "{head}");
}

#[tokio::test]
async fn a_socket_that_speaks_is_closed_and_one_that_lives_keeps_its_place() {
    let site = site(true, Limits { connections: 1, ..Limits::default() }).await;
    let (_, mut socket) = upgrade(&site, "").await;
    let mut second = TcpStream::connect(site.at).await.unwrap();
    assert_eq!(second.read_to_end(&mut Vec::new()).await.unwrap_or(0), 0, "there is room for one");
    socket.get_mut().write_all(&[0x81, 0x82, 0, 0, 0, 0, b'h', b'i']).await.unwrap();
    while message(&mut socket).await.0 != 0x88 {}
    assert_eq!(socket.read_to_end(&mut Vec::new()).await.unwrap_or(0), 0);
    drop(socket);
    loop {
        let mut tcp = TcpStream::connect(site.at).await.unwrap();
        let ask = format!("GET /me HTTP/1.1\r\nHost: {}\r\nConnection: close\r\n\r\n", site.at);
        let mut whole = String::new();
        let asked = tcp.write_all(ask.as_bytes()).await;
        if asked.is_ok() && tcp.read_to_string(&mut whole).await.is_ok() && whole.starts_with("HTTP/1.1 200") {
            return; // its place is free again
        }
    }
}

#[tokio::test]
async fn a_page_that_says_too_much_is_told_so_and_its_stop_is_still_taken() {
    let site = Site::closed().await;
    let (spotter, lead) = (site.cookie(Role::Spotter), site.cookie(Role::Lead));
    let refused = loop {
        let got = site.say(&spotter, r#"{"said":"heard"}"#).await;
        if got.code != 200 {
            break got;
        }
    };
    assert_eq!(refused.code, 429);
    assert!(refused.head.contains("retry-after: 1") && refused.body.contains("STOP is always taken"), "{}{}", refused.head, refused.body);
    for _ in 0..30 {
        assert_eq!(site.say(&spotter, r#"{"said":"stop"}"#).await.code, 200, "a stop is never refused");
    }
    let all = async { while site.say(&spotter, "{").await.code != 429 {} };
    tokio::time::timeout(Duration::from_secs(60), all).await.expect("garbage counts as well");
    assert_eq!(site.say(&lead, r#"{"said":"heard"}"#).await.code, 200, "others do not notice");
}

#[tokio::test]
async fn the_past_is_for_who_may_look_and_grows_with_the_views() {
    let site = Site::closed().await;
    let lead = site.cookie(Role::Lead);
    assert_eq!(site.ask("GET", "/past", "", "").await.code, 401);
    let points = async {
        loop {
            let got = site.ask("GET", "/past", &lead, "").await;
            let past: serde_json::Value = serde_json::from_str(&got.body).unwrap();
            assert_eq!(past["offset_mm"], serde_json::Value::Null);
            let times = past["fine"]["t_ms"].as_array().unwrap().len();
            if times > 2 {
                assert_eq!(past["towers"].to_string(), r#"["A","B"]"#);
                assert_eq!(past["fine"]["offset_mm"][1].as_array().unwrap().len(), times);
                return;
            }
        }
    };
    tokio::time::timeout(Duration::from_secs(60), points).await.unwrap();
}
