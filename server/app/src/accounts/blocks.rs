//! One member blocks another: neither claims from the other, and what waits between them ends.

use scionary_domain::{access::Granted, claim::State, ids::AccountId, limits};
use scionary_store::{Source, StoreError, account_store, block_store, claim_store};

use crate::{App, Call, Done, Error, Rule, UseCase, Write};

/// Blocks a member.
pub struct BlockMember {
    /// Whom: the id that offers and claims show.
    pub account: AccountId,
}

/// Unblocks a member.
pub struct UnblockMember {
    /// Whom.
    pub account: AccountId,
}

/// Someone who is blocked.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Blocked {
    /// Who.
    pub account: AccountId,
    /// The name that others see.
    pub display_name: String,
}

impl UseCase for BlockMember {
    type Out = Vec<Blocked>;
    async fn run(&self, write: &Write<'_>) -> Result<Done<Vec<Blocked>>, Error> {
        let account = write.call.account()?;
        let other = self.account;
        if other == account.id {
            return Err(Rule::BlocksOneself.into());
        }
        if account_store::display_names(write.tx, &[other]).await?.is_empty() {
            return Err(Error::not_found("account", other));
        }
        account_store::lock_account(write.tx, account.id).await?;
        if block_store::of(write.tx, account.id).await?.len() >= limits::BLOCKED_MAX {
            return Err(Rule::TooManyBlocked(limits::BLOCKED_MAX).into());
        }
        block_store::block(write.tx, account.id, other, write.call.now).await?;
        // what waits between them ends; what was promised is theirs to settle
        for mut claim in claim_store::waiting_between(write.tx, account.id, other).await? {
            let from = claim.version;
            claim.version += 1;
            claim.state = if claim.giver == account.id { State::Declined } else { State::Withdrawn };
            let granted = Granted::system("one of its sides blocked the other");
            if !claim_store::replace(write.tx, granted, &claim, from).await? {
                return Err(StoreError::Collision.into());
            }
        }
        let out = blocked(write.tx, account.id).await?;
        Ok(Done::new(out, "account.blocked", other, serde_json::json!({})))
    }
}

impl UseCase for UnblockMember {
    type Out = Vec<Blocked>;
    async fn run(&self, write: &Write<'_>) -> Result<Done<Vec<Blocked>>, Error> {
        let account = write.call.account()?;
        let other = self.account;
        // someone who is not blocked stays so
        block_store::unblock(write.tx, account.id, other).await?;
        let out = blocked(write.tx, account.id).await?;
        Ok(Done::new(out, "account.unblocked", other, serde_json::json!({})))
    }
}

async fn blocked(db: &dyn Source, by: AccountId) -> Result<Vec<Blocked>, Error> {
    let ids = block_store::of(db, by).await?;
    let names = account_store::display_names(db, &ids).await?;
    Ok(ids
        .into_iter()
        .map(|account| Blocked { account, display_name: names.get(&account).cloned().unwrap_or_default() })
        .collect())
}

impl App {
    /// Whom the caller blocks.
    ///
    /// # Errors
    /// No one is signed in; the store's.
    pub async fn my_blocked(&self, call: &Call) -> Result<Vec<Blocked>, Error> {
        blocked(self.store().reader(), call.account()?.id).await
    }
}
