//! `scionary count-next`, `scionary kept` and `scionary partners`: what is missing.

use scionary_proto::v1;
use scionary_show::missing as show;

use crate::{
    args::{CountArguments, KeptArguments, PartnersArguments},
    client::Client,
    error::Failure,
    output::Output,
    words,
};

pub(super) async fn count_next(
    client: &Client,
    output: &Output,
    typed: CountArguments,
) -> Result<(), Failure> {
    let CountArguments { name, crop, mine, club, limit } = typed;
    let request = v1::SuggestCountsRequest {
        cultivar: name.join(" "),
        crop: words::crop(crop),
        mine,
        club_id: club.unwrap_or_default(),
        page_size: limit,
    };
    let whose = match (request.mine, request.club_id.is_empty()) {
        (true, _) => show::Whose::Mine,
        (false, false) => show::Whose::Club,
        (false, true) => show::Whose::All,
    };
    let one = !request.cultivar.is_empty();
    let reply: v1::SuggestCountsResponse = client.call(request).await?;
    output.reply(&reply, |view| show::suggest_counts(view, &reply, whose, one))
}

pub(super) async fn kept(client: &Client, output: &Output, typed: KeptArguments) -> Result<(), Failure> {
    let KeptArguments { name, crop, club, limit } = typed;
    let request = v1::ListKeptRequest {
        cultivar: name.join(" "),
        crop: words::crop(crop),
        club_id: club.unwrap_or_default(),
        page_size: limit,
    };
    let one = !request.cultivar.is_empty();
    let reply: v1::ListKeptResponse = client.call(request).await?;
    output.reply(&reply, |view| show::list_kept(view, &reply, one))
}

pub(super) async fn partners(
    client: &Client,
    output: &Output,
    typed: PartnersArguments,
) -> Result<(), Failure> {
    let PartnersArguments { name, crop, club, limit } = typed;
    let request = v1::ListPartnersRequest {
        cultivar: name.join(" "),
        crop: words::crop(crop),
        club_id: club.unwrap_or_default(),
        page_size: limit,
    };
    let reply: v1::ListPartnersResponse = client.call(request).await?;
    output.reply(&reply, |view| show::list_partners(view, &reply))
}
