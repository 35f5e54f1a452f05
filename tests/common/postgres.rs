//! A PostgreSQL server of a test's own: its data in a folder of its own, reached by a socket in it, gone with it.

#[path = "sealed_bench.rs"]
pub mod sealed_bench;

use postgres::{Client, NoTls};
use sealed_bench::SealedBench;
use std::fs;
use std::os::unix::process::CommandExt;
use std::path::{Path, PathBuf};
use std::process::Command;
use tempfile::TempDir;

/// Who owns the databases.
pub const OWNER: &str = "saltmarsh";

pub struct Server {
    folder: TempDir,
    programs: PathBuf,
    /// A server refuses to run as root.
    runs_as: Option<(u32, u32)>,
}

impl Server {
    /// A server that runs. None where PostgreSQL is not installed: that is told, and fails where all has to be there.
    pub fn start() -> Option<Self> {
        let Some(programs) = programs() else {
            assert!(std::env::var_os("RAILPROOF_ALL").is_none(), "PostgreSQL (initdb, pg_ctl) is not installed");
            eprintln!("skipped: PostgreSQL (initdb, pg_ctl) is not installed");
            return None;
        };
        let folder = tempfile::tempdir().expect("a folder");
        let runs_as = rustix::process::geteuid().is_root().then(|| account("postgres"));
        if let Some((user, group)) = runs_as {
            std::os::unix::fs::chown(folder.path(), Some(user), Some(group)).expect("root may");
        }
        let server = Self { folder, programs, runs_as };
        let data = server.data();
        let data = data.to_str().expect("plain");
        server
            .done("initdb", &["-D", data, "-U", OWNER, "--auth=trust", "--no-sync", "-E", "UTF8", "--locale=C.UTF-8"]);
        let settings = format!(
            "listen_addresses = ''\nunix_socket_directories = '{}'\nmax_connections = 60\nfsync = off\n",
            server.socket().display()
        );
        let file = server.data().join("postgresql.conf");
        let text = fs::read_to_string(&file).expect("it is there") + &settings;
        fs::write(&file, text).expect("it can be written");
        server.control(&["start"]);
        Some(server)
    }

    /// Starts, stops or restarts it, and waits until that is done.
    pub fn control(&self, words: &[&str]) {
        let (data, log) = (self.data(), self.folder.path().join("log"));
        let fixed = ["-s", "-w", "-t", "60", "-D", data.to_str().expect("plain"), "-l", log.to_str().expect("plain")];
        self.done("pg_ctl", &[words, &fixed].concat());
    }

    /// An address of a database for a login.
    pub fn address(&self, login: &str, database: &str) -> String {
        format!("postgres:///{database}?host={}&user={login}", self.socket().display())
    }

    /// A connection beside those of railproof.
    pub fn client(&self, login: &str, database: &str) -> Client {
        Client::connect(&self.address(login, database), NoTls).expect("it lets us in")
    }

    pub fn data(&self) -> PathBuf {
        self.folder.path().join("data")
    }

    fn socket(&self) -> &Path {
        self.folder.path()
    }

    fn done(&self, program: &str, words: &[&str]) {
        let mut command = Command::new(self.programs.join(program));
        // Nothing of the server outlives the pipe that a test would wait for.
        let said = self.folder.path().join(format!("{program}.said"));
        command
            .args(words)
            .stdout(fs::File::create(&said).expect("it can be made"))
            .stderr(fs::File::options().append(true).open(&said).expect("it is there"));
        command.current_dir(self.folder.path());
        if let Some((user, group)) = self.runs_as {
            command.uid(user).gid(group);
        }
        let status = command.status().expect("it can be started");
        assert!(status.success(), "{program} {words:?}: {}", fs::read_to_string(&said).unwrap_or_default());
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        let data = self.data();
        let words = ["stop", "-s", "-m", "immediate", "-w", "-D", data.to_str().expect("plain")];
        let mut command = Command::new(self.programs.join("pg_ctl"));
        if let Some((user, group)) = self.runs_as {
            command.uid(user).gid(group);
        }
        drop(command.args(words).current_dir(self.folder.path()).status());
    }
}

/// A store with its tables and logins for benches.
pub struct Shared(pub Server);

impl Shared {
    pub fn new(benches: &[&str]) -> Option<Self> {
        let shared = Self(Server::start()?);
        shared.0.client(OWNER, "postgres").batch_execute("CREATE DATABASE shared").expect("it can be made");
        let owner = shared.address(OWNER);
        let prepared = SealedBench::new().done(&["sync", "--to", &owner, "--prepare"]);
        assert_eq!(prepared.status.code(), Some(0), "{}", String::from_utf8_lossy(&prepared.stderr));
        let mut client = shared.client(OWNER);
        for bench in benches {
            let login = format!("CREATE ROLE \"{bench}\" LOGIN; GRANT railproof_bench TO \"{bench}\"");
            client.batch_execute(&login).expect("it can be made");
        }
        Some(shared)
    }

    pub fn address(&self, login: &str) -> String {
        self.0.address(login, "shared")
    }

    pub fn client(&self, login: &str) -> Client {
        let mut client = self.0.client(login, "shared");
        client.batch_execute("SET search_path = railproof").expect("it is there");
        client
    }

    pub fn count(&self, table: &str) -> i64 {
        self.client(OWNER).query_one(&format!("SELECT count(*) FROM {table}"), &[]).expect("it can be read").get(0)
    }
}

/// Where the programs are: Debian keeps those of each version in a folder of its own.
fn programs() -> Option<PathBuf> {
    let versions =
        fs::read_dir("/usr/lib/postgresql").into_iter().flatten().flatten().map(|entry| entry.path().join("bin"));
    let on_path = std::env::var_os("PATH");
    let on_path = on_path.iter().flat_map(std::env::split_paths);
    let mut found: Vec<PathBuf> = versions.chain(on_path).filter(|folder| folder.join("initdb").is_file()).collect();
    found.sort();
    found.pop()
}

fn account(name: &str) -> (u32, u32) {
    let accounts = fs::read_to_string("/etc/passwd").expect("it can be read");
    let fields = accounts.lines().map(|line| line.split(':').collect::<Vec<_>>()).find(|fields| fields[0] == name);
    let fields = fields.unwrap_or_else(|| panic!("there is no user {name}, whom the server could run as"));
    (fields[2].parse().expect("a number"), fields[3].parse().expect("a number"))
}
