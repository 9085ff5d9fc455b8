//! `scionaryd day FILE`: runs one swap day from a file that was taken along, with no connection and no database but the
//! file. The file is the truth: its rows fill a database in memory's stead, a temporary one, its steps are run again, and
//! each new step is added to it before it is answered. A computer that dies takes nothing with it but the step under way.

use std::{
    fs::{File, OpenOptions, TryLockError},
    io::{IsTerminal as _, Write as _},
    path::{Path, PathBuf},
    sync::{Arc, Mutex, PoisonError},
};

use anyhow::{Context as _, Result, anyhow, bail};
use bytes::Bytes;
use scionary_app::{
    App, Call, Error,
    day::{DayCall, DayFile, Journal, Shed, Step},
    passwords::Passwords,
    ports::SystemEntropy,
};
use scionary_domain::{
    account::Actor,
    ids::{RequestId, SessionId},
};
use scionary_proto::Rpc;
use tempfile::TempDir;

use crate::{
    call::Admitted,
    clock::SystemClock,
    config::Config,
    dispatch,
    say::say,
    serve::{self, OpenFor, Running},
    site::Site,
};

/// Adds steps to the file.
struct Appended {
    file: Mutex<File>,
}

impl Journal for Appended {
    fn append(&self, step: &Step) -> Result<(), String> {
        let mut line = serde_json::to_string(step).map_err(|e| e.to_string())?;
        line.push('\n');
        let mut file = self.file.lock().unwrap_or_else(PoisonError::into_inner);
        let before = file.metadata().map_err(|e| e.to_string())?.len();
        let written = file.write_all(line.as_bytes()).and_then(|()| file.sync_data());
        if let Err(error) = written {
            // half a line would swallow the next one
            file.set_len(before)
                .map_err(|e| format!("{error}; and what was written of it stays there: {e}"))?;
            return Err(error.to_string());
        }
        Ok(())
    }
}

/// The word: of a file, or asked for.
fn word(file: Option<&Path>) -> Result<String> {
    let text = match file {
        Some(path) => {
            std::fs::read_to_string(path).with_context(|| format!("{} cannot be read", path.display()))?
        }
        None if std::io::stdin().is_terminal() => rpassword::prompt_password("The word of this file: ")?,
        None => {
            let mut line = String::new();
            std::io::stdin().read_line(&mut line)?;
            line
        }
    };
    let word = text.trim();
    if word.is_empty() {
        bail!("the word that was chosen for the file is needed; it is asked for, or read from --word-file");
    }
    Ok(word.to_string())
}

/// Opens the file for adding to it, by this process alone.
fn alone(path: &Path) -> Result<File> {
    let file = OpenOptions::new()
        .read(true)
        .append(true)
        .open(path)
        .with_context(|| format!("{} cannot be written to", path.display()))?;
    match file.try_lock() {
        Ok(()) => Ok(file),
        Err(TryLockError::WouldBlock) => {
            bail!("{} is in use: a swap day runs from it already", path.display())
        }
        Err(TryLockError::Error(error)) => {
            Err(error).with_context(|| format!("{} cannot be locked", path.display()))
        }
    }
}

/// A step as the call that it was.
async fn as_made(app: &App, step: &Step) -> Result<Call, Error> {
    let account = scionary_store::account_store::account(app.store().reader(), step.by).await?;
    let account = account.ok_or_else(|| Error::not_found("account", step.by))?;
    let session = SessionId::from_uuid(step.id);
    let actor = Actor::Member { account, session, session_expires_at: step.at };
    let mut call = Call::system(step.at, RequestId::from_uuid(step.id));
    call.entered_by = step.on_behalf.map(|_| step.by);
    (call.actor, call.helped_in) = match step.on_behalf {
        None => (actor, Vec::new()),
        Some(member) => app.on_behalf(&actor, member).await?,
    };
    call.day = Some(Arc::new(DayCall { step: step.clone(), home: None }));
    Ok(call)
}

/// Runs the steps of a file again. Those that do not run are told, with why.
async fn run_again(site: &Site, steps: &[Step]) -> Result<Vec<String>> {
    let mut told = Vec::new();
    for (number, step) in steps.iter().enumerate() {
        let ran = async {
            let rpc = Rpc::from_path(&step.rpc).ok_or(Error::Rule(scionary_app::Rule::NoDayStep))?;
            let call = as_made(&site.app, step).await?;
            let admitted = Admitted::new(rpc, call, None, "shed", site.app.store().condition());
            dispatch::again(site, &admitted, Bytes::from(step.request.clone())).await
        };
        if let Err(failure) = ran.await {
            let status =
                crate::status::failure(failure, RequestId::from_uuid(step.id), site.app.store().condition());
            told.push(format!("step {} ({}): {}", number + 1, step.rpc, status.message()));
        }
    }
    Ok(told)
}

/// A swap day that runs.
pub struct Opened {
    /// The server.
    pub running: Running,
    /// The file, as it was when it was opened.
    pub file: DayFile,
    /// Handles of the organisers, who sign in with the file's word.
    pub organisers: Vec<String>,
    /// Its last line was cut off while it was written, and is gone.
    pub cut: bool,
    /// Steps that did not run again, with why.
    pub troubles: Vec<String>,
    // the database is deleted with it
    _folder: TempDir,
}

/// Opens a file and serves its day.
///
/// # Errors
/// The file is none, was changed, is in use or is of another version; it is another word; the port stands in the way.
pub async fn open(path: &Path, word: &str, config: Config) -> Result<Opened> {
    let shown = path.display();
    let journal = alone(path)?;
    let text = std::fs::read_to_string(path).with_context(|| format!("{shown} cannot be read"))?;
    let file = DayFile::read(&text).map_err(|why| anyhow!("{shown}: {why}"))?;
    let own = scionary_migrations::newest();
    if file.header.schema != own {
        bail!(
            "{shown} was written by another version of scionaryd (its rows are of {}, ours of {own}); run the day with the version that the server has",
            file.header.schema
        );
    }
    let folder = tempfile::Builder::new().prefix("scionary-day-").tempdir()?;
    let config = Config {
        name: format!("{}, away from the server", file.header.title),
        database: format!("sqlite:{}", folder.path().join("day.db").display()),
        reference_catalogue: false,
        catalogue_folders: Vec::new(),
        mail: None,
        ..config
    };
    let store = serve::open_store(&config, OpenFor::Serving).await?;
    let entropy = Arc::new(SystemEntropy);
    let passwords = Passwords::new(config.password_slots, entropy.clone())?;
    let shed = Shed::fill(&store, &passwords, &file, word).await.map_err(|why| anyhow!("{shown}: {why}"))?;
    let app = App::new(store, config.policy.clone(), Arc::new(SystemClock), entropy, passwords).await?;
    app.set_movement_sources(shed.movement).await.context("the rules on moving plants")?;
    let site = serve::site(&config, &app, true);
    let troubles = run_again(&site, &file.steps).await?;
    let whole = u64::try_from(file.whole)?;
    let cut = whole < journal.metadata()?.len();
    if cut {
        journal.set_len(whole)?;
    }
    app.set_journal(Arc::new(Appended { file: Mutex::new(journal) }));
    let running = serve::serve(&config, site).await?;
    Ok(Opened { running, file, organisers: shed.organisers, cut, troubles, _folder: folder })
}

/// Runs the day of a file until Ctrl-C.
///
/// # Errors
/// Those of [`open`]; no word.
pub async fn run(path: &Path, word_file: Option<PathBuf>, config: Config) -> Result<()> {
    let shown = path.display();
    let Opened { running, file, organisers, cut, troubles, _folder } =
        open(path, &word(word_file.as_deref())?, config).await?;
    let (header, address) = (&file.header, running.address());
    say!("{}, of {}: the day is {}", header.title, header.club, header.day);
    say!(
        "Taken along by {} on {}. Steps in the file: {}",
        header.taken_by,
        header.taken_at.date(),
        file.steps.len()
    );
    if cut {
        say!("The last line of the file was cut off while it was written; that step is not in it.");
    }
    for trouble in &troubles {
        say!("  did not run again: {trouble}");
    }
    say!();
    say!("This computer runs the day until Ctrl-C. In another terminal:");
    say!("  scionary connect http://{address}");
    say!("  scionary account sign-in {}      (password: the word of this file)", organisers.join(" or "));
    say!("  scionary round show \"{}\"", header.title);
    say!();
    say!("Each step is added to {shown} before it is answered. When you are back:");
    say!("  scionary connect ADDRESS-OF-YOUR-SERVER");
    say!("  scionary account sign-in YOUR-HANDLE      (your own password)");
    say!("  scionary round bring-home {shown}");
    serve::asked_to_stop().await;
    running.stop().await
}
