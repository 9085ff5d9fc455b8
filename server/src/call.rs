//! What the gate hands to a handler, and how a handler turns it into a call of the app.

use std::{ops::Deref, sync::Arc};

use prost::Message;
use scionary_app::{
    App, Call, Error, KeepReply, UseCase, WriteKey,
    day::{DayCall, Step},
};
use scionary_proto::Rpc;
use scionary_store::Condition;
use sha2::{Digest as _, Sha256};
use tonic::Status;

use crate::{
    dispatch::Encoded,
    status::{self, Failure},
};

/// A call that has passed the gate. Only the gate makes one.
#[derive(Clone, Debug)]
pub struct Admitted {
    pub(crate) rpc: Rpc,
    call: Call,
    key: Option<String>,
    address: String,
    condition: Condition,
}

impl Deref for Admitted {
    type Target = Call;
    fn deref(&self) -> &Call {
        &self.call
    }
}

impl Admitted {
    /// A call whose key, where its method asks for one, is not bound to a request yet.
    pub(crate) fn new(
        rpc: Rpc,
        call: Call,
        key: Option<String>,
        address: &str,
        condition: &Condition,
    ) -> Self {
        Self { rpc, call, key, address: address.to_string(), condition: condition.clone() }
    }

    /// The same call, its idempotency key bound to what was asked: the request without its secrets, so that no quick
    /// hash of a password is stored.
    pub(crate) fn bound_to(&self, request: &[u8]) -> Self {
        let fingerprint = Sha256::digest(request).into();
        let mut bound = self.clone();
        bound.call.key = bound.key.take().map(|key| WriteKey { key, rpc: self.rpc.path(), fingerprint });
        bound
    }

    /// The same call as a step of a swap day that is run here.
    pub(crate) fn as_step(&self, app: &App, request: &[u8]) -> Result<Self, Error> {
        let account = self.call.account_id()?;
        let who = match self.call.entered_by {
            Some(by) => (by, Some(account)),
            None => (account, None),
        };
        let step = Step::new(app, self.call.now, who, self.rpc.path(), request)?;
        let mut day = self.clone();
        day.call.day = Some(Arc::new(DayCall { step, home: None }));
        Ok(day)
    }

    /// A step of a swap day that is run again, within this call.
    pub(crate) fn again(&self, rpc: Rpc, call: Call) -> Self {
        Self { rpc, call, key: None, ..self.clone() }
    }

    /// Runs a use case through the door, and answers with the message that `message` makes of what came out: of this
    /// run, or of the first one under the key.
    ///
    /// # Errors
    /// Those of `use_case`, and of the door.
    pub async fn write<U: UseCase, M: Message>(
        &self,
        app: &App,
        use_case: Result<U, Error>,
        message: impl Fn(&U::Out) -> M + Send + Sync + 'static,
    ) -> Result<Encoded<M>, Failure> {
        self.keep(app, use_case?, KeepReply::Yes, message).await
    }

    /// The same for a reply that shows a secret once: a repeat under the key gets an error that says so.
    ///
    /// # Errors
    /// Those of `use_case`, and of the door.
    pub async fn write_secret<U: UseCase, M: Message>(
        &self,
        app: &App,
        use_case: U,
        message: impl Fn(&U::Out) -> M + Send + Sync + 'static,
    ) -> Result<Encoded<M>, Failure> {
        self.keep(app, use_case, KeepReply::Secret, message).await
    }

    async fn keep<U: UseCase, M: Message>(
        &self,
        app: &App,
        use_case: U,
        keep: KeepReply,
        message: impl Fn(&U::Out) -> M + Send + Sync + 'static,
    ) -> Result<Encoded<M>, Failure> {
        let encode = move |out: &U::Out| message(out).encode_to_vec();
        Ok(Encoded::new(&app.write(&self.call, use_case, keep, encode).await?))
    }

    /// Runs a use case through the door and keeps, instead of a reply, what names the thing that was written: for
    /// replies that are filled from what is stored, so that a repeat gets what is current then. The name: of this run,
    /// or of the first one under the key.
    ///
    /// # Errors
    /// Those of `use_case`, and of the door.
    pub async fn write_named<U: UseCase>(
        &self,
        app: &App,
        use_case: Result<U, Error>,
        name: impl Fn(&U::Out) -> String + Send + Sync + 'static,
    ) -> Result<String, Failure> {
        let encode = move |out: &U::Out| name(out).into_bytes();
        let kept = app.write(&self.call, use_case?, KeepReply::Yes, encode).await?;
        Ok(String::from_utf8(kept)
            .map_err(|e| Error::Internal(format!("a kept name cannot be read: {e}")))?)
    }

    /// The reply of the first run under the key, before work that a repeat must not do again.
    ///
    /// # Errors
    /// The key was used with another request, or its reply was not kept.
    pub async fn first_reply<M>(&self, app: &App) -> Result<Option<Encoded<M>>, Failure> {
        Ok(app.first_reply(&self.call).await?.map(|kept| Encoded::new(&kept)))
    }

    /// The caller's address, for throttling.
    pub fn address(&self) -> &str {
        &self.address
    }

    /// A failure on the wire.
    pub fn fail(&self, failure: Failure) -> Status {
        status::failure(failure, self.request, &self.condition)
    }
}
