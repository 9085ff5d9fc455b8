//! `scionary odds`: how many seeds to sow, how many seedlings to keep.

use scionary_proto::v1;
use scionary_show::odds as show;

use crate::{
    args::{OddsArguments, TypedShare},
    client::Client,
    error::Failure,
    output::Output,
    words,
};

pub(super) async fn odds(client: &Client, output: &Output, typed: OddsArguments) -> Result<(), Failure> {
    let OddsArguments {
        name,
        crop,
        plants: wanted,
        sure,
        batch,
        kept_days,
        kept_how,
        off_type,
        germination,
        sources,
        markers,
    } = typed;
    if name.is_empty() && off_type.is_none() {
        return Err(Failure::usage("a cultivar's name, or --off-type with your own numbers, expected")
            .then("for example: scionary odds --off-type 5/48 --plants 3"));
    }
    let rate = |share: Option<TypedShare>| match share {
        Some(TypedShare::Rate(rate)) => (Some(rate), None),
        Some(TypedShare::Counted(count)) => (None, Some(count)),
        None => (None, None),
    };
    let ((off_type, off_type_counted), (germination, germination_counted)) =
        (rate(off_type), rate(germination));
    let request = v1::EstimateSeedOddsRequest {
        cultivar: name.join(" "),
        crop: words::crop(crop),
        wanted,
        confidence: sure,
        batch,
        kept_days,
        kept_how,
        markers,
        off_type,
        off_type_counted,
        germination,
        germination_counted,
    };
    let reply: v1::EstimateSeedOddsResponse = client.call(request).await?;
    output.reply(&reply, |view| show::show(view, &reply, sources))
}
