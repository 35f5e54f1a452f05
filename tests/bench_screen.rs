//! `railproof serve`, spoken to over HTTP as a browser would: beginning, watching, answering and stopping runs; and what must
//! not get through.

use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::Duration;

const SIMULATED: &str = "fixtures/jigs/simulated.yaml";

/// A server, which is told to end when this is dropped.
struct Screen {
    server: Child,
    at: String,
    results: tempfile::TempDir,
}

/// What came back.
struct Answer {
    status: u16,
    head: String,
    body: String,
}

impl Screen {
    fn open(plan: &str, more: &[&str]) -> Self {
        let results = tempfile::tempdir().expect("a folder");
        let mut server = Command::new(env!("CARGO_BIN_EXE_railproof"))
            .args(["serve", plan, "--unit", "fixtures/units/dunlin-600.yaml", "--listen", "127.0.0.1:0", "--results"])
            .arg(results.path())
            .args(more)
            .env_remove("RAILPROOF_OPERATOR")
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .expect("it starts");
        let mut line = String::new();
        BufReader::new(server.stdout.take().expect("piped")).read_line(&mut line).expect("its address");
        let at = line.trim().strip_prefix("http://").expect("an address").to_owned();
        Self { server, at, results }
    }

    fn connect(&self) -> TcpStream {
        let stream = TcpStream::connect(&self.at).expect("it listens");
        stream.set_read_timeout(Some(Duration::from_secs(30))).expect("a time limit");
        stream
    }

    /// A request with lines of its own in its head.
    fn send(&self, request: &str, head: &[&str], body: &str) -> Answer {
        let has_host = head.iter().any(|line| line.to_lowercase().starts_with("host:"));
        let host = if has_host { String::new() } else { format!("Host: {}\r\n", self.at) };
        let more: String = head.iter().map(|line| format!("{line}\r\n")).collect();
        let form = "Content-Type: application/x-www-form-urlencoded";
        let length = body.len();
        let mut stream = self.connect();
        let text = format!(
            "{request} HTTP/1.1\r\n{host}{more}{form}\r\nContent-Length: {length}\r\nConnection: close\r\n\r\n{body}"
        );
        stream.write_all(text.as_bytes()).expect("it takes a request");
        let mut bytes = Vec::new();
        stream.read_to_end(&mut bytes).expect("an answer");
        let text = String::from_utf8_lossy(&bytes);
        let (head, body) = text.split_once("\r\n\r\n").expect("a head");
        let status = head.split(' ').nth(1).and_then(|status| status.parse().ok()).expect("a status");
        Answer { status, head: head.to_lowercase(), body: body.to_owned() }
    }

    fn get(&self, path: &str) -> Answer {
        self.send(&format!("GET {path}"), &[], "")
    }

    fn post(&self, path: &str, fields: &[(&str, &str)]) -> Answer {
        let fields: Vec<_> = fields.iter().map(|(name, value)| format!("{name}={}", encoded(value))).collect();
        self.send(&format!("POST {path}"), &[], &fields.join("&"))
    }

    /// Begins a run with all confirmed that its plan asks for.
    fn start(&self, bench: usize, serial: &str) -> Answer {
        let step = self.get(&format!("/benches/{bench}?serial={}&plan=0", encoded(serial)));
        assert_eq!(step.status, 200, "{}", step.body);
        let so = step.body.split("name=\"so\" value=\"").skip(1).filter_map(|rest| rest.split('"').next());
        let so: Vec<String> = so.map(unescaped).collect();
        let mut fields = vec![("serial", serial), ("plan", "0")];
        fields.extend(so.iter().map(|so| ("so", so.as_str())));
        self.post(&format!("/benches/{bench}/start"), &fields)
    }

    /// The states of a stream, one after the other.
    fn watch(&self, query: &str) -> impl Iterator<Item = serde_json::Value> + use<> {
        let mut stream = self.connect();
        let host = &self.at;
        stream.write_all(format!("GET /live{query} HTTP/1.1\r\nHost: {host}\r\n\r\n").as_bytes()).expect("a request");
        let lines = BufReader::new(stream).lines().map(|line| line.expect("the stream goes on"));
        lines.filter_map(|line| serde_json::from_str(line.strip_prefix("data: ")?).ok())
    }

    /// The states until one has this in it.
    fn until(&self, what: &str) -> serde_json::Value {
        let mut states = self.watch("?bench=1").take(20_000);
        states.find(|state| state.to_string().contains(what)).unwrap_or_else(|| panic!("never: {what}"))
    }
}

impl Drop for Screen {
    fn drop(&mut self) {
        let pid = self.server.id().to_string();
        assert!(Command::new("kill").arg(pid).status().expect("kill").success());
        let ended = self.server.wait().expect("it ends");
        assert!(std::thread::panicking() || ended.success(), "{ended}");
    }
}

fn encoded(text: &str) -> String {
    text.bytes()
        .map(|byte| if byte.is_ascii_alphanumeric() { char::from(byte).to_string() } else { format!("%{byte:02X}") })
        .collect()
}

fn unescaped(text: &str) -> String {
    text.replace("&lt;", "<").replace("&gt;", ">").replace("&quot;", "\"").replace("&amp;", "&")
}

fn write(folder: &Path, name: &str, text: &str) -> String {
    let path = folder.join(name);
    std::fs::write(&path, text).expect("written");
    path.display().to_string()
}

/// The states of a stream up to the one in which no run goes on any more.
fn to_its_end(states: impl Iterator<Item = serde_json::Value>) -> Vec<serde_json::Value> {
    let mut seen = Vec::new();
    for state in states.take(20_000) {
        let is_over = state["benches"][0]["phase"].as_str().is_some_and(|phase| phase.starts_with("over"));
        seen.push(state);
        if is_over {
            break;
        }
    }
    seen
}

#[test]
fn a_run_goes_from_serial_number_to_certificate_and_everybody_sees_it() {
    let screen = Screen::open("test-plans/quick.yaml", &["--jig", SIMULATED, "--scale", "50"]);
    let not_confirmed = screen.post("/benches/1/start", &[("serial", "SM-0001"), ("plan", "0")]);
    assert_eq!(not_confirmed.status, 422);
    assert!(not_confirmed.body.contains("not everything is confirmed"), "{}", not_confirmed.body);
    let first = screen.watch("?bench=1").next().expect("a state");
    assert_eq!(first["benches"][0]["phase"], "free-0", "something was begun");

    assert_eq!(screen.start(1, "SM-0001").status, 303);
    let early = screen.watch("?bench=1");
    screen.until("both ways at top speed</p>");
    // Who comes in the middle is shown the whole first.
    let late = to_its_end(screen.watch("?bench=1"));
    assert!(late[0]["benches"][0]["html"]["b1-checks"].to_string().contains("power-up and pack"), "{}", late[0]);
    for seen in [to_its_end(early), late] {
        let carriage: Vec<f64> = seen.iter().filter_map(|state| state["benches"][0]["carriage"].as_f64()).collect();
        let furthest = carriage.iter().fold(0.0_f64, |far, at| far.max(*at));
        assert!(furthest > 900.0, "the carriage came to {furthest} of 940");
        assert_eq!(seen.last().expect("an end")["benches"][0]["phase"], "over-1");
    }

    let page = screen.get("/benches/1");
    assert!(page.body.contains("<h1>Conforms</h1>") && page.body.contains("Simulated run"), "{}", page.body);
    let sheet = page.body.split("href=\"").find_map(|rest| rest.split_once(".pdf\"")).expect("a certificate").0;
    assert!(screen.get(&format!("{sheet}.pdf")).body.starts_with("%PDF-"));
    assert!(screen.get(&format!("{sheet}.html")).head.contains("sandbox"));
    let run = sheet.strip_suffix("/certificate").expect("a run");
    assert!(screen.get(run).body.contains("<svg"), "no curves");
    for list in ["/today", "/units/SM-0001"] {
        assert!(screen.get(list).body.contains(run), "{list} does not lead to the run");
    }
    for hidden in ["seal.json", "captures/run.capture", "..%2F..%2Fx", "inputs/plan.yaml"] {
        assert_eq!(screen.get(&format!("{run}/{hidden}")).status, 404, "{hidden}");
    }
    for nowhere in ["/units/..%2F..%2Fetc/01", "/units/SM-0001/..", "/units/.chains", "/benches/0", "/benches/2", "/x"]
    {
        assert_eq!(screen.get(nowhere).status, 404, "{nowhere}");
    }
}

#[test]
fn a_second_start_is_refused_and_a_stop_keeps_an_invalid_record() {
    let screen = Screen::open("test-plans/quick.yaml", &["--jig", SIMULATED, "--scale", "2"]);
    let confirmed = |serial| {
        let before = [
            "Rail level and clamped, 1.5 kg fixed on the carriage",
            "Hands, hair and cables clear of belt, pulleys and carriage",
            "Emergency stop within reach, guard closed",
        ];
        let mut fields = vec![("serial", serial), ("plan", "0")];
        fields.extend(before.map(|item| ("so", item)));
        screen.post("/benches/1/start", &fields)
    };
    assert_eq!(confirmed("SM-0001").status, 303);
    assert_eq!(confirmed("SM-0002").status, 409);
    let going = screen.watch("?bench=1").nth(3).expect("it goes on");
    assert_eq!(going["benches"][0]["phase"], "running-1");
    assert_eq!(screen.post("/benches/1/stop", &[]).status, 303);
    to_its_end(screen.watch("?bench=1"));
    let page = screen.get("/benches/1").body;
    assert!(page.contains("<h1>Invalid</h1>") && page.contains("the run was interrupted"), "{page}");
    let kept: Vec<_> = std::fs::read_dir(screen.results.path().join("SM-0001")).expect("a record").flatten().collect();
    assert!(kept.iter().any(|run| run.path().join("record.json").exists()));
    assert!(!screen.results.path().join("SM-0002").exists(), "the second was begun");
}

#[test]
fn a_question_takes_an_answer_to_itself_and_no_other() {
    let screen = Screen::open("test-plans/outgoing.yaml", &["--jig", SIMULATED, "--scale", "20"]);
    assert_eq!(screen.start(1, "SM-0001").status, 303);
    screen.until("motor mount sit flat");
    let answer = |number, text| screen.post("/benches/1/answer", &[("question", number), ("answer", text)]).status;
    assert_eq!(answer("7", "yes"), 409, "a question that was not asked");
    assert_eq!(answer("1", "maybe"), 422);
    assert_eq!(answer("1", "yes"), 303);
    screen.until("belt run straight");
    assert_eq!(answer("1", "no"), 409, "the question before");
    assert_eq!(answer("2", "no"), 303);
    screen.until("pack latch");
    assert_eq!(answer("3", "yes"), 303);
    let decided = screen.until("does not conform").to_string();
    assert!(decided.contains("first look"), "{decided}");
}

#[test]
fn what_others_wrote_is_shown_and_does_nothing() {
    let folder = tempfile::tempdir().expect("a folder");
    let hostile = "<script>alert(1)</script>";
    let plan = format!(
        "plan: quick\nrevision: 1\nmodel: dunlin-600\ndecision rule: simple acceptance\nbefore: ['{hostile}']\nchecks:\n  \
         - name: '{hostile} &amp; \u{202e}'\n    moves: [power: on, ask: '{hostile}?', power: off]\n    \
         require: {{ objections: at most 0 }}\n    if not: ['{hostile}']\n"
    );
    let screen = Screen::open(&write(folder.path(), "plan.yaml", &plan), &["--jig", SIMULATED, "--scale", "50"]);
    let mut pages =
        vec![screen.get(&format!("/benches/1?serial={}&plan=0", encoded(&format!("{hostile}{}", "x".repeat(9000)))))];
    assert_eq!(pages[0].status, 422);
    pages.push(screen.get("/benches/1?serial=SM-0001&plan=0"));
    assert_eq!(screen.start(1, "SM-0001").status, 303);
    let asks = screen.until("question");
    let html = asks["benches"][0]["html"].to_string();
    assert!(html.contains("&lt;script&gt;alert(1)") && !html.contains("<script>"), "{html}");
    pages.push(screen.get("/benches/1"));
    assert_eq!(screen.post("/benches/1/answer", &[("question", "1"), ("answer", "no")]).status, 303);
    to_its_end(screen.watch("?bench=1"));
    pages.extend(["/benches/1", "/", "/today", "/units/SM-0001"].map(|path| screen.get(path)));
    pages.push(screen.get(&format!("/units/{}", encoded(hostile))));
    for page in pages {
        assert!(!page.body.contains("<script>") && !page.body.contains('\u{202e}'), "{}", page.body);
        assert!(page.head.contains("content-security-policy: default-src 'none'"), "{}", page.head);
    }
}

#[test]
fn strangers_are_turned_away() {
    let folder = tempfile::tempdir().expect("a folder");
    let token = "salt-and-sand-0123456789";
    let file = write(folder.path(), "bench.token", token);
    let screen = Screen::open("test-plans/quick.yaml", &["--jig", SIMULATED, "--token-file", &file]);
    assert_eq!(screen.send("GET /", &["Host: rebound.example"], "").status, 421);
    let forged = screen.send("POST /benches/1/stop", &["Origin: http://elsewhere.example"], "");
    assert_eq!(forged.status, 403);
    let outside = screen.get("/benches/1");
    assert!(outside.status == 303 && outside.head.contains("location: /enter"), "{}", outside.head);
    assert_eq!(screen.get("/live").status, 401);
    assert_eq!(screen.post("/benches/1/stop", &[]).status, 401);
    assert_eq!(screen.get("/assets/screen.css").status, 200, "the door has a style");
    let wrong = screen.post("/enter", &[("token", "salt-and-sand-0123456788")]);
    assert!(wrong.status == 401 && !wrong.head.contains("set-cookie"), "{}", wrong.head);
    let right = screen.post("/enter", &[("token", token)]);
    let cookie = right.head.lines().find_map(|line| line.strip_prefix("set-cookie: ")).expect("a cookie");
    assert!(cookie.contains("httponly") && cookie.contains("samesite=strict") && !cookie.contains(token), "{cookie}");
    let cookie = format!("Cookie: {}", cookie.split(';').next().expect("its value"));
    assert_eq!(screen.send("GET /benches/1", &[&cookie], "").status, 200);
    assert_eq!(screen.send("GET /today", &[&format!("Authorization: Bearer {token}")], "").status, 200);
    assert_eq!(screen.send("GET /today", &["Authorization: Bearer salt"], "").status, 303);
}

#[test]
fn what_cannot_be_served_is_told_before_anything_is() {
    let folder = tempfile::tempdir().expect("a folder");
    let short = write(folder.path(), "short.token", "short");
    let board = "fixtures/jigs/capture-board.yaml";
    let port = |name: &str| {
        let text = std::fs::read_to_string(board).expect("it is shipped");
        write(folder.path(), name, &format!("{text}\n"))
    };
    let (left, right) = (format!("left={}", port("left.yaml")), format!("left={}", port("right.yaml")));
    let cases: [(&[&str], i32, &str); 6] = [
        (&["--jig", SIMULATED, "--listen", "0.0.0.0:0"], 2, "can be reached from other computers"),
        (&["--jig", SIMULATED, "--token-file", &short], 5, "a token has 16"),
        (&["--jig", SIMULATED, "--behind-proxy", "bench.example"], 2, "--token-file"),
        (&["--bench", &left, "--bench", &right], 2, "two benches have the same name"),
        (&["--jig", "no-such.yaml"], 5, "no-such.yaml: cannot be read"),
        (&[], 2, "--jig"),
    ];
    for (more, status, told) in cases {
        let done = Command::new(env!("CARGO_BIN_EXE_railproof"))
            .args(["serve", "test-plans/quick.yaml", "--unit", "fixtures/units/dunlin-600.yaml"])
            .args(more)
            .output()
            .expect("it ends");
        let said = String::from_utf8_lossy(&done.stderr);
        assert!(done.status.code() == Some(status) && said.contains(told), "{more:?}: {} {said}", done.status);
    }
}
