//! `scionaryd`: serve, demo, day, migrate, doctor, config, steward-code, import, crop, weigh.

use std::{path::PathBuf, process::ExitCode};

use crate::{
    config::{self, Config, Sources},
    crop_check, day, demo, doctor, logging,
    say::say,
    serve::{self, OpenFor},
};
use clap::{Args, Parser, Subcommand};

/// Reads a command line without running it, so that guides can be compared with the program.
///
/// # Errors
/// What is wrong with it.
pub fn read(words: &[String]) -> Result<(), String> {
    Arguments::try_parse_from(words).map(|_| ()).map_err(|e| e.to_string())
}

/// The Scionary server: a cultivar registry and an exchange for fruit growers' clubs.
#[derive(Parser)]
#[command(name = "scionaryd", version, arg_required_else_help = true)]
struct Arguments {
    #[command(flatten)]
    settings: SettingsArguments,
    #[command(subcommand)]
    command: Command,
}

#[derive(Args)]
struct SettingsArguments {
    /// The file of settings
    #[arg(long, global = true, env = "SCIONARYD_CONFIG", value_name = "FILE")]
    config: Option<PathBuf>,
    /// One setting, such as limits.deadline_seconds=10; may be given several times
    #[arg(long, global = true, value_name = "NAME=VALUE")]
    set: Vec<String>,
    /// Address and port to listen on (listen.address)
    #[arg(long, global = true, value_name = "ADDRESS")]
    listen: Option<String>,
    /// The database (storage.database): sqlite:FILE or postgres://user@host/name
    #[arg(long, global = true, value_name = "URL")]
    database: Option<String>,
}

#[derive(Subcommand)]
enum Command {
    /// Serve until Ctrl-C
    Serve,
    /// Show what Scionary does, on invented data in a temporary folder
    Demo {
        /// End after the tour
        #[arg(long)]
        once: bool,
    },
    /// Run one swap day from a file that was taken along, without a connection
    Day {
        /// The file (scionary round take-along)
        file: PathBuf,
        /// Read the file's word from here, instead of asking for it
        #[arg(long, value_name = "FILE")]
        word_file: Option<PathBuf>,
    },
    /// Bring the database's schema up to date
    Migrate,
    /// Look at everything a start needs, and say what is wrong
    Doctor,
    /// Look at the settings
    #[command(subcommand)]
    Config(ConfigCommand),
    /// Make a one-time code with which the first steward signs up
    StewardCode,
    /// Take in another registry's export (scionary export registry), all of it or nothing
    Import {
        /// The file
        file: PathBuf,
    },
    /// Look at a crop profile
    #[command(subcommand)]
    Crop(CropCommand),
    /// Make the growers' weight table now, instead of tonight
    Weigh,
}

#[derive(Subcommand)]
enum ConfigCommand {
    /// Check all settings and say every mistake with its line
    Check,
    /// Print a sample file with every setting at its default
    Sample,
}

#[derive(Subcommand)]
enum CropCommand {
    /// Check a profile and say every mistake; no server or database is needed
    Check {
        /// The TOML file
        file: PathBuf,
        /// A `sources.csv` with the sources that it names; the one in the folder above it is found by itself
        #[arg(long, value_name = "FILE")]
        sources: Option<PathBuf>,
    },
}

impl SettingsArguments {
    fn sources(self) -> Sources {
        let Self { config, set, listen, database } = self;
        let flags = [("listen.address", listen), ("storage.database", database)];
        let set = set
            .into_iter()
            .chain(flags.into_iter().filter_map(|(k, v)| Some(format!("{k}={}", v?))))
            .collect();
        Sources { file: config, environment: std::env::vars().collect(), set }
    }
}

/// Parses the command line, runs it, and says how it ended. It is here, and not in the program itself, so that what it
/// awaits is compiled once.
pub fn main() -> ExitCode {
    let Arguments { settings, command } = Arguments::parse();
    if let Command::Config(ConfigCommand::Sample) = command {
        say!("{}", config::sample().trim_end());
        return ExitCode::SUCCESS;
    }
    if let Command::Crop(CropCommand::Check { file, sources }) = command {
        return crop_check::run(&file, sources.as_deref());
    }
    let config = match config::load(&settings.sources()) {
        Ok(config) => config,
        Err(error) => {
            eprintln!("{error}");
            return ExitCode::from(2);
        }
    };
    if let Command::Config(ConfigCommand::Check) = command {
        say!("the settings are fine: listen on {}, {}", config.address, backend_of(&config.database));
        return ExitCode::SUCCESS;
    }
    // all but serving prints for a person; logs would stand between the lines
    let filter = match command {
        Command::Serve => config.log_filter.as_str(),
        Command::Demo { .. } | Command::Day { .. } => "error",
        Command::Migrate
        | Command::Crop(_)
        | Command::Doctor
        | Command::Config(_)
        | Command::StewardCode
        | Command::Import { .. }
        | Command::Weigh => "warn",
    };
    if let Err(error) = logging::start(config.log_format, filter) {
        eprintln!("{error}");
        return ExitCode::from(2);
    }
    let runtime = match tokio::runtime::Runtime::new() {
        Ok(runtime) => runtime,
        Err(error) => {
            eprintln!("the runtime could not be started: {error}");
            return ExitCode::from(70);
        }
    };
    match runtime.block_on(run(command, config)) {
        Ok(code) => code,
        Err(error) => {
            eprintln!("scionaryd: {error:#}");
            ExitCode::FAILURE
        }
    }
}

/// Which database, without the URL: it may hold a password.
fn backend_of(url: &str) -> &'static str {
    if url.starts_with("sqlite:") { "SQLite" } else { "PostgreSQL" }
}

async fn run(command: Command, config: Config) -> anyhow::Result<ExitCode> {
    match command {
        Command::Serve => {
            let running = serve::start(&config).await?;
            serve::asked_to_stop().await;
            running.stop().await?;
        }
        Command::Demo { once } => demo::run(once, config).await?,
        Command::Day { file, word_file } => day::run(&file, word_file, config).await?,
        Command::Migrate => {
            let open = Config { migrate_on_start: true, ..config };
            serve::open_store(&open, OpenFor::Migrating).await?.close().await;
            say!("the schema is up to date");
        }
        Command::Doctor => {
            let mut fine = true;
            for look in doctor::examine(&config).await {
                match look.result {
                    Ok(found) => say!("fine   {:<10} {found}", look.what),
                    Err(wrong) => {
                        fine = false;
                        say!("WRONG  {:<10} {wrong}", look.what);
                    }
                }
            }
            if !fine {
                return Ok(ExitCode::FAILURE);
            }
        }
        Command::StewardCode => {
            let store = serve::open_store(&config, OpenFor::Use).await?;
            let app = serve::open_app(&config, store).await?;
            let code = app.first_steward_code().await?;
            app.store().clone().close().await;
            say!("{code}");
            eprintln!("Good for one day and one account: scionary account sign-up YOUR-HANDLE --code {code}");
        }
        Command::Import { file } => {
            let input = std::fs::File::open(&file)
                .map_err(|e| anyhow::anyhow!("{} cannot be read: {e}", file.display()))?;
            let store = serve::open_store(&config, OpenFor::Use).await?;
            let app = serve::open_app(&config, store).await?;
            let done = app.import_registry(std::io::BufReader::new(input)).await;
            app.store().clone().close().await;
            let done = done.map_err(|e| anyhow::anyhow!("{}: {e}", file.display()))?;
            say!(
                "taken in: {} crops, {} sources, {} records, {} pieces of evidence",
                done.crops,
                done.sources,
                done.records,
                done.evidence
            );
            if done.joined > 0 {
                say!(
                    "{} records were here under the same name: their evidence is counted with ours",
                    done.joined
                );
            }
            if done.left_out > 0 {
                say!(
                    "{} pieces were left out: they are in the name of accounts of this server, or of records that could not be taken in",
                    done.left_out
                );
            }
            if done.kept_ours > 0 {
                say!("{} sources have other words here: ours stand", done.kept_ours);
            }
        }
        Command::Weigh => {
            let store = serve::open_store(&config, OpenFor::Use).await?;
            let app = serve::open_app(&config, store).await?;
            let changed = app.weigh_growers(false).await;
            app.store().clone().close().await;
            say!("{}", if changed? { "a new weight table was made" } else { "the weights are as they were" });
        }
        Command::Config(ConfigCommand::Check | ConfigCommand::Sample)
        | Command::Crop(CropCommand::Check { .. }) => {}
    }
    Ok(ExitCode::SUCCESS)
}
