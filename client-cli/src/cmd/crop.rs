//! `scionary crop`.

use scionary_proto::v1;
use scionary_show::crop as show;

use crate::{args::CropCommand, client::Client, error::Failure, output::Output};

pub(super) async fn run(client: &Client, output: &Output, command: CropCommand) -> Result<(), Failure> {
    match command {
        CropCommand::List => {
            let reply: v1::ListCropsResponse = client.call(v1::ListCropsRequest {}).await?;
            output.reply(&reply, |view| show::list_crops(view, &reply))
        }
        CropCommand::Show { crop, more } => {
            let request = v1::GetCropRequest { crop: scionary_show::words::crop(Some(crop)) };
            let reply: v1::GetCropResponse = client.call(request).await?;
            output.reply(&reply, |view| show::show(view, &reply, more))
        }
    }
}
