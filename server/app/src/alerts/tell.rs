//! Telling the holders whom an alert reaches: in the background, as there may be many.

use scionary_domain::{
    ids::{AccountId, AlertId, LotId},
    lineage::{Alert, AlertState},
    notice::{Kind, NewNotice},
    time::Timestamp,
};
use scionary_store::{alert_store, lot_store};

use super::{reach, sentence};
use crate::{App, Done, Error, KeepReply, UseCase, Write};

/// Codes named in one notice; more are counted.
const CODES_NAMED: usize = 5;
/// Holders told in one transaction.
const TOLD_TOGETHER: usize = 500;

struct Tell(Vec<NewNotice>);

impl UseCase for Tell {
    type Out = ();
    async fn run(&self, _write: &Write<'_>) -> Result<Done<()>, Error> {
        let mut done = Done::quiet(());
        done.notices.clone_from(&self.0);
        Ok(done)
    }
}

const fn begins(state: AlertState) -> &'static str {
    match state {
        AlertState::Raised => "An alert, not confirmed yet, reaches",
        AlertState::Confirmed => "A confirmed alert reaches",
        AlertState::Lifted => "An alert was lifted that had reached",
    }
}

/// What holders are told of an alert: its words only once someone bore them out, as no one sends letters to strangers so.
fn told(alert: &Alert) -> String {
    let said = sentence(alert);
    match alert.state {
        AlertState::Raised => said.split_once(": ").map_or(said.clone(), |(what, _)| what.to_string()),
        AlertState::Confirmed | AlertState::Lifted => said,
    }
}

impl App {
    /// Tells whom an alert reaches how it stands; those who were told are not told again.
    ///
    /// # Errors
    /// The store's.
    pub(crate) async fn tell_holders(&self, id: AlertId) -> Result<(), Error> {
        let reader = self.store().reader();
        // withdrawn in the meantime: no one hears of it
        let Some(alert) = alert_store::one(reader, id).await? else { return Ok(()) };
        let (search, _) = reach::search(reader, &alert).await?;
        let holders = lot_store::holders(reader, reach::lots_of(&search)).await?;
        let state = begins(alert.state);
        let mut notices = Vec::new();
        for (to, lots) in holders {
            let named = self.codes(&lots).await?;
            let mut words =
                format!("{state} {named}. Of the lot where it begins it is said that it {}", told(&alert));
            if alert.state == AlertState::Lifted {
                words.push_str(&format!(". Lifted: {}", alert.lifted_why));
            } else if alert.state == AlertState::Confirmed {
                words.push_str(". Keep what it reaches apart, give none of it on, and ask the plant-health authority what is to be done.");
            }
            notices.push(NewNotice {
                to,
                kind: Kind::Alert,
                subject: id.to_string(),
                once: alert.state.word().into(),
                words,
            });
        }
        self.tell(notices).await
    }

    async fn codes(&self, lots: &[LotId]) -> Result<String, Error> {
        let some: Vec<LotId> = lots.iter().take(CODES_NAMED).copied().collect();
        let found = lot_store::some(self.store().reader(), &some).await?;
        let codes: Vec<String> = found.values().map(|l| l.code.to_string()).collect();
        let more = lots.len().saturating_sub(codes.len());
        let tail = if more == 0 { String::new() } else { format!(" and {more} more of your lots") };
        Ok(format!("{}{tail}", codes.join(", ")))
    }

    /// Writes notices, some at a time.
    pub(crate) async fn tell(&self, notices: Vec<NewNotice>) -> Result<(), Error> {
        for some in notices.chunks(TOLD_TOGETHER) {
            let call = self.system_call()?;
            self.write(&call, Tell(some.to_vec()), KeepReply::Yes, |()| Vec::new()).await?;
        }
        Ok(())
    }

    /// Tells the holder of a lot that is new, or newly linked, of the alerts that were there before.
    pub(crate) async fn tell_new_holder(&self, lot: LotId, at: Timestamp) -> Result<(), Error> {
        let reader = self.store().reader();
        let Some(found) = lot_store::one(reader, lot).await? else { return Ok(()) };
        let to: AccountId = found.holder;
        let reaching = crate::lots::alerts_reaching(reader, lot).await?;
        let notices = reaching
            .into_iter()
            .filter(|(alert, _)| alert.created_at < at)
            .map(|(alert, _)| NewNotice {
                to,
                kind: Kind::Alert,
                subject: alert.id.to_string(),
                once: format!("{} {lot}", alert.state.word()),
                words: format!(
                    "{} {}. Of the lot where it begins it is said that it {}",
                    begins(alert.state),
                    found.code,
                    told(&alert)
                ),
            })
            .collect();
        self.tell(notices).await
    }
}
