//! `scionaryd demo`: a server on invented data in a temporary folder, and a tour through the main job over
//! a real socket, printed for a person.

mod caller;
mod paper;
mod scene;
mod swap;
mod tour;

use anyhow::Result;
use scionary_domain::account::SignUpMode;

use crate::{config::Config, data, say, serve};

/// Runs the demo. It keeps serving until Ctrl-C unless `once`.
///
/// # Errors
/// When the server cannot be started or a step of the tour fails.
pub async fn run(once: bool, config: Config) -> Result<()> {
    let folder = tempfile::Builder::new().prefix("scionary-demo-").tempdir()?;
    let file = folder.path().join("demo.db");
    let mut config = Config {
        name: "Larkwater Fruit Growers (demo)".into(),
        database: format!("sqlite:{}", file.display()),
        tls: None,
        ..config
    };
    config.policy.sign_up = SignUpMode::Open;
    // the demo's address is its own: a server on the usual port is left alone
    config.address = ([127, 0, 0, 1], 0).into();
    let paper = paper::Paper::new();
    paper.title("Scionary, on invented data");
    paper.text(&format!(
        "An embedded database in {}, loaded with the cited reference catalogue and an invented club: people, places and cultivars of this tour do not exist.",
        folder.path().display()
    ));
    let running = serve::start(&config).await?;
    serve::load_catalogue(running.app(), &data::demo()).await?;
    let round = scene::furnish(running.app()).await?;
    let address = running.address();
    tour::walk(address, &paper, round).await?;
    if once || say::gone() {
        running.stop().await?;
        return Ok(());
    }
    paper.title("Go on by hand");
    paper.text("The demo keeps serving until Ctrl-C. In another terminal:");
    for line in [
        "cargo build --release -p scionary-cli".to_string(),
        "alias scionary=target/release/scionary".to_string(),
        format!("scionary connect http://{address}"),
        "scionary lookup \"lantan moth\"".to_string(),
        "scionary plan draft lantern moth --way seed".to_string(),
        format!("scionary account sign-in {}      (password: {})", scene::GROWER, scene::PASSWORD),
        format!("scionary round mine {round}"),
        format!("scionary round lots {round}"),
        "scionary offer list".to_string(),
        "scionary offer search --near 2CGV2200+ --within 50".to_string(),
    ] {
        paper.command(&line);
    }
    serve::asked_to_stop().await;
    running.stop().await
}
