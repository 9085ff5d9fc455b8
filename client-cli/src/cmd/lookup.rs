//! `scionary lookup`: whether a cultivar's seed comes true.

use scionary_proto::v1;
use scionary_show::lookup as show;

use crate::{client::Client, error::Failure, output::Output, words};

pub(super) async fn lookup(
    client: &Client,
    output: &Output,
    name: &str,
    crop: Option<String>,
    evidence: bool,
) -> Result<(), Failure> {
    let request = v1::LookUpSeedRequest { name: name.to_string(), crop: words::crop(crop) };
    let reply: v1::LookUpSeedResponse = client.call(request).await?;
    output.reply(&reply, |view| show::look_up_seed(view, &reply, name, evidence))?;
    if reply.report.is_none() {
        let failure = if reply.others.is_empty() {
            Failure::not_found(format!("nothing is on file as “{name}”")).then(reply.nothing_found_hint)
        } else {
            Failure::not_found(format!("no single cultivar is meant by “{name}”"))
                .then("look it up again as it is written there; if two crops share the name, add --crop")
        };
        return Err(failure);
    }
    Ok(())
}
