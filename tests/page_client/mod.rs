//! A page that is open for a test, and as much of HTTP/1.1 as a test needs.
#![allow(dead_code, reason = "each test program uses a part")]

use std::io::{BufRead as _, BufReader, Read, Write};
use std::net::TcpStream;
use std::process::{Child, Command, Stdio};
use std::time::Duration;

use serde_json::Value;

const PROGRAM: &str = env!("CARGO_BIN_EXE_hubgauge");
const PATIENCE: Duration = Duration::from_secs(60);

/// `hubgauge open` on a library of its own; ended when dropped.
pub struct Open {
    child: Child,
    arguments: Vec<String>,
    pub library: tempfile::TempDir,
    pub port: u16,
    pub token: String,
}

#[derive(Debug)]
pub struct Answer {
    pub status: u16,
    pub headers: Vec<(String, String)>,
    pub body: Vec<u8>,
}

impl Answer {
    pub fn header(&self, name: &str) -> Option<&str> {
        self.headers.iter().find(|(known, _)| known == name).map(|(_, value)| value.as_str())
    }
}

/// The body as JSON.
pub fn json(answer: &Answer) -> Value {
    let text = String::from_utf8_lossy(&answer.body);
    serde_json::from_str(&text).unwrap_or_else(|e| panic!("{} {e}: {text}", answer.status))
}

impl Open {
    pub fn new(arguments: &[&str]) -> Self {
        let library = tempfile::tempdir().unwrap();
        let arguments: Vec<String> = arguments.iter().map(|&a| a.to_owned()).collect();
        let (child, port, token) = start(library.path(), &arguments);
        Self { child, arguments, library, port, token }
    }

    /// As the power goes off, and comes back.
    pub fn kill_and_restart(&mut self) {
        self.child.kill().unwrap();
        self.child.wait().unwrap();
        let (child, port, token) = start(self.library.path(), &self.arguments);
        assert_ne!(token, self.token);
        (self.child, self.port, self.token) = (child, port, token);
    }

    /// Processor time that the program has used, seconds; only Linux tells (proc(5): fields 14
    /// and 15 of `stat`, in hundredths on every usual machine).
    pub fn used_s(&self) -> Option<f64> {
        let stat = std::fs::read_to_string(format!("/proc/{}/stat", self.child.id())).ok()?;
        let (_, fields) = stat.rsplit_once(") ")?;
        let ticks: u32 =
            fields.split(' ').skip(11).take(2).map(|t| t.parse().unwrap_or(0_u32)).sum();
        Some(f64::from(ticks) / 100.0)
    }

    pub fn path(&self, rest: &str) -> String {
        format!("/{}/{rest}", self.token)
    }

    fn connect(&self) -> TcpStream {
        let stream = TcpStream::connect(("127.0.0.1", self.port)).unwrap();
        stream.set_read_timeout(Some(PATIENCE)).unwrap();
        stream
    }

    /// Exactly these headers, and the body's length.
    pub fn raw(&self, method: &str, path: &str, headers: &[(&str, &str)], body: &[u8]) -> Answer {
        let mut stream = self.connect();
        let mut head = format!("{method} {path} HTTP/1.1\r\nConnection: close\r\n");
        for (name, value) in headers {
            head.push_str(&format!("{name}: {value}\r\n"));
        }
        head.push_str(&format!("Content-Length: {}\r\n\r\n", body.len()));
        stream.write_all(head.as_bytes()).unwrap();
        // A refusal may come before all of the body is taken.
        let _ = stream.write_all(body);
        read(stream).unwrap()
    }

    /// As the page itself asks.
    pub fn ask_raw(&self, method: &str, rest: &str, body: &[u8]) -> Answer {
        let host = format!("127.0.0.1:{}", self.port);
        let origin = format!("http://{host}");
        let headers = [
            ("Host", host.as_str()),
            ("Origin", origin.as_str()),
            ("Content-Type", "application/json"),
        ];
        self.raw(method, &self.path(rest), &headers, body)
    }

    pub fn ask(&self, method: &str, rest: &str, body: Option<Value>) -> Answer {
        let body = body.map(|body| body.to_string()).unwrap_or_default();
        self.ask_raw(method, rest, body.as_bytes())
    }

    pub fn get(&self, rest: &str) -> Value {
        let answer = self.ask("GET", rest, None);
        assert_eq!(answer.status, 200, "{rest}: {}", String::from_utf8_lossy(&answer.body));
        json(&answer)
    }

    /// The name as it stands in the address.
    pub fn upload(&self, name: &str, content: &[u8]) -> Answer {
        self.ask_raw("POST", &format!("api/clips?name={name}"), content)
    }

    fn begin(&self, rest: &str, length: &str) -> TcpStream {
        let mut stream = self.connect();
        let port = self.port;
        let head = format!(
            "POST {} HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nOrigin: http://127.0.0.1:{port}\r\n\
             Connection: close\r\n{length}\r\n\r\n",
            self.path(rest)
        );
        stream.write_all(head.as_bytes()).unwrap();
        stream
    }

    /// Declares a body and sends none.
    pub fn head_only(&self, rest: &str, declared: u64) -> Answer {
        read(self.begin(rest, &format!("Content-Length: {declared}"))).unwrap()
    }

    /// Begins an upload; the body is the caller's.
    pub fn start_upload(&self, name: &str, declared: usize) -> TcpStream {
        self.begin(&format!("api/clips?name={name}"), &format!("Content-Length: {declared}"))
    }

    /// A body of no declared length; no answer when the page hung up meanwhile.
    pub fn chunked(&self, rest: &str, block: &[u8], blocks: usize) -> Option<Answer> {
        let mut stream = self.begin(rest, "Transfer-Encoding: chunked");
        for _ in 0..blocks {
            let head = format!("{:x}\r\n", block.len());
            let sent = stream
                .write_all(head.as_bytes())
                .and_then(|()| stream.write_all(block))
                .and_then(|()| stream.write_all(b"\r\n"));
            if sent.is_err() {
                break;
            }
        }
        read(stream)
    }
}

impl Drop for Open {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// The program, and the port and token of the address that it prints.
fn start(library: &std::path::Path, arguments: &[String]) -> (Child, u16, String) {
    let mut child = Command::new(PROGRAM)
        .args(["open", "--no-browser", "--library"])
        .arg(library)
        .args(arguments)
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    let said = BufReader::new(child.stdout.take().unwrap());
    let address = said.lines().map(|l| l.unwrap()).find(|l| l.starts_with("http://")).unwrap();
    let rest = address.strip_prefix("http://127.0.0.1:").unwrap();
    let (port, token) = rest.split_once('/').unwrap();
    (child, port.parse().unwrap(), token.trim_end_matches('/').to_owned())
}

/// An answer whose connection the server closes.
fn read(mut stream: TcpStream) -> Option<Answer> {
    let mut all = Vec::new();
    let mut block = [0_u8; 65_536];
    loop {
        match stream.read(&mut block) {
            Ok(0) | Err(_) => break,
            Ok(n) => all.extend_from_slice(&block[..n]),
        }
    }
    let end = all.windows(4).position(|w| w == b"\r\n\r\n")?;
    let head = String::from_utf8(all[..end].to_vec()).ok()?;
    let mut lines = head.lines();
    let status = lines.next()?.split(' ').nth(1)?.parse().ok()?;
    let headers: Vec<(String, String)> = lines
        .filter_map(|line| line.split_once(": "))
        .map(|(name, value)| (name.to_lowercase(), value.to_owned()))
        .collect();
    let chunked = headers.iter().any(|(n, v)| n == "transfer-encoding" && v == "chunked");
    let body = all[end + 4..].to_vec();
    Some(Answer { status, headers, body: if chunked { joined(&body) } else { body } })
}

fn joined(mut rest: &[u8]) -> Vec<u8> {
    let mut whole = Vec::new();
    while let Some(end) = rest.windows(2).position(|w| w == b"\r\n") {
        let size = std::str::from_utf8(&rest[..end]).unwrap_or("0");
        let size = usize::from_str_radix(size.trim(), 16).unwrap_or(0);
        let (from, to) = (end + 2, end + 2 + size);
        if size == 0 || to > rest.len() {
            break;
        }
        whole.extend_from_slice(&rest[from..to]);
        rest = rest.get(to + 2..).unwrap_or_default();
    }
    whole
}

/// A page that listens for changes.
pub struct Listener(BufReader<TcpStream>);

impl Listener {
    pub fn new(page: &Open) -> Self {
        let mut stream = page.connect();
        let head = format!(
            "GET {} HTTP/1.1\r\nHost: 127.0.0.1:{}\r\nAccept: text/event-stream\r\n\r\n",
            page.path("api/events"),
            page.port
        );
        stream.write_all(head.as_bytes()).unwrap();
        Self(BufReader::new(stream))
    }

    /// The next change.
    pub fn next(&mut self) -> Value {
        loop {
            let mut line = String::new();
            assert!(self.0.read_line(&mut line).unwrap() > 0, "the stream of changes ended");
            if let Some(data) = line.strip_prefix("data: ") {
                return serde_json::from_str(data).unwrap();
            }
        }
    }

    /// The next change like this.
    pub fn find(&mut self, like: impl Fn(&Value) -> bool) -> Value {
        loop {
            let event = self.next();
            if like(&event) {
                return event;
            }
        }
    }
}
