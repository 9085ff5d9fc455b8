//! `scionary offer`.

use scionary_proto::v1;
use scionary_show::offer as show;

use crate::{
    args::{DraftArguments, OfferCommand, SearchArguments},
    client::Client,
    draft::{apply, complete, remember},
    error::Failure,
    home, names,
    output::Output,
    prompt, words,
};

pub(super) async fn run(client: &Client, output: &Output, command: OfferCommand) -> Result<(), Failure> {
    match command {
        OfferCommand::Post(arguments) => post(client, output, *arguments).await,
        OfferCommand::Search(arguments) => search(client, output, *arguments).await,
        OfferCommand::List { paging } => {
            client.need_session()?;
            let request = v1::ListMyOffersRequest { page_size: paging.page_size, page_token: paging.page };
            let reply: v1::ListMyOffersResponse = client.call(request).await?;
            output.reply(&reply, |view| show::list_my_offers(view, &reply))
        }
        OfferCommand::Show { offer, to } => {
            let home = if to.is_empty() { client.profile().await?.home } else { None };
            let to = home.map_or(to, |h| h.area_code);
            let request = v1::GetOfferRequest { offer_id: offer, to_area_code: to };
            let reply: v1::GetOfferResponse = client.call(request).await?;
            output.reply(&reply, |view| {
                let own = reply.offer.as_ref().is_some_and(|o| client.is_own(&o.giver_account_id));
                show::get_offer(view, &reply, own);
            })
        }
        OfferCommand::Change { offer, version, draft } => {
            change(client, output, offer, version, *draft).await
        }
        OfferCommand::Withdraw { offer, version } => {
            client.need_session()?;
            prompt::sure(
                client,
                &format!("Withdraw offer {offer}? Those who asked for it are notified. Withdraw it"),
            )?;
            let request = v1::WithdrawOfferRequest { offer_id: offer, version: version.unwrap_or(0) };
            let reply: v1::WithdrawOfferResponse = client.call(request).await?;
            output.reply(&reply, |view| show::withdraw_offer(view, &reply))
        }
    }
}

async fn post(client: &Client, output: &Output, mut arguments: DraftArguments) -> Result<(), Failure> {
    client.need_session()?;
    let asks = prompt::can_ask() && !output.is_json();
    let mut cultivar = String::new();
    if asks {
        if arguments.lot.is_none() {
            cultivar = ask_cultivar(client, &mut arguments).await?;
        }
        complete(&mut arguments)?;
        if arguments.place.is_none() {
            // Asked for once, and kept.
            home::cell(client, None, "--place").await?;
        }
    }
    let profile = client.profile_now().await?;
    let request = v1::ListMyOffersRequest { page_size: 1, page_token: String::new() };
    let last: v1::ListMyOffersResponse = client.call(request).await?;
    remember(&mut arguments, &profile, last.offers.first());
    let mut draft = v1::OfferDraft::default();
    apply(arguments, &mut draft)?;
    if asks {
        let mut view = output.view();
        show::draft(&mut view, &draft, &cultivar);
        output.show(view);
        output.stream(client).await;
        client.say(
            "To change a line, answer n and add an option, such as --until \"next Sunday\" or --terms swap.",
        );
        prompt::confirm(client, "Post it", true, "nothing was posted")?;
    }
    let request = v1::CreateOfferRequest { offer: Some(draft) };
    let reply: v1::CreateOfferResponse = client.call(request).await?;
    output.reply(&reply, |view| show::create_offer(view, &reply))
}

/// Asks for the cultivar, before anything else, takes a near name after a question, and returns its name.
async fn ask_cultivar(client: &Client, arguments: &mut DraftArguments) -> Result<String, Failure> {
    let mut asked = false;
    loop {
        if arguments.cultivar.is_none() {
            asked = true;
            let typed = prompt::ask("Which cultivar", None, |t| {
                if t.is_empty() { Err("type a name as you heard it".to_string()) } else { Ok(t.to_string()) }
            })?;
            arguments.cultivar = Some(typed);
        }
        let (name, crop) =
            (arguments.cultivar.clone().unwrap_or_default(), words::crop(arguments.crop.clone()));
        match names::cultivar(client, &name, &crop).await {
            Ok(found) => {
                (arguments.cultivar, arguments.crop) = (Some(found.cultivar_id), Some(found.crop));
                return Ok(found.name);
            }
            // Ask again only for a name typed at the prompt, not for one on the command line.
            Err(failure) if !asked || failure.exit_code() == 5 => return Err(failure),
            Err(failure) => {
                eprintln!("{}", textwrap::indent(&textwrap::fill(&failure.message, 76), "  "));
                arguments.cultivar = None;
            }
        }
    }
}

async fn change(
    client: &Client,
    output: &Output,
    offer_id: String,
    version: Option<i64>,
    arguments: DraftArguments,
) -> Result<(), Failure> {
    client.need_session()?;
    let request = v1::GetOfferRequest { offer_id: offer_id.clone(), ..Default::default() };
    let current: v1::GetOfferResponse = client.call(request).await?;
    let current = current.offer.unwrap_or_default();
    // Place and health are replaced as a whole, so start from the current values.
    let mut draft = v1::OfferDraft { place: current.place, health: current.health, ..Default::default() };
    let paths = apply(arguments, &mut draft)?;
    if paths.is_empty() {
        return Err(Failure::usage(
            "say what to change, such as --quantity 5; see: scionary offer change --help",
        ));
    }
    let request = v1::UpdateOfferRequest {
        offer_id,
        version: version.unwrap_or(current.version),
        offer: Some(draft),
        update_mask: Some(prost_types::FieldMask { paths }),
    };
    let reply: v1::UpdateOfferResponse = client.call(request).await?;
    output.reply(&reply, |view| show::update_offer(view, &reply))
}

async fn search(client: &Client, output: &Output, a: SearchArguments) -> Result<(), Failure> {
    let name = a.name.join(" ");
    let order = if a.newest { v1::OfferOrder::Newest } else { v1::OfferOrder::Unspecified };
    let home = if a.near.is_none() && !a.anywhere { client.profile().await?.home } else { None };
    let near = a.near.or(home.as_ref().map(|h| h.grid_code.clone())).unwrap_or_default();
    if near.is_empty() && a.within.is_some() {
        return Err(Failure::usage("say near what with --near, such as --near Brisbane")
            .then("or once and for all, when you are signed in: scionary me --home TOWN"));
    }
    let to = if a.to.is_empty() { home.map(|h| h.area_code).unwrap_or_default() } else { a.to };
    let request = v1::SearchOffersRequest {
        name: name.clone(),
        crop: words::crop(a.crop),
        materials: a.material.into_iter().map(i32::from).collect(),
        near_grid_code: near,
        within_km: a.within.unwrap_or(0),
        usable_from: a.from,
        usable_until: a.until,
        text: a.text.unwrap_or_default(),
        terms: a.terms.into_iter().map(i32::from).collect(),
        order: order.into(),
        page_size: a.paging.page_size,
        page_token: a.paging.page,
        hand_over: a.by.into_iter().map(i32::from).collect(),
        to_area_code: to,
    };
    let reply: v1::SearchOffersResponse = client.call(request).await?;
    output.reply(&reply, |view| show::search_offers(view, &reply, &name))
}
