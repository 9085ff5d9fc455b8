//! A dry run: what a round would come to as it is now, with its settings or others beside them. The draws are not the
//! round's own: no one learns from it how the draw will fall.

use std::{
    collections::BTreeMap,
    sync::{Arc, atomic::AtomicBool},
};

use scionary_domain::{
    clearing::{Explainer, settle, sha256},
    field::Fields,
    ids::{AccountId, RoundId},
    limits,
    round::{Brought, Phase, Settings, Summary, check_settings, summary},
};
use scionary_store::account_store;

use super::{
    allot::{Listener, WhileHeard},
    arranged,
    facts::OnFile,
    in_phase,
};
use crate::{App, Call, Error};

/// What a round would come to with some settings.
#[derive(Clone, Debug)]
pub struct Preview {
    /// The settings.
    pub settings: Settings,
    /// What it would come to.
    pub summary: Summary,
}

/// What an organiser sees of it.
#[derive(Clone, Debug)]
pub struct Previewed {
    /// Of each choice of settings.
    pub previews: Vec<Preview>,
    /// Members' numbers and names, by their ids.
    pub members: BTreeMap<String, (u32, String)>,
    /// Lots' numbers and what they are, by their ids.
    pub lots: BTreeMap<String, (u32, String)>,
}

/// What a lot is, in words: "Larkwater Gold, scion wood".
pub(super) fn lot_words(app: &App, file: &OnFile, lot: &Brought) -> String {
    let Some(offer) = file.offers.get(&lot.offer) else { return String::new() };
    let registry = app.registry();
    let name = registry.record(offer.contents.cultivar).map(|r| r.cultivar.full_name()).unwrap_or_default();
    format!("{name}, {}", offer.contents.material.label())
}

impl App {
    /// A dry run for organisers, with the round's settings and those that are tried out.
    ///
    /// # Errors
    /// The caller does not arrange it; wrong settings; it is settled already.
    pub async fn preview_round(
        &self,
        call: &Call,
        id: RoundId,
        tried: Option<Settings>,
    ) -> Result<Previewed, Error> {
        let reader = self.store().reader();
        let (round, _) = arranged(reader, call, id).await?;
        in_phase(&round, &[Phase::Gathering, Phase::Sealed])?;
        let mut fields = Fields::new();
        if let Some(tried) = &tried {
            check_settings(&mut fields, "tried", tried);
        }
        fields.finish(Some(()))?;
        let own = round.says.settings;
        let seed = sha256(format!("dry run|{}", round.id).as_bytes());
        let file = OnFile::read(reader, round).await?;
        let people: Vec<AccountId> = file.parts.iter().map(|p| p.account).collect();
        let names = account_store::display_names(reader, &people).await?;
        let gone = Arc::new(AtomicBool::new(false));
        let _listener = Listener(gone.clone());
        let mut previews = Vec::new();
        for settings in [Some(own), tried].into_iter().flatten() {
            file.fit(&self.registry(), &settings)?;
            let input = file.input(self, settings, Vec::new(), Vec::new(), &|_, _| None);
            let (seed, turn, mut watch) = (seed.clone(), self.settling().await?, WhileHeard(gone.clone()));
            let work = move || -> Result<Summary, Error> {
                // kept until the work ends, also where no one waits for it any more
                let _turn = turn;
                let outcome = settle(&input, &seed, &mut watch, &mut |_| {})
                    .map_err(|e| Error::Internal(format!("a dry run failed: {e}")))?;
                let small = input.lots.len() <= limits::ROUND_EXPLAINED_MAX;
                let explainer = if small { Some(Explainer::new(&input, &outcome)?) } else { None };
                Ok(summary(&input, &outcome.shares, explainer.as_ref()))
            };
            let summary = tokio::task::spawn_blocking(work)
                .await
                .map_err(|e| Error::Internal(format!("a dry run broke off: {e}")))??;
            previews.push(Preview { settings, summary });
        }
        let members = file
            .parts
            .iter()
            .map(|p| (p.account.to_string(), (p.number, names.get(&p.account).cloned().unwrap_or_default())));
        let lots = file.lots.iter().map(|l| (l.id.to_string(), (l.number, lot_words(self, &file, l))));
        Ok(Previewed { previews, members: members.collect(), lots: lots.collect() })
    }
}
