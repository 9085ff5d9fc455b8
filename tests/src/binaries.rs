//! The real binaries, built once and run as a person or a service manager runs them.

use std::{
    io::{BufRead as _, BufReader, Write as _},
    path::PathBuf,
    process::{Child, Command, Output, Stdio},
    sync::{Arc, Mutex, OnceLock},
};

/// Builds the binaries once and returns their folder.
pub fn folder() -> &'static PathBuf {
    static FOLDER: OnceLock<PathBuf> = OnceLock::new();
    FOLDER.get_or_init(|| {
        let here = std::env::current_exe().expect("this test's own path");
        let folder = here.ancestors().nth(2).expect("target/PROFILE").to_path_buf();
        let release = folder.file_name().is_some_and(|n| n == "release");
        let mut build = Command::new(env!("CARGO"));
        // The whole workspace, as the tests were built: two packages alone have other features, and are compiled again.
        build.args(["build", "--quiet", "--workspace", "--bins"]);
        // These variables of the running test would make cargo rebuild some crates.
        for (name, _) in std::env::vars_os() {
            let name = name.to_string_lossy();
            if name.starts_with("CARGO_PKG_") || name.starts_with("CARGO_MANIFEST_") {
                build.env_remove(name.as_ref());
            }
        }
        if release {
            build.arg("--release");
        }
        assert!(build.status().expect("cargo runs").success(), "the binaries are built");
        folder
    })
}

/// A server process.
pub struct Server {
    child: Child,
    /// The address that it listens on, such as `127.0.0.1:50740`.
    pub address: String,
    log: Arc<Mutex<String>>,
}

impl Server {
    /// Starts `scionaryd serve` and waits until it listens.
    pub fn start(database: &str, set: &[&str]) -> Self {
        Self::start_in(database, set, &[])
    }
    /// Like [`Server::start`], with extra environment variables.
    pub fn start_in(database: &str, set: &[&str], environment: &[(&str, String)]) -> Self {
        let mut command = Command::new(folder().join("scionaryd"));
        command.args([
            "serve",
            "--listen",
            "127.0.0.1:0",
            "--set",
            "log.format=json",
            // A test client that waits for the server's end cannot close its own connection, so keep the grace time
            // short.
            "--set",
            "server.stop_grace_seconds=2",
            "--database",
            database,
        ]);
        for setting in set {
            command.args(["--set", setting]);
        }
        command.envs(environment.iter().map(|(name, value)| (name, value)));
        let mut child =
            command.stderr(Stdio::piped()).stdin(Stdio::null()).spawn().expect("the server can be started");
        let mut lines = BufReader::new(child.stderr.take().expect("its log")).lines();
        let address = loop {
            let line = lines.next().expect("it says where it listens").expect("text");
            if let Some((_, rest)) = line.split_once("\"address\":\"") {
                break rest.split('"').next().expect("an address").to_string();
            }
        };
        // Keep reading: a full pipe would block the server.
        let log = Arc::<Mutex<String>>::default();
        let keep = log.clone();
        std::thread::spawn(move || {
            for line in lines.map_while(Result::ok) {
                let mut log = keep.lock().expect("not poisoned");
                log.push_str(&line);
                log.push('\n');
            }
        });
        Self { child, address, log }
    }
    /// Returns what the server has logged since it listened.
    pub fn log(&self) -> String {
        self.log.lock().expect("not poisoned").clone()
    }
    /// Kills the server with SIGKILL.
    pub fn kill(mut self) {
        self.child.kill().expect("it can be killed");
        let _ = self.child.wait();
    }
    /// Sends SIGTERM and waits for the end. Returns whether the exit status was a success.
    pub fn terminate(mut self) -> bool {
        let asked = Command::new("kill").args(["-TERM", &self.child.id().to_string()]).status();
        assert!(asked.expect("kill runs").success());
        self.child.wait().expect("it ends").success()
    }
}

/// Kills the server when a test fails: a server left behind would hold the test's output open.
impl Drop for Server {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// A person with a client and their own folder of settings.
pub struct Person {
    folder: tempfile::TempDir,
    server: String,
}

impl Person {
    /// Returns a new person who uses `server`.
    pub fn new(server: &Server) -> Self {
        Self { folder: tempfile::tempdir().expect("a folder"), server: format!("http://{}", server.address) }
    }
    /// Returns a new person who uses the server at an address.
    pub fn at(address: &str) -> Self {
        Self { folder: tempfile::tempdir().expect("a folder"), server: address.into() }
    }
    /// Returns the folder of settings.
    pub fn config(&self) -> PathBuf {
        self.folder.path().join("config")
    }
    /// Runs the client with text on standard input.
    pub fn run_with(&self, stdin: &str, arguments: &[&str]) -> Output {
        let mut child = Command::new(folder().join("scionary"))
            .args(arguments)
            .env("SCIONARY_CONFIG_DIR", self.config())
            .env("SCIONARY_SERVER", &self.server)
            .env("COLUMNS", "80")
            .env_remove("SCIONARY_TOKEN")
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .expect("the client runs");
        // A client that does not read its input has closed the pipe.
        let _ = child.stdin.take().expect("its input").write_all(stdin.as_bytes());
        child.wait_with_output().expect("it ends")
    }
    /// Runs the client as on a colour terminal of `columns` columns. It must succeed; returns its standard output.
    pub fn on_a_terminal(&self, columns: usize, arguments: &[&str]) -> String {
        let output = Command::new(folder().join("scionary"))
            .args(arguments)
            .env("SCIONARY_CONFIG_DIR", self.config())
            .env("SCIONARY_SERVER", &self.server)
            .env("COLUMNS", columns.to_string())
            .env("CLICOLOR_FORCE", "1")
            .env_remove("NO_COLOR")
            .env_remove("SCIONARY_TOKEN")
            .stdin(Stdio::null())
            .output()
            .expect("the client runs");
        assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
        String::from_utf8(output.stdout).expect("text")
    }
    /// Runs the client.
    pub fn run(&self, arguments: &[&str]) -> Output {
        self.run_with("", arguments)
    }
    /// Runs the client, which must succeed. Returns its standard output.
    pub fn ok(&self, arguments: &[&str]) -> String {
        self.ok_with("", arguments)
    }
    /// Like [`Person::ok`], with text on standard input.
    pub fn ok_with(&self, stdin: &str, arguments: &[&str]) -> String {
        let output = self.run_with(stdin, arguments);
        let text = String::from_utf8(output.stdout).expect("text");
        assert!(
            output.status.success(),
            "scionary {arguments:?} failed:\n{text}\n{}",
            String::from_utf8_lossy(&output.stderr)
        );
        text
    }
    /// Runs the client, which must fail with exit code `code`. Returns its standard error.
    pub fn fails(&self, code: i32, arguments: &[&str]) -> String {
        let output = self.run(arguments);
        let said = String::from_utf8(output.stderr).expect("text");
        assert_eq!(output.status.code(), Some(code), "scionary {arguments:?}: {said}");
        said
    }
}
