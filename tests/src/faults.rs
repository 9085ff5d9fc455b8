//! A disk that fails on purpose. A small C library (`tests/shim/faults.c`), built here and preloaded into a server,
//! makes the n-th write, flush, extension or allocation of SQLite fail. It is C because our Rust forbids unsafe code.

use std::{
    fs::{File, OpenOptions},
    os::unix::fs::FileExt as _,
    path::{Path, PathBuf},
    process::Command,
    sync::OnceLock,
};

use crate::{binaries, skipped};

/// What fails.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Fault {
    /// Writes: the disk is full.
    Write,
    /// Flushes: the disk fails.
    Flush,
    /// Extending a file: the disk is full.
    Room,
    /// SQLite's own memory allocations.
    Memory,
}

impl Fault {
    /// All kinds of faults.
    pub const ALL: [Self; 4] = [Self::Write, Self::Flush, Self::Room, Self::Memory];
}

/// Controls the faults of one database file.
pub struct Faults {
    control: File,
    environment: Vec<(&'static str, String)>,
}

/// Builds the library once; `None` without a C compiler or outside Linux with glibc.
fn library() -> Option<&'static Path> {
    static BUILT: OnceLock<Option<PathBuf>> = OnceLock::new();
    let build = || {
        let out = binaries::folder().join("libscionary_faults.so");
        let source = Path::new(env!("CARGO_MANIFEST_DIR")).join("shim/faults.c");
        let built = Command::new("cc")
            .args(["-shared", "-fPIC", "-O1", "-Wall", "-Werror", "-o"])
            .args([out.as_os_str(), source.as_os_str()])
            .arg("-ldl")
            .status();
        built.is_ok_and(|status| status.success()).then_some(out)
    };
    BUILT.get_or_init(build).as_deref()
}

/// Returns the address range of SQLite's allocators in the server's program, as hexadecimal offsets from its symbols.
fn allocations() -> Option<String> {
    let listed =
        Command::new("nm").args(["-n", "--defined-only"]).arg(binaries::folder().join("scionaryd")).output();
    let listed = String::from_utf8(listed.ok()?.stdout).ok()?;
    let mut from = None;
    let mut lines = listed.lines().filter_map(|line| line.split_once(' ')).peekable();
    while let Some((address, rest)) = lines.next() {
        let name = rest.split(' ').next_back()?;
        let Some((next, _)) = lines.peek().copied() else { break };
        if name == "sqlite3MemRealloc" || name == "sqlite3MemMalloc" {
            let (low, high) = from.unwrap_or((address, next));
            from = Some((low.min(address), high.max(next)));
        }
    }
    from.map(|(low, high)| format!("{low}-{high}"))
}

impl Faults {
    /// Prepares faults for a database, all off. Returns `None` and reports a skip if this machine cannot build the
    /// library.
    ///
    /// # Panics
    /// Panics when the control file cannot be made, and in CI when the library cannot be built.
    pub fn of(database: &Path) -> Option<Self> {
        let (Some(library), Some(code)) = (library(), allocations()) else {
            skipped("faults of the disk: cc and nm are needed");
            return None;
        };
        let path = database.with_extension("faults");
        std::fs::write(&path, [0_u8; 32]).expect("the control file can be made");
        let control = OpenOptions::new().read(true).write(true).open(&path).expect("it can be opened");
        let text = |path: &Path| path.to_str().expect("text").to_string();
        let faults = Self {
            control,
            environment: vec![
                ("LD_PRELOAD", text(library)),
                ("SCIONARY_FAULTS", text(&path)),
                ("SCIONARY_FAULTS_PATH", text(database)),
                ("SCIONARY_FAULTS_CODE", code),
            ],
        };
        faults.end();
        Some(faults)
    }
    /// Returns the environment variables for the server's process.
    pub fn environment(&self) -> &[(&'static str, String)] {
        &self.environment
    }
    fn set(&self, at: u64, number: i64) {
        self.control.write_all_at(&number.to_ne_bytes(), at * 8).expect("the control file is written");
    }
    /// From now on lets `well` calls succeed, then makes `fail` calls fail.
    pub fn begin(&self, fault: Fault, well: i64, fail: i64) {
        self.set(1, well);
        self.set(2, fail);
        self.set(3, 0);
        self.set(0, fault as i64);
    }
    /// Stops the faults.
    ///
    /// # Panics
    /// Panics when the control file cannot be written.
    pub fn end(&self) {
        self.set(0, -1);
    }
    /// Returns how many calls have failed since the last [`Faults::begin`].
    ///
    /// # Panics
    /// Panics when the control file cannot be read.
    pub fn struck(&self) -> i64 {
        let mut bytes = [0; 8];
        self.control.read_exact_at(&mut bytes, 24).expect("the control file is read");
        i64::from_ne_bytes(bytes)
    }
}
