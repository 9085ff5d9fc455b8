//! What the gate hands to a handler, and how a handler turns it into a call of the app.

use prost::Message;
use scionary_app::{App, Call, Error, KeepReply, UseCase, WriteKey};
use scionary_domain::{
    account::Actor,
    ids::{AccountId, RequestId},
    time::Timestamp,
};
use scionary_proto::Rpc;
use sha2::{Digest as _, Sha256};
use tonic::{Request, Response, Status};

use crate::status;

/// A call that has passed the gate. Only the gate makes one.
#[derive(Clone, Debug)]
pub struct Admitted {
    pub(crate) rpc: Rpc,
    pub(crate) actor: Actor,
    pub(crate) entered_by: Option<AccountId>,
    pub(crate) now: Timestamp,
    pub(crate) request: RequestId,
    pub(crate) key: Option<String>,
    pub(crate) address: String,
}

impl Admitted {
    /// The admission of a request.
    ///
    /// # Errors
    /// An internal error if the request did not come through the gate.
    pub fn of<T>(request: &Request<T>) -> Result<Self, Status> {
        request.extensions().get::<Self>().cloned().ok_or_else(|| {
            let nobody = RequestId::from_uuid(Default::default());
            status::status(&Error::Internal("a call came around the gate".into()), nobody)
        })
    }

    /// As a call that reads.
    pub fn call(&self) -> Call {
        Call {
            actor: self.actor.clone(),
            entered_by: self.entered_by,
            now: self.now,
            request: self.request,
            key: None,
        }
    }

    /// As a call that writes. `bound` is what the idempotency key is bound to: the request, without secrets,
    /// so that no hash of a password is stored outside the password's own.
    pub fn write_call(&self, bound: &impl Message) -> Call {
        let key = self.key.as_ref().map(|key| WriteKey {
            key: key.clone(),
            rpc: self.rpc.path(),
            fingerprint: Sha256::digest(bound.encode_to_vec()).into(),
        });
        Call { key, ..self.call() }
    }

    /// Runs a use case through the door, and answers with the message that `message` makes of what came out: of this run, or
    /// of the first one under the key.
    ///
    /// # Errors
    /// The error, on the wire.
    pub async fn write<U: UseCase, M: Message + Default>(
        &self,
        app: &App,
        bound: &impl Message,
        use_case: Result<U, Error>,
        message: impl Fn(&U::Out) -> M + Send + Sync + 'static,
    ) -> Result<Response<M>, Status> {
        let call = self.write_call(bound);
        let use_case = use_case.map_err(|e| self.fail(e))?;
        let encode = move |out: &U::Out| message(out).encode_to_vec();
        self.reply(app.write(&call, use_case, KeepReply::Yes, encode).await)
    }

    /// The caller's address, for throttling.
    pub fn address(&self) -> &str {
        &self.address
    }

    /// An error of the app on the wire.
    pub fn fail(&self, error: impl Into<Error>) -> Status {
        status::status(&error.into(), self.request)
    }

    /// An encoded reply of the door as a response.
    ///
    /// # Errors
    /// The error, on the wire.
    pub fn reply<M: Message + Default>(
        &self,
        encoded: Result<Vec<u8>, Error>,
    ) -> Result<Response<M>, Status> {
        let bytes = encoded.map_err(|e| self.fail(e))?;
        M::decode(bytes.as_slice())
            .map(Response::new)
            .map_err(|e| self.fail(Error::Internal(format!("a kept reply cannot be read: {e}"))))
    }
}
