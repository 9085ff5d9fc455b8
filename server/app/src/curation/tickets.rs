//! Complaints: about a record, a piece of evidence, an offer or a person. Those who handle them see them; others
//! see their own.

use scionary_domain::{
    access,
    account::Role,
    field::{FieldError, Fields},
    ids::{AccountId, EvidenceId, OfferId, TicketId},
    limits,
    page::{self, Page},
};
use scionary_store::{Ticket, TicketQuery, account_store, evidence_store, offer_store, ticket_store};

use crate::{App, Call, Done, Error, Rule, UseCase, Write};

/// What a complaint is about.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Subject {
    /// A record.
    Cultivar,
    /// A piece of evidence.
    Evidence,
    /// An offer.
    Offer,
    /// A person, by handle.
    Account,
}

impl Subject {
    /// All of them with their words.
    pub const ALL: [(Self, &'static str); 4] = [
        (Self::Cultivar, "cultivar"),
        (Self::Evidence, "evidence"),
        (Self::Offer, "offer"),
        (Self::Account, "account"),
    ];
    /// Its word.
    pub fn word(self) -> &'static str {
        Self::ALL.iter().find(|(s, _)| *s == self).map_or("", |(_, word)| word)
    }
}

/// Complains.
pub struct FileTicket {
    /// About what kind of thing.
    pub subject: Subject,
    /// Its id; a record's name, a person's handle.
    pub id: String,
    /// What is wrong.
    pub reason: String,
}

/// Closes a complaint.
pub struct CloseTicket {
    /// The ticket's id.
    pub id: TicketId,
    /// What was done about it.
    pub outcome: String,
}

/// A complaint with names.
#[derive(Clone, Debug)]
pub struct ShownTicket {
    /// The complaint.
    pub ticket: Ticket,
    /// Who complains.
    pub author_name: String,
    /// Who closed it.
    pub closer_name: String,
    /// The name of what it is about; may be empty.
    pub subject_name: String,
}

/// The name of what a complaint is about.
async fn subject_name(app: &App, ticket: &Ticket) -> Result<String, Error> {
    let registry = app.registry();
    let reader = app.store().reader();
    let of_record = |id| registry.record(id).map(|r| r.cultivar.full_name());
    if let Ok(id) = ticket.subject.parse() {
        return Ok(of_record(id).unwrap_or_default());
    }
    if let Ok(id) = ticket.subject.parse::<AccountId>() {
        return Ok(account_store::account(reader, id).await?.map(|a| a.handle).unwrap_or_default());
    }
    if let Ok(id) = ticket.subject.parse::<EvidenceId>() {
        let piece = evidence_store::piece(reader, id).await?;
        return Ok(piece.and_then(|p| p.evidence.cultivar).and_then(of_record).unwrap_or_default());
    }
    if let Ok(id) = ticket.subject.parse::<OfferId>() {
        let offer = offer_store::offer(reader, id).await?;
        return Ok(offer.and_then(|o| of_record(o.contents.cultivar)).unwrap_or_default());
    }
    Ok(String::new())
}

async fn subject_of(
    write: &Write<'_>,
    subject: Subject,
    text: &str,
) -> Result<(String, Option<String>), Error> {
    let wrong = |e: String| Error::from(FieldError::new("subject_id", e));
    Ok(match subject {
        Subject::Cultivar => {
            let registry = write.app.registry();
            let record = registry.resolve("subject_id", text, "")?;
            (record.cultivar.id.to_string(), Some(record.cultivar.crop.clone()))
        }
        Subject::Evidence => {
            let id: EvidenceId = text.parse().map_err(|e| wrong(format!("{e}")))?;
            let stored =
                evidence_store::piece(write.tx, id).await?.ok_or_else(|| Error::not_found("evidence", id))?;
            (id.to_string(), Some(stored.evidence.crop))
        }
        Subject::Offer => {
            let id: OfferId = text.parse().map_err(|e| wrong(format!("{e}")))?;
            let offer =
                offer_store::offer(write.tx, id).await?.ok_or_else(|| Error::not_found("offer", id))?;
            (offer.id.to_string(), None)
        }
        Subject::Account => {
            let key = text.trim().to_ascii_lowercase();
            let found = account_store::account_to_sign_in(write.tx, &key).await?;
            let (account, _) = found.ok_or_else(|| Error::not_found("account", text))?;
            (account.id.to_string(), None)
        }
    })
}

/// Whether a complaint is about what someone entered, offered, or about themselves.
async fn own_subject(write: &Write<'_>, ticket: &Ticket, who: AccountId) -> Result<bool, Error> {
    if ticket.subject == who.to_string() {
        return Ok(true);
    }
    if let Ok(id) = ticket.subject.parse::<EvidenceId>() {
        let piece = evidence_store::piece(write.tx, id).await?;
        return Ok(piece.and_then(|p| p.evidence.observed).is_some_and(|o| o.by.account == who));
    }
    if let Ok(id) = ticket.subject.parse::<OfferId>() {
        return Ok(offer_store::offer(write.tx, id).await?.is_some_and(|o| o.giver == who));
    }
    Ok(false)
}

impl UseCase for FileTicket {
    type Out = ShownTicket;
    async fn run(&self, write: &Write<'_>) -> Result<Done<ShownTicket>, Error> {
        let account = write.call.account()?;
        let mut fields = Fields::new();
        let reason = fields.text("reason", &self.reason, limits::REASON_CHARS_MIN, limits::REASON_CHARS_MAX);
        let reason = fields.finish(reason)?;
        let (subject, crop) = subject_of(write, self.subject, self.id.trim()).await?;
        account_store::lock_account(write.tx, account.id).await?;
        let open = ticket_store::count_open(write.tx, account.id).await?;
        if i64::try_from(open).unwrap_or(i64::MAX) >= limits::TICKETS_OPEN_MAX {
            return Err(Rule::TooManyTickets(limits::TICKETS_OPEN_MAX).into());
        }
        let ticket = Ticket {
            id: TicketId::from_uuid(write.new_uuid()?),
            subject_kind: self.subject.word().into(),
            subject,
            crop,
            reason,
            author: account.id,
            at: write.call.now,
            closed: None,
        };
        ticket_store::insert(write.tx, &ticket).await?;
        let id = ticket.id;
        let change = serde_json::json!({ "about": ticket.subject });
        let out = ShownTicket {
            subject_name: subject_name(write.app, &ticket).await?,
            ticket,
            author_name: account.display_name.clone(),
            closer_name: String::new(),
        };
        Ok(Done::new(out, "ticket.filed", id, change))
    }
}

impl UseCase for CloseTicket {
    type Out = ShownTicket;
    async fn run(&self, write: &Write<'_>) -> Result<Done<ShownTicket>, Error> {
        let account = write.call.account()?;
        let mut fields = Fields::new();
        let outcome =
            fields.text("outcome", &self.outcome, limits::REASON_CHARS_MIN, limits::REASON_CHARS_MAX);
        let missing = || Error::not_found("complaint that you handle, with the id", self.id);
        let ticket = ticket_store::one(write.tx, self.id).await?.ok_or_else(missing)?;
        let Ok(granted) = access::handle_tickets(account, ticket.crop.as_deref()) else {
            // to anyone else there is none
            return Err(missing());
        };
        if ticket.author == account.id || own_subject(write, &ticket, account.id).await? {
            return Err(access::Denied::OwnWork(
                "closes a complaint of their own, or about what they entered",
            )
            .into());
        }
        let outcome = fields.finish(outcome)?;
        let now = write.call.now;
        if !ticket_store::close(write.tx, &granted, self.id, account.id, &outcome, now).await? {
            return Err(Rule::TicketClosed.into());
        }
        let names = account_store::display_names(write.tx, &[ticket.author]).await?;
        let out = ShownTicket {
            subject_name: subject_name(write.app, &ticket).await?,
            author_name: names.get(&ticket.author).cloned().unwrap_or_default(),
            closer_name: account.display_name.clone(),
            ticket: Ticket { closed: Some((now, account.id, outcome)), ..ticket },
        };
        Ok(Done::new(out, "ticket.closed", self.id, serde_json::json!({})))
    }
}

impl App {
    /// A page of complaints, oldest first: those that the caller handles, or the caller's own.
    ///
    /// # Errors
    /// A page token that does not fit.
    pub async fn tickets(
        &self,
        call: &Call,
        mine: bool,
        open_only: bool,
        page_size: i32,
        token: &str,
    ) -> Result<Page<ShownTicket>, Error> {
        let account = call.account()?;
        let crops: Vec<String> = account
            .roles
            .iter()
            .filter_map(|r| if let Role::Curator { crop } = r { Some(crop.clone()) } else { None })
            .collect();
        let handles = account.is(&Role::Steward) || !crops.is_empty();
        let own = mine || !handles;
        let asked = page::Asked::<TicketId>::read(
            page_size,
            token,
            format!("tickets {} {own} {open_only}", account.id),
        )?;
        let query = TicketQuery {
            crops: (!own && !account.is(&Role::Steward)).then_some(crops),
            author: own.then_some(account.id),
            open_only,
            after: asked.after,
            limit: asked.limit(),
        };
        let reader = self.store().reader();
        let rows = ticket_store::list(reader, &query).await?;
        let Page { rows, next } = asked.cut(rows, |t| t.id);
        let people: Vec<AccountId> = rows
            .iter()
            .flat_map(|t| std::iter::once(t.author).chain(t.closed.as_ref().map(|c| c.1)))
            .collect();
        let names = account_store::display_names(reader, &people).await?;
        let name = |id: &AccountId| names.get(id).cloned().unwrap_or_default();
        let mut shown = Vec::new();
        for ticket in rows {
            shown.push(ShownTicket {
                subject_name: subject_name(self, &ticket).await?,
                author_name: name(&ticket.author),
                closer_name: ticket.closed.as_ref().map(|c| name(&c.1)).unwrap_or_default(),
                ticket,
            });
        }
        Ok(Page { rows: shown, next })
    }
}
