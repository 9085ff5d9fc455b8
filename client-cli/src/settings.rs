//! What the client stores between commands: the server and the session. The folder belongs to the user, and only the
//! user can read it.

use std::{
    fs, io,
    path::{Path, PathBuf},
};

use etcetera::BaseStrategy as _;
use serde::{Deserialize, Serialize, de::DeserializeOwned};

use crate::error::Failure;

/// The saved server; `scionary connect` writes it.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct Settings {
    /// The address, such as `https://swap.example:50740`.
    pub(crate) server: Option<String>,
    /// A PEM file with the certificate authority to trust.
    pub(crate) ca: Option<PathBuf>,
    /// The user allows passwords without TLS to another machine.
    #[serde(default)]
    pub(crate) plaintext: bool,
}

/// A signed-in session.
#[derive(Clone, PartialEq, Serialize, Deserialize)]
pub(crate) struct Session {
    /// The address of the server that issued the session.
    pub(crate) server: String,
    /// The account's handle.
    pub(crate) handle: String,
    /// The account's id; empty in sessions of earlier versions.
    #[serde(default)]
    pub(crate) account: String,
    /// The secret token that the client sends with each call.
    pub(crate) token: String,
}

/// The folder that holds settings and session.
#[derive(Clone)]
pub(crate) struct Folder(PathBuf);

impl Folder {
    pub(crate) fn open() -> Result<Self, Failure> {
        if let Some(folder) = std::env::var_os("SCIONARY_CONFIG_DIR") {
            return Ok(Self(folder.into()));
        }
        let strategy = etcetera::choose_base_strategy()
            .map_err(|e| Failure::bug(format!("no home folder: {e}")).then("set SCIONARY_CONFIG_DIR"))?;
        Ok(Self(strategy.config_dir().join("scionary")))
    }
    pub(crate) fn settings(&self) -> Result<Settings, Failure> {
        Ok(read(&self.0.join("settings.toml"))?.unwrap_or_default())
    }
    pub(crate) fn save_settings(&self, settings: &Settings) -> Result<(), Failure> {
        self.write("settings.toml", settings)
    }
    pub(crate) fn session(&self) -> Result<Option<Session>, Failure> {
        let file = self.0.join("session.toml");
        close_to_others(&file).map_err(|e| failed(&file, &e))?;
        read(&file)
    }
    pub(crate) fn save_session(&self, session: &Session) -> Result<(), Failure> {
        self.write("session.toml", session)
    }
    pub(crate) fn forget_session(&self) -> Result<(), Failure> {
        let file = self.0.join("session.toml");
        match fs::remove_file(&file) {
            Err(error) if error.kind() != io::ErrorKind::NotFound => Err(failed(&file, &error)),
            Ok(()) | Err(_) => Ok(()),
        }
    }
    /// Writes a file atomically: a temporary file replaces the old one, so that a crash leaves either of them whole.
    fn write(&self, name: &str, value: &impl Serialize) -> Result<(), Failure> {
        let file = self.0.join(name);
        let text = toml::to_string(value).map_err(|e| Failure::bug(e.to_string()))?;
        let put = || -> io::Result<()> {
            make_private_folder(&self.0)?;
            // Only the owner can read a temporary file.
            let temporary = tempfile::NamedTempFile::new_in(&self.0)?;
            fs::write(temporary.path(), &text)?;
            temporary.persist(&file)?;
            Ok(())
        };
        put().map_err(|e| failed(&file, &e))
    }
}

fn failed(file: &Path, error: &io::Error) -> Failure {
    Failure::usage(format!("{} cannot be used: {error}", file.display()))
        .then("your settings and session are kept there: make the folder yours, or set SCIONARY_CONFIG_DIR")
}

fn read<T: DeserializeOwned>(file: &Path) -> Result<Option<T>, Failure> {
    let text = match fs::read_to_string(file) {
        Ok(text) => text,
        Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(None),
        Err(error) => return Err(failed(file, &error)),
    };
    toml::from_str(&text).map(Some).map_err(|error| {
        Failure::usage(format!("{} cannot be read: {}", file.display(), error.message()))
            .then("correct it, or remove it and connect again")
    })
}

#[cfg(unix)]
fn make_private_folder(folder: &Path) -> io::Result<()> {
    use std::os::unix::fs::DirBuilderExt as _;
    fs::DirBuilder::new().recursive(true).mode(0o700).create(folder)
}
#[cfg(not(unix))]
fn make_private_folder(folder: &Path) -> io::Result<()> {
    fs::create_dir_all(folder)
}

/// Removes access for others from a session file before the client uses it.
#[cfg(unix)]
fn close_to_others(file: &Path) -> io::Result<()> {
    use std::os::unix::fs::PermissionsExt as _;
    match fs::metadata(file) {
        Ok(meta) if meta.permissions().mode() & 0o077 != 0 => {
            fs::set_permissions(file, fs::Permissions::from_mode(0o600))
        }
        Ok(_) => Ok(()),
        Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(()),
        Err(error) => Err(error),
    }
}
#[cfg(not(unix))]
fn close_to_others(_file: &Path) -> io::Result<()> {
    Ok(())
}
