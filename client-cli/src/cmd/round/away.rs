//! A swap day without a connection: the file that is taken along, and the steps that it brings home.

use std::path::{Path, PathBuf};

use scionary_proto::v1;

use super::fetch;
use crate::{args::RoundCommand, client::Client, cmd::save, error::Failure, output::Output, prompt};

/// Steps sent in one call; the server takes no more.
const STEPS: usize = 200;
/// Lines before the first step: what the file is, its rows, its contacts, its signature.
const HEAD: usize = 4;

pub(super) async fn run(client: &Client, output: &Output, command: RoundCommand) -> Result<(), Failure> {
    #[expect(clippy::wildcard_enum_match_arm, reason = "the others are sorted out by the caller")]
    match command {
        RoundCommand::TakeAlong { round, out } => take_along(client, output, round, out).await,
        RoundCommand::BringHome { file } => bring_home(client, output, &file).await,
        other => Err(Failure::bug(format!("{other:?} is not for here"))),
    }
}

/// A name for the file: the words of the title.
fn file_name(title: &str) -> PathBuf {
    let plain: String =
        title.chars().map(|c| if c.is_alphanumeric() { c.to_ascii_lowercase() } else { ' ' }).collect();
    let words: Vec<&str> = plain.split_whitespace().collect();
    PathBuf::from(format!("{}.day", if words.is_empty() { "swap".to_string() } else { words.join("-") }))
}

async fn take_along(
    client: &Client,
    output: &Output,
    round: String,
    out: Option<PathBuf>,
) -> Result<(), Failure> {
    let title = fetch(client, round.clone()).await?.says.unwrap_or_default().title;
    let path = out.unwrap_or_else(|| file_name(&title));
    if path.exists() {
        return Err(Failure::usage(format!(
            "{} is there already, and may hold the steps of a day",
            path.display()
        ))
        .then(format!(
            "bring it home first: scionary round bring-home {}; or choose another name with --out",
            path.display()
        )));
    }
    let word = prompt::new_password("A word that opens the file, of 8 characters or more")?;
    let stream = client.replies(v1::TakeRoundAlongRequest { round_id: round, word }).await?;
    let bytes = save(client, stream, &path, |reply| reply.chunk).await?;
    let shown = path.display();
    output.aside(&format!(
        "{bytes} bytes are in {shown}: all that the day needs. Keep the word; without it the file is of no use. On the computer in the shed: scionaryd day {shown}. Until it is home, note nothing of this day here."
    ));
    Ok(())
}

async fn bring_home(client: &Client, output: &Output, path: &Path) -> Result<(), Failure> {
    let text = std::fs::read_to_string(path)
        .map_err(|e| Failure::usage(format!("{} cannot be read: {e}", path.display())))?;
    // a line without its end was cut off while it was written
    let whole = text.rfind('\n').map_or("", |end| text.get(..end).unwrap_or_default());
    let lines: Vec<&str> = whole.lines().collect();
    let (Some(header), Some(signature)) = (lines.first(), lines.get(HEAD - 1)) else {
        return Err(Failure::usage(format!("{} is no file of a swap day", path.display())));
    };
    let steps = lines.get(HEAD..).unwrap_or_default();
    let mut all = v1::BringRoundHomeResponse::default();
    // also without a step, so that the file is looked at
    let parts: Vec<&[&str]> = if steps.is_empty() { vec![&[]] } else { steps.chunks(STEPS).collect() };
    let many = parts.len() > 1;
    for (at, part) in parts.into_iter().enumerate() {
        let request = v1::BringRoundHomeRequest {
            header: (*header).to_string(),
            signature: (*signature).to_string(),
            steps: part.iter().map(|line| (*line).to_string()).collect(),
        };
        let reply: v1::BringRoundHomeResponse = client.call(request).await?;
        if at == 0 {
            all.known = reply.known;
        }
        all.steps.extend(reply.steps);
        if many {
            output.aside(&format!("{} of {} steps sent", all.steps.len(), steps.len()));
        }
    }
    let refused = all.steps.iter().any(|s| s.outcome() == v1::StepOutcome::Refused);
    output.reply(&all, |view| {
        scionary_show::round::day::brought_home(view, &all.steps, all.known);
    })?;
    if refused {
        output.aside(&format!(
            "What was refused can be sent again, once what stands in its way is gone: scionary round bring-home {}",
            path.display()
        ));
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn files_are_named_after_rounds() {
        assert_eq!(file_name("Larkwater: spring swap (2)"), PathBuf::from("larkwater-spring-swap-2.day"));
        assert_eq!(file_name("…"), PathBuf::from("swap.day"));
    }
}
