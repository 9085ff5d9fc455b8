//! `scionary routes`: the ways to a tree, next to each other.

use scionary_proto::v1;
use scionary_show::routes as show;

use crate::{args::RoutesArguments, client::Client, error::Failure, output::Output, words};

pub(super) async fn routes(client: &Client, output: &Output, typed: RoutesArguments) -> Result<(), Failure> {
    let RoutesArguments { name, crop, height, width, have_tree, have_scion, have_rootstock, more, sources } =
        typed;
    let request = v1::CompareRoutesRequest {
        cultivar: name.join(" "),
        crop: words::crop(crop),
        yard_height_m: height,
        yard_width_m: width,
        has_tree: have_tree,
        has_scion: have_scion,
        has_rootstock: have_rootstock,
    };
    let reply: v1::CompareRoutesResponse = client.call(request).await?;
    output.reply(&reply, |view| show::show(view, &reply, (more, sources)))
}
