//! The commands, one file for each noun.

mod account;
mod alert;
mod claim;
mod club;
mod connect;
mod crop;
mod cultivar;
mod curation;
mod dated;
mod descent;
mod evidence;
mod export;
mod grafts;
mod import;
mod inbox;
mod lookup;
mod lot;
mod me;
mod missing;
mod movement;
mod observed;
mod odds;
mod offer;
mod round;
mod routes;
mod season;
mod start;
mod waiting;
mod want;

use clap::CommandFactory as _;

use scionary_proto::client::Messages;

use crate::{
    args::{Arguments, Command},
    client::Client,
    error::Failure,
    output::Output,
};

/// Rows of the largest page that a server gives.
const PAGE_MAX: i32 = 100;

/// Runs a command, and prints what it shows.
pub(crate) async fn run(arguments: Arguments, output: &Output) -> Result<(), Failure> {
    let Arguments { json: _, imperial: _, connection, command } = arguments;
    match command {
        None => {
            let client = Client::open(&connection, output)?;
            let done = start::start(&client, output).await;
            output.flush(Some(&client)).await;
            done
        }
        Some(Command::Completions { shell }) => {
            let mut script = Vec::new();
            clap_complete::generate(shell, &mut Arguments::command(), "scionary", &mut script);
            // A closed pipe is not an error.
            let _ = std::io::Write::write_all(&mut std::io::stdout(), &script);
            Ok(())
        }
        Some(Command::Manual { folder }) => {
            let failed = |e: std::io::Error| Failure::usage(format!("{}: {e}", folder.display()));
            std::fs::create_dir_all(&folder).map_err(failed)?;
            clap_mangen::generate_to(Arguments::command(), &folder).map_err(failed)?;
            output.aside(&format!("The manual pages are in {}.", folder.display()));
            Ok(())
        }
        Some(Command::Connect { address }) => {
            let done = connect::connect(&connection, &address, output).await;
            output.flush(None).await;
            done
        }
        Some(command) => {
            let mut client = Client::open(&connection, output)?;
            client.act_for(connection.on_behalf_of.as_deref()).await?;
            let done = with_client(&mut client, output, command).await;
            output.flush(Some(&client)).await;
            done
        }
    }
}

/// Returns whether what a command shows depends on the reader's units.
fn shows_measures(command: &Command) -> bool {
    matches!(
        command,
        Command::Lookup { .. }
            | Command::Odds(_)
            | Command::Routes(_)
            | Command::Season(_)
            | Command::Plan(_)
            | Command::Cultivar(_)
            | Command::Crop(_)
            | Command::Evidence(_)
    )
}

async fn with_client(client: &mut Client, output: &Output, command: Command) -> Result<(), Failure> {
    if shows_measures(&command) && !output.is_json() {
        output.prefer(client.profile().await?.imperial);
    }
    match command {
        Command::Completions { .. } | Command::Manual { .. } | Command::Connect { .. } => {
            Err(Failure::bug("this command needs no server"))
        }
        Command::Waiting => waiting::waiting(client, output).await,
        Command::Status => connect::status(client, output).await,
        Command::Lookup { name, crop, more, evidence } => {
            lookup::lookup(client, output, &name.join(" "), crop, (more, evidence)).await
        }
        Command::Me(arguments) => me::me(client, output, arguments).await,
        Command::Odds(arguments) => odds::odds(client, output, arguments).await,
        Command::Routes(arguments) => routes::routes(client, output, arguments).await,
        Command::Season(arguments) => season::season(client, output, arguments).await,
        Command::Partners(arguments) => missing::partners(client, output, arguments).await,
        Command::CountNext(arguments) => missing::count_next(client, output, arguments).await,
        Command::Kept(arguments) => missing::kept(client, output, arguments).await,
        Command::Plan(command) => dated::run(client, output, command).await,
        Command::Graft(command) => grafts::run(client, output, command).await,
        Command::Movement(command) => movement::run(client, output, command).await,
        Command::Cultivar(command) => cultivar::run(client, output, command).await,
        Command::Crop(command) => crop::run(client, output, command).await,
        Command::Offer(command) => offer::run(client, output, command).await,
        Command::Claim(command) => claim::run(client, output, command).await,
        Command::Want(command) => want::run(client, output, command).await,
        Command::Club(command) => club::run(client, output, command).await,
        Command::Round(command) => round::run(client, output, *command).await,
        Command::Lot(command) => lot::run(client, output, command).await,
        Command::Alert(command) => alert::run(client, output, command).await,
        Command::Inbox(command) => inbox::run(client, output, command).await,
        Command::Evidence(command) => evidence::run(client, output, command).await,
        Command::Sowing(command) => evidence::sowing(client, output, command).await,
        Command::Propose(command) => curation::propose(client, output, *command).await,
        Command::Proposal(command) => curation::proposal(client, output, command).await,
        Command::Report(command) => curation::report(client, output, command).await,
        Command::Export(arguments) => export::export(client, output, arguments).await,
        Command::Account(command) => account::run(client, output, command).await,
    }
}

/// Writes a stream to a file and returns the bytes written. The file appears whole or not at all.
async fn save<R: prost::Message + Default>(
    client: &Client,
    mut stream: Messages<R>,
    path: &std::path::Path,
    chunk: impl Fn(R) -> Vec<u8>,
) -> Result<usize, Failure> {
    let failed = |e: std::io::Error| Failure::usage(format!("{}: {e}", path.display()));
    let folder = path.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(std::path::Path::new("."));
    let mut file = tempfile::NamedTempFile::new_in(folder).map_err(failed)?;
    let mut bytes = 0;
    while let Some(reply) = client.next(&mut stream).await? {
        let chunk = chunk(reply);
        bytes += chunk.len();
        std::io::Write::write_all(&mut file, &chunk).map_err(failed)?;
    }
    file.persist(path).map_err(|e| failed(e.error))?;
    Ok(bytes)
}

/// Returns the mask of an update: the names of the typed fields.
///
/// # Errors
/// Returns a usage [`Failure`] when nothing was typed.
fn mask<const N: usize>(named: [(bool, &str); N]) -> Result<prost_types::FieldMask, Failure> {
    let paths: Vec<String> =
        named.into_iter().filter(|(typed, _)| *typed).map(|(_, name)| name.to_string()).collect();
    if paths.is_empty() {
        return Err(Failure::usage("say what to change; the same with --help lists what can"));
    }
    Ok(prost_types::FieldMask { paths })
}
