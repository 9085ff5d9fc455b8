//! Notices by mail: to an address that was confirmed, where the server sends mail.

use std::{collections::BTreeMap, sync::Arc};

use scionary_domain::{field::FieldError, limits, notice::Notice};
use scionary_store::{notice_store, notice_store::MailAddress, record_store};

use crate::{App, Call, Done, Error, KeepReply, Rule, UseCase, Write, ports::Mailer, secrets};

/// A code is good for so long.
const CODE_DAYS: i64 = 1;
/// Notices taken at once.
const TAKEN: u64 = 200;

/// Asks for notices at an address.
pub struct SetMailAddress {
    address: String,
    code: String,
}

/// Confirms the address.
pub struct ConfirmMailAddress {
    /// The code that came there.
    pub code: String,
}

/// Forgets the address.
pub struct RemoveMailAddress;

/// Mails that fail one after another before the mail server is left alone for a while.
const FAILURES_MAX: u32 = 3;

struct Take;
struct GiveBack(Vec<i64>);

impl UseCase for SetMailAddress {
    type Out = ();
    async fn run(&self, write: &Write<'_>) -> Result<Done<()>, Error> {
        let account = write.call.account()?;
        let new = MailAddress {
            address: self.address.clone(),
            code_hash: Some(secrets::hash_code(&self.code).to_vec()),
            asked_at: write.call.now,
            confirmed_at: None,
        };
        notice_store::set_mail_address(write.tx, account.id, &new).await?;
        Ok(Done::new((), "mail.asked", account.id, serde_json::json!({})))
    }
}

impl UseCase for ConfirmMailAddress {
    type Out = String;
    async fn run(&self, write: &Write<'_>) -> Result<Done<String>, Error> {
        let account = write.call.account()?;
        let now = write.call.now;
        let known = notice_store::mail_address(write.tx, account.id)
            .await?
            .filter(|known| known.code_hash.as_deref() == Some(secrets::hash_code(&self.code).as_slice()))
            .filter(|known| known.asked_at.plus_days(CODE_DAYS) >= now)
            .ok_or(Rule::CodeNotValid)?;
        let confirmed = MailAddress { code_hash: None, confirmed_at: Some(now), ..known };
        notice_store::set_mail_address(write.tx, account.id, &confirmed).await?;
        Ok(Done::new(confirmed.address, "mail.confirmed", account.id, serde_json::json!({})))
    }
}

/// Forgets the reply that was kept for a call whose outcome was another.
struct ForgetKept {
    scope: String,
    key: String,
}

impl UseCase for ForgetKept {
    type Out = ();
    async fn run(&self, write: &Write<'_>) -> Result<Done<()>, Error> {
        record_store::forget_kept(write.tx, &self.scope, &self.key).await?;
        Ok(Done::quiet(()))
    }
}

impl UseCase for RemoveMailAddress {
    type Out = ();
    async fn run(&self, write: &Write<'_>) -> Result<Done<()>, Error> {
        let account = write.call.account()?;
        notice_store::remove_mail_address(write.tx, account.id).await?;
        Ok(Done::new((), "mail.removed", account.id, serde_json::json!({})))
    }
}

impl UseCase for Take {
    type Out = Vec<u8>;
    async fn run(&self, write: &Write<'_>) -> Result<Done<Vec<u8>>, Error> {
        let (taken, mails) = notice_store::take_to_mail(write.tx, write.call.now, TAKEN).await?;
        let mails: BTreeMap<String, Vec<(i64, String)>> = mails
            .into_iter()
            .map(|(to, all)| (to, all.into_iter().map(|n: Notice| (n.seq, n.words)).collect()))
            .collect();
        let out = serde_json::to_vec(&(taken, mails)).map_err(|e| Error::Internal(e.to_string()))?;
        Ok(Done::quiet(out))
    }
}

impl UseCase for GiveBack {
    type Out = ();
    async fn run(&self, write: &Write<'_>) -> Result<Done<()>, Error> {
        notice_store::not_mailed(write.tx, &self.0).await?;
        Ok(Done::quiet(()))
    }
}

impl App {
    /// The mailer, where the operator named a mail server.
    pub fn mailer(&self) -> Option<Arc<dyn Mailer>> {
        self.0.mailer.get().cloned()
    }
    /// Names the mailer; once.
    pub fn set_mailer(&self, mailer: Arc<dyn Mailer>) {
        let _ = self.0.mailer.set(mailer);
    }

    /// Checks an address, and makes the code that will go there.
    ///
    /// # Errors
    /// The server sends no mail; no address.
    pub fn prepare_mail_address(&self, address: &str) -> Result<SetMailAddress, Error> {
        let mailer = self.mailer().ok_or(Rule::NoMail)?;
        let address = address.trim().to_string();
        let fits = address.chars().count() <= limits::CONTACT_CHARS_MAX && mailer.is_address(&address);
        if !fits {
            return Err(FieldError::new(
                "address",
                "an address of mail such as rosamund@example.org expected",
            )
            .into());
        }
        Ok(SetMailAddress { address, code: secrets::new_code(self.entropy())? })
    }

    /// Asks for notices at an address: the code goes there once that is stored.
    ///
    /// # Errors
    /// The door's; the mail server's.
    pub async fn set_mail_address(&self, call: &Call, new: SetMailAddress) -> Result<(), Error> {
        let mailer = self.mailer().ok_or(Rule::NoMail)?;
        if self.first_reply(call).await?.is_some() {
            // a repeat: the code of the first run is on its way
            return Ok(());
        }
        let (address, code) = (new.address.clone(), new.code.clone());
        self.write(call, new, KeepReply::Yes, |()| Vec::new()).await?;
        let text = format!(
            "Someone asked Scionary to send notices to this address. If it was you, confirm it with this code:\n\n    {code}\n\nIf it was not you, do nothing: no more mail comes here.\n"
        );
        let Err(why) = mailer.send(&address, "Confirm this address", &text).await else { return Ok(()) };
        tracing::warn!(%why, "a code could not be mailed");
        // a repeat under the same key tries again
        if let Some(key) = &call.key {
            let forget = ForgetKept { scope: call.key_scope(), key: key.key.clone() };
            self.write(&self.system_call()?, forget, KeepReply::Yes, |()| Vec::new()).await?;
        }
        Err(Rule::MailNotSent.into())
    }

    /// Where the caller's notices go by mail.
    ///
    /// # Errors
    /// The store's.
    pub async fn my_mail_address(&self, call: &Call) -> Result<Option<MailAddress>, Error> {
        Ok(notice_store::mail_address(self.store().reader(), call.account()?.id).await?)
    }

    /// Mails what was not mailed yet; whether there may be more.
    ///
    /// # Errors
    /// The store's.
    pub async fn mail_notices(&self) -> Result<bool, Error> {
        let Some(mailer) = self.mailer() else { return Ok(false) };
        let call = self.system_call()?;
        let taken = self.write(&call, Take, KeepReply::Yes, Clone::clone).await?;
        let (taken, mails): (u64, BTreeMap<String, Vec<(i64, String)>>) =
            serde_json::from_slice(&taken).map_err(|e| Error::Internal(e.to_string()))?;
        let mut back: Vec<i64> = Vec::new();
        let mut failed_in_a_row = 0;
        for (to, notices) in mails {
            if failed_in_a_row >= FAILURES_MAX {
                // the mail server is away or slow: the rest waits for the next time
                back.extend(notices.into_iter().map(|(seq, _)| seq));
                continue;
            }
            let lines: Vec<String> = notices.iter().map(|(_, words)| format!("- {words}")).collect();
            let subject = match lines.len() {
                1 => "A notice".to_string(),
                many => format!("{many} notices"),
            };
            let text = format!(
                "{}\n\nTo end notices by mail, remove this address in the settings of your inbox.\n",
                lines.join("\n\n")
            );
            if let Err(why) = mailer.send(&to, &subject, &text).await {
                tracing::warn!(%why, "notices could not be mailed; they are tried again");
                // one mailbox that fails keeps no one else's mail back
                back.extend(notices.into_iter().map(|(seq, _)| seq));
                failed_in_a_row += 1;
            } else {
                failed_in_a_row = 0;
            }
        }
        if back.is_empty() {
            return Ok(taken == TAKEN);
        }
        let call = self.system_call()?;
        self.write(&call, GiveBack(back), KeepReply::Yes, |()| Vec::new()).await?;
        Ok(false)
    }
}
