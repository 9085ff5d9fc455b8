//! What a query can run on: the readers' pool, or the transaction of a write.

use sea_orm::{ConnectionTrait, DatabaseConnection, DatabaseTransaction};

use crate::door::Tx;

/// The readers' pool.
#[derive(Clone, Debug)]
pub struct Reader(pub(crate) DatabaseConnection);

mod sealed {
    pub trait Sealed {}
    impl Sealed for super::Reader {}
    impl Sealed for super::Tx {}
}

/// A [`Reader`] or a [`Tx`].
pub trait Source: sealed::Sealed + Sync {
    /// The connection inside.
    type Inner: ConnectionTrait;
    /// Gives the connection to a query of this crate.
    fn inner(&self) -> &Self::Inner;
}

impl Source for Reader {
    type Inner = DatabaseConnection;
    fn inner(&self) -> &DatabaseConnection {
        &self.0
    }
}
impl Source for Tx {
    type Inner = DatabaseTransaction;
    fn inner(&self) -> &DatabaseTransaction {
        &self.0
    }
}
