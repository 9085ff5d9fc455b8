//! `scionary connect` and `scionary status`.

use scionary_proto::v1;

use crate::{
    args::Connection,
    client::{Client, check_server},
    error::Failure,
    output::Output,
    settings::Settings,
    words,
};

pub(super) async fn connect(connection: &Connection, address: &str, output: &Output) -> Result<(), Failure> {
    let server = check_server(address)?.as_str().trim_end_matches('/').to_string();
    let ca = connection
        .ca
        .as_ref()
        .map(|file| std::path::absolute(file).map_err(|e| Failure::usage(format!("{}: {e}", file.display()))))
        .transpose()?;
    let asked = Connection { server: Some(server.clone()), ca: ca.clone(), ..connection.clone() };
    let client = Client::open(&asked, output)?;
    // Ask the server before saving it: a mistyped address is not saved.
    let reply = about(&client).await?;
    client.folder.save_settings(&Settings { server: Some(server), ca, plaintext: connection.plaintext })?;
    show(&client, &reply, output)
}

pub(super) async fn status(client: &Client, output: &Output) -> Result<(), Failure> {
    let reply = about(client).await?;
    show(client, &reply, output)
}

async fn about(client: &Client) -> Result<v1::GetServerResponse, Failure> {
    client.call(v1::GetServerRequest {}).await
}

fn show(client: &Client, reply: &v1::GetServerResponse, output: &Output) -> Result<(), Failure> {
    let who = client.folder.session()?.filter(|s| s.server == client.server).map(|s| s.handle);
    output.reply(reply, |view| {
        view.title(&reply.name);
        view.fact("server", format!("{} (version {})", client.server, reply.version));
        view.fact(
            "on file",
            format!(
                "{} cultivars, {} pieces of evidence; crops: {}",
                reply.cultivar_count,
                reply.evidence_count,
                match reply.crops.len() {
                    0 => "none yet".to_string(),
                    1..=5 => reply.crops.join(", "),
                    n => format!("{n}, with scionary crop list"),
                }
            ),
        );
        let how = words::plain(reply.sign_up().as_str_name(), "SIGN_UP_MODE_");
        view.fact(
            "sign-up",
            match how.as_str() {
                "open" => "open to everyone",
                "invitation" => "with an invitation from a member",
                _ => "closed",
            },
        );
        match who {
            Some(handle) => view.fact("signed in as", &handle),
            None => view.fact("session", "not signed in; sign in with: scionary account sign-in HANDLE"),
        }
    })
}
